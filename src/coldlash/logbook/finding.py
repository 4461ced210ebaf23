"""The rows of a damaged book, found in its file: by following its tables, then by the shape of what is left.

A row on a page to which nothing leads is known by the number and kinds of its values, by the checks of the tables
(SQLite is asked, in an empty book in memory) and by what it refers to.
"""

from __future__ import annotations

import mmap
import shutil
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Column

from coldlash.errors import BookError
from coldlash.language import say, say_in
from coldlash.logbook import models as m
from coldlash.logbook.bookfile import MAGIC, make_file
from coldlash.logbook.copying import NOT_COPIED
from coldlash.logbook.migrations import HEAD, known_revisions
from coldlash.logbook.pages import HEADER_BYTES, Found, Pages, Row, Value

MAY_BE_DELETED = ("settings", "attachment_files")
"""Tables from which the book itself deletes: a missing number there is no loss."""
PAGE_SIZES = tuple(2**n for n in range(9, 17))
DETAIL_LENGTH = 300
KINDS = {"INTEGER": int, "TEXT": str, "BLOB": bytes}

Values = dict[str, Value]


@dataclass(slots=True)
class Table:
    """A table of the damaged book and the rows found of it, by their numbers."""

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


@contextmanager
def opened(source: Path, folder: Path) -> Iterator[Pages]:
    """The pages of a private copy, with what its write-ahead log holds. Raises BookError."""
    copy = folder / "damaged"
    try:
        shutil.copyfile(source, copy)
        log = Path(f"{source}-wal")
        if log.exists():
            shutil.copyfile(log, f"{copy}-wal")
    except OSError as error:
        raise BookError(
            say(
                "{source}: can't be read ({reason}); check it and its permissions",
                source=source,
                reason=error.strerror,
            )
        ) from error
    if copy.stat().st_size == 0:
        raise BookError(say("{source} is empty; nothing can be saved from it", source=source))
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
            raise BookError(say("{source} is a database of another program; nothing was made", source=source))
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            view = memoryview(data)
            try:
                yield Pages(view, size if size in PAGE_SIZES else 4096)
            finally:
                view.release()


def read(pages: Pages, folder: Path, lost: list[str]) -> tuple[str, dict[str, Table]]:
    """The schema revision of the damaged book and every row that can be found, table by table."""
    pages.forget_free()
    roots = _roots(pages)
    versions = pages.table(roots["alembic_version"]).rows if "alembic_version" in roots else []
    revision = next((str(row.values[0]) for row in versions if row.values), HEAD)
    known = known_revisions()[1]
    if revision not in known and revision.isdecimal() and int(revision) > int(HEAD):
        raise BookError(
            say("this book was made by a newer coldlash; nothing was made; update coldlash and try again")
        )
    tables = _tables_of(revision if revision in known else HEAD, folder)
    missing = _pages_missing(pages)
    if missing:
        lost.append(
            say(
                "the file was cut short: its last {missing} pages of {size} bytes are gone",
                missing=missing,
                size=pages.size,
            )
        )
    broken: dict[int, list[Table]] = {}
    written: dict[str, int] = {}
    for name, root in roots.items():
        found = pages.table(root) if name not in tables else _follow(pages, root, tables[name])
        if name == "sqlite_sequence":
            written = {str(row.values[0]): row.values[1] for row in found.rows if _is_count(row)}  # type: ignore[misc]
        if name in tables and found.broken_pages:
            lost.append(
                say(
                    "{table}: {count} pages are broken or gone; rows were looked for elsewhere",
                    table=name,
                    count=len(found.broken_pages),
                )
            )
            broken |= {number: [tables[name]] for number in found.broken_pages if 1 <= number <= pages.count}
    everything = list(tables.values())
    for number in pages.orphans():
        broken[number] = everything
    unsure: list[tuple[Row, list[Table]]] = []
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


def _follow(pages: Pages, root: int, table: Table) -> Found:
    found = pages.table(root)
    for row in found.rows:
        if table.fits(row):
            table.add(row)
    return found


def _tables_of(revision: str, folder: Path) -> dict[str, Table]:
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
            tables[table.name] = Table(
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


def _place(row: Row, candidates: Sequence[Table], unsure: list[tuple[Row, list[Table]]]) -> None:
    """Give a row that nothing leads to back to its table."""
    fitting = [t for t in candidates if _keeps_rules(t, row)]
    if len(fitting) == 1:
        fitting[0].add(row)
    elif fitting:
        unsure.append((row, fitting))


def _place_by_reference(
    unsure: Sequence[tuple[Row, list[Table]]], tables: Mapping[str, Table], lost: list[str]
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
            names = say_in("between names", " or ").join(t.name for t in fitting)
            lost.append(
                say("a row that could be one of {names}: {detail}", names=names, detail=detail(row.values))
            )


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


def _keeps_rules(table: Table, row: Row) -> bool:
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
            insert(self._db, name, values)
        except sqlite3.Error:
            return False
        else:
            return True
        finally:
            self._db.execute("ROLLBACK TO trial")
            self._db.execute("RELEASE trial")


_RULES = _Rules()


def _count_gaps(tables: Mapping[str, Table], written: Mapping[str, int], lost: list[str]) -> None:
    """Rows are numbered as they are written; a number that is missing was a row. ``written``: the last, if known."""
    for table in tables.values():
        if table.name in MAY_BE_DELETED:
            continue
        end = written.get(table.name, 0) + 1
        last = 0
        for number in (*sorted(table.rows), *([end] if end > max(table.rows, default=0) else [])):
            if number > last + 1:
                lost.append(_not_found(table.name, last + 1, number - 1))
            last = number


def _not_found(table: str, first: int, last: int) -> str:
    if first == last:
        return say("{table}: 1 could not be found (number {number})", table=table, number=first)
    return say(
        "{table}: {count} could not be found (numbers {first} to {last})",
        table=table,
        count=last - first + 1,
        first=first,
        last=last,
    )


def insert(db: sqlite3.Connection, name: str, values: Mapping[str, Any]) -> None:
    """Put one row into a table. Raises sqlite3.Error when a rule forbids it."""
    names = ", ".join(f'"{column}"' for column in values)
    db.execute(
        f"INSERT INTO {name} ({names}) VALUES ({', '.join('?' * len(values))})",  # noqa: S608
        tuple(values.values()),
    )


def detail(values: Mapping[str, Value] | Sequence[Value]) -> str:
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
