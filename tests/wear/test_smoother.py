"""Hindsight: against one big Gaussian conditioned at once, where all readings are points."""

from __future__ import annotations

import numpy as np
import pytest
from tests.engines import flat_twin
from tests.wear.books import visit

from coldlash.engine.spec import Valve
from coldlash.wear import kalman, smoother
from coldlash.wear.books import read_book, shelve
from coldlash.wear.filter import run
from coldlash.wear.record import GapInterval, ValveRecord
from coldlash.wear.settings import DEFAULTS, TrendSettings
from coldlash.wear.simulate import Plan, simulate
from coldlash.wear.trend import fit

COEFFICIENT = {"I": (0.002, 0.0005), "E": (0.0015, 0.0005)}
SETTINGS = TrendSettings(misread=0.0)


def _points():
    """Points only (drag on a blade), with a setting, a re-reading, a part replaced and a hole."""
    point = lambda v: GapInterval(v, v)  # noqa: E731
    return [
        visit(0, {"I1": (0.15, 0.15), "E1": (0.16, 0.16), "I2": (0.14, 0.14), "E2": (0.13, 0.13)}),
        visit(
            5000, temp=30.0, E1=ValveRecord(point(0.09), True, 0.15, point(0.16)), I1=ValveRecord(point(0.14))
        ),
        visit(9000, temp=None, by="Ada", E2=ValveRecord(point(0.11), True, 0.15, None, restart=True)),
        visit(
            16_000,
            {"I1": (0.12, 0.12), "E1": (0.10, 0.10), "I2": (0.13, 0.13), "E2": (0.14, 0.14)},
            temp=12.0,
        ),
    ]


def test_hindsight_is_the_joint_gaussian_conditioned_on_every_reading_at_once() -> None:
    # Derived: the states of all stages are stacked into one Gaussian (x_k = F x_(k-1) + c + noise), the readings are
    # linear in it, and it is conditioned in one step with plain matrices.
    book = read_book(flat_twin(), _points(), COEFFICIENT)  # type: ignore[arg-type]
    shelf = shelve([book], 8.0)
    h = kalman.hyper([SETTINGS], [COEFFICIENT])  # type: ignore[list-item]
    layout, n = shelf.layout, shelf.layout.n
    x0 = kalman.start(layout, h, shelf.cold)
    stages: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    readings: list[tuple[int, np.ndarray, float]] = []
    before, after = [], []
    for t in range(shelf.T):
        step = shelf.step(t)
        zero = kalman.State(np.zeros((1, n)), np.zeros((1, n, n)))
        for move, F in (
            (kalman.predict, smoother.driving_matrix(step, layout)),
            (kalman.restart, smoother.restart_matrix(step, layout)),
            (kalman.set_screws, smoother.setting_matrix(step, layout, h)),
        ):
            if move is kalman.restart:
                before.append(len(stages) - 1)
            moved = move(zero, step, layout, h)
            stages.append((F[0], moved.m[0], moved.P[0]))
            H = smoother.reading_rows(step, layout, h)[0]
            which = {kalman.predict: step.found, kalman.set_screws: step.left}.get(move)
            for v in range(layout.V):
                if which is not None and not which.open[0, v]:
                    readings.append((len(stages) - 1, H[v], float(which.lo[0, v])))
        after.append(len(stages) - 1)
    K = len(stages)
    mean = np.zeros(K * n)
    cov = np.zeros((K * n, K * n))
    m, P = x0.m[0], x0.P[0]
    for k, (F, c, Q) in enumerate(stages):
        here = slice(k * n, (k + 1) * n)
        if k:
            last = slice((k - 1) * n, k * n)
            cov[here, : k * n] = F @ cov[last, : k * n]
            cov[: k * n, here] = cov[here, : k * n].T
            m, P = mean[last], cov[last, last]
        mean[here], cov[here, here] = F @ m + c, F @ P @ F.T + Q
    G = np.zeros((len(readings), K * n))
    for row, (k, line, _) in enumerate(readings):
        G[row, k * n : (k + 1) * n] = line
    y = np.array([value for _, _, value in readings])
    S = G @ cov @ G.T + SETTINGS.drag**2 * np.eye(len(y))
    gain = np.linalg.solve(S, G @ cov).T
    post_mean, post_cov = mean + gain @ (y - G @ mean), cov - gain @ G @ cov

    x, log_z, traces = run(shelf, h)
    seen = smoother.smooth(shelf, h, traces)
    for t in range(shelf.T):
        for k, got in ((before[t], seen[t].before), (after[t], seen[t].after)):
            part = slice(k * n, (k + 1) * n)
            assert got.m[0] == pytest.approx(post_mean[part], abs=1e-7)
            assert got.P[0] == pytest.approx(post_cov[part, part], rel=1e-8, abs=1e-10)
    assert x.m[0] == pytest.approx(post_mean[-n:], abs=1e-7)
    off = y - G @ mean
    evidence = -0.5 * (off @ np.linalg.solve(S, off) + np.linalg.slogdet(2 * np.pi * S)[1])
    assert float(log_z.sum()) == pytest.approx(evidence, abs=1e-6)


def test_hindsight_covers_the_gaps_of_old_visits_as_often_as_it_says() -> None:
    # Derived from simulation.
    rng = np.random.default_rng(12)
    z = []
    for _ in range(60):
        sim = simulate(flat_twin(), rng, Plan(visits=10))
        trend = fit(sim.engine, sim.visits)
        for i, valve in enumerate(trend.valves):
            for t, point in enumerate(trend.history(valve)):
                z.append((sim.before[t, i] - point.before_now.mean) / point.before_now.sd)
    assert np.mean(np.abs(z) < 1.64485) == pytest.approx(0.9, abs=0.03)
    assert np.mean(np.abs(z) < 0.67449) == pytest.approx(0.5, abs=0.04)


def test_hindsight_of_the_last_visit_is_what_is_known_now() -> None:
    sim = simulate(flat_twin(), np.random.default_rng(1), Plan(visits=6))
    trend = fit(sim.engine, sim.visits, DEFAULTS)
    for valve in (Valve("I", 1), Valve("E", 2)):
        assert trend.history(valve)[-1].after_now == pytest.approx(trend.gap(valve))
