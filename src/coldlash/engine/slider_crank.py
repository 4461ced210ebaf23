"""Where the piston is: slider-crank volume, what intake closing traps, the effective compression ratio.

s = a cos t + sqrt(l^2 - a^2 sin^2 t) from crank centre to pin, a half the stroke, l the rod (Heywood, Internal
Combustion Engine Fundamentals, 1988, ch. 2). Pin on the cylinder's axis (no offset).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.engine.spec import Engine
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, say

Array = NDArray[np.float64]

WHY: dict[str, Why] = {
    "trapped_cm3": Why(
        mark("clearance volume + bore area x (l + a - s), s = a cos t + sqrt(l^2 - a^2 sin^2 t)"),
        mark("bore, stroke (2 a), rod (l), mm; compression ratio; crank degree at which the intake closes"),
        mark("Heywood 1988 ch. 2, slider-crank (as quoted elsewhere)"),
        mark(
            "exact geometry for a pin on the cylinder's axis; at speed the column of air goes on filling "
            "after it"
        ),
    ),
    "effective_compression_ratio": Why(
        mark("volume when the intake closes / clearance volume"),
        mark("as for the trapped volume"),
        "definition",
        mark("at cranking speed; at full speed the geometric ratio is nearer the truth"),
    ),
}


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder's geometry, every figure known: mm, and the geometric compression ratio."""

    bore_mm: float
    stroke_mm: float
    rod_mm: float
    compression_ratio: float

    def __post_init__(self) -> None:
        figures = (self.bore_mm, self.stroke_mm, self.rod_mm, self.compression_ratio)
        if not all(math.isfinite(f) and f > 0 for f in figures):
            raise InputError(
                say("bore, stroke, rod and compression ratio must be above 0, not {figures}", figures=figures)
            )
        if self.rod_mm <= self.stroke_mm / 2:
            raise InputError(
                say(
                    "a rod of {rod_mm:g} mm is shorter than the crank's throw {stroke_mm:g} mm; give it from eye "
                    "centre to eye centre",
                    rod_mm=self.rod_mm,
                    stroke_mm=self.stroke_mm / 2,
                )
            )
        if self.compression_ratio <= 1:
            raise InputError(
                say(
                    "a compression ratio of {compression_ratio:g} is no compression; it must be above 1",
                    compression_ratio=self.compression_ratio,
                )
            )

    @property
    def piston_area_mm2(self) -> float:
        """Bore area, mm2."""
        return math.pi / 4 * self.bore_mm**2

    @property
    def displacement_cm3(self) -> float:
        """Swept volume, cm3."""
        return self.piston_area_mm2 * self.stroke_mm / 1000

    @property
    def clearance_cm3(self) -> float:
        """Volume left at top dead centre, cm3."""
        return self.displacement_cm3 / (self.compression_ratio - 1)

    def piston_mm(self, deg: ArrayLike) -> Array:
        """How far the piston is below top dead centre, mm, at crank degrees past a TDC (any shape)."""
        t = np.deg2rad(np.asarray(deg, dtype=np.float64))
        a, rod = self.stroke_mm / 2, self.rod_mm
        return np.asarray(a * (1 - np.cos(t)) + rod - np.sqrt(rod**2 - (a * np.sin(t)) ** 2))

    def volume_cm3(self, deg: ArrayLike) -> Array:
        """Cylinder volume, cm3, at crank degrees past a TDC (any shape)."""
        return np.asarray(self.clearance_cm3 + self.piston_area_mm2 * self.piston_mm(deg) / 1000)

    def volume_slope_cm3(self, deg: ArrayLike) -> Array:
        """Its derivative, cm3 per crank degree."""
        t = np.deg2rad(np.asarray(deg, dtype=np.float64))
        a, rod = self.stroke_mm / 2, self.rod_mm
        sine, cosine = np.sin(t), np.cos(t)
        per_radian = a * sine + a * a * sine * cosine / np.sqrt(rod**2 - (a * sine) ** 2)
        return np.asarray(self.piston_area_mm2 * per_radian / 1000 * math.pi / 180)

    def mean_piston_speed(self, rpm: float) -> float:
        """2 x stroke x revolutions a second, m/s."""
        return 2 * self.stroke_mm / 1000 * rpm / 60

    def effective_compression_ratio(self, closes_deg: ArrayLike) -> Array:
        """Volume at intake closing (crank degrees past firing TDC, 540 = BDC) over clearance volume."""
        return np.asarray(self.volume_cm3(closes_deg) / self.clearance_cm3)


def cylinder_of(engine: Engine) -> Cylinder:
    """The engine's cylinder. Raises InputError naming the keys the engine file needs."""
    g = engine.geometry
    missing = [
        key for key in ("bore_mm", "stroke_mm", "rod_mm", "compression_ratio") if getattr(g, key) is None
    ]
    if missing:
        raise InputError(
            say(
                "{name} doesn't say enough about its cylinders: the engine file needs {missing} under "
                "[geometry]",
                name=engine.name,
                missing=", ".join(missing),
            )
        )
    bore, stroke, rod, ratio = (
        float(v or 0) for v in (g.bore_mm, g.stroke_mm, g.rod_mm, g.compression_ratio)
    )
    return Cylinder(bore, stroke, rod, ratio)
