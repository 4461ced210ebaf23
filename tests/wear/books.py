"""Small books for tests of wear: visits written in one line each. Invented."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from coldlash.engine.spec import Valve
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

LADDER = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30)
DAY = date(2003, 5, 10)


def visit(
    km: float,
    found: Mapping[str, tuple[float, float]] | None = None,
    *,
    temp: float | None = 20.0,
    day: int | None = None,
    by: str | None = None,
    ladder: tuple[float, ...] = LADDER,
    **more: ValveRecord,
) -> VisitRecord:
    """A visit at ``km`` with found intervals (mm) by valve name; ``more`` gives whole records by valve name."""
    valves = {Valve.parse(k): ValveRecord(GapInterval(*v)) for k, v in (found or {}).items()}
    valves |= {Valve.parse(k): r for k, r in more.items()}
    return VisitRecord(
        DAY + timedelta(days=round(km / 20) if day is None else day), km, valves, temp, by, ladder
    )


def every_valve(engine: Any, reading: tuple[float, float]) -> dict[str, tuple[float, float]]:
    """The same reading on every valve."""
    return {str(v): reading for v in engine.valves}
