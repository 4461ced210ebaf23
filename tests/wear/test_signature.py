"""What later readings say about a jump, against the filter's own evidence where everything is Gaussian."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from tests.engines import flat_twin

from coldlash.engine.spec import Valve
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import DEFAULTS
from coldlash.wear.signature import Onset, signatures
from coldlash.wear.trend import Shock, Trend, fit

ENGINE = flat_twin()
EXACT = replace(DEFAULTS, misread=0.0)


def _visits(count: int, seed: int = 0) -> list[VisitRecord]:
    """Visits read as drag on a blade (Gaussian readings), one valve set now and then."""
    rng = np.random.default_rng(seed)
    visits = []
    for t in range(count):
        records = {}
        for valve in ENGINE.valves:
            gap = round(float(rng.normal(0.15, 0.02)), 3)
            adjusted = bool(rng.random() < 0.3)
            records[valve] = ValveRecord(GapInterval(gap, gap), adjusted, 0.15 if adjusted else None)
        visits.append(VisitRecord(date(2010, 1, 1) + timedelta(days=200 * t), 5000.0 * t, records, 20.0))
    return visits


def _gain(trend: Trend, onset: Onset, loading: np.ndarray, amount: float) -> float:
    sig = signatures(trend, [onset])[0]
    n, V = len(sig.h), len(ENGINE.valves)
    u = np.zeros(n)
    if onset.how == "jump":
        u[:V] = loading
    else:
        u[:V], u[V : 2 * V] = loading * sig.dist, loading
    M = np.eye(n) + sig.L @ sig.P
    r, N = np.linalg.solve(M, sig.h), np.linalg.solve(M, sig.L)
    return float(amount * u @ r - 0.5 * amount**2 * u @ N @ u)


@pytest.mark.parametrize(("how", "on"), [("jump", "gap"), ("slope", "drift")])
@pytest.mark.parametrize("session", [2, 4, 5])
def test_the_gain_of_a_jump_is_the_filters_gain_in_evidence(how: str, on: str, session: int) -> None:
    visits = _visits(6)
    trend = fit(ENGINE, visits, EXACT)
    loading = {Valve("E", 1): -1.0, Valve("I", 2): 0.4}
    vector = np.array([loading.get(v, 0.0) for v in ENGINE.valves])
    amount = 0.04 if how == "jump" else 0.006
    moved = fit(ENGINE, visits, EXACT, shocks=[Shock(session, on, loading, amount, 0.0)])  # type: ignore[arg-type]
    # derived: with Gaussian readings both are exact
    got = _gain(trend, Onset(session, how), vector, amount)  # type: ignore[arg-type]
    assert got == pytest.approx(moved.log_evidence - trend.log_evidence, abs=1e-6)


def test_a_slope_from_new_is_the_filters_gain_from_the_first_visit() -> None:
    visits = _visits(5)
    trend = fit(ENGINE, visits, EXACT)
    loading = {Valve("E", 2): -1.0}
    vector = np.array([loading.get(v, 0.0) for v in ENGINE.valves])
    moved = fit(ENGINE, visits, EXACT, shocks=[Shock(0, "drift", loading, 0.005, 0.0)])
    got = _gain(trend, Onset(0, "new"), vector, 0.005)
    assert got == pytest.approx(moved.log_evidence - trend.log_evidence, abs=1e-6)  # derived


def test_a_slope_from_new_may_be_judged_by_the_last_visits_alone() -> None:
    trend = fit(ENGINE, _visits(6), EXACT)
    late = signatures(trend, [Onset(3, "new")])[0]
    V, first = len(ENGINE.valves), fit(ENGINE, [], EXACT)
    drifts = slice(V, 2 * V)
    # derived: the drifts are back at what was assumed beforehand, the gaps are not
    assert late.P[drifts, drifts] == pytest.approx(first.cov[drifts, drifts])
    assert np.all(np.diag(late.P)[:V] < 0.5 * np.diag(first.cov)[:V])


def test_only_so_many_visits_from_the_onset_on_count() -> None:
    visits = _visits(6)
    whole, short = fit(ENGINE, visits, EXACT), fit(ENGINE, visits[:4], EXACT)
    bounded = signatures(whole, [Onset(2, "jump")], visits=2)[0]
    assert bounded.h == pytest.approx(signatures(short, [Onset(2, "jump")])[0].h)


def test_at_the_last_visit_it_is_site_minus_prediction() -> None:
    trend = fit(ENGINE, _visits(4), EXACT)
    sig = signatures(trend, [Onset(3, "jump")])[0]
    session = trend.sessions[-1]
    read = np.array([session.visit.valves[v].found.lo for v in ENGINE.valves])  # type: ignore[union-attr]
    Sigma = session.reading_cov + EXACT.drag**2 * np.eye(len(read))
    expected = np.linalg.solve(Sigma, read - session.reading_mean)
    M = np.eye(len(sig.h)) + sig.L @ sig.P
    V = len(read)
    # derived: r = H' F^-1 v, N = H' F^-1 H for the gap part of the state
    assert np.linalg.solve(M, sig.h)[:V] == pytest.approx(expected, rel=1e-6, abs=1e-6)
    assert np.linalg.solve(M, sig.L)[:V, :V] == pytest.approx(np.linalg.inv(Sigma), rel=1e-6, abs=1e-3)


def test_several_onsets_at_once_are_the_same_as_one_by_one() -> None:
    trend = fit(ENGINE, _visits(6), EXACT)
    onsets = [Onset(5, "jump"), Onset(3, "slope"), Onset(4, "jump"), Onset(0, "new")]
    for onset, both in zip(onsets, signatures(trend, onsets), strict=True):
        alone = signatures(trend, [onset])[0]
        assert both.onset == onset
        assert both.h == pytest.approx(alone.h, rel=1e-6, abs=1e-6)


def test_a_valve_that_was_not_read_says_nothing() -> None:
    visits = _visits(3)
    last = dict(visits[-1].valves)
    last[Valve("E", 1)] = ValveRecord()
    trend = fit(ENGINE, [*visits[:-1], replace(visits[-1], valves=last)], EXACT)
    sig = signatures(trend, [Onset(2, "jump")])[0]
    i = ENGINE.valves.index(Valve("E", 1))
    assert not sig.read[i]
    assert np.abs(sig.L[i]).max() == pytest.approx(0.0, abs=1e-6)


def test_no_onsets_give_no_signatures() -> None:
    assert signatures(fit(ENGINE, _visits(2)), []) == ()
