"""What can be saved of a damaged book, in a new one, and a list of what was lost.

The damaged file is only read. Its tables are followed page by page; rows on pages to which nothing leads any more are
known by their shape and by the rules of the tables. Every row goes into the new book under all its rules, and what
refers to something lost is mended where that is honest: an engine's lost file is taken from another version of it, a
correction whose predecessor is lost stands for itself. Each such thing is in the list.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import tempfile
import tomllib
import uuid
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from coldlash.errors import BookError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.bookfile import file_of, make_file, open_file
from coldlash.logbook.columns import Numbers
from coldlash.logbook.copying import put_when_whole, refuse_existing
from coldlash.logbook.finding import Table, Values, detail, insert, opened, read, references
from coldlash.logbook.pages import Value

NEAR = 2
"""In how many characters two ids may differ and still be the same one, damaged."""


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What was saved: the new book, rows by table, and in plain words what was lost or had to be mended."""

    book: Path
    rows: dict[str, int]
    lost: tuple[str, ...]


def salvage(
    damaged: str | os.PathLike[str],
    to: str | os.PathLike[str],
    *,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Salvaged:
    """Save what can be saved of a damaged book's file in a new book at a free path. Raises BookError.

    ``now`` stands where something had to be put in the place of what was lost.
    """
    source, target = file_of(damaged), file_of(to)
    refuse_existing(target)
    lost: list[str] = []
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".salvage-") as folder:
        with opened(source, Path(folder)) as pages:
            revision, tables = read(pages, Path(folder), lost)
        if not any(tables[name].rows for name in ("vehicles", "engines", "visits", "readings")):
            raise BookError(
                say(
                    "{source}: nothing of a book could be found in this file; nothing was made", source=source
                )
            )
        with put_when_whole(target) as building:
            make_file(building, to=revision)
            with closing(sqlite3.connect(building, isolation_level=None)) as db:
                rows = _Filling(db, tables, now(), lost).fill()
            book = open_file(building)
            try:
                left = book.check()
            finally:
                book.close()
            if left:
                raise BookError(
                    say(
                        "{source}: what was saved does not make a sound book ({fault}); nothing was made",
                        source=source,
                        fault=left[0],
                    )
                )
    return Salvaged(target, rows, tuple(lost))


# --- writing ----------------------------------------------------------------------------------------------------


class _Filling:
    """Puts rows into a new book, under all its rules."""

    def __init__(
        self, db: sqlite3.Connection, tables: Mapping[str, Table], now: datetime, lost: list[str]
    ) -> None:
        self._db = db
        self._tables = tables
        self._at = now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
        self._lost = lost

    def fill(self) -> dict[str, int]:
        """Every row that can stand; returns rows by table."""
        self._db.execute("PRAGMA foreign_keys = ON")
        self._db.execute("BEGIN IMMEDIATE")
        self._set_ids_right()
        for table in self._tables.values():
            rows = [table.rows[number] for number in sorted(table.rows)]
            whole = [values for values in rows if self._readable(table, values)]
            if not self._all_at_once(table, whole):
                for values in whole:
                    self._one(table, values)
            self._after(table.name)
        counts = {name: self._count(name) for name in self._tables}
        self._db.execute("COMMIT")
        return counts

    def _set_ids_right(self) -> None:
        """An id that is none any more gets back the one by which others know it, or a new one."""
        for table in self._tables.values():
            referred: set[str] | None = None
            for values in table.rows.values():
                id = values.get("id")
                if not isinstance(id, str) or _is_id(id):
                    continue
                if referred is None:
                    referred = self._ids_referred_to(table.name)
                near = [other for other in referred if _differing(id, other) <= NEAR]
                values["id"] = near[0] if len(near) == 1 else _made_id(id)
                self._lost.append(
                    say(
                        "{table}: the id of a row was damaged and set right: {detail}",
                        table=table.name,
                        detail=detail(values),
                    )
                )

    def _ids_referred_to(self, name: str) -> set[str]:
        return {
            str(values[column])
            for table in self._tables.values()
            for column, other, _ in references(table.name)
            if other == name
            for values in table.rows.values()
            if _is_id(values[column])
        }

    def _count(self, name: str) -> int:
        return int(self._db.execute(f"SELECT count(*) FROM {name}").fetchone()[0])  # noqa: S608

    def _all_at_once(self, table: Table, rows: Sequence[Values]) -> bool:
        self._db.execute("SAVEPOINT every")
        try:
            for values in rows:
                insert(self._db, table.name, values)
        except sqlite3.Error:
            self._db.execute("ROLLBACK TO every")
            return False
        finally:
            self._db.execute("RELEASE every")
        return True

    def _one(self, table: Table, values: Values) -> None:
        """One row, mended where what it refers to is lost."""
        mended = self._mended(table, dict(values))
        if mended is None:
            return
        try:
            insert(self._db, table.name, mended)
        except sqlite3.Error as error:
            self._lose(table, values, str(error))

    def _lose(self, table: Table, values: Values, why: str) -> None:
        self._lost.append(f"{table.name}: {detail(values)} ({why})")

    # What the database takes but the book could not read, or what is plainly not what it was.

    def _readable(self, table: Table, values: Values) -> bool:
        model = m.metadata.tables[table.name]
        for column in model.columns:
            value = values.get(column.name)
            if column.name == "day" and isinstance(value, str) and not _is_day(value):
                self._lose(table, values, f"{value!r} is no day")
                return False
            if isinstance(column.type, Numbers) and not _is_numbers(value):
                self._lost.append(
                    say(
                        "{table} {id!r}: {column} could not be read, left empty",
                        table=table.name,
                        id=values.get("id"),
                        column=column.name,
                    )
                )
                values[column.name] = "[]"
        if table.name == "engine_files" and not _is_texts(values["tables"]):
            self._lost.append(
                say("engine_files {id!r}: its lobe tables could not be read, left out", id=values["id"])
            )
            values["tables"] = "{}"
        if table.name == "attachment_files":
            octets = values["bytes"]
            if not isinstance(octets, bytes) or hashlib.sha256(octets).hexdigest() != values["sha256"]:
                self._lost.append(
                    say(
                        "a photo is not what it was and was left out ({checksum}...)",
                        checksum=str(values["sha256"])[:12],
                    )
                )
                return False
        return True

    def _mended(self, table: Table, values: Values) -> Values | None:
        """The row with references to what is lost taken out or replaced; None where it can't stand."""
        for column, other, other_column in references(table.name):
            value = values[column]
            if value is None or other not in self._tables or self._there(other, other_column, value):
                continue
            near = self._near(other, other_column, value)
            if near is not None:
                values[column] = near
                self._lost.append(
                    say(
                        "{table}: a damaged reference was set right: {detail}",
                        table=table.name,
                        detail=detail(values),
                    )
                )
            elif column == "replaces":
                values["replaces"] = self._before(table, values)
                self._lost.append(
                    say("{table}: what {detail} corrected is lost", table=table.name, detail=detail(values))
                )
            elif column == "file_sha256":
                values |= {"file_sha256": None, "removed_at": self._at}
                self._lost.append(
                    say("attachments: the picture {name!r} is lost; its entry stays", name=values["name"])
                )
            elif not self._needed(table, column):
                values[column] = None
                self._lost.append(
                    say(
                        "{table}: {detail} referred to one of {other} that is lost",
                        table=table.name,
                        detail=detail(values),
                        other=other,
                    )
                )
            else:
                self._lose(table, values, say("what it belongs to in {other} is lost", other=other))
                return None
        return values

    def _near(self, table: str, column: str, value: Value) -> str | None:
        """The one id that differs from this one in a character or two: ids are random, so that is no accident."""
        known = [str(row[0]) for row in self._db.execute(f"SELECT {column} FROM {table}")]  # noqa: S608
        near = [id for id in known if _differing(id, str(value)) <= NEAR]
        return near[0] if len(near) == 1 else None

    def _needed(self, table: Table, column: str) -> bool:
        return table.needed[table.columns.index(column)]

    def _there(self, table: str, column: str, value: Value) -> bool:
        row = self._db.execute(f"SELECT 1 FROM {table} WHERE {column} = ?", (value,)).fetchone()  # noqa: S608
        return row is not None

    def _before(self, table: Table, values: Values) -> Value:
        """The last row of the same valve and step that was saved, for a reading whose own predecessor is lost."""
        if table.name != "readings":
            return None
        row = self._db.execute(
            "SELECT id FROM readings WHERE visit_id = ? AND valve = ? AND step = ? ORDER BY seq DESC LIMIT 1",
            (values["visit_id"], values["valve"], values["step"]),
        ).fetchone()
        return None if row is None else str(row[0])

    # What others refer to is put in place before they come.

    def _after(self, name: str) -> None:
        if name == "engines":
            for engine in self._referred("engine_id"):
                if not self._there("engines", "id", engine) and self._near("engines", "id", engine) is None:
                    self._stand_in_engine(engine)
        elif name == "engine_files":
            visits = self._tables["visits"].rows.values()
            for whose, file in dict.fromkeys((v["engine_id"], v["engine_file_id"]) for v in visits):
                gone = (
                    not self._there("engine_files", "id", file)
                    and self._near("engine_files", "id", file) is None
                )
                if gone and self._there("engines", "id", whose):
                    self._stand_in_file(whose, file)
            for (without,) in self._db.execute(
                "SELECT id FROM engines WHERE id NOT IN (SELECT engine_id FROM engine_files)"
            ).fetchall():
                self._stand_in_file(without, _made_id(without))
            self._look_at_files()

    def _look_at_files(self) -> None:
        """Text that was altered may still be text; a file that can't be read any more is worth a word."""
        for name, version, text in self._db.execute(
            "SELECT e.name, f.version, f.toml FROM engine_files f JOIN engines e ON e.id = f.engine_id"
        ):
            try:
                tomllib.loads(text)
            except tomllib.TOMLDecodeError as error:
                self._lost.append(
                    say(
                        "engine_files: version {version} of the file of {name} can't be read ({error})",
                        version=version,
                        name=name,
                        error=error,
                    )
                )

    def _referred(self, column: str) -> list[str]:
        return list(
            dict.fromkeys(
                str(values[column])
                for table in self._tables.values()
                if column in table.columns
                for values in table.rows.values()
                if isinstance(values[column], str) and len(str(values[column])) == 36
            )
        )

    def _stand_in_engine(self, engine: str) -> None:
        name = f"Salvaged engine {engine[:8]}"
        insert(
            self._db,
            "engines",
            {
                "id": engine,
                "name": name,
                "name_key": name.casefold(),
                "vehicle_id": None,
                "created": self._at,
            },
        )
        self._lost.append(say("engines: the name of an engine is lost; it is now called {name}", name=name))

    def _stand_in_file(self, engine: Value, file: Value) -> None:
        """A file of the same engine in the place of a lost one; where none is left, a plain word that it is lost."""
        name = self._db.execute("SELECT name FROM engines WHERE id = ?", (engine,)).fetchone()[0]
        others = self._db.execute(
            "SELECT version, toml, tables FROM engine_files WHERE engine_id = ? ORDER BY version DESC",
            (engine,),
        ).fetchall()
        used = {row[0] for row in others}
        version = next(number for number in range(1, len(used) + 2) if number not in used)
        text, tables = (others[0][1], others[0][2]) if others else (LOST_FILE, "{}")
        values: Values = {"id": file, "engine_id": engine, "version": version, "toml": text}
        values |= {"tables": tables, "since": self._at}
        try:
            insert(self._db, "engine_files", values)
        except sqlite3.Error as error:
            self._lost.append(
                say("engine_files: a version of the file of {name} is lost ({error})", name=name, error=error)
            )
            return
        self._lost.append(
            say(
                "engine_files: a version of the file of {name} is lost; another version stands in its place",
                name=name,
            )
            if others
            else say(
                "engine_files: a version of the file of {name} is lost; "
                "give it again: coldlash add engine FILE --name NAME --again",
                name=name,
            )
        )


LOST_FILE = (
    "# The engine file was lost when the book was damaged.\n"
    "# Give it again: coldlash add engine FILE --name NAME --again\n"
)


def _made_id(name: str) -> str:
    """A new id, the same each time for the same damage."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, name))


def _is_id(value: Value) -> bool:
    try:
        return isinstance(value, str) and str(uuid.UUID(value)) == value
    except ValueError:
        return False


def _differing(one: str, other: str) -> int:
    return sum(a != b for a, b in zip(one, other, strict=False))


def _is_day(value: str) -> bool:
    try:
        date.fromisoformat(value)
    except ValueError:
        return False
    return True


def _is_numbers(value: Value) -> bool:
    try:
        read = json.loads(value) if isinstance(value, str) else None
    except ValueError:
        return False
    return isinstance(read, list) and all(type(number) is int for number in read)


def _is_texts(value: Value) -> bool:
    try:
        read = json.loads(value) if isinstance(value, str) else None
    except ValueError:
        return False
    return isinstance(read, dict) and all(isinstance(text, str) for text in read.values())
