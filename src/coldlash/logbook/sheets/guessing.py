"""How a sheet may be meant: a first ``Understanding``, to be looked at and corrected. What can't be told stays "".

Nothing is taken for granted that the sheet itself does not say: by the words of its headings, by units beside the
numbers, or by all cells of a column together (docs/import.md lists the rules). A column whose role a person told is
measured by its cells like any other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.sheets.cells import Cell, Sheet, shown
from coldlash.logbook.sheets.days import like_a_day, order_of
from coldlash.logbook.sheets.names import (
    GAP_ROLES,
    Role,
    is_total,
    letters_of,
    plain_words,
    role_of,
    unit_in,
    valve_heading,
    valve_parts,
    yes_or_no,
)
from coldlash.logbook.sheets.numbers import Typed, decimal_of, empty, number_parts, typed
from coldlash.logbook.sheets.understanding import UM_EACH, Column, Understanding, corrected, units_of

HEAD_SEARCHED = 40
"""A heading stands within this many rows."""
HEAD_LEAST = 2
"""A heading says at least so many columns (judgement)."""
PLAUSIBLE_UM = (20.0, 1300.0)
"""Gaps lie in here, for telling units apart only (judgement)."""
_GERMAN = re.compile(
    r"[äöüß]|datum|ventil|zyl|spiel|stand|gestellt|bemerk|notiz|temperatur|motor|vorher|nachher|gefunden|gemessen|tag\b"
)
_METERED = re.compile(r"odo|tacho|stand|mileage|clock|meter\b|reading")
_KM_SAID, _MILES_SAID, _HOURS_SAID = (
    re.compile(r"\bkm|kilomet"),
    re.compile(r"\bmiles?\b|meilen"),
    re.compile(r"\bhours?\b|stunden|\bhrs?\b"),
)


def guess(
    sheet: Sheet,
    *,
    this_year: int,
    blades_um: Sequence[int] = (),
    engine: str = "",
    heading: int | None = None,
) -> Understanding:
    """A first understanding of a sheet. ``blades_um``: the owner's blades, rising, for gaps as felt.

    ``heading``: the line in which the heading stands, 0 = there is none; None = it is looked for. Raises InputError.
    """
    top, rows = _heading(sheet) if heading is None else _heading_at(sheet, heading)
    head = top + rows
    headings = [_heading_text(sheet, top, rows, n) for n in range(sheet.width)]
    below = _columns_below(sheet, head, this_year)
    columns = [
        _first_guess(heading, cells, this_year) for heading, cells in zip(headings, below, strict=True)
    ]
    columns = _settled(_lettered(columns), below, this_year)
    columns = [_measured(column, cells, this_year) for column, cells in zip(columns, below, strict=True)]
    told = Understanding(
        sheet=sheet.name, head=head, head_rows=rows, columns=tuple(columns), this_year=this_year,
        blades_um=tuple(blades_um), engine=engine,
    )  # fmt: skip
    return replace(told, **_by_roles(sheet, told, below))


def retold(sheet: Sheet, told: Understanding, answers: Mapping[str, str]) -> Understanding:
    """``understanding.corrected``; where that gives a column another role, what hangs on roles is guessed again.

    That is the unit, decimal mark and order of dates that the column lacks, and of the whole sheet whatever was a
    guess before and is not among the answers. Raises InputError for an answer that is none.
    """
    new = corrected(told, answers)
    if [(c.role, c.valve) for c in new.columns] == [(c.role, c.valve) for c in told.columns]:
        return new
    below = _columns_below(sheet, told.head, told.this_year)
    columns = tuple(
        _completed(column, _measured(column, cells, told.this_year))
        for column, cells in zip(new.columns, below, strict=True)
    )
    new = replace(new, columns=columns)
    guessed_before = _by_roles(sheet, told, below)
    again = {
        key: value
        for key, value in _by_roles(sheet, new, below).items()
        if key not in answers and getattr(told, key) == guessed_before[key]
    }
    return replace(new, **again)


def _completed(column: Column, measured: Column) -> Column:
    return replace(
        column,
        unit=column.unit or measured.unit,
        decimal=column.decimal or measured.decimal,
        order=column.order or measured.order,
    )


def _by_roles(sheet: Sheet, told: Understanding, below: Sequence[Sequence[Cell]]) -> dict[str, Any]:
    """What the roles of its columns say of the whole sheet."""
    distance = told.first("distance")
    heading = "" if distance is None else plain_words(told.columns[distance].heading)
    metered = _METERED.search(heading) is not None and "engine" not in heading.split()
    return {
        "letters": letters_of(_kinds(told, below)) or _letters_of_headings(told),
        "distance_is": "meter" if metered else "own",
        "fill_down": _fills_down(sheet, told),
    }


# --- the heading ------------------------------------------------------------------------------------------------


def _heading(sheet: Sheet) -> tuple[int, int]:
    """The index of the first row of the heading, and of how many rows it is; 0, 0 where there is none."""
    scores = [_score(row) for row in sheet.rows[:HEAD_SEARCHED]]
    if not scores or max(scores) < HEAD_LEAST:
        return 0, 0
    at = scores.index(max(scores))
    # Two rows: valves above, found and left below, or the other way round.
    if at + 1 < len(scores) and scores[at + 1] >= HEAD_LEAST and _all_words(sheet.rows[at + 1]):
        return at, 2
    if (
        at
        and scores[at - 1]
        and _all_words(sheet.rows[at - 1])
        and _goes_with(sheet.rows[at - 1], sheet.rows[at])
    ):
        return at - 1, 2
    return at, 1


def _heading_at(sheet: Sheet, line: int) -> tuple[int, int]:
    if line == 0:
        return 0, 0
    if line not in sheet.lines:
        raise InputError(say("there is no row {line} in this sheet", line=line))
    return sheet.lines.index(line), 1


def _score(row: Sequence[Cell]) -> int:
    return sum(1 for cell in set(row) if isinstance(cell, str) and (role_of(cell) or _valve_heading(cell)))


def _all_words(row: Sequence[Cell]) -> bool:
    there = [cell for cell in row if cell is not None]
    return bool(there) and all(isinstance(cell, str) and typed(cell) is None for cell in there)


def _goes_with(upper: Sequence[Cell], lower: Sequence[Cell]) -> bool:
    """True when the upper row names steps or valves over the lower one's valves or steps."""
    over = [cell for cell in upper if isinstance(cell, str)]
    under = [cell for cell in lower if isinstance(cell, str)]
    steps = (*GAP_ROLES, "adjusted")
    return (any(_valve_heading(cell) for cell in over) and any(role_of(cell) in steps for cell in under)) or (
        any(role_of(cell) in steps for cell in over) and any(_valve_heading(cell) for cell in under)
    )


def _heading_text(sheet: Sheet, top: int, rows: int, column: int) -> str:
    parts: list[str] = []
    for number in range(top, top + rows):
        row = sheet.rows[number]
        cell = row[column] if column < len(row) else None
        if cell is None and number == top and rows == 2:
            cell = _to_the_left(sheet, top, column)
        said = shown(cell)
        if said and said not in parts:
            parts.append(said)
    return " ".join(parts)


def _to_the_left(sheet: Sheet, top: int, column: int) -> Cell:
    """What stands over this column though its own cell is empty: the next valve or step to the left."""
    upper, lower = sheet.rows[top], sheet.rows[top + 1]
    steps = (*GAP_ROLES, "adjusted")
    said = shown(lower[column]) if column < len(lower) else ""
    step, valve = role_of(said) in steps, _valve_heading(said) is not None
    if not (step or valve):
        return None
    for number in range(min(column, len(upper)) - 1, -1, -1):
        cell = upper[number]
        if cell is not None:
            over = shown(cell)
            return cell if (step and _valve_heading(over)) or (valve and role_of(over) in steps) else None
    return None


def _valve_heading(heading: str) -> tuple[Role, str] | None:
    """The step and the valve code of a heading that names a valve and nothing else that a column can be."""
    return valve_heading(heading) if role_of(heading) in (None, "found") else None


# --- columns ----------------------------------------------------------------------------------------------------


def _columns_below(sheet: Sheet, head: int, this_year: int) -> list[list[Cell]]:
    """What stands in each column below the heading, each different content once; totals are no readings."""
    below: list[dict[tuple[type, Cell], Cell]] = [{} for _ in range(sheet.width)]
    for row in sheet.rows[head:]:
        if is_total(row) and not any(like_a_day(cell, this_year) for cell in row):
            continue
        for number, cell in enumerate(row):
            if cell is not None:
                below[number].setdefault((type(cell), cell), cell)
    return [[cell for cell in cells.values() if not empty(cell)] for cells in below]


def _first_guess(heading: str, cells: Sequence[Cell], this_year: int) -> Column:
    valve = _valve_heading(heading)
    if valve is not None:
        return Column(heading, *valve)
    role = role_of(heading)
    if role is None and not heading and cells and all(like_a_day(cell, this_year) for cell in cells):
        role = "date"
    return Column(heading, role or "ignore")


def _lettered(columns: Sequence[Column]) -> list[Column]:
    """Beside a column of cylinders, a letter alone is a valve: "E" and "A", "I" and "E"."""
    if not any(column.role == "cylinder" for column in columns):
        return list(columns)
    return [
        replace(column, role="found", valve=parts[0])
        if len(plain_words(column.heading)) == 1 and (parts := valve_parts(column.heading)) is not None
        else column
        for column in columns
    ]


def _settled(columns: Sequence[Column], below: Sequence[Sequence[Cell]], this_year: int) -> list[Column]:
    """Roles that only the cells can tell apart; of several columns with one role the first one that holds something."""
    settled: list[Column] = []
    taken: set[tuple[Role, str]] = set()
    has_cylinders = any(
        column.role == "cylinder" and cells for column, cells in zip(columns, below, strict=True)
    )
    for column, cells in zip(columns, below, strict=True):
        role = column.role
        words = [cell for cell in cells if yes_or_no(cell) is not None and typed(cell) is None]
        numbers = [cell for cell in cells if typed(cell) is not None and yes_or_no(cell) is None]
        if role == "adjusted" and numbers and len(numbers) > len(cells) / 2:
            role = "left"
        elif role == "left" and not column.valve and words and len(words) == len(cells):
            role = "adjusted"
        elif role == "valve" and has_cylinders and cells and all(_kind_only(cell) for cell in cells):
            role = "kind"
        elif cells and not _can_be(role, cells, this_year):
            role = "ignore"
        key = (role, column.valve)
        if not cells or (role != "ignore" and key in taken):
            role = "ignore"
        taken.add(key)
        settled.append(replace(column, role=role, valve=column.valve if role in GAP_ROLES else ""))
    if any(column.valve and column.role == "found" for column in settled):
        settled = [
            replace(column, role="ignore") if column.role in GAP_ROLES and not column.valve else column
            for column in settled
        ]
    return settled


def _can_be(role: Role, cells: Sequence[Cell], this_year: int) -> bool:
    """False for names that are all numbers, and for dates of which none is one."""
    if role in ("by", "engine"):
        return not all(typed(cell) is not None for cell in cells)
    return role != "date" or any(like_a_day(cell, this_year) or typed(cell) for cell in cells)


def _kind_only(cell: Cell) -> bool:
    parts = valve_parts(cell) if isinstance(cell, str) else None
    return parts is not None and parts[1] is None


def _measured(column: Column, cells: Sequence[Cell], this_year: int) -> Column:
    """A column with its unit, decimal mark and order of dates, as far as they can be told."""
    role = column.role
    if role == "date":
        return replace(column, order=order_of(cells, this_year))
    if not units_of(role):
        return column
    return replace(column, decimal=decimal_of(cells), unit=_unit(column, cells))


def _unit(column: Column, cells: Sequence[Cell]) -> str:
    heading, role = plain_words(column.heading), column.role
    said = unit_in(column.heading)
    if said == "in" and column.valve[:1] == "I" and heading.split()[-1] == "in":
        said = ""  # "#1 In" is an intake
    if said in units_of(role):
        return said
    beside = {number.unit for cell in cells if (number := _plain_number(cell)) is not None and number.unit}
    beside &= set(units_of(role))
    if len(beside) == 1:
        return beside.pop()
    if role == "distance":
        told = [unit for unit, words in (("km", _KM_SAID), ("mile", _MILES_SAID), ("h", _HOURS_SAID))
                if words.search(heading)]  # fmt: skip
        return told[0] if len(told) == 1 else ""
    if role in GAP_ROLES:
        return _gap_unit(cells, decimal_of(cells))
    return ""


def _plain_number(cell: Cell) -> Typed | None:
    return typed(number_parts(cell)[-1])


def _gap_unit(cells: Sequence[Cell], decimal: str) -> str:
    """Millimetres or inches, where all numbers of a column can only be one of them."""
    values = []
    for cell in cells:
        for part in number_parts(cell):
            number = typed(part)
            value = None if number is None else number.by(decimal or ".")
            if value:
                values.append(abs(value))
    if not values:
        return ""
    low, high = PLAUSIBLE_UM
    fits = [unit for unit, um in UM_EACH.items() if all(low <= value * um <= high for value in values)]
    return fits[0] if len(fits) == 1 and fits[0] in ("mm", "in") else ""


def _kinds(told: Understanding, below: Sequence[Sequence[Cell]]) -> set[str]:
    """Every kind of valve that is named, in headings and cells."""
    kinds = {told.columns[n].valve[:1] for n in told.gap_columns if told.columns[n].valve}
    for role in ("valve", "kind"):
        number = told.first("valve" if role == "valve" else "kind")
        if number is not None:
            for cell in set(below[number]):
                parts = valve_parts(cell) if isinstance(cell, str) else None
                if parts is not None:
                    kinds.add(parts[0])
    return kinds


def _letters_of_headings(told: Understanding) -> str:
    """A bare E under headings that are all English is the exhaust; under German ones it may be either."""
    said = [plain_words(column.heading) for column in told.columns if column.role != "ignore"]
    return "" if any(_GERMAN.search(words) for words in said) or len(said) < HEAD_LEAST else "en"


def _fills_down(sheet: Sheet, told: Understanding) -> bool:
    """True when readings stand below a date without one of their own."""
    day = told.first("date")
    marks = [n for n in (told.first("valve"), told.first("cylinder"), told.first("kind")) if n is not None]
    if day is None or not marks:
        return False
    dated = False
    for row in sheet.rows[told.head :]:
        here = [n for n in marks if n < len(row) and not empty(row[n])]
        own = day < len(row) and not empty(row[day])
        if here and not own and dated and any(n < len(row) and not empty(row[n]) for n in told.gap_columns):
            return True
        dated = dated or own
    return False
