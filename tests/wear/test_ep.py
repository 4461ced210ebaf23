"""One session's readings together: against two-dimensional quadrature, and how the sites behave."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from coldlash.wear.ep import Readings, sweep

MU = np.array([[0.13, 0.15]])
A = np.array([[[0.0009, 0.0005], [0.0005, 0.0006]]])
NOISE = np.array([[0.015**2]])


def _readings(lo: list[float], hi: list[float], shut: list[bool] | None = None) -> Readings:
    off = np.array([shut or [False] * len(lo)])
    return Readings(np.array([lo]), np.array([hi]), np.log(np.full((1, len(lo)), 1 / 7)), off, False, True)


def _sweep(readings: Readings, eps: float = 0.0, **more: object):
    log_eps = -np.inf if eps == 0 else math.log(eps)
    return sweep(MU, A, readings, NOISE, NOISE, np.array([[math.log1p(-eps)]]), np.array([[log_eps]]), **more)


def _posterior(sites) -> tuple[np.ndarray, np.ndarray]:
    mean = MU[0] + A[0] @ sites.w[0]
    return mean, A[0] - A[0] @ sites.W[0] @ A[0]


@pytest.mark.parametrize(
    ("lo", "hi", "eps", "slack"),
    [
        ([0.10, 0.15], [0.15, 0.20], 0.0, 1.0),
        ([0.10, 0.15], [0.15, 0.20], 0.01, 1.0),
        ([0.15, -np.inf], [np.inf, 0.10], 0.0, 1.0),
        # Two readings that contradict each other, one of them perhaps misread: two humps; the stand-in is then up
        # to a third too wide.
        ([0.15, -np.inf], [np.inf, 0.10], 0.01, 10.0),
        ([0.05, 0.05], [0.10, 0.10], 0.0, 1.0),
        ([0.05, 0.05], [0.10, 0.10], 0.01, 1.0),
    ],
)
def test_session_agrees_with_quadrature_over_both_gaps(
    lo: list[float], hi: list[float], eps: float, slack: float
) -> None:
    # Derived: a fine grid over both latent readings. The Gaussian stand-in is close, not exact: log evidence to
    # 0.01, means to 0.05 sd, sds to 4 %.
    x = np.linspace(-0.1, 0.35, 901)
    y1, y2 = np.meshgrid(x, x, indexing="ij")
    density = multivariate_normal(MU[0], A[0]).pdf(np.dstack([y1, y2]))
    for y, a, b in zip((y1, y2), lo, hi, strict=True):
        hit = norm.cdf((b - y) / 0.015) - norm.cdf((a - y) / 0.015)
        density = density * ((1 - eps) * hit + eps / 7)
    cell = (x[1] - x[0]) ** 2
    z = density.sum() * cell
    mean = np.array([(density * y).sum() * cell / z for y in (y1, y2)])
    sd = np.array(
        [math.sqrt((density * (y - m) ** 2).sum() * cell / z) for y, m in zip((y1, y2), mean, strict=True)]
    )
    sites = _sweep(_readings(lo, hi), eps)
    got_mean, got_cov = _posterior(sites)
    assert float(sites.log_z[0]) == pytest.approx(math.log(z), abs=0.01 * slack)
    assert np.abs(got_mean - mean).max() < 0.05 * slack * sd.min()
    assert np.sqrt(np.diag(got_cov)) == pytest.approx(sd, rel=0.04 * slack)


def test_a_single_reading_is_exact() -> None:
    # Derived: with one reading the stand-in has the exact moments and evidence.
    sites = _sweep(_readings([0.10, -np.inf], [0.15, np.inf], [False, True]))
    S = A[0, 0, 0] + NOISE[0, 0]
    hit = norm.cdf(0.15, MU[0, 0], math.sqrt(S)) - norm.cdf(0.10, MU[0, 0], math.sqrt(S))
    assert float(sites.log_z[0]) == pytest.approx(math.log(hit), abs=1e-9)
    assert sites.tau[0, 1] == 0.0


def test_more_sweeps_change_nothing_once_settled() -> None:
    once = _sweep(_readings([0.10, 0.15], [0.15, 0.20]), 0.005)
    more = _sweep(_readings([0.10, 0.15], [0.15, 0.20]), 0.005, start=(once.tau, once.nu), sweeps=50)
    assert _posterior(more)[0] == pytest.approx(_posterior(once)[0], abs=2e-4 * 0.02)
    assert float(more.log_z[0]) == pytest.approx(float(once.log_z[0]), abs=1e-4)


def test_order_of_valves_does_not_matter() -> None:
    one = _sweep(_readings([0.10, 0.20], [0.15, 0.25]), 0.005)
    swapped = sweep(
        MU[:, ::-1],
        A[:, ::-1, ::-1],
        _readings([0.20, 0.10], [0.25, 0.15]),
        NOISE,
        NOISE,
        np.array([[math.log1p(-0.005)]]),
        np.array([[math.log(0.005)]]),
    )
    assert swapped.tau[0, ::-1] == pytest.approx(one.tau[0], rel=1e-9)
    assert float(swapped.log_z[0]) == pytest.approx(float(one.log_z[0]), rel=1e-9)


def test_what_the_others_say_leaves_the_reading_itself_out() -> None:
    # Derived: with nothing read on valve 2, valve 1's cavity is its prior.
    sites = _sweep(_readings([0.10, -np.inf], [0.15, np.inf], [False, True]))
    assert sites.cavity_mean[0, 0] == pytest.approx(MU[0, 0], abs=1e-9)
    assert sites.cavity_var[0, 0] == pytest.approx(A[0, 0, 0], rel=1e-6)
