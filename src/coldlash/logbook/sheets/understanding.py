"""How a sheet is understood, column by column: kept with the import as JSON, and corrected by a person before it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, get_args

from coldlash.errors import InputError
from coldlash.language import mark, say
from coldlash.logbook.sheets.cells import letters
from coldlash.logbook.sheets.days import ORDERS
from coldlash.logbook.sheets.names import GAP_ROLES, Role, kind_letter, valve_parts
from coldlash.logbook.sheets.numbers import DECIMALS

ROLES: tuple[Role, ...] = get_args(Role)
ROLE_WORDS: dict[Role, str] = {
    "date": mark("the date"),
    "distance": mark("the distance"),
    "temperature": mark("the engine’s temperature"),
    "engine": mark("the engine"),
    "valve": mark("the valve"),
    "cylinder": mark("the cylinder"),
    "kind": mark("intake or exhaust"),
    "found": mark("the gap found, one number"),
    "found_go": mark("found: the blade that went"),
    "found_nogo": mark("found: the blade that did not go"),
    "found_feel": mark("found: free or drag"),
    "adjusted": mark("whether it was adjusted"),
    "left": mark("the blade it was set on"),
    "left_go": mark("left: the blade that went"),
    "left_nogo": mark("left: the blade that did not go"),
    "left_feel": mark("left: free or drag"),
    "note": mark("a note"),
    "by": mark("who measured"),
    "ignore": mark("not used"),
}
"""What each role is called."""

GAP_UNITS = ("mm", "in", "thou", "0.01mm", "um")
DISTANCE_UNITS = ("km", "mile", "h")
TEMPERATURE_UNITS = ("C", "F")
SINGLE = ("went", "felt")
LETTERS = ("en", "de")
DISTANCE_IS = ("own", "meter")
EXPLAINED = ("rolled over", "replaced")
UM_EACH = {"mm": 1000.0, "in": 25_400.0, "thou": 25.4, "0.01mm": 10.0, "um": 1.0}
"""Micrometres in each unit of gaps (inch: 25.4 mm, exact)."""


def units_of(role: Role) -> tuple[str, ...]:
    """The units that a column of this role can have."""
    if role in GAP_ROLES:
        return GAP_UNITS
    return {"distance": DISTANCE_UNITS, "temperature": TEMPERATURE_UNITS}.get(role, ())


@dataclass(frozen=True, slots=True)
class Column:
    """One column. ``valve``: of a gap column that stands for one valve, a code of ``names.valve_parts`` ("X3", or "X"
    where another column has the cylinder); ``unit``, ``decimal``, ``order``: "" = not told, or not needed.
    """

    heading: str = ""
    role: Role = "ignore"
    valve: str = ""
    unit: str = ""
    decimal: str = ""
    order: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Understanding:
    """A sheet as it is understood.

    ``head``: how many rows stand above the readings, the heading included; ``head_rows``: of how many rows the heading
    is (0 = there is none). ``single``: what one number for a gap found means, "went" (that blade went) or "felt"
    (between the blades next to it, of ``blades_um``). ``letters``: "en" (I and E) or "de" (E and A). ``distance_is``:
    "own" (the engine's own) or "meter" (what the meter showed). ``fill_down``: an empty date means the one above.
    ``engine``: its name in the book, "" where a column has it. ``backwards``: a falling own distance is taken as it is.
    ``explained``: why the meter shows less, by line. ``this_year``: of two-digit years the last one up to it.
    "" = not told yet.
    """

    sheet: str
    head: int
    head_rows: int
    columns: tuple[Column, ...]
    this_year: int
    single: str = ""
    letters: str = ""
    distance_is: str = "own"
    fill_down: bool = False
    blades_um: tuple[int, ...] = ()
    engine: str = ""
    backwards: bool = False
    explained: Mapping[int, str] = field(default_factory=dict)

    def first(self, role: Role) -> int | None:
        """The number of the (first) column with a role."""
        return next((n for n, column in enumerate(self.columns) if column.role == role), None)

    @property
    def gap_columns(self) -> tuple[int, ...]:
        """The numbers of the columns with gaps."""
        return tuple(n for n, column in enumerate(self.columns) if column.role in GAP_ROLES)

    @property
    def wide(self) -> bool:
        """True when gap columns stand for valves, so that one row holds several."""
        return any(self.columns[n].valve for n in self.gap_columns)

    def name(self, number: int) -> str:
        """What a column is called: by its heading, else as spreadsheets do."""
        heading = self.columns[number].heading if number < len(self.columns) else ""
        return heading or say("column {letter}", letter=letters(number))

    def as_json(self) -> str:
        """As text, to be kept."""
        data = {"kind": "sheet", **asdict(self)}
        data["explained"] = {str(line): how for line, how in self.explained.items()}
        return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Understanding:
        """Back from text. Raises InputError when it is none."""
        try:
            data = json.loads(text)
            data.pop("kind")
            data["columns"] = tuple(Column(**column) for column in data["columns"])
            data["blades_um"] = tuple(data["blades_um"])
            data["explained"] = {int(line): how for line, how in data["explained"].items()}
            return cls(**data)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise InputError(say("this is not how a sheet is understood ({error})", error=error)) from None


def valve_words(code: str, letters_mean: str) -> str:
    """A valve code in the book's own letters ("E3", "E"), or as it stands where these can't be told."""
    letter = kind_letter(code[:1], letters_mean)
    return (letter or code[:1]) + code[1:] if code else ""


# --- corrections ------------------------------------------------------------------------------------------------

_CHOICES: dict[str, tuple[str, ...]] = {"single": SINGLE, "letters": LETTERS, "distance_is": DISTANCE_IS}
_FLAGS = ("fill_down", "backwards")


def corrected(understanding: Understanding, answers: Mapping[str, str]) -> Understanding:
    """The same with a person's answers. Raises InputError for an answer that is none.

    Keys: ``single``, ``letters``, ``distance_is``, ``fill_down``, ``backwards`` ("yes", "no"), ``engine``,
    ``explained:LINE`` and, for each column by its number from 0, ``column:N:role`` (a role, or a gap role and a valve,
    "found:E3", "left:I"), ``column:N:unit``, ``column:N:decimal``, ``column:N:order``. Empty answers change nothing,
    but for ``explained``, where they take the explanation back.
    """
    changes: dict[str, Any] = {}
    columns = list(understanding.columns)
    explained = dict(understanding.explained)
    for key, value in sorted(answers.items(), key=lambda item: (not item[0].endswith(":role"), item[0])):
        part, _, rest = key.partition(":")
        if part == "explained":
            _explain(explained, rest, value)
        elif not value:
            continue
        elif part == "column":
            number, _, what = rest.partition(":")
            if not number.isdecimal() or int(number) >= len(columns):
                raise InputError(say("there is no column {number} in this sheet", number=number))
            columns[int(number)] = _column(columns[int(number)], what, value)
        elif part == "engine":
            changes["engine"] = value
        elif part in _CHOICES:
            changes[part] = _one_of(part, value, _CHOICES[part])
        elif part in _FLAGS:
            changes[part] = _one_of(part, value, ("yes", "no")) == "yes"
        else:
            raise InputError(say("there is nothing called {key!r} to be told about a sheet", key=key))
    return replace(understanding, columns=tuple(columns), explained=explained, **changes)


def _explain(explained: dict[int, str], line: str, how: str) -> None:
    if not line.isdecimal():
        raise InputError(say("{line!r} is not the number of a row", line=line))
    explained.pop(int(line), None)
    if how:
        explained[int(line)] = _one_of(say("the meter in row {line}", line=line), how, EXPLAINED)


def _column(column: Column, what: str, value: str) -> Column:
    if what == "role":
        role_name, _, valve = value.partition(":")
        role = next((role for role in ROLES if role == role_name), None)
        if role is None:
            raise InputError(
                say(
                    "{given!r} is nothing a column can be; it can be {roles}",
                    given=role_name,
                    roles=", ".join(ROLES),
                )
            )
        code = _code(valve) if valve else ""
        if code and role not in GAP_ROLES:
            raise InputError(say("{role}: only columns of gaps belong to a valve", role=role))
        same_kind = units_of(role) == units_of(column.role)
        return replace(column, role=role, valve=code, unit=column.unit if same_kind else "")
    if what == "unit":
        return replace(column, unit=_one_of(what, value, units_of(column.role)))
    if what == "decimal":
        return replace(column, decimal=_one_of(what, value, DECIMALS))
    if what == "order":
        return replace(column, order=_one_of(what, value, ORDERS))
    raise InputError(say("there is nothing called {key!r} to be told about a column", key=what))


def _code(valve: str) -> str:
    parts = valve_parts(valve)
    if parts is None:
        raise InputError(
            say("{given!r} is not a valve; write I or E and the cylinder, like I1 or E3", given=valve)
        )
    kind, number = parts
    # A person who corrects speaks the book's own letters.
    return ("I" if kind in ("I", "G") else "X") + ("" if number is None else str(number))


def _one_of(what: str, value: str, choices: tuple[str, ...]) -> str:
    if value not in choices:
        raise InputError(
            say(
                "{what}: {given!r} is not one of {choices}",
                what=what,
                given=value,
                choices=", ".join(choices) or "-",
            )
        )
    return value
