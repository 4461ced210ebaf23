"""How much faster a seat wears when the valve lands harder: a published law, as ratios only.

Lewis & Dwyer-Joyce, Automotive Engine Valve Recession (2002), **from memory**: worn volume of a seat

    V = k P N d / h + K N (m v^2 / 2)^n

(k sliding coefficient, no unit; P load on the seat, N; N closings; d slip, m; h hardness, Pa; K and n fitted, K in
m^3 / J^n; m the moving mass, v the landing speed), and recession of a seat of radius R, face width w and seat
angle a (between the face and the plane across the valve)

    r = (sqrt(V / (pi R cos a sin a) + w^2) - w) sin a.

Checked here before use: P N d / h is N m / Pa = m^3, and the second law is exact geometry: a face of width w
cut by the valve into a right-angled corner removes (w'^2 - w^2) cos a sin a / 2 of cross-section along 2 pi R.
K, n and k of an old engine are unknown, so only ratios are given, between bounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, say

Array = NDArray[np.float64]

WHY: dict[str, Why] = {
    "recession_ratio": Why(
        mark(
            "wear now / wear at the set gap = (1 - s) + s (v / v set)^(2 n), s the share of the wear "
            "that is impact"
        ),
        mark(
            "landing speed at this gap and at the set gap, exponent n (1 unless known), share s "
            "(unknown: 0 to 1)"
        ),
        mark(
            "Lewis & Dwyer-Joyce, Automotive Engine Valve Recession (2002), from memory; dimensions and "
            "geometry checked here"
        ),
        mark(
            "ratios for one engine at one speed; says nothing about how fast its seats recede, and "
            "nothing about heat or fuel"
        ),
    ),
}


@dataclass(frozen=True, slots=True)
class WearRatio:
    """Seat wear per closing relative to the set gap, if all of it were ``impact`` (arrays).

    All sliding would leave it at 1; the truth lies between ``least`` and ``most``. ``speed_ratio``: landing speed
    relative to the set gap; ``exponent``: n of the law.
    """

    speed_ratio: Array
    exponent: float
    impact: Array

    @property
    def least(self) -> Array:
        """The smaller bound."""
        return np.minimum(self.impact, 1.0)

    @property
    def most(self) -> Array:
        """The larger bound."""
        return np.maximum(self.impact, 1.0)

    def at_share(self, impact_share: float) -> Array:
        """The ratio when this share (0..1) of the wear at the set gap comes from impact. Raises InputError."""
        if not 0.0 <= impact_share <= 1.0:
            raise InputError(
                say(
                    "an impact share of {impact_share:g} is outside 0..1; give a fraction",
                    impact_share=impact_share,
                )
            )
        return np.asarray(1.0 - impact_share + impact_share * self.impact)


def wear_ratio(speed_ratio: ArrayLike, exponent: float = 1.0) -> WearRatio:
    """Seat wear relative to the set gap when the landing speed is ``speed_ratio`` (any shape) times as high.

    ``exponent`` n: 1 = proportional to the energy (an assumption; the book fits it). Raises InputError for
    negative speeds or an exponent that is not above 0.
    """
    ratio = np.asarray(speed_ratio, dtype=np.float64)
    if not (exponent > 0 and math.isfinite(exponent)):
        raise InputError(
            say("an exponent of {exponent!r} can't be used; it must be above 0", exponent=exponent)
        )
    if not (ratio >= 0).all():
        raise InputError(
            say("a landing speed ratio is below 0; give speed at this gap / speed at the set gap")
        )
    return WearRatio(ratio, float(exponent), np.asarray(ratio ** (2.0 * exponent)))


def recession_mm(volume_mm3: ArrayLike, radius_mm: float, seat_angle_deg: float, face_mm: float) -> Array:
    """Recession, mm along the valve, for a worn volume, mm3 (any shape).

    ``radius_mm`` of the seat, ``seat_angle_deg`` between seat face and the plane across the valve (usually 45 or
    30), ``face_mm`` width of the unworn face, 0 allowed. Thin compared with the radius. Raises InputError.
    """
    volume = np.asarray(volume_mm3, dtype=np.float64)
    if not (radius_mm > 0 and 0 < seat_angle_deg < 90 and face_mm >= 0 and (volume >= 0).all()):
        raise InputError(
            say(
                "volume, radius {radius_mm:g} mm, seat angle {seat_angle_deg:g}, face {face_mm:g} mm make no "
                "seat; volume and face must be 0 or more, radius above 0, the angle between 0 and 90 degrees",
                radius_mm=radius_mm,
                seat_angle_deg=seat_angle_deg,
                face_mm=face_mm,
            )
        )
    a = math.radians(seat_angle_deg)
    wide = np.sqrt(volume / (math.pi * radius_mm * math.cos(a) * math.sin(a)) + face_mm**2)
    return np.asarray((wide - face_mm) * math.sin(a))
