"""A new book from an archive: everything in it or nothing, and proved equal before it stands.

The archive is looked over first: its list of files, its manifest, the checksum of each. Then its rows go into an empty
book through that book's own rules, the book is read whole, and each file is made again from it: what differs from
the archive by a single byte ends it. So the tables in readings/ can't say other than the JSON files do.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from coldlash.errors import BookError, ColdlashError, InputError
from coldlash.language import say
from coldlash.logbook.archive.shape import (
    BOOK,
    ENGINE,
    FORMAT,
    VEHICLES,
    VERSION,
    Part,
    Row,
    read_json,
    read_row,
)
from coldlash.logbook.archive.writing import content, counting, texts
from coldlash.logbook.archive.zipped import MANIFEST_NAME, Archive, Entry, damaged, opened
from coldlash.logbook.checking import deep_faults
from coldlash.logbook.columns import storable
from coldlash.logbook.copying import (
    BLOBS_AT_ONCE,
    ROWS_AT_ONCE,
    PlainTable,
    Progress,
    go_on_numbering,
)
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.move import fill_empty_book

LATER = (
    "instruments",
    "instrument_readings",
    "fitments",
    "work",
    "tests",
    "accepted_causes",
    "attachments",
    "imports",
    "import_visits",
    "applied_requests",
)
"""Tables that may refer to any engine, visit or photo: filled when those are there."""


@dataclass(frozen=True, slots=True)
class ArchiveRead:
    """What was made of an archive: the book's name, and its rows by table."""

    book: str
    rows: dict[str, int]


@dataclass(frozen=True, slots=True)
class _Manifest:
    rows: dict[str, int]
    entries: dict[str, Entry]


def read_archive(
    archive: str | os.PathLike[str],
    to: str | os.PathLike[str],
    *,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
    progress: Progress | None = None,
) -> ArchiveRead:
    """Make a book of an archive at a path that is free, in an empty book or an empty database.

    Raises InputError when the archive can't be used, BookError when the book can't be made; nothing is left then.
    """
    with opened(Path(archive).expanduser()) as there:
        known = _manifest(there)

        def fill(connection: Connection, tables: Sequence[PlainTable]) -> None:
            _Filling(there, known, connection, tables, progress).fill()

        name = fill_empty_book(to, fill, wait_s=wait_s, on_wait=on_wait)
    return ArchiveRead(name, known.rows)


# --- the manifest --------------------------------------------------------------------------------------------


def _manifest(archive: Archive) -> _Manifest:
    if MANIFEST_NAME not in archive.names:
        raise _foreign(archive)
    try:
        said = read_json(archive.read(MANIFEST_NAME))
    except ValueError as error:
        raise damaged(archive.name, f"{MANIFEST_NAME}: {error}") from error
    version = said.get("format_version")
    if said.get("format") != FORMAT or type(version) is not int or version < 1:
        raise _foreign(archive)
    if version > VERSION or said.get("book_revision") != HEAD:
        raise InputError(
            say(
                "{path}: was written by a newer coldlash (format {version}, book {revision}; this one reads format "
                "{known}, book {head}); nothing was made; update coldlash first",
                path=archive.name,
                version=version,
                revision=said.get("book_revision"),
                known=VERSION,
                head=HEAD,
            )
        )
    try:
        known = _Manifest(_counts(said["rows"]), {e.name: e for e in map(_entry, said["files"])})
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(archive.name, f"{MANIFEST_NAME}: {error}") from error
    _compare_lists(archive, known)
    for name, entry in known.entries.items():
        data = archive.read(name)
        if (len(data), hashlib.sha256(data).hexdigest()) != (entry.size, entry.sha256):
            raise _altered(archive, name)
    return known


def _foreign(archive: Archive) -> InputError:
    return InputError(
        say(
            "{path}: is no archive of coldlash; nothing was made; one is made by: coldlash archive write FILE",
            path=archive.name,
        )
    )


def _altered(archive: Archive, name: str) -> InputError:
    return InputError(
        say(
            "{path}: {name} is not what the manifest says; it was altered or is damaged; nothing was made; "
            "take another copy of it",
            path=archive.name,
            name=name,
        )
    )


def _counts(said: Any) -> dict[str, int]:
    counts = dict(said)
    for name, count in counts.items():
        if type(count) is not int or count < 0:
            raise ValueError(f"{count!r} rows of {name}")
    return counts


def _entry(said: Any) -> Entry:
    entry = Entry(**said)
    if type(entry.size) is not int or type(entry.name) is not str or type(entry.sha256) is not str:
        raise ValueError(f"{said!r}")
    return entry


def _compare_lists(archive: Archive, known: _Manifest) -> None:
    there = set(archive.names) - {MANIFEST_NAME}
    for name in sorted(there ^ known.entries.keys()):
        raise InputError(
            say(
                "{path}: {name} is in the archive and not in its manifest; nothing was made",
                path=archive.name,
                name=name,
            )
            if name in there
            else say(
                "{path}: {name} is missing, though the manifest lists it; nothing was made; "
                "take another copy of it",
                path=archive.name,
                name=name,
            )
        )


# --- the rows ------------------------------------------------------------------------------------------------


class _Filling:
    """Rows of one archive on their way into one empty book."""

    def __init__(
        self,
        archive: Archive,
        known: _Manifest,
        connection: Connection,
        tables: Sequence[PlainTable],
        progress: Progress | None,
    ) -> None:
        self.archive = archive
        self.known = known
        self.connection = connection
        self.tables = {t.name: t for t in tables}
        self.later: dict[str, list[Row]] = {name: [] for name in LATER}
        self.found = dict.fromkeys(self.tables, 0)
        total = 2 * sum(known.rows.values())
        self.counted = counting(total, progress)
        self.compared = counting(total, progress, total // 2)

    def fill(self) -> None:
        """Put everything in, read it whole, and compare. Raises InputError, BookError."""
        self._parts("book.json", BOOK)
        self._parts("vehicles.json", VEHICLES)
        for name in self._in("engines/"):
            self._engine(name)
        self._photos()
        for table in LATER:
            rows = self.later[table]
            self._put(table, sorted(rows, key=lambda row: row["seq"]) if rows and "seq" in rows[0] else rows)
        for each in self.tables.values():
            go_on_numbering(self.connection, each)
        if self.found != self.known.rows:
            raise self._wrong(MANIFEST_NAME, say("counts other rows than there are"))
        faults = deep_faults(self.connection)
        if faults:
            raise self._wrong(MANIFEST_NAME, faults[0])
        self._compare()

    def _in(self, folder: str) -> Iterator[str]:
        return (name for name in self.known.entries if name.startswith(folder))

    def _parts(self, name: str, parts: tuple[Part, ...]) -> None:
        said = self._json(name)
        if set(said) != {part.table for part in parts}:
            raise self._wrong(
                name, say("does not have the lists {names}", names=", ".join(p.table for p in parts))
            )
        for part in parts:
            if not isinstance(said[part.table], list):
                raise self._wrong(name, say("{field} is no list", field=part.table))
            self._take(name, part, [(each, None) for each in said[part.table]])

    def _engine(self, name: str) -> None:
        self._take(name, ENGINE, [(self._json(name), None)])

    def _take(self, name: str, part: Part, said: list[tuple[Any, str | None]]) -> None:
        """Rows of one table, each with the id of what it belongs to; then those below them, table by table."""
        rows: list[Row] = []
        below: dict[str, list[tuple[Any, str | None]]] = {child.table: [] for child in part.parts}
        for number, (each, owner) in enumerate(said, 1):
            try:
                row, lists = read_row(each, part, f"{part.table} {number}", owner)
            except ValueError as error:
                raise self._wrong(name, str(error)) from error
            if part.table == "engine_files":
                row["toml"] = self._toml(name, str(row["toml"]))
            rows.append(row)
            for table, found in lists.items():
                below[table] += [(one, row["id"]) for one in found]
        if part.table in self.later:
            self.later[part.table] += rows
        else:
            self._put(part.table, rows)
        for child in part.parts:
            self._take(name, child, below[child.table])

    def _json(self, name: str) -> dict[str, Any]:
        if name not in self.known.entries:
            raise self._wrong(name, say("is missing"))
        try:
            return read_json(self.archive.read(name))
        except ValueError as error:
            raise self._wrong(name, str(error)) from error

    def _toml(self, name: str, file: str) -> str:
        if file not in self.known.entries:
            raise self._wrong(name, say("names the file {file!r}, which is missing", file=file))
        try:
            text = self.archive.read(file).decode("utf-8")
        except ValueError as error:
            raise self._wrong(file, str(error)) from error
        if not storable(text):
            raise self._wrong(file, say("has a NUL byte"))
        return text

    def _photos(self) -> None:
        for name in self._in("photos/"):
            data = self.archive.read(name)
            sha256 = name.removeprefix("photos/").partition(".")[0]
            self._put("attachment_files", [{"sha256": sha256, "size": len(data), "bytes": data}])

    def _put(self, table: str, rows: list[Row]) -> None:
        at_once = BLOBS_AT_ONCE if table == "attachment_files" else ROWS_AT_ONCE
        for start in range(0, len(rows), at_once):
            some = rows[start : start + at_once]
            try:
                self.connection.execute(self.tables[table].clause.insert(), some)
            except IntegrityError as error:
                reason = str(error.orig).partition("\n")[0]
                raise self._wrong(
                    table, say("breaks a rule of the book ({reason})", reason=reason)
                ) from error
            self.found[table] += len(some)
            self.counted(table, len(some))

    def _wrong(self, name: str, fault: str) -> InputError:
        return InputError(
            say("{path}: {name}: {fault}; nothing was made", path=self.archive.name, name=name, fault=fault)
        )

    def _compare(self) -> None:
        explained = {name for name, _ in texts()} | {MANIFEST_NAME}
        left = self.known.entries.keys() - explained
        for name, data in self._made_again():
            entry = self.known.entries.get(name)
            if entry is None or hashlib.sha256(data).hexdigest() != entry.sha256:
                raise self._differs(name)
            left -= {name}
        if left:
            raise self._wrong(min(left), say("belongs to nothing in the book"))

    def _made_again(self) -> Iterator[tuple[str, bytes]]:
        try:
            yield from content(self.connection, self.compared)
        except (ValueError, TypeError, KeyError) as error:
            raise self._wrong(
                MANIFEST_NAME, say("the book could not be read ({error})", error=error)
            ) from error

    def _differs(self, name: str) -> ColdlashError:
        if name.startswith("readings/"):
            return self._wrong(name, say("does not say what the engine's JSON file says"))
        return BookError(
            say(
                "{path}: {name}: the new book does not say what the archive says; nothing was made",
                path=self.archive.name,
                name=name,
            )
        )
