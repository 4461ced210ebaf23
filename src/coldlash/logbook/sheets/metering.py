"""What a meter showed, visit by visit, made into the engine's own distance; what does not add up is asked, not fixed.

The first reading is taken as the engine's own distance, unless the book has visits with readings of the same meter:
then the distance counts on from those (``logbook.distance`` says how a reading counts).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash.errors import Fault, InputError, MeterWentBackError
from coldlash.language import say
from coldlash.logbook.distance import UM_PER_M, Explained, Reckoning, UnitLength
from coldlash.logbook.records import Meter
from coldlash.logbook.sheets.rows import SheetVisit


@dataclass(frozen=True, slots=True)
class Anchor:
    """A visit that the book has: its day, the engine's own distance (m), what the meter showed (thousandths)."""

    day: date
    distance_m: int
    reading: int
    unit: Meter


def reckoned(
    visits: Sequence[SheetVisit],
    anchors: Sequence[Anchor] = (),
    *,
    digits: int | None = None,
    km_per_h: float = 50.0,
) -> tuple[tuple[SheetVisit, ...], tuple[Fault, ...]]:
    """Visits (of one engine) with the engine's own distance, by day, and every reading that went back unexplained.

    ``digits`` of the meter, None = not known; ``km_per_h``: what an hour of running is worth.
    """
    known = {(a.day, a.reading, a.unit): a for a in anchors}
    marks: list[tuple[date, int, Anchor | SheetVisit]] = [(a.day, 0, a) for a in anchors]
    marks += [(v.log.day, v.log.line, v) for v in visits if v.meter_reading is not None]
    out = [v for v in visits if v.meter_reading is None]
    faults: list[Fault] = []
    now = Reckoning(
        run_um=0, reading=None, read_on=None, unit=None, digits=digits, came_with=True, points=(), questions=(),
        km_per_h=km_per_h,
    )  # fmt: skip
    for day, line, mark in sorted(marks, key=lambda each: each[:2]):
        if isinstance(mark, Anchor):
            run = max(now.run_um, mark.distance_m * UM_PER_M)
            now = replace(now, run_um=run, reading=mark.reading, unit=mark.unit, read_on=day)
            continue
        reading, unit = mark.meter_reading, mark.meter_unit
        if reading is None or unit is None:
            continue
        there = known.get((day, reading, unit))
        if there is not None:
            out.append(_with_distance(mark, there.distance_m))
            continue
        try:
            distance_m, now = _next(now, day, reading, unit, mark.explained)
        except MeterWentBackError as error:
            faults.append(Fault(str(error), line))
            now = replace(now, reading=reading, read_on=day)
        except InputError as error:
            faults.append(Fault(str(error), line))
        else:
            out.append(_with_distance(mark, distance_m))
    return tuple(sorted(out, key=lambda v: (v.log.day, v.log.distance_m))), tuple(faults)


def _next(now: Reckoning, day: date, reading: int, unit: Meter, explained: str) -> tuple[int, Reckoning]:
    if now.unit is not None and now.unit != unit:
        raise InputError(
            say(
                "the meter of this engine counted {there} before, here it counts {here}; give the engine's own "
                "distance for these, or note the new instrument first",
                there=now.unit, here=unit,
            )
        )  # fmt: skip
    now = replace(now, unit=unit)
    why: Explained | None = next((w for w in _WHY if w == explained), None)
    if why is not None and (now.reading is None or reading >= now.reading):
        why = None  # there was nothing to explain
    distance_m = now.distance_at(reading, why)
    if now.reading is not None and why is None:
        run = now.run_um + (reading - now.reading) * UnitLength(unit, now.km_per_h).um
    elif why is None:
        run = reading * UnitLength(unit, now.km_per_h).um
    else:
        run = distance_m * UM_PER_M
    return distance_m, replace(now, run_um=run, reading=reading, read_on=day)


_WHY: tuple[Explained, ...] = ("rolled over", "replaced")


def _with_distance(visit: SheetVisit, distance_m: int) -> SheetVisit:
    return replace(visit, log=replace(visit.log, distance_m=distance_m))
