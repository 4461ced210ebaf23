"""A whole copy of a book: as a file made beside its place and put there when it is whole, or row by row.

Rows are copied as the databases hold them (whole numbers, text, bytes), table after table in the order in which they
refer to each other; what only follows from other rows is left out and made again by the new book itself.
"""

from __future__ import annotations

import hashlib
import json
import os
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, MetaData, Select, TableClause, column, func, select, table, text

from coldlash.errors import BookError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.bookfile import LEFTOVERS, sync_folder, translated
from coldlash.logbook.migrations import HEAD

ROWS_AT_ONCE = 500
BLOBS_AT_ONCE = 4
NOT_COPIED = (*(worked.name for worked in m.WORKED_OUT), "alembic_version")
WORDS_TABLE = "search_words"

Progress = Callable[[int, int, str], None]
"""Called with the rows done, the rows in all and the table; what it raises ends the copying."""


@contextmanager
def put_when_whole(target: Path) -> Iterator[Path]:
    """A place beside ``target`` to build a file at; when the block ends well it stands at ``target``, or nothing.

    Never replaces a file. Raises BookError.
    """
    refuse_existing(target)
    building = target.with_name(f".{target.name}.{uuid.uuid4().hex[:8]}.new")
    try:
        with translated(target, made=True):
            yield building
            with building.open("rb") as file:
                os.fsync(file.fileno())
            _link(building, target)
            try:
                sync_folder(target.parent)
            except OSError:
                target.unlink(missing_ok=True)  # ours, and nobody was told of it yet
                raise
    except OSError as error:
        raise BookError(
            say("{path}: {reason}; nothing was made; check the folder", path=target, reason=error.strerror)
        ) from error
    finally:
        for leftover in (building, *(Path(f"{building}{tail}") for tail in LEFTOVERS)):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)


def refuse_existing(target: Path) -> None:
    """Raises BookError when something is at ``target``, or when there is no folder for it."""
    try:
        there, folder = os.path.lexists(target), target.parent.is_dir()
    except OSError as error:
        raise BookError(
            say("{path}: can't be reached ({reason})", path=target, reason=error.strerror)
        ) from error
    if there:
        raise BookError(say("{path} is there already; nothing was changed; choose another name", path=target))
    if not folder:
        raise BookError(
            say(
                "the folder {folder} does not exist; make it first or choose another place",
                folder=target.parent,
            )
        )


def _link(building: Path, target: Path) -> None:
    try:
        os.link(building, target)  # unlike a rename, this never replaces what came there meanwhile
    except FileExistsError:
        refuse_existing(target)
    except OSError:  # a file system without hard links
        refuse_existing(target)
        os.replace(building, target)


# --- rows ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PlainTable:
    """A table without the types of its columns: values pass as the database holds them."""

    name: str
    clause: TableClause
    order: tuple[str, ...]
    at_once: int

    def ordered(self) -> Select[Any]:
        """All rows, in an order that both databases share; each row after the one it replaces."""
        return select(self.clause).order_by(*(self.clause.c[name] for name in self.order))


def plain_tables(connection: Connection, revision: str = HEAD) -> tuple[PlainTable, ...]:
    """The tables whose rows make a book of that revision, those referred to first."""
    metadata = m.metadata
    if revision != HEAD:
        metadata = MetaData()
        metadata.reflect(connection)
    return tuple(
        PlainTable(
            each.name,
            table(each.name, *(column(part.name) for part in each.columns)),
            tuple(part.name for part in each.primary_key.columns),
            BLOBS_AT_ONCE if "bytes" in each.columns else ROWS_AT_ONCE,
        )
        for each in metadata.sorted_tables
        if each.name not in NOT_COPIED and not each.name.startswith(WORDS_TABLE)
    )


def is_empty(connection: Connection, tables: Sequence[PlainTable]) -> bool:
    """True when a book holds nothing at all."""
    return not any(
        connection.execute(select(text("1")).select_from(t.clause).limit(1)).first() for t in tables
    )


def copy_rows(
    source: Connection, target: Connection, tables: Sequence[PlainTable], progress: Progress | None = None
) -> dict[str, int]:
    """Copy every row into an empty book and read it back: equal, or BookError. Returns rows by table.

    Both connections are in a transaction that sees one state; the caller commits or rolls back.
    """
    counts = {t.name: count_rows(source, t) for t in tables}
    total, done = sum(counts.values()), 0
    for t in tables:
        given = _Digest()
        for rows in _batches(source, t):
            target.execute(t.clause.insert(), [dict(row._mapping) for row in rows])
            given.add(rows)
            done += len(rows)
            if progress is not None:
                progress(done, total, t.name)
        go_on_numbering(target, t)
        if given.text() != digest(target, t):
            raise BookError(
                say(
                    "the copy of {table} is not the same as what was copied; nothing was changed",
                    table=t.name,
                )
            )
    return counts


def go_on_numbering(connection: Connection, t: PlainTable) -> None:
    """See to it that the next number the book gives comes after those that were copied."""
    if connection.dialect.name == "postgresql" and "seq" in t.order:
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{t.name}', 'seq'), max(seq)) FROM {t.name} "  # noqa: S608
                "HAVING max(seq) IS NOT NULL"
            )
        )


def count_rows(connection: Connection, t: PlainTable) -> int:
    """How many rows a table has."""
    return int(connection.execute(select(func.count()).select_from(t.clause)).scalar_one())


def digest(connection: Connection, t: PlainTable) -> str:
    """A checksum of every row of a table, the same on every database that holds the same rows."""
    taken = _Digest()
    for rows in _batches(connection, t):
        taken.add(rows)
    return taken.text()


def _batches(connection: Connection, t: PlainTable) -> Iterator[Sequence[Any]]:
    stream = connection.execute(t.ordered().execution_options(yield_per=t.at_once))
    return stream.partitions()


class _Digest:
    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def add(self, rows: Sequence[Any]) -> None:
        for row in rows:
            line = json.dumps(tuple(row), ensure_ascii=True, default=_octets)
            self._hash.update(line.encode() + b"\n")

    def text(self) -> str:
        return self._hash.hexdigest()


def _octets(value: object) -> str:
    return hashlib.sha256(bytes(value)).hexdigest()  # type: ignore[call-overload]
