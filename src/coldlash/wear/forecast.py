"""Will a gap stay inside its limits until the next check, and by when should that be?

The gap is a Wiener process with drift (wander and drift of the trend). The probability that it touches a limit
within a distance is the first-passage law of that process, the inverse Gaussian distribution (Schroedinger 1915;
Chhikara & Folks, The Inverse Gaussian Distribution, 1989), with the drift integrated over its posterior in
closed form and the gap by Gauss-Legendre. A gap already past its limit counts 1. Valid for any distance >= 0 and
gaps and drifts of any sign; the settings of the trend are taken as known. Units: mm, km at the surface, 1000 km
inside.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear.interval import Array
from coldlash.wear.record import VisitRecord
from coldlash.wear.trend import Trend

TIGHT_RISK = 0.01
"""Risk of too tight that an owner accepts until the next check, by default (judgement)."""
LOOSE_RISK = 0.05
"""Risk of too loose that an owner accepts until the next check, by default (judgement)."""
USUAL_KM = 5000.0
"""Interval taken where the engine file names none (common practice)."""
STEP_KM = 10.0
"""A recommended distance is rounded down to this."""

RATE_VISITS = 6
"""How fast an engine is driven is taken from so many visits (judgement): older ones tell of another life."""
LEAST_RATE = 1e-6
"""Less than a metre in a thousand days, km a day, is nothing driven."""
LEAST_DAYS = 30
"""Visits within fewer days say nothing about how it is driven (judgement)."""

Side = Literal["tight", "loose"]

_NODES = 48
_ALIKE = 0.3
_REACH = 8.5
_LEAST_WANDER = 1e-9
_SQRT_HALF = math.sqrt(0.5)


def first_passage(x: Array, drift: Array, drift_sd: Array, wander: float, distance: Array) -> Array:
    """Probability that a Wiener process from ``x`` mm above a limit touches it within ``distance`` (1000 km).

    ``drift`` ~ N(drift, drift_sd^2), mm per 1000 km, ``wander`` mm per sqrt(1000 km); arrays broadcast. With
    s^2 = wander^2 L + drift_sd^2 L^2 and z = (x - drift L + 2 x drift_sd^2 L / wander^2) / s:
    P = Phi(-(x + drift L) / s) + exp(-(x + drift L)^2 / (2 s^2)) Q(z) / exp(-z^2 / 2). x <= 0 gives 1.
    """
    from scipy.special import erfcx, ndtr

    w2 = max(wander, _LEAST_WANDER) ** 2
    x, drift, drift_sd, L = np.broadcast_arrays(x, drift, drift_sd, np.maximum(distance, 1e-12))
    q = drift_sd * drift_sd
    s = np.sqrt(w2 * L + q * L * L)
    direct = (x + drift * L) / s
    z = (x - drift * L + 2.0 * x * q / w2 * L) / s
    ahead = z >= 0
    mirrored = 0.5 * erfcx(_SQRT_HALF * np.where(ahead, z, 0.0)) * np.exp(-0.5 * direct * direct)
    exponent = np.where(ahead, 0.0, -2.0 * x / w2 * (drift - x * q / w2))
    receding = np.exp(np.minimum(exponent, 0.0)) * ndtr(-z)
    p = ndtr(-direct) + np.where(ahead, mirrored, receding)
    return np.where(x <= 0, 1.0, np.clip(p, 0.0, 1.0))


def passage_risk(
    mean: tuple[float, float], cov: tuple[float, float, float], wander: float, distance: Array
) -> Array:
    """``first_passage`` with the distance x above the limit and the drift both uncertain, jointly normal.

    ``mean`` (x mm, drift mm per 1000 km), ``cov`` (var x, cov, var drift), ``distance`` (L,) in 1000 km.
    Returns (L,).
    """
    from scipy.special import ndtr

    (mx, md), (vx, cxd, vd) = mean, cov
    sx = math.sqrt(max(vx, 0.0))
    distance = np.atleast_1d(np.asarray(distance, dtype=float))
    if sx < 1e-9:
        return first_passage(np.array(mx), np.array(md), np.array(math.sqrt(max(vd, 0.0))), wander, distance)
    slope = cxd / vx
    rest = math.sqrt(max(vd - cxd * slope, 0.0))
    lo, hi = max(0.0, mx - _REACH * sx), max(0.0, mx + _REACH * sx)
    past = float(ndtr(-mx / sx))
    if hi <= lo:
        return np.ones_like(distance)
    # Near the limit the risk falls steeply, within a few wander lengths: cut the range there.
    steep = lo + np.minimum(4.0 * (wander * np.sqrt(distance) + rest * distance), hi - lo)
    total = np.zeros_like(distance)
    nodes, weights = _legendre(_NODES)
    for a, b in ((np.full_like(distance, lo), steep), (steep, np.full_like(distance, hi))):
        half = 0.5 * (b - a)[:, None]
        x = a[:, None] + half * (nodes + 1.0)
        density = np.exp(-0.5 * ((x - mx) / sx) ** 2) / (sx * math.sqrt(2.0 * math.pi))
        risk = first_passage(x, md + slope * (x - mx), np.array(rest), wander, distance[:, None])
        total += np.sum(half * weights * density * risk, axis=1)
    return np.clip(past + total, 0.0, 1.0)


def risks(trend: Trend, valve: Valve, km: Sequence[float] | Array, side: Side) -> Array | None:
    """Probability that ``valve`` passes its ``side`` limit within each of ``km`` from now, (L,).

    None where the engine file states no such limit. Raises InputError for a distance below 0 or no number.
    """
    far = np.atleast_1d(np.asarray(km, dtype=float))
    if not bool(np.all(np.isfinite(far) & (far >= 0))):
        raise InputError(say("distances ahead {far} km; give 0 km or more", far=list(far)))
    spec = trend.engine.gap(valve)
    limit = spec.tight if side == "tight" else spec.loose
    i = trend.index(valve)
    if limit is None:
        return None
    sign = 1.0 if side == "tight" else -1.0
    j = trend.layout.V + i
    total = np.zeros_like(far)
    weights, means, covs = _told_apart(trend, i, j)
    for weight, m, P in zip(weights, means, covs, strict=True):
        total += weight * passage_risk(
            (sign * (float(m[0]) - limit), sign * float(m[1])),
            (float(P[0, 0]), float(P[0, 1]), float(P[1, 1])),
            trend.settings.wander,
            far / 1000.0,
        )
    sure: Array = np.clip(total, 0.0, 1.0)
    return sure


def _told_apart(trend: Trend, i: int, j: int) -> tuple[Array, Array, Array]:
    """Weights (K,), means (K, 2) and covariances (K, 2, 2) of one gap and its drift, those that differ kept apart.

    Components that say of this valve what the first says, within ``_ALIKE`` of its sd and a third of its variance,
    are moment-matched into one: most changes in the mixture are other valves'.
    """
    at = np.array([i, j])
    weights, means, covs = trend.weights, trend.means[:, at], trend.covs[:, at[:, None], at]
    sd = np.sqrt(np.maximum(np.diagonal(covs[0]), 1e-18))
    ratio = np.diagonal(covs, axis1=1, axis2=2) / sd**2
    alike = (np.abs(means - means[0]) < _ALIKE * sd).all(axis=1) & (np.abs(np.log(ratio)) < 0.3).all(axis=1)
    if alike.sum() < 2:
        return weights, means, covs
    w = weights[alike]
    share = w / w.sum()
    mean = share @ means[alike]
    off = means[alike] - mean
    cov = np.einsum("k,kij->ij", share, covs[alike]) + np.einsum("k,ki,kj->ij", share, off, off)
    rest = ~alike
    return (
        np.concatenate([[w.sum()], weights[rest]]),
        np.concatenate([mean[None], means[rest]]),
        np.concatenate([cov[None], covs[rest]]),
    )


def p_tight(trend: Trend, valve: Valve, km: float) -> float | None:
    """Probability that this gap gets tighter than its limit within ``km`` from now; None without a limit."""
    p = risks(trend, valve, [km], "tight")
    return None if p is None else float(p[0])


def p_loose(trend: Trend, valve: Valve, km: float) -> float | None:
    """Probability that this gap gets looser than its limit within ``km`` from now; None without a limit."""
    p = risks(trend, valve, [km], "loose")
    return None if p is None else float(p[0])


class Fan(NamedTuple):
    """A gap ahead, for drawing: ``km`` from now (L,), ``mean`` and ``sd`` (L,) mm at 20 C."""

    km: Array
    mean: Array
    sd: Array


def fan(trend: Trend, valve: Valve, km: Sequence[float] | Array) -> Fan:
    """Where the gap will be at ``km`` from now if nothing is touched."""
    far = np.asarray(km, dtype=float)
    L = far / 1000.0
    i = trend.index(valve)
    j = trend.layout.V + i
    m, P = trend.mean, trend.cov
    var = P[i, i] + 2 * L * P[i, j] + L * L * P[j, j] + trend.settings.wander**2 * L
    return Fan(far, m[i] + L * m[j], np.sqrt(var))


@dataclass(frozen=True, slots=True)
class Recheck:
    """When to look again: ``km`` from now, never more than ``usual_km``.

    ``valve`` and ``side`` say which risk decided (None: none did, the usual interval did). ``risk`` is that
    valve's risk at ``km``.
    """

    km: float
    usual_km: float
    valve: Valve | None
    side: Side | None
    risk: float | None


def recheck(
    trend: Trend,
    usual_km: float | None = None,
    tight_risk: float = TIGHT_RISK,
    loose_risk: float = LOOSE_RISK,
    at_usual: Mapping[Valve, tuple[float | None, float | None]] | None = None,
) -> Recheck:
    """The largest distance at which no valve's risk passes the threshold, at most the usual interval.

    ``usual_km`` None: the engine file's interval, else 5,000 km (common practice). Rounded down to 10 km; 0 means
    now. ``at_usual``: (tight, loose) risks by valve at that interval, if they are known already, as by ``all_risks``.
    Raises InputError for thresholds outside (0, 1) or an interval that is not positive.
    """
    for name, allowed in (("tight", tight_risk), ("loose", loose_risk)):
        if not 0 < allowed < 1:
            raise InputError(
                say(
                    "an accepted risk of too {name} of {allowed}; give a probability between 0 and 1",
                    name=name,
                    allowed=allowed,
                )
            )
    usual = usual_km if usual_km is not None else trend.engine.service.every_km or USUAL_KM
    if not (math.isfinite(usual) and usual > 0):
        raise InputError(say("a usual interval of {usual} km; give more than 0 km", usual=usual))
    grid = np.linspace(0.0, usual, 17)
    best = Recheck(usual, usual, None, None, None)
    sides: tuple[tuple[Side, float], ...] = (("tight", tight_risk), ("loose", loose_risk))
    for valve in trend.valves:
        for side, allowed in sides:
            known = at_usual[valve][side == "loose"] if at_usual is not None else None
            if known is not None and known <= allowed:
                continue
            end = risks(trend, valve, [min(usual, best.km)], side)
            if end is None or end[0] <= allowed:
                continue
            p = risks(trend, valve, grid, side)
            if p is None:
                continue
            k = int(np.argmax(p > allowed))
            km = 0.0 if k == 0 else _cross(trend, valve, side, allowed, float(grid[k - 1]), float(grid[k]))
            km = math.floor(km / STEP_KM) * STEP_KM
            if km < best.km:
                at = risks(trend, valve, [km], side)
                best = Recheck(km, usual, valve, side, None if at is None else float(at[0]))
    return best


def _cross(trend: Trend, valve: Valve, side: Side, allowed: float, lo: float, hi: float) -> float:
    """The distance in [lo, hi] km at which the risk reaches ``allowed`` (it never falls with distance)."""
    for _ in range(4):
        inner = np.linspace(lo, hi, 9)
        p = risks(trend, valve, inner, side)
        above = np.ones(9, bool) if p is None else p > allowed
        k = max(int(np.argmax(above)), 1)
        lo, hi = float(inner[k - 1]), float(inner[k])
    return lo


@dataclass(frozen=True, slots=True)
class Driving:
    """How the engine is really driven: ``km_per_day`` with its ``sd``, and ``wobble``, km per sqrt(day)."""

    km_per_day: float
    sd: float
    wobble: float


def driving(visits: Sequence[VisitRecord], half_life_days: float = 1100.0) -> Driving | None:
    """The rate of driving from days and distances of the last ``RATE_VISITS`` visits, recent years counting more.

    Weights halve every ``half_life_days`` (three years: judgement). None where they are fewer than ``LEAST_DAYS`` apart
    or nothing was driven. Steps backwards count as 0 km.
    """
    ordered = sorted(visits, key=lambda v: (v.day, v.distance_km))[-RATE_VISITS:]
    if len(ordered) < 2 or (ordered[-1].day - ordered[0].day).days < LEAST_DAYS:
        return None
    # Plain floats: a large shed asks this a thousand times of half a dozen visits.
    end = ordered[-1].day
    pieces = []
    for a, b in pairwise(ordered):
        weight = 0.5 ** ((end - b.day).days / half_life_days)
        pieces.append((weight, float((b.day - a.day).days), max(b.distance_km - a.distance_km, 0.0)))
    time = sum(w * dt for w, dt, _ in pieces)
    rate = sum(w * dk for w, _, dk in pieces) / time if time > 0 else 0.0
    if not rate > LEAST_RATE:
        return None
    apart = [(dt, dk) for _, dt, dk in pieces if dt > 0]
    # Two invented visits' worth of prior: a rate that varies by half of itself from year to year.
    usual = (0.5 * rate) ** 2 * 365.0
    seen = sum((dk - rate * dt) ** 2 / dt for dt, dk in apart)
    wobble2 = (seen + 2.0 * usual) / (max(len(apart), 1) + 2.0)
    spread = math.sqrt(wobble2 * sum(w * w * dt for w, dt, _ in pieces)) / time
    return Driving(rate, spread, math.sqrt(wobble2))


class Due(NamedTuple):
    """A date with its spread: 80 % between ``early`` and ``late``."""

    early: date
    middle: date
    late: date


def due(km: float, since: date, how: Driving) -> Due:
    """When ``km`` more will have been driven, counted from ``since`` (the last visit).

    The time to drive a distance is inverse Gaussian when driving is a Wiener process; a log-normal with that mean and
    variance gives the dates. The rate's own uncertainty widens it about its median, which it leaves where it is.
    """
    if not (math.isfinite(km) and km >= 0):
        raise InputError(say("a distance of {km} km ahead; give 0 km or more", km=km))
    mean = km / how.km_per_day
    if mean < 1e-6:  # a tenth of a second: no later day, and its square must not vanish
        return Due(since, since, since)
    driven = km * how.wobble**2 / how.km_per_day**3
    unsure = (mean * how.sd / how.km_per_day) ** 2
    log_var = math.log1p((driven + unsure) / mean**2)
    middle = math.log(mean) - 0.5 * math.log1p(driven / mean**2)
    z80 = 1.2815515655446004
    days = [min(math.exp(middle + k * z80 * math.sqrt(log_var)), 200_000.0) for k in (-1.0, 0.0, 1.0)]
    last = (date.max - since).days
    early, mid, late = (since + timedelta(days=min(round(d), last)) for d in days)
    return Due(early, mid, late)


def all_risks(trend: Trend, km: float) -> Mapping[Valve, tuple[float | None, float | None]]:
    """Every valve's (tight, loose) risk within ``km`` from now."""
    return {valve: (p_tight(trend, valve, km), p_loose(trend, valve, km)) for valve in trend.valves}


@lru_cache(maxsize=4)
def _legendre(n: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(n)
    return nodes, weights
