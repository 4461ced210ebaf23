"""A book from a file to a server or back: every row of it or nothing, and equal, or it is not done.

The old book stays as it was. Nobody can write into it while it is being moved; afterwards its owner should no longer.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection

from coldlash.errors import BookError
from coldlash.language import say
from coldlash.logbook.bookfile import BookFile, file_of, open_file
from coldlash.logbook.copying import PlainTable, Progress, copy_rows, is_empty, plain_tables, put_when_whole
from coldlash.logbook.keeping import Kept
from coldlash.logbook.opening import is_server, open_kept

Fill = Callable[[Connection, Sequence[PlainTable]], None]
"""Puts rows into an empty book, given its tables, those referred to first."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What was moved: where from, where to, rows by table."""

    source: str
    target: str
    rows: dict[str, int]


def move(
    source: str | os.PathLike[str],
    target: str | os.PathLike[str],
    *,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
    progress: Progress | None = None,
) -> Moved:
    """Copy a book to a new place: a path that is free, or an empty book or database. Raises BookError."""
    old = open_kept(source, wait_s=wait_s, on_wait=on_wait)
    counts: dict[str, int] = {}

    def fill(new: Connection, tables: Sequence[PlainTable]) -> None:
        with old.writing() as rows:
            counts.update(copy_rows(rows, new, tables, progress))

    try:
        name = fill_empty_book(target, fill, apart_from=old, wait_s=wait_s, on_wait=on_wait)
        return Moved(old.name, name, counts)
    finally:
        old.close()


def fill_empty_book(
    target: str | os.PathLike[str],
    fill: Fill,
    *,
    apart_from: Kept | None = None,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
) -> str:
    """Let ``fill`` put rows into a new book: at a path that is free, or in an empty book or database.

    All of it or nothing: a new file stands only when ``fill`` ended well. Returns the book's name. ``apart_from``:
    a book that must not be the target. Raises BookError, and what ``fill`` raises.
    """
    if not is_server(target) and not os.path.lexists(file_of(target)):
        path = file_of(target)
        with put_when_whole(path) as building:
            _into(open_file(building, create=True), fill)
        return str(path)
    new = open_kept(target, create=True, wait_s=wait_s, on_wait=on_wait)
    if apart_from is not None and _same(apart_from, new):
        new.close()
        raise BookError(
            say("{name} is the book itself; nothing was changed; give another place", name=new.name)
        )
    name = new.name
    _into(new, fill)
    return name


def _into(new: Kept, fill: Fill) -> None:
    try:
        with new.writing() as target:
            tables = plain_tables(target)
            if not is_empty(target, tables):
                raise BookError(
                    say(
                        "{name} is not empty; nothing was changed; give a new path or an empty database",
                        name=new.name,
                    )
                )
            fill(target, tables)
    finally:
        new.close()


def _same(old: Kept, new: Kept) -> bool:
    if isinstance(old, BookFile) and isinstance(new, BookFile):
        return Path(old.path).samefile(new.path)
    return old.name == new.name
