"""An archive of an open book: the same book gives the same bytes, whatever keeps it and wherever it is written."""

from __future__ import annotations

import json
import os
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, Connection, column, select, table

from coldlash.errors import BookError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.archive.fields import README
from coldlash.logbook.archive.shape import (
    BOOK,
    ENGINE,
    FORMAT,
    VEHICLES,
    VERSION,
    Part,
    Row,
    Rows,
    laid_out,
    schemas,
    written,
)
from coldlash.logbook.archive.zipped import MANIFEST_NAME, Entry, Writer
from coldlash.logbook.copying import (
    BLOBS_AT_ONCE,
    Progress,
    count_rows,
    plain_tables,
    put_when_whole,
)
from coldlash.logbook.exchange import log_of, write_log
from coldlash.logbook.keeping import Kept
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.photos import ENDINGS
from coldlash.logbook.records import Reading, Visit
from coldlash.logbook.visit_rows import as_reading

SLUG_MAX = 40
Counted = Callable[[str, int], None]
"""Called with a table and how many of its rows were written."""


@dataclass(frozen=True, slots=True)
class ArchiveMade:
    """What was written: where, how many bytes, how many rows by table."""

    path: Path
    size: int
    rows: dict[str, int]


def write_archive(book: Kept, to: str | os.PathLike[str], *, progress: Progress | None = None) -> ArchiveMade:
    """Write everything in an open book into a new file. Others may write meanwhile; it is of one moment.

    Never replaces a file. Raises BookError: no archive of a book that is not sound, a full disk; nothing is left then.
    """
    path = Path(to).expanduser()
    with put_when_whole(path) as building, book.reading() as connection:
        faults = book.check()
        if faults:
            raise BookError(
                say(
                    "{name}: the book is not sound ({fault}); no archive was made; look at the book: coldlash check",
                    name=book.name,
                    fault=faults[0],
                )
            )
        tables = plain_tables(connection)
        rows = {t.name: count_rows(connection, t) for t in tables}
        with building.open("xb") as file, Writer(file) as writer:
            for name, data in texts():
                writer.add(name, data)
            for name, data in content(connection, counting(sum(rows.values()), progress)):
                writer.add(name, data)
            writer.add(MANIFEST_NAME, manifest(rows, writer.entries))
    return ArchiveMade(path, path.stat().st_size, rows)


def counting(total: int, progress: Progress | None, done: int = 0) -> Counted:
    """Adds up rows for a progress."""

    def add(name: str, count: int) -> None:
        nonlocal done
        done += count
        if progress is not None and count:
            progress(done, total, name)

    return add


def texts() -> Iterator[tuple[str, bytes]]:
    """What explains an archive: the same in each."""
    yield "README.txt", README.encode()
    for name, schema in schemas().items():
        yield f"schema/{name}", (json.dumps(schema, indent=1) + "\n").encode()


def manifest(rows: dict[str, int], entries: Iterable[Entry]) -> bytes:
    """What is in an archive."""
    said = {
        "format": FORMAT,
        "format_version": VERSION,
        "book_revision": HEAD,
        "rows": dict(sorted(rows.items())),
        "files": Rows({"name": e.name, "size": e.size, "sha256": e.sha256} for e in entries),
    }
    return (laid_out(said) + "\n").encode()


def content(connection: Connection, counted: Counted) -> Iterator[tuple[str, bytes]]:
    """Every file that says what is in the book, in order; one engine or photo in memory at a time."""
    for name, parts in (("book.json", BOOK), ("vehicles.json", VEHICLES)):
        said = {part.table: _tree(connection, part, counted) for part in parts}
        yield name, (laid_out(said) + "\n").encode()
    engines = _rows(connection, ENGINE)
    counted("engines", len(engines))
    for number, row in enumerate(engines, 1):
        yield from _engine(connection, row, f"{number:04d}{slug(row['name'])}", counted)
    yield from _photos(connection, counted)


def slug(name: str) -> str:
    """A name for a path: letters and figures that every file system has, with a leading dash; or nothing."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    short = re.sub(r"[^a-z0-9]+", "-", plain)[:SLUG_MAX].strip("-")
    return f"-{short}" if short else ""


def _engine(connection: Connection, row: Row, stem: str, counted: Counted) -> Iterator[tuple[str, bytes]]:
    said = written(row, ENGINE)
    for part in ENGINE.parts:
        mine = column("engine_id") == row["id"]
        rows = _rows(connection, part, mine)
        counted(part.table, len(rows))
        if part.table == "engine_files":
            names = [f"engine_files/{stem}-{each['version']}.toml" for each in rows]
            for name, each in zip(names, rows, strict=True):
                yield name, each["toml"].encode()
            said[part.table] = Rows(
                written(each, part, {"toml": name}) for name, each in zip(names, rows, strict=True)
            )
        elif part.table == "visits":
            visits = table("visits", column("id"), column("engine_id"))
            inside = column("visit_id").in_(select(visits.c.id).where(mine))
            below = {each.table: _rows(connection, each, inside) for each in part.parts}
            for name, each_below in below.items():
                counted(name, len(each_below))
            said[part.table] = _nested(rows, part, below)
            yield f"readings/{stem}.csv", _log(rows, below["readings"]).encode()
        else:
            said[part.table] = Rows(written(each, part) for each in rows)
    yield f"engines/{stem}.json", (laid_out(said) + "\n").encode()


def _log(visits: Iterable[Row], readings: Iterable[Row]) -> str:
    """Closed visits as a log file."""
    histories: dict[str, list[Reading]] = defaultdict(list)
    for row in readings:
        reading = as_reading(row | {"withdrawn": bool(row["withdrawn"])})
        histories[reading.visit_id].append(reading)
    return write_log(log_of(_visit(row, histories[row["id"]])) for row in visits if row["state"] == "closed")


def _visit(row: Row, history: list[Reading]) -> Visit:
    gone = {reading.replaces for reading in history}
    values = row | {
        "day": date.fromisoformat(row["day"]),
        "blades_um": tuple(json.loads(row["blades_um"])),
    }
    return Visit(
        **values,
        history=tuple(history),
        changes=(),
        readings={(r.valve, r.step): r for r in history if r.id not in gone and not r.withdrawn},
    )


def _tree(connection: Connection, part: Part, counted: Counted) -> Rows:
    rows = _rows(connection, part)
    below = {each.table: _rows(connection, each) for each in part.parts}
    for name, found in ((part.table, rows), *below.items()):
        counted(name, len(found))
    return _nested(rows, part, below)


def _nested(rows: Iterable[Row], part: Part, below: dict[str, list[Row]]) -> Rows:
    groups: dict[str, dict[Any, Rows]] = {each.table: defaultdict(Rows) for each in part.parts}
    for each in part.parts:
        for row in below[each.table]:
            groups[each.table][row[str(each.below)]].append(written(row, each))
    return Rows(
        written(row, part) | {name: group.get(row["id"], Rows()) for name, group in groups.items()}
        for row in rows
    )


def _rows(connection: Connection, part: Part, wanted: ColumnElement[bool] | None = None) -> list[Row]:
    names = m.metadata.tables[part.table].columns.keys()
    asked = select(table(part.table, *(column(name) for name in names)))
    if wanted is not None:
        asked = asked.where(wanted)
    found = connection.execute(asked.order_by(*(column(name) for name in part.order)))
    return [dict(zip(names, row, strict=True)) for row in found]


def _photos(connection: Connection, counted: Counted) -> Iterator[tuple[str, bytes]]:
    shown = m.attachments.c
    kinds: dict[str, str] = {}
    asked = select(shown.file_sha256, shown.media_type).where(shown.file_sha256.is_not(None)).distinct()
    for sha256, kind in connection.execute(asked.order_by(shown.file_sha256, shown.media_type)):
        kinds.setdefault(sha256, kind)
    kept = m.attachment_files.c
    photos = select(kept.sha256, kept.bytes).order_by(kept.sha256)
    for sha256, octets in connection.execute(photos.execution_options(yield_per=BLOBS_AT_ONCE)):
        yield f"photos/{sha256}{ENDINGS.get(kinds.get(sha256, ''), '.bin')}", bytes(octets)
        counted("attachment_files", 1)
