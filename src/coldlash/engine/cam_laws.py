"""The normalised cam laws of the handbooks: how a follower rises from rest to rest, and its derivatives.

Each takes ``x``, the fraction of the rise's angle (any shape, clipped to 0..1), and ``order`` 0..3, and returns
lift / h, velocity / (h/b), acceleration / (h/b^2) or jerk / (h/b^3), h the rise and b its angle or time.
Handbook peaks (from memory, and they follow from the polynomials): 3-4-5 velocity 1.875, acceleration
10/sqrt(3) = 5.7735, jerk 60; 4-5-6-7 2.1875, 84 sqrt(5)/25 = 7.5132, 52.5; cycloidal 2, 2 pi, 4 pi^2.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.errors import InputError
from coldlash.language import say

Array = NDArray[np.float64]
Law = Callable[[ArrayLike, int], Array]

_POLYNOMIALS = {
    "3-4-5": np.polynomial.Polynomial([0, 0, 0, 10, -15, 6]),
    "4-5-6-7": np.polynomial.Polynomial([0, 0, 0, 0, 35, -84, 70, -20]),
}


def polynomial_345(x: ArrayLike, order: int = 0) -> Array:
    """s = 10 x^3 - 15 x^4 + 6 x^5: acceleration starts and ends at 0, jerk does not."""
    return _polynomial("3-4-5", x, order)


def polynomial_4567(x: ArrayLike, order: int = 0) -> Array:
    """s = 35 x^4 - 84 x^5 + 70 x^6 - 20 x^7: acceleration and jerk start and end at 0."""
    return _polynomial("4-5-6-7", x, order)


def cycloidal(x: ArrayLike, order: int = 0) -> Array:
    """s = x - sin(2 pi x) / (2 pi): a sine of acceleration."""
    _check_order(order)
    turn = 2.0 * np.pi
    u = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    if order == 0:
        return np.asarray(u - np.sin(turn * u) / turn)
    if order == 1:
        return np.asarray(1.0 - np.cos(turn * u))
    if order == 2:
        return np.asarray(turn * np.sin(turn * u))
    return np.asarray(turn * turn * np.cos(turn * u))


LAWS: dict[str, Law] = {"3-4-5": polynomial_345, "4-5-6-7": polynomial_4567, "cycloidal": cycloidal}


def law_named(name: str) -> Law:
    """The law of this name. Raises InputError with the names there are."""
    if name not in LAWS:
        raise InputError(
            say("{name!r} is not a cam law known here; use one of {laws}", name=name, laws=", ".join(LAWS))
        )
    return LAWS[name]


def _polynomial(name: str, x: ArrayLike, order: int) -> Array:
    _check_order(order)
    u = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    curve = _POLYNOMIALS[name]
    return np.asarray(curve.deriv(order)(u) if order else curve(u))


def _check_order(order: int) -> None:
    if order not in (0, 1, 2, 3):
        raise InputError(
            say("order {order!r} is not 0 (lift), 1 (velocity), 2 (acceleration) or 3 (jerk)", order=order)
        )
