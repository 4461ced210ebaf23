"""Rows of visits, readings and changes to records and back: three queries, however many visits."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import fields
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, Table, select

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.records import FieldValue, NewReading, Reading, Visit, VisitChange


def no_visit(visit_id: str) -> InputError:
    """The error for an id the book does not know."""
    return InputError(say("this book has no visit with the id {visit_id}", visit_id=visit_id))


def load(connection: Connection, wanted: ColumnElement[bool], *, readings: bool = True) -> tuple[Visit, ...]:
    """Visits with readings and changes in three queries, by day, distance and time of opening.

    Without ``readings`` in one: only the visits' own fields, as they stand.
    """
    rows = (
        connection.execute(
            select(m.visits)
            .where(wanted)
            .order_by(m.visits.c.day, m.visits.c.distance_m, m.visits.c.opened_at, m.visits.c.id)
        )
        .mappings()
        .all()
    )
    if not readings:
        return tuple(_visit(row, (), ()) for row in rows)
    histories: dict[str, list[Reading]] = defaultdict(list)
    names = m.readings.c.keys()
    for each in connection.execute(_belonging(m.readings, wanted)):
        reading = as_reading(dict(zip(names, each, strict=True)))
        histories[reading.visit_id].append(reading)
    changes: dict[str, list[VisitChange]] = defaultdict(list)
    for kept in connection.execute(_belonging(m.visit_changes, wanted)).mappings():
        changes[kept["visit_id"]].append(_change(kept))
    return tuple(_visit(row, histories[row["id"]], changes[row["id"]]) for row in rows)


def _belonging(table: Table, wanted: ColumnElement[bool]) -> Select[Any]:
    return select(table).join(m.visits, m.visits.c.id == table.c.visit_id).where(wanted).order_by(table.c.seq)


def one_visit(connection: Connection, visit_id: str) -> Visit:
    """One visit by id. Raises InputError when there is none."""
    found = load(connection, m.visits.c.id == visit_id)
    if not found:
        raise no_visit(visit_id)
    return found[0]


def _visit(row: RowMapping, history: Iterable[Reading], changes: Iterable[VisitChange]) -> Visit:
    rows = tuple(history)
    gone = {reading.replaces for reading in rows}
    values = dict(row)
    values["day"] = date.fromisoformat(values["day"])
    return Visit(
        **values,
        history=rows,
        changes=tuple(changes),
        readings={(r.valve, r.step): r for r in rows if r.id not in gone and not r.withdrawn},
    )


_VALVES: dict[str, Valve] = {}


def as_reading(row: RowMapping | dict[str, Any]) -> Reading:
    """A row of the readings table as a record."""
    values = dict(row)
    name = values["valve"]
    valve = _VALVES.get(name)
    if valve is None:
        valve = _VALVES[name] = Valve.parse(name)
    values["valve"] = valve
    return Reading(**values)


def reading_values(visit_id: str, new: NewReading, reading_id: str, at: str) -> dict[str, Any]:
    """A reading to write, as the columns of its table."""
    values = {f.name: getattr(new, f.name) for f in fields(NewReading)}
    values |= {"valve": str(new.valve), "id": reading_id, "visit_id": visit_id, "at": at}
    return values


def field_text(value: FieldValue) -> str:
    """A field of a visit as the text kept in its history (JSON)."""
    return json.dumps(value.isoformat() if isinstance(value, date) else value, ensure_ascii=False)


def _field_value(field: str, text: str) -> FieldValue:
    value = json.loads(text)
    if field == "day":
        return date.fromisoformat(value)
    return tuple(value) if isinstance(value, list) else value


def _change(row: RowMapping) -> VisitChange:
    values = dict(row)
    values["old"] = _field_value(values["field"], values["old"])
    values["new"] = _field_value(values["field"], values["new"])
    return VisitChange(**values)
