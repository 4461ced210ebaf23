"""What can be saved of a damaged book, in a new one, and a list of what was lost.

The damaged file is only read. Its tables are followed page by page; rows on pages to which nothing leads any more are
known by their shape and by the rules of the tables. Every row goes into the new book under all its rules, and what
refers to something lost is mended where that is honest: an engine's lost file is taken from another version of it, a
correction whose predecessor is lost stands for itself. Each such thing is in the list.
"""

from __future__ import annotations

import hashlib
import json
import mmap
import os
import shutil
import sqlite3
import tempfile
import tomllib
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Column

from coldlash.errors import BookError
from coldlash.logbook import models as m
from coldlash.logbook.bookfile import MAGIC, file_of, make_file, open_file
from coldlash.logbook.columns import Numbers
from coldlash.logbook.copying import NOT_COPIED, put_when_whole, refuse_existing
from coldlash.logbook.migrations import HEAD, known_revisions
from coldlash.logbook.pages import HEADER_BYTES, Found, Pages, Row, Value

MAY_BE_DELETED = ("settings", "attachment_files")
"""Tables from which the book itself deletes: a missing number there is no loss."""
PAGE_SIZES = tuple(2**n for n in range(9, 17))
DETAIL_LENGTH = 300
NEAR = 2
"""In how many characters two ids may differ and still be the same one, damaged."""

KINDS = {"INTEGER": int, "TEXT": str, "BLOB": bytes}

Values = dict[str, Value]


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What was saved: the new book, rows by table, and in plain words what was lost or had to be mended."""

    book: Path
    rows: dict[str, int]
    lost: tuple[str, ...]


@dataclass(slots=True)
class _Table:
    name: str
    columns: tuple[str, ...]
    kinds: tuple[str, ...]
    needed: tuple[bool, ...]
    lengths: Mapping[str, int]
    """Columns that hold ids or checksums, and how long those are."""
    number: str | None
    """The column that is the row's own number, if any."""
    rows: dict[int, Values] = field(default_factory=dict)

    def fits(self, row: Row) -> bool:
        """Could this row be one of this table's, by the number and kinds of its values?"""
        if len(row.values) != len(self.columns) or row.rowid < 1:
            return False
        for name, kind, needed, value in zip(self.columns, self.kinds, self.needed, row.values, strict=True):
            if name == self.number:
                if value is not None:
                    return False
            elif value is None:
                if needed:
                    return False
            elif type(value) is not KINDS[kind] or not self._length_fits(name, value):
                return False
        return True

    def _length_fits(self, name: str, value: Value) -> bool:
        return not isinstance(value, str) or len(value) == self.lengths.get(name, len(value))

    def add(self, row: Row) -> bool:
        """Take a row unless that number is taken: what was read first was led to. True if it was taken."""
        if row.rowid in self.rows:
            return False
        values = dict(zip(self.columns, row.values, strict=True))
        if self.number is not None:
            values[self.number] = row.rowid
        self.rows[row.rowid] = values
        return True


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
        with _opened(source, Path(folder)) as pages:
            revision, tables = _read(pages, Path(folder), lost)
        if not any(tables[name].rows for name in ("vehicles", "engines", "visits", "readings")):
            raise BookError(f"{source}: nothing of a book could be found in this file; nothing was made")
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
                    f"{source}: what was saved does not make a sound book ({left[0]}); nothing was made"
                )
    return Salvaged(target, rows, tuple(lost))


# --- reading ----------------------------------------------------------------------------------------------------


@contextmanager
def _opened(source: Path, folder: Path) -> Iterator[Pages]:
    """The pages of a private copy, with what its write-ahead log holds. Raises BookError."""
    copy = folder / "damaged"
    try:
        shutil.copyfile(source, copy)
        log = Path(f"{source}-wal")
        if log.exists():
            shutil.copyfile(log, f"{copy}-wal")
    except OSError as error:
        raise BookError(
            f"{source}: can't be read ({error.strerror}); check it and its permissions"
        ) from error
    if copy.stat().st_size == 0:
        raise BookError(f"{source} is empty; nothing can be saved from it")
    with suppress(sqlite3.Error, UnicodeDecodeError), closing(sqlite3.connect(copy)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with copy.open("rb") as file:
        head = file.read(HEADER_BYTES)
        size = int.from_bytes(head[16:18], "big")
        size = 65_536 if size == 1 else size
        if (
            head[:16] == MAGIC
            and size in PAGE_SIZES
            and int.from_bytes(head[68:72], "big") not in (m.APPLICATION_ID, 0)
            and b"alembic_version" not in file.read(size)
        ):
            raise BookError(f"{source} is a database of another program; nothing was made")
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            view = memoryview(data)
            try:
                yield Pages(view, size if size in PAGE_SIZES else 4096)
            finally:
                view.release()


def _read(pages: Pages, folder: Path, lost: list[str]) -> tuple[str, dict[str, _Table]]:
    """The schema revision of the damaged book and every row that can be found, table by table."""
    pages.forget_free()
    roots = _roots(pages)
    versions = pages.table(roots["alembic_version"]).rows if "alembic_version" in roots else []
    revision = next((str(row.values[0]) for row in versions if row.values), HEAD)
    known = known_revisions()[1]
    if revision not in known and revision.isdecimal() and int(revision) > int(HEAD):
        raise BookError(
            "this book was made by a newer coldlash; nothing was made; update coldlash and try again"
        )
    tables = _tables_of(revision if revision in known else HEAD, folder)
    missing = _pages_missing(pages)
    if missing:
        lost.append(f"the file was cut short: its last {missing} pages of {pages.size} bytes are gone")
    broken: dict[int, list[_Table]] = {}
    written: dict[str, int] = {}
    for name, root in roots.items():
        found = pages.table(root) if name not in tables else _follow(pages, root, tables[name])
        if name == "sqlite_sequence":
            written = {str(row.values[0]): row.values[1] for row in found.rows if _is_count(row)}  # type: ignore[misc]
        if name in tables and found.broken_pages:
            lost.append(
                f"{name}: {len(found.broken_pages)} pages are broken or gone; rows were looked for elsewhere"
            )
            broken |= {number: [tables[name]] for number in found.broken_pages if number <= pages.count}
    everything = list(tables.values())
    for number in pages.orphans():
        broken[number] = everything
    unsure: list[tuple[Row, list[_Table]]] = []
    for number, candidates in sorted(broken.items()):
        for row in pages.rows_in(number, lambda row: any(t.fits(row) for t in candidates)):  # noqa: B023
            _place(row, [t for t in candidates if t.fits(row)], unsure)
    _place_by_reference(unsure, tables, lost)
    _count_gaps(tables, written, lost)
    return (revision if revision in known else HEAD), tables


def _roots(pages: Pages) -> dict[str, int]:
    """The first page of each table, as far as the file still says so; those of indexes are marked as known."""
    roots = {}
    for row in pages.table(1).rows:
        if len(row.values) != 5:
            continue
        kind, name, _, root, _ = row.values
        if not isinstance(root, int) or not isinstance(name, str) or not 1 < root <= pages.count:
            continue
        if kind == "table":
            roots[name] = root
        elif kind == "index":
            pages.skip_index(root)
    return roots


def _follow(pages: Pages, root: int, table: _Table) -> Found:
    found = pages.table(root)
    for row in found.rows:
        if table.fits(row):
            table.add(row)
    return found


def _tables_of(revision: str, folder: Path) -> dict[str, _Table]:
    """The tables of a book of that revision, in the order in which they refer to each other."""
    fresh = folder / "fresh"
    make_file(fresh, to=revision)
    with closing(sqlite3.connect(fresh)) as db:
        there = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        tables = {}
        for table in m.metadata.sorted_tables:
            if table.name in NOT_COPIED or table.name not in there:
                continue
            columns = db.execute(f"PRAGMA table_info({table.name})").fetchall()
            keys = [row[1] for row in columns if row[5]]
            tables[table.name] = _Table(
                table.name,
                tuple(row[1] for row in columns),
                tuple(row[2] for row in columns),
                tuple(bool(row[3]) for row in columns),
                {row[1]: _length(table.columns[row[1]]) for row in columns if _length(table.columns[row[1]])},
                keys[0]
                if len(keys) == 1 and {row[1]: row[2] for row in columns}[keys[0]] == "INTEGER"
                else None,
            )
    return tables


def _length(column: Column[Any]) -> int:
    """How long an id or checksum in that column is; 0 for other columns."""
    named = {column.name, *(key.column.name for key in column.foreign_keys)}
    return 64 if "sha256" in named else 36 if "id" in named else 0


def _place(row: Row, candidates: Sequence[_Table], unsure: list[tuple[Row, list[_Table]]]) -> None:
    """Give a row that nothing leads to back to its table."""
    fitting = [t for t in candidates if _keeps_rules(t, row)]
    if len(fitting) == 1:
        fitting[0].add(row)
    elif fitting:
        unsure.append((row, fitting))


def _place_by_reference(
    unsure: Sequence[tuple[Row, list[_Table]]], tables: Mapping[str, _Table], lost: list[str]
) -> None:
    """Rows that could be of several tables: it is the one all of whose references lead somewhere."""
    ids = {(t.name, column): set() for t in tables.values() for column in t.lengths}  # type: ignore[var-annotated]
    for (name, column), known in ids.items():
        known |= {values[column] for values in tables[name].rows.values()}
    for row, fitting in unsure:
        leading = [
            t
            for t in fitting
            if all(
                value is None or value in ids.get((other, its), {value})
                for column, other, its in references(t.name)
                if (value := row.values[t.columns.index(column)]) is None or column != "replaces"
            )
        ]
        if len(leading) == 1:
            leading[0].add(row)
        else:
            names = " or ".join(t.name for t in fitting)
            lost.append(f"a row that could be one of {names}: {_detail(row.values)}")


def references(name: str) -> list[tuple[str, str, str]]:
    """Column, other table, its column; of several columns together the one that names the row. ``replaces`` last."""
    found = []
    for key in m.metadata.tables[name].foreign_key_constraints:
        naming = next((e for e in key.elements if e.column.name in ("id", "sha256")), key.elements[0])
        found.append((naming.parent.name, key.referred_table.name, naming.column.name))
    return sorted(found, key=lambda reference: reference[0] == "replaces")


def _pages_missing(pages: Pages) -> int:
    """How many pages the file should have had more, by its own word (trusted only where that can be)."""
    head = pages.page(1)[:HEADER_BYTES]
    should = int.from_bytes(head[28:32], "big")
    trusted = head[:16] == MAGIC and head[24:28] == head[92:96]
    return max(0, should - pages.count) if trusted else 0


def _is_count(row: Row) -> bool:
    return len(row.values) == 2 and isinstance(row.values[1], int)


def _keeps_rules(table: _Table, row: Row) -> bool:
    """Does a row keep the rules of its table? Asked of SQLite, which knows them best."""
    values = dict(zip(table.columns, row.values, strict=True))
    if table.number is not None:
        values[table.number] = row.rowid
    return _RULES.keeps(table.name, values)


class _Rules:
    """An empty book in memory, of the newest version, to try rows in."""

    def __init__(self) -> None:
        self._db: sqlite3.Connection | None = None

    def keeps(self, name: str, values: Mapping[str, Value]) -> bool:
        """True when the row breaks none of the table's checks. References are not looked at."""
        if self._db is None:
            from sqlalchemy import create_engine

            engine = create_engine("sqlite://")
            with engine.begin() as connection:
                m.metadata.create_all(connection)
                text = "\n".join(connection.connection.dbapi_connection.iterdump())  # type: ignore[union-attr]
            engine.dispose()
            self._db = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
            self._db.executescript(text)
        self._db.execute("SAVEPOINT trial")
        try:
            _insert(self._db, name, values)
        except sqlite3.Error:
            return False
        else:
            return True
        finally:
            self._db.execute("ROLLBACK TO trial")
            self._db.execute("RELEASE trial")


_RULES = _Rules()


def _count_gaps(tables: Mapping[str, _Table], written: Mapping[str, int], lost: list[str]) -> None:
    """Rows are numbered as they are written; a number that is missing was a row. ``written``: the last, if known."""
    for table in tables.values():
        if table.name in MAY_BE_DELETED:
            continue
        end = written.get(table.name, 0) + 1
        last = 0
        for number in (*sorted(table.rows), *([end] if end > max(table.rows, default=0) else [])):
            if number > last + 1:
                which = f"number {last + 1}" if number == last + 2 else f"numbers {last + 1} to {number - 1}"
                lost.append(f"{table.name}: {number - last - 1} could not be found ({which})")
            last = number


# --- writing ----------------------------------------------------------------------------------------------------


class _Filling:
    """Puts rows into a new book, under all its rules."""

    def __init__(
        self, db: sqlite3.Connection, tables: Mapping[str, _Table], now: datetime, lost: list[str]
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
                    f"{table.name}: the id of a row was damaged and set right: {_detail(values)}"
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

    def _all_at_once(self, table: _Table, rows: Sequence[Values]) -> bool:
        self._db.execute("SAVEPOINT every")
        try:
            for values in rows:
                _insert(self._db, table.name, values)
        except sqlite3.Error:
            self._db.execute("ROLLBACK TO every")
            return False
        finally:
            self._db.execute("RELEASE every")
        return True

    def _one(self, table: _Table, values: Values) -> None:
        """One row, mended where what it refers to is lost."""
        mended = self._mended(table, dict(values))
        if mended is None:
            return
        try:
            _insert(self._db, table.name, mended)
        except sqlite3.Error as error:
            self._lose(table, values, str(error))

    def _lose(self, table: _Table, values: Values, why: str) -> None:
        self._lost.append(f"{table.name}: {_detail(values)} ({why})")

    # What the database takes but the book could not read, or what is plainly not what it was.

    def _readable(self, table: _Table, values: Values) -> bool:
        model = m.metadata.tables[table.name]
        for column in model.columns:
            value = values.get(column.name)
            if column.name == "day" and isinstance(value, str) and not _is_day(value):
                self._lose(table, values, f"{value!r} is no day")
                return False
            if isinstance(column.type, Numbers) and not _is_numbers(value):
                self._lost.append(
                    f"{table.name} {values.get('id')!r}: {column.name} could not be read, left empty"
                )
                values[column.name] = "[]"
        if table.name == "engine_files" and not _is_texts(values["tables"]):
            self._lost.append(f"engine_files {values['id']!r}: its lobe tables could not be read, left out")
            values["tables"] = "{}"
        if table.name == "attachment_files":
            octets = values["bytes"]
            if not isinstance(octets, bytes) or hashlib.sha256(octets).hexdigest() != values["sha256"]:
                self._lost.append(
                    f"a photo is not what it was and was left out ({str(values['sha256'])[:12]}...)"
                )
                return False
        return True

    def _mended(self, table: _Table, values: Values) -> Values | None:
        """The row with references to what is lost taken out or replaced; None where it can't stand."""
        for column, other, other_column in references(table.name):
            value = values[column]
            if value is None or other not in self._tables or self._there(other, other_column, value):
                continue
            near = self._near(other, other_column, value)
            if near is not None:
                values[column] = near
                self._lost.append(f"{table.name}: a damaged reference was set right: {_detail(values)}")
            elif column == "replaces":
                values["replaces"] = self._before(table, values)
                self._lost.append(f"{table.name}: what {_detail(values)} corrected is lost")
            elif column == "file_sha256":
                values |= {"file_sha256": None, "removed_at": self._at}
                self._lost.append(f"attachments: the picture {values['name']!r} is lost; its entry stays")
            elif not self._needed(table, column):
                values[column] = None
                self._lost.append(f"{table.name}: {_detail(values)} referred to one of {other} that is lost")
            else:
                self._lose(table, values, f"what it belongs to in {other} is lost")
                return None
        return values

    def _near(self, table: str, column: str, value: Value) -> str | None:
        """The one id that differs from this one in a character or two: ids are random, so that is no accident."""
        known = [str(row[0]) for row in self._db.execute(f"SELECT {column} FROM {table}")]  # noqa: S608
        near = [id for id in known if _differing(id, str(value)) <= NEAR]
        return near[0] if len(near) == 1 else None

    def _needed(self, table: _Table, column: str) -> bool:
        return table.needed[table.columns.index(column)]

    def _there(self, table: str, column: str, value: Value) -> bool:
        row = self._db.execute(f"SELECT 1 FROM {table} WHERE {column} = ?", (value,)).fetchone()  # noqa: S608
        return row is not None

    def _before(self, table: _Table, values: Values) -> Value:
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
                    f"engine_files: version {version} of the file of {name} can't be read ({error})"
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
        _insert(
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
        self._lost.append(f"engines: the name of an engine is lost; it is now called {name}")

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
            _insert(self._db, "engine_files", values)
        except sqlite3.Error as error:
            self._lost.append(f"engine_files: a version of the file of {name} is lost ({error})")
            return
        how = (
            "another version stands in its place"
            if others
            else "give it again: coldlash add engine FILE --again"
        )
        self._lost.append(f"engine_files: a version of the file of {name} is lost; {how}")


LOST_FILE = (
    "# The engine file was lost when the book was damaged. Give it again: coldlash add engine FILE --again\n"
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


def _insert(db: sqlite3.Connection, name: str, values: Mapping[str, Any]) -> None:
    names = ", ".join(f'"{column}"' for column in values)
    db.execute(
        f"INSERT INTO {name} ({names}) VALUES ({', '.join('?' * len(values))})",  # noqa: S608
        tuple(values.values()),
    )


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


def _detail(values: Mapping[str, Value] | Sequence[Value]) -> str:
    """What a row says, for a list that its owner reads: enough to write it down again."""
    if isinstance(values, Mapping):
        said = [
            f"{name} {value}"
            for name, value in values.items()
            if value not in (None, "", 0)
            and name not in ("seq", "withdrawn")
            and not isinstance(value, bytes)
        ]
    else:
        said = [str(value) for value in values if value is not None and not isinstance(value, bytes)]
    text = ", ".join(said)
    return text if len(text) <= DETAIL_LENGTH else f"{text[:DETAIL_LENGTH]}..."
