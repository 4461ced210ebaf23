"""The log file: one CSV row a valve and visit, read strictly and written back the same. Pure: text in, text out.

Columns: ``date, distance_km, engine_temp_c, valve, found_go_mm, found_nogo_mm, adjusted, left_mm, note``, in any
order; optional ``left_go_mm, left_nogo_mm, found_feel, left_feel, by``. A visit is the rows that share date and
distance. ``found_go_mm`` 0 = no blade went; ``found_nogo_mm`` empty with a go = the thickest blade went; both empty
= not measured. ``left_mm`` is the blade it was set on, a target and never a reading; empty with ``adjusted`` yes =
the cold gap. Semicolons or tabs may stand for commas, decimal commas for points.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from itertools import pairwise
from typing import cast

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import Fault, FaultyFileError, InputError
from coldlash.language import plural, say
from coldlash.logbook.records import (
    NOTE_MAX,
    Feel,
    check_go_nogo,
    checked_name,
    checked_text,
    mm,
    plain,
)
from coldlash.logbook.telling import told
from coldlash.units import m_from_km, parse_number, um_from_mm

COLUMNS = (
    "date",
    "distance_km",
    "engine_temp_c",
    "valve",
    "found_go_mm",
    "found_nogo_mm",
    "adjusted",
    "left_mm",
    "note",
)
OPTIONAL_COLUMNS = ("left_go_mm", "left_nogo_mm", "found_feel", "left_feel", "by")
HEADER = ",".join(COLUMNS)

THICKEST_UM = 2_000
"""Thicker than any feeler blade, or two put together, that a valve is checked with."""
THINNEST_UM = 10
"""Thinner than any feeler blade made."""
DISTANCE_KM_MAX = 10_000_000.0
TEMP_C_MIN, TEMP_C_MAX = -40.0, 200.0
FIRST_YEAR, LAST_YEAR = 1880, 2200


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One valve at one visit, lengths in micrometres; see the module. ``line`` is where it stood in a file.

    ``left_um`` is the blade it was set on (None with ``adjusted`` = the cold gap).
    """

    valve: Valve
    found_go_um: int | None = None
    found_nogo_um: int | None = None
    found_feel: Feel | None = None
    adjusted: bool = False
    left_um: int | None = None
    left_go_um: int | None = None
    left_nogo_um: int | None = None
    left_feel: Feel | None = None
    by: str | None = None
    note: str = ""
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogVisit:
    """The rows of one visit, by valve. Distance in metres, temperature in thousandths of a degree C or None."""

    day: date
    distance_m: int
    engine_temp_mc: int | None = None
    rows: tuple[LogRow, ...] = ()

    @property
    def line(self) -> int:
        """The first line of this visit in its file; 0 = it came from elsewhere."""
        return min((row.line for row in self.rows), default=0)


# --- reading --------------------------------------------------------------------------------------------------


def decode_log(data: bytes, source: str) -> str:
    """The bytes of a log file as text (UTF-8, with or without a byte order mark). Raises FaultyFileError."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise FaultyFileError(source, [Fault(say("is UTF-16 text; save it as UTF-8 (CSV UTF-8)"))])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FaultyFileError(
            source,
            [
                Fault(
                    say(
                        "byte {byte} is not UTF-8 text; save it as UTF-8 (CSV UTF-8)",
                        byte=f"0x{data[error.start]:02x}",
                    ),
                    line,
                )
            ],
        ) from error


def parse_log(text: str, source: str, engine: Engine) -> tuple[LogVisit, ...]:
    """Read a log of this engine: visits by day and distance, rows by valve.

    ``source`` names the file in messages. Raises FaultyFileError with every fault and its line.
    """
    faults: list[Fault] = []
    parsed: list[tuple[date, int, int | None, LogRow]] = []
    for cells in _lines(text, faults):
        row = _row(cells, engine, faults)
        if row is not None:
            parsed.append(row)
    visits = _visits(parsed, faults)
    _check_order(visits, faults)
    if faults:
        raise FaultyFileError(source, faults)
    return visits


class _Cells:
    """One row of the file: its fields by column name; None where the file lacks that column."""

    def __init__(self, line: int, fields: dict[str, str]) -> None:
        self.line = line
        self.fields = fields

    def text(self, column: str) -> str | None:
        """The field as written."""
        return self.fields.get(column)

    def word(self, column: str) -> str | None:
        """The field without blanks around it."""
        given = self.fields.get(column)
        return None if given is None else given.strip()


def _lines(text: str, faults: list[Fault]) -> Iterator[_Cells]:
    """Every row below the header, the header checked. Faults of the file itself are noted."""
    text = text.removeprefix("\ufeff")
    nul = text.find("\0")
    if nul >= 0:
        at = text.count("\n", 0, nul) + 1
        faults.append(Fault(say("has a NUL byte; this is no text, or the file is damaged"), at))
        return
    if not text.strip():
        faults.append(Fault(say("is empty; the first line must be {header}", header=HEADER)))
        return
    skipped = 0
    if text.lower().startswith("sep=") and "\n" in text:  # a spreadsheet's note about its own separator
        text = text.partition("\n")[2]
        skipped = 1
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    index: list[str] | None = None
    seen = False
    while True:
        line = reader.line_num + 1 + skipped
        try:
            fields = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            faults.append(
                Fault(
                    say(
                        "can't be read further: {error}; is a quotation mark missing or one too many?",
                        error=error,
                    ),
                    line,
                )
            )
            return
        if not any(cell.strip() for cell in fields):
            continue
        if index is None:
            index = _header(fields, line, faults)
            continue
        seen = True
        if len(fields) != len(index):
            faults.append(Fault(_wrong_count(fields, index, delimiter), line))
            continue
        yield _Cells(line, {name: cell for name, cell in zip(index, fields, strict=True) if name})
    if index is not None and not seen:
        faults.append(Fault(say("has a header but no rows; nothing to read")))


def _delimiter(text: str) -> str:
    """The separator that shows the most known columns in the first line; a comma when in doubt."""
    first = text.lstrip().partition("\n")[0].lower()
    known = {*COLUMNS, *OPTIONAL_COLUMNS}

    def score(delimiter: str) -> int:
        return len(known & {name.strip(' "\r') for name in first.split(delimiter)})

    return max((",", ";", "\t"), key=score)


def _header(fields: Sequence[str], line: int, faults: list[Fault]) -> list[str]:
    """The column names in their order; "" for a column that can't be used."""
    known = (*COLUMNS, *OPTIONAL_COLUMNS)
    index: list[str] = []
    for given in fields:
        name = given.strip().lower()
        if name in index:
            faults.append(Fault(say("the column {name} stands twice", name=name), line))
            index.append("")
        elif name in known:
            index.append(name)
        else:
            near = get_close_matches(name, known, n=1, cutoff=0.5)
            faults.append(Fault(_no_column(given.strip(), near, known), line))
            index.append("")
    missing = [name for name in COLUMNS if name not in index]
    if missing:
        faults.append(
            Fault(
                plural(
                    "the column {missing} is missing",
                    "the columns {missing} are missing",
                    len(missing),
                    missing=", ".join(missing),
                ),
                line,
            )
        )
    return index


def _no_column(given: str, near: Sequence[str], known: Sequence[str]) -> str:
    if near:
        return say("there is no column {given!r}; did you mean {near}?", given=given, near=near[0])
    return say("there is no column {given!r}; known are {known}", given=given, known=", ".join(known))


def _wrong_count(fields: Sequence[str], index: Sequence[str], delimiter: str) -> str:
    counts = {"count": len(fields), "wanted": len(index)}
    if len(fields) > len(index) and delimiter == ",":
        return say(
            "has {count} fields, the header has {wanted}; a decimal comma or a comma in a note must stand in quotes: "
            '"0,15"',
            **counts,
        )
    return say(
        "has {count} fields, the header has {wanted}; leave a field empty, don't leave it out", **counts
    )


class _Row:
    """Reads the fields of one row and notes what is wrong with them."""

    def __init__(self, cells: _Cells, faults: list[Fault]) -> None:
        self.cells = cells
        self.faults = faults
        self.sound = True

    def fault(self, message: str) -> None:
        self.faults.append(Fault(message, self.cells.line))
        self.sound = False

    def number(self, column: str) -> float | None:
        given = self.cells.word(column)
        if not given:
            return None
        try:
            return parse_number(given, column)
        except InputError as error:
            self.fault(str(error))
            return None

    def day(self) -> date | None:
        given = self.cells.word("date")
        if given is None:
            self.sound = False
            return None
        if re.fullmatch(r"\d{4}-\d\d-\d\d", given, re.ASCII) is None:
            self.fault(
                say("date: {given!r} is not a date; write it like 2024-05-04", given=given)
                if given
                else say("date: is empty")
            )
            return None
        try:
            day = date.fromisoformat(given)
        except ValueError:
            self.fault(say("date: {given} is not in the calendar", given=given))
            return None
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            self.fault(say("date: the year {year} can't be right", year=day.year))
            return None
        return day

    def distance(self) -> int | None:
        if self.cells.word("distance_km") is None:
            self.sound = False
            return None
        if not self.cells.word("distance_km"):
            self.fault(say("distance_km: is empty; give the engine's own distance in km"))
            return None
        km = self.number("distance_km")
        if km is None:
            return None
        if not 0 <= km <= DISTANCE_KM_MAX:
            self.fault(
                say("distance_km: {km:g} km is outside 0 to {most:,.0f} km", km=km, most=DISTANCE_KM_MAX)
            )
            return None
        return m_from_km(km)

    def temperature(self) -> int | None:
        celsius = self.number("engine_temp_c")
        if celsius is None:
            return None
        if not TEMP_C_MIN <= celsius <= TEMP_C_MAX:
            self.fault(
                say(
                    "engine_temp_c: {celsius:g} C is outside {least:g} to {most:g} C",
                    celsius=celsius,
                    least=TEMP_C_MIN,
                    most=TEMP_C_MAX,
                )
            )
            return None
        return round(celsius * 1000)

    def valve(self, engine: Engine) -> Valve | None:
        given = self.cells.word("valve")
        if given is None:
            self.sound = False
            return None
        if not given:
            self.fault(say("valve: is empty; write I or E and the cylinder, like I1 or E3"))
            return None
        try:
            return engine.valve(given)
        except InputError as error:
            self.fault(say("valve: {error}", error=error))
            return None

    def blade(self, column: str) -> int | None:
        """A gap in micrometres. Says so when it looks like another unit."""
        value = self.number(column)
        if value is None:
            return None
        um = um_from_mm(value)
        if value < 0:
            self.fault(
                say(
                    "{column}: {value:g} mm is less than nothing; if no blade went, write 0",
                    column=column,
                    value=value,
                )
            )
        elif um > THICKEST_UM:
            self.fault(
                say(
                    "{column}: {value:g} mm is thicker than any blade; write mm ({value:g} hundredths are "
                    "{hundredths:g} mm, {value:g} thousandths of an inch are {thous:.3f} mm)",
                    column=column,
                    value=value,
                    hundredths=value / 100,
                    thous=value * 0.0254,
                )
            )
        elif 0 < value < THINNEST_UM / 1000:
            self.fault(
                say(
                    "{column}: {value:g} mm is thinner than any blade; write mm ({value:g} in are {inches:.3f} "
                    "mm)",
                    column=column,
                    value=value,
                    inches=value * 25.4,
                )
            )
        else:
            return um
        return None

    def go_nogo(self, which: str) -> tuple[int | None, int | None]:
        """Go and no-go of "found" or "left", checked together."""
        before = len(self.faults)
        go, nogo = self.blade(f"{which}_go_mm"), self.blade(f"{which}_nogo_mm")
        if len(self.faults) == before:
            try:
                check_go_nogo(go, nogo, f"{which}_go_mm and {which}_nogo_mm")
            except InputError as error:
                self.fault(str(error))
        return go, nogo

    def feel(self, which: str, go: int | None) -> Feel | None:
        given = (self.cells.word(f"{which}_feel") or "").lower()
        if not given:
            return None
        if given not in ("free", "drag"):
            self.fault(say("{which}_feel: {given!r} is not free or drag", which=which, given=given))
        elif not go:
            self.fault(
                say(
                    "{which}_feel: {given!r} needs the blade that went in {which}_go_mm",
                    which=which,
                    given=given,
                )
            )
        else:
            return cast("Feel", given)
        return None

    def adjusted(self) -> bool:
        given = self.cells.word("adjusted")
        if given is None:
            self.sound = False
        elif given.lower() not in ("yes", "no"):
            self.fault(
                say("adjusted: {given!r} is not yes or no", given=given)
                if given
                else say("adjusted: is empty; write yes or no")
            )
        return (given or "").lower() == "yes"

    def target(self, engine: Engine, valve: Valve | None, adjusted: bool) -> int | None:
        given = self.cells.word("left_mm")
        um = self.blade("left_mm")
        if given and not adjusted and (self.cells.word("adjusted") or "").lower() == "no":
            self.fault(
                say(
                    "left_mm: {given} is a blade it was set on, but adjusted is no; empty it, or write adjusted "
                    "yes",
                    given=given,
                )
            )
        elif um == 0 and valve is not None and engine.gap(valve).cold > 0:
            self.fault(
                say(
                    "left_mm: 0 is no blade, and the cold gap of {valve} is {cold:g} mm; leave it empty for the "
                    "cold gap",
                    valve=valve,
                    cold=engine.gap(valve).cold,
                )
            )
        return um

    def checked(self, column: str) -> str:
        given = self.cells.text(column) or ""
        try:
            if column == "note":
                return checked_text(given, "note", NOTE_MAX)
            return checked_name(given, column) if given.strip() else ""
        except InputError as error:
            self.fault(str(error))
            return ""


def _row(cells: _Cells, engine: Engine, faults: list[Fault]) -> tuple[date, int, int | None, LogRow] | None:
    row = _Row(cells, faults)
    day, distance, temperature, valve = row.day(), row.distance(), row.temperature(), row.valve(engine)
    found, adjusted = row.go_nogo("found"), row.adjusted()
    target, left = row.target(engine, valve, adjusted), row.go_nogo("left")
    feels = row.feel("found", found[0]), row.feel("left", left[0])
    by, note = row.checked("by"), row.checked("note")
    if day is None or distance is None or valve is None:
        return None
    return (
        day,
        distance,
        temperature,
        LogRow(
            valve=valve,
            found_go_um=found[0],
            found_nogo_um=found[1],
            found_feel=feels[0],
            adjusted=adjusted,
            left_um=target,
            left_go_um=left[0],
            left_nogo_um=left[1],
            left_feel=feels[1],
            by=by or None,
            note=note,
            line=cells.line,
        ),
    )


def _visits(
    parsed: Iterable[tuple[date, int, int | None, LogRow]], faults: list[Fault]
) -> tuple[LogVisit, ...]:
    groups: dict[tuple[date, int], dict[Valve, LogRow]] = {}
    temperatures: dict[tuple[date, int], tuple[int, int]] = {}
    for day, distance, temperature, row in parsed:
        key = (day, distance)
        group = groups.setdefault(key, {})
        if row.valve in group:
            faults.append(
                Fault(
                    say(
                        "{valve} stands twice in the visit of {day} at {km} km, first in line {line}",
                        valve=row.valve,
                        day=day,
                        km=told(distance),
                        line=group[row.valve].line,
                    ),
                    row.line,
                )
            )
        else:
            group[row.valve] = row
        if temperature is None:
            continue
        known, at_line = temperatures.setdefault(key, (temperature, row.line))
        if known != temperature:
            faults.append(
                Fault(
                    say(
                        "engine_temp_c: {temperature} C, but line {at_line} of the same visit has {known} C; a visit "
                        "has one temperature",
                        temperature=told(temperature),
                        at_line=at_line,
                        known=told(known),
                    ),
                    row.line,
                )
            )
    return tuple(
        LogVisit(
            day=day,
            distance_m=distance,
            engine_temp_mc=temperatures.get((day, distance), (None, 0))[0],
            rows=tuple(sorted(group.values(), key=lambda row: row.valve)),
        )
        for (day, distance), group in sorted(groups.items(), key=lambda item: item[0])
    )


def _check_order(visits: Sequence[LogVisit], faults: list[Fault]) -> None:
    for before, after in pairwise(visits):
        if after.distance_m < before.distance_m:
            faults.append(
                Fault(
                    say(
                        "the distance goes backwards: {km} km on {day}, but {km_before} km on {day_before} (line "
                        "{line})",
                        km=told(after.distance_m),
                        day=after.day,
                        km_before=told(before.distance_m),
                        day_before=before.day,
                        line=before.line,
                    ),
                    after.line,
                )
            )


# --- writing --------------------------------------------------------------------------------------------------


def write_log(visits: Iterable[LogVisit]) -> str:
    """Visits as the text of a log file: by day and distance, rows by valve, optional columns where used.

    ``parse_log`` of it gives the same visits back. A visit without rows leaves no trace in a log.
    """
    ordered = sorted(visits, key=lambda visit: (visit.day, visit.distance_m))
    rows = [_written(visit, row) for visit in ordered for row in sorted(visit.rows, key=lambda r: r.valve)]
    columns = [*COLUMNS, *(name for name in OPTIONAL_COLUMNS if any(row[name] for row in rows))]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(columns)
    writer.writerows([row[name] for name in columns] for row in rows)
    return out.getvalue()


def _written(visit: LogVisit, row: LogRow) -> dict[str, str]:
    def length(um: int | None) -> str:
        return "" if um is None else plain(um, 2) if um else "0"

    return {
        "date": visit.day.isoformat(),
        "distance_km": plain(visit.distance_m),
        "engine_temp_c": "" if visit.engine_temp_mc is None else plain(visit.engine_temp_mc),
        "valve": str(row.valve),
        "found_go_mm": length(row.found_go_um),
        "found_nogo_mm": length(row.found_nogo_um),
        "adjusted": "yes" if row.adjusted else "no",
        "left_mm": length(row.left_um),
        "note": row.note,
        "left_go_mm": length(row.left_go_um),
        "left_nogo_mm": length(row.left_nogo_um),
        "found_feel": row.found_feel or "",
        "left_feel": row.left_feel or "",
        "by": row.by or "",
    }


def row_words(row: LogRow) -> str:
    """One row in words, for messages: "found 0.10 mm goes, 0.15 mm does not; set on 0.15 mm"."""

    parts = [
        say("found {reading}", reading=_interval(row.found_go_um, row.found_nogo_um, row.found_feel)),
    ]
    if row.adjusted:
        parts.append(
            say("set to the cold gap")
            if row.left_um is None
            else say("set on {blade}", blade=mm(row.left_um))
        )
    if row.left_go_um is not None:
        parts.append(
            say("left {reading}", reading=_interval(row.left_go_um, row.left_nogo_um, row.left_feel))
        )
    if row.by:
        parts.append(say("by {name}", name=row.by))
    if row.note:
        parts.append(say("note {note!r}", note=row.note))
    return "; ".join(parts)


def _interval(go: int | None, nogo: int | None, feel: Feel | None) -> str:
    if go is None:
        return say("not measured")
    if not go:
        if nogo is None:
            return say("no blade goes")
        return say("no blade goes, {nogo} does not", nogo=mm(nogo))
    if feel == "drag":
        if nogo is None:
            return say("{go} drags", go=mm(go))
        return say("{go} drags, {nogo} does not", go=mm(go), nogo=mm(nogo))
    if nogo is None:
        return say("{go} goes", go=mm(go))
    return say("{go} goes, {nogo} does not", go=mm(go), nogo=mm(nogo))
