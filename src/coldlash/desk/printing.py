"""What is printed and put into the calendar, gathered from the book: the sheets' data, filled."""

from __future__ import annotations

import errno
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

from coldlash.bench.cautions import Caution, cautions_at
from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.bench.marks import firing_marks
from coldlash.desk import visit as guided
from coldlash.desk.bench import PlannedStops, plan_for
from coldlash.desk.changed import changed
from coldlash.desk.desk import Desk
from coldlash.desk.shown import Shown
from coldlash.desk.words import said as in_blades
from coldlash.engine.spec import Engine, Service, Turns, Valve
from coldlash.errors import InputError
from coldlash.language import number, say, say_in
from coldlash.logbook.due import Due
from coldlash.logbook.records import EngineEntry, Reading, Visit
from coldlash.paper.calendar import DueEntry, calendar_bytes
from coldlash.paper.label import LabelData
from coldlash.paper.readings import Band
from coldlash.paper.sheet import SheetData, SheetStop, SheetValve
from coldlash.paper.tape import OFFICE_PAPER_MM, Mark, Paper, plan_strip
from coldlash.paper.tape_page import StripPage
from coldlash.paper.words import THIN, Words
from coldlash.units import km_from_m, parse_number
from coldlash.wear.record import VisitRecord
from coldlash.wear.trend import Expectation

SHARE_98 = 0.98
"""``wear.trend.Expectation`` gives a 98 % range."""


def words_of(desk: Desk, engine: Engine | None = None) -> Words:
    """The owner's units as print says them."""
    usual = Words(gap_unit=desk.unit())
    return usual if engine is None else _counting(usual, engine.service)


def _counting(usual: Words, service: Service) -> Words:
    """The same, distances as this engine's meter counts them."""
    return replace(usual, distance_unit="h" if service.meter == "h" else "km", km_per_h=service.km_per_h)


# ------------------------------------------------------------------------------------- the visit sheet


def blank_sheet(desk: Desk, name: str, today: date, plan: PlannedStops | None = None) -> SheetData:
    """A sheet to take to the engine: its open visit, or none yet. Raises InputError."""
    drafts = desk.book.draft_visits(name)
    if drafts and plan is None:
        return _of_visit(desk, drafts[0], today, filled=False)
    entry, engine = _named(desk, name)
    planned = plan or plan_for(engine)
    records = desk.records(name)
    last_km = records[-1].distance_km if records else 0.0
    when = desk.due(name, today)
    now_km = when.distance_now_km if when.distance_now_km is not None else last_km
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
        vehicle=vehicle_of(desk, entry),
        blades_mm=tuple(um / 1000 for um in visits[-1].blades_um) if visits else (),
    )


def filled_sheet(desk: Desk, visit: Visit, today: date) -> SheetData:
    """The sheet of a visit with what was written in it."""
    return _of_visit(desk, visit, today, filled=True)


def _of_visit(desk: Desk, visit: Visit, today: date, *, filled: bool) -> SheetData:
    guide = desk.guide(visit)
    entry = desk.book.engine(visit.engine_id)
    engine = replace(guide.engine, name=entry.name)
    earlier = [
        record
        for record in desk.records(entry.name)
        if (record.day, record.distance_km) < (visit.day, km_from_m(visit.distance_m))
    ]
    lines = {task.valve: _line(task.valve, earlier, task.expected, visit, engine) for task in guide.tasks}
    temp, air = visit.engine_temp_mc, visit.air_temp_mc
    meter = ""
    if visit.meter_reading is not None:
        meter = f"{number(visit.meter_reading / 1000, '_.1f')} {visit.meter_unit}".replace("_", THIN)
    return SheetData(
        engine=engine,
        printed_on=today,
        stops=_stops(guide.planned, lines),
        out_of_plan=_rest(engine, guide.planned, lines),
        ready=guide.ready,
        closing=guide.closing,
        cautions=_turning(guide.planned),
        vehicle=vehicle_of(desk, entry),
        day=visit.day,
        distance_km=km_from_m(visit.distance_m),
        meter=meter,
        engine_temp_c=None if temp is None else temp / 1000,
        air_temp_c=None if air is None else air / 1000,
        by=visit.by or "",
        blades_mm=tuple(um / 1000 for um in visit.blades_um),
        note=visit.note,
        changes=visit_changes(visit, desk.shown(), engine.service),
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


def visit_changes(visit: Visit, shown: Shown, service: Service) -> tuple[str, ...]:
    """Every correction as a sentence, in the owner's units; the old value stays readable."""

    def words(reading: Reading) -> str:
        return in_blades(reading, shown)

    said = []
    for valve in visit.valves:
        for step in ("found", "set", "left"):
            for old, new in pairwise(visit.story(valve, step)):
                what = {"valve": valve, "step": step_word(step), "old": words(old), "new": words(new)}
                if new.reason:
                    said.append(
                        say("{valve} {step} was {old}, is {new} ({reason}).", **what, reason=new.reason)
                    )
                else:
                    said.append(say("{valve} {step} was {old}, is {new}.", **what))
    for change in visit.changes:
        what = changed(change, shown, service)._asdict()
        if change.reason:
            said.append(say("{field} was {old}, is {new} ({reason}).", **what, reason=change.reason))
        else:
            said.append(say("{field} was {old}, is {new}.", **what))
    return tuple(said)


def step_word(step: str) -> str:
    """A step of a visit in words."""
    if step == "found":
        return say_in("step of a visit", "found")
    return say_in("step of a visit", "set") if step == "set" else say_in("step of a visit", "left")


def _named(desk: Desk, name: str) -> tuple[EngineEntry, Engine]:
    """An engine under the name the book has for it."""
    entry, engine = desk.engine(name)
    return entry, replace(engine, name=entry.name)


# ------------------------------------------------------------------------------------- labels and calendar


def engine_address(base: str, engine_id: str) -> str:
    """The page of an engine below the address of the pages; "" without one. Raises InputError."""
    if not base:
        return ""
    if not re.fullmatch(r"https?://[^\s/]+(/[^\s]*)?", base):
        raise InputError(
            say("address: {base!r} is not one; write it like https://shed.local:8765", base=base)
        )
    return f"{base.rstrip('/')}/engines/{engine_id}"


def vehicle_of(desk: Desk, entry: EngineEntry) -> str:
    """The name of the vehicle an engine is in; "" in none."""
    return {vehicle.id: vehicle.name for vehicle in desk.book.vehicles()}.get(entry.vehicle_id or "", "")


def _next_day(when: Due) -> tuple[date | None, bool]:
    """The day that comes first, and whether it is only projected."""
    if when.by not in ("months", "never checked") and when.projected is not None:
        return when.projected, True
    return when.due_day, False


def labels_of(desk: Desk, names: Sequence[str], today: date, address: str = "") -> tuple[LabelData, ...]:
    """A label for each engine named; all of the book when none is. Raises InputError."""
    wanted = [desk.book.engine(name) for name in names] or list(desk.book.engines())
    labels = []
    for entry in wanted:
        _, engine = desk.engine(entry.name)
        when = desk.judged_due(entry.name, today)
        day, forecast = _next_day(when)
        labels.append(
            LabelData(
                engine=entry.name,
                gaps=engine.gaps,
                vehicle=vehicle_of(desk, entry),
                due_day=day,
                forecast=forecast,
                due_km=when.due_km,
                last_day=when.last_day,
                last_km=when.last_km,
                address=engine_address(address, entry.id),
                words=words_of(desk, engine),
            )
        )
    return tuple(labels)


def due_entries(desk: Desk, today: date, address: str = "") -> tuple[tuple[DueEntry, ...], tuple[str, ...]]:
    """What is due as calendar entries, and the names of the engines that have no day yet. Raises InputError.

    A handful of queries, for sheds of a thousand engines; in a small shed what the readings say counts as well, as on
    the shed's page (``Desk.judged_shed``).
    """
    grown, usual = desk.book.growth(), words_of(desk)
    entries, without = [], []
    for row in desk.judged_shed(today):
        entry, when = row.entry, row.due
        day, forecast = _next_day(when)
        if day is None:
            without.append(entry.name)
            continue
        words = _counting(usual, row.service)
        count, newest = grown.get(entry.id, (0, ""))
        details = []
        if forecast and when.due_day is not None:
            details.append(words.say("By {day} at the latest.", day=words.day(when.due_day)))
        if when.early:
            details.append(words.say("An early check, because of the work done at the last visit or since."))
        entries.append(
            DueEntry(
                engine_id=entry.id,
                engine=entry.name,
                day=day,
                # How much the book holds of the engine, which only ever grows, and when it last grew.
                revision=entry.file.version + count,
                changed=datetime.fromisoformat(max(entry.file.since, entry.created, newest)).astimezone(UTC),
                forecast=forecast,
                soonest=when.soonest if forecast else None,
                latest=when.latest if forecast else None,
                due_km=when.due_km,
                last_day=when.last_day,
                vehicle=row.vehicle or "",
                details=tuple(details),
                url=engine_address(address, entry.id),
                words=words,
            )
        )
    return tuple(entries), tuple(without)


def due_calendar(
    desk: Desk, today: date, *, address: str = "", alarm_days: Sequence[int] = (14, 1), name: str = ""
) -> tuple[bytes, tuple[str, ...]]:
    """The calendar of what is due, for a file or a feed, and the engines that have no day yet. Raises InputError."""
    entries, without = due_entries(desk, today, address)
    return calendar_bytes(entries, name=name, alarm_days=alarm_days), without


# ------------------------------------------------------------------------------------- the pulley strip

_ANGLE = re.compile(r"([0-9.,]+)\s*(btdc|atdc)?", re.IGNORECASE)


def wanted_marks(texts: Sequence[str], engine: Engine | None) -> tuple[Mark, ...]:
    """Marks as typed: ``tdc``, ``half``, ``firing``, ``file``, ``350``, ``10btdc``, ``5atdc``; ``=name`` behind any.

    Nothing typed: TDC and half a turn, or with an engine every firing TDC and the file's own marks. Raises InputError.
    """
    if not texts:
        texts = ("tdc", "half") if engine is None else ("tdc", "firing", "file")
    marks: list[Mark] = []
    for text in texts:
        word, _, name = (part.strip() for part in text.partition("="))
        key = word.lower()
        angle = _ANGLE.fullmatch(key)
        if key == "tdc":
            marks.append(Mark(0.0, name))
        elif key == "half":
            marks.append(Mark(180.0, name))
        elif key in ("firing", "file"):
            if engine is None:
                raise InputError(
                    say("mark {text!r}: which engine? Give its file, or the angle itself", text=text)
                )
            known = firing_marks(engine) if key == "firing" else engine.pulley.marks_deg
            marks += [Mark(deg, name) for deg in known]
        elif angle is not None:
            value = parse_number(angle[1], f"mark {text!r}")
            if not 0 <= value < 720:
                raise InputError(say("mark {text!r}: give degrees from 0 to below 720", text=text))
            marks.append(Mark(-value if angle[2] == "btdc" else value, name))
        else:
            raise InputError(
                say(
                    "mark {text!r} is not known; write tdc, half, firing, file, an angle past firing TDC 1 like 350, "
                    "10btdc or 5atdc, and if you like a name behind it: 10btdc=static timing",
                    text=text,
                )
            )
    return tuple(marks)


def strip_page(
    engine: Engine | None,
    today: date,
    marks: Sequence[str] = (),
    *,
    turns: Turns | None = None,
    diameter_mm: float | None = None,
    circumference_mm: float | None = None,
    thickness_mm: float = OFFICE_PAPER_MM,
    height_mm: float = 16.0,
    paper: Paper = "a4",
    join_deg: float | None = None,
) -> StripPage:
    """A strip for an engine's pulley, or for a pulley alone. What is not given comes from the engine file.

    Raises InputError when the size or the direction is known from neither.
    """
    way = turns or (engine.turns if engine is not None else None)
    if way is None:
        raise InputError(
            say("strip: which way does the pulley turn, seen facing it? Give an engine, or --turns")
        )
    if diameter_mm is None and circumference_mm is None and engine is not None:
        diameter_mm = engine.pulley.diameter_mm
        if diameter_mm is None:
            raise InputError(
                say(
                    "{name}: its file states no pulley diameter; give --diameter or --circumference",
                    name=engine.name,
                )
            )
    strip = plan_strip(
        way,
        wanted_marks(marks, engine),
        diameter_mm=diameter_mm,
        circumference_mm=circumference_mm,
        thickness_mm=thickness_mm,
        height_mm=height_mm,
        paper=paper,
        join_deg=join_deg,
    )
    return StripPage(strip, today, "" if engine is None else engine.name, engine)


# ------------------------------------------------------------------------------------- files


def file_name(kind: str, name: str, suffix: str) -> str:
    """A plain file name for a document of an engine: "strip-van-engine.pdf"."""
    plain = re.sub(r"[^\w]+", "-", name.lower()).strip("-_")[:60].rstrip("-_")
    return f"{kind}-{plain}{suffix}" if plain else f"{kind}{suffix}"


def write_new_bytes(path: Path, content: bytes) -> None:
    """Write a new file, whole or not at all; one that is there stays. Raises InputError."""
    made = False
    try:
        with path.open("xb") as stream:
            made = True
            stream.write(content)
    except FileExistsError:
        raise InputError(
            say("{path} is there already and stays as it is; choose another name with --to", path=path)
        ) from None
    except OSError as error:
        if made:
            path.unlink(missing_ok=True)
        if error.errno == errno.ENOSPC:
            raise InputError(
                say("{path}: the disk is full; nothing was written; make room and try again", path=path)
            ) from None
        raise InputError(
            say("{path} can't be written ({value})", path=path, value=error.strerror or error)
        ) from None
