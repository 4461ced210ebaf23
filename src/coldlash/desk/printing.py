"""What is printed and put into the calendar, gathered from the book: the sheets' data, filled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from coldlash.bench.cautions import Caution, cautions_at
from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.desk import visit as guided
from coldlash.desk.bench import PlannedStops, plan_for
from coldlash.desk.desk import Desk
from coldlash.engine.spec import Engine, Valve
from coldlash.logbook.records import Reading, Visit
from coldlash.paper.readings import Band
from coldlash.paper.sheet import SheetData, SheetStop, SheetValve, print_sheet
from coldlash.paper.words import THIN, Words
from coldlash.units import km_from_m
from coldlash.wear.record import VisitRecord
from coldlash.wear.trend import Expectation

SHARE_98 = 0.98
"""``wear.trend.Expectation`` gives a 98 % range."""


def words_of(desk: Desk, engine: Engine | None = None) -> Words:
    """The owner's units as print says them."""
    hours = engine is not None and engine.service.meter == "h"
    return Words(
        gap_unit=desk.unit(),
        distance_unit="h" if hours else "km",
        km_per_h=engine.service.km_per_h if engine is not None else 50.0,
    )


# ------------------------------------------------------------------------------------- the visit sheet


def blank_sheet(desk: Desk, name: str, today: date, plan: PlannedStops | None = None) -> SheetData:
    """A sheet to take to the engine: its open visit, or none yet. Raises InputError."""
    drafts = desk.book.draft_visits(name)
    if drafts and plan is None:
        return _of_visit(desk, drafts[0], today, filled=False)
    entry, engine = desk.engine(name)
    planned = plan or plan_for(engine)
    records = desk.records(name)
    last_km = records[-1].distance_km if records else 0.0
    row = next(row for row in desk.shed(today) if row.entry.id == entry.id)
    now_km = row.due.distance_now_km if row.due.distance_now_km is not None else last_km
    expected = guided.expected_ranges(engine, records, now_km, None, desk.coefficient(engine))
    lines = {valve: _line(valve, records, expected.get(valve)) for valve in engine.valves}
    visits = desk.book.visits(name)
    return SheetData(
        engine=engine,
        printed_on=today,
        stops=_stops(planned, lines),
        out_of_plan=_rest(engine, planned, lines),
        ready=getting_ready(engine),
        closing=closing_up(engine),
        cautions=_turning(planned),
        vehicle=row.vehicle or "",
        blades_mm=tuple(um / 1000 for um in visits[-1].blades_um) if visits else (),
    )


def filled_sheet(desk: Desk, visit: Visit, today: date) -> SheetData:
    """The sheet of a visit with what was written in it."""
    return _of_visit(desk, visit, today, filled=True)


def _of_visit(desk: Desk, visit: Visit, today: date, *, filled: bool) -> SheetData:
    guide = desk.guide(visit)
    engine = guide.engine
    entry = desk.book.engine(visit.engine_id)
    earlier = [
        record
        for record in desk.records(entry.name)
        if (record.day, record.distance_km) < (visit.day, km_from_m(visit.distance_m))
    ]
    lines = {task.valve: _line(task.valve, earlier, task.expected, visit, engine) for task in guide.tasks}
    vehicles = {vehicle.id: vehicle.name for vehicle in desk.book.vehicles()}
    temp, air = visit.engine_temp_mc, visit.air_temp_mc
    meter = ""
    if visit.meter_reading is not None:
        meter = f"{visit.meter_reading / 1000:,.1f} {visit.meter_unit}".replace(",", THIN)
    return SheetData(
        engine=engine,
        printed_on=today,
        stops=_stops(guide.planned, lines),
        out_of_plan=_rest(engine, guide.planned, lines),
        ready=guide.ready,
        closing=guide.closing,
        cautions=_turning(guide.planned),
        vehicle=vehicles.get(entry.vehicle_id or "", ""),
        day=visit.day,
        distance_km=km_from_m(visit.distance_m),
        meter=meter,
        engine_temp_c=None if temp is None else temp / 1000,
        air_temp_c=None if air is None else air / 1000,
        by=visit.by or "",
        blades_mm=tuple(um / 1000 for um in visit.blades_um),
        note=visit.note,
        changes=_changes(visit),
        filled=filled,
    )


def _turning(planned: PlannedStops) -> tuple[Caution, ...]:
    against = cautions_at("turn_against") if planned.plan.turn == "against" else ()
    return (*cautions_at("turn"), *against, *cautions_at("measure"), *cautions_at("set"))


def _stops(planned: PlannedStops, lines: Mapping[Valve, SheetValve]) -> tuple[SheetStop, ...]:
    return tuple(
        SheetStop(
            place=words.position,
            turn=words.turn,
            mark=words.mark,
            find=words.find,
            room=words.room[:1].upper() + words.room[1:] + "." if words.room else "",
            valves=tuple(lines[entry.valve] for entry in words.stop.valves),
        )
        for words in planned.words()
    )


def _rest(engine: Engine, planned: PlannedStops, lines: Mapping[Valve, SheetValve]) -> tuple[SheetValve, ...]:
    reached = {entry.valve for stop in planned.plan.stops for entry in stop.valves}
    return tuple(lines[valve] for valve in engine.valves if valve not in reached)


def _line(
    valve: Valve,
    earlier: Sequence[VisitRecord],
    expected: Expectation | None,
    visit: Visit | None = None,
    engine: Engine | None = None,
) -> SheetValve:
    last = next(
        (r for r in reversed(earlier) if (v := r.valves.get(valve)) is not None and (v.found or v.adjusted)),
        None,
    )
    record = None if last is None else last.valves[valve]
    band = None if expected is None else Band(expected.lo, expected.hi, share=SHARE_98)
    found = was_set = left = None
    if visit is not None:
        found, was_set, left = (visit.reading(valve, step) for step in ("found", "set", "left"))
    return SheetValve(
        valve,
        last=None if record is None else record.left or record.found,
        last_set=None if record is None else record.set_to,
        last_day=None if last is None else last.day,
        expected=band,
        found=None if found is None else guided.bounds_of(found),
        set_to=_blade(was_set, valve, engine),
        left=None if left is None else guided.bounds_of(left),
        spin=next((r.spin for r in (left, found) if r is not None and r.spin), "") or "",
        note="; ".join(r.note for r in (found, was_set, left) if r is not None and r.note),
    )


def _blade(reading: Reading | None, valve: Valve, engine: Engine | None) -> float | None:
    if reading is None:
        return None
    if reading.blade_um is not None:
        return reading.blade_um / 1000
    return None if engine is None else engine.gap(valve).cold


def _changes(visit: Visit) -> tuple[str, ...]:
    """Every correction as a sentence; the old value stays readable."""
    said = []
    for valve in visit.valves:
        for step in ("found", "set", "left"):
            story = visit.story(valve, step)
            for old, new in zip(story, story[1:], strict=False):
                why = f" ({new.reason})" if new.reason else ""
                said.append(f"{valve} {step} was {old.words}, is {new.words}{why}.")
    for change in visit.changes:
        why = f" ({change.reason})" if change.reason else ""
        said.append(f"{change.field.replace('_', ' ')} was {change.old}, is {change.new}{why}.")
    return tuple(said)
