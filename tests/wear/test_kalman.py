"""Moves of the state: against the plain matrix form x -> F x + noise that the smoother uses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_twin
from tests.wear.books import visit

from coldlash.wear import kalman, smoother
from coldlash.wear.books import read_book, shelve
from coldlash.wear.kalman import State
from coldlash.wear.record import GapInterval, ValveRecord
from coldlash.wear.settings import DEFAULTS

COEFFICIENT = {"I": (0.002, 0.0005), "E": (0.0015, 0.0005)}


def _setup():
    engine = flat_twin()
    record = ValveRecord(GapInterval(0.10, 0.15), True, 0.15, None, restart=True)
    book = read_book(
        engine,
        [
            visit(0, {"I1": (0.15, 0.20)}),
            visit(5000, temp=28.0, by="Ada", E1=record, I2=replace(record, restart=False)),
        ],
        COEFFICIENT,
    )
    shelf = shelve([book], 8.0)
    h = kalman.hyper([DEFAULTS], [COEFFICIENT])
    rng = np.random.default_rng(4)
    n = shelf.layout.n
    root = rng.normal(size=(1, n, n)) * 0.01
    return shelf, h, State(rng.normal(size=(1, n)), root @ np.swapaxes(root, 1, 2))


def test_driving_is_its_matrix_form() -> None:
    shelf, h, x = _setup()
    step = shelf.step(1)
    got = kalman.predict(x, step, shelf.layout, h)
    F = smoother.driving_matrix(step, shelf.layout)
    Q = np.zeros_like(x.P)
    i = np.arange(shelf.layout.V)
    Q[0, i, i] = DEFAULTS.wander**2 * 5.0
    Q[0, shelf.layout.o, shelf.layout.o] = DEFAULTS.offset**2
    assert got.m == pytest.approx(np.einsum("bij,bj->bi", F, x.m), abs=1e-14)
    assert pytest.approx(F @ x.P @ np.swapaxes(F, 1, 2) + Q, abs=1e-14) == got.P


def test_restarting_is_its_matrix_form() -> None:
    shelf, h, x = _setup()
    step, layout = shelf.step(1), shelf.layout
    got = kalman.restart(x, step, layout, h)
    F = smoother.restart_matrix(step, layout)
    e1 = 1
    Q = np.zeros_like(x.P)
    Q[0, e1, e1] = DEFAULTS.start**2
    Q[0, layout.V + e1, layout.V + e1] = DEFAULTS.drift_spread_exhaust**2
    mean = np.einsum("bij,bj->bi", F, x.m)
    mean[0, e1] += 0.15
    assert got.m == pytest.approx(mean, abs=1e-14)
    assert pytest.approx(F @ x.P @ np.swapaxes(F, 1, 2) + Q, abs=1e-14) == got.P


def test_setting_screws_is_its_matrix_form() -> None:
    shelf, h, x = _setup()
    step, layout = shelf.step(1), shelf.layout
    got = kalman.set_screws(x, step, layout, h)
    F = smoother.setting_matrix(step, layout, h)
    Q = np.zeros_like(x.P)
    mean = np.einsum("bij,bj->bi", F, x.m)
    for valve in (1, 2):
        Q[0, valve, valve] = DEFAULTS.setting**2
        mean[0, valve] += 0.15
    assert got.m == pytest.approx(mean, abs=1e-14)
    assert pytest.approx(F @ x.P @ np.swapaxes(F, 1, 2) + Q, abs=1e-14) == got.P


def test_latent_readings_are_their_matrix_form() -> None:
    shelf, h, x = _setup()
    step, layout = shelf.step(1), shelf.layout
    mu, A, cross = kalman.readings_of(x, step, layout, h)
    H = smoother.reading_rows(step, layout, h)
    assert mu == pytest.approx(np.einsum("bvn,bn->bv", H, x.m), abs=1e-13)
    assert pytest.approx(x.P @ np.swapaxes(H, 1, 2), abs=1e-13) == cross
    assert pytest.approx(H @ x.P @ np.swapaxes(H, 1, 2), abs=1e-13) == A


def test_start_shares_the_pooled_drift_between_valves_of_a_kind_only() -> None:
    shelf, h, _ = _setup()
    P = kalman.start(shelf.layout, h, shelf.cold).P[0]
    V = shelf.layout.V
    assert P[V + 1, V + 3] == pytest.approx(DEFAULTS.drift_sd_exhaust**2)
    assert P[V, V + 1] == 0.0
    assert P[V, V] == pytest.approx(DEFAULTS.drift_sd_intake**2 + DEFAULTS.drift_spread_intake**2)


def test_a_nudge_moves_along_its_direction_only() -> None:
    shelf, _, x = _setup()
    direction = np.zeros((1, shelf.layout.n))
    direction[0, 5] = 2.0
    got = kalman.nudge(x, direction, np.array([0.01]), np.array([0.0001]))
    assert got.m[0, 5] - x.m[0, 5] == pytest.approx(0.02)
    assert got.P[0, 5, 5] - x.P[0, 5, 5] == pytest.approx(0.0004)
    assert np.delete(got.m - x.m, 5, axis=1) == pytest.approx(0.0)
