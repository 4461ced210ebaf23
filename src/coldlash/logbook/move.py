"""A book from a file to a server or back: every row of it or nothing, and equal, or it is not done.

The old book stays as it was. Nobody can write into it while it is being moved; afterwards its owner should no longer.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coldlash.errors import BookError
from coldlash.language import say
from coldlash.logbook.bookfile import BookFile, file_of, open_file
from coldlash.logbook.copying import Progress, copy_rows, is_empty, plain_tables, put_when_whole
from coldlash.logbook.keeping import Kept
from coldlash.logbook.opening import is_server, open_kept


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
    try:
        if not is_server(target) and not os.path.lexists(file_of(target)):
            path = file_of(target)
            with put_when_whole(path) as building:
                counts = _into(old, open_file(building, create=True), progress)
            return Moved(old.name, str(path), counts)
        new = open_kept(target, create=True, wait_s=wait_s, on_wait=on_wait)
        if _same(old, new):
            new.close()
            raise BookError(
                say("{name} is the book itself; nothing was changed; give another place", name=new.name)
            )
        return Moved(old.name, new.name, _into(old, new, progress))
    finally:
        old.close()


def _into(old: Kept, new: Kept, progress: Progress | None) -> dict[str, int]:
    try:
        with old.writing() as source, new.writing() as target:
            tables = plain_tables(target)
            if not is_empty(target, tables):
                raise BookError(
                    say(
                        "{name} is not empty; nothing was changed; give a new path or an empty database",
                        name=new.name,
                    )
                )
            return copy_rows(source, target, tables, progress)
    finally:
        new.close()


def _same(old: Kept, new: Kept) -> bool:
    if isinstance(old, BookFile) and isinstance(new, BookFile):
        return Path(old.path).samefile(new.path)
    return old.name == new.name
