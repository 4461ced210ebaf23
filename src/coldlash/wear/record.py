"""What the models read: visits with interval readings, whatever they came from (the book, a log file).

Gaps are mm as read with the engine at ``engine_temp_c``; nothing here has been corrected for temperature.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from coldlash.engine.spec import Valve


@dataclass(frozen=True, slots=True)
class GapInterval:
    """What the blades said, mm: the gap lies in [lo, hi).

    ``lo`` is the thickest blade that goes, ``hi`` the thinnest that does not. No blade goes: lo = -inf and hi
    the thinnest tried (the valve may be held open: a gap may be negative). The thickest goes: hi = +inf.
    Drag on a blade: lo = hi = that blade, read with the sd of a feeling hand.
    """

    lo: float
    hi: float

    @property
    def one_sided(self) -> bool:
        """True when only one end is known."""
        return math.isinf(self.lo) or math.isinf(self.hi)


@dataclass(frozen=True, slots=True)
class ValveRecord:
    """One valve at one visit. ``found`` None = not measured before anything was touched.

    ``set_to`` is the blade it was set on when ``adjusted`` (a target, never an interval); ``left`` is read
    again after the lock-nut, if it was. ``restart`` = after the found reading and before any setting a part
    was replaced or work was done that moves this gap: gap and drift start afresh. ``restart_before`` = the same
    since the visit before, so that the found reading is already one of the new state.
    """

    found: GapInterval | None = None
    adjusted: bool = False
    set_to: float | None = None
    left: GapInterval | None = None
    restart: bool = False
    restart_before: bool = False

    @property
    def afresh(self) -> bool:
        """True when gap and drift start afresh here, before or after the found reading."""
        return self.restart or self.restart_before


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """One visit. ``distance_km`` is the engine's own distance; ``engine_temp_c`` None = unknown.

    ``ladder_mm`` are the blades at hand, rising; empty = unknown.
    """

    day: date
    distance_km: float
    valves: Mapping[Valve, ValveRecord]
    engine_temp_c: float | None = None
    by: str | None = None
    ladder_mm: tuple[float, ...] = field(default=())
