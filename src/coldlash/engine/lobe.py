"""How a lobe lifts its valve: curves from timing figures, from a degree-wheel table or from a handbook law.

Every curve here is the *rise*: what the valve would lift with no gap at all, in mm at the valve (rocker ratio
included), against crank degrees past the cylinder's own firing TDC. With a gap g the valve lifts by
max(rise - g, 0). Engine files give lobe figures in **cam** degrees; two crank degrees make one.

What the file's valve events mean here: with ``checking_lift_mm = 0`` the rise leaves and meets the base circle at
them, ramps included. With a checking lift L above 0 the *rise* is L at them, that is: valve lift L with the gap
taken out, or, which is the same, the valve just opening with the gap opened to L.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.engine.cam_laws import law_named
from coldlash.engine.smoothing import Smooth, smooth
from coldlash.engine.spec import KIND_WORD, Engine, Kind, LobeSpec
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, say

Array = NDArray[np.float64]

CYCLE_DEG = 720.0
CRANK_PER_CAM = 2.0
FLANK_POWERS = (2.0, 6.0, 8.0, 10.0)
"""Powers of the flank between ramp and nose, counted from the nose (a gentle "2-6-8-10" polynomial)."""

_BASE_ROWS = 8
"""From this many rows on the base circle their own scatter is taken as the gauge's noise."""

_EVENTS_OFF_DEG = 20.0
"""A table that disagrees with the stated events by more crank degrees than this is remarked on (judgement)."""

_LONGEST_FOOT_DEG = 40.0
"""Crank degrees a straight foot may run below what the noise lets through (judgement)."""

_RAMP_REACH = 0.12
"""A table's ramp is looked for below this share of the peak lift."""

WHY: dict[str, Why] = {
    "lobe_figures": Why(
        mark(
            "ramp of constant velocity on both sides, then rise = peak + sum c_k x^k, k = 2, 6, 8, 10, x "
            "= 0 at the nose and 1 at the ramp's end, where lift and velocity match the ramp and "
            "acceleration and jerk are 0"
        ),
        mark(
            "valve events (crank degrees), checking lift, peak lift and ramp height (mm at the valve), "
            "ramp length (cam degrees)"
        ),
        mark("the power-polynomial cams of the handbooks (from memory); constants solved here"),
        mark(
            "the ramp is as exact as its figures; between ramp and nose the true lobe may differ by some "
            "tenths of a millimetre: give a degree-wheel table where that matters. Symmetrical; nothing "
            "bends or bounces."
        ),
    ),
    "lobe_table": Why(
        mark(
            "natural cubic smoothing spline, smoothness by cross-validation; base circle averaged and "
            "taken off; below what the noise hides a straight ramp; placed so that its middle is that of "
            "the valve events"
        ),
        mark("rows of cam degrees and lift (mm at the valve, gap taken out)"),
        mark("Green & Silverman 1994 ch. 2, Craven & Wahba 1979 (from memory); checked against SciPy"),
        mark(
            "between the first and last row; velocity is good to a few per cent, acceleration is rough, "
            "jerk only a hint"
        ),
    ),
    "lobe_law": Why(
        mark("rise by the normalised law from base circle to nose and back, no ramp"),
        mark("where it opens, peaks and closes (crank degrees), peak lift (mm at the valve)"),
        mark("handbook cam laws (from memory): 3-4-5 peaks 1.875 and 5.7735, cycloidal 2 and 2 pi"),
        mark("a comparison lobe, not a maker's: real ones have ramps and a rounder nose"),
    ),
}


@dataclass(frozen=True, slots=True)
class LiftCurve:
    """A rise curve and what it was made from.

    ``opens_deg`` < ``closes_deg``: where the rise leaves and meets the base circle, crank degrees past own
    firing TDC, not wrapped. ``ramp_mm``: height of the closing ramp, 0 = none. ``finest_gap_mm``: gaps below it
    can't be told apart from the table's noise. ``shape(deg, order)``: rise and derivatives per crank degree for
    degrees in [opens, closes].
    """

    source: str
    opens_deg: float
    closes_deg: float
    peak_deg: float
    peak_mm: float
    ramp_mm: float
    shape: Callable[[Array, int], Array] = field(repr=False, compare=False)
    finest_gap_mm: float = 0.0
    inputs: dict[str, float | str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def duration_deg(self) -> float:
        """Crank degrees off the base circle."""
        return self.closes_deg - self.opens_deg

    def rise(self, deg: ArrayLike, order: int = 0) -> Array:
        """Rise, mm (order 0), or its derivative per crank degree^order (1 velocity, 2 acceleration, 3 jerk).

        ``deg``: crank degrees past own firing TDC, any shape, any turn. At the ends of the curve the value just
        inside is given; the corner at the foot of a constant-velocity ramp has no acceleration here.
        """
        if order not in (0, 1, 2, 3):
            raise InputError(
                say(
                    "order {order!r} is not 0 (lift), 1 (velocity), 2 (acceleration) or 3 (jerk)", order=order
                )
            )
        since = np.mod(np.asarray(deg, dtype=np.float64) - self.opens_deg, CYCLE_DEG)
        since = np.where(since > CYCLE_DEG - 1e-9, 0.0, since)
        inside = since <= self.duration_deg + 1e-9
        at = self.opens_deg + np.minimum(since, self.duration_deg)
        value = self.shape(at, order)
        if order == 0:
            value = np.maximum(value, 0.0)
        return np.asarray(np.where(inside, value, 0.0))

    def lift(self, deg: ArrayLike, gap_mm: float) -> Array:
        """Valve lift, mm, with this gap (negative = held open), nothing bending: max(rise - gap, 0)."""
        return np.asarray(np.maximum(self.rise(deg) - gap_mm, 0.0))

    def motion(self, deg: ArrayLike, rpm: float, order: int) -> Array:
        """Velocity (order 1, mm/s), acceleration (2, mm/s^2) or jerk (3, mm/s^3) at this crank speed."""
        return np.asarray(self.rise(deg, order) * (6.0 * _speed(rpm)) ** order)

    def crossings(self, rise_mm: ArrayLike) -> tuple[Array, Array]:
        """Where the rise passes these heights (any shape) going up and coming down, crank degrees, unwrapped.

        Heights of 0 and less give the ends of the curve; at the peak both are the peak; above it NaN.
        """
        level = np.asarray(rise_mm, dtype=np.float64)
        up = self._crossing(level, self.peak_deg, self.opens_deg)
        down = self._crossing(level, self.peak_deg, self.closes_deg)
        return up, down

    def _crossing(self, level: Array, nose: float, foot: float) -> Array:
        grid = np.linspace(nose, foot, 721)
        falling = np.minimum.accumulate(self.rise(grid))
        cell = np.clip(np.searchsorted(-falling, -level, side="left"), 1, grid.size - 1)
        above, below = grid[cell - 1], grid[cell]  # rise is > level at ``above``, <= level at ``below``
        for _ in range(34):  # a cell of half a degree shrinks below 1e-10 degrees
            middle = 0.5 * (above + below)
            high = self.rise(middle) > level
            above, below = np.where(high, middle, above), np.where(high, below, middle)
        at = np.where(level <= 0.0, foot, 0.5 * (above + below))
        at = np.where(level == self.peak_mm, nose, at)
        return np.asarray(np.where(level > self.peak_mm, np.nan, at))


@dataclass(frozen=True, slots=True)
class TableFit:
    """A degree-wheel table and the curve through it: everything a plot of fit and residual needs.

    ``row_deg`` crank degrees past own firing TDC of each row as given, ``row_mm`` its lift less ``base_mm`` (the
    base circle's mean reading), ``residual_mm`` row minus fit, ``residual_sd_mm`` the noise of one reading,
    ``error_mm`` the curve's standard error at each row, ``events_off_deg`` how much longer the table stays open
    at the checking lift than the file's events say.
    """

    curve: LiftCurve
    row_deg: Array
    row_mm: Array
    residual_mm: Array
    error_mm: Array
    residual_sd_mm: float
    left_out_mm: float
    base_mm: float
    events_off_deg: float
    place_sd_deg: float
    chosen_by: str


# ---------------------------------------------------------------------------------------------- figures


def lobe_from_figures(
    opens_deg: float,
    closes_deg: float,
    peak_lift_mm: float,
    ramp_mm: float,
    ramp_deg: float,
    checking_lift_mm: float = 0.0,
) -> LiftCurve:
    """A symmetrical lobe with constant-velocity ramps.

    ``opens_deg``, ``closes_deg``: crank degrees past own firing TDC where the rise is ``checking_lift_mm``
    (0: at the base circle). Lifts in mm at the valve; ``ramp_deg``: the ramp's length in **cam** degrees.
    Raises InputError when the figures make no lobe.
    """
    given = say(
        "peak {peak_lift_mm:g} mm, ramp {ramp_mm:g} mm over {ramp_deg:g} cam degrees",
        peak_lift_mm=peak_lift_mm,
        ramp_mm=ramp_mm,
        ramp_deg=ramp_deg,
    )
    if not (peak_lift_mm > ramp_mm > 0 and ramp_deg > 0):
        raise InputError(
            say(
                "{given} make no lobe; peak must be above ramp, and ramp and its degrees above 0", given=given
            )
        )
    if not 0 <= checking_lift_mm < peak_lift_mm:
        raise InputError(
            say(
                "a checking lift of {checking_lift_mm:g} mm is not on a lobe of {peak_lift_mm:g} mm; it must "
                "be 0 or more and below the peak lift",
                checking_lift_mm=checking_lift_mm,
                peak_lift_mm=peak_lift_mm,
            )
        )
    half = 0.5 * (closes_deg - opens_deg)
    nose = 0.5 * (closes_deg + opens_deg)
    ramp_crank = CRANK_PER_CAM * ramp_deg
    speed = ramp_mm / ramp_crank
    if checking_lift_mm <= ramp_mm:
        flank = half + checking_lift_mm / speed - ramp_crank
    else:
        flank = _flank_for(half, peak_lift_mm, ramp_mm, speed, checking_lift_mm)
    if flank <= 0 or flank + ramp_crank > CYCLE_DEG / 2:
        raise InputError(
            say(
                "{given} don't fit into {half:g} crank degrees between opening and closing at "
                "{checking_lift_mm:g} mm; check the events, the checking lift and the ramp's cam degrees",
                given=given,
                half=2 * half,
                checking_lift_mm=checking_lift_mm,
            )
        )
    constants = _flank_constants(peak_lift_mm, ramp_mm, speed * flank)
    if not _falls(constants):
        raise InputError(
            say(
                "{given} in {ramp_crank:g} crank degrees would dip between ramp and nose; the ramp is too "
                "steep for this lift, check its cam degrees",
                given=given,
                ramp_crank=2 * (flank + ramp_crank),
            )
        )

    def shape(deg: Array, order: int) -> Array:
        from_nose = deg - nose
        x = np.abs(from_nose) / flank
        sign = np.where(from_nose < 0, -1.0, 1.0) ** order
        main = _flank(np.minimum(x, 1.0), constants, peak_lift_mm, order) / flank**order * sign
        if order == 0:
            ramp = (flank + ramp_crank - np.abs(from_nose)) * speed
        else:
            ramp = np.where(from_nose < 0, speed, -speed) if order == 1 else np.zeros_like(from_nose)
        return np.asarray(np.where(x <= 1.0, main, ramp))

    return LiftCurve(
        source=say("timing figures"),
        opens_deg=nose - flank - ramp_crank,
        closes_deg=nose + flank + ramp_crank,
        peak_deg=nose,
        peak_mm=peak_lift_mm,
        ramp_mm=ramp_mm,
        shape=shape,
        inputs={
            "opens_deg": opens_deg,
            "closes_deg": closes_deg,
            "checking_lift_mm": checking_lift_mm,
            "peak_lift_mm": peak_lift_mm,
            "ramp_mm": ramp_mm,
            "ramp_deg (cam)": ramp_deg,
        },
    )


def _flank_constants(peak: float, ramp: float, slope: float) -> Array:
    """c_k so that at x = 1 the flank has the ramp's height and velocity, no acceleration, no jerk."""
    k = np.array(FLANK_POWERS)
    conditions = np.array([np.ones_like(k), k, k * (k - 1), k * (k - 1) * (k - 2)])
    return np.asarray(np.linalg.solve(conditions, np.array([ramp - peak, -slope, 0.0, 0.0])))


def _flank(x: Array, constants: Array, peak: float, order: int) -> Array:
    value = np.full_like(x, peak if order == 0 else 0.0)
    for k, c in zip(FLANK_POWERS, constants, strict=True):
        factor = float(np.prod(k - np.arange(order)))
        if factor:
            value += c * factor * x ** (k - order)
    return value


def _falls(constants: Array) -> bool:
    x = np.linspace(0.0, 1.0, 401)[1:]
    return bool((_flank(x, constants, 0.0, 1) < 0).all())


def _flank_for(half: float, peak: float, ramp: float, speed: float, lift: float) -> float:
    """Length of the flank whose rise is ``lift`` at ``half`` crank degrees from the nose. Bisection."""
    x = np.linspace(0.0, 1.0, 2001)

    def reach(flank: float) -> float:
        fall = _flank(x, _flank_constants(peak, ramp, speed * flank), peak, 0)
        return flank * float(np.interp(-lift, -fall, x)) - half

    low, high = half, CYCLE_DEG
    if reach(high) < 0:
        raise InputError(
            say(
                "no lobe passes {lift:g} mm {half:g} crank degrees apart with a peak of {peak:g} mm; check "
                "the checking lift against the peak lift",
                lift=lift,
                half=2 * half,
                peak=peak,
            )
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reach(middle) < 0 else (low, middle)
    return 0.5 * (low + high)


# ---------------------------------------------------------------------------------------------- law


def lobe_from_law(
    law: str, opens_deg: float, closes_deg: float, peak_lift_mm: float, peak_deg: float | None = None
) -> LiftCurve:
    """A lobe without ramps that rises and returns by a handbook law (names: ``cam_laws.LAWS``).

    Crank degrees past own firing TDC at the base circle, mm at the valve; the peak is half-way unless given.
    Raises InputError for an unknown law or figures out of order.
    """
    curve = law_named(law)
    nose = 0.5 * (opens_deg + closes_deg) if peak_deg is None else peak_deg
    if not (opens_deg < nose < closes_deg <= opens_deg + CYCLE_DEG and peak_lift_mm > 0):
        raise InputError(
            say(
                "opens {opens_deg:g}, peaks {nose:g}, closes {closes_deg:g} degrees with {peak_lift_mm:g} mm "
                "make no lobe; they must follow each other within one cycle, and the lift be above 0",
                opens_deg=opens_deg,
                nose=nose,
                closes_deg=closes_deg,
                peak_lift_mm=peak_lift_mm,
            )
        )

    def shape(deg: Array, order: int) -> Array:
        up, down = nose - opens_deg, closes_deg - nose
        rising = curve((deg - opens_deg) / up, order) / up**order
        falling = (-1.0) ** order * curve((closes_deg - deg) / down, order) / down**order
        return np.asarray(peak_lift_mm * np.where(deg <= nose, rising, falling))

    return LiftCurve(
        source=say("law {law}", law=law),
        opens_deg=opens_deg,
        closes_deg=closes_deg,
        peak_deg=nose,
        peak_mm=peak_lift_mm,
        ramp_mm=0.0,
        shape=shape,
        inputs={"law": law, "opens_deg": opens_deg, "closes_deg": closes_deg, "peak_lift_mm": peak_lift_mm},
    )


# ---------------------------------------------------------------------------------------------- table


def lobe_from_table(
    rows: Sequence[tuple[float, float]],
    opens_deg: float,
    closes_deg: float,
    checking_lift_mm: float = 0.0,
    noise_sd_mm: float | None = None,
    ramp_mm: float | None = None,
) -> TableFit:
    """Smooth a degree-wheel table of (**cam** degrees, lift mm at the valve with the gap taken out).

    Any order, any step, any zero of the wheel; rows outside the lobe (more than 90 cam degrees from the peak) tell
    the base circle. The table gives the shape; the events (crank degrees past own firing TDC at the checking
    lift) give the place. ``noise_sd_mm`` where the gauge's noise is known; ``ramp_mm`` where the ramp is, else it is
    estimated. Raises InputError for a table that shows no lobe.
    """
    table = np.asarray(rows, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != 2 or table.shape[0] < 8:
        raise InputError(
            say(
                "a lobe table of {count} rows is too short; give at least 8 of (cam degrees, lift mm)",
                count=len(rows),
            )
        )
    cam, lift = _centred(table)
    far = np.abs(cam) > 90.0
    base = float(lift[far].mean()) if far.sum() >= 3 else 0.0
    notes = (
        []
        if far.sum() >= 3
        else [say("the table has no rows on the base circle; its zero is taken as it stands")]
    )
    if noise_sd_mm is None and far.sum() >= _BASE_ROWS and float(lift[far].std()) > 0:
        noise_sd_mm = float(lift[far].std(ddof=1))
    fit = smooth(CRANK_PER_CAM * cam, lift - base, noise_sd_mm)
    noise = fit.residual_sd if noise_sd_mm is None else noise_sd_mm
    on_lobe = np.abs(fit.x) <= 180.0
    left_out = float(np.sqrt(np.mean(fit.left_out[on_lobe] ** 2)))
    if left_out > max(5.0 * noise, 0.02 * float(fit.fit.max())):
        notes.append(
            say(
                "rows are too far apart for this lobe: between them the curve may be {left_out:.2f} mm off",
                left_out=left_out,
            )
        )
    local = _footed(fit, ramp_mm)
    if ramp_mm is None and local.ramp_mm < local.finest_gap_mm:
        notes.append(say("no ramp can be seen in the table"))
        local = replace(local, ramp_mm=0.0)

    at = max(checking_lift_mm, 0.0)
    if at >= local.peak_mm:
        raise InputError(
            say(
                "the table peaks at {peak_mm:.3f} mm, below the checking lift of {at:g} mm; check which is "
                "meant",
                peak_mm=local.peak_mm,
                at=at,
            )
        )
    up, down = (float(side) for side in local.crossings(at))
    shift = 0.5 * (opens_deg + closes_deg) - 0.5 * (up + down)
    off = (down - up) - (closes_deg - opens_deg)
    if abs(off) > _EVENTS_OFF_DEG:
        notes.append(
            say(
                "at {at:g} mm the table stays open {off:.0f} crank degrees longer than the valve events say; one of "
                "the two is not this camshaft, or the table is not in cam degrees",
                at=at,
                off=off,
            )
            if off > 0
            else say(
                "at {at:g} mm the table stays open {off:.0f} crank degrees shorter than the valve events say; one "
                "of the two is not this camshaft, or the table is not in cam degrees",
                at=at,
                off=-off,
            )
        )
    error = float(fit.standard_error[on_lobe].mean())
    slopes = np.abs(local.rise(np.array([up, down]), 1))
    place = 0.5 * float(np.sqrt(np.sum((error / slopes) ** 2)))
    curve = replace(
        local,
        opens_deg=local.opens_deg + shift,
        closes_deg=local.closes_deg + shift,
        peak_deg=local.peak_deg + shift,
        shape=lambda deg, order: local.shape(deg - shift, order),
        inputs={
            "rows": float(table.shape[0]),
            "base_mm": base,
            "noise_sd_mm": noise,
            "opens_deg": opens_deg,
            "closes_deg": closes_deg,
            "checking_lift_mm": checking_lift_mm,
        },
        notes=tuple(notes),
    )
    return TableFit(
        curve=curve,
        row_deg=CRANK_PER_CAM * cam + shift,
        row_mm=lift - base,
        residual_mm=fit.residual,
        error_mm=np.interp(CRANK_PER_CAM * cam, fit.x, fit.standard_error),
        residual_sd_mm=noise,
        left_out_mm=left_out,
        base_mm=base,
        events_off_deg=off,
        place_sd_deg=place,
        chosen_by=fit.chosen_by,
    )


def _centred(table: Array) -> tuple[Array, Array]:
    """Cam degrees from the peak (-180..180) and lift, so that the table's ends lie on the base circle."""
    cam, lift = table[:, 0], table[:, 1]
    if not np.isfinite(table).all():
        raise InputError(say("a row of the lobe table is not a pair of numbers; leave such rows out"))
    order = np.argsort(lift)
    top = lift[order[-max(3, lift.size // 50) :]]
    wheel = np.deg2rad(cam[order[-top.size :]])
    peak = np.rad2deg(np.arctan2(np.sin(wheel).mean(), np.cos(wheel).mean()))
    # Rounded, so that a row of the wheel's 0 and one of its 360 fall on the same place.
    return np.round(np.mod(cam - peak + 180.0, 360.0), 6) % 360.0 - 180.0, lift


def _footed(fit: Smooth, ramp_mm: float | None) -> LiftCurve:
    """The fitted spline with a straight foot on each side where the noise hides the rest (crank degrees)."""
    grid = np.linspace(fit.x[0], fit.x[-1], 4 * fit.x.size + 1)
    value = fit.at(grid)
    top = int(np.argmax(value))
    peak, peak_mm = float(grid[top]), float(value[top])
    floor = max(3.0 * float(fit.standard_error.mean()), 1e-3 * peak_mm)
    if peak_mm < 10.0 * floor or peak_mm < 20.0 * fit.residual_sd:
        raise InputError(
            say(
                "the table shows no lobe: its peak of {peak_mm:.3f} mm drowns in a noise of "
                "{residual_sd:.3f} mm",
                peak_mm=peak_mm,
                residual_sd=fit.residual_sd,
            )
        )
    edge, slope, ramps = [], [], []
    for side in (-1, 1):
        part = slice(top, None) if side > 0 else slice(top, None, -1)
        below = np.flatnonzero(value[part] < floor)
        if below.size == 0:
            raise InputError(
                say(
                    "the table ends before the lobe does; it needs rows down to the base circle on both sides"
                )
            )
        i = int(below[0])
        high, low = grid[part][i - 1], grid[part][i]
        share = (value[part][i - 1] - floor) / (value[part][i - 1] - value[part][i])
        edge.append(float(high + share * (low - high)))
        reach = int(np.flatnonzero(value[part] < max(_RAMP_REACH * peak_mm, 6.0 * floor))[0])
        away = np.linspace(0.0, max(abs(float(grid[part][reach]) - edge[-1]), 0.5), 120)
        foot, per_deg, ramp = _ramp_line(away, fit.at(edge[-1] - side * away))
        ramps.append(ramp)
        # The straight foot must meet the spline at the edge; its length is held within reason.
        straight = float(np.clip(floor / max(-foot, 1e-9), per_deg / 3.0, per_deg * 3.0))
        slope.append(max(straight, floor / _LONGEST_FOOT_DEG))
    foot_at = (edge[0] - floor / slope[0], edge[1] + floor / slope[1])

    def shape(deg: Array, order: int) -> Array:
        before, after = deg < edge[0], deg > edge[1]
        inner = fit.at(np.clip(deg, edge[0], edge[1]), order)
        if order == 0:
            left, right = (deg - foot_at[0]) * slope[0], (foot_at[1] - deg) * slope[1]
        else:
            left = np.full_like(deg, slope[0] if order == 1 else 0.0)
            right = np.full_like(deg, -slope[1] if order == 1 else 0.0)
        return np.asarray(np.where(before, left, np.where(after, right, inner)))

    return LiftCurve(
        say("degree-wheel table"),
        *foot_at,
        peak,
        peak_mm,
        ramps[1] if ramp_mm is None else ramp_mm,
        shape,
        floor,
    )


def _ramp_line(away: Array, rise: Array) -> tuple[float, float, float]:
    """Ramp under one flank: where its line meets 0 (degrees, in ``away``), mm per degree, and its height.

    Least squares of a straight line that turns into a cubic somewhere; the turn is tried all along.
    """
    x = away / away[-1]
    turn = x[2:-10]
    bent = np.maximum(x[None, :] - turn[:, None], 0.0) ** 3
    columns = np.stack([np.ones_like(bent), np.broadcast_to(x, bent.shape), bent], axis=2)
    normal = np.swapaxes(columns, 1, 2) @ columns
    found = np.linalg.solve(normal, np.swapaxes(columns, 1, 2) @ rise[:, None])
    rss = np.sum((columns @ found - rise[:, None]) ** 2, axis=(1, 2))
    rss = np.where(found[:, 1, 0] > 0, rss, np.inf)
    best = int(np.argmin(rss))
    if not np.isfinite(rss[best]):
        raise InputError(say("no ramp line fits the foot of this table; check its rows near the base circle"))
    start, per_reach, _ = (float(v) for v in found[best, :, 0])
    return (
        -start / per_reach * float(away[-1]),
        per_reach / float(away[-1]),
        start + per_reach * float(turn[best]),
    )


# ---------------------------------------------------------------------------------------------- engine


def events_deg(engine: Engine, kind: Kind) -> tuple[float, float]:
    """Opening and closing of this kind of valve as the file states them, crank degrees past own firing TDC."""
    events = engine.events
    if kind == "I":
        return 360.0 - events.intake_opens_btdc, 540.0 + events.intake_closes_abdc
    return 180.0 - events.exhaust_opens_bbdc, 360.0 + events.exhaust_closes_atdc


def has_lobe(engine: Engine, kind: Kind) -> bool:
    """True when the file says enough about this lobe for a lift curve."""
    lobe = engine.lobes.get(kind)
    return lobe is not None and (bool(lobe.table) or not _missing(lobe))


def lift_curve(engine: Engine, kind: Kind) -> LiftCurve:
    """The rise of this engine's intake or exhaust valves. A table is preferred to figures where both are given.

    Raises InputError naming the keys the engine file needs.
    """
    lobe = engine.lobes.get(kind)
    word = KIND_WORD[kind]
    if lobe is not None and lobe.table:
        return table_fit(engine, kind).curve
    missing = _missing(lobe)
    if missing or lobe is None:
        raise InputError(
            say(
                "{name} has no {word} lobe to work with: the engine file needs [lobe.{word}] with {missing} "
                '(mm at the valve, cam degrees), or with table = "file.csv"',
                name=engine.name,
                word=word,
                missing=", ".join(missing),
            )
        )
    opens, closes = events_deg(engine, kind)
    # _missing() has made sure of all three.
    peak, ramp, ramp_deg = (float(v or 0.0) for v in (lobe.peak_lift_mm, lobe.ramp_mm, lobe.ramp_deg))
    return lobe_from_figures(opens, closes, peak, ramp, ramp_deg, engine.events.checking_lift_mm)


def table_fit(engine: Engine, kind: Kind) -> TableFit:
    """The fit through this engine's degree-wheel table. Raises InputError when it has none."""
    lobe = engine.lobes.get(kind)
    if lobe is None or not lobe.table:
        raise InputError(
            say(
                "{name} has no {kind_word} lobe table; the engine file needs [lobe.{kind_word}] with table = "
                '"file.csv"',
                name=engine.name,
                kind_word=KIND_WORD[kind],
            )
        )
    opens, closes = events_deg(engine, kind)
    return lobe_from_table(lobe.table, opens, closes, engine.events.checking_lift_mm, ramp_mm=lobe.ramp_mm)


def _missing(lobe: LobeSpec | None) -> list[str]:
    have = lobe or LobeSpec()
    figures = {"peak_lift_mm": have.peak_lift_mm, "ramp_mm": have.ramp_mm, "ramp_deg": have.ramp_deg}
    return [name for name, value in figures.items() if value is None]


def _speed(rpm: float) -> float:
    if not (np.isfinite(rpm) and rpm > 0):
        raise InputError(say("{rpm!r} is no crank speed; give revolutions per minute above 0", rpm=rpm))
    return float(rpm)
