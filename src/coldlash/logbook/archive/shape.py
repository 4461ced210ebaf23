"""How rows of the book stand in the JSON files of an archive, and the schemas that say so. Pure.

Three kinds of files: ``book.json`` (what belongs to no vehicle and no engine), ``vehicles.json``, and one for each
engine with all that belongs to it. A row stands on a line of its own; rows that belong to it stand below it and leave
out the field that says so. A field that is NULL is left out. Types and choices come from the tables themselves.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import CheckConstraint, Column

from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.archive.fields import JSON_TEXT, TABLES, meaning
from coldlash.logbook.columns import INT64_MAX, Flag, Numbers, Whole, storable

Row = dict[str, Any]
"""A row as the database holds it: whole numbers, text and NULL by column."""

VERSION = 1
"""Of the format. A newer coldlash that changes it must go on reading this one."""
FORMAT = "coldlash archive"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
_CHOICES = re.compile(r"(\w+) IN \(((?:'\w+'(?:, )?)+)\)")
_RANGE = re.compile(r"(\w+) BETWEEN (-?\d+) AND (-?\d+)")
_PATTERNS = {
    m.TIME_LIKE: r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$",
    m.DAY_LIKE: r"^\d{4}-\d\d-\d\d$",
}


@dataclass(frozen=True, slots=True)
class Part:
    """Rows of one table in a file: in which order, below which column, and the rows below each of them."""

    table: str
    order: tuple[str, ...]
    below: str | None = None
    parts: tuple[Part, ...] = ()

    @property
    def columns(self) -> tuple[Column[Any], ...]:
        """The columns that are written: all but the one that says what the rows belong to."""
        return _columns(self.table, self.below)

    def walk(self) -> Iterator[Part]:
        """This part and all below it."""
        yield self
        for part in self.parts:
            yield from part.walk()


BOOK = (
    Part("settings", ("key",)),
    Part("blade_sets", ("id",)),
    Part("imports", ("id",), parts=(Part("import_visits", ("visit_id",), "import_id"),)),
    Part("applied_requests", ("key",)),
)
VEHICLES = (
    Part(
        "vehicles",
        ("id",),
        parts=(
            Part("instruments", ("seq",), "vehicle_id"),
            Part("instrument_readings", ("seq",), "vehicle_id"),
        ),
    ),
)
ENGINE = Part(
    "engines",
    ("name_key",),
    parts=(
        Part("engine_files", ("version",), "engine_id"),
        Part(
            "visits",
            ("day", "distance_m", "opened_at", "id"),
            "engine_id",
            (Part("readings", ("seq",), "visit_id"), Part("visit_changes", ("seq",), "visit_id")),
        ),
        Part("fitments", ("seq",), "engine_id"),
        Part("work", ("seq",), "engine_id"),
        Part("tests", ("seq",), "engine_id"),
        Part("accepted_causes", ("seq",), "engine_id"),
        Part("attachments", ("id",), "engine_id"),
    ),
)
IN_JSON = frozenset(part.table for top in (*BOOK, *VEHICLES, ENGINE) for part in top.walk())
"""The tables whose rows stand in JSON files. ``attachment_files`` are the files in photos/ themselves."""


@cache
def _columns(table: str, below: str | None) -> tuple[Column[Any], ...]:
    return tuple(c for c in m.metadata.tables[table].columns if c.name != below)


@cache
def _kinds(table: str, below: str | None) -> tuple[tuple[str, type], ...]:
    return tuple((c.name, type(c.type)) for c in _columns(table, below))


# --- rows to text --------------------------------------------------------------------------------------------


def written(row: Mapping[str, Any], part: Part, more: Mapping[str, str] | None = None) -> Row:
    """A row as it stands in JSON; ``more`` is put in place of columns: {"toml": path} gives "toml_file"."""
    said: Row = {}
    for name, kind in _kinds(part.table, part.below):
        value = row[name]
        if more and name in more:
            said[f"{name}_file"] = more[name]
        elif value is None:
            continue
        elif kind is Flag:
            said[name] = bool(value)
        elif kind is Numbers:
            said[name] = json.loads(value)
        else:
            said[name] = value
    return said


def laid_out(value: Mapping[str, Any], margin: str = "") -> str:
    """An object as JSON text: what is plain on one line, rows that belong to it below, each on its own."""
    rows = {key: each for key, each in value.items() if type(each) is Rows}
    if not rows:
        return margin + json.dumps(value, ensure_ascii=False)
    plain = {key: each for key, each in value.items() if key not in rows}
    pieces = [json.dumps(plain, ensure_ascii=False)[1:-1]] if plain else []
    for key, each in rows.items():
        lines = ",\n".join(laid_out(row, margin + "  ") for row in each)
        pieces.append(f'"{key}": [\n{lines}\n{margin} ]' if each else f'"{key}": []')
    return margin + "{" + f",\n{margin} ".join(pieces) + "}"


class Rows(list[Row]):
    """Rows that belong to one object."""


# --- text to rows --------------------------------------------------------------------------------------------


def read_json(data: bytes) -> dict[str, Any]:
    """One JSON object, strictly: UTF-8, no field twice, no fractions. Raises ValueError in plain words."""
    try:
        value = json.loads(
            data.decode("utf-8"),
            object_pairs_hook=_once,
            parse_float=_no_fraction,
            parse_constant=_no_fraction,
        )
    except RecursionError:
        raise ValueError(say("is nested too deeply")) from None
    if not isinstance(value, dict):
        raise ValueError(say("is no JSON object"))
    return value


def _once(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError(say("has a field twice"))
    return made


def _no_fraction(text: str) -> None:
    raise ValueError(say("holds {text}, which is no whole number", text=text))


def read_row(
    said: object, part: Part, place: str, above: str | None = None
) -> tuple[Row, dict[str, list[Any]]]:
    """A row as the database holds it, and the rows below it as they were said.

    ``above`` is the id of the row it belongs to. Raises ValueError in plain words, with the place.
    """
    if not isinstance(said, dict):
        raise ValueError(say("{place} is no JSON object", place=place))
    rest = dict(said)
    row: Row = {} if part.below is None else {part.below: above}
    for column in part.columns:
        name = f"{column.name}_file" if (part.table, column.name) in FILED else column.name
        if name not in rest:
            if not column.nullable:
                raise ValueError(say("{place}: {name} is missing", place=place, name=name))
            row[column.name] = None
            continue
        row[column.name] = _stored(rest.pop(name), column, f"{place}: {name}")
    below: dict[str, list[Any]] = {}
    for each in part.parts:
        rows = rest.pop(each.table, None)
        if not isinstance(rows, list):
            raise ValueError(say("{place}: {name} is missing, or no list", place=place, name=each.table))
        below[each.table] = rows
    if rest:
        raise ValueError(say("{place}: {name!r} is not known", place=place, name=min(rest)))
    return row, below


FILED = frozenset({("engine_files", "toml")})
"""Columns whose content is a file of its own."""


def _stored(value: object, column: Column[Any], place: str) -> int | str:
    kind = column.type
    if isinstance(kind, Flag):
        if not isinstance(value, bool):
            raise ValueError(say("{place} is neither true nor false", place=place))
        return int(value)
    if isinstance(kind, Whole):
        return _whole(value, place)
    if isinstance(kind, Numbers):
        if not isinstance(value, list):
            raise ValueError(say("{place} is no list of whole numbers", place=place))
        return json.dumps([_whole(each, place) for each in value], separators=(",", ":"))
    if not isinstance(value, str) or not storable(value):
        raise ValueError(say("{place} is no text that a book can keep", place=place))
    if f"{column.table.name}.{column.name}" in JSON_TEXT:
        try:
            json.loads(value)
        except (ValueError, RecursionError):
            raise ValueError(say("{place} is no JSON text", place=place)) from None
    return value


def _whole(value: object, place: str) -> int:
    if type(value) is not int or abs(value) > INT64_MAX:
        raise ValueError(say("{place} is no whole number of 64 bits", place=place))
    return value


# --- schemas -------------------------------------------------------------------------------------------------


def schemas() -> dict[str, dict[str, Any]]:
    """The JSON Schema (2020-12) of each kind of file, by the schema's own file name."""
    return {
        "book.schema.json": _of_parts("What belongs to no vehicle and to no engine.", BOOK),
        "vehicles.schema.json": _of_parts("Vehicles and what their instruments showed.", VEHICLES),
        "engine.schema.json": {
            "$schema": DIALECT,
            "title": "An engine and all that belongs to it",
            **_row(ENGINE),
        },
        "manifest.schema.json": MANIFEST,
    }


def _of_parts(title: str, parts: Sequence[Part]) -> dict[str, Any]:
    return {
        "$schema": DIALECT,
        "title": title,
        "type": "object",
        "properties": {part.table: _list(part) for part in parts},
        "required": [part.table for part in parts],
        "additionalProperties": False,
    }


def _list(part: Part) -> dict[str, Any]:
    return {"description": TABLES[part.table], "type": "array", "items": _row(part)}


def _row(part: Part) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for column in part.columns:
        if (part.table, column.name) in FILED:
            words = "The file that holds it, in this archive."
            fields[f"{column.name}_file"] = {"description": words, "type": "string"}
        else:
            fields[column.name] = _field(column)
    needed = [
        f"{c.name}_file" if (part.table, c.name) in FILED else c.name for c in part.columns if not c.nullable
    ]
    return {
        "description": TABLES[part.table],
        "type": "object",
        "properties": fields | {below.table: _list(below) for below in part.parts},
        "required": needed + [below.table for below in part.parts],
        "additionalProperties": False,
    }


def _field(column: Column[Any]) -> dict[str, Any]:
    said: dict[str, Any] = {"description": meaning(column.table.name, column.name)}
    if isinstance(column.type, Flag):
        return said | {"type": "boolean"}
    if isinstance(column.type, Numbers):
        return said | {"type": "array", "items": {"type": "integer"}}
    if isinstance(column.type, Whole):
        said |= {"type": "integer"}
    else:
        said |= {"type": "string"}
        if f"{column.table.name}.{column.name}" in JSON_TEXT:
            said["contentMediaType"] = "application/json"
    for rule in column.table.constraints:
        if isinstance(rule, CheckConstraint):
            said |= _limits(column.name, str(rule.sqltext))
    return said


def _limits(column: str, rule: str) -> dict[str, Any]:
    choices, between = _CHOICES.fullmatch(rule), _RANGE.fullmatch(rule)
    if choices and choices[1] == column:
        return {"enum": re.findall(r"'(\w+)'", choices[2])}
    if between and between[1] == column:
        return {"minimum": int(between[2]), "maximum": int(between[3])}
    if rule == f"length({column}) = 36":
        return {"minLength": 36, "maxLength": 36}
    for like, pattern in _PATTERNS.items():
        if rule == f"{column} LIKE '{like}'":
            return {"pattern": pattern}
    return {}


MANIFEST: dict[str, Any] = {
    "$schema": DIALECT,
    "title": "What is in this archive",
    "type": "object",
    "properties": {
        "format": {"description": "Says that this is such an archive.", "const": FORMAT},
        "format_version": {"description": "How the archive is laid out.", "type": "integer", "minimum": 1},
        "book_revision": {"description": "Which tables and fields the book had.", "type": "string"},
        "rows": {
            "description": "How many rows there are of each table.",
            "type": "object",
            "additionalProperties": {"type": "integer", "minimum": 0},
        },
        "files": {
            "description": "Every other file, in the order in which they stand in the archive.",
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "name": {"description": "Its path in the archive.", "type": "string"},
                    "size": {"description": "How many bytes.", "type": "integer", "minimum": 0},
                    "sha256": {
                        "description": "SHA-256 checksum of its bytes, hexadecimal.",
                        "type": "string",
                        "pattern": "^[0-9a-f]{64}$",
                    },
                },
                "required": ["name", "size", "sha256"],
                "additionalProperties": False,
            },
        },
    },
    "required": ["format", "format_version", "book_revision", "rows", "files"],
    "additionalProperties": False,
}
