"""The trend of an engine: answers for every kind of book, limits, temperature, restarts, batches."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin, single, v12
from tests.wear.books import every_valve, visit

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import DEFAULTS
from coldlash.wear.simulate import COARSE, FINE, Event, Plan, simulate
from coldlash.wear.trend import Shock, Trend, expect_next, fit, fit_many, widened_sites

TWIN = flat_twin()
I1, E1 = Valve("I", 1), Valve("E", 1)
INF = math.inf


def _finite(trend: Trend) -> None:
    assert np.isfinite(trend.mean).all()
    assert np.isfinite(trend.cov).all()
    assert np.linalg.eigvalsh(trend.cov).min() > -1e-12
    assert math.isfinite(trend.log_evidence)
    for valve in trend.valves:
        assert trend.gap(valve).sd > 0
        assert trend.drift(valve).sd > 0
        for point in trend.history(valve):
            # Hindsight may widen a little where it makes an earlier reading look misread.
            assert point.before_now.sd <= point.before_then.sd * 1.001
    for expected in expect_next(trend, 5000.0).values():
        assert expected.lo < expected.mean < expected.hi


DEGENERATE: dict[str, list[VisitRecord]] = {
    "no visits": [],
    "a visit without readings": [visit(0)],
    "one visit": [visit(0, every_valve(TWIN, (0.10, 0.15)))],
    "no blade ever went": [visit(5000 * i, every_valve(TWIN, (-INF, 0.05))) for i in range(6)],
    "the thickest always went": [visit(5000 * i, every_valve(TWIN, (0.30, INF))) for i in range(6)],
    "one valve never measured": [visit(5000 * i, {"I1": (0.1, 0.15), "E1": (0.1, 0.15)}) for i in range(6)],
    "distances go backwards": [
        visit(km, every_valve(TWIN, (0.1, 0.15)), day=i) for i, km in enumerate((9e4, 5e4, 2e4))
    ],
    "two visits on one day": [
        visit(0, every_valve(TWIN, (0.1, 0.15)), day=3),
        visit(0, every_valve(TWIN, (0.1, 0.15)), day=3),
    ],
    "twenty years between": [
        visit(0, every_valve(TWIN, (0.1, 0.15)), day=0),
        visit(300_000, every_valve(TWIN, (0.1, 0.15)), day=7300),
    ],
    "readings that contradict each other": [
        visit(0, every_valve(TWIN, (0.30, INF)), day=1),
        visit(0, every_valve(TWIN, (-INF, 0.05)), day=1),
    ],
    "set without ever being measured": [visit(5000 * i, I1=ValveRecord(adjusted=True)) for i in range(5)],
    "always drag on a blade": [visit(5000 * i, every_valve(TWIN, (0.15, 0.15))) for i in range(5)],
    "a part replaced at every visit": [
        visit(5000 * i, E1=ValveRecord(GapInterval(0.1, 0.15), True, None, GapInterval(0.15, 0.2), True))
        for i in range(5)
    ],
    "unknown ladder and temperature": [
        visit(5000 * i, every_valve(TWIN, (0.1, 0.15)), temp=None, ladder=()) for i in range(5)
    ],
}


@pytest.mark.parametrize("book", DEGENERATE)
@pytest.mark.parametrize("coefficient", [None, {"I": (0.002, 0.001), "E": (0.003, 0.001)}])
def test_a_poor_book_still_gets_an_answer(
    book: str, coefficient: dict[str, tuple[float, float]] | None
) -> None:
    _finite(fit(TWIN, DEGENERATE[book], coefficient=coefficient))  # type: ignore[arg-type]


def test_without_visits_the_answer_is_the_prior() -> None:
    trend = fit(TWIN, [])
    assert trend.gap(E1) == pytest.approx((0.15, DEFAULTS.start))
    assert trend.drift(E1).mean == DEFAULTS.drift_mean_exhaust
    assert trend.as_of_km is None


def test_a_valve_never_measured_stays_less_certain_than_one_that_was() -> None:
    trend = fit(TWIN, DEGENERATE["one valve never measured"])
    assert trend.gap(Valve("I", 2)).sd > 5 * trend.gap(I1).sd


def test_an_interval_opened_wide_equals_right_censoring() -> None:
    # Limiting case.
    far = fit(TWIN, [visit(5000 * i, every_valve(TWIN, (0.15, 90.0))) for i in range(4)])
    none = fit(TWIN, [visit(5000 * i, every_valve(TWIN, (0.15, INF))) for i in range(4)])
    assert far.mean == pytest.approx(none.mean, abs=1e-9)
    assert far.cov == pytest.approx(none.cov, abs=1e-9)


def test_zero_drift_prior_equals_no_drift() -> None:
    # Limiting case: without any drift allowed, distance moves a mean by nothing.
    still = replace(
        DEFAULTS,
        drift_mean_intake=0.0,
        drift_mean_exhaust=0.0,
        drift_sd_intake=0.0,
        drift_sd_exhaust=0.0,
        drift_spread_intake=0.0,
        drift_spread_exhaust=0.0,
    )
    trend = fit(TWIN, [visit(0, every_valve(TWIN, (0.1, 0.15))), visit(90_000)], still)
    assert trend.drift(E1) == (0.0, 0.0)
    assert trend.gap(E1).mean == pytest.approx(
        fit(TWIN, [visit(0, every_valve(TWIN, (0.1, 0.15)))], still).gap(E1).mean
    )


def test_the_blade_it_was_set_on_is_a_target_not_an_interval() -> None:
    # Derived: one setting alone leaves the gap about the blade, sd of setting, hand, offset together.
    trend = fit(TWIN, [visit(0, E1=ValveRecord(adjusted=True, set_to=0.20))])
    gap = trend.gap(E1)
    assert gap.mean == pytest.approx(0.20, abs=1e-12)
    assert gap.sd == pytest.approx(math.sqrt(0.012**2 + 0.010**2 + 0.010**2))


def test_the_hand_s_bias_is_learnt_from_what_was_read_after_setting() -> None:
    records = {
        str(v): ValveRecord(GapInterval(0.10, 0.15), True, 0.15, GapInterval(0.16, 0.18)) for v in TWIN.valves
    }
    trend = fit(TWIN, [visit(5000 * i, **records) for i in range(6)])
    assert trend.hand_bias().mean > 0.008
    assert trend.hand_bias().sd < 0.006


def test_an_unknown_hand_is_named_in_the_error() -> None:
    with pytest.raises(InputError, match="no hand called 'Bob' in this book; there are ''"):
        fit(TWIN, [visit(0)]).hand_bias("Bob")


def test_a_valve_the_engine_has_not_is_named_in_the_error() -> None:
    with pytest.raises(InputError, match="has no valve E7; it has I1, E1, I2, E2"):
        fit(TWIN, []).gap(Valve("E", 7))


def test_a_replaced_part_starts_gap_and_drift_afresh_and_leaves_its_neighbours() -> None:
    visits = [visit(5000 * i, every_valve(TWIN, (0.10, 0.15))) for i in range(8)]
    last = visits[-1]
    touched = {**last.valves, E1: replace(last.valves[E1], restart=True)}
    before, after = fit(TWIN, visits), fit(TWIN, [*visits[:-1], replace(last, valves=touched)])
    assert after.gap(E1) == pytest.approx((0.15, DEFAULTS.start))
    assert after.drift(E1).sd > before.drift(E1).sd
    assert after.drift(E1).mean == pytest.approx(after.pooled_drift("E").mean)
    assert after.gap(I1) == pytest.approx(before.gap(I1))


def test_one_misread_does_not_move_the_gap() -> None:
    visits = [visit(5000 * i, every_valve(TWIN, (0.10, 0.15))) for i in range(10)]
    odd = {**visits[8].valves, E1: ValveRecord(GapInterval(0.30, INF))}
    fooled = fit(TWIN, [*visits[:8], replace(visits[8], valves=odd), visits[9]])
    assert abs(fooled.gap(E1).mean - fit(TWIN, visits).gap(E1).mean) < 0.01


def test_the_next_reading_is_expected_where_the_trend_points() -> None:
    trend = fit(TWIN, [visit(5000 * i, every_valve(TWIN, (0.10, 0.15))) for i in range(10)])
    expected = expect_next(trend, 5000.0, 20.0)[E1]
    assert expected.mean == pytest.approx(trend.gap(E1).mean + 5 * trend.drift(E1).mean, abs=1e-12)
    assert not expected.surprising(GapInterval(0.10, 0.15))
    assert not expected.surprising(GapInterval(-INF, 0.10))
    assert expected.surprising(GapInterval(0.25, INF))
    assert expected.surprising(GapInterval(-INF, 0.04))


def test_98_of_100_next_readings_are_no_surprise() -> None:
    # Derived from simulation: readings as felt, before the blades round them, fall in the range 98 % of the time.
    rng = np.random.default_rng(20)
    plan = Plan(visits=13, ladder_mm=tuple(np.round(np.arange(0.0, 0.4, 0.002), 4)))
    clean = replace(DEFAULTS, misread=0.0)
    inside = []
    for _ in range(40):
        sim = simulate(flat_four(), rng, plan, clean)
        trend = fit(sim.engine, sim.visits[:-1], clean)
        gone = sim.visits[-1].distance_km - sim.visits[-2].distance_km
        for valve, expected in expect_next(trend, gone, 20.0).items():
            found = sim.visits[-1].valves[valve].found
            assert found is not None
            inside.append(expected.lo <= 0.5 * (max(found.lo, -1) + min(found.hi, 1)) <= expected.hi)
    assert np.mean(inside) == pytest.approx(0.98, abs=3 * math.sqrt(0.98 * 0.02 / len(inside)) + 0.004)


@pytest.mark.parametrize(
    ("km", "temp", "message"), [(-1.0, None, "give 0 km or more"), (0.0, math.inf, "give C, or none")]
)
def test_expectations_refuse_what_cannot_be(km: float, temp: float | None, message: str) -> None:
    with pytest.raises(InputError, match=message):
        expect_next(fit(TWIN, []), km, temp)


def test_readings_from_warm_and_cold_garages_come_out_unbiased_after_correction() -> None:
    # Derived from simulation: steel-pushrod engine, +3 um/K, garages from 2 to 35 C; the gap at 20 C is recovered.
    coefficient = {"I": (0.003, 0.0005), "E": (0.0025, 0.0005)}
    rng = np.random.default_rng(7)
    with_it, without = [], []
    for _ in range(30):
        sim = simulate(
            flat_four(), rng, Plan(visits=10, ladder_mm=FINE, temps_c=(2.0, 35.0)), coefficient=coefficient
        )  # type: ignore[arg-type]
        good = fit(sim.engine, sim.visits, coefficient=coefficient)  # type: ignore[arg-type]
        poor = fit(sim.engine, sim.visits)
        V = good.layout.V
        sd = np.sqrt(np.diag(good.cov))
        with_it.append((sim.after[-1] - good.mean[:V]) / sd[:V])
        without.append(sim.after[-1] - poor.mean[:V])
        assert good.temperature("I") is not None
        assert poor.temperature("I") is None
    z = np.array(with_it)
    assert abs(z.mean()) < 0.25
    assert 0.8 < z.std() < 1.2
    assert np.array(without).std() > 1.3 * (z * 0.011).std()


def test_an_unknown_temperature_makes_the_readings_say_less() -> None:
    coefficient = {"I": (0.003, 0.0), "E": (0.003, 0.0)}
    known = fit(TWIN, [visit(0, every_valve(TWIN, (0.10, 0.12)))], coefficient=coefficient)  # type: ignore[arg-type]
    unknown = fit(TWIN, [visit(0, every_valve(TWIN, (0.10, 0.12)), temp=None)], coefficient=coefficient)  # type: ignore[arg-type]
    assert unknown.gap(I1).sd > 1.3 * known.gap(I1).sd


def test_two_temperatures_narrow_the_engine_s_own_coefficient() -> None:
    coefficient = {"I": (0.002, 0.002), "E": (0.002, 0.002)}
    visits = []
    for i in range(10):
        cold = i % 2 == 0
        visits.append(
            visit(
                10.0 * i,
                every_valve(TWIN, (0.10, 0.11) if cold else (0.22, 0.23)),
                temp=5.0 if cold else 35.0,
            )
        )
    trend = fit(TWIN, visits, coefficient=coefficient)  # type: ignore[arg-type]
    got = trend.temperature("I")
    assert got is not None
    assert got.mean == pytest.approx(0.004, abs=0.0006)
    assert got.sd < 0.0006


def test_an_accepted_jump_takes_the_place_of_a_drift() -> None:
    e2 = Valve("E", 2)
    sim = simulate(
        TWIN,
        np.random.default_rng(3),
        Plan(visits=20, ladder_mm=FINE),
        events=[Event(9, {e2: 1.0}, jump=0.06)],
    )
    plain = fit(TWIN, sim.visits)
    told = fit(TWIN, sim.visits, shocks=[Shock(10, "gap", {e2: 1.0}, 0.05, 0.03)])
    assert told.log_evidence > plain.log_evidence + 3
    truth = sim.drift[-1, plain.index(e2)]
    assert abs(told.drift(e2).mean - truth) < abs(plain.drift(e2).mean - truth)


def test_a_jump_outside_the_book_is_refused() -> None:
    with pytest.raises(InputError, match="a jump at visit 3, but the book has visits 0 to 0"):
        fit(TWIN, [visit(0)], shocks=[Shock(3, "gap", {E1: 1.0}, 0.05, 0.03)])


def test_a_jump_of_a_valve_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="a jump of E9, but Test engine has I1"):
        fit(TWIN, [visit(0)], shocks=[Shock(0, "drift", {Valve("E", 9): 1.0}, 0.05, 0.03)])


def test_a_batch_of_unlike_engines_gives_each_the_trend_it_has_alone() -> None:
    rng = np.random.default_rng(8)
    engines: list[Engine] = [single(), flat_four(), v12(), flat_twin()]
    sims = [simulate(e, rng, Plan(visits=4 + 3 * i, ladder_mm=COARSE)) for i, e in enumerate(engines)]
    for sim, now in zip(sims, fit_many([(s.engine, s.visits) for s in sims]), strict=True):
        alone = fit(sim.engine, sim.visits)
        V = alone.layout.V
        assert now.gap_mean == pytest.approx(alone.mean[:V], abs=1e-5)
        assert now.drift_sd == pytest.approx(np.sqrt(np.diag(alone.cov)[V : 2 * V]), rel=1e-3)
        assert now.log_evidence == pytest.approx(alone.log_evidence, abs=1e-3)


@pytest.mark.parametrize("ladder", [COARSE, FINE])
def test_intervals_cover_the_truth_as_often_as_they_say(ladder: tuple[float, ...]) -> None:
    # Derived from simulation (simulation-based calibration); the full study is benchmarks/study_calibration.py.
    rng = np.random.default_rng(99)
    sims = [simulate(flat_four(), rng, Plan(visits=25, ladder_mm=ladder)) for _ in range(200)]
    now = fit_many([(s.engine, s.visits) for s in sims])
    for mean, sd, truth in (
        ("gap_mean", "gap_sd", [s.after[-1] for s in sims]),
        ("drift_mean", "drift_sd", [s.drift[-1] for s in sims]),
    ):
        z = (np.array(truth) - np.array([getattr(n, mean) for n in now])) / np.array(
            [getattr(n, sd) for n in now]
        )
        assert np.mean(np.abs(z) < 0.67449) == pytest.approx(0.5, abs=0.04)
        assert np.mean(np.abs(z) < 1.64485) == pytest.approx(0.9, abs=0.03)


def test_history_tells_what_was_known_then_and_with_hindsight() -> None:
    sim = simulate(TWIN, np.random.default_rng(2), Plan(visits=12))
    history = fit(TWIN, sim.visits).history(E1)
    assert len(history) == 12
    assert history[-1].after_now == pytest.approx(history[-1].after_then)
    assert history[4].before_now.sd < history[4].before_then.sd
    for point, record in zip(history, sim.visits, strict=True):
        assert point.found == record.valves[E1].found
        assert (point.set_to is not None) == record.valves[E1].adjusted


def test_sessions_hold_readings_expectations_and_sites() -> None:
    trend = fit(TWIN, [visit(5000 * i, {"I1": (0.10, 0.15), "E1": (0.15, 0.20)}) for i in range(3)])
    last = trend.sessions[-1]
    assert list(last.read) == [True, True, False, False]
    assert last.driven_km == 5000.0
    assert np.all(last.tau[:2] > 0)
    assert np.all(last.tau[2:] == 0)
    alone = fit(TWIN, [visit(5000 * i, {"I1": (0.10, 0.15), "E1": (0.15, 0.20)}) for i in range(2)])
    ahead = alone.gap(I1).mean + 5 * alone.drift(I1).mean
    assert last.gap_mean[0] == pytest.approx(ahead, abs=1e-9)


def test_sites_under_a_widened_prediction_sit_in_their_interval() -> None:
    trend = fit(TWIN, [visit(0, {"I1": (0.10, 0.15), "E1": (0.30, INF)})])
    centre, var = widened_sites(trend, trend.sessions[0])
    assert centre[0] == pytest.approx(0.125, abs=0.003)
    assert math.sqrt(var[0]) == pytest.approx(math.hypot(0.05 / math.sqrt(12), 0.015), rel=0.1)
    assert centre[1] > 0.30
    assert np.isinf(var[2:]).all()


def _hostile(rng: np.random.Generator) -> list[VisitRecord]:
    """A book of nonsense: readings at random, jumps of a million km, parts replaced, nothing in order."""
    ladder = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40)

    def reading() -> GapInterval:
        k = int(rng.integers(0, len(ladder) + 1))
        if rng.random() < 0.15:
            return GapInterval(ladder[k % 7], ladder[k % 7])
        return GapInterval(-INF if k == 0 else ladder[k - 1], INF if k == len(ladder) else ladder[k])

    visits, km = [], 0.0
    for i in range(int(rng.integers(1, 12))):
        km += float(rng.choice([0.0, 1.0, 5000.0, 90_000.0, -4000.0, 1e6], p=[0.1, 0.1, 0.5, 0.1, 0.1, 0.1]))
        records = {
            str(v): ValveRecord(
                reading() if rng.random() < 0.85 else None,
                bool(rng.random() < 0.3),
                None,
                reading() if rng.random() < 0.3 else None,
                bool(rng.random() < 0.07),
            )
            for v in TWIN.valves
        }
        visits.append(
            visit(km, day=30 * i, temp=None if rng.random() < 0.3 else float(rng.uniform(-10, 60)), **records)
        )
    return visits


@pytest.mark.parametrize("misread", [0.0, 0.005, 0.3])
@pytest.mark.parametrize("sharp", [True, False])
def test_a_book_of_nonsense_keeps_every_variance_proper(misread: float, sharp: bool) -> None:
    # Readings that contradict each other once gave a covariance with a negative eigenvalue; some sds may be 0.
    settings = replace(DEFAULTS, misread=misread)
    if sharp:
        settings = replace(settings, wander=0.0, setting=0.0, hand=0.0, offset=0.1)
    rng = np.random.default_rng(17)
    for _ in range(25):
        trend = fit(TWIN, _hostile(rng), settings, {"I": (0.003, 0.001), "E": (-0.002, 0.0)})
        assert np.isfinite(trend.cov).all()
        assert math.isfinite(trend.log_evidence)
        assert np.linalg.eigvalsh(trend.cov).min() > -1e-11
        for valve in trend.valves:
            assert all(math.isfinite(p.before_now.mean) for p in trend.history(valve))
