"""Did a drift change: detection, direction, onset, false alarms, new parts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin
from tests.wear.books import every_valve, visit

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.wear.change import ChangeSettings, Suspect, detect, single_valves
from coldlash.wear.forecast import p_tight
from coldlash.wear.simulate import COARSE, Event, Plan, Simulated, simulate
from coldlash.wear.trend import fit

E2 = Valve("E", 2)
FOUR = flat_four()


def _changed(slope: float, seed: int, visits: int = 26) -> Simulated:
    rng = np.random.default_rng(seed)
    return simulate(FOUR, rng, Plan(visits=visits), events=[Event(11, {E2: 1.0}, slope=slope)])


@pytest.mark.parametrize(("slope", "direction"), [(-0.015, "tighter"), (0.015, "looser")])
def test_a_changed_drift_is_found_with_direction_and_onset(slope: float, direction: str) -> None:
    sim = _changed(slope, 5)
    changes = detect(fit(FOUR, sim.visits))
    (found,) = changes.warnings()
    assert found.suspect.name == "E2"
    assert found.direction == direction
    assert abs(found.onset_session - 12) <= 2
    assert found.since_km == sim.visits[found.onset_session - 1].distance_km
    assert (found.drift_now < found.drift_before) == (slope < 0)
    assert changes.of_valve(E2) == found


def test_median_delay_is_four_to_five_services_at_three_in_a_hundred_false_alarms() -> None:
    # Bar of the prototype, on fixed seeds; the study with more engines is benchmarks/study_calibration.py.
    delays, alarms = [], []
    for seed in range(24):
        rng = np.random.default_rng(100 + seed)
        i, slope = int(rng.integers(8)), float(rng.choice([-0.010, 0.010]))
        sim = simulate(FOUR, rng, Plan(visits=28), events=[Event(11, {FOUR.valves[i]: 1.0}, slope=slope)])
        hit = np.flatnonzero(detect(fit(FOUR, sim.visits)).path[12:, i, int(slope > 0)] > 0.9)
        delays.append(hit[0] + 1 if len(hit) else 99)
    for seed in range(40):
        quiet = simulate(FOUR, np.random.default_rng(500 + seed), Plan(visits=24))
        alarms.append(bool(detect(fit(FOUR, quiet.visits)).path.max() > 0.9))
    assert np.median(delays) <= 5
    assert np.mean(alarms) <= 0.05


def test_a_steady_engine_raises_no_warning() -> None:
    sim = simulate(FOUR, np.random.default_rng(2), Plan(visits=20))
    changes = detect(fit(FOUR, sim.visits))
    assert changes.warnings() == []
    assert changes.path[-1].sum() < 0.5


def test_the_trend_with_changes_weighed_in_follows_the_new_drift() -> None:
    sim = _changed(-0.015, 5)
    plain = fit(FOUR, sim.visits)
    weighed = detect(plain).trend
    truth = sim.drift[-1, plain.index(E2)]
    assert abs(weighed.drift(E2).mean - truth) < abs(plain.drift(E2).mean - truth)
    assert float(weighed.weights.sum()) == pytest.approx(1.0)
    risk, plain_risk = p_tight(weighed, E2, 5000.0), p_tight(plain, E2, 5000.0)
    assert risk is not None
    assert plain_risk is not None
    assert risk >= plain_risk


def test_a_change_beyond_doubt_is_settled_and_a_second_one_is_still_seen() -> None:
    e3 = Valve("E", 3)
    events = [Event(6, {E2: 1.0}, slope=-0.020), Event(22, {e3: 1.0}, slope=-0.020)]
    sim = simulate(FOUR, np.random.default_rng(6), Plan(visits=36), events=events)
    changes = detect(fit(FOUR, sim.visits))
    assert {FOUR.valves[s.suspect] for s in changes.settled} >= {E2}
    assert {c.suspect.name for c in changes.warnings()} == {"E2", "E3"}


def test_a_new_part_ends_the_change_of_the_old_one() -> None:
    sim = _changed(-0.020, 9)
    last = sim.visits[-1]
    renewed = {**last.valves, E2: replace(last.valves[E2], restart=True, adjusted=True, set_to=0.15)}
    before = detect(fit(FOUR, sim.visits))
    after = detect(fit(FOUR, [*sim.visits[:-1], replace(last, valves=renewed)]))
    assert [c.suspect.name for c in before.warnings()] == ["E2"]
    assert after.warnings() == []
    assert after.trend.drift(E2).mean == pytest.approx(after.trend.pooled_drift("E").mean, abs=2e-3)


def test_valves_that_move_together_are_one_suspect() -> None:
    together = {Valve("I", 1): 1.0, Valve("I", 3): 1.0}
    sim = simulate(FOUR, np.random.default_rng(4), Plan(visits=26), events=[Event(11, together, slope=0.012)])
    trend = fit(FOUR, sim.visits)
    changes = detect(trend, suspects=[*single_valves(trend), Suspect("lobe I1+I3", together)])
    assert changes.warnings()[0].suspect.name == "lobe I1+I3"
    best = changes.of_valve(Valve("I", 3))
    assert best is not None
    assert best.suspect.name == "lobe I1+I3"


def test_one_misread_is_no_change() -> None:
    twin = flat_twin()
    visits = [visit(5000 * i, every_valve(twin, (0.10, 0.15)), ladder=COARSE) for i in range(14)]
    odd = visit(5000 * 14, {**every_valve(twin, (0.10, 0.15)), "E2": (0.40, np.inf)}, ladder=COARSE)
    assert detect(fit(twin, [*visits, odd])).path[-1].max() < 0.5


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_short_book_has_nothing_to_compare(count: int) -> None:
    twin = flat_twin()
    changes = detect(fit(twin, [visit(5000 * i, every_valve(twin, (0.10, 0.15))) for i in range(count)]))
    assert changes.warnings() == []
    assert np.isfinite(changes.trend.mean).all()
    assert (changes.of(0) is None) == (count < 2)


def test_the_first_component_alone_is_the_trend_itself() -> None:
    # Limiting case: with a hazard next to nothing the bank's answer is the plain trend's.
    sim = simulate(flat_twin(), np.random.default_rng(1), Plan(visits=12))
    trend = fit(sim.engine, sim.visits)
    changes = detect(trend, ChangeSettings(hazard=1e-12))
    assert changes.trend.mean == pytest.approx(trend.mean, abs=1e-7)
    assert changes.path.max() < 1e-6


@pytest.mark.parametrize("onsets", [2, 6])
def test_how_many_onsets_are_kept_apart_hardly_matters(onsets: int) -> None:
    sim = _changed(-0.015, 5)
    trend = fit(FOUR, sim.visits)
    few = detect(trend, ChangeSettings(onsets=onsets)).path[20, trend.index(E2), 0]
    usual = detect(trend).path[20, trend.index(E2), 0]
    assert few == pytest.approx(usual, abs=0.15)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"size_sd": 0.0}, "the sd above 0"),
        ({"hazard": 0.0}, "give a hazard in"),
        ({"onsets": 1}, "2 onsets or more"),
    ],
)
def test_change_settings_that_cannot_be_are_refused(fields: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        ChangeSettings(**fields)  # type: ignore[arg-type]


def test_twenty_years_unread_are_no_evidence_of_change() -> None:
    twin = flat_twin()
    visits = [visit(0, every_valve(twin, (0.10, 0.15)), day=0), visit(300_000, day=7300)]
    changes = detect(fit(twin, visits))
    assert changes.warnings() == []
    assert np.isfinite(changes.trend.cov).all()


def test_a_distance_beyond_all_reason_gives_no_nonsense() -> None:
    twin = flat_twin()
    readings = every_valve(twin, (0.10, 0.15))
    visits = [
        visit(0, readings, day=0),
        visit(1e9, readings, day=7300),
        visit(1e9 + 5000, readings, day=7600),
    ]
    changes = detect(fit(twin, visits))
    assert np.isfinite(changes.path).all()
    assert np.isfinite(changes.trend.cov).all()


def test_without_suspects_the_trend_stays_as_it_is() -> None:
    twin = flat_twin()
    trend = fit(twin, [visit(5000 * i, every_valve(twin, (0.10, 0.15))) for i in range(3)])
    assert detect(trend, suspects=[]).trend.mean == pytest.approx(trend.mean)
