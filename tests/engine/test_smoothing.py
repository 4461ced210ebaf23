"""The smoothing spline: agreement with SciPy, honest errors, limits, messages."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_smoothing_spline

from coldlash.engine.smoothing import MOST_POINTS, smooth
from coldlash.errors import InputError


def noisy(seed: int, n: int = 80, sd: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 10.0, n))
    return x, np.sin(x) + rng.normal(0.0, sd, n)


def test_fit_and_smoothness_equal_scipys_generalised_cross_validation() -> None:
    x, y = noisy(1)
    fit = smooth(x, y)
    # independent software: scipy.interpolate.make_smoothing_spline (Woltring's GCV).
    assert fit.fit == pytest.approx(make_smoothing_spline(x, y)(x), abs=1e-5)


def test_curve_and_derivatives_equal_scipys_at_the_same_stiffness() -> None:
    x, y = noisy(2)
    fit = smooth(x, y)
    other = make_smoothing_spline(x, y, lam=fit.stiffness)  # independent software
    at = np.linspace(x[0], x[-1], 301)[1:-1]
    for order in (0, 1, 2):
        assert fit.at(at, order) == pytest.approx(other.derivative(order)(at), abs=1e-7)


def test_third_derivative_is_the_slope_of_the_second() -> None:
    x, y = noisy(3)
    fit = smooth(x, y)
    middle = 0.5 * (fit.x[:-1] + fit.x[1:])
    assert fit.at(middle, 3) == pytest.approx(
        (fit.at(middle + 1e-4, 2) - fit.at(middle - 1e-4, 2)) / 2e-4, rel=1e-4, abs=1e-6
    )


def test_outside_the_readings_the_curve_runs_on_straight() -> None:
    x, y = noisy(4)
    fit = smooth(x, y)
    beyond = np.array([x[-1] + 1.0, x[-1] + 2.0, x[-1] + 3.0])
    assert np.diff(fit.at(beyond), 2) == pytest.approx([0.0], abs=1e-9)
    assert fit.at(beyond, 2) == pytest.approx(np.zeros(3), abs=1e-12)


def test_the_noise_is_estimated_about_right() -> None:
    # derived: the sd of a sample sd from 68 degrees of freedom is 0.1 / sqrt(136) = 0.009. The median, because
    # cross-validation now and then (here 2 in 20) follows the noise and finds too little of it.
    estimates = [smooth(*noisy(seed)).residual_sd for seed in range(20)]
    assert np.median(estimates) == pytest.approx(0.1, abs=3 * 0.009 * 1.25 / np.sqrt(20))


def test_the_standard_error_covers_the_truth_as_often_as_it_says() -> None:
    # derived: +-1.645 standard errors is 90 %; Wahba's intervals hold on average over the curve.
    inside = []
    for seed in range(30):
        x, y = noisy(seed)
        fit = smooth(x, y, noise_sd=0.1)
        inside.append(np.abs(fit.fit - np.sin(fit.x)) < 1.645 * fit.standard_error)
    assert np.mean(inside) == pytest.approx(0.90, abs=0.04)


def test_the_left_out_residual_is_that_of_a_fit_without_the_point() -> None:
    x, y = noisy(5, n=30)
    fit = smooth(x, y)
    for i in (4, 15, 25):
        other = make_smoothing_spline(np.delete(x, i), np.delete(y, i), lam=fit.stiffness)  # independent
        assert fit.left_out[i] == pytest.approx(y[i] - float(other(x[i])), abs=1e-6)


def test_readings_in_any_order_and_repeated_give_the_same_curve() -> None:
    x, y = noisy(6, n=40)
    order = np.random.default_rng(0).permutation(40)
    straight, shuffled = smooth(x, y, 0.1), smooth(x[order], y[order], 0.1)
    assert shuffled.fit == pytest.approx(straight.fit, abs=1e-12)
    assert shuffled.residual[np.argsort(order)] == pytest.approx(straight.residual, abs=1e-12)
    doubled = smooth(np.tile(x, 2), np.concatenate([y + 0.05, y - 0.05]), 0.1 * np.sqrt(2))
    assert doubled.fit == pytest.approx(straight.fit, abs=1e-4)


def test_repeats_tell_the_noise_directly() -> None:
    rng = np.random.default_rng(7)
    x = np.repeat(np.linspace(0, 10, 12), 20)
    fit = smooth(x, np.sin(x) + rng.normal(0, 0.2, x.size))
    # derived: 228 degrees of freedom inside the groups give the sd within 3 x 0.2 / sqrt(456).
    assert fit.residual_sd == pytest.approx(0.2, abs=0.03)


def test_a_straight_line_is_never_bent() -> None:
    x = np.linspace(0, 5, 25)
    fit = smooth(x, 2 * x - 1, noise_sd=0.3)
    assert fit.fit == pytest.approx(2 * x - 1, abs=1e-9)


def test_a_long_table_is_averaged_down_and_keeps_curve_and_noise() -> None:
    rng = np.random.default_rng(8)
    x = np.linspace(0, 10, 4000)
    fit = smooth(x, np.sin(x) + rng.normal(0, 0.1, x.size))
    assert fit.x.size <= MOST_POINTS
    assert np.abs(fit.fit - np.sin(fit.x)).max() < 0.03
    assert fit.residual_sd == pytest.approx(0.1, abs=0.01)
    assert fit.residual.size == 4000


def test_unusable_readings_are_refused() -> None:
    x, y = noisy(9, n=10)
    with pytest.raises(InputError, match="10 places but 9 readings"):
        smooth(x, y[:-1])
    with pytest.raises(InputError, match="not a finite number"):
        smooth(x, np.where(x > 5, np.nan, y))
    with pytest.raises(InputError, match="a noise of 0 can't be used"):
        smooth(x, y, noise_sd=0.0)
    with pytest.raises(InputError, match="5 distinct places are too few"):
        smooth(x[:5], y[:5])
    with pytest.raises(InputError, match="order 4 is not 0"):
        smooth(x, y).at(1.0, 4)
