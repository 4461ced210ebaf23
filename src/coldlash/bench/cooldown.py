"""How long until the engine is cold enough: a time constant from readings, and the excess the gap allows.

An engine at rest in still air loses its excess over the air at a steady rate: T(t) = Ta + (T0 - Ta)
exp(-t / tau) (Newton's law of cooling; lumped body). Valid once the engine has stood some ten minutes, with the
air's temperature steady; soon after stopping, heat still runs from the head into the rest.

It cools unevenly, and that decides: with each zone's excess over the air varying on its own by 20 % of the
measured excess (assumption), the gap's sd is 0.2 x excess x root of the sum of squared zone slopes. The
engine is cold enough when that is below the chosen size.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from coldlash.engine.heat import zone_slopes, zones_of
from coldlash.engine.spec import Engine, Kind
from coldlash.engine.why import Why
from coldlash.errors import ConvergenceError, InputError
from coldlash.language import mark, plural, say

UNEVEN = 0.20
"""Each zone's excess varies independently by this share of the measured excess (assumption)."""
DEFAULT_SIZE_MM = 0.01
"""How certain the gap must be, sd in mm."""
DEFAULT_WITHIN_K = 5.0
"""Cold enough where the engine file has no stack: the excess for 0.01 mm of a typical engine."""
THERMOMETER_SD_K = 1.0
"""Sd of one temperature reading (judgement: a probe thermometer or an infrared one held still)."""
JITTER_K = 2.0
"""Among three or more readings one may be this much warmer than the one before it: two thermometer sds."""
MOST_MINUTES = 1e5
"""Larger numbers are no minutes (ten weeks)."""
LEAST_MINUTES = 1e-3
"""Readings closer than this are one."""
COLDEST_AIR_C, WARMEST_AIR_C, HOTTEST_ENGINE_C = -40.0, 60.0, 400.0

WHY: dict[str, Why] = {
    "tau_min": Why(
        mark(
            "T(t) = air + (T0 - air) exp(-t / tau); two readings: tau = (t2 - t1) / ln((T1 - air) / (T2 "
            "- air)), more: least squares"
        ),
        mark("minutes and temperatures of the readings, the air's temperature (Celsius)"),
        mark("Newton's law of cooling, one body (textbook)"),
        mark(
            "from ten minutes after stopping; air at rest and steady; a thermometer good to 1 K (judgement)"
        ),
    ),
    "wait_min": Why(
        mark("tau x ln(excess at the last reading / excess that is cold enough)"),
        mark("time constant, last reading, the excess that is cold enough"),
        mark("the same law solved for the time"),
        mark("as for the time constant; measure once more before the first valve"),
    ),
    "target_k": Why(
        mark("the excess at which 0.2 x excess x root of the sum of squared zone slopes = 0.01 mm"),
        mark("the engine file's stack; without one, 5 K"),
        mark("each zone's excess over the air varies on its own by 20 % of the measured one (assumption)"),
        mark("uneven cooling decides, not even warmth; never called ready above it"),
    ),
}


class Reading(NamedTuple):
    """Minutes on any clock and the engine's temperature then, Celsius."""

    minute: float
    temp_c: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """How this engine cools. ``last_excess_k`` is over the air at ``last_minute``, from the fit.

    ``wait_min`` counts from the last reading until ``target_k`` over the air; 0 = cold enough by then.
    """

    air_c: float
    tau_min: float
    tau_sd_min: float
    last_minute: float
    last_excess_k: float
    target_k: float
    wait_min: float
    wait_sd_min: float

    @property
    def target_c(self) -> float:
        """The temperature to wait for, Celsius."""
        return self.air_c + self.target_k

    def temp_c_at(self, minute: float) -> float:
        """Expected engine temperature at that minute of the readings' clock, Celsius."""
        return self.air_c + self.last_excess_k * math.exp(-(minute - self.last_minute) / self.tau_min)

    def remaining_min(self, minute: float) -> float:
        """Minutes left to wait at that minute of the readings' clock, never below 0."""
        return max(0.0, self.last_minute + self.wait_min - minute)


def gap_sd(engine: Engine, excess_k: float | Mapping[str, float]) -> dict[Kind, float]:
    """Sd of the gap, mm per kind, when the engine is this much warmer than the air (or colder), unevenly.

    ``excess_k``: one measured excess, K, or one for each zone. Raises InputError for an engine without stacks,
    zones that don't match, or a number that isn't finite.
    """
    given = excess_k if isinstance(excess_k, Mapping) else dict.fromkeys(zones_of(engine), excess_k)
    slopes = zone_slopes(engine)
    if missing := set(zones_of(engine)) ^ set(given):
        raise InputError(
            say(
                "excess over the air: zones {missing} don't match; give all of {zones} and no other",
                missing=", ".join(sorted(missing)),
                zones=", ".join(zones_of(engine)),
            )
        )
    for zone, excess in given.items():
        if not math.isfinite(excess):
            raise InputError(
                say(
                    "excess over the air of zone {zone}: {excess:g} K; give a number of kelvins, like 12",
                    zone=zone,
                    excess=excess,
                )
            )
    return {
        kind: math.hypot(*(UNEVEN * given[zone] * per_k / 1000 for zone, per_k in by_zone.items()))
        for kind, by_zone in slopes.items()
    }


def allowed_excess_k(engine: Engine, size_mm: float = DEFAULT_SIZE_MM) -> float:
    """The largest excess over the air, K, at which both kinds' gaps are certain to ``size_mm`` (sd).

    Infinite where heat does not move the gap at all. Raises InputError as ``gap_sd``, or for a size not above 0.
    """
    if not (math.isfinite(size_mm) and size_mm > 0):
        raise InputError(
            say(
                "size {size_mm:g} mm: how certain the gap must be is more than 0, in mm, like 0.01",
                size_mm=size_mm,
            )
        )
    worst = max(gap_sd(engine, 1.0).values())
    return size_mm / worst if worst > 0 else math.inf


def target_excess_k(
    engine: Engine | None = None, within_k: float | None = None, size_mm: float = DEFAULT_SIZE_MM
) -> float:
    """The excess to wait for, K: ``within_k``, and never more than the engine's own stack allows.

    Without ``within_k``: what the engine allows; without a stack: 5 K. Raises InputError.
    """
    if within_k is not None and not (math.isfinite(within_k) and within_k > 0):
        raise InputError(
            say(
                "within {within_k:g} K: it must be more than 0, in kelvins above the air, like 5",
                within_k=within_k,
            )
        )
    wanted = math.inf if within_k is None else within_k
    if engine is not None and engine.stack:
        wanted = min(wanted, allowed_excess_k(engine, size_mm))
    return DEFAULT_WITHIN_K if math.isinf(wanted) else wanted


def is_ready(
    air_c: float,
    temp_c: float,
    engine: Engine | None = None,
    within_k: float | None = None,
    size_mm: float = DEFAULT_SIZE_MM,
) -> bool:
    """True when the engine is close enough to the air, warmer or colder. Raises InputError."""
    _check_air(air_c)
    return abs(temp_c - air_c) <= target_excess_k(engine, within_k, size_mm)


def cooling(
    air_c: float,
    readings: Sequence[Reading],
    *,
    within_k: float | None = None,
    engine: Engine | None = None,
    size_mm: float = DEFAULT_SIZE_MM,
    reading_sd_k: float = THERMOMETER_SD_K,
) -> Cooling:
    """Time constant and wait from two or more readings of a cooling engine; see ``target_excess_k`` for the goal.

    Two readings are met exactly; more by least squares of the temperatures. Sds come from ``reading_sd_k``, to
    first order. Raises InputError for readings that can't belong to a cooling engine, ConvergenceError if the
    fit does not settle.
    """
    target = target_excess_k(engine, within_k, size_mm)
    _check_air(air_c)
    if not (math.isfinite(reading_sd_k) and reading_sd_k >= 0):
        raise InputError(
            say(
                "spread of a temperature reading {reading_sd_k:g} K: it must be 0 or more, like 1",
                reading_sd_k=reading_sd_k,
            )
        )
    ordered = sorted(Reading(*reading) for reading in readings)
    _check_readings(air_c, ordered)
    first, last = ordered[0], ordered[-1]
    span = last.minute - first.minute
    excesses = [reading.temp_c - air_c for reading in ordered]
    hottest, rate, covariance = _fit([reading.minute - first.minute for reading in ordered], excesses)
    tau = 1 / rate
    tau_sd = tau**2 * math.sqrt(covariance[1][1]) * reading_sd_k
    height = hottest * math.exp(-rate * span)
    # a fit may pass below a last reading that is still too warm: what was measured counts
    start = height if height > target or excesses[-1] <= target else excesses[-1]
    if start <= target:
        return Cooling(air_c, tau, tau_sd, last.minute, height, target, 0.0, 0.0)
    wait = math.log(start / target) * tau
    # until = (ln hottest - ln target) / rate counts from the first reading; first order in hottest and rate
    by_height, by_rate = tau / hottest, -(span + wait) * tau
    variance = (
        by_height**2 * covariance[0][0]
        + 2 * by_height * by_rate * covariance[0][1]
        + by_rate**2 * covariance[1][1]
    )
    wait_sd = math.sqrt(max(variance, 0.0)) * reading_sd_k
    return Cooling(air_c, tau, tau_sd, last.minute, start, target, wait, wait_sd)


def _fit(times: Sequence[float], excesses: Sequence[float]) -> tuple[float, float, list[list[float]]]:
    """Least squares of excess = height exp(-rate t), t >= 0: height, K; rate, 1/min; (J'J)^-1 of the two.

    Gauss-Newton from the straight line through the logarithms, steps halved until the squares no longer grow.
    """

    def squares(height: float, rate: float) -> float:
        if rate <= 0 or height <= 0:  # no cooling curve
            return math.inf
        return sum((y - height * math.exp(-rate * t)) ** 2 for t, y in zip(times, excesses, strict=True))

    logs = [math.log(excess) for excess in excesses]
    mean_t, mean_log = sum(times) / len(times), sum(logs) / len(logs)
    spread = sum((t - mean_t) ** 2 for t in times)
    rate = -sum((t - mean_t) * (y - mean_log) for t, y in zip(times, logs, strict=True)) / spread
    height = math.exp(mean_log + rate * mean_t)
    rounding = 1e-20 * sum(y * y for y in excesses)
    for _ in range(100):
        now = squares(height, rate)
        if math.isinf(now):
            break
        shape = [math.exp(-rate * t) for t in times]
        slope = [-height * t * s for t, s in zip(times, shape, strict=True)]
        rest = [y - height * s for y, s in zip(excesses, shape, strict=True)]
        aa = sum(s * s for s in shape)
        ab = sum(s * d for s, d in zip(shape, slope, strict=True))
        bb = sum(d * d for d in slope)
        ra = sum(s * e for s, e in zip(shape, rest, strict=True))
        rb = sum(d * e for d, e in zip(slope, rest, strict=True))
        det = aa * bb - ab * ab
        if det <= 0:
            break
        step_height, step_rate = (bb * ra - ab * rb) / det, (aa * rb - ab * ra) / det
        if abs(step_height) <= 1e-10 * height and abs(step_rate) <= 1e-10 * rate:
            return height, rate, [[bb / det, -ab / det], [-ab / det, aa / det]]
        share = 1.0
        allowed = now * (1 + 1e-12) + rounding
        while squares(height + share * step_height, rate + share * step_rate) > allowed and share > 1e-6:
            share /= 2
        height, rate = height + share * step_height, rate + share * step_rate
    raise ConvergenceError(
        say(
            "these readings don't follow a cooling curve closely enough to tell a time constant; take "
            "two more, at least a quarter of an hour apart"
        )
    )


def _check_air(air_c: float) -> None:
    if not COLDEST_AIR_C <= air_c <= WARMEST_AIR_C:
        raise InputError(
            say(
                "air at {air_c:g} C: give the garage's temperature, from {coldest_air_c:g} to "
                "{warmest_air_c:g} C",
                air_c=air_c,
                coldest_air_c=COLDEST_AIR_C,
                warmest_air_c=WARMEST_AIR_C,
            )
        )


def _check_readings(air_c: float, ordered: Sequence[Reading]) -> None:
    if len(ordered) < 2:
        raise InputError(
            plural(
                "{n} reading: two or more are needed to tell how fast the engine cools; write them as "
                "minute:C, like 0:92 and 45:61",
                "{n} readings: two or more are needed to tell how fast the engine cools; write them as "
                "minute:C, like 0:92 and 45:61",
                len(ordered),
            )
        )
    for minute, temp in ordered:
        if not abs(minute) <= MOST_MINUTES:  # also refuses nan
            raise InputError(
                say(
                    "reading at minute {minute:g}: give minutes on one clock, like 45, up to {most_minutes:g}",
                    minute=minute,
                    most_minutes=MOST_MINUTES,
                )
            )
        if not math.isfinite(temp) or temp > HOTTEST_ENGINE_C:
            raise InputError(
                say(
                    "reading of {temp:g} C at minute {minute:g}: give degrees Celsius, up to {hottest_engine_c:g}",
                    temp=temp,
                    minute=minute,
                    hottest_engine_c=HOTTEST_ENGINE_C,
                )
            )
        if temp <= air_c:
            raise InputError(
                say(
                    "reading of {temp:g} C at minute {minute:g} is not above the air at {air_c:g} C: either the "
                    "engine is as cold as the air already, or one of the two temperatures is wrong",
                    temp=temp,
                    minute=minute,
                    air_c=air_c,
                )
            )
    for before, after in pairwise(ordered):
        if after.minute - before.minute < LEAST_MINUTES:
            raise InputError(
                say("two readings at minute {minute:g}; give each its own minute", minute=after.minute)
            )
        rise = after.temp_c - before.temp_c
        if rise > (JITTER_K if len(ordered) > 2 else 0):
            raise InputError(
                say(
                    "the engine got warmer, from {temp_c:g} C at minute {minute:g} to {temp_c2:g} C at minute "
                    "{minute2:g}; start again once it falls (heat still spreads after stopping)",
                    temp_c=before.temp_c,
                    minute=before.minute,
                    temp_c2=after.temp_c,
                    minute2=after.minute,
                )
            )
    first, last = ordered[0], ordered[-1]
    if last.temp_c >= first.temp_c:
        raise InputError(
            say(
                "the readings don't fall: {temp_c:g} C at minute {minute:g}, {temp_c2:g} C at minute "
                "{minute2:g}; take another one later",
                temp_c=first.temp_c,
                minute=first.minute,
                temp_c2=last.temp_c,
                minute2=last.minute,
            )
        )
