"""Causes that no gap can tell apart (those of the trade: see each assertion; common practice and derived)."""

from __future__ import annotations

from tests.engines import flat_four, flat_twin

from coldlash.engine.spec import Valve
from coldlash.wear.alike import look_alikes, say
from coldlash.wear.candidates import candidates

ENGINE = flat_four()
FOUND = candidates(ENGINE, ENGINE.valves)
GROUPS = list(dict.fromkeys((c.cause, c.where) for c in FOUND))


def _alike(cause: str, *valves: str) -> tuple[str, ...]:
    place = GROUPS.index((cause, tuple(Valve.parse(v) for v in valves)))
    return look_alikes(FOUND, GROUPS, [place])[place]


def test_a_shared_lobe_looks_like_equal_wear_of_its_two_valves() -> None:
    assert "valve_train_wear E1 + valve_train_wear E3" in _alike("shared_lobe_wear", "E1", "E3")


def test_a_lifting_head_looks_like_equal_wear_of_both_valves_of_the_cylinder() -> None:
    assert "valve_train_wear I2 + valve_train_wear E2" in _alike("head_lifting_or_stand_loose", "I2", "E2")


def test_a_session_offset_looks_like_both_heads_settling() -> None:
    everything = [str(v) for v in ENGINE.valves]
    pair = "head_settling I1+E1+I2+E2 + head_settling I3+E3+I4+E4"
    assert pair in _alike("session_offset", *everything)


def test_one_seat_looks_like_nothing_else() -> None:
    assert _alike("seat_recession_or_stretch", "E3") == ()


def test_both_seats_of_a_cylinder_look_like_its_head_settling_with_the_neighbour_lifting() -> None:
    seats = [("seat_recession_or_stretch", (Valve.parse(v),)) for v in ("I1", "E1")]
    one, two = (GROUPS.index(s) for s in seats)
    named = look_alikes(FOUND, GROUPS, [one, two], [(one, two)])[one]
    mix = "head_settling I1+E1+I2+E2 + head_lifting_or_stand_loose I2+E2"
    assert f"with seat_recession_or_stretch E1: {mix}" in named


def test_where_a_head_has_one_cylinder_settling_looks_like_both_seats() -> None:
    engine = flat_twin()
    found = candidates(engine)
    groups = list(dict.fromkeys((c.cause, c.where) for c in found))
    place = groups.index(("head_settling", (Valve("I", 1), Valve("E", 1))))
    pair = "seat_recession_or_stretch I1 + seat_recession_or_stretch E1"
    assert pair in look_alikes(found, groups, [place])[place]


def test_a_place_is_said_with_its_valves() -> None:
    assert say(("shared_lobe_wear", (Valve("E", 1), Valve("E", 3)))) == "shared_lobe_wear E1+E3"
