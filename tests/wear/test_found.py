"""Causes the owner found: weighed like a test, put into the trend for good, never made of nothing."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from tests.engines import flat_four
from tests.wear.attributions import attribution, cause

from coldlash.engine.spec import Valve
from coldlash.wear.assessment import assess
from coldlash.wear.causes import NOTHING
from coldlash.wear.found import Found, matching, with_found
from coldlash.wear.next_test import reliability
from coldlash.wear.simulate import FINE, Event, Plan, simulate

ENGINE = flat_four()
DAY = date(2030, 1, 1)
CYLINDER_1 = (Valve("I", 1), Valve("E", 1))
STAND = cause("head_lifting_or_stand_loose", ("stand_loose", "head_lifting"), ("I1", "E1"), 0.6)
SEAT = cause("seat_recession_or_stretch", ("seat_recession",), ("E3",), 0.4)
SEEN = attribution(
    0.8, (STAND, "stand_loose", 0.3), (STAND, "head_lifting", 0.3), (SEAT, "seat_recession", 0.4)
)
LOOSE_STAND = Found("stand_loose", CYLINDER_1, "looser", DAY)


def test_a_cause_found_is_weighed_by_bayes_rule() -> None:
    # derived by hand: four states (nothing, loose stand, lifting head, seat), the loose stand with chance 0.9 of being
    # said, all others 0.02 (judgement, tests_table.toml)
    there, elsewhere = reliability()
    post = [0.2 * elsewhere, 0.24 * there, 0.24 * elsewhere, 0.32 * elsewhere]
    seen = with_found(SEEN, [LOOSE_STAND])
    assert seen.p_something == pytest.approx(1 - post[0] / sum(post))
    assert seen.causes[0].probability == pytest.approx((post[1] + post[2]) / sum(post[1:]))
    assert seen.causes[0].variants[0] == "stand_loose"


def test_a_cause_by_its_common_name_says_nothing_of_what_exactly_happened() -> None:
    there, elsewhere = reliability()
    seen = with_found(SEEN, [LOOSE_STAND._replace(cause="head_lifting_or_stand_loose")])
    post = [0.2 * elsewhere, 0.48 * there, 0.32 * elsewhere]  # derived as above
    assert seen.causes[0].probability == pytest.approx(post[1] / sum(post[1:]))
    weights = {c.parts[0].variant: c.weight for c in seen.combinations}
    assert weights["stand_loose"] == pytest.approx(weights["head_lifting"])


def test_what_no_reading_shows_changes_nothing() -> None:
    assert (
        with_found(SEEN, [Found("shared_lobe_wear", (Valve("E", 1), Valve("E", 3)), "looser", DAY)]) == SEEN
    )
    assert with_found(NOTHING, [LOOSE_STAND]) == NOTHING


@pytest.mark.parametrize(
    "change",
    [
        {"where": (Valve("I", 2),)},
        {"direction": "tighter"},
        {"cause": "head_settling"},
        {"saw": 0},
    ],
)
def test_another_place_direction_cause_or_an_earlier_day_is_not_it(change: dict[str, object]) -> None:
    assert matching(LOOSE_STAND, STAND)
    assert not matching(LOOSE_STAND._replace(**change), STAND)


def test_found_anywhere_is_found_at_any_place() -> None:
    assert matching(LOOSE_STAND._replace(where=()), STAND)


def _settled(seed: int, visits: int, jump: float = 0.045) -> tuple[object, ...]:
    loading = {v: -1.1 for v in ENGINE.valves if v.cylinder < 3}
    plan = Plan(visits=visits, ladder_mm=FINE)
    return simulate(ENGINE, np.random.default_rng(seed), plan, events=[Event(8, loading, jump=jump)]).visits


FOUND = Found("head_settling", tuple(v for v in ENGINE.valves if v.cylinder < 3), "tighter", DAY)
DOUBTFUL = 4
"""A seed whose readings alone leave the settled head below the chance at which a jump is taken for sure."""


def test_a_jump_found_goes_into_the_trend_that_readings_alone_leave_open() -> None:
    visits = _settled(DOUBTFUL, 10)
    plain, told = assess(ENGINE, visits), assess(ENGINE, visits, found=[FOUND])
    assert plain.trend.shocks == ()
    (shock,) = told.trend.shocks
    assert set(shock.loading) == {v for v in ENGINE.valves if v.cylinder < 3}
    e1 = Valve("E", 1)
    assert told.of(e1).drift.mean > plain.of(e1).drift.mean  # what the jump did is no longer taken for drift
    assert any("weighed in like a test" in r for r in told.reasons)


def test_it_stays_in_the_trend_when_later_visits_have_come() -> None:
    visits = _settled(DOUBTFUL, 14)
    found = FOUND._replace(saw=9, day=visits[9].day)
    plain, told = assess(ENGINE, visits), assess(ENGINE, visits, found=[found])
    assert len(told.trend.shocks) == len(plain.trend.shocks) + 1
    assert any("It is taken as a jump, not as drift." in r for r in told.reasons)


def test_the_owners_amount_is_where_the_jump_begins_from() -> None:
    told = assess(ENGINE, _settled(DOUBTFUL, 10), found=[FOUND._replace(amount=0.07)])
    (shock,) = told.trend.shocks
    assert shock.mean == 0.07


def test_a_settled_head_that_was_found_is_no_alarm_and_still_looked_at_soon() -> None:
    visits = _settled(3, 10, 0.10)
    plain, told = assess(ENGINE, visits), assess(ENGINE, visits, found=[FOUND])
    assert any(f.grade == "check now" and len(f.valves) == 4 for f in plain.findings)
    (whole,) = [f for f in told.findings if len(f.valves) == 4]
    assert whole.grade == "check sooner"
    assert "as found on 2030-01-01. Check the gaps again within 1,500 km" in whole.sentence
    assert told.recheck_km <= 1500.0
    assert "Found on 2030-01-01: a settling head." in whole.why


def test_a_loose_stand_that_was_found_is_to_be_put_right_and_then_only_watched() -> None:
    loading = {v: 1.1 for v in ENGINE.valves if v.cylinder == 3}
    plan = Plan(visits=10, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(4), plan, events=[Event(8, loading, jump=0.08)]).visits
    where = tuple(v for v in ENGINE.valves if v.cylinder == 3)
    found = Found("stand_loose", where, "looser", DAY)

    def whole(each: Found) -> tuple[str, str]:
        (said,) = [f for f in assess(ENGINE, visits, found=[each]).findings if set(f.valves) == set(where)]
        return said.grade, said.sentence

    grade, sentence = whole(found)
    assert grade == "check now"
    assert "the rocker stand coming loose" in sentence
    assert (
        "Put it right before it runs on and write it down as work; a pulled stud: don't run it." in sentence
    )
    grade, sentence = whole(found._replace(mended=True))
    assert grade == "watch"
    assert sentence.endswith("and worked on since. Measure again to see that it is over.")


def test_a_worn_lobe_that_was_found_is_looked_at_sooner() -> None:
    where = (Valve("E", 1), Valve("E", 3))
    plan = Plan(visits=10, ladder_mm=FINE)
    events = [Event(8, dict.fromkeys(where, 1.0), jump=0.10)]
    visits = simulate(ENGINE, np.random.default_rng(4), plan, events=events).visits
    told = assess(ENGINE, visits, found=[Found("shared_lobe_wear", where, "looser", DAY)])
    (whole,) = [f for f in told.findings if f.valves == where]
    assert whole.grade == "check sooner"
    assert "as found on 2030-01-01. Measure the lobe's lift and look at the followers." in whole.sentence


def test_a_tightening_valve_keeps_its_warning_whatever_was_found() -> None:
    e3 = Valve("E", 3)
    plan = Plan(visits=10, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(5), plan, events=[Event(8, {e3: -1.0}, jump=0.08)]).visits
    told = assess(ENGINE, visits, found=[Found("seat_recession_or_stretch", (e3,), "tighter", DAY)])
    assert told.of(e3).finding.grade in ("check now", "do not run")
    assert told.recheck_km <= 1500.0


def test_a_wrong_find_does_not_drown_what_the_readings_show_plainly() -> None:
    visits = _settled(3, 10, 0.10)
    wrong = Found("valve_train_wear", (Valve("E", 4),), "looser", DAY)
    plain, told = assess(ENGINE, visits), assess(ENGINE, visits, found=[wrong])
    assert told.causes[0].name == plain.causes[0].name
    assert told.p_something > 0.9
    assert told.findings[0].grade == plain.findings[0].grade
