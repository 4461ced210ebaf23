"""What a result did to the causes, in one sentence."""

from __future__ import annotations

from datetime import date

import pytest
from tests.engines import flat_four
from tests.wear.attributions import attribution, cause

from coldlash.engine.spec import Valve
from coldlash.wear.causes import NOTHING
from coldlash.wear.found import Found, with_found
from coldlash.wear.next_test import Result, table, weigh_in
from coldlash.wear.telling import found_title, of_found, of_result, outcome_words, place_words, result_words

ENGINE = flat_four()
E3 = Valve("E", 3)
DAY = date(2026, 3, 2)
SEAT = cause("seat_recession_or_stretch", ("seat_recession",), ("E3",), 0.6)
STAND = cause("head_lifting_or_stand_loose", ("stand_loose",), ("I1", "E1"), 0.4)
SEEN = attribution(0.9, (SEAT, "seat_recession", 0.6), (STAND, "stand_loose", 0.4))
CLEAN = Result("leak_down", (E3,), (), DAY)


def test_a_clean_test_speaks_against_what_it_would_have_shown() -> None:
    words = of_result(ENGINE, CLEAN, SEEN, weigh_in(ENGINE, SEEN, CLEAN))
    assert words.startswith(
        "Leak-down of cylinder 3 on 2026-03-02: no more air escapes than should; that speaks against a receding seat "
        "or a stretching valve at E3 (54 in 100 before, "
    )


def test_a_sign_that_showed_speaks_for_it() -> None:
    leaks = CLEAN._replace(signs=("leaks_at_exhaust",))
    words = of_result(ENGINE, leaks, SEEN, weigh_in(ENGINE, SEEN, leaks))
    assert "air at the exhaust; that speaks for a receding seat or a stretching valve at E3" in words


def test_a_test_elsewhere_changes_next_to_nothing() -> None:
    quiet = Result("look_inside", (Valve("E", 4),), (), DAY)
    words = of_result(ENGINE, quiet, SEEN, weigh_in(ENGINE, SEEN, quiet))
    assert words == (
        "A look inside of cylinder 4 on 2026-03-02: pushrod straight, seat in its place; that changes next to nothing "
        "of what is suspected."
    )


def test_where_nothing_is_suspected_a_result_says_so() -> None:
    assert "Nothing is suspected that it could speak for or against." in of_result(
        ENGINE, CLEAN, NOTHING, NOTHING
    )


def test_a_result_without_a_day_has_none_in_its_words() -> None:
    words = result_words(ENGINE, Result("lobe_lift", (E3, Valve("E", 1)), ("lift_low",)))
    assert words == "Lobe lift of the lobe of E1 and E3: clearly less lift than its neighbours"


def test_places_are_called_by_what_they_are() -> None:
    assert place_words("cylinder", (E3,)) == "cylinder 3"
    assert place_words("engine", ENGINE.valves) == "the engine"


def test_every_test_has_words_for_every_outcome() -> None:
    for test in table():
        assert test.called
        assert outcome_words(test, ()) == test.clean
        assert outcome_words(test, [s.name for s in test.signs]) == ", ".join(s.says for s in test.signs)


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ((), "Found on 2026-03-02: a loose rocker stand"),
        ((Valve("I", 1), Valve("E", 1)), "Found on 2026-03-02 at I1 and E1: a loose rocker stand"),
    ],
)
def test_what_was_found_is_said_with_its_place_and_day(where: tuple[Valve, ...], words: str) -> None:
    assert found_title(Found("stand_loose", where, "looser", DAY)) == words


def test_a_find_says_what_it_did() -> None:
    found = Found("stand_loose", (Valve("I", 1),), "looser", DAY)
    words = of_found(found, SEEN, with_found(SEEN, [found]), settled=False)
    assert "It is weighed in like a test (36 in 100 before, " in words  # derived: 0.9 x 0.4
    other = found._replace(where=(Valve("I", 2),))
    assert "show nothing of it, so it changes nothing." in of_found(other, SEEN, SEEN, settled=False)
    assert of_found(found, SEEN, SEEN, settled=True).endswith("It is taken as a jump, not as drift.")
