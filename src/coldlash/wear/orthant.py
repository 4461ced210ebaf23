"""How probable it is that a normal vector of one, two or three parts is positive in all of them, in logs.

Bivariate: Owen's T function (Owen 1956; Genz & Bretz, Computation of Multivariate Normal and t Probabilities, 2009,
section 2.1.1) where the answer is not tiny, else one quadrature over the rarer part given that it is positive.
Trivariate: one quadrature of bivariates. Valid for any means and any correlation matrix inside (-1, 1); logs within
1e-3 of the exact value (measured in the tests), also where the probability itself underflows.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from coldlash.wear.interval import Array

_TINY = 1e-9
_NODES_TAIL = 24
_NODES_THREE = 8
_MOST_CORRELATED = 1.0 - 1e-9


def log_positive_1(h: Array) -> Array:
    """Log probability that one normal part with mean / sd = ``h`` is positive; any shape."""
    from scipy.special import log_ndtr

    out: Array = log_ndtr(h)
    return out


def log_positive_2(h: Array, k: Array, rho: Array) -> Array:
    """Log probability that two normal parts with mean / sd ``h`` and ``k`` and correlation ``rho`` are positive."""
    h, k, rho = np.broadcast_arrays(np.asarray(h, float), np.asarray(k, float), np.asarray(rho, float))
    rho = np.clip(rho, -_MOST_CORRELATED, _MOST_CORRELATED)
    p = _owen(h, k, rho)
    out: Array = np.log(np.maximum(p, _TINY))
    tail = p < _TINY
    if tail.any():
        out = np.array(out)
        out[tail] = _tail(h[tail], k[tail], rho[tail])
    return out


def log_positive_3(h: Array, corr: Array) -> Array:
    """Log probability that three normal parts are positive: ``h`` (..., 3) mean / sd, ``corr`` (..., 3) the
    correlations 01, 02, 12. Returns (...,).
    """
    order = np.argsort(h, axis=-1)
    first, second, third = order[..., 0], order[..., 1], order[..., 2]

    def at(i: np.ndarray) -> Array:
        got: Array = np.take_along_axis(h, i[..., None], -1)[..., 0]
        return got

    def between(i: np.ndarray, j: np.ndarray) -> Array:
        # 01, 02, 12 stand at 0, 1, 2: the place is i + j - 1
        got: Array = np.take_along_axis(corr, (i + j - 1)[..., None], -1)[..., 0]
        return np.clip(got, -_MOST_CORRELATED, _MOST_CORRELATED)

    ha, hb, hc = at(first), at(second), at(third)
    rab, rac, rbc = between(first, second), between(first, third), between(second, third)
    x, weight = _positive_part(ha, _NODES_THREE)
    sb, sc = np.sqrt(1 - rab**2), np.sqrt(1 - rac**2)
    rest = np.clip((rbc - rab * rac) / (sb * sc), -_MOST_CORRELATED, _MOST_CORRELATED)
    # Given the first part's deviation x - ha from its mean, the others are normal about h + rho (x - ha).
    off = x - ha[..., None]
    inner = log_positive_2(
        (hb[..., None] + rab[..., None] * off) / sb[..., None],
        (hc[..., None] + rac[..., None] * off) / sc[..., None],
        rest[..., None],
    )
    return log_positive_1(ha) + _log_mean(inner, weight)


def _owen(h: Array, k: Array, rho: Array) -> Array:
    """P(X > -h, Y > -k) by Owen's T; absolute error about 1e-16."""
    from scipy.special import ndtr, owens_t

    h = np.where(h == 0.0, 1e-300, h)
    k = np.where(k == 0.0, 1e-300, k)
    s = np.sqrt((1 - rho) * (1 + rho))
    one = owens_t(h, (k / h - rho) / s)
    two = owens_t(k, (h / k - rho) / s)
    opposite = np.where(np.sign(h) * np.sign(k) < 0, 0.5, 0.0)
    p: Array = 0.5 * (ndtr(h) + ndtr(k)) - one - two - opposite
    return p


def _tail(h: Array, k: Array, rho: Array) -> Array:
    """The same where it is tiny: over the less probable part, given that it is positive."""
    rare, other = np.minimum(h, k), np.maximum(h, k)
    x, weight = _positive_part(rare, _NODES_TAIL)
    s = np.sqrt((1 - rho) * (1 + rho))
    inner = log_positive_1((other[..., None] + rho[..., None] * (x - rare[..., None])) / s[..., None])
    return log_positive_1(rare) + _log_mean(inner, weight)


def _positive_part(h: Array, count: int) -> tuple[Array, Array]:
    """Values (..., count) and weights (count,) of a normal part of mean ``h`` and sd 1, given that it is positive."""
    from scipy.special import log_ndtr, ndtri_exp

    nodes, weight = _nodes(count)
    log_share = log_ndtr(h)[..., None]
    x: Array = h[..., None] - ndtri_exp(np.log(nodes) + log_share)
    return np.maximum(x, 0.0), weight


def _log_mean(logs: Array, weight: Array) -> Array:
    top = np.max(logs, axis=-1, keepdims=True)
    out: Array = top[..., 0] + np.log(np.sum(weight * np.exp(logs - top), axis=-1))
    return out


@lru_cache(maxsize=4)
def _nodes(count: int) -> tuple[Array, Array]:
    """Gauss-Legendre on (0, 1), after u = t^3 (10 - 15 t + 6 t^2), which crowds nodes at both ends."""
    x, w = np.polynomial.legendre.leggauss(count)
    t = 0.5 * (x + 1.0)
    return t**3 * (10 - 15 * t + 6 * t * t), 0.5 * w * 30 * t * t * (1 - t) ** 2
