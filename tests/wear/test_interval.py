"""Moments after an interval reading: against SciPy's truncated normal, quadrature and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm, truncnorm

from coldlash.wear.interval import read, truncated

NOISE = np.array(0.015**2)
SOUND = np.array(0.0)
NEVER = np.array(-np.inf)


def _read(
    m: float, v: float, lo: float, hi: float, eps: float = 0.0, chance: float = 0.2, drag: float | None = None
):
    log_eps = NEVER if eps == 0 else np.array(math.log(eps))
    point = None if drag is None else np.array(drag)
    return read(
        *(np.array([x]) for x in (m, v, lo, hi)),
        NOISE,
        point,
        np.log1p(-np.array(eps)),
        log_eps,
        np.log(np.array(chance)),
    )


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (-1.0, 2.0),
        (0.5, 0.6),
        (3.0, 4.0),
        (-6.0, -5.0),
        (-0.01, 0.01),
        (-np.inf, 0.3),
        (-2.0, np.inf),
        (7.0, np.inf),
    ],
)
def test_truncated_moments_are_those_of_scipy(a: float, b: float) -> None:
    # Independent software: scipy.stats.truncnorm and norm.
    got = truncated(np.array([a]), np.array([b]))
    mean, var = truncnorm.stats(a, b, moments="mv")
    flipped = norm.sf(a) - norm.sf(b) if a > 0 else norm.cdf(b) - norm.cdf(a)
    assert got.log_z[0] == pytest.approx(math.log(flipped), abs=1e-10)
    assert got.mean[0] == pytest.approx(float(mean), rel=1e-7, abs=1e-9)
    assert got.var[0] == pytest.approx(float(var), rel=1e-5, abs=1e-10)


@pytest.mark.parametrize("a", [15.0, 60.0, 400.0])
def test_far_tail_follows_the_asymptotic_series(a: float) -> None:
    # Published: Mills ratio series (Abramowitz & Stegun 26.2.12, from memory): mean excess
    # 1/a - 2/a^3 + 10/a^5, variance 1/a^2 - 6/a^4.
    for lo, hi, sign in ((a, np.inf, 1.0), (-np.inf, -a, -1.0)):
        got = truncated(np.array([lo]), np.array([hi]))
        assert sign * got.mean[0] - a == pytest.approx(1 / a - 2 / a**3 + 10 / a**5, rel=20 / a**4 + 1e-9)
        assert got.var[0] == pytest.approx(1 / a**2 - 6 / a**4, rel=60 / a**4, abs=1e-9)
        series = -0.5 * a * a - math.log(a * math.sqrt(2 * math.pi)) + math.log1p(-1 / a**2 + 3 / a**4)
        assert got.log_z[0] == pytest.approx(series, rel=1e-6)


@pytest.mark.parametrize(("lo", "hi"), [(0.10, 0.15), (0.15, np.inf), (-np.inf, 0.05), (0.30, 0.35)])
@pytest.mark.parametrize("eps", [0.0, 0.01])
def test_reading_moments_are_those_of_direct_quadrature(lo: float, hi: float, eps: float) -> None:
    # Independent software: scipy.integrate.quad over the density times the likelihood, misread mixture included.
    m, sd, chance = 0.12, 0.03, 1 / 7

    def weight(y: float) -> float:
        hit = norm.cdf((hi - y) / 0.015) - norm.cdf((lo - y) / 0.015)
        return norm.pdf(y, m, sd) * ((1 - eps) * hit + eps * chance)

    z, first, second = (
        quad(lambda y, k=k: y**k * weight(y), m - 10 * sd, m + 10 * sd, epsabs=1e-14, limit=200)[0]
        for k in range(3)
    )
    got = _read(m, sd**2, lo, hi, eps, chance)
    assert got.log_z[0] == pytest.approx(math.log(z), abs=1e-7)
    assert got.mean[0] == pytest.approx(first / z, abs=1e-8)
    assert got.var[0] == pytest.approx(second / z - (first / z) ** 2, rel=1e-5)


def test_drag_on_a_blade_is_a_gaussian_observation() -> None:
    # Derived: conjugate normal update.
    m, v, drag, blade = 0.12, 0.02**2, 0.015**2, 0.15
    got = _read(m, v, blade, blade, drag=drag)
    gain = v / (v + drag)
    assert got.mean[0] == pytest.approx(m + gain * (blade - m), rel=1e-12)
    assert got.var[0] == pytest.approx(v * (1 - gain), rel=1e-12)
    assert got.log_z[0] == pytest.approx(norm.logpdf(blade, m, math.sqrt(v + drag)), rel=1e-12)


def test_interval_open_on_both_sides_says_nothing() -> None:
    got = _read(0.12, 0.02**2, -np.inf, np.inf)
    assert got.mean[0] == pytest.approx(0.12, rel=1e-12)
    assert got.var[0] == pytest.approx(0.02**2, rel=1e-12)
    assert got.log_z[0] == pytest.approx(0.0, abs=1e-12)


def test_interval_opened_wide_is_right_censoring() -> None:
    # Limiting case (habit of survival libraries): an upper end far away equals none.
    far, none = _read(0.12, 0.02**2, 0.15, 50.0, 0.005), _read(0.12, 0.02**2, 0.15, np.inf, 0.005)
    assert (far.mean[0], far.var[0], far.log_z[0]) == pytest.approx(
        (none.mean[0], none.var[0], none.log_z[0]), rel=1e-12
    )


def test_a_reading_far_from_belief_is_taken_for_a_misread() -> None:
    believed = _read(0.12, 0.01**2, 0.35, 0.40, 0.005)
    assert believed.mean[0] == pytest.approx(0.12, abs=1e-6)
    assert believed.log_z[0] == pytest.approx(math.log(0.005 * 0.2), abs=1e-6)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    m=st.floats(-5, 5),
    sd=st.floats(1e-4, 10),
    lo=st.one_of(st.just(-math.inf), st.floats(-2, 2)),
    width=st.one_of(st.just(math.inf), st.floats(1e-3, 3)),
    eps=st.sampled_from([0.0, 0.005]),
)
def test_no_reading_gives_anything_but_finite_numbers(
    m: float, sd: float, lo: float, width: float, eps: float
) -> None:
    hi = width if math.isinf(lo) else lo + width
    got = _read(m, sd * sd, lo, hi, eps)
    assert np.isfinite([got.log_z[0], got.mean[0], got.var[0]]).all()
    assert got.var[0] >= 0
    assert got.log_z[0] <= 1e-9
