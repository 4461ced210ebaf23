"""What a gap does to a valve: when it opens and closes, how fast it lands, what is lost.

The rise of ``engine.lobe`` less the gap is the lift (kinematics: nothing bends, floats or bounces). A gap of 0
opens and closes at the base circle, which is where the stops' windows are taken, so no gap can make a valve
open outside them; only a valve held open (negative gap) does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.engine.lobe import CYCLE_DEG, LiftCurve, lift_curve
from coldlash.engine.spec import Engine, Kind
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, say

Array = NDArray[np.float64]

HUNDREDTH_MM = 0.01

WHY: dict[str, Why] = {
    "opens_deg": Why(
        mark("the crank degree at which rise(going up) = gap"),
        mark("lift curve (mm at the valve, crank degrees past own firing TDC), gap (mm)"),
        mark("definition; the rise is explained under lobe"),
        mark("gap as it is at that moment: use the hot gap for a running engine; nothing bends"),
    ),
    "closes_deg": Why(
        mark("the crank degree at which rise(coming down) = gap"),
        mark("lift curve, gap (mm)"),
        mark("definition; the rise is explained under lobe"),
        mark("as for opening; at high speed springs and pushrods move it by some degrees"),
    ),
    "seating_mm_per_s": Why(
        mark("closing velocity of the rise at the gap, mm per crank degree, x 6 x rpm"),
        mark("lift curve, gap (mm), rpm"),
        mark("definition (one crank turn a second is 360 degrees a second, so 6 x rpm degrees a second)"),
        mark("below the speed at which the valve floats or bounces"),
    ),
    "seating_energy_ratio": Why(
        mark("(closing velocity at this gap / closing velocity at the set gap)^2"),
        mark("lift curve, gap and set gap (mm)"),
        mark("kinetic energy m v^2 / 2, the same mass on both sides"),
        mark("the same at any one speed; a ratio, not an energy"),
    ),
    "leaves_ramp_mm": Why(
        mark("the height of the closing ramp: with a larger gap the valve lands off the ramp"),
        mark("ramp_mm of the engine file, or read from the degree-wheel table"),
        mark("definition; from a table: where a straight line turns into a curve (least squares)"),
        mark("from a table of 0.01 mm noise good to about 0.02 mm"),
    ),
    "deg_per_hundredth_mm": Why(
        mark("0.01 mm x (1 / opening velocity + 1 / closing velocity), velocities in mm per crank degree"),
        mark("lift curve, gap (mm)"),
        mark("derivative of closing minus opening by the gap"),
        mark("for small changes around this gap"),
    ),
    "overlap_deg": Why(
        mark("exhaust closes - intake opens; negative: that many degrees with both shut"),
        mark("both lift curves, both gaps (mm)"),
        "definition",
        mark("as for opening and closing"),
    ),
}


@dataclass(frozen=True, slots=True)
class GapTiming:
    """What gaps do to one kind of valve. Arrays have the shape of ``gap_mm``.

    ``opens_deg``, ``closes_deg``: crank degrees past own firing TDC, 0..720. Where ``held_open`` (gap below 0)
    the valve never closes: opening, closing, seating are NaN, duration 720. Where ``never_opens`` (gap at or
    above the peak) the same are NaN, duration 0. ``lost_deg``: duration lost against the set gap.
    ``unresolved``: the gap is below what a noisy table can tell.
    """

    kind: Kind
    rpm: float
    set_gap_mm: float
    gap_mm: Array
    opens_deg: Array
    closes_deg: Array
    duration_deg: Array
    lost_deg: Array
    peak_lift_mm: Array
    seating_mm_per_s: Array
    seating_energy_ratio: Array
    deg_per_hundredth_mm: Array
    off_ramp: Array
    held_open: Array
    never_opens: Array
    unresolved: Array
    leaves_ramp_mm: float
    curve: LiftCurve


def timing(engine: Engine, gap_mm: ArrayLike, kind: Kind, rpm: float) -> GapTiming:
    """What these gaps (mm, any shape, at the moment of interest) do to this engine's intake or exhaust valves.

    The set gap is the file's cold gap. Raises InputError without a lobe (naming the keys), for gaps that are no
    numbers and for a speed that is not above 0.
    """
    return timing_of(lift_curve(engine, kind), gap_mm, kind, rpm, engine.gaps[kind].cold)


def timing_of(curve: LiftCurve, gap_mm: ArrayLike, kind: Kind, rpm: float, set_gap_mm: float) -> GapTiming:
    """The same from a lift curve and a set gap, mm."""
    gap = np.asarray(gap_mm, dtype=np.float64)
    if not np.isfinite(gap).all():
        raise InputError(say("a gap is not a number; give millimetres, negative for a valve held open"))
    if not 0.0 <= set_gap_mm < curve.peak_mm:
        raise InputError(
            say(
                "a set gap of {set_gap_mm:g} mm is not between 0 and the peak lift {peak_mm:g} mm",
                set_gap_mm=set_gap_mm,
                peak_mm=curve.peak_mm,
            )
        )
    held = gap < 0.0
    never = gap >= curve.peak_mm
    shut = held | never
    level = np.where(shut, 0.0, gap)
    up, down = curve.crossings(level)
    rising = curve.rise(up, 1)
    seating = -curve.motion(down, rpm, 1)
    set_up, set_down = curve.crossings(set_gap_mm)
    set_speed = -float(curve.motion(set_down, rpm, 1))
    duration = np.where(held, CYCLE_DEG, np.where(never, 0.0, down - up))
    with np.errstate(divide="ignore", invalid="ignore"):
        per_mm = 1.0 / rising + 6.0 * rpm / seating
        energy = (seating / set_speed) ** 2

    def only(values: Array) -> Array:
        return np.asarray(np.where(shut, np.nan, values))

    return GapTiming(
        kind=kind,
        rpm=float(rpm),
        set_gap_mm=float(set_gap_mm),
        gap_mm=gap,
        opens_deg=only(np.mod(up, CYCLE_DEG)),
        closes_deg=only(np.mod(down, CYCLE_DEG)),
        duration_deg=np.asarray(duration),
        lost_deg=np.asarray(float(set_down - set_up) - duration),
        peak_lift_mm=np.maximum(curve.peak_mm - gap, 0.0),
        seating_mm_per_s=only(seating),
        seating_energy_ratio=only(energy),
        deg_per_hundredth_mm=only(HUNDREDTH_MM * per_mm),
        off_ramp=np.asarray(~shut & (gap > curve.ramp_mm)),
        held_open=np.asarray(held),
        never_opens=np.asarray(never),
        unresolved=np.asarray(~held & (gap < curve.finest_gap_mm)),
        leaves_ramp_mm=curve.ramp_mm,
        curve=curve,
    )


@dataclass(frozen=True, slots=True)
class Overlap:
    """Crank degrees around overlap TDC with intake and exhaust both open: ``overlap_deg`` (negative: both shut for
    that long), for ``intake_gap_mm`` and ``exhaust_gap_mm`` (broadcast shapes), and at the set gaps.
    """

    overlap_deg: Array
    at_set_gaps_deg: float
    intake_gap_mm: Array
    exhaust_gap_mm: Array


def overlap(engine: Engine, intake_gap_mm: ArrayLike, exhaust_gap_mm: ArrayLike) -> Overlap:
    """Overlap for these gaps. A valve held open overlaps the whole of the other's opening (both: 720).

    Raises InputError without both lobes or for gaps that are no numbers.
    """
    curves = {kind: lift_curve(engine, kind) for kind in ("I", "E")}
    intake, exhaust = np.broadcast_arrays(
        np.asarray(intake_gap_mm, dtype=np.float64), np.asarray(exhaust_gap_mm, dtype=np.float64)
    )
    of_intake = timing_of(curves["I"], intake, "I", 1000.0, engine.gaps["I"].cold)
    of_exhaust = timing_of(curves["E"], exhaust, "E", 1000.0, engine.gaps["E"].cold)
    both = _overlap(curves["I"], curves["E"], np.maximum(intake, 0.0), np.maximum(exhaust, 0.0))
    both = np.where(of_intake.held_open, of_exhaust.duration_deg, both)
    both = np.where(of_exhaust.held_open, of_intake.duration_deg, both)
    at_set = _overlap(curves["I"], curves["E"], engine.gaps["I"].cold, engine.gaps["E"].cold)
    return Overlap(np.asarray(both), float(at_set), intake, exhaust)


def _overlap(intake: LiftCurve, exhaust: LiftCurve, intake_gap: ArrayLike, exhaust_gap: ArrayLike) -> Array:
    return np.asarray(exhaust.crossings(exhaust_gap)[1] - intake.crossings(intake_gap)[0])
