"""The visit sheet: blank to take to the engine, filled afterwards. Its data, its words, what the template needs.

Readable in black and white, room for greasy figures, valves in the order of the stops. A flat-four takes one page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash import language
from coldlash.bench.cautions import MAKER_FIRST, Caution
from coldlash.bench.checklists import Checklist
from coldlash.engine.spec import KIND_WORD, Engine, GapSpec, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.drawings_gap import Scale, compact_scale, scale_range
from coldlash.paper.readings import Band, GapView, band_words, limit_words, reading_short, reading_words
from coldlash.paper.svg import Canvas, Drawing
from coldlash.paper.tape import Paper
from coldlash.paper.titleblock import stamp, title_block
from coldlash.paper.typesetting import Printed, typeset
from coldlash.paper.words import ENGLISH, NO_BREAK, Words
from coldlash.wear.record import GapInterval

SCALE_PX = (128.0, 24.0)
BLADES_SHOWN = 24


@dataclass(frozen=True, slots=True)
class SheetValve:
    """One valve's line. ``last``: what was read last time, ``last_set`` the blade it was left on, ``last_day`` when.

    ``found``, ``set_to``, ``left``, ``spin``, ``note`` are of this visit; None or "" = not yet, or not at all.
    Gaps in mm.
    """

    valve: Valve
    last: GapInterval | None = None
    last_set: float | None = None
    last_day: date | None = None
    expected: Band | None = None
    found: GapInterval | None = None
    set_to: float | None = None
    left: GapInterval | None = None
    spin: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class SheetStop:
    """One stop with its valves. ``place``, ``turn``, ``mark``, ``room``: as said at the engine.

    ``find``: how to be sure of it.
    """

    place: str
    turn: str
    mark: str
    find: tuple[str, ...]
    room: str
    valves: tuple[SheetValve, ...]


@dataclass(frozen=True, slots=True)
class SheetData:
    """A visit sheet. ``day`` and what follows are of the visit, None or "" where not known yet.

    ``out_of_plan``: valves that no stop reaches. ``meter``: what the vehicle's meter shows, with its unit.
    ``changes``: what was corrected later, a sentence each. ``filled``: as a record; else as a form to write on.
    """

    engine: Engine
    printed_on: date
    stops: tuple[SheetStop, ...]
    out_of_plan: tuple[SheetValve, ...] = ()
    ready: Checklist | None = None
    closing: Checklist | None = None
    cautions: tuple[Caution, ...] = ()
    vehicle: str = ""
    day: date | None = None
    distance_km: float | None = None
    meter: str = ""
    engine_temp_c: float | None = None
    air_temp_c: float | None = None
    by: str = ""
    blades_mm: tuple[float, ...] = ()
    note: str = ""
    changes: tuple[str, ...] = ()
    filled: bool = False


def print_sheet(sheet: SheetData, *, paper: Paper = "a4", words: Words = ENGLISH) -> Printed:
    """The PDF. Raises InputError for a valve that stands twice or is not the engine's, PaperError."""
    data, pictures = sheet_data(sheet, words)

    def printed(tight: bool) -> Printed:
        told = {**data, "paper": paper, "tight": tight}
        return typeset("sheet", told, pictures, timestamp=stamp(sheet.printed_on))

    roomy = printed(tight=False)
    if roomy.pages == 1:
        return roomy
    # In a longer language a sheet may only just need a second page: closer rows often spare it.
    close = printed(tight=True)
    return close if close.pages < roomy.pages else roomy


def sheet_data(sheet: SheetData, words: Words = ENGLISH) -> tuple[dict[str, object], dict[str, bytes]]:
    """What the template needs: all text, and the small gap scales by file name."""
    _check(sheet)
    say = words.say
    lines = [line for stop in sheet.stops for line in stop.valves] + list(sheet.out_of_plan)
    views = {line.valve: _view(sheet, line) for line in lines}
    low, high = scale_range(list(views.values())) if views else (0.0, 0.5)
    drawings = {valve: _scale(view, low, high, words) for valve, view in views.items()}
    pictures = {f"{valve}.svg": drawing.document() for valve, drawing in drawings.items()}
    title = say("Visit sheet, {name}", name=sheet.engine.name)
    if sheet.filled and sheet.day is not None:
        title = say("Visit of {day}, {name}", day=words.day(sheet.day), name=sheet.engine.name)

    def rows(valves: Sequence[SheetValve]) -> list[dict[str, object]]:
        return [_row(line, drawings[line.valve], sheet.filled, words) for line in valves]

    stops = [
        {
            "number": say("Stop {n}", n=number),
            "place": stop.place,
            "turn": _sentence(say("{turn}; {mark}.", turn=stop.turn, mark=stop.mark)),
            "find": [] if sheet.filled else list(stop.find),
            "room": "" if sheet.filled else stop.room,
            "rows": rows(stop.valves),
            "notes": _notes(stop.valves, words),
        }
        for number, stop in enumerate(sheet.stops, 1)
    ]
    if sheet.out_of_plan:
        stops.append(
            {
                "number": say("Not reached at these stops"),
                "place": say("add a mark, or check these one cylinder at a time"),
                "turn": "",
                "find": [],
                "room": "",
                "rows": rows(sheet.out_of_plan),
                "notes": _notes(sheet.out_of_plan, words),
            }
        )
    data = {
        "title": title,
        "lang": language.current(),
        "filled": sheet.filled,
        "vehicle": say("in {vehicle}", vehicle=sheet.vehicle) if sheet.vehicle else "",
        "fields": _fields(sheet, words),
        "lists": [] if sheet.filled else [_list(c, sheet.cautions) for c in (sheet.ready,) if c],
        "closing": [] if sheet.filled else [_list(c, ()) for c in (sheet.closing,) if c],
        "stops": stops,
        "head": _head(words),
        "legend": say(
            "The small scale: hatched = outside the limits, full line = set point, band = expected now, bar = found. "
            "Goes: the thickest blade that passes unforced. Not: the thinnest that doesn't. Found before the screw is "
            "touched, left after the lock-nut."
        ),
        "notes_label": say("notes"),
        "note": sheet.note if sheet.filled else "",
        "changes_label": say("Corrected since"),
        "changes": list(sheet.changes),
        "maker": say(MAKER_FIRST),
        "block": title_block(
            title,
            [
                (say("gaps in"), words.gap_unit),
                *(
                    (say(KIND_WORD[kind]), _set_point(spec, words))
                    for kind, spec in sheet.engine.gaps.items()
                ),
                (say("printed on"), words.day(sheet.printed_on)),
            ],
            words,
        ),
    }
    return data, pictures


def _check(sheet: SheetData) -> None:
    seen: set[Valve] = set()
    for line in [line for stop in sheet.stops for line in stop.valves] + list(sheet.out_of_plan):
        if line.valve not in sheet.engine.valves:
            have = ", ".join(map(str, sheet.engine.valves))
            raise InputError(
                say(
                    "{name} has no valve {valve}; it has {have}",
                    name=sheet.engine.name,
                    valve=line.valve,
                    have=have,
                )
            )
        if line.valve in seen:
            raise InputError(
                say("visit sheet: {valve} stands twice; give each valve at one stop", valve=line.valve)
            )
        seen.add(line.valve)


def _view(sheet: SheetData, line: SheetValve) -> GapView:
    spec = sheet.engine.gap(line.valve)
    return GapView(str(line.valve), spec, line.found, line.expected, line.left, line.set_to)


def _scale(view: GapView, low: float, high: float, words: Words) -> Drawing:
    width, height = SCALE_PX
    canvas = Canvas()
    bare = replace(view, left=None) if view.found is None else view
    compact_scale(canvas, bare, Scale(low, high, 1.5, width - 1.5), 3.0, height - 9.0)
    said = [words.say("Found: {reading}.", reading=reading_words(view.found, words))]
    if view.expected is not None:
        said.append(words.say("Expected: {band}.", band=band_words(view.expected, words)))
    said.append(limit_words(view.spec, words))
    title = words.say("Gap of {valve}", valve=view.valve)
    return Drawing("gap-small", width, height, title, " ".join(said), canvas.body(), ())


def _head(words: Words) -> dict[str, str]:
    say = words.say
    return {
        "valve": say("valve"),
        "scale": say("gap"),
        "last": say("last time"),
        "expected": say("expected"),
        "found": say("found"),
        "set": say("set on"),
        "left": say("left"),
        "goes": say("goes"),
        "not": say("not"),
        "spin": say("pushrod spins"),
    }


def _row(line: SheetValve, drawing: Drawing, filled: bool, words: Words) -> dict[str, object]:
    found, left = _cells(line.found, words), _cells(line.left, words)
    if filled and line.found is None:
        found = (words.say("not measured"),)
    return {
        "valve": str(line.valve),
        "kind": words.say(KIND_WORD[line.valve.kind]),
        "picture": f"{line.valve}.svg",
        "alt": f"{drawing.title}. {drawing.desc}",
        "last": _last(line, words),
        "expected": "–"
        if line.expected is None
        else f"{_low(line.expected, words)}–{words.about(line.expected.hi)}",
        "found": list(found),
        "set": "" if line.set_to is None else words.gap(line.set_to),
        "left": list(left),
        "spin": line.spin,
    }


def _low(band: Band, words: Words) -> str:
    return words.about(max(0.0, band.lo))


def _cells(reading: GapInterval | None, words: Words) -> tuple[str, ...]:
    """What stands under "goes" and "not"; one text alone stands under both."""
    if reading is None:
        return "", ""
    if reading.lo == reading.hi:
        return (words.say("drag {lo}", lo=words.gap(reading.lo)),)
    goes = words.say("none") if reading.lo == -float("inf") else words.gap(reading.lo)
    return goes, "–" if reading.hi == float("inf") else words.gap(reading.hi)


def _last(line: SheetValve, words: Words) -> str:
    if line.last is None and line.last_set is None:
        return words.say("never measured")
    parts = []
    if line.last is not None:
        parts.append(reading_short(line.last, words))
    if line.last_set is not None:
        parts.append(words.say("set on {blade}", blade=words.gap(line.last_set)))
    if line.last_day is not None:
        parts.append(words.month(line.last_day))
    return ", ".join(parts)


def _notes(valves: Sequence[SheetValve], words: Words) -> list[str]:
    return [words.say("{valve}: {note}", valve=line.valve, note=line.note) for line in valves if line.note]


def _list(checklist: Checklist, more: Sequence[Caution]) -> dict[str, object]:
    return {
        "title": checklist.title,
        "items": [item.text for item in checklist.items],
        "cautions": [caution.text for caution in (*checklist.cautions, *more)],
    }


def _fields(sheet: SheetData, words: Words) -> list[list[str]]:
    say = words.say

    def temperature(value: float | None) -> str:
        return "" if value is None else f"{words.number(value, 1)}{NO_BREAK}°C"

    def known(text: str) -> str:
        return say("not written down") if sheet.filled and not text else text

    distance = "" if sheet.distance_km is None else words.distance(sheet.distance_km)
    return [
        [say("day"), known("" if sheet.day is None else words.day(sheet.day))],
        [say("meter shows"), known(sheet.meter)],
        [say("engine has run"), known(distance)],
        [say("engine temperature"), known(temperature(sheet.engine_temp_c))],
        [say("air"), known(temperature(sheet.air_temp_c))],
        [say("by"), known(sheet.by)],
        [say("blades at hand"), known(_blades(sheet, words))],
    ]


def _blades(sheet: SheetData, words: Words) -> str:
    blades = sheet.blades_mm
    if not blades:
        return ""
    if len(blades) <= BLADES_SHOWN:
        return f"{'  '.join(words.gap(mm) for mm in blades)} {words.gap_unit}"
    return words.say(
        "{count} from {thin} to {thick} {unit}",
        count=len(blades),
        thin=words.gap(blades[0]),
        thick=words.gap(blades[-1]),
        unit=words.gap_unit,
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _set_point(spec: GapSpec, words: Words) -> str:
    """ "0.15 (0.05–0.30)": set point and limits; an unknown limit is a question mark."""
    tight, loose = ("?" if mm is None else words.gap(mm) for mm in (spec.tight, spec.loose))
    return words.say("{set} (limits {tight}–{loose})", set=words.gap(spec.cold), tight=tight, loose=loose)
