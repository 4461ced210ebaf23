"""The rows of a sheet, as understood, made into visits; every fault at once, and every row that was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import Fault, InputError
from coldlash.language import mark, plural, say, table
from coldlash.logbook.logfile import (
    DISTANCE_KM_MAX,
    FIRST_YEAR,
    LAST_YEAR,
    TEMP_C_MAX,
    TEMP_C_MIN,
    LogRow,
    LogVisit,
)
from coldlash.logbook.records import (
    Meter,
    mm,
    name_key,
    plain,
)
from coldlash.logbook.sheets.cells import Cell, Sheet, Watch, nobody_watches, shown
from coldlash.logbook.sheets.days import day_of, like_a_day
from coldlash.logbook.sheets.names import (
    Role,
    is_total,
    kind_letter,
    valve_parts,
    yes_or_no,
)
from coldlash.logbook.sheets.numbers import typed
from coldlash.logbook.sheets.row_cells import RowCells
from coldlash.logbook.sheets.understanding import Understanding
from coldlash.units import KM_PER_MILE, c_from_f

WATCH_EVERY = 2_000
METERS: tuple[Meter, ...] = ("km", "mile", "h")
FILLED_DOWN: tuple[Role, ...] = ("date", "distance", "engine", "cylinder")
"""What holds for the rows below that leave it empty, where an empty date means the one above."""
WHY_LEFT_OUT = {
    "words": mark("only words"),
    "total": mark("a total"),
    "heading": mark("the heading again"),
    "no gaps": mark("no gap in it"),
    "no valve": mark("no valve and no gap in it"),
}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A row that is no reading: its line, its words, and why (a key of ``WHY_LEFT_OUT``)."""

    line: int
    text: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetVisit:
    """A visit of a sheet. ``log.distance_m`` is the engine's own distance, or, where ``meter_reading`` (thousandths of
    ``meter_unit``) is given, not known yet (0): ``metering`` reckons it. ``explained``: why the meter shows less.
    """

    log: LogVisit
    meter_reading: int | None = None
    meter_unit: Meter | None = None
    explained: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What the rows say: visits by engine (its name), by day; faults; rows left out; how many rows were readings."""

    visits: Mapping[str, tuple[SheetVisit, ...]]
    faults: tuple[Fault, ...]
    left_out: tuple[LeftOut, ...]
    rows: int
    notes: tuple[str, ...] = ()


def take(
    sheet: Sheet, told: Understanding, engines: Mapping[str, Engine], watch: Watch = nobody_watches
) -> Taken:
    """Make visits of a sheet. ``engines``: those of the book by name. Raises nothing for what the rows hold."""
    return _Taking(sheet, told, engines, watch).all()


@dataclass(slots=True)
class _Group:
    """The rows of one visit while they are gathered."""

    rows: dict[Valve, LogRow]
    line: int
    temperature: tuple[int, int] | None = None
    reading: int | None = None
    note: str = ""


_Key = tuple[str, date, int]


class _Taking(RowCells):
    def __init__(
        self, sheet: Sheet, told: Understanding, engines: Mapping[str, Engine], watch: Watch
    ) -> None:
        super().__init__(told)
        self.sheet, self.watch = sheet, watch
        self.engines = {name_key(name): (name, engine) for name, engine in engines.items()}
        self.left_out: list[LeftOut] = []
        self.groups: dict[_Key, _Group] = {}
        self.rows_read = 0
        self.gaps: dict[str, dict[Role, int]] = {}
        for number in self.gap_columns:
            column = told.columns[number]
            self.gaps.setdefault(column.valve if self.wide else "", {}).setdefault(column.role, number)
        self.above: dict[Role, Cell] = {}
        self.left_alone = self.all_adjusted = 0

    def all(self) -> Taken:
        rows, of = self.sheet.rows, len(self.sheet.rows)
        heading = rows[self.told.head - 1] if self.told.head_rows else None
        lost: dict[int, list[tuple[int, str]]] = {}
        for (number, column), why in self.sheet.lost.items():
            lost.setdefault(number, []).append((column, why))
        for number in range(self.told.head, of):
            if number % WATCH_EVERY == 0:
                self.watch("understanding", number, of)
            self.row, self.line = rows[number], self.sheet.lines[number]
            for column, why in lost.get(number, ()):
                if column < 0 or self.told.columns[column].role != "ignore":
                    self.fault(None if column < 0 else column, why)
            cut = any(column < 0 for column, _ in lost.get(number, ()))
            if not cut and not self._left_out(heading):
                self._reading()
        self.watch("understanding", of, of)
        visits: dict[str, list[SheetVisit]] = {}
        for (name, day, distance), group in sorted(self.groups.items(), key=lambda item: item[0]):
            visits.setdefault(name, []).append(self._visit(day, distance, group))
        if not self.told.backwards and self.told.distance_is == "own":
            self._check_order(visits)
        return Taken(
            visits={name: tuple(each) for name, each in visits.items()},
            faults=tuple(sorted(self.faults, key=lambda fault: (fault.line, fault.column))),
            left_out=tuple(self.left_out),
            rows=self.rows_read,
            notes=self._notes(),
        )

    def _notes(self) -> tuple[str, ...]:
        notes = []
        if self.left_alone:
            notes.append(
                plural(
                    "{n} valve was left as it was found: both numbers are the same and nothing says that it was "
                    "adjusted.",
                    "{n} valves were left as they were found: both numbers are the same and nothing says that they "
                    "were adjusted.",
                    self.left_alone,
                )
            )
        if self.all_adjusted:
            notes.append(
                plural(
                    "{n} valve was taken as set to the cold gap, because its row says that it was adjusted.",
                    "{n} valves were taken as set to the cold gap, because their row says that it was adjusted.",
                    self.all_adjusted,
                )
            )
        if self.none_went:
            notes.append(
                plural(
                    "{n} gap of 0 was read as: no blade went, not even {blade}.",
                    "{n} gaps of 0 were read as: no blade went, not even {blade}.",
                    self.none_went,
                    blade=mm(self.told.blades_um[0]),
                )
            )
        return tuple(notes)

    def _left_out(self, heading: Sequence[Cell] | None) -> bool:
        there = [cell for cell in self.row if cell is not None]
        if not there:
            return True
        why = self._why_left_out(there, heading)
        if why:
            self.left_out.append(LeftOut(self.line, " | ".join(dict.fromkeys(map(shown, there)))[:200], why))
        return bool(why)

    def _why_left_out(self, there: Sequence[Cell], heading: Sequence[Cell] | None) -> str:
        if heading is not None and tuple(self.row) == tuple(heading):
            return "heading"
        if is_total(there) and not any(like_a_day(cell, self.told.this_year) for cell in there):
            return "total"
        if self._at_any_gap() or self._at_valve():
            return ""
        if self.wide:
            return "words" if self.cell("date") is None or len(set(map(shown, there))) == 1 else "no gaps"
        return "words" if all(self._word(cell) for cell in there) else "no valve"

    def _word(self, cell: Cell) -> bool:
        return isinstance(cell, str) and typed(cell) is None and not like_a_day(cell, self.told.this_year)

    def _at_any_gap(self) -> bool:
        return any(self.cell_at(number) is not None for number in self.gap_columns)

    def _at_valve(self) -> bool:
        if self.wide:
            return False
        one = self.cell("valve")
        if isinstance(one, str) and valve_parts(one) is None and self.cell("date") is None:
            return False
        return one is not None or self.cell("kind") is not None

    # --- one row ----------------------------------------------------------------------------------------------

    def _reading(self) -> None:
        self.rows_read += 1
        if self.told.fill_down:
            self._fill_down()
        engine = self._engine()
        day, distance, temperature = self._day(), self._distance(engine), self._temperature()
        adjusted, note, by = self._adjusted(), self.text("note"), self.text("by")
        rows: list[LogRow] = []
        by_cylinder = self.wide and any(len(code) == 1 for code in self.gaps)
        for valve, columns in self._valves(engine):
            own = "" if (self.wide and not by_cylinder) or rows else note  # a cylinder's note, once
            # Where the valve is at fault, its gaps are looked at all the same: all faults at once.
            row = self._valve_row(valve or Valve("I", 1), columns, engine, adjusted, by, own)
            if row is not None and valve is not None:
                rows.append(row)
        if engine is None or day is None or distance is None:
            return
        name = engine[0]
        # A meter's readings make the visit; what distance that is comes later.
        key = (name, day, distance[0])
        group = self.groups.setdefault(key, _Group({}, self.line, reading=distance[1]))
        for row in rows:
            if row.valve in group.rows:
                self.fault(
                    self.at.get("valve"),
                    say(
                        "{valve} stands twice in the visit of {day} at {distance}, first in row {line}",
                        valve=row.valve, day=day, distance=self._distance_words(distance[0]),
                        line=group.rows[row.valve].line,
                    ),
                )  # fmt: skip
            else:
                group.rows[row.valve] = row
        if self.wide and not by_cylinder and note:
            group.note = f"{group.note}; {note}" if group.note else note
        self._one_temperature(group, temperature)

    def _fill_down(self) -> None:
        filled = list(self.row)
        starts = self.cell("date") is not None
        for role in FILLED_DOWN:
            number = self.at.get(role)
            if number is None:
                continue
            here = self.cell_at(number)
            if here is not None:
                self.above[role] = here
            elif starts and role == "distance":
                self.above.pop(role, None)
            elif role in self.above:
                filled += [None] * (number + 1 - len(filled))
                filled[number] = self.above[role]
        self.row = filled

    def _engine(self) -> tuple[str, Engine] | None:
        number = self.at.get("engine")
        said = self.told.engine if number is None else shown(self.cell_at(number))
        if not said:
            self.wrong(number, say("is empty; give the engine’s name in the book"))
            return None
        found = self.engines.get(name_key(said.strip()))
        if found is None:
            have = ", ".join(name for name, _ in self.engines.values()) or "-"
            self.wrong(number, say("this book has no engine {name!r}; it has {have}", name=said, have=have))
        return found

    def _day(self) -> date | None:
        number = self.at.get("date")
        cell = self.cell_at(number)
        if number is None or cell is None:
            self.wrong(number, say("the date is empty"))
            return None
        day = day_of(cell, self.told.columns[number].order, self.told.this_year)
        if day is None:
            self.wrong(number, say("{cell!r} is not a date here; write it like 2024-05-04", cell=shown(cell)))
        elif not FIRST_YEAR <= day.year <= LAST_YEAR:
            self.wrong(number, say("the year {year} can’t be right", year=str(day.year)))
            return None
        return day

    def _distance(self, engine: tuple[str, Engine] | None) -> tuple[int, int | None] | None:
        """The own distance in metres, None; or for a meter its reading in thousandths, twice."""
        number = self.at.get("distance")
        cell = self.cell_at(number)
        if number is None or cell is None:
            self.wrong(number, say("the distance is empty"))
            return None
        parsed = self.number(number, cell)
        if parsed is None:
            return None
        value, unit = parsed.point or 0.0, self.unit(number, parsed, ("km", "mile", "h"))
        km_each = {"mile": KM_PER_MILE, "h": engine[1].service.km_per_h if engine else 1.0}.get(unit, 1.0)
        if not 0 <= value * km_each <= DISTANCE_KM_MAX:
            self.wrong(
                number, say("{value:,.0f} is outside 0 to {most:,.0f} km", value=value, most=DISTANCE_KM_MAX)
            )
            return None
        if self.told.distance_is == "meter":
            if unit != self.told.columns[number].unit:
                self.wrong(number, say("{cell!r} is in another unit than its column", cell=shown(cell)))
                return None
            return round(value * 1000), round(value * 1000)
        return round(value * 1000 * km_each), None

    def _distance_words(self, distance: int) -> str:
        unit = self.told.columns[self.at["distance"]].unit if self.told.distance_is == "meter" else "km"
        return f"{plain(distance)} {unit}"

    def _temperature(self) -> int | None:
        number = self.at.get("temperature")
        cell = self.cell_at(number)
        if number is None or cell is None:
            return None
        parsed = self.number(number, cell)
        if parsed is None:
            return None
        value = parsed.point or 0.0
        celsius = c_from_f(value) if self.unit(number, parsed, ("C", "F")) == "F" else value
        if not TEMP_C_MIN <= celsius <= TEMP_C_MAX:
            self.wrong(
                number,
                say(
                    "{value:.0f} C is outside {low:.0f} to {high:.0f} C",
                    value=celsius,
                    low=TEMP_C_MIN,
                    high=TEMP_C_MAX,
                ),
            )
            return None
        return round(celsius * 1000)

    def _one_temperature(self, group: _Group, temperature: int | None) -> None:
        if temperature is None:
            return
        if group.temperature is None:
            group.temperature = temperature, self.line
        elif group.temperature[0] != temperature:
            self.wrong(
                self.at.get("temperature"),
                say(
                    "{here} C, but row {line} of the same visit has {there} C; a visit has one temperature",
                    here=plain(temperature), there=plain(group.temperature[0]), line=group.temperature[1],
                ),
            )  # fmt: skip

    def _adjusted(self) -> bool | None:
        number = self.at.get("adjusted")
        cell = None if number is None or number >= len(self.row) else self.row[number]
        if number is None or cell is None:
            return None
        said = yes_or_no(cell)
        if said is None:
            self.wrong(number, say("{cell!r} is not yes or no", cell=shown(cell)))
        return said

    def _valves(self, engine: tuple[str, Engine] | None) -> list[tuple[Valve | None, Mapping[Role, int]]]:
        """The valves of the row with their columns; None = one that can't be told, which was said."""
        if not self.wide:
            return [(self._long_valve(engine), self.gaps.get("", {}))]
        found: list[tuple[Valve | None, Mapping[Role, int]]] = []
        cylinder = self._cylinder() if any(len(code) == 1 for code in self.gaps) else None
        for code, columns in self.gaps.items():
            if not code or all(self.cell_at(number) is None for number in columns.values()):
                continue
            number = int(code[1:]) if len(code) > 1 else cylinder
            letter = kind_letter(code[0], self.told.letters)
            valve = None
            if number is not None and letter is not None:
                valve = self._checked_valve(letter, number, engine, next(iter(columns.values())))
            found.append((valve, columns))
        return found

    def _cylinder(self) -> int | None:
        number = self.at.get("cylinder")
        cell = self.cell_at(number)
        digits = "".join(letter for letter in shown(cell) if letter.isdecimal())
        if not digits or len(digits) > 2 or not int(digits):
            self.wrong(
                number,
                say("{cell!r} is not a cylinder", cell=shown(cell)) if cell else say("the cylinder is empty"),
            )
            return None
        return int(digits)

    def _long_valve(self, engine: tuple[str, Engine] | None) -> Valve | None:
        at = self.at.get("valve", self.at.get("kind"))
        text = shown(self.cell_at(at))
        parts = valve_parts(text) if text else None
        if parts is None:
            said = say("{cell!r} is not a valve; write I or E and the cylinder, like I1 or E3", cell=text)
            self.wrong(at, said if text else say("the valve is empty"))
            return None
        number = parts[1] if parts[1] is not None else self._cylinder() if "cylinder" in self.at else None
        letter = kind_letter(parts[0], self.told.letters)
        if number is None:
            if "cylinder" not in self.at:
                self.wrong(at, say("{cell!r} does not say which cylinder", cell=text))
            return None
        return None if letter is None else self._checked_valve(letter, number, engine, at)

    def _checked_valve(
        self, letter: str, number: int, engine: tuple[str, Engine] | None, at: int | None
    ) -> Valve | None:
        if engine is None:
            return None
        try:
            return engine[1].valve(f"{letter}{number}")
        except InputError as error:
            self.wrong(at, str(error))
            return None

    def _valve_row(
        self,
        valve: Valve,
        columns: Mapping[Role, int],
        engine: tuple[str, Engine] | None,
        adjusted: bool | None,
        by: str,
        note: str,
    ) -> LogRow | None:
        before = len(self.faults)
        go, nogo = self.found(columns)
        left_go, left_nogo = self.go_nogo(columns, "left_go", "left_nogo")
        left = self.blade(columns.get("left"))
        single = self.single_found(columns)
        if adjusted is None:
            adjusted = left is not None and left != single
            self.left_alone += left is not None and not adjusted
        if not adjusted and left is not None:
            if (left != single and single is not None) or (single is None and go is not None and left != go):
                self.wrong(
                    columns.get("left"),
                    say(
                        "{blade} is a blade it was set on, but it says that it was not adjusted",
                        blade=mm(left),
                    ),
                )
            left = None
        if adjusted and left == 0 and engine is not None and engine[1].gap(valve).cold > 0:
            self.wrong(
                columns.get("left"),
                say("0 is no blade; leave it empty for the cold gap of {valve}, {cold:g} mm", valve=valve,
                    cold=engine[1].gap(valve).cold),
            )  # fmt: skip
        if self.wide and adjusted and left is None:
            # One "adjusted" for a whole row: where it is said what valves were set on, only those were.
            adjusted = not any("left" in each for each in self.gaps.values())
            self.all_adjusted += adjusted
        feels = self.feel("found_feel", go), self.feel("left_feel", left_go)
        if len(self.faults) > before:
            return None
        return LogRow(
            valve=valve, found_go_um=go, found_nogo_um=nogo, found_feel=feels[0], adjusted=adjusted, left_um=left,
            left_go_um=left_go, left_nogo_um=left_nogo, left_feel=feels[1], by=by or None, note=note, line=self.line,
        )  # fmt: skip

    def _visit(self, day: date, distance: int, group: _Group) -> SheetVisit:
        metered = group.reading is not None
        log = LogVisit(
            day=day,
            distance_m=0 if metered else distance,
            engine_temp_mc=None if group.temperature is None else group.temperature[0],
            rows=tuple(sorted(group.rows.values(), key=lambda row: row.valve)),
        )
        unit = self.told.columns[self.at["distance"]].unit if metered else ""
        return SheetVisit(
            log=log if log.rows else replace(log, rows=()),
            meter_reading=group.reading,
            meter_unit=next((each for each in METERS if each == unit), None),
            explained=self.told.explained.get(group.line, ""),
            note=group.note,
        )

    def _check_order(self, visits: Mapping[str, Sequence[SheetVisit]]) -> None:
        for each in visits.values():
            highest = None
            for visit in each:
                if highest is not None and visit.log.distance_m < highest.log.distance_m:
                    self.line = visit.log.line
                    self.fault(
                        self.at.get("distance"),
                        say(
                            "the distance goes backwards: {here} km on {day}, but {there} km on {before} (row {line}). "
                            "If it is what the meter showed, say so; if one is mistyped, correct it",
                            here=plain(visit.log.distance_m), day=visit.log.day, there=plain(highest.log.distance_m),
                            before=highest.log.day, line=highest.log.line,
                        ),
                    )  # fmt: skip
                else:
                    highest = visit


def left_out_words(left_out: Sequence[LeftOut], most: int = 12) -> tuple[str, ...]:
    """The rows that were left out, in words, at most ``most`` of them."""
    return tuple(
        say("row {line}: {text} ({why})", line=row.line, text=row.text, why=table(WHY_LEFT_OUT[row.why]))
        for row in left_out[:most]
    )
