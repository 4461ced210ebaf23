"""Readings written down in the many ways people do, for tests: the readings themselves are what must come back."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date
from typing import Any

import odfdo
import openpyxl

from coldlash.engine.spec import Valve
from coldlash.logbook.logfile import LogVisit

GERMAN = {
    "date": "Datum", "distance": "km-Stand", "mile": "Meilenstand", "temperature": "Motortemperatur", "valve": "Ventil",
    "cylinder": "Zylinder", "found": "Spiel vorher", "left": "eingestellt auf", "note": "Bemerkung", "by": "Mechaniker",
    "go": "geht", "nogo": "geht nicht", "left_short": "eingestellt", "I": "Einlass", "E": "Auslass",
}  # fmt: skip
ENGLISH = {
    "date": "Date", "distance": "Distance km", "mile": "Distance (miles)", "temperature": "Engine temp",
    "valve": "Valve", "cylinder": "Cyl", "found": "Gap found", "left": "Set to", "note": "Remarks", "by": "Checked by",
    "go": "goes", "nogo": "no-go", "left_short": "set", "I": "Intake", "E": "Exhaust",
}  # fmt: skip


@dataclass(frozen=True)
class Style:
    """How somebody writes. ``gaps``: "go and no-go" (two columns), "pair" ("0.10-0.15") or "felt" (one number)."""

    layout: str = "long"
    german: bool = False
    dates: str = "ymd"
    decimal: str = "."
    unit: str = "mm"
    miles: bool = False
    fahrenheit: bool = False
    gaps: str = "pair"
    separator: str = ";"
    kind: str = "csv"
    encoding: str = "utf-8"
    title: bool = False
    totals: bool = False
    blanks: bool = False
    dates_once: bool = False


UM = {"mm": 1000.0, "in": 25_400.0, "thou": 25.4}
DATES = {"ymd": "%Y-%m-%d", "dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y", "dotted": "%d.%m.%Y"}


class Writer:
    """Writes visits in one style: cells as a person would type them, numbers of spreadsheets as floats."""

    def __init__(self, style: Style) -> None:
        self.style = style
        self.words = GERMAN if style.german else ENGLISH

    def number(self, value: float, decimals: int) -> Any:
        if self.style.kind != "csv":
            return round(value, decimals)
        return f"{value:.{decimals}f}".replace(".", self.style.decimal)

    def gap(self, um: int | None) -> Any:
        if um is None:
            return None
        value = um / UM[self.style.unit]
        return self.number(value, {"mm": 2, "in": 3, "thou": 0}[self.style.unit])

    def found(self, go: int, nogo: int) -> Any:
        if self.style.gaps == "pair":
            return f"{self._text(go)}-{self._text(nogo)}"
        return self.gap(self.felt(go, nogo))

    def _text(self, um: int) -> str:
        return (
            str(self.gap(um))
            if self.style.kind == "csv"
            else str(self.gap(um)).replace(".", self.style.decimal)
        )

    @staticmethod
    def felt(go: int, nogo: int) -> int:
        """The blade between two others."""
        return next(blade for blade in LADDERS if go < blade < nogo)

    def day(self, day: date) -> Any:
        return day if self.style.kind != "csv" else day.strftime(DATES[self.style.dates])

    def valve(self, valve: Valve) -> str:
        return f"{self.words[valve.kind]} {valve.cylinder}"

    def rows(self, visits: list[LogVisit]) -> list[list[Any]]:
        style, w = self.style, self.words
        unit = f" ({style.unit})"
        short = f" {w['left_short']}{unit}"
        lead = [
            w["date"],
            w["mile"] if style.miles else w["distance"],
            f"{w['temperature']} (°{'F' if style.fahrenheit else 'C'})",
        ]
        out: list[list[Any]] = []
        if style.title:
            out += [["Workshop notebook"], []]
        valves = sorted({row.valve for visit in visits for row in visit.rows})
        if style.layout == "long":
            gaps = [w["go"] + unit, w["nogo"] + unit] if style.gaps == "go and no-go" else [w["found"] + unit]
            out.append([*lead, w["valve"], *gaps, w["left"] + unit, w["note"], w["by"]])
        elif style.layout == "wide":
            out.append(
                [
                    *lead,
                    *(h for v in valves for h in (self.valve(v) + unit, self.valve(v) + short)),
                ]
            )
        else:
            out.append(
                [
                    *lead,
                    w["cylinder"],
                    *(h for k in "IE" for h in (w[k] + unit, w[k] + short)),
                ]
            )
        for visit in visits:
            out += self._visit(visit, valves)
            if style.blanks:
                out.append([])
        if style.totals:
            out.append(["Summe" if style.german else "Total", None, None, None])
        return out

    def _visit(self, visit: LogVisit, valves: list[Valve]) -> list[list[Any]]:
        style = self.style
        distance = self.number(visit.distance_m / (1609.344 if style.miles else 1000), 0)
        temp = None
        if visit.engine_temp_mc is not None:
            c = visit.engine_temp_mc / 1000
            temp = self.number(round(c * 1.8 + 32) if style.fahrenheit else c, 0)
        lead = [self.day(visit.day), distance, temp]
        rows: list[list[Any]] = []
        by_valve = {row.valve: row for row in visit.rows}
        if style.layout == "wide":
            cells: list[Any] = []
            for valve in valves:
                row = by_valve.get(valve)
                cells += (
                    [None, None]
                    if row is None
                    else [self.found(row.found_go_um, row.found_nogo_um), self.gap(row.left_um)]
                )
            return [[*lead, *cells]]
        if style.layout == "cylinder":
            for cylinder in sorted({v.cylinder for v in by_valve}):
                cells = []
                for kind in "IE":
                    row = by_valve.get(Valve(kind, cylinder))
                    cells += (
                        [None, None]
                        if row is None
                        else [self.found(row.found_go_um, row.found_nogo_um), self.gap(row.left_um)]
                    )
                rows.append([*lead, cylinder, *cells])
        else:
            for row in visit.rows:
                gaps = (
                    [self.gap(row.found_go_um), self.gap(row.found_nogo_um)]
                    if style.gaps == "go and no-go"
                    else [self.found(row.found_go_um, row.found_nogo_um)]
                )
                rows.append(
                    [*lead, self.valve(row.valve), *gaps, self.gap(row.left_um), row.note or None, row.by]
                )
        if style.dates_once:
            rows = [rows[0], *([None, None, *row[2:]] for row in rows[1:])]
        return rows

    def _both(self, row: Any) -> list[Any]:
        if row is None:
            return [None, None]
        return [self.found(row.found_go_um, row.found_nogo_um), self.gap(row.left_um)]

    def file(self, visits: list[LogVisit]) -> bytes:
        rows = self.rows(visits)
        if self.style.kind == "csv":
            return as_csv(rows, self.style.separator, self.style.encoding)
        return as_xlsx(rows) if self.style.kind == "xlsx" else as_ods(rows)


LADDERS: tuple[int, ...] = ()
"""The blades of the style being written; set by the test."""


def as_csv(rows: list[list[Any]], separator: str = ",", encoding: str = "utf-8") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(
        [["" if cell is None else cell for cell in row] for row in rows]
    )
    return out.getvalue().encode(encoding)


def as_xlsx(rows: list[list[Any]], **sheets: list[list[Any]]) -> bytes:
    """Independent software: openpyxl writes the file."""
    book = openpyxl.Workbook()
    first = book.active
    first.title = "Log"
    for row in rows:
        first.append(row)
    for name, more in sheets.items():
        other = book.create_sheet(name)
        for row in more:
            other.append(row)
    return xlsx_bytes(book)


def xlsx_bytes(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def as_ods(rows: list[list[Any]]) -> bytes:
    """Independent software: odfdo writes the file."""
    document = odfdo.Document("spreadsheet")
    table = odfdo.Table("Log")
    document.body.clear()
    document.body.append(table)
    table.set_values(rows)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()
