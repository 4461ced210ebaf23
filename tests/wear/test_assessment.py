"""The one answer: its shape (the contract of `assess`), its bounds, and books that say next to nothing."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from tests.engines import flat_four, single, v8
from tests.wear.books_with import book

from coldlash.engine.spec import Service, Valve
from coldlash.errors import InputError
from coldlash.wear.assessment import INVENTED, assess
from coldlash.wear.forecast import p_tight
from coldlash.wear.next_test import Result
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.simulate import FINE, Event, Plan, simulate

ENGINE = flat_four()
E3 = Valve("E", 3)
DAY = date(2015, 5, 1)


def _numbers(x: object) -> list[float]:
    if isinstance(x, dict):
        return [n for v in x.values() for n in _numbers(v)]
    if isinstance(x, (list, tuple)):
        return [n for v in x for n in _numbers(v)]
    return [float(x)] if isinstance(x, (int, float)) and not isinstance(x, bool) else []


def test_the_json_has_every_field_of_the_contract() -> None:
    visits = simulate(ENGINE, np.random.default_rng(1), Plan(visits=8)).visits
    got = assess(ENGINE, visits).as_json()
    # contract: architecture, the row of `assess`
    for key in ("as_of_km", "valves", "causes", "next_tests", "recheck_km", "reasons", "p_something"):
        assert key in got
    valve = got["valves"]["E3"]  # type: ignore[index]
    assert set(valve) == {
        "gap_mm",
        "drift_mm_per_1000km",
        "p_tight_by_next",
        "p_loose_by_next",
        "change",
        "verdict",
    }
    assert set(valve["gap_mm"]) == {"mean", "sd", "p05", "p95"}
    assert set(valve["change"]) == {"probability", "since_km", "direction"}
    cause = got["causes"][0]  # type: ignore[index]
    assert {"cause", "where", "probability", "amount_mm", "direction", "not_separable_from"} <= set(cause)
    assert got["as_of_km"] == visits[-1].distance_km
    assert json.loads(json.dumps(got)) == got


def test_causes_are_those_of_the_contract_most_likely_first() -> None:
    loading = {v: -1.1 for v in ENGINE.valves if v.cylinder < 3}
    plan = Plan(visits=10, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(1), plan, events=[Event(8, loading, jump=0.06)]).visits
    said = assess(ENGINE, visits)
    assert said.causes[0].cause == "head_settling"
    assert {c.cause for c in said.causes} <= {
        "seat_recession_or_stretch",
        "valve_train_wear",
        "shared_lobe_wear",
        "head_settling",
        "head_lifting_or_stand_loose",
        "session_offset",
    }
    p = [c.probability for c in said.causes]
    assert p == sorted(p, reverse=True)
    assert all(c.amount.mean >= 0 for c in said.causes)


def test_risks_are_those_of_the_forecast() -> None:
    visits = simulate(ENGINE, np.random.default_rng(2), Plan(visits=8)).visits
    said = assess(ENGINE, visits, next_km=4000.0)
    assert said.of(E3).p_tight_by_next == p_tight(said.changes.trend, E3, 4000.0)


def test_the_next_check_is_capped_by_the_service_interval() -> None:
    visits = book(ENGINE, {"E3": [0.154] * 8})
    assert (
        assess(replace(ENGINE, service=Service(every_km=3000.0)), visits, next_km=9000.0).recheck_km == 3000.0
    )


def test_without_a_service_interval_it_is_capped_by_the_next_check() -> None:
    visits = book(ENGINE, {"E3": [0.154] * 8})
    assert assess(ENGINE, visits, next_km=2000.0).recheck_km == 2000.0


def test_it_says_when_that_will_be() -> None:
    said = assess(ENGINE, book(ENGINE, {"E3": [0.154] * 8}, days=100))
    assert said.due is not None
    # derived: 5,000 km in 100 days before, so 5,000 km more in about 100
    assert abs((said.due.middle - date(2021, 1, 10) - timedelta(days=700)).days - 100) < 15


def test_invented_figures_are_said_to_be_invented() -> None:
    assert INVENTED in assess(ENGINE, []).reasons


def test_an_accepted_jump_is_kept_out_of_the_drift() -> None:
    loading = {v: -1.1 for v in ENGINE.valves if v.cylinder < 3}
    plan = Plan(visits=12, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(3), plan, events=[Event(9, loading, jump=0.10)]).visits
    said = assess(ENGINE, visits)
    assert len(said.trend.shocks) == 1
    assert any("is taken as a jump" in r for r in said.reasons)
    # invented drift of the simulator: -0.003 +- 0.0025, the jump would add -0.11 / 5
    assert said.of(Valve("E", 1)).drift.mean > -0.012


def test_test_results_change_the_causes() -> None:
    loading = {v: 1.1 for v in ENGINE.valves if v.cylinder == 3}
    plan = Plan(visits=10, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(4), plan, events=[Event(8, loading, jump=0.07)]).visits
    before = assess(ENGINE, visits)
    found = Result("stand_nuts_and_studs", (E3,), ("stud_low",))
    after = assess(ENGINE, visits, results=[found])
    assert after.causes[0].variants[0] == "head_lifting"
    assert after.p_something >= before.p_something
    assert not any(t.test == "stand_nuts_and_studs" and E3 in t.where for t in after.next_tests)


def _visit(t: int, km: float, records: dict[Valve, ValveRecord]) -> VisitRecord:
    return VisitRecord(DAY + timedelta(days=t), km, records)


_ALL = {v: ValveRecord(GapInterval(0.15, 0.2)) for v in ENGINE.valves}
_NOTHING = {v: ValveRecord() for v in ENGINE.valves}
_BELOW = {v: ValveRecord(GapInterval(-math.inf, 0.05)) for v in ENGINE.valves}
_ABOVE = {v: ValveRecord(GapInterval(0.4, math.inf)) for v in ENGINE.valves}
DEGENERATE = {
    "no visits": [],
    "one visit": [_visit(0, 0, _ALL)],
    "one visit without readings": [_visit(0, 0, _NOTHING)],
    "no readings at all": [_visit(t, 5000.0 * t, _NOTHING) for t in range(4)],
    "visits without valves": [_visit(t, 5000.0 * t, {}) for t in range(3)],
    "no blade ever goes": [_visit(t, 5000.0 * t, _BELOW) for t in range(5)],
    "the thickest always goes": [_visit(t, 5000.0 * t, _ABOVE) for t in range(5)],
    "one valve only": [_visit(t, 5000.0 * t, {E3: ValveRecord(GapInterval(0.1, 0.15))}) for t in range(5)],
    "distances backwards": [_visit(t, km, _ALL) for t, km in enumerate([5000, 3000, 9000, 8000, 100])],
    "two visits on one day": [_visit(0, 0, _ALL), _visit(0, 0, _BELOW), _visit(0, 0, _ALL)],
    "a twenty-year gap": [_visit(0, 0, _ALL), _visit(7300, 5000, _ALL), _visit(7301, 400_000, _ALL)],
    "nothing driven": [_visit(t, 1000.0, _ALL) for t in range(5)],
    "all parts new every time": [
        _visit(t, 5000.0 * t, {v: replace(r, restart=True) for v, r in _ALL.items()}) for t in range(4)
    ],
    "nothing at the last visit": [
        *(_visit(t, 5000.0 * t, _ALL) for t in range(4)),
        _visit(9, 25_000, _NOTHING),
    ],
    "from tight to loose": [_visit(t, 5000.0 * t, _BELOW if t % 2 else _ABOVE) for t in range(6)],
}


@pytest.mark.parametrize("name", DEGENERATE)
def test_a_book_that_says_little_gets_a_finite_answer(name: str) -> None:
    said = assess(ENGINE, DEGENERATE[name])
    got = said.as_json()
    assert all(math.isfinite(x) for x in _numbers(got))
    assert all(said.of(v).verdict for v in ENGINE.valves)
    for cause in said.causes:
        assert 0 <= cause.probability <= 1
    assert 0 <= said.p_something <= 1
    assert 0 <= said.recheck_km <= 5000


def test_an_empty_book_says_how_little_it_knows() -> None:
    said = assess(ENGINE, [])
    assert said.as_of_km is None
    assert said.causes == ()
    assert said.next_tests == ()
    assert any("no visit to judge" in r for r in said.reasons)


def test_one_visit_says_that_it_is_only_one() -> None:
    assert any("one visit only" in r for r in assess(ENGINE, DEGENERATE["one visit"]).reasons)


def test_no_readings_are_said_to_be_none() -> None:
    assert any("No gap has been read" in r for r in assess(ENGINE, DEGENERATE["no readings at all"]).reasons)


@pytest.mark.parametrize("engine", [single(), v8()])
def test_engines_of_one_and_of_eight_cylinders_get_an_answer(engine: object) -> None:
    visits = simulate(engine, np.random.default_rng(1), Plan(visits=5)).visits  # type: ignore[arg-type]
    said = assess(engine, visits)  # type: ignore[arg-type]
    assert len(said.valves) == len(engine.valves)  # type: ignore[attr-defined]


def test_a_next_check_behind_us_is_refused() -> None:
    with pytest.raises(InputError, match="a next check in -5 km; give more than 0 km"):
        assess(ENGINE, [], next_km=-5)
