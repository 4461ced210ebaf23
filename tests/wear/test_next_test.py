"""Which test tells most, and what a result does, against sums done by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.engines import flat_four, inline_four
from tests.wear.attributions import attribution, cause

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.wear.candidates import PRIORS
from coldlash.wear.causes import NOTHING
from coldlash.wear.next_test import (
    Result,
    information,
    next_tests,
    places,
    provenance,
    table,
    with_evidence,
)

ENGINE = flat_four()
STAND = cause("head_lifting_or_stand_loose", ("stand_loose", "head_lifting"), ("I1", "E1"), 0.8)
SEAT = cause("seat_recession_or_stretch", ("seat_recession",), ("E3",), 0.2)
SEEN = attribution(
    0.9, (STAND, "stand_loose", 0.5), (STAND, "head_lifting", 0.3), (SEAT, "seat_recession", 0.2)
)
CYLINDER_1 = (Valve("I", 1), Valve("E", 1))


def _entropy(*p: float) -> float:
    return -sum(x * math.log2(x) for x in p if x > 0)


def test_the_table_says_where_its_figures_come_from() -> None:
    assert provenance() == "judgement, no source"


def test_every_chance_in_the_table_is_a_probability_of_a_known_variant() -> None:
    variants = set(PRIORS) | {"offset_tighter", "offset_looser"}
    for test in table():
        assert test.effort > 0
        for sign in test.signs:
            assert 0 < sign.without < 1
            assert 0 < sign.unmoved < 1
            assert set(sign.chance) <= variants
            assert all(0 < p < 1 for p in sign.chance.values())


def test_all_tests_of_the_trade_are_there() -> None:
    names = {t.name for t in table()}
    wanted = {"leak_down", "compression", "stand_nuts_and_studs", "lobe_lift", "measure_again_cold", "listen"}
    assert wanted <= names


def test_information_is_what_the_entropy_is_expected_to_fall_by() -> None:
    # derived by hand: listening at cylinder 1, one sign; chances from the table, noisy OR with the base rate 0.15
    listen = next(t for t in table() if t.name == "listen")
    sign = listen.signs[0]
    weight = [0.1, 0.9 * 0.5, 0.9 * 0.3, 0.9 * 0.2]
    base = 1 - sign.without
    shows = [
        sign.unmoved,
        1 - base * (1 - sign.chance["stand_loose"]),
        1 - base * (1 - sign.chance["head_lifting"]),
        sign.without,
    ]
    yes = sum(w * p for w, p in zip(weight, shows, strict=True))
    after = sum(
        q * _entropy(*(w * (p if on else 1 - p) / q for w, p in zip(weight, shows, strict=True)))
        for on, q in ((True, yes), (False, 1 - yes))
    )
    assert information(SEEN, listen, CYLINDER_1) == pytest.approx(_entropy(*weight) - after, abs=1e-9)


def test_no_test_tells_more_than_there_is_to_know() -> None:
    most = _entropy(0.1, 0.45, 0.27, 0.18)
    for test in table():
        for where in places(ENGINE, test.place):
            assert 0 <= information(SEEN, test, where) <= most


def test_nuts_and_studs_tell_a_loose_stand_from_a_lifting_head() -> None:
    best = next_tests(ENGINE, SEEN)[0]
    assert (best.test, best.where) == ("stand_nuts_and_studs", CYLINDER_1)


def test_tests_are_ordered_by_bits_per_effort() -> None:
    worth = [t.bits / t.effort for t in next_tests(ENGINE, SEEN)]
    assert worth == sorted(worth, reverse=True)
    assert len(worth) > 1


def test_lobe_lift_splits_a_shared_lobe_from_equal_wear() -> None:
    lobe = cause("shared_lobe_wear", ("shared_lobe",), ("E1", "E3"), 0.5)
    wear = cause("valve_train_wear", ("valve_side_wear",), ("E1",), 0.5)
    seen = attribution(0.95, (lobe, "shared_lobe", 0.5), (wear, "valve_side_wear", 0.5))
    bits = {t.test: t.bits for t in next_tests(ENGINE, seen)}
    assert max(bits, key=lambda name: bits[name]) == "lobe_lift"


def test_a_test_already_done_is_not_proposed_again() -> None:
    done = [Result("stand_nuts_and_studs", CYLINDER_1)]
    assert ("stand_nuts_and_studs", CYLINDER_1) not in [
        (t.test, t.where) for t in next_tests(ENGINE, SEEN, done)
    ]


def test_where_nothing_is_suspected_no_test_is_proposed() -> None:
    assert next_tests(ENGINE, NOTHING) == ()
    assert with_evidence(ENGINE, NOTHING, [Result("listen", CYLINDER_1)]) == NOTHING


def test_a_result_weighs_the_causes_by_bayes_rule() -> None:
    # derived by hand: a loose stand nut at cylinder 1 and nothing else
    test = next(t for t in table() if t.name == "stand_nuts_and_studs")
    prior = {"nothing": 0.1, "stand_loose": 0.45, "head_lifting": 0.27, "seat_recession": 0.18}
    post = {}
    for name, w in prior.items():
        for sign in test.signs:
            p = 1 - (1 - sign.without) * (1 - sign.chance.get(name, 0.0))
            w *= p if sign.name == "stand_nut_loose" else 1 - p
        post[name] = w
    total = sum(post.values())
    seen = with_evidence(ENGINE, SEEN, [Result(test.name, CYLINDER_1, ("stand_nut_loose",))])
    assert seen.p_something == pytest.approx(1 - post["nothing"] / total)
    stand = (post["stand_loose"] + post["head_lifting"]) / (total - post["nothing"])
    assert seen.causes[0].probability == pytest.approx(stand)
    assert seen.causes[0].variants == ("stand_loose", "head_lifting")


def test_a_clean_leak_down_makes_a_seat_less_likely_and_the_order_follows() -> None:
    close = attribution(0.9, (SEAT, "seat_recession", 0.55), (STAND, "stand_loose", 0.45))
    seen = with_evidence(ENGINE, close, [Result("leak_down", (Valve("E", 3),))])
    assert [c.cause for c in seen.causes] == ["head_lifting_or_stand_loose", "seat_recession_or_stretch"]
    assert seen.combinations[0].parts[0].cause == 0
    assert sum(c.weight for c in seen.combinations) == pytest.approx(1.0)


def test_results_in_any_order_say_the_same() -> None:
    one = Result("leak_down", (Valve("E", 3),), ("leaks_at_exhaust",))
    other = Result("listen", CYLINDER_1, ("ticks_louder",))
    a, b = with_evidence(ENGINE, SEEN, [one, other]), with_evidence(ENGINE, SEEN, [other, one])
    assert a.p_something == pytest.approx(b.p_something)
    assert {c.name: c.probability for c in a.causes} == pytest.approx(
        {c.name: c.probability for c in b.causes}
    )


def test_what_is_not_listed_keeps_its_share_of_a_cause() -> None:
    half = attribution(0.5, (SEAT, "seat_recession", 0.3))
    half = replace(half, causes=(replace(half.causes[0], probability=0.5),))
    seen = with_evidence(ENGINE, half, [Result("listen", CYLINDER_1)])
    assert 0.3 < seen.causes[0].probability < 0.7


def test_an_engine_without_shared_lobes_has_no_lobe_to_measure() -> None:
    assert places(inline_four(), "lobe") == []
    with pytest.raises(
        InputError, match="lobe_lift at E1; name the valves of one place: none on this engine"
    ):
        with_evidence(inline_four(), SEEN, [Result("lobe_lift", (Valve("E", 1),))])


def test_an_unknown_test_is_refused() -> None:
    with pytest.raises(InputError, match="no test called 'shake'; there are leak_down, compression"):
        with_evidence(ENGINE, SEEN, [Result("shake", CYLINDER_1)])


def test_an_unknown_sign_is_refused() -> None:
    with pytest.raises(InputError, match="listen has no sign 'hum'; there are ticks_louder"):
        with_evidence(ENGINE, SEEN, [Result("listen", CYLINDER_1, ("hum",))])


def test_valves_of_two_cylinders_are_no_place_for_a_leak_down() -> None:
    with pytest.raises(InputError, match=r"leak_down at E1\+E3; name the valves of one place"):
        with_evidence(ENGINE, SEEN, [Result("leak_down", (Valve("E", 1), Valve("E", 3)))])


def test_a_test_says_nothing_of_what_began_after_it() -> None:
    # the causes of SEEN began before visit 1: a test after visit 0 saw an engine where nothing had happened yet
    early = Result("stand_nuts_and_studs", CYLINDER_1, ("stand_nut_loose",), saw=0)
    seen = with_evidence(ENGINE, SEEN, [early])
    assert seen.p_something == pytest.approx(SEEN.p_something)
    assert [c.probability for c in seen.causes] == pytest.approx([c.probability for c in SEEN.causes])
    late = with_evidence(ENGINE, SEEN, [early._replace(saw=1)])
    assert late == with_evidence(ENGINE, SEEN, [early._replace(saw=None)])
    assert late.causes[0].probability > 0.9


def test_a_test_too_old_to_count_is_proposed_again() -> None:
    old = Result("stand_nuts_and_studs", CYLINDER_1, ("stud_pulled",), weighs=False)
    assert with_evidence(ENGINE, SEEN, [old]) == SEEN
    assert next_tests(ENGINE, SEEN, [old]) == next_tests(ENGINE, SEEN)


def test_every_test_can_be_clean() -> None:
    for test in table():
        assert test.outcomes == (*(s.name for s in test.signs), "none")
