"""Work between two visits: the next found reading is already one of the new part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four
from tests.wear.books import visit

from coldlash.engine.spec import Valve
from coldlash.wear.change import detect
from coldlash.wear.cusum import cusum
from coldlash.wear.first import first_answer
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.simulate import Event, Plan, simulate
from coldlash.wear.trend import fit
from coldlash.wear.verdict import sudden_tightening

FOUR = flat_four()
E2, E3 = Valve("E", 2), Valve("E", 3)


def _worn() -> list[VisitRecord]:
    events = [Event(8, {E2: 1.0}, slope=-0.020)]
    return list(simulate(FOUR, np.random.default_rng(9), Plan(visits=20), events=events).visits)


def _renewed(visit_at: VisitRecord, *valves: Valve) -> VisitRecord:
    return replace(
        visit_at,
        valves={v: replace(r, restart_before=v in valves) for v, r in visit_at.valves.items()},
    )


def test_a_part_renewed_between_visits_equals_a_visit_that_only_renewed_it_just_before() -> None:
    # derived: the same model written as two sessions, the first one without readings and at the same distance
    visits = _worn()
    once = [*visits[:14], _renewed(visits[14], E2, E3), *visits[15:]]
    only_work = replace(visits[14], valves={v: ValveRecord(restart=True) for v in (E2, E3)})
    twice = [*visits[:14], only_work, *visits[14:]]
    one, two = fit(FOUR, once), fit(FOUR, twice)
    np.testing.assert_allclose(one.mean, two.mean, atol=1e-10)
    np.testing.assert_allclose(one.cov, two.cov, atol=1e-12)
    assert one.log_evidence == pytest.approx(two.log_evidence, abs=1e-9)
    history, longer = one.history(E2), two.history(E2)
    del longer[14]
    for a, b in zip(history, longer, strict=True):
        assert a.before_now.mean == pytest.approx(b.before_now.mean, abs=1e-9)
        assert a.before_now.sd == pytest.approx(b.before_now.sd, abs=1e-9)


def test_a_part_renewed_between_visits_ends_the_change_of_the_old_one() -> None:
    visits = _worn()
    assert [c.suspect.name for c in detect(fit(FOUR, visits)).warnings()] == ["E2"]
    renewed = [*visits[:19], _renewed(visits[19], E2)]
    assert detect(fit(FOUR, renewed)).warnings() == []


def test_sums_of_deviations_start_again_at_a_renewed_valve() -> None:
    visits = _worn()
    trend = fit(FOUR, [*visits[:19], _renewed(visits[19], E2)])
    sums, i = cusum(trend), trend.index(E2)
    assert sums.tighter[18, i] > 5.0
    assert sums.tighter[19, i] < 2.0


def test_a_renewed_valve_is_not_compared_with_what_the_old_part_was_left_at() -> None:
    before = visit(0, E2=ValveRecord(GapInterval(0.10, 0.15)))
    after = visit(5000, E2=ValveRecord(GapInterval(0.25, 0.30), restart_before=True))
    assert first_answer(
        FOUR, [before, replace(after, valves={E2: ValveRecord(GapInterval(0.25, 0.30))})], E2
    ).change
    assert first_answer(FOUR, [before, after], E2).change is None


def test_a_gap_tighter_than_before_is_no_sudden_tightening_once_the_part_is_new() -> None:
    visits = [visit(5000 * i, E2=ValveRecord(GapInterval(0.15, 0.20))) for i in range(4)]
    tight = visit(20_000, E2=ValveRecord(GapInterval(0.05, 0.10)))
    assert sudden_tightening(fit(FOUR, [*visits, tight]), E2)[0] > 0.1
    assert sudden_tightening(fit(FOUR, [*visits, _renewed(tight, E2)]), E2) == (0.0, 0.0)


def test_afresh_is_a_restart_before_or_after_the_found_reading() -> None:
    assert ValveRecord(restart=True).afresh
    assert ValveRecord(restart_before=True).afresh
    assert not ValveRecord().afresh
