"""How much air a lifted valve lets through: flow area, nozzle flow, time-area, inlet Mach index.

Heywood, Internal Combustion Engine Fundamentals (1988), ch. 6, **from memory**; continuity at the borders of the
three stages is checked in the tests. Steady one-dimensional flow with a discharge coefficient on the geometric
area; no waves in the pipes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.engine.lobe import LiftCurve
from coldlash.engine.slider_crank import Cylinder
from coldlash.engine.spec import Kind
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, say

Array = NDArray[np.float64]

HEAD_PER_BORE: dict[Kind, float] = {"I": 0.44, "E": 0.37}
PORT_PER_HEAD = 0.88
STEM_PER_HEAD = 0.21
SEAT_PER_HEAD = 0.045
SEAT_ANGLE_DEG = 45.0
DISCHARGE = 0.65
"""Typical of two-valve heads (Heywood 1988, ch. 6: ranges, from memory): valve heads by bore, port and stem by head,
seat width by head, seat angle, discharge coefficient on the geometric area. Own figures beat them."""

WHY: dict[str, Why] = {
    "flow_area_mm2": Why(
        mark(
            "low lift: pi L cos b (D - 2w + (L/2) sin 2b); then pi (D - w) sqrt((L - w tan b)^2 + w^2); "
            "never more than the port less the stem, pi/4 (Dp^2 - Ds^2)"
        ),
        mark("lift L, head D, port Dp, stem Ds, seat width w (mm), seat angle b"),
        mark("Heywood 1988 ch. 6 (from memory); continuous where the stages meet"),
        mark("geometry only; the discharge coefficient brings it to the flow"),
    ),
    "nozzle_flow": Why(
        mark(
            "m = Cd A p / sqrt(R T) x sqrt(2k/(k-1) (x^(2/k) - x^((k+1)/k))), x = p down / p up, no "
            "lower than (2/(k+1))^(k/(k-1)), where it chokes"
        ),
        mark("area, discharge coefficient, pressure and temperature upstream, pressure downstream, k, R"),
        mark("isentropic nozzle, textbook (Heywood 1988 appendix C, from memory)"),
        mark("steady flow, ideal gas, k of the gas upstream"),
    ),
    "time_area_mm2_s": Why(
        mark("integral of the flow area over the opening, per degree, / (6 x rpm)"),
        mark("lift curve less the gap, valve sizes, rpm"),
        "definition",
        mark("compares gaps and speeds of one engine"),
    ),
    "inlet_mach_index": Why(
        mark("Z = piston area x mean piston speed / (Cd x mean flow area while open x speed of sound)"),
        mark("bore, stroke, rpm, lift curve less the gap, intake valve sizes, air temperature"),
        mark("Taylor's index (Heywood 1988 ch. 6, from memory)"),
        mark("filling begins to fall off above about 0.6 (Taylor, from memory)"),
    ),
    "mean_inlet_mach": Why(
        mark("swept volume / (speed of sound x integral of Cd x flow area over the opening time)"),
        mark("as for the Mach index"),
        mark("mean velocity at the valve while open, over the speed of sound"),
        mark("filling of the whole swept volume assumed"),
    ),
}


@dataclass(frozen=True, slots=True)
class ValveSize:
    """One valve and its seat: mm, degrees. ``discharge``: flow over flow of an ideal nozzle of the same area.

    ``seat_angle_deg`` between seat face and the plane across the valve. ``typical`` = not this engine's figures.
    """

    head_mm: float
    port_mm: float
    stem_mm: float
    seat_mm: float
    seat_angle_deg: float = SEAT_ANGLE_DEG
    discharge: float = DISCHARGE
    typical: bool = False

    def __post_init__(self) -> None:
        if not (0 <= self.stem_mm < self.port_mm < self.head_mm and 0 < self.seat_mm < self.head_mm / 4):
            raise InputError(
                say(
                    "head {head_mm:g}, port {port_mm:g}, stem {stem_mm:g} and seat width {seat_mm:g} mm make no "
                    "valve; stem < port < head, and the seat a narrow rim",
                    head_mm=self.head_mm,
                    port_mm=self.port_mm,
                    stem_mm=self.stem_mm,
                    seat_mm=self.seat_mm,
                )
            )
        if not (0 < self.seat_angle_deg < 80 and 0 < self.discharge <= 1):
            raise InputError(
                say(
                    "seat angle {seat_angle_deg:g} or discharge coefficient {discharge:g} can't be; the angle is "
                    "usually 45 or 30 degrees, the coefficient 0.5 to 0.8",
                    seat_angle_deg=self.seat_angle_deg,
                    discharge=self.discharge,
                )
            )

    @property
    def port_area_mm2(self) -> float:
        """Port less stem, mm2."""
        return math.pi / 4 * (self.port_mm**2 - self.stem_mm**2)


def typical_valve(kind: Kind, bore_mm: float) -> ValveSize:
    """A two-valve head's typical intake or exhaust valve for this bore. Raises InputError for a bore <= 0."""
    if not bore_mm > 0:
        raise InputError(say("a bore of {bore_mm:g} mm can't be; it must be above 0", bore_mm=bore_mm))
    head = HEAD_PER_BORE[kind] * bore_mm
    return ValveSize(
        head,
        PORT_PER_HEAD * head,
        STEM_PER_HEAD * head,
        SEAT_PER_HEAD * head,
        SEAT_ANGLE_DEG,
        DISCHARGE,
        True,
    )


def flow_area_mm2(lift_mm: ArrayLike, size: ValveSize) -> Array:
    """Smallest flow area, mm2, at these lifts, mm (any shape; below 0 counts as shut)."""
    lift = np.maximum(np.asarray(lift_mm, dtype=np.float64), 0.0)
    b = math.radians(size.seat_angle_deg)
    w, head = size.seat_mm, size.head_mm
    cone = math.pi * lift * math.cos(b) * (head - 2 * w + 0.5 * lift * math.sin(2 * b))
    curtain = math.pi * (head - w) * np.sqrt((lift - w * math.tan(b)) ** 2 + w**2)
    first_ends = w / (math.sin(b) * math.cos(b))
    return np.asarray(np.minimum(np.where(lift <= first_ends, cone, curtain), size.port_area_mm2))


def stage_borders_mm(size: ValveSize) -> tuple[float, float]:
    """Lifts, mm, at which the seat stops governing and at which the port starts to."""
    b = math.radians(size.seat_angle_deg)
    w = size.seat_mm
    first = w / (math.sin(b) * math.cos(b))
    across = size.port_area_mm2 / (math.pi * (size.head_mm - w))
    return first, max(first, math.sqrt(max(across**2 - w**2, 0.0)) + w * math.tan(b))


def nozzle_flow(
    area_mm2: ArrayLike, up_pa: ArrayLike, up_k: ArrayLike, down_pa: ArrayLike, k: float, r: float
) -> Array:
    """Isentropic mass flow, kg/s, through an effective area (discharge included), from up to down (broadcast).

    0 where down is above up. ``k`` cp/cv and ``r`` J/(kg K) of the gas upstream. Raises InputError for k <= 1.
    """
    if not (k > 1 and r > 0):
        raise InputError(say("k {k:g} and R {r:g} make no gas; k must be above 1 and R above 0", k=k, r=r))
    up = np.asarray(up_pa, dtype=np.float64)
    x = np.clip(np.asarray(down_pa, dtype=np.float64) / up, critical_ratio(k), 1.0)
    stream = np.sqrt(2 * k / (k - 1) * np.maximum(x ** (2 / k) - x ** ((k + 1) / k), 0.0))
    root = np.sqrt(r * np.asarray(up_k, dtype=np.float64))
    return np.asarray(1e-6 * np.asarray(area_mm2, dtype=np.float64) * up / root * stream)


def critical_ratio(k: float) -> float:
    """Pressure ratio down / up at which a nozzle chokes: (2/(k+1))^(k/(k-1)); 0.5283 for k = 1.4."""
    return float((2 / (k + 1)) ** (k / (k - 1)))


@dataclass(frozen=True, slots=True)
class TimeArea:
    """What one opening offers. ``angle_area``: mm2 x crank degrees, ``time_area_mm2_s``: mm2 x s at each rpm (n,),
    ``mean_area_mm2`` while open, ``open_deg`` its length. All geometric (discharge not included).
    """

    gap_mm: float
    rpm: Array
    angle_area: float
    time_area_mm2_s: Array
    mean_area_mm2: float
    open_deg: float


def time_area(curve: LiftCurve, gap_mm: float, size: ValveSize, rpm: ArrayLike) -> TimeArea:
    """Flow area over the opening at these speeds (any shape). Raises InputError for a speed <= 0."""
    speed = np.asarray(rpm, dtype=np.float64)
    if not (speed > 0).all():
        raise InputError(say("a crank speed is not above 0; give revolutions per minute"))
    if gap_mm >= curve.peak_mm:
        raise InputError(
            say(
                "with a gap of {gap_mm:g} mm this valve never opens; its peak lift is {peak_mm:g} mm",
                gap_mm=gap_mm,
                peak_mm=curve.peak_mm,
            )
        )
    up, down = (float(side) for side in curve.crossings(max(gap_mm, 0.0)))
    if gap_mm < 0:
        up, down = curve.opens_deg, curve.opens_deg + 720.0
    deg = np.linspace(up, down, 2881)
    area = flow_area_mm2(curve.lift(deg, gap_mm), size)
    total = float(np.sum(0.5 * (area[1:] + area[:-1])) * (deg[1] - deg[0]))
    return TimeArea(gap_mm, speed, total, np.asarray(total / (6 * speed)), total / (down - up), down - up)


def inlet_mach_index(
    cylinder: Cylinder, offer: TimeArea, size: ValveSize, air_c: float = 20.0
) -> tuple[Array, Array]:
    """Taylor's inlet Mach index Z and the mean inlet Mach number, at each speed of ``offer``.

    ``air_c``: temperature of the air at the valve, Celsius. Raises InputError below -90 C.
    """
    if not air_c > -90:
        raise InputError(say("{air_c:g} C is no air temperature; give degrees Celsius", air_c=air_c))
    sound = math.sqrt(1.4 * 287.06 * (air_c + 273.15))
    piston = 2e-3 * cylinder.stroke_mm * offer.rpm / 60
    index = cylinder.piston_area_mm2 * piston / (size.discharge * offer.mean_area_mm2 * sound)
    mean = cylinder.displacement_cm3 * 1e-6 / (size.discharge * offer.time_area_mm2_s * 1e-6 * sound)
    return np.asarray(index), np.asarray(mean)
