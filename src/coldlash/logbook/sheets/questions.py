"""What a person must say before a sheet can be taken in: everything it does not say itself, asked at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coldlash.language import day as day_words
from coldlash.language import mark, say, table
from coldlash.language import number as number_words
from coldlash.logbook.sheets.cells import Cell, Sheet, shown
from coldlash.logbook.sheets.days import readings
from coldlash.logbook.sheets.names import GAP_ROLES
from coldlash.logbook.sheets.numbers import empty, number_parts, pair, typed, typed_text
from coldlash.logbook.sheets.understanding import Understanding, units_of

UNIT_WORDS = {
    "mm": mark("millimetres"),
    "in": mark("inches"),
    "thou": mark("thousandths of an inch"),
    "0.01mm": mark("hundredths of a millimetre"),
    "um": mark("micrometres"),
    "km": mark("kilometres"),
    "mile": mark("miles"),
    "h": mark("hours"),
    "C": mark("degrees Celsius"),
    "F": mark("degrees Fahrenheit"),
}
ORDER_WORDS = {
    "ymd": mark("year, month, day"),
    "dmy": mark("day, month, year"),
    "mdy": mark("month, day, year"),
}
DECIMAL_WORDS = {
    ".": mark("a point is the decimal mark"),
    ",": mark("a comma is the decimal mark"),
    "either": mark("both occur"),
}
SINGLE_WORDS = {
    "went": mark("the thickest blade that went; nobody tried a thicker one"),
    "felt": mark("the gap as felt, between the blades next to that number"),
}
LETTER_WORDS = {
    "en": mark("E is the exhaust, I the intake"),
    "de": mark("E is the intake (Einlass), A the exhaust"),
}


@dataclass(frozen=True, slots=True)
class Question:
    """Something to be told. ``key`` is that of ``understanding.corrected``; ``choices``: values and their words."""

    key: str
    text: str
    choices: tuple[tuple[str, str], ...] = ()
    column: int | None = None


def questions(sheet: Sheet, told: Understanding, engines: Sequence[str] = ()) -> tuple[Question, ...]:
    """Everything that is still open. ``engines``: the names that can be chosen."""
    return (*_missing(told, engines), *_of_columns(sheet, told), *_of_all(sheet, told))


def _missing(told: Understanding, engines: Sequence[str]) -> list[Question]:
    found = []
    if told.first("date") is None:
        found.append(Question("column:date", say("Which column has the date?")))
    if told.first("distance") is None:
        found.append(Question("column:distance", say("Which column has the distance (km, miles or hours)?")))
    gaps = [told.columns[n] for n in told.gap_columns]
    if not gaps:
        found.append(Question("column:found", say("Which columns have the gaps?")))
    cylinders, kinds = told.first("cylinder") is not None, told.first("kind") is not None
    if gaps and told.first("valve") is None and not (cylinders and kinds) and not told.wide:
        found.append(
            Question(
                "column:valve", say("Which column says which valve it was, or which columns are of which?")
            )
        )
    if any(len(c.valve) == 1 for c in gaps) and not cylinders:
        found.append(Question("column:cylinder", say("Which column has the cylinder?")))
    if not told.engine and told.first("engine") is None:
        found.append(
            Question(
                "engine", say("Of which engine are these readings?"), tuple((name, name) for name in engines)
            )
        )
    return found


def _of_columns(sheet: Sheet, told: Understanding) -> list[Question]:
    found = []
    for number, column in enumerate(told.columns):
        name = told.name(number)
        if column.role == "date" and not column.order:
            found.append(_order(sheet, told, number, name))
        if column.role not in (*GAP_ROLES, "distance", "temperature"):
            continue
        if not column.decimal:
            example = _example(sheet, told, number)
            found.append(
                Question(
                    f"column:{number}:decimal",
                    say("{column}: is the mark in {example} a decimal comma or does it group thousands?",
                        column=name, example=example),
                    ((".", say("{example} is {value}", example=example, value=_as(example, "."))),
                     (",", say("{example} is {value}", example=example, value=_as(example, ",")))),
                    number,
                )
            )  # fmt: skip
        if not column.unit:
            choices = tuple((unit, table(UNIT_WORDS[unit])) for unit in units_of(column.role))
            found.append(
                Question(
                    f"column:{number}:unit",
                    say("{column}: in which unit is it?", column=name),
                    choices,
                    number,
                )
            )
    return found


def _order(sheet: Sheet, told: Understanding, number: int, name: str) -> Question:
    for row in sheet.rows[told.head :]:
        cell = row[number] if number < len(row) else None
        can_be = readings(cell, told.this_year) if isinstance(cell, str) else {}
        if isinstance(cell, str) and len(set(can_be.values())) > 1:
            text = say("{column}: which day is {cell}?", column=name, cell=cell)
            choices = tuple(
                (order, say("{day} ({order})", day=_day(day), order=table(ORDER_WORDS[order])))
                for order, day in can_be.items()
            )
            return Question(f"column:{number}:order", text, choices, number)
    text = say("{column}: in which order are day, month and year?", column=name)
    return Question(
        f"column:{number}:order", text, tuple((o, table(w)) for o, w in ORDER_WORDS.items()), number
    )


def _day(day: date) -> str:
    return day_words(day)


def _of_all(sheet: Sheet, told: Understanding) -> list[Question]:
    found = []
    if not told.single and any(_single_numbers(sheet, told, n) for n in told.gap_columns):
        found.append(
            Question(
                "single",
                say("One number is given for a gap found: what does it mean?"),
                tuple((value, table(words)) for value, words in SINGLE_WORDS.items()),
            )
        )
    if not told.letters:
        found.append(
            Question(
                "letters",
                say("Which valve is E?"),
                tuple((value, table(words)) for value, words in LETTER_WORDS.items()),
            )
        )
    return found


def _single_numbers(sheet: Sheet, told: Understanding, number: int) -> bool:
    if told.columns[number].role != "found":
        return False
    cells = (row[number] for row in sheet.rows[told.head :] if number < len(row))
    return any(not empty(cell) and not pair(cell) and not _open_ended(cell) for cell in cells)


def _open_ended(cell: Cell) -> bool:
    return isinstance(cell, str) and cell[:1] in ("<", ">")


def _example(sheet: Sheet, told: Understanding, number: int) -> str:
    for row in sheet.rows[told.head :]:
        cell = row[number] if number < len(row) else None
        if isinstance(cell, str):
            for part in number_parts(cell):
                parsed = typed(part)
                if parsed is not None and parsed.both:
                    return shown(part)
    return ""


def _as(example: str, decimal: str) -> str:
    parsed = typed_text(example)
    value = None if parsed is None else parsed.by(decimal)
    return "" if value is None else number_words(value, ".10g")
