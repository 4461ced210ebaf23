"""Small books written by hand: ``from tests.wear.books_with import book``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from coldlash.engine.spec import Engine, Valve
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

LADDER = tuple(round(0.01 * i, 2) for i in range(2, 41))


def around(gap: float) -> GapInterval:
    """What fine blades say of ``gap`` mm; below the thinnest no blade goes."""
    if gap < LADDER[0]:
        return GapInterval(float("-inf"), LADDER[0])
    lo = max(b for b in LADDER if b <= gap + 1e-9)
    return GapInterval(lo, round(lo + 0.01, 2))


def book(
    engine: Engine,
    found: Mapping[str, Sequence[float]],
    rest: float = 0.15,
    every_km: float = 5000.0,
    set_back: bool = True,
    days: int = 60,
) -> list[VisitRecord]:
    """Visits ``days`` apart at which the named valves were found at these gaps, mm, all others at ``rest``.

    ``set_back``: a valve not found at ``rest`` is set on it, and read again.
    """
    count = len(next(iter(found.values())))
    visits = []
    for t in range(count):
        records = {}
        for valve in engine.valves:
            gap = found[str(valve)][t] if str(valve) in found else rest + 0.004
            off = set_back and abs(gap - rest) > 0.012
            left = around(rest + 0.004) if off else None
            records[valve] = ValveRecord(around(gap), off, rest if off else None, left)
        day = date(2021, 1, 10) + timedelta(days=days * t)
        visits.append(VisitRecord(day, 40_000 + every_km * t, records, 20.0, None, LADDER))
    return visits


E3 = Valve("E", 3)
