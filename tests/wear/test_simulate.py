"""Simulated engines: their truth is consistent and the same seed gives the same engine."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_twin

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.wear.settings import DEFAULTS
from coldlash.wear.simulate import FINE, Event, Plan, simulate

E1 = Valve("E", 1)
TWIN = flat_twin()


def test_the_same_seed_gives_the_same_book() -> None:
    one, two = (simulate(TWIN, np.random.default_rng(4), Plan(visits=9)) for _ in range(2))
    assert one.visits == two.visits


def test_readings_hold_the_true_gap_but_for_feel_offset_and_misreads() -> None:
    sim = simulate(TWIN, np.random.default_rng(5), Plan(visits=200), replace(DEFAULTS, misread=0.0))
    outside = 0
    for t, visit in enumerate(sim.visits):
        for i, valve in enumerate(TWIN.valves):
            found = visit.valves[valve].found
            assert found is not None
            felt = sim.before[t, i] + sim.offset[t]
            outside += not found.lo - 3.5 * DEFAULTS.feel <= felt < found.hi + 3.5 * DEFAULTS.feel
    assert outside <= 2


def test_a_set_valve_is_left_near_its_blade_and_others_stay() -> None:
    sim = simulate(TWIN, np.random.default_rng(6), Plan(visits=40))
    for t, visit in enumerate(sim.visits):
        for i, valve in enumerate(TWIN.valves):
            if visit.valves[valve].adjusted:
                assert abs(sim.after[t, i] - 0.15 - sim.bias + sim.offset[t]) < 5 * DEFAULTS.setting
            else:
                assert sim.after[t, i] == sim.before[t, i]


def test_an_event_moves_the_gap_or_the_drift_from_then_on() -> None:
    quiet = replace(DEFAULTS, wander=0.0)
    plan = Plan(visits=10, ladder_mm=FINE)
    events = [Event(3, {E1: 1.0}, jump=0.05, slope=-0.01)]
    plain = simulate(TWIN, np.random.default_rng(7), plan, quiet)
    moved = simulate(TWIN, np.random.default_rng(7), plan, quiet, events)
    assert moved.drift[4:, 1] == pytest.approx(plain.drift[4:, 1] - 0.01)
    D = (plain.visits[4].distance_km - plain.visits[3].distance_km) / 1000
    assert moved.before[4, 1] - plain.before[4, 1] == pytest.approx(0.05 - 0.01 * D)
    assert moved.before[4, 0] == plain.before[4, 0]


def test_wander_grows_with_the_root_of_the_distance() -> None:
    still = replace(
        DEFAULTS, drift_sd_intake=0.0, drift_mean_intake=0.0, drift_spread_intake=0.0, setting=0.0
    )
    steps = []
    for seed in range(40):
        sim = simulate(TWIN, np.random.default_rng(seed), Plan(visits=12, uneven=0.0), still)
        steps += list((sim.before[1:, 0] - sim.after[:-1, 0]) / math.sqrt(5.0))
    assert np.std(steps) == pytest.approx(DEFAULTS.wander, rel=0.1)


def test_a_plan_without_visits_or_blades_is_refused() -> None:
    with pytest.raises(InputError, match="a plan of 0 visits with 8 blades; give at least 1 of each"):
        simulate(TWIN, np.random.default_rng(1), Plan(visits=0))
    with pytest.raises(InputError, match="with 0 blades"):
        simulate(TWIN, np.random.default_rng(1), Plan(ladder_mm=()))
