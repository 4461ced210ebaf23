"""What stands in the shed: settings, vehicles, engines with their files, blade sets. A part of the book.

Names are unique whatever their case. An engine or vehicle is meant by its name or its id.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, Table, func, select

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook import lasting
from coldlash.logbook import models as m
from coldlash.logbook.keeping import Kept
from coldlash.logbook.lasting import Fitment
from coldlash.logbook.records import (
    FILE_MAX,
    NOTE_MAX,
    WORD_MAX,
    BladeSet,
    BladeUnit,
    EngineEntry,
    EngineFile,
    Meter,
    Vehicle,
    checked_blades,
    checked_choice,
    checked_id,
    checked_name,
    checked_text,
    checked_time,
    checked_whole,
    name_key,
    new_id,
    utc_text,
)
from coldlash.logbook.telling import label


class Shelf:
    """What every part of the book needs: its file and its clock."""

    def __init__(self, file: Kept, now: Callable[[], datetime] | None) -> None:
        self._file = file
        self._now = now

    def _at(self, at: str | None, what: str = "at") -> str:
        """The time given, or the book's clock. Raises InputError when there is neither."""
        if at is not None:
            return checked_time(at, what)
        if self._now is None:
            raise InputError(
                say("{what}: no time was given and this book has no clock; give one", what=label(what))
            )
        return utc_text(self._now())


class Shed(Shelf):
    """Settings, vehicles, engines, blade sets."""

    # --- settings ---------------------------------------------------------------------------------------

    def settings(self) -> dict[str, str]:
        """The owner's settings (units and the like) by key."""
        with self._file.reading() as connection:
            rows = connection.execute(select(m.settings).order_by(m.settings.c.key))
            return {row.key: row.value for row in rows}

    def set_setting(self, key: str, value: str | None) -> None:
        """Keep one setting; None takes it out. Raises InputError, BookError."""
        key = checked_name(key, "setting")
        with self._file.writing() as connection:
            connection.execute(m.settings.delete().where(m.settings.c.key == key))
            if value is not None:
                kept = checked_text(value, f"setting {key}", NOTE_MAX)
                connection.execute(m.settings.insert().values(key=key, value=kept))

    # --- vehicles ---------------------------------------------------------------------------------------

    def vehicles(self) -> tuple[Vehicle, ...]:
        """All vehicles by name."""
        with self._file.reading() as connection:
            rows = connection.execute(select(m.vehicles).order_by(m.vehicles.c.name_key)).mappings()
            return tuple(_vehicle(row) for row in rows)

    def vehicle(self, vehicle: str) -> Vehicle:
        """One vehicle by name or id. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return _vehicle(find(connection, m.vehicles, vehicle, "vehicle"))

    def add_vehicle(
        self,
        name: str,
        *,
        meter: Meter = "km",
        meter_digits: int | None = None,
        note: str = "",
        id: str | None = None,
    ) -> Vehicle:
        """Add a vehicle whose meter counts km, miles or hours. Raises InputError, BookError."""
        checked_choice(meter, "meter", ("km", "mile", "h"))
        if meter_digits is not None:
            checked_whole(meter_digits, "meter digits", 3, 9, "digits")
        values = {
            "name": checked_name(name, "vehicle"),
            "meter": meter,
            "meter_digits": meter_digits,
            "note": checked_text(note, "note", NOTE_MAX),
        }
        with self._file.writing() as connection:
            return _vehicle(_add_named(connection, m.vehicles, values, id, "vehicle"))

    def rename_vehicle(self, vehicle: str, name: str) -> Vehicle:
        """Give a vehicle another name. Raises InputError, BookError."""
        with self._file.writing() as connection:
            return _vehicle(_rename(connection, m.vehicles, vehicle, name, "vehicle"))

    # --- engines ----------------------------------------------------------------------------------------

    def engines(self) -> tuple[EngineEntry, ...]:
        """All engines by name, each with its current file."""
        with self._file.reading() as connection:
            rows = connection.execute(_current_engines().order_by(m.engines.c.name_key)).mappings()
            return tuple(_entry(row) for row in rows)

    def engine(self, engine: str) -> EngineEntry:
        """One engine by name or id, with its current file. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return self._entry_of(connection, engine)

    def _entry_of(self, connection: Connection, engine: str) -> EngineEntry:
        id = find(connection, m.engines, engine, "engine")["id"]
        return _entry(connection.execute(_current_engines().where(m.engines.c.id == id)).mappings().one())

    def add_engine(
        self,
        name: str,
        toml: str,
        tables: Mapping[str, str] | None = None,
        *,
        vehicle: str | None = None,
        id: str | None = None,
        at: str | None = None,
    ) -> EngineEntry:
        """Add an engine: the text of its engine file and of the lobe tables the file names, by file name.

        ``vehicle``: the one it is in, since before the book. The texts are kept as they are; whether they describe an
        engine is for the caller to know.
        Raises InputError, BookError.
        """
        file = _file_texts(toml, tables)
        given = None if id is None else checked_id(id, "engine id")
        name = checked_name(name, "engine")
        with self._file.writing() as connection:
            vehicle_id = None if vehicle is None else find(connection, m.vehicles, vehicle, "vehicle")["id"]
            there = None if given is None else by_id(connection, m.engines, given)
            if there is not None:
                first = _version(connection, there["id"], 1)
                if (there["name"], first["toml"], first["tables"]) != (name, *file):
                    raise _id_taken(there["id"], _named("engine", there["name"]))
                return self._entry_of(connection, there["id"])
            created = self._at(at)
            engine_id = given or new_id()
            _add_named(
                connection,
                m.engines,
                {"name": name, "vehicle_id": vehicle_id, "created": created},
                engine_id,
                "engine",
            )
            _add_file(connection, engine_id, 1, file, None, created)
            if vehicle_id is not None:
                lasting.add(connection, Fitment(engine_id=engine_id, vehicle_id=vehicle_id), created)
            return self._entry_of(connection, engine_id)

    def rename_engine(self, engine: str, name: str) -> EngineEntry:
        """Give an engine another name. Raises InputError, BookError."""
        with self._file.writing() as connection:
            row = _rename(connection, m.engines, engine, name, "engine")
            return self._entry_of(connection, row["id"])

    def new_engine_file(
        self,
        engine: str,
        toml: str,
        tables: Mapping[str, str] | None = None,
        *,
        id: str | None = None,
        at: str | None = None,
    ) -> EngineFile:
        """Add a version of an engine's file. Visits made so far keep theirs. The current texts again: no change.

        Raises InputError, BookError.
        """
        file = _file_texts(toml, tables)
        given = None if id is None else checked_id(id, "engine file id")
        with self._file.writing() as connection:
            entry = self._entry_of(connection, engine)
            there = None if given is None else by_id(connection, m.engine_files, given)
            if there is not None:
                if (there["engine_id"], there["toml"], there["tables"]) != (entry.id, *file):
                    raise _id_taken(
                        there["id"], say("version {version} of an engine file", version=there["version"])
                    )
                return _engine_file(there)
            if (entry.file.toml, _tables_text(entry.file.tables)) == file:
                return entry.file
            version = entry.file.version + 1
            _add_file(connection, entry.id, version, file, given, self._at(at))
            return _engine_file(_version(connection, entry.id, version))

    def engine_files(self, engine: str) -> tuple[EngineFile, ...]:
        """Every version of an engine's file, the first one first."""
        with self._file.reading() as connection:
            id = find(connection, m.engines, engine, "engine")["id"]
            rows = connection.execute(
                select(m.engine_files)
                .where(m.engine_files.c.engine_id == id)
                .order_by(m.engine_files.c.version)
            ).mappings()
            return tuple(_engine_file(row) for row in rows)

    # --- blades -----------------------------------------------------------------------------------------

    def blade_sets(self) -> tuple[BladeSet, ...]:
        """All blade sets by name."""
        with self._file.reading() as connection:
            rows = connection.execute(select(m.blade_sets).order_by(m.blade_sets.c.name_key)).mappings()
            return tuple(_blade_set(row) for row in rows)

    def blade_set(self, name: str) -> BladeSet:
        """One blade set by name or id. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return _blade_set(find(connection, m.blade_sets, name, "blade set"))

    def add_blade_set(
        self,
        name: str,
        blades_um: tuple[int, ...],
        *,
        unit: BladeUnit = "mm",
        stacks_of: int = 1,
        id: str | None = None,
    ) -> BladeSet:
        """Add a set of blades, rising, in micrometres; ``unit`` is what is stamped on them ("mm" or "in").

        ``stacks_of`` 2 = two blades may be put together. Raises InputError, BookError.
        """
        checked_choice(unit, "unit", ("mm", "in"))
        blades = checked_blades(blades_um, "blades")
        if not blades:
            raise InputError(say("blade set {name!r}: has no blades; give at least one", name=name))
        values = {
            "name": checked_name(name, "blade set"),
            "unit": unit,
            "blades_um": blades,
            "stacks_of": checked_whole(stacks_of, "stacks of", 1, 2, "blades"),
        }
        with self._file.writing() as connection:
            return _blade_set(_add_named(connection, m.blade_sets, values, id, "blade set"))


# --- rows ---------------------------------------------------------------------------------------------------


def by_id(connection: Connection, table: Table, id: str) -> RowMapping | None:
    """The row with this id, or None."""
    return connection.execute(select(table).where(table.c.id == id)).mappings().first()


def find(connection: Connection, table: Table, wanted: str, what: str) -> RowMapping:
    """The row meant by a name or an id. Raises InputError naming those there are."""
    key = name_key(checked_name(wanted, what))
    rows = select(table).where((table.c.name_key == key) | (table.c.id == wanted.strip().lower()))
    found = connection.execute(rows).mappings().all()
    if not found:
        names = connection.execute(select(table.c.name).order_by(table.c.name_key)).scalars().all()
        raise InputError(_no_such(what, wanted, names))
    return next((row for row in found if row["name_key"] == key), found[0])


def _add_named(
    connection: Connection, table: Table, values: dict[str, Any], id: str | None, what: str
) -> RowMapping:
    given = None if id is None else checked_id(id, f"{what} id")
    there = None if given is None else by_id(connection, table, given)
    if there is not None:
        if any(there[name] != value for name, value in values.items()):
            raise _id_taken(there["id"], _named(what, there["name"]))
        return there
    row_id = given or new_id()
    _refuse_taken_name(connection, table, values["name"], None, what)
    connection.execute(table.insert().values(id=row_id, name_key=name_key(values["name"]), **values))
    return connection.execute(select(table).where(table.c.id == row_id)).mappings().one()


def _rename(connection: Connection, table: Table, wanted: str, name: str, what: str) -> RowMapping:
    row = find(connection, table, wanted, what)
    name = checked_name(name, what)
    _refuse_taken_name(connection, table, name, row["id"], what)
    connection.execute(
        table.update().where(table.c.id == row["id"]).values(name=name, name_key=name_key(name))
    )
    return connection.execute(select(table).where(table.c.id == row["id"])).mappings().one()


def _refuse_taken_name(
    connection: Connection, table: Table, name: str, own_id: str | None, what: str
) -> None:
    there = connection.execute(select(table).where(table.c.name_key == name_key(name))).mappings().first()
    if there is not None and there["id"] != own_id:
        raise InputError(_name_taken(what, there["name"]))


def _no_such(what: str, wanted: str, names: Sequence[str]) -> str:
    have = {"wanted": wanted, "names": ", ".join(names)}
    match what:
        case "engine" if names:
            return say("this book has no engine {wanted!r}; it has {names}", **have)
        case "engine":
            return say("this book has no engine {wanted!r}; it has none yet", **have)
        case "vehicle" if names:
            return say("this book has no vehicle {wanted!r}; it has {names}", **have)
        case "vehicle":
            return say("this book has no vehicle {wanted!r}; it has none yet", **have)
        case _ if names:
            return say("this book has no blade set {wanted!r}; it has {names}", **have)
        case _:
            return say("this book has no blade set {wanted!r}; it has none yet", **have)


def _name_taken(what: str, name: str) -> str:
    match what:
        case "engine":
            return say("this book already has an engine {name!r}; choose another name", name=name)
        case "vehicle":
            return say("this book already has a vehicle {name!r}; choose another name", name=name)
        case _:
            return say("this book already has a blade set {name!r}; choose another name", name=name)


def _named(what: str, name: str) -> str:
    """Something of the book with its name, as the owner of an id."""
    match what:
        case "engine":
            return say("engine {name!r}", name=name)
        case "vehicle":
            return say("vehicle {name!r}", name=name)
        case _:
            return say("blade set {name!r}", name=name)


def _id_taken(id: str, owner: str) -> InputError:
    return InputError(
        say(
            "the id {id} already belongs to {owner}, with other content; nothing was changed; make a new id",
            id=id,
            owner=owner,
        )
    )


def _vehicle(row: RowMapping) -> Vehicle:
    return Vehicle(**{name: row[name] for name in ("id", "name", "meter", "meter_digits", "note")})


def _blade_set(row: RowMapping) -> BladeSet:
    return BladeSet(**{name: row[name] for name in ("id", "name", "unit", "blades_um", "stacks_of")})


def _current_engines() -> Select[Any]:
    newest = (
        select(m.engine_files.c.engine_id, func.max(m.engine_files.c.version).label("version"))
        .group_by(m.engine_files.c.engine_id)
        .subquery()
    )
    files = m.engine_files
    return (
        select(
            m.engines,
            files.c.id.label("file_id"),
            files.c.version,
            files.c.toml,
            files.c.tables,
            files.c.since,
        )
        .join(newest, newest.c.engine_id == m.engines.c.id)
        .join(files, (files.c.engine_id == newest.c.engine_id) & (files.c.version == newest.c.version))
    )


def _entry(row: RowMapping) -> EngineEntry:
    file = EngineFile(
        id=row["file_id"],
        engine_id=row["id"],
        version=row["version"],
        toml=row["toml"],
        tables=json.loads(row["tables"]),
        since=row["since"],
    )
    return EngineEntry(
        id=row["id"], name=row["name"], vehicle_id=row["vehicle_id"], created=row["created"], file=file
    )


def _engine_file(row: RowMapping) -> EngineFile:
    return EngineFile(
        id=row["id"],
        engine_id=row["engine_id"],
        version=row["version"],
        toml=row["toml"],
        tables=json.loads(row["tables"]),
        since=row["since"],
    )


def _version(connection: Connection, engine_id: str, version: int) -> RowMapping:
    files = m.engine_files
    return (
        connection.execute(
            select(files).where((files.c.engine_id == engine_id) & (files.c.version == version))
        )
        .mappings()
        .one()
    )


def _tables_text(tables: Mapping[str, str]) -> str:
    return json.dumps(dict(sorted(tables.items())), ensure_ascii=False, separators=(",", ":"))


def _file_texts(toml: str, tables: Mapping[str, str] | None) -> tuple[str, str]:
    texts = {
        checked_text(name, "lobe table name", WORD_MAX): checked_text(body, f"lobe table {name}", FILE_MAX)
        for name, body in (tables or {}).items()
    }
    return checked_text(toml, "engine file", FILE_MAX), _tables_text(texts)


def _add_file(
    connection: Connection,
    engine_id: str,
    version: int,
    file: tuple[str, str],
    id: str | None,
    since: str,
) -> None:
    connection.execute(
        m.engine_files.insert().values(
            id=id or new_id(), engine_id=engine_id, version=version, toml=file[0], tables=file[1], since=since
        )
    )
