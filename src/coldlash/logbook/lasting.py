"""What is written once and lasts: instruments and what they showed, fitments, work, tests, accepted causes.

One record serves for what goes in and what comes out: the book fills ``id``, ``at`` and ``seq``. A row is never
altered. A correction is a row that ``replaces`` it, for a ``reason``; a ``withdrawn`` one takes it back. Units as in
``logbook.records``: metres, thousandths of an instrument's own unit, micrometres.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any, Literal, TypeVar, get_args

from sqlalchemy import ColumnElement, Connection, RowMapping, Table, select

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.records import (
    DISTANCE_M_MAX,
    GAP_UM_MAX,
    NOTE_MAX,
    PLAN_MAX,
    Meter,
    checked_choice,
    checked_day,
    checked_id,
    checked_name,
    checked_text,
    checked_time,
    checked_whole,
    new_id,
)
from coldlash.logbook.telling import label

How = Literal["first", "replaced", "repaired"]
WorkKind = Literal[
    "replaced", "ground", "retorqued", "refitted", "machined", "repaired", "cleaned", "rebuilt"
]
Part = Literal[
    "valve", "seat", "guide", "spring", "head", "gasket", "barrel", "lifter", "camshaft", "pushrod", "rocker",
    "stand", "adjuster", "stud", "engine", "other",
]  # fmt: skip
Direction = Literal["tighter", "looser"]
WORK_KINDS: tuple[WorkKind, ...] = get_args(WorkKind)
PARTS: tuple[Part, ...] = get_args(Part)
WORD_LENGTH = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasting:
    """What all of these have. ``id`` and ``at`` None = the book's; ``seq`` is the order in which the book got them."""

    note: str = ""
    by: str | None = None
    device: str | None = None
    replaces: str | None = None
    reason: str = ""
    withdrawn: bool = False
    id: str | None = None
    at: str | None = None
    seq: int = 0

    def _check(self, what: str) -> None:
        _set(self, "note", checked_text(self.note, f"{what}: note", NOTE_MAX))
        _set(self, "reason", checked_text(self.reason, f"{what}: reason", NOTE_MAX).strip())
        for name in ("by", "device"):
            if getattr(self, name) is not None:
                _set(self, name, checked_name(getattr(self, name), f"{what}: {name}"))
        for name in ("id", "replaces"):
            if getattr(self, name) is not None:
                _set(self, name, checked_id(getattr(self, name), f"{what}: {name}"))
        if self.at is not None:
            _set(self, "at", checked_time(self.at, f"{what}: at"))
        if self.withdrawn and self.replaces is None:
            raise InputError(say("{what}: a withdrawal must name the entry it takes back", what=label(what)))
        if self.replaces is not None and not self.reason:
            raise InputError(say("{what}: a correction needs a reason", what=label(what)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument(Lasting):
    """An odometer or hour meter put into a vehicle on ``day`` (None only for its first one: since ever).

    ``digits``: whole digits it shows before it rolls over, None = unknown. ``reading``: what it showed when put in,
    ``old_reading``: what the one before showed last; None = unknown. Raises InputError.
    """

    vehicle_id: str
    how: How
    unit: Meter
    digits: int | None = None
    day: date | None = None
    reading: int | None = None
    old_reading: int | None = None

    def __post_init__(self) -> None:
        self._check("instrument")
        checked_choice(self.how, "instrument: how", get_args(How))
        checked_choice(self.unit, "instrument: unit", get_args(Meter))
        if self.digits is not None:
            checked_whole(self.digits, "instrument: digits", 3, 9, "digits")
        if self.day is not None:
            checked_day(self.day, "instrument: day")
        elif self.how != "first":
            raise InputError(
                say("instrument: give the day on which it was repaired")
                if self.how == "repaired"
                else say("instrument: give the day on which it was replaced")
            )
        for name, what in (("reading", "reading"), ("old_reading", "last reading of the old one")):
            if getattr(self, name) is not None:
                checked_whole(getattr(self, name), f"instrument: {what}", 0, DISTANCE_M_MAX, "thousandths")
        if self.how == "first" and self.old_reading is not None:
            raise InputError(say("instrument: the first one has none before it whose reading could be given"))


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterReading(Lasting):
    """What a vehicle's instrument showed on ``day``, thousandths of its unit.

    ``turned_over``: how often it rolled over since the reading before. ``visit_id``: the visit it explains.
    Raises InputError.
    """

    vehicle_id: str
    day: date
    reading: int
    unit: Meter
    turned_over: int = 0
    visit_id: str | None = None

    def __post_init__(self) -> None:
        self._check("meter reading")
        checked_day(self.day, "meter reading: day")
        checked_whole(self.reading, "meter reading", 0, DISTANCE_M_MAX, "thousandths")
        checked_choice(self.unit, "meter reading: unit", get_args(Meter))
        checked_whole(self.turned_over, "meter reading: turned over", 0, 99, "times")
        if self.visit_id is not None:
            _set(self, "visit_id", checked_id(self.visit_id, "meter reading: visit id"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitment(Lasting):
    """An engine put into a vehicle, or (``vehicle_id`` None) taken out, on ``day``; None = since before the book.

    ``meter_reading``: what that vehicle's instrument showed then; of an engine taken out, the vehicle it was in.
    ``distance_m``: the engine's own distance then, if known. Raises InputError.
    """

    engine_id: str
    vehicle_id: str | None = None
    day: date | None = None
    meter_reading: int | None = None
    meter_unit: Meter | None = None
    distance_m: int | None = None

    def __post_init__(self) -> None:
        self._check("fitment")
        if self.day is not None:
            checked_day(self.day, "fitment: day")
        elif self.vehicle_id is None:
            raise InputError(say("fitment: give the day on which the engine was taken out"))
        if self.meter_reading is not None:
            checked_whole(self.meter_reading, "fitment: meter reading", 0, DISTANCE_M_MAX, "thousandths")
        if self.meter_unit is not None:
            checked_choice(self.meter_unit, "fitment: meter unit", get_args(Meter))
        if (self.meter_reading is None) != (self.meter_unit is None):
            raise InputError(say("fitment: give the meter's reading and its unit together, or neither"))
        if self.distance_m is not None:
            checked_whole(self.distance_m, "fitment: distance", 0, DISTANCE_M_MAX, "m")


@dataclass(frozen=True, slots=True, kw_only=True)
class AtEngine(Lasting):
    """Something at an engine, on ``day``, at a visit or between visits (``visit_id`` None).

    ``cylinders`` and ``valves`` say where; both empty = everywhere. Of a head, any cylinder under it stands for it.
    ``distance_m``: the engine's own, None = not known.
    """

    engine_id: str
    day: date
    visit_id: str | None = None
    distance_m: int | None = None
    cylinders: tuple[int, ...] = ()
    valves: tuple[Valve, ...] = ()

    def _check_where(self, what: str) -> None:
        self._check(what)
        checked_day(self.day, f"{what}: day")
        if self.visit_id is not None:
            _set(self, "visit_id", checked_id(self.visit_id, f"{what}: visit id"))
        if self.distance_m is not None:
            checked_whole(self.distance_m, f"{what}: distance", 0, DISTANCE_M_MAX, "m")
        for cylinder in self.cylinders:
            checked_whole(cylinder, f"{what}: cylinder", 1, 99, "cylinders")
        if any(not isinstance(valve, Valve) for valve in self.valves):
            raise InputError(
                say("{what}: {valves!r} are not valves, like E3", what=label(what), valves=self.valves)
            )
        _set(self, "cylinders", tuple(sorted(set(self.cylinders))))
        _set(self, "valves", tuple(sorted(set(self.valves))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Work(AtEngine):
    """One part that was worked on. Which gaps it moves is for ``logbook.parts`` to say. Raises InputError."""

    kind: WorkKind
    part: Part

    def __post_init__(self) -> None:
        self._check_where("work")
        checked_choice(self.kind, "work: kind", WORK_KINDS)
        checked_choice(self.part, "work: part", PARTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineTest(AtEngine):
    """A test other than a gap. ``kind`` is a name of ``wear``'s table of tests (``leak_down``), ``data`` what was read
    (JSON values by name), ``result`` one word; "" = none yet. Raises InputError.
    """

    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    result: str = ""

    def __post_init__(self) -> None:
        self._check_where("test")
        _set(self, "kind", _word(self.kind, "test: kind"))
        _set(self, "result", checked_text(self.result, "test: result", WORD_LENGTH))
        checked_text(_json(self.data, "test: data"), "test: data", PLAN_MAX)


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptedCause(AtEngine):
    """A cause that the owner holds for found. ``cause`` is a name of ``wear``'s causes. Raises InputError."""

    cause: str
    direction: Direction
    amount_um: int | None = None

    def __post_init__(self) -> None:
        self._check_where("accepted cause")
        _set(self, "cause", _word(self.cause, "accepted cause"))
        checked_choice(self.direction, "accepted cause: direction", get_args(Direction))
        if self.amount_um is not None:
            checked_whole(self.amount_um, "accepted cause: amount", 0, GAP_UM_MAX, "um")


def _word(value: str, what: str) -> str:
    name = checked_name(value, what)
    if len(name) > WORD_LENGTH:
        raise InputError(
            say(
                "{what}: {count} characters are too many; {limit} is the most",
                what=label(what),
                count=len(name),
                limit=WORD_LENGTH,
            )
        )
    return name


def _json(data: Mapping[str, Any], what: str) -> str:
    try:
        return json.dumps(
            dict(sorted(data.items())), ensure_ascii=False, allow_nan=False, separators=(",", ":")
        )
    except (TypeError, ValueError) as error:
        raise InputError(
            say("{what}: can't be kept as JSON ({error})", what=label(what), error=error)
        ) from error


def _set(record: object, name: str, value: object) -> None:
    object.__setattr__(record, name, value)


# --- rows -----------------------------------------------------------------------------------------------------------

Record = TypeVar("Record", bound=Lasting)
TABLES: dict[type[Lasting], tuple[Table, str]] = {
    Instrument: (m.instruments, "instrument"),
    MeterReading: (m.instrument_readings, "meter reading"),
    Fitment: (m.fitments, "fitment"),
    Work: (m.work, "work"),
    EngineTest: (m.tests, "test"),
    AcceptedCause: (m.accepted_causes, "accepted cause"),
}


def add(connection: Connection, record: Record, at: str) -> Record:
    """Write one; sent again with the same id and content it changes nothing. Returns it as kept. Raises InputError."""
    kind = type(record)
    table, what = TABLES[kind]
    if record.id is not None:
        there = connection.execute(select(table).where(table.c.id == record.id)).mappings().first()
        if there is not None:
            kept = _read(kind, there)
            if replace(kept, seq=0, at=record.at or kept.at) != replace(
                record, seq=0, at=record.at or kept.at
            ):
                raise InputError(
                    say(
                        "the id {id} already belongs to another {what}; nothing was changed; make a new id",
                        id=record.id,
                        what=label(what),
                    )
                )
            return kept
    if record.replaces is not None:
        _check_replaced(connection, record, table, what)
    values = _values(replace(record, id=record.id or new_id(), at=at))
    connection.execute(table.insert().values(values))
    row = connection.execute(select(table).where(table.c.id == values["id"])).mappings().one()
    return _read(kind, row)


def _check_replaced(connection: Connection, record: Lasting, table: Table, what: str) -> None:
    old = connection.execute(select(table).where(table.c.id == record.replaces)).mappings().first()
    if old is None:
        raise InputError(
            say(
                "there is no {what} {replaces} to correct; nothing was written",
                what=label(what),
                replaces=record.replaces,
            )
        )
    owner = "engine_id" if "engine_id" in table.c else "vehicle_id"
    if old[owner] != getattr(record, owner):
        raise InputError(
            say("that {what} is another engine's; nothing was written", what=label(what))
            if owner == "engine_id"
            else say("that {what} is another vehicle's; nothing was written", what=label(what))
        )
    newer = connection.execute(select(table.c.at).where(table.c.replaces == record.replaces)).scalar()
    if newer is not None:
        raise InputError(
            say(
                "that {what} was corrected already ({newer}); nothing was written; look at it again",
                what=label(what),
                newer=newer,
            )
        )


def standing(
    connection: Connection, kind: type[Record], *wanted: ColumnElement[bool], everything: bool = False
) -> tuple[Record, ...]:
    """Those that stand, by day (none first), then the order in which the book got them.

    ``everything``: corrected and withdrawn ones too.
    """
    table, _ = TABLES[kind]
    rows = connection.execute(select(table).where(*wanted)).mappings().all()
    gone = {row["replaces"] for row in rows}
    kept = [row for row in rows if everything or (row["id"] not in gone and not row["withdrawn"])]
    kept.sort(key=lambda row: (row["day"] or "", row["seq"]))
    return tuple(_read(kind, row) for row in kept)


def one(connection: Connection, kind: type[Record], id: str) -> Record:
    """One by id. Raises InputError when there is none."""
    table, what = TABLES[kind]
    row = (
        connection.execute(select(table).where(table.c.id == checked_id(id, f"{what} id"))).mappings().first()
    )
    if row is None:
        raise InputError(say("this book has no {what} with the id {id}", what=label(what), id=id))
    return _read(kind, row)


def _values(record: Lasting) -> dict[str, Any]:
    values: dict[str, Any] = {f.name: getattr(record, f.name) for f in fields(record) if f.name != "seq"}
    if values.get("day") is not None:
        values["day"] = values["day"].isoformat()
    if "valves" in values:
        values["valves"] = json.dumps([str(valve) for valve in values["valves"]], separators=(",", ":"))
    if "data" in values:
        values["data"] = _json(values["data"], "test: data")
    return values


def _read(kind: type[Record], row: RowMapping) -> Record:
    values = dict(row)
    if values.get("day") is not None:
        values["day"] = date.fromisoformat(values["day"])
    if "valves" in values:
        values["valves"] = tuple(Valve.parse(name) for name in json.loads(values["valves"]))
    if "data" in values:
        values["data"] = json.loads(values["data"])
    return kind(**values)
