"""The cheap second opinion: scores, sums, and its agreement with the bank."""

from __future__ import annotations

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin
from tests.wear.books import every_valve, visit

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.wear.change import detect
from coldlash.wear.cusum import cusum, first_alarm
from coldlash.wear.simulate import FINE, Event, Plan, simulate
from coldlash.wear.trend import fit

E2 = Valve("E", 2)


def test_scores_of_an_engine_that_follows_the_model_are_standard_normal() -> None:
    # Derived: probability integral transform; fine blades hardly coarsen it.
    rng = np.random.default_rng(1)
    z = []
    for _ in range(25):
        sim = simulate(flat_four(), rng, Plan(visits=20, ladder_mm=FINE))
        z.append(cusum(fit(sim.engine, sim.visits)).scores[2:].ravel())
    flat = np.concatenate(z)
    assert np.nanmean(flat) == pytest.approx(0.0, abs=0.05)
    assert np.nanstd(flat[np.abs(flat) < 4]) == pytest.approx(1.0, abs=0.05)


def test_bank_and_cusum_see_the_same_change() -> None:
    sim = simulate(
        flat_four(), np.random.default_rng(5), Plan(visits=30), events=[Event(11, {E2: 1.0}, slope=-0.020)]
    )
    trend = fit(sim.engine, sim.visits)
    alarm = first_alarm(cusum(trend), trend, E2)
    bank = int(np.argmax(detect(trend).path[:, trend.index(E2), 0] > 0.9))
    assert alarm is not None
    assert 12 <= alarm <= bank + 8
    assert cusum(trend).tighter[alarm, trend.index(E2)] > cusum(trend).looser[alarm, trend.index(E2)]


def test_the_sums_are_page_s_recursion() -> None:
    # Derived by hand from Page (1954): S = max(0, S - z - k) for tightening.
    sim = simulate(flat_twin(), np.random.default_rng(2), Plan(visits=9))
    trend = fit(sim.engine, sim.visits)
    sums = cusum(trend, slack=0.25)
    z = np.clip(sums.scores[:, 0], -3, 3)
    s = 0.0
    for t in range(len(z)):
        s = max(0.0, s - z[t] - 0.25)
        assert sums.tighter[t, 0] == pytest.approx(s)


def test_an_unread_valve_leaves_its_sum_as_it_is() -> None:
    twin = flat_twin()
    visits = [visit(5000 * i, every_valve(twin, (0.10, 0.15))) for i in range(4)]
    sums = cusum(fit(twin, [*visits, visit(20_000, {"I1": (0.1, 0.15)})]))
    assert np.isnan(sums.scores[-1, 1])
    assert sums.tighter[-1, 1] == sums.tighter[-2, 1]


def test_a_quiet_valve_never_alarms() -> None:
    twin = flat_twin()
    trend = fit(twin, [visit(5000 * i, every_valve(twin, (0.10, 0.15))) for i in range(12)])
    assert first_alarm(cusum(trend), trend, E2) is None


def test_a_negative_slack_is_refused() -> None:
    with pytest.raises(InputError, match=r"a slack of -1\.0; give 0 or more, in sds"):
        cusum(fit(flat_twin(), []), slack=-1.0)
