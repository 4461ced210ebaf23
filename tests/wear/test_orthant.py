"""Probabilities of being positive in every part, against SciPy and plain quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import log_ndtr
from scipy.stats import multivariate_normal

from coldlash.wear.orthant import log_positive_1, log_positive_2, log_positive_3


def _by_quadrature(h: float, k: float, rho: float) -> float:
    """log P(X > 0, Y > 0) as a one-dimensional integral on a dense grid, in logs."""
    z = h - np.concatenate([np.linspace(0, 1, 20001)[:-1], np.linspace(1, 60, 120001)])
    f = -0.5 * z * z - 0.5 * np.log(2 * np.pi) + log_ndtr((k - rho * z) / np.sqrt(1 - rho * rho))
    return float(f.max() + np.log(np.trapezoid(np.exp(f - f.max()), -z)))


def test_one_part_is_the_normal_distribution() -> None:
    # independent software: scipy.special.log_ndtr
    h = np.array([-40.0, -3.0, 0.0, 2.0])
    assert log_positive_1(h) == pytest.approx(log_ndtr(h))


def test_two_parts_agree_with_scipys_bivariate_normal() -> None:
    # independent software: scipy.stats.multivariate_normal (Genz)
    rng = np.random.default_rng(1)
    for _ in range(80):
        h, k = rng.normal(0, 1.5, 2)
        rho = float(rng.uniform(-0.95, 0.95))
        p = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([h, k])
        if p > 1e-4:
            assert float(np.exp(log_positive_2(h, k, rho))) == pytest.approx(p, rel=1e-6)


def test_two_parts_hold_where_the_probability_underflows() -> None:
    # derived: the defining integral on a dense grid, in logs
    rng = np.random.default_rng(2)
    for _ in range(25):
        h, k, rho = rng.uniform(-14, 1), rng.uniform(-14, 3), rng.uniform(-0.95, 0.95)
        assert float(log_positive_2(h, k, rho)) == pytest.approx(_by_quadrature(h, k, rho), abs=1e-4)


def test_two_parts_without_correlation_are_the_product() -> None:
    h, k = np.array([-2.0, 0.0, 1.5]), np.array([0.5, 0.0, -3.0])
    assert log_positive_2(h, k, np.zeros(3)) == pytest.approx(log_ndtr(h) + log_ndtr(k), abs=1e-9)  # derived


@pytest.mark.parametrize("rho", [-0.5, 0.0, 0.7, 0.99])
def test_two_centred_parts_give_sheppards_formula(rho: float) -> None:
    # published (M): Sheppard 1899, P = 1/4 + asin(rho) / (2 pi)
    assert float(np.exp(log_positive_2(0.0, 0.0, rho))) == pytest.approx(
        0.25 + np.arcsin(rho) / (2 * np.pi), rel=1e-8
    )


def test_three_parts_agree_with_scipys_trivariate_normal() -> None:
    # independent software: scipy.stats.multivariate_normal (Genz); our quadrature is good to about 1e-3
    rng = np.random.default_rng(3)
    for _ in range(25):
        A = rng.normal(size=(3, 5))
        C = A @ A.T
        d = np.sqrt(np.diag(C))
        R = C / np.outer(d, d)
        h = rng.normal(0, 1.5, 3)
        p = multivariate_normal([0, 0, 0], R, abseps=1e-6, releps=1e-5).cdf(h)
        got = log_positive_3(h[None], np.array([[R[0, 1], R[0, 2], R[1, 2]]]))[0]
        if p > 1e-4:
            assert got == pytest.approx(np.log(p), abs=3e-3)


def test_three_centred_parts_give_the_known_formula() -> None:
    # published (M): P = 1/8 + (asin r12 + asin r13 + asin r23) / (4 pi)
    r = np.array([[0.3, -0.2, 0.5]])
    expected = 0.125 + np.arcsin(r).sum() / (4 * np.pi)
    assert float(np.exp(log_positive_3(np.zeros((1, 3)), r))[0]) == pytest.approx(expected, rel=1e-3)


def test_the_order_of_three_parts_does_not_matter() -> None:
    h = np.array([[1.0, -2.0, 0.3]])
    one = log_positive_3(h, np.array([[0.4, -0.1, 0.6]]))
    other = log_positive_3(h[:, [2, 0, 1]], np.array([[-0.1, 0.6, 0.4]]))
    assert one == pytest.approx(other, abs=1e-12)
