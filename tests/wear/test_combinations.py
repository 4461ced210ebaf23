"""Evidence of small combinations of causes, against integration by brute force and enumeration."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from coldlash.wear.combinations import EVERYTHING, Scenes, log_prior_total, weigh


def _scene(
    J: int, seed: int, q: np.ndarray | None = None
) -> tuple[Scenes, np.ndarray, np.ndarray, np.ndarray]:
    """One scene of a residual in 4 valves under J random directions; also L (4, J), r (4,), Sigma (4, 4)."""
    rng = np.random.default_rng(seed)
    L = rng.normal(size=(4, J))
    B = rng.normal(size=(4, 6)) * 0.02
    Sigma = B @ B.T + 1e-4 * np.eye(4)
    r = rng.normal(size=4) * 0.05
    N = np.linalg.inv(Sigma)
    own = rng.normal(size=(4, J))
    zeros = np.zeros((1, J))
    scene = Scenes(
        np.zeros(1),
        np.full(1, 0.5 * r @ N @ r),
        (L.T @ N @ r)[None],
        (L.T @ N @ L)[None],
        (own.T @ N @ r)[None],
        (L.T @ N @ own)[None],
        np.diag(own.T @ N @ own)[None],
        zeros if q is None else q[None],
        np.full((1, J), 1 / 0.05**2),
        zeros,
    )
    return scene, L, r, Sigma


def _log_normal(r: np.ndarray, mean: np.ndarray, Sigma: np.ndarray) -> float:
    off = r - mean
    return float(-0.5 * off @ np.linalg.solve(Sigma, off) - 0.5 * np.linalg.slogdet(2 * np.pi * Sigma)[1])


def _by_integration(columns: np.ndarray, r: np.ndarray, Sigma: np.ndarray) -> float:
    """Log of the average likelihood over half-normal amounts, by a product rule, over that of no cause."""
    x, w = np.polynomial.legendre.leggauss(160)
    a, w = 0.2 * (x + 1), 0.2 * w
    density = w * 2 / (0.05 * math.sqrt(2 * math.pi)) * np.exp(-0.5 * (a / 0.05) ** 2)
    k = columns.shape[1]
    grid = np.array(list(itertools.product(a, repeat=k)))
    weight = np.prod(np.array(list(itertools.product(density, repeat=k))), axis=1)
    off = r - grid @ columns.T
    log = -0.5 * np.einsum("gi,gi->g", off, np.linalg.solve(Sigma, off.T).T)
    base = -0.5 * r @ np.linalg.solve(Sigma, r)
    top = log.max()
    return float(top - base + np.log(np.sum(weight * np.exp(log - top))))


@pytest.mark.parametrize("seed", range(4))
def test_singles_and_pairs_have_the_evidence_that_integration_gives(seed: int) -> None:
    scene, L, r, Sigma = _scene(4, seed)
    singles, pairs, _ = weigh(scene, EVERYTHING)
    for block in (singles, pairs):
        for members, got in zip(block.members, block.log_weight[0], strict=True):
            # derived: the defining integral by Gauss-Legendre
            assert got == pytest.approx(_by_integration(L[:, members], r, Sigma), abs=2e-3)


def test_triples_have_the_evidence_that_sampling_gives() -> None:
    scene, L, r, Sigma = _scene(3, 11)
    triples = weigh(scene, EVERYTHING)[2]
    rng = np.random.default_rng(0)
    amounts = np.abs(rng.normal(0, 0.05, (400_000, 3)))
    off = r - amounts @ L.T
    log = -0.5 * np.einsum("gi,gi->g", off, np.linalg.solve(Sigma, off.T).T)
    ratio = np.exp(log - -0.5 * r @ np.linalg.solve(Sigma, r))
    # derived: Monte Carlo over the amounts' prior, within four standard errors
    error = 4 * ratio.std() / math.sqrt(len(ratio)) / ratio.mean() + 3e-3
    assert triples.log_weight[0, 0] == pytest.approx(math.log(ratio.mean()), abs=error)


def test_a_loadings_own_variation_is_integrated_out() -> None:
    q = np.array([0.03**2, 0.0])
    scene, L, r, Sigma = _scene(2, 5, q)
    # derived: the variation is one more Gaussian part of the covariance, along its own direction
    own = np.random.default_rng(5)
    own.normal(size=(4, 2)), own.normal(size=(4, 6)), own.normal(size=4)
    direction = own.normal(size=(4, 2))[:, 0]
    wider = Sigma + q[0] * np.outer(direction, direction)
    base = _log_normal(r, np.zeros(4), Sigma)
    expected = _by_integration(L[:, :1], r, wider) + _log_normal(r, np.zeros(4), wider) - base
    assert weigh(scene, EVERYTHING)[0].log_weight[0, 0] == pytest.approx(expected, abs=2e-3)


def test_the_prior_of_all_combinations_is_their_sum() -> None:
    odds = [0.1, 0.3, 0.05, 0.2]
    by_hand = sum(
        math.prod(odds[i] for i in members)
        for size in (1, 2, 3)
        for members in itertools.combinations(range(4), size)
    )
    assert log_prior_total([math.log(o) for o in odds]) == pytest.approx(math.log(by_hand))  # derived


def test_the_amounts_mean_is_that_of_the_truncated_normal() -> None:
    scene, L, r, Sigma = _scene(1, 7)
    block = weigh(scene, EVERYTHING)[0]
    a = np.linspace(0, 0.6, 60_001)
    off = r - a[:, None] * L[:, 0]
    log = -0.5 * np.einsum("gi,gi->g", off, np.linalg.solve(Sigma, off.T).T) - 0.5 * (a / 0.05) ** 2
    p = np.exp(log - log.max())
    mean = np.sum(p * a) / p.sum()
    assert block.mean[0, 0, 0] == pytest.approx(mean, rel=1e-3)  # derived: posterior on a grid
    assert block.sd[0, 0, 0] == pytest.approx(math.sqrt(np.sum(p * (a - mean) ** 2) / p.sum()), rel=1e-3)


def test_without_causes_there_is_nothing_to_weigh() -> None:
    empty = np.zeros((1, 0))
    scene = Scenes(
        np.zeros(1),
        np.zeros(1),
        empty,
        np.zeros((1, 0, 0)),
        empty,
        np.zeros((1, 0, 0)),
        empty,
        empty,
        empty,
        empty,
    )
    assert weigh(scene) == []
