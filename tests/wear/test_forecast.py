"""Risk, the next check and its date: limits, closed forms, reliability. The law itself: tests/outside."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from tests.engines import flat_four, flat_twin
from tests.wear.books import every_valve, visit

from coldlash.engine.spec import GapSpec, Service, Valve
from coldlash.errors import InputError
from coldlash.wear.forecast import (
    Driving,
    all_risks,
    driving,
    due,
    fan,
    first_passage,
    p_loose,
    p_tight,
    passage_risk,
    recheck,
    risks,
)
from coldlash.wear.record import VisitRecord
from coldlash.wear.simulate import Plan, simulate
from coldlash.wear.trend import Trend, fit

E1 = Valve("E", 1)
TWIN = flat_twin()


def _steady() -> Trend:
    return fit(TWIN, [visit(5000 * i, every_valve(TWIN, (0.10, 0.15))) for i in range(10)])


def test_drift_uncertainty_is_integrated_as_quadrature_does() -> None:
    # Independent software: scipy.integrate.quad over the drift.
    for x, mean, sd, L in (
        (0.03, -0.002, 0.002, 5.0),
        (0.02, 0.004, 0.001, 10.0),
        (0.005, 0.01, 0.0005, 30.0),
    ):

        def inner(d, x=x, L=L):
            return float(first_passage(np.array(x), np.array(d), np.array(0.0), 0.004, np.array(L)))

        exact = quad(
            lambda d, f=inner, m=mean, s=sd: norm.pdf(d, m, s) * f(d),
            mean - 9 * sd,
            mean + 9 * sd,
            epsabs=1e-13,
        )[0]
        got = first_passage(np.array(x), np.array(mean), np.array(sd), 0.004, np.array(L))
        assert float(got) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("wander", [0.0, 1e-6, 0.004, 0.5])
@pytest.mark.parametrize("drift", [-5.0, -0.003, 0.0, 0.003, 5.0])
@pytest.mark.parametrize("sd", [0.0, 0.001, 2.0])
def test_risk_is_a_probability_that_never_falls_with_distance(wander: float, drift: float, sd: float) -> None:
    L = np.array([0.0, 1e-6, 0.1, 1.0, 10.0, 1000.0])
    for x in (-0.1, 0.0, 1e-9, 0.01, 0.1, 3.0):
        p = first_passage(np.array(x), np.array(drift), np.array(sd), wander, L)
        assert np.all((p >= 0) & (p <= 1))
        assert np.all(np.diff(p) >= -1e-9)
        if x <= 0:
            assert np.all(p == 1.0)


def test_mass_already_past_the_limit_counts_one() -> None:
    # Derived: at no distance the risk is the mass past the limit, Phi(-mean / sd).
    p = passage_risk((0.01, -0.002), (0.01**2, 0.0, 0.001**2), 0.004, np.array([0.0]))
    assert float(p[0]) == pytest.approx(norm.cdf(-1.0), abs=1e-5)


def test_a_certain_gap_gives_the_plain_law() -> None:
    plain = first_passage(np.array(0.02), np.array(-0.003), np.array(0.001), 0.004, np.array(5.0))
    risk = passage_risk((0.02, -0.003), (0.0, 0.0, 0.001**2), 0.004, np.array([5.0]))
    assert float(risk[0]) == pytest.approx(float(plain))


def test_the_plug_in_of_means_understates_the_risk() -> None:
    # What the uncertainty is for: plugging in means says far less than what happens.
    plug = passage_risk((0.05, -0.004), (0.0, 0.0, 0.0), 0.004, np.array([5.0]))
    full = passage_risk((0.05, -0.004), (0.012**2, 0.0, 0.002**2), 0.004, np.array([5.0]))
    assert full[0] > 10 * plug[0]


def test_tight_and_loose_are_mirror_images() -> None:
    mirrored = replace(TWIN, gaps={"I": GapSpec(0.15, 0.05, 0.25), "E": GapSpec(0.15, 0.05, 0.25)})
    low = fit(mirrored, [])
    flipped = replace(
        low, means=np.where(np.arange(low.layout.n) < low.layout.V, 0.30 - low.means, -low.means)
    )
    assert p_loose(flipped, E1, 5000.0) == pytest.approx(p_tight(low, E1, 5000.0))


def test_without_a_limit_there_is_no_risk_to_state() -> None:
    trend = fit(replace(TWIN, gaps={"I": GapSpec(0.0), "E": GapSpec(0.1, 0.02, None)}), [])
    assert p_tight(trend, Valve("I", 1), 5000.0) is None
    assert p_loose(trend, E1, 5000.0) is None
    assert all_risks(trend, 5000.0)[E1][0] is not None


def test_a_mixture_s_risk_is_the_weighted_risk_of_its_parts() -> None:
    one, other = _steady(), fit(TWIN, [visit(0, every_valve(TWIN, (0.05, 0.10)))])
    both = replace(
        one,
        weights=np.array([0.3, 0.7]),
        means=np.concatenate([one.means, other.means]),
        covs=np.concatenate([one.covs, other.covs]),
    )
    parts = [p_tight(t, E1, 5000.0) for t in (one, other)]
    assert parts[0] is not None
    assert parts[1] is not None
    assert p_tight(both, E1, 5000.0) == pytest.approx(0.3 * parts[0] + 0.7 * parts[1])


@pytest.mark.parametrize("km", [-1.0, math.nan])
def test_a_distance_that_cannot_be_is_refused(km: float) -> None:
    with pytest.raises(InputError, match="give 0 km or more"):
        risks(_steady(), E1, [km], "tight")


def test_the_next_check_is_the_farthest_at_the_accepted_risk() -> None:
    trend = fit(TWIN, [visit(5000 * i, every_valve(TWIN, (0.10, 0.12))) for i in range(6)])
    found = recheck(trend, 20_000.0)
    assert found.valve is not None
    assert found.side == "tight"
    assert 0 < found.km < 20_000
    assert max(p_tight(trend, v, found.km) or 0 for v in trend.valves) <= 0.01
    assert max(p_tight(trend, v, found.km + 15.0) or 0 for v in trend.valves) > 0.01
    assert found.risk == pytest.approx(p_tight(trend, found.valve, found.km))


def test_the_next_check_is_never_beyond_the_usual_interval() -> None:
    trend = fit(TWIN, [visit(1000 * i, every_valve(TWIN, (0.12, 0.15))) for i in range(20)])
    assert recheck(trend, 500.0) == (recheck(trend, 500.0).__class__(500.0, 500.0, None, None, None))
    serviced = replace(trend, engine=replace(TWIN, service=Service(every_km=300.0)))
    assert recheck(serviced).usual_km == 300.0


def test_a_gap_probably_past_its_limit_is_checked_now() -> None:
    trend = fit(TWIN, [visit(0, every_valve(TWIN, (-math.inf, 0.05)))])
    assert recheck(trend).km == 0.0


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"tight_risk": 0.0}, "risk of too tight of 0.0"),
        ({"loose_risk": 1.0}, "risk of too loose of 1.0"),
        ({"usual_km": 0.0}, "usual interval of 0.0 km"),
    ],
)
def test_thresholds_that_cannot_be_are_refused(more: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        recheck(_steady(), **more)  # type: ignore[arg-type]


def test_the_fan_starts_at_now_and_widens() -> None:
    trend = _steady()
    ahead = fan(trend, E1, [0.0, 5000.0, 10_000.0])
    assert (ahead.mean[0], ahead.sd[0]) == pytest.approx(trend.gap(E1))
    assert np.all(np.diff(ahead.sd) > 0)
    assert ahead.mean[2] - ahead.mean[0] == pytest.approx(10 * trend.drift(E1).mean)


def test_forecast_risks_happen_as_often_as_they_say() -> None:
    # Derived from simulation: brute-force futures of simulated engines from the posterior's own truth; the study
    # with every bin is benchmarks/study_calibration.py.
    rng = np.random.default_rng(31)
    said, happened = [], []
    for _ in range(60):
        sim = simulate(flat_four(), rng, Plan(visits=8))
        trend = fit(sim.engine, sim.visits)
        for i, valve in enumerate(trend.valves):
            p = p_tight(trend, valve, 15_000.0)
            assert p is not None
            said.append(p)
            steps = rng.normal(sim.drift[-1, i] * 0.1, 0.004 * math.sqrt(0.1), 150)
            path = sim.after[-1, i] + np.concatenate([[0.0], np.cumsum(steps)])
            happened.append(bool(np.min(path) < 0.05))
    error = math.sqrt(np.mean(np.array(said) * (1 - np.array(said))) / len(said))
    assert np.mean(said) == pytest.approx(float(np.mean(happened)), abs=3 * error + 0.01)


def _driven(km_per_year: float, years: int) -> list[VisitRecord]:
    return [visit(km_per_year * i, day=365 * i) for i in range(years + 1)]


def test_the_rate_of_driving_is_distance_over_days() -> None:
    how = driving(_driven(3650.0, 5))
    assert how is not None
    assert how.km_per_day == pytest.approx(10.0)


def test_recent_years_count_more() -> None:
    busy_then_quiet = [visit(0, day=0), visit(20_000, day=3650), visit(21_000, day=7300)]
    how = driving(busy_then_quiet)
    assert how is not None
    assert how.km_per_day < 0.5 * 21_000 / 7300


@pytest.mark.parametrize(
    "visits", [[], [visit(0)], [visit(0, day=1), visit(900, day=1)], [visit(500, day=1), visit(500, day=900)]]
)
def test_without_days_or_distance_there_is_no_rate(visits: list[VisitRecord]) -> None:
    assert driving(visits) is None


def test_a_date_has_a_spread_that_grows_with_the_unsteadiness_of_driving() -> None:
    since = date(2020, 1, 1)
    calm, wild = due(3650.0, since, Driving(10.0, 0.1, 10.0)), due(3650.0, since, Driving(10.0, 3.0, 150.0))
    assert abs((calm.middle - (since + timedelta(days=365))).days) <= 2
    assert wild.late - wild.early > 3 * (calm.late - calm.early)
    assert calm.early < calm.middle < calm.late


def test_the_dates_hold_the_time_a_simulated_driver_takes() -> None:
    # Derived from simulation: Wiener driving at a rate drawn from its own spread; 80 % fall between early and late.
    rng = np.random.default_rng(3)
    how, since = Driving(12.0, 1.0, 40.0), date(2020, 1, 1)
    said = due(4000.0, since, how)
    days = []
    for _ in range(800):
        path = np.cumsum(rng.normal(rng.normal(how.km_per_day, how.sd), how.wobble, 1500))
        days.append(int(np.argmax(path >= 4000.0)))
    inside = [(said.early - since).days <= d <= (said.late - since).days for d in days]
    assert np.mean(inside) == pytest.approx(0.8, abs=0.05)


def test_a_far_date_does_not_run_off_the_calendar() -> None:
    assert due(1e9, date(2020, 1, 1), Driving(0.001, 0.001, 1.0)).late <= date.max


def test_nothing_left_to_drive_is_due_now() -> None:
    since = date(2020, 1, 1)
    assert due(0.0, since, Driving(10.0, 1.0, 1.0)) == (since, since, since)


def test_a_negative_distance_has_no_date() -> None:
    with pytest.raises(InputError, match=r"a distance of -5\.0 km ahead"):
        due(-5.0, date(2020, 1, 1), Driving(10.0, 1.0, 1.0))
