"""A smooth curve through noisy readings, with its error: the natural cubic smoothing spline.

Minimises sum w (y - g)^2 + a integral g''^2 (Reinsch 1967; Green & Silverman, Nonparametric Regression and
Generalized Linear Models, 1994, ch. 2, from memory). How smooth is chosen from the readings alone by
generalised cross-validation, or by the unbiased risk estimate where the noise is known (Craven & Wahba 1979, from
memory). The standard error is Wahba's sigma sqrt(diag A), A the matrix that turns readings into fit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.errors import InputError
from coldlash.language import say

Array = NDArray[np.float64]

MOST_POINTS = 720
"""Longer tables are averaged in groups of neighbours down to this many, which keeps the fit well under a second."""


@dataclass(frozen=True, slots=True)
class Smooth:
    """A fit. ``x`` are the distinct places (ascending), ``fit`` and ``standard_error`` the curve there (n,).

    ``residual_sd`` estimates the noise of one reading; ``residual`` is reading minus fit in the order the
    readings came. ``left_out`` (n,) is each place's mean reading minus the curve fitted without that place: it
    shows what lies between the readings too. ``freedom`` is the trace of A: the free figures the curve spends.
    """

    x: Array
    fit: Array
    standard_error: Array
    second: Array
    residual: Array
    left_out: Array
    residual_sd: float
    freedom: float
    stiffness: float
    chosen_by: str

    def at(self, x: ArrayLike, order: int = 0) -> Array:
        """The curve (order 0) or a derivative (1 to 3) at ``x`` (any shape); straight outside the readings."""
        if order not in (0, 1, 2, 3):
            raise InputError(
                say("order {order!r} is not 0 (curve), 1, 2 or 3 (its derivatives)", order=order)
            )
        u = np.asarray(x, dtype=np.float64)
        i = np.clip(np.searchsorted(self.x, u, side="right") - 1, 0, self.x.size - 2)
        left, right = self.x[i], self.x[i + 1]
        h = right - left
        inside = np.clip(u, self.x[0], self.x[-1])
        b = (inside - left) / h
        a = 1.0 - b
        y0, y1, s0, s1 = self.fit[i], self.fit[i + 1], self.second[i], self.second[i + 1]
        slope = (y1 - y0) / h + h / 6.0 * ((3 * b * b - 1) * s1 - (3 * a * a - 1) * s0)
        if order == 0:
            value = a * y0 + b * y1 + h * h / 6.0 * ((a**3 - a) * s0 + (b**3 - b) * s1)
            return np.asarray(value + (u - inside) * slope)
        if order == 1:
            return np.asarray(slope)
        outside = u != inside
        if order == 2:
            return np.asarray(np.where(outside, 0.0, a * s0 + b * s1))
        return np.asarray(np.where(outside, 0.0, (s1 - s0) / h))


def smooth(x: ArrayLike, y: ArrayLike, noise_sd: float | None = None) -> Smooth:
    """Fit readings ``y`` (n,) at places ``x`` (n,), any order and step, repeats allowed.

    ``noise_sd`` in units of ``y`` where it is known, else it is estimated. Raises InputError for fewer than
    six distinct places, unequal lengths, values that are not finite or a noise that is not positive.
    """
    places = np.asarray(x, dtype=np.float64).ravel()
    values = np.asarray(y, dtype=np.float64).ravel()
    if places.size != values.size:
        raise InputError(
            say(
                "{size} places but {size2} readings; each reading needs its place",
                size=places.size,
                size2=values.size,
            )
        )
    if not (np.isfinite(places).all() and np.isfinite(values).all()):
        raise InputError(say("a place or a reading is not a finite number; leave such rows out"))
    if noise_sd is not None and not noise_sd > 0:
        raise InputError(
            say(
                "a noise of {noise_sd:g} can't be used; give a standard deviation above 0 or none",
                noise_sd=noise_sd,
            )
        )
    knots, mean, weight = _grouped(places, values)
    n = knots.size
    if n < 6:
        raise InputError(say("{n} distinct places are too few for a curve; at least 6 are needed", n=n))

    scale = (knots[-1] - knots[0]) / (n - 1)
    q, r = _second_differences(knots / scale)
    root = np.sqrt(weight)
    rough = (q @ np.linalg.solve(r, q.T)) / root[:, None] / root[None, :]
    stiff, basis = np.linalg.eigh((rough + rough.T) / 2.0)
    stiff = np.clip(stiff, 0.0, None)
    stiff[:2] = 0.0  # a straight line is never penalised; rounding leaves a trace there
    loading = basis.T @ (root * mean)
    inner, inner_freedom = _spread_of_repeats(places, values, knots, mean)

    def score(log_alpha: float) -> float:
        lost = np.exp(log_alpha) * stiff / (1.0 + np.exp(log_alpha) * stiff)
        rss, spent = float(np.sum((lost * loading) ** 2)), float(np.sum(1.0 - lost))
        if noise_sd is not None:
            return rss + 2.0 * noise_sd**2 * spent
        return n * rss / max(n - spent, 1e-12) ** 2

    low = np.log(1e-3 / stiff[-1])
    high = np.log(1e3 / stiff[2])
    grid = np.linspace(low, high, 200)
    best = int(np.argmin([score(g) for g in grid]))
    log_alpha = _golden(score, grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)])

    keep = 1.0 / (1.0 + np.exp(log_alpha) * stiff)
    fit = (basis @ (keep * loading)) / root
    spent = float(keep.sum())
    rss = float(np.sum(((1.0 - keep) * loading) ** 2))
    sd = float(np.sqrt((rss + inner) / (n - spent + inner_freedom)))
    hat = (basis**2) @ keep
    error = (noise_sd if noise_sd is not None else sd) * np.sqrt(hat) / root
    bend = np.concatenate([[0.0], np.linalg.solve(r, q.T @ fit), [0.0]]) / scale**2
    result = Smooth(
        x=knots,
        fit=fit,
        standard_error=error,
        second=bend,
        residual=values,
        left_out=(mean - fit) / (1.0 - hat),
        residual_sd=sd,
        freedom=spent,
        stiffness=float(np.exp(log_alpha) * scale**3),
        chosen_by="known noise" if noise_sd is not None else "cross-validation",
    )
    object.__setattr__(result, "residual", values - result.at(places))
    return result


def _grouped(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Distinct places with the mean reading and how many readings stand behind it."""
    places, group, count = np.unique(x, return_inverse=True, return_counts=True)
    mean = np.bincount(group, weights=y) / count
    while places.size > MOST_POINTS:
        half = (places.size + 1) // 2
        pair = np.arange(places.size) // 2
        total = np.bincount(pair, weights=count, minlength=half)
        places = np.bincount(pair, weights=count * places, minlength=half) / total
        mean = np.bincount(pair, weights=count * mean, minlength=half) / total
        count = total.astype(np.int64)
    return places, mean, count.astype(np.float64)


def _spread_of_repeats(x: Array, y: Array, knots: Array, mean: Array) -> tuple[float, float]:
    """Sum of squares of repeated readings around their mean, and its degrees of freedom: noise seen directly.

    Nothing (0, 0) where different places were joined: their spread is not noise alone.
    """
    if not np.isin(x, knots).all():
        return 0.0, 0.0
    group = np.searchsorted(knots, x)
    return float(np.sum((y - mean[group]) ** 2)), float(x.size - knots.size)


def _second_differences(x: Array) -> tuple[Array, Array]:
    """Q (n, n-2) and R (n-2, n-2) of the natural cubic spline on ``x``."""
    n = x.size
    h = np.diff(x)
    q = np.zeros((n, n - 2))
    r = np.zeros((n - 2, n - 2))
    j = np.arange(n - 2)
    q[j, j] = 1.0 / h[:-1]
    q[j + 1, j] = -1.0 / h[:-1] - 1.0 / h[1:]
    q[j + 2, j] = 1.0 / h[1:]
    r[j, j] = (h[:-1] + h[1:]) / 3.0
    r[j[:-1], j[1:]] = r[j[1:], j[:-1]] = h[1:-1] / 6.0
    return q, r


def _golden(score: Callable[[float], float], low: float, high: float) -> float:
    """Least of ``score`` between two ends, golden section; the bracket shrinks a millionfold."""
    ratio = (np.sqrt(5.0) - 1.0) / 2.0
    a, b = low, high
    c, d = b - ratio * (b - a), a + ratio * (b - a)
    at_c, at_d = score(c), score(d)
    for _ in range(30):
        if at_c < at_d:
            b, d, at_d = d, c, at_c
            c = b - ratio * (b - a)
            at_c = score(c)
        else:
            a, c, at_c = c, d, at_d
            d = a + ratio * (b - a)
            at_d = score(d)
    return float((a + b) / 2.0)
