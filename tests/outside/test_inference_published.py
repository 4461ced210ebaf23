"""The trend's machinery against the world: another sampler, published series, closed forms, SciPy."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import invgauss
from tests.engines import flat_twin, single

from coldlash.engine.spec import Engine, GapSpec, Valve
from coldlash.wear import kalman
from coldlash.wear.books import read_book, shelve
from coldlash.wear.filter import run
from coldlash.wear.forecast import first_passage, passage_risk
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import TrendSettings
from coldlash.wear.trend import fit

DATA = Path(__file__).parent / "data"
I1 = Valve("I", 1)


def _numbers(name: str) -> list[list[float]]:
    rows = [line for line in (DATA / name).read_text().splitlines() if line and not line.startswith("#")]
    return [[float(x) for x in row.split(",")] for row in rows if row[0].isdigit()]


def _reading(pair: list[float | None] | None) -> GapInterval | None:
    if pair is None:
        return None
    lo, hi = pair
    return GapInterval(-math.inf if lo is None else lo, math.inf if hi is None else hi)


def _visits(stored: list[dict[str, Any]]) -> list[VisitRecord]:
    return [
        VisitRecord(
            date.fromisoformat(v["day"]),
            v["km"],
            {
                Valve.parse(name): ValveRecord(
                    _reading(r["found"]), r["adjusted"], r["set_to"], _reading(r["left"]), r["restart"]
                )
                for name, r in v["valves"].items()
            },
            20.0,
            None,
            tuple(v["ladder"]),
        )
        for v in stored
    ]


@pytest.mark.parametrize("book", ["coarse", "fine", "holes"])
def test_trend_agrees_with_a_no_u_turn_sampler_on_the_same_model(book: str) -> None:
    # Independent software: NumPyro NUTS, 2 x 6000 draws, versions in the fixture, generator
    # benchmarks/nuts_reference.py. Bars: means within 0.05 sd, sds within 5 %.
    stored = json.loads((DATA / "nuts_reference.json").read_text())["books"][book]
    trend = fit(flat_twin(), _visits(stored["visits"]))
    V = trend.layout.V
    sd = np.sqrt(np.diag(trend.cov))
    for name, part in (("gap", slice(0, V)), ("drift", slice(V, 2 * V)), ("bias", slice(2 * V, 2 * V + 1))):
        reference = stored["posterior"][name]
        assert max(reference["split_rhat"]) < 1.01
        off = (trend.mean[part] - np.array(reference["mean"])) / np.array(reference["sd"])
        assert np.max(np.abs(off)) < 0.05, (name, off)
        assert sd[part] == pytest.approx(reference["sd"], rel=0.05), name


def _points(engine: Engine, values: list[float], every_km: float = 1000.0) -> list[VisitRecord]:
    """One valve read as exact points (drag on a blade), one after another."""
    day = date(1871, 1, 1)
    return [
        VisitRecord(
            day + timedelta(days=i),
            i * every_km,
            {I1: ValveRecord(GapInterval(v, v))},
            20.0,
            None,
            (0.1, 0.2),
        )
        for i, v in enumerate(values)
    ]


def _level(wander2: float, noise2: float, start: float) -> TrendSettings:
    """A local level: no drift, no offset, no misreads; only wander and the noise of a reading."""
    return TrendSettings(
        wander=math.sqrt(wander2),
        drag=math.sqrt(noise2),
        offset=0.0,
        misread=0.0,
        drift_mean_intake=0.0,
        drift_mean_exhaust=0.0,
        drift_sd_intake=0.0,
        drift_sd_exhaust=0.0,
        drift_spread_intake=0.0,
        drift_spread_exhaust=0.0,
        start=start,
    )


NILE_LEVEL, NILE_NOISE = 1469.147, 15098.577


def test_nile_local_level_filter_ends_where_published() -> None:
    # Published: last filtered state 798.370, variance 4032.158 (exact-diffuse filter, 15099 and 1469.1).
    flow = [row[1] for row in _numbers("nile.csv")]
    assert len(flow) == 100
    trend = fit(single(), _points(single(), flow), _level(1469.1, 15099.0, 1e5))
    gap = trend.gap(I1)
    assert gap.mean == pytest.approx(798.370, abs=1e-3)
    assert gap.sd**2 == pytest.approx(4032.158, rel=1e-5)


def _nile_shelf() -> tuple[Any, list[float]]:
    flow = [row[1] for row in _numbers("nile.csv")]
    return shelve([read_book(single(), _points(single(), flow), None)], 8.0), flow


def test_nile_log_likelihood_is_the_published_exact_diffuse_one() -> None:
    # Published: exact-diffuse log likelihood -633.4646 at the estimates. A start of variance kappa adds
    # -log(2 pi kappa)/2 for the first reading; the diffuse convention leaves that term at -log(2 pi)/2.
    shelf, _ = _nile_shelf()
    kappa_sd = 1e6
    settings = _level(NILE_LEVEL, NILE_NOISE, kappa_sd)
    _, log_z, _ = run(shelf, kalman.hyper([settings]), keep=False)
    assert float(log_z.sum()) + math.log(kappa_sd) == pytest.approx(-633.4646, abs=2e-3)


def test_nile_variances_maximise_the_evidence_where_published() -> None:
    # Published: R StructTS 15098.577 and 1469.147 (Durbin & Koopman 15099 and 1469.1, from memory).
    shelf, _ = _nile_shelf()

    def loss(x: np.ndarray) -> float:
        settings = _level(math.exp(x[0]), math.exp(x[1]), 1e6)
        return -float(run(shelf, kalman.hyper([settings]), keep=False)[1].sum())

    found = minimize(loss, [7.0, 9.4], method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-8})
    assert found.success
    assert math.exp(found.x[0]) == pytest.approx(NILE_LEVEL, rel=2e-3)
    assert math.exp(found.x[1]) == pytest.approx(NILE_NOISE, rel=1e-3)


def _laser_score(units: list[list[float]], drift: float, sigma: float) -> float:
    """Evidence of 15 lasers, 0 at 0 h, as gaps read without error; 250 h stand for 250 "thousand km"."""
    settings = TrendSettings(
        wander=sigma,
        drag=1e-4,
        offset=0.0,
        misread=0.0,
        drift_mean_intake=drift,
        drift_sd_intake=0.0,
        drift_spread_intake=0.0,
        start=1e-4,
    )
    engine = replace(single(), gaps={"I": GapSpec(0.0), "E": GapSpec(0.0)})
    shelf = shelve([read_book(engine, _points(engine, [0.0, *u], 250e3), None) for u in units], 8.0)
    _, log_z, _ = run(shelf, kalman.hyper([settings] * len(units)), keep=False)
    return float(log_z[1:].sum())


def test_gaas_laser_drift_and_sigma_maximise_the_evidence() -> None:
    # Derived: for a Wiener process without reading error the maximum is closed form (mean and mean square of the
    # increments), and so is its value. Data from memory (see the file), rounded to 0.01, so the published
    # estimates 2.037907e-3 per h and 0.01265967 (Meeker & Escobar's unrounded data) are met to 4e-4 of themselves.
    units = _numbers("gaas_laser.csv")
    steps = np.diff(np.array([[0.0, *u] for u in units]), axis=1).ravel()
    assert steps.size == 240
    drift = float(steps.sum() / (250 * steps.size))
    sigma = math.sqrt(float(np.mean((steps - 250 * drift) ** 2)) / 250)
    assert drift == pytest.approx(2.037907e-3, rel=5e-4)
    assert sigma == pytest.approx(0.01265967, rel=5e-4)
    closed = -0.5 * steps.size * (math.log(2 * math.pi * sigma**2 * 250) + 1.0)
    assert _laser_score(units, drift, sigma) == pytest.approx(closed, abs=1e-3)

    def loss(x: np.ndarray) -> float:
        return -_laser_score(units, x[0] * 1e-3, math.exp(x[1]))

    found = minimize(loss, [1.9, -4.3], method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-5})
    assert found.success
    assert found.x[0] * 1e-3 == pytest.approx(drift, rel=5e-5)
    assert math.exp(found.x[1]) == pytest.approx(sigma, rel=5e-5)


@pytest.mark.parametrize(("hours", "published"), [(4500.0, 0.1753151), (5000.0, 0.6011030)])
def test_first_passage_gives_the_published_laser_failure_fractions(hours: float, published: float) -> None:
    # Published (closed form = scipy.stats.invgauss): level 10, drift 2.037907e-3 per h, sigma 0.01265967.
    p = first_passage(np.array(10.0), np.array(-2.037907e-3), np.array(0.0), 0.01265967, np.array(hours))
    assert float(p) == pytest.approx(published, abs=1e-6)  # the printed drift is rounded to 5e-10


@pytest.mark.parametrize("x", [0.01, 0.1, 0.5])
@pytest.mark.parametrize("drift", [-0.0005, -0.003, -0.02])
def test_first_passage_is_the_inverse_gaussian_law(x: float, drift: float) -> None:
    # Independent software: scipy.stats.invgauss. Bar 1e-10.
    wander = 0.004
    mean, shape = x / -drift, (x / wander) ** 2
    for distance in (0.5, 1.0, 5.0, 20.0, 100.0):
        p = first_passage(np.array(x), np.array(drift), np.array(0.0), wander, np.array(distance))
        law = invgauss.cdf(distance, mean / shape, scale=shape)
        assert float(p) == pytest.approx(float(law), abs=1e-10)


def test_risk_over_uncertain_gap_and_drift_agrees_with_monte_carlo() -> None:
    # Derived: paths simulated step by step; the discretely watched minimum is corrected for what it misses
    # between steps by the Brownian-bridge crossing probability exp(-2 a b / (sigma^2 dt)).
    rng = np.random.default_rng(5)
    n, steps, distance, wander = 40_000, 50, 5.0, 0.004
    mean, cov = (0.035, -0.003), (0.012**2, -0.4 * 0.012 * 0.0015, 0.0015**2)
    xd = rng.multivariate_normal(mean, [[cov[0], cov[1]], [cov[1], cov[2]]], n)
    x, dt = xd[:, 0].copy(), distance / steps
    alive = (x > 0).astype(float)
    for _ in range(steps):
        new = x + xd[:, 1] * dt + wander * math.sqrt(dt) * rng.normal(size=n)
        crossed = np.where(
            new <= 0, 1.0, np.exp(-2 * np.maximum(x, 0) * np.maximum(new, 0) / (wander**2 * dt))
        )
        alive *= 1 - crossed
        x = new
    seen, error = 1 - alive.mean(), alive.std() / math.sqrt(n)
    said = float(passage_risk(mean, cov, wander, np.array([distance]))[0])
    assert abs(said - seen) < 3 * error
