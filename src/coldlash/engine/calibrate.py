"""An engine's own temperature coefficient, from its gaps measured at two or more temperatures.

Even temperatures (``calibrate``): reading = g_valve + c_kind (T - 20) + o_visit, with the valve's gap at 20 C,
the kind's coefficient and what a whole visit is off by. c starts from the heat model; a stack may also be
wrong, so the start is a mixture: it fits (its own uncertainty) or it doesn't (wide). Intervals enter by
expectation propagation (moment matching of each reading; Minka 2001), which for one Gaussian is nearly exact.
Valid when the engine stood long enough to be evenly warm and nothing was adjusted in between.

Uneven heat (``compare_hot``): measured change from cold to hot against the model at the zones' temperatures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldlash.engine.heat import KINDS, Estimate, hot_gap, temperature_coefficient
from coldlash.engine.heat import coefficient_covariance as stack_covariance
from coldlash.engine.materials import LOWEST_C, REFERENCE_C
from coldlash.engine.spec import Engine, Kind, Valve
from coldlash.engine.why import Why
from coldlash.errors import ConvergenceError, InputError
from coldlash.language import mark, number, say

Array = NDArray[np.float64]

HAND_SD_MM = 0.015
"""Sd of a feeling hand at a blade (the project's default)."""
VISIT_SD_MM = 0.010
"""Sd of what a whole visit is off by, mm (the project's default)."""
THERMOMETER_SD_K = 1.0
"""Sd of an engine temperature (judgement)."""
GAP_SD_MM = 0.3
"""How little is known of a gap beforehand, mm: wide on purpose."""
WIDE_SD_MM_PER_K = 0.003
"""Spread of coefficients between engines, for a stack that does not fit (judgement: steel against aluminium
pushrods is about 0.0025 mm/K)."""
STACK_FITS = 0.8
"""Probability beforehand that the stack describes this engine (judgement)."""
_SETTLED = 1e-5  # of an sd; rounding alone moves sites by some 1e-6 where readings are far out
LEAST_SPREAD_K = 5.0
"""Temperatures closer than this say nothing about a coefficient, K."""

WHY: dict[str, Why] = {
    "coefficient": Why(
        mark(
            "reading = gap at 20 C + c (T - 20) + what the visit is off by, c the same for all valves of "
            "a kind; started from the stack's own c with its spread, or with a wide one in case the "
            "stack is wrong"
        ),
        mark("the same valves read at two even temperatures or more, intervals as the blades gave them"),
        mark(
            "Bayes' rule with expectation propagation (Minka 2001, from memory); checked against brute force"
        ),
        mark("the engine stood overnight both times and nothing was adjusted in between"),
    ),
    "hot_check": Why(
        mark(
            "middle of the hot reading - middle of the cold one, brought to 20 C; compared with the "
            "model's change"
        ),
        mark("the same valves read cold and hot with two blades, the zones' temperatures"),
        mark(
            "definition; each reading counts with the spread of its interval (width / root 12) and of "
            "the hand"
        ),
        mark("bounded readings only; zones known to about 10 K"),
    ),
}


@dataclass(frozen=True, slots=True)
class GapsAt:
    """Gaps read at one visit with the whole engine at ``temp_c``.

    ``gaps``: valve to (lo, hi) mm, the thickest blade that goes and the thinnest that does not; ends may be
    infinite; lo = hi is drag on that blade, or a value read another way.
    """

    temp_c: float
    gaps: Mapping[Valve, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Calibration:
    """The engine's own coefficient c, mm/K per kind, and what the model had said (None without stacks).

    ``stack_fits``: probability that the stack describes this engine (None without stacks).
    """

    coefficient: dict[Kind, Estimate]
    model: dict[Kind, Estimate] | None
    stack_fits: float | None

    def off_by(self, kind: Kind) -> Estimate | None:
        """How much the model's coefficient was too low (+) or too high (-), mm/K; None without stacks."""
        if self.model is None:
            return None
        own = self.coefficient[kind]
        return Estimate(own.value - self.model[kind].value, own.sd)

    @property
    def words(self) -> tuple[str, ...]:
        """What was found, one sentence a kind, and one on the stack."""
        said = []
        for kind in KINDS:
            own = self.coefficient[kind]
            if self.model is None:
                said.append(
                    say("Intake: {um} um/K, give or take {sd:.1f}.", um=_um(own.value), sd=own.sd * 1000)
                    if kind == "I"
                    else say(
                        "Exhaust: {um} um/K, give or take {sd:.1f}.", um=_um(own.value), sd=own.sd * 1000
                    )
                )
                continue
            um, sd, stack = _um(own.value), own.sd * 1000, _um(self.model[kind].value)
            said.append(
                say(
                    "Intake: {um} um/K, give or take {sd:.1f} (the stack said {stack}).",
                    um=um,
                    sd=sd,
                    stack=stack,
                )
                if kind == "I"
                else say(
                    "Exhaust: {um} um/K, give or take {sd:.1f} (the stack said {stack}).",
                    um=um,
                    sd=sd,
                    stack=stack,
                )
            )
        if self.stack_fits is None:
            said.append(say("The engine file has no stack, so this comes from the readings alone."))
        elif self.stack_fits < 0.5:
            said.append(
                say(
                    "The readings and the stack hardly agree (probability {stack_fits:.2f} that it fits): check "
                    "its lengths and materials, the pushrods' first.",
                    stack_fits=self.stack_fits,
                )
            )
        else:
            said.append(
                say(
                    "The readings don't contradict the stack (probability {stack_fits:.2f} that it fits).",
                    stack_fits=self.stack_fits,
                )
            )
        return tuple(said)


@dataclass(frozen=True, slots=True)
class HotCheck:
    """Change from cold to hot, mm: as measured, as the model has it, and their distance in sds."""

    measured: Estimate
    predicted: Estimate

    @property
    def off_by_mm(self) -> float:
        """Measured less predicted."""
        return self.measured.value - self.predicted.value

    @property
    def off_by_sds(self) -> float:
        """The same in standard deviations of both."""
        return self.off_by_mm / math.hypot(self.measured.sd, self.predicted.sd)


def calibrate(
    engine: Engine,
    visits: Sequence[GapsAt],
    *,
    hand_sd_mm: float = HAND_SD_MM,
    visit_sd_mm: float = VISIT_SD_MM,
    max_sweeps: int = 200,
) -> Calibration:
    """The engine's own coefficient from gaps read at two or more even temperatures.

    Raises InputError when the visits can't tell (no valve read at temperatures 5 K apart, blades out of
    order, a valve or temperature that can't be) and ConvergenceError after ``max_sweeps``.
    """
    _check_spreads(hand_sd_mm, visit_sd_mm)
    _check_visits(engine, visits)
    prior = temperature_coefficient(engine)
    start = np.zeros(2) if prior is None else np.array([prior[kind].value for kind in KINDS])
    wide = np.eye(2) * WIDE_SD_MM_PER_K**2
    readings = [
        (number, valve, *gap) for number, visit in enumerate(visits) for valve, gap in visit.gaps.items()
    ]
    precision, shift = _evidence(engine, visits, readings, start, wide, hand_sd_mm, visit_sd_mm, max_sweeps)
    covers, weights = [wide], [1.0]
    if prior is not None:
        covers, weights = [np.array(stack_covariance(engine)), wide], [STACK_FITS, 1 - STACK_FITS]
    logs, means, covariances = [], [], []
    for cover, weight in zip(covers, weights, strict=True):
        inverse = np.linalg.inv(cover)
        after = np.linalg.inv(inverse + precision)
        mean = after @ (inverse @ start + shift)
        _, log_before = np.linalg.slogdet(inverse)
        _, log_after = np.linalg.slogdet(after)
        fit = mean @ (inverse + precision) @ mean - start @ inverse @ start
        logs.append(math.log(weight) + 0.5 * (log_before + log_after + fit))
        means.append(mean)
        covariances.append(after)
    share = np.exp(np.array(logs) - max(logs))
    share /= share.sum()
    mixed = sum((p * m for p, m in zip(share, means, strict=True)), np.zeros(2))
    spread = sum(
        (p * (c + np.outer(m - mixed, m - mixed)) for p, m, c in zip(share, means, covariances, strict=True)),
        np.zeros((2, 2)),
    )
    own = {kind: Estimate(float(mixed[i]), math.sqrt(float(spread[i, i]))) for i, kind in enumerate(KINDS)}
    return Calibration(own, prior, None if prior is None else float(share[0]))


def compare_hot(
    engine: Engine,
    zones: Mapping[str, float],
    cold: GapsAt,
    hot: Mapping[Valve, tuple[float, float]],
    *,
    dim_sd_mm: float | None = None,
    temp_sd_k: float | Mapping[str, float] = 10.0,
    hand_sd_mm: float = HAND_SD_MM,
    visit_sd_mm: float = VISIT_SD_MM,
) -> dict[Kind, HotCheck]:
    """Measured change from cold (even ``cold.temp_c``, brought to 20 C) to hot against the model, per kind.

    ``hot``: valve to (lo, hi) mm read at ``zones`` (Celsius). Bounded readings only: each counts as the middle
    of its interval with the sd of an even spread over it (width / sqrt 12) and of the hand. Kinds without a
    valve read both times are left out. Raises InputError as ``gap_change`` does, or when nothing compares.
    """
    _check_spreads(hand_sd_mm, visit_sd_mm)
    _check_visit(engine, cold)
    _check_gaps(engine, hot)
    predicted = hot_gap(engine, zones, dim_sd_mm=dim_sd_mm, temp_sd_k=temp_sd_k)
    slope = temperature_coefficient(engine) or {}  # hot_gap has refused engines without stacks
    found: dict[Kind, HotCheck] = {}
    for kind in KINDS:
        both = [
            (cold.gaps[v], hot[v])
            for v in cold.gaps
            if v.kind == kind and v in hot and all(map(math.isfinite, (*cold.gaps[v], *hot[v])))
        ]
        if not both:
            continue
        rise = cold.temp_c - REFERENCE_C
        changes = [(b[0] + b[1]) / 2 - (a[0] + a[1]) / 2 + slope[kind].value * rise for a, b in both]
        variance = (
            sum(2 * hand_sd_mm**2 + ((a[1] - a[0]) ** 2 + (b[1] - b[0]) ** 2) / 12 for a, b in both)
            / len(both) ** 2
        )
        sd = math.sqrt(variance + 2 * visit_sd_mm**2 + (slope[kind].sd * rise) ** 2)
        model = predicted[kind]
        found[kind] = HotCheck(
            Estimate(sum(changes) / len(changes), sd), Estimate(model.change_mm, model.sd_mm)
        )
    if not found:
        raise InputError(
            say(
                "no valve was read both cold and hot with two blades (one that goes, one that does not): "
                "give the same valve at both, like E1"
            )
        )
    return found


# ------------------------------------------------------------------------------------- the readings' evidence


def _evidence(
    engine: Engine,
    visits: Sequence[GapsAt],
    readings: Sequence[tuple[int, Valve, float, float]],
    start: Array,
    wide: Array,
    hand_sd: float,
    visit_sd: float,
    max_sweeps: int,
) -> tuple[Array, Array]:
    """What the readings alone say about (c_I, c_E): precision (2, 2) and precision times mean (2,).

    State: c of both kinds, the gap of every valve read, the offset of every visit, mm.
    """
    valves = list(dict.fromkeys(valve for _, valve, _, _ in readings))
    size = 2 + len(valves) + len(visits)
    mean0 = np.concatenate([start, [engine.gap(v).cold for v in valves], np.zeros(len(visits))])
    var0 = np.concatenate([np.full(len(valves), GAP_SD_MM**2), np.full(len(visits), visit_sd**2)])
    # a thermometer off by 1 K moves all gaps of the visit by about c: a share of what the visit is off by
    var0[len(valves) :] += (float(np.mean(start)) * THERMOMETER_SD_K) ** 2
    prior = np.zeros((size, size))
    prior[:2, :2] = np.linalg.inv(wide)
    prior[2:, 2:] = np.diag(1 / var0)
    rows = np.zeros((len(readings), size))
    for i, (visit, valve, _, _) in enumerate(readings):
        rows[i, KINDS.index(valve.kind)] = visits[visit].temp_c - REFERENCE_C
        rows[i, 2 + valves.index(valve)] = 1.0
        rows[i, 2 + len(valves) + visit] = 1.0
    lo = np.array([reading[2] for reading in readings])
    hi = np.array([reading[3] for reading in readings])
    tau, nu = _propagate(prior, prior @ mean0, rows, lo, hi, hand_sd, max_sweeps)
    covariance = np.linalg.inv(prior + rows.T @ (tau[:, None] * rows))
    after = np.linalg.inv(covariance[:2, :2])
    mean = covariance @ (prior @ mean0 + rows.T @ nu)
    before = np.linalg.inv(wide)
    return after - before, after @ mean[:2] - before @ start


def _propagate(
    precision: Array, shift: Array, rows: Array, lo: Array, hi: Array, hand_sd: float, max_sweeps: int
) -> tuple[Array, Array]:
    """Expectation propagation: site precisions and shifts, (readings,) each. Raises ConvergenceError."""
    drag = lo == hi
    noise = hand_sd**2
    tau = np.where(drag, 1 / noise, 0.0)
    nu = np.where(drag, np.where(drag, lo, 0.0) / noise, 0.0)
    covariance = np.linalg.inv(precision + rows.T @ (tau[:, None] * rows))
    mean = covariance @ (shift + rows.T @ nu)
    for _ in range(max_sweeps):
        largest = 0.0
        for i in np.flatnonzero(~drag):
            row = rows[i]
            gain = covariance @ row
            var = float(row @ gain)
            at = float(row @ mean)
            free = 1 / var - tau[i]
            cavity_var = 1 / free
            cavity_mean = cavity_var * (at / var - nu[i])
            matched_mean, matched_var = _seen(cavity_mean, cavity_var, float(lo[i]), float(hi[i]), noise)
            new_tau = max(1 / matched_var - free, 0.0)
            new_nu = matched_mean / matched_var - cavity_mean * free
            step, push = new_tau - tau[i], new_nu - nu[i]
            tau[i], nu[i] = new_tau, new_nu
            covariance = covariance - np.outer(gain, gain) * (step / (1 + step * var))
            mean = covariance @ (shift + rows.T @ nu)
            moved = math.sqrt(var) * abs(push - step * at)
            largest = max(largest, moved, abs(step) * var)
        if largest < _SETTLED:
            return tau, nu
    raise ConvergenceError(
        say(
            "the calibration did not settle in {max_sweeps} sweeps over {count} readings; check them for "
            "a misread, or leave the widest intervals out",
            max_sweeps=max_sweeps,
            count=len(lo),
        )
    )


def _seen(mean: float, var: float, lo: float, hi: float, noise: float) -> tuple[float, float]:
    """Mean and variance of y ~ N(mean, var) once y + N(0, noise) fell in [lo, hi).

    Truncated normal moments (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, 13.10.1).
    """
    from scipy.special import log_ndtr

    scale = math.sqrt(var + noise)
    a, b = (lo - mean) / scale, (hi - mean) / scale
    sign = 1.0
    if a + b > 0:  # work in the lower tail, where log_ndtr keeps its digits
        a, b, sign = -b, -a, -1.0
    upper = float(log_ndtr(b))
    log_z = upper + (math.log1p(-math.exp(float(log_ndtr(a)) - upper)) if math.isfinite(a) else 0.0)
    at_a = math.exp(-0.5 * a * a - _LOG_ROOT_2PI - log_z) if math.isfinite(a) else 0.0
    at_b = math.exp(-0.5 * b * b - _LOG_ROOT_2PI - log_z) if math.isfinite(b) else 0.0
    first = at_a - at_b
    second = (a * at_a if at_a else 0.0) - (b * at_b if at_b else 0.0)
    inside = min(max(1 + second - first * first, 1e-12), 1.0)
    return mean + sign * first * var / scale, var - var * var / scale**2 * (1 - inside)


_LOG_ROOT_2PI = 0.5 * math.log(2 * math.pi)


# ------------------------------------------------------------------------------------------------- checks


def _check_spreads(hand_sd_mm: float, visit_sd_mm: float) -> None:
    if not (math.isfinite(hand_sd_mm) and hand_sd_mm > 0):
        raise InputError(
            say(
                "spread of the hand: {value:g} mm; it must be more than 0, in mm, like {like:g}",
                value=hand_sd_mm,
                like=0.015,
            )
        )
    if not (math.isfinite(visit_sd_mm) and visit_sd_mm > 0):
        raise InputError(
            say(
                "spread of the visit: {value:g} mm; it must be more than 0, in mm, like {like:g}",
                value=visit_sd_mm,
                like=0.015,
            )
        )


def _check_visits(engine: Engine, visits: Sequence[GapsAt]) -> None:
    seen: dict[Valve, list[float]] = {}
    for visit in visits:
        _check_visit(engine, visit)
        for valve in visit.gaps:
            seen.setdefault(valve, []).append(visit.temp_c)
    if not any(max(temps) - min(temps) >= LEAST_SPREAD_K for temps in seen.values()):
        raise InputError(
            say(
                "no valve was read at two engine temperatures at least {least_spread_k:g} K apart; read the "
                "same valves on a cold and on a warm day, without adjusting in between",
                least_spread_k=LEAST_SPREAD_K,
            )
        )


def _check_visit(engine: Engine, visit: GapsAt) -> None:
    if not LOWEST_C <= visit.temp_c <= 100:
        raise InputError(
            say(
                "engine temperature {temp_c:g} C: the whole engine must be evenly warm, from {lowest_c:g} to "
                "100 C; for a running engine compare its hot gap instead",
                temp_c=visit.temp_c,
                lowest_c=LOWEST_C,
            )
        )
    _check_gaps(engine, visit.gaps)


def _check_gaps(engine: Engine, gaps: Mapping[Valve, tuple[float, float]]) -> None:
    for valve, (lo, hi) in gaps.items():
        engine.valve(str(valve))
        if not lo <= hi or lo == math.inf or hi == -math.inf or (lo == -math.inf and hi == math.inf):
            raise InputError(
                say(
                    "{valve}: from {lo:g} to {hi:g} mm is no reading; give the thickest blade that goes first, "
                    "then the thinnest that does not",
                    valve=valve,
                    lo=lo,
                    hi=hi,
                )
            )


def _um(mm: float) -> str:
    return number(mm * 1000, "+.1f").replace("-", "\N{MINUS SIGN}")
