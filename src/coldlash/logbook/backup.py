"""Backups: whole, checked copies of a book in files of their own, the old ones taken away, and the way back.

A backup is a book like any other, in one file; a book on a server is backed up into such a file too. It is built
beside its place, read whole and put there only when it is sound, so a backup that stands is one that can be restored.
Its name says which book it is of (a checksum of where that book is), and when it was made, in UTC. Backups are in the
order of their names even when the clock was set back.
"""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
import threading
import zlib
from collections.abc import Callable
from contextlib import closing, suppress
from contextvars import copy_context
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from sqlalchemy.exc import DatabaseError

from coldlash.errors import BookError, ColdlashError, InputError
from coldlash.language import say
from coldlash.logbook.bookfile import (
    BookFile,
    faults_of,
    file_of,
    make_file,
    open_file,
    read_only,
    revision_of,
)
from coldlash.logbook.checking import deep_faults
from coldlash.logbook.copying import Progress, copy_rows, count_rows, plain_tables, put_when_whole
from coldlash.logbook.keeping import Kept
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.opening import is_server
from coldlash.logbook.paths import data_folder

if TYPE_CHECKING:
    from coldlash.logbook.store import Book

KEEP = 14
"""How many backups of a book are kept."""
KEEP_BEFORE_UPDATE = 3
"""How many of those made before a book was brought up to date; they are counted apart."""
EVERY_S = 86_400.0
"""How often a served book is backed up, seconds."""
AGAIN_S = 3_600.0
"""How soon a backup that failed is tried again, seconds."""
FOLDER_NAME = "backups"
TIME = "%Y%m%dT%H%M%SZ"
BEFORE_UPDATE = "-before-update"


def utc_now() -> datetime:
    """The clock."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that stands."""

    path: Path
    made: datetime
    before_update: bool


@dataclass(frozen=True, slots=True)
class BackupMade:
    """What making a backup did: the file, its size in bytes, the older ones taken away."""

    path: Path
    size: int
    removed: tuple[Path, ...]


def default_folder(book: Kept) -> Path:
    """Where backups go when nobody says otherwise: ``backups`` beside the book, or in the user's data folder."""
    return (book.path.parent if isinstance(book, BookFile) else data_folder()) / FOLDER_NAME


def backups_of(book: Kept, folder: Path, *, before_update: bool = False) -> tuple[Backup, ...]:
    """The backups of this very book in a folder, oldest first. Raises BookError."""
    pattern = re.compile(
        re.escape(_prefix(book))
        + r"(\d{8}T\d{6}Z)"
        + (BEFORE_UPDATE if before_update else "")
        + r"\.coldlash"
    )
    found = []
    try:
        for path in folder.iterdir():
            match = pattern.fullmatch(path.name)
            with suppress(ValueError):
                if match:
                    made = datetime.strptime(match[1], TIME).replace(tzinfo=UTC)
                    found.append(Backup(path, made, before_update))
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise BookError(
            say(
                "{folder}: can't be looked at ({reason}); check the folder",
                folder=folder,
                reason=error.strerror,
            )
        ) from error
    return tuple(sorted(found, key=lambda backup: backup.made))


def make_backup(
    book: Kept,
    folder: Path | None = None,
    *,
    keep: int = KEEP,
    now: Callable[[], datetime] = utc_now,
    progress: Progress | None = None,
) -> BackupMade:
    """Back up an open book into a folder that is there (default: one beside it, made if missing).

    The newest ``keep`` stay. Others may write meanwhile; the backup is of one moment. Raises BookError (nothing was
    made), InputError.
    """
    return _make(book, folder, keep, HEAD, before_update=False, now=now, progress=progress)


def backup_before_update(old: Kept, revision: str, *, now: Callable[[], datetime] = utc_now) -> BackupMade:
    """Back up a book of an older version before it is changed. Raises BookError."""
    try:
        return _make(old, None, KEEP_BEFORE_UPDATE, revision, before_update=True, now=now, progress=None)
    except BookError as error:
        raise BookError(
            say(
                "{name}: the book must be brought up to date, and no backup could be made of it before; "
                "nothing was changed ({error})",
                name=old.name,
                error=error,
            )
        ) from error


def _make(
    book: Kept,
    folder: Path | None,
    keep: int,
    revision: str,
    *,
    before_update: bool,
    now: Callable[[], datetime],
    progress: Progress | None,
) -> BackupMade:
    if type(keep) is not int or not 1 <= keep <= 10_000:
        raise InputError(
            say("how many backups to keep must be a whole number from 1 to 10000, not {keep!r}", keep=keep)
        )
    if folder is None:
        folder = default_folder(book)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BookError(
                say(
                    "{folder}: can't be made ({reason}); give another folder",
                    folder=folder,
                    reason=error.strerror,
                )
            ) from error
    elif not folder.is_dir():
        raise BookError(
            say("the folder {folder} does not exist; make it first or choose another place", folder=folder)
        )
    there = backups_of(book, folder, before_update=before_update)
    made = now().astimezone(UTC).replace(microsecond=0)
    if there:  # also when the clock was set back, the newest backup has the latest name
        made = max(made, there[-1].made + timedelta(seconds=1))
    path = folder / f"{_prefix(book)}{made.strftime(TIME)}{BEFORE_UPDATE if before_update else ''}.coldlash"
    with put_when_whole(path) as building:
        _write(book, building, revision, progress)
        faults = faults_in(building)[1]
        if faults:
            raise BookError(
                say(
                    "{name}: its backup would not be sound ({fault}); none was made; look at the book: coldlash "
                    "check",
                    name=book.name,
                    fault=faults[0],
                )
            )
    removed = []
    for old in there[: max(0, len(there) + 1 - keep)]:
        with suppress(OSError):  # one that can't be taken away is tried again next time
            old.path.unlink()
            removed.append(old.path)
    return BackupMade(path, path.stat().st_size, tuple(removed))


def _prefix(book: Kept) -> str:
    """The start of the names of a book's backups; two books of one name, from two places, differ in it."""
    if isinstance(book, BookFile):
        stem, place = book.path.stem, str(book.path.resolve())
    else:
        stem, place = book.name.rpartition("/")[2].partition("?")[0], book.name
    return f"{stem}-{zlib.crc32(os.fsencode(place)):08x}-"


def _write(book: Kept, building: Path, revision: str, progress: Progress | None) -> None:
    if isinstance(book, BookFile):
        with book.reading() as connection:
            driver: Any = connection.connection.dbapi_connection
            copy_file(driver, building)
        building.chmod(book.path.stat().st_mode & 0o777)
        return
    # Written on a local disk, because the folder for backups may be a share on which no book can be written.
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder) / "copy.coldlash"
        make_file(here, to=revision)
        copy = BookFile(here, wait_s=0, on_wait=None)
        try:
            with book.reading() as source, copy.writing() as target:
                copy_rows(source, target, plain_tables(source, revision), progress)
        finally:
            copy.close()
        with closing(sqlite3.connect(here)) as file:
            copy_file(file, building)


def copy_file(source: sqlite3.Connection, building: Path) -> None:
    """Copy an open SQLite book as it is at this moment into a new file, in one piece.

    The file needs no write-ahead log beside it and can be read from anywhere. Raises sqlite3.Error.
    """
    # Nobody else knows the file, so it needs no locks: a backup may lie on a network share that has none.
    address = f"file:{quote(str(building.absolute()))}?nolock=1"
    with closing(sqlite3.connect(address, uri=True, isolation_level=None)) as target:
        source.backup(target)
    # The two bytes that say "write-ahead log" (sqlite.org/fileformat2.html, 1.3.3); without locks SQLite itself would
    # not open such a file to set them back.
    with building.open("r+b") as file:
        file.seek(18)
        file.write(b"\x01\x01")


def faults_in(path: Path) -> tuple[str, tuple[str, ...]]:
    """Read a book's file whole without touching it: its schema revision ("" = unreadable) and what is wrong with it.

    Also for books of an older version. Raises BookError when it can't be read at all or is no book.
    """
    with read_only(path) as connection:
        revision = ""
        try:
            revision = revision_of(connection, path)
            faults = faults_of(connection, "PRAGMA integrity_check")
            if not faults and revision == HEAD:
                faults = deep_faults(connection)
        except DatabaseError as error:
            if not str(getattr(error.orig, "sqlite_errorname", "")).startswith(
                ("SQLITE_CORRUPT", "SQLITE_NOTADB")
            ):
                raise
            faults = (str(error.orig),)
        return revision, faults


# --- the way back ---------------------------------------------------------------------------------------------


def restore(
    backup: str | os.PathLike[str], to: str | os.PathLike[str], *, progress: Progress | None = None
) -> tuple[str, dict[str, int]]:
    """Make a book from a backup at a path that is free, or in an empty database; bring it up to date, read it whole.

    Returns the book's name and its rows by table. The backup stays. Raises BookError; then nothing was made.
    """
    from coldlash.logbook.move import move  # it opens books, and opening may make a backup

    source = file_of(backup)
    if is_server(to):
        with tempfile.TemporaryDirectory() as folder:
            here = Path(folder) / "restored.coldlash"
            restore(source, here)
            moved = move(here, to, progress=progress)
            return moved.target, moved.rows
    target = file_of(to)
    faults = faults_in(source)[1]
    if faults:
        raise BookError(
            say(
                "{source}: this backup is damaged ({fault}); nothing was made; take an older one, or see "
                "what can be saved: coldlash salvage {source} --to NEW",
                source=source,
                fault=faults[0],
            )
        )
    with put_when_whole(target) as building:
        with read_only(source) as connection:
            driver: Any = connection.connection.dbapi_connection
            copy_file(driver, building)
        book = open_file(building)
        try:
            left = book.check()
            if left:
                raise BookError(
                    say(
                        "{source}: brought up to date it is not sound ({fault}); nothing was made",
                        source=source,
                        fault=left[0],
                    )
                )
            with book.reading() as connection:
                rows = {t.name: count_rows(connection, t) for t in plain_tables(connection)}
        finally:
            book.close()
    return str(target), rows


# --- while serving --------------------------------------------------------------------------------------------


def _backup_failed(error: ColdlashError) -> str:
    return say("backup: {error}", error=error)


def _check_interval(every_s: float) -> None:
    if not 1 <= every_s <= 366 * 86_400:
        raise InputError(
            say("backups can be made every second to once a year, not every {every_s} s", every_s=every_s)
        )


class BackupSchedule:
    """Backs up an open book again and again in a thread of its own, as long as it is served.

    The first backup is made at once unless the last one is younger than ``every_s``; a book in which nothing has
    changed since is left alone. A failure is said, the pages go on, and it is tried again within the hour.
    """

    def __init__(
        self,
        book: Book,
        *,
        every_s: float = EVERY_S,
        folder: Path | None = None,
        keep: int = KEEP,
        now: Callable[[], datetime] = utc_now,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        _check_interval(every_s)
        self._book = book
        self._every_s = every_s
        self._folder = folder
        self._keep = keep
        self._now = now
        self._say = say
        self._stop = threading.Event()
        # What it has to say is said in the language of whoever serves the book.
        self._thread = threading.Thread(
            target=copy_context().run, args=(self._run,), name="coldlash-backups", daemon=True
        )
        self._last: tuple[object, ...] | None = None

    def __enter__(self) -> BackupSchedule:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()

    def first_wait_s(self) -> float:
        """Seconds until the first backup is due; 0 = now, also when the last one seems to be from the future."""
        last = self._book.last_backup(self._folder)
        if last is None:
            return 0.0
        age = (self._now() - last).total_seconds()
        return self._every_s - age if 0 <= age < self._every_s else 0.0

    def once(self) -> BackupMade | None:
        """Make a backup unless nothing has changed since the last one made here. Raises BookError."""
        stamp = self._book.stamp()
        if stamp == self._last:
            return None
        made = self._book.backup(self._folder, keep=self._keep, now=self._now)
        self._last = stamp
        return made

    def _run(self) -> None:
        try:
            wait_s = self.first_wait_s()
        except ColdlashError as error:
            self._say(_backup_failed(error))
            wait_s = 0.0
        while not self._stop.wait(wait_s):
            try:
                self.once()
                wait_s = self._every_s
            except ColdlashError as error:
                self._say(_backup_failed(error))
                wait_s = min(self._every_s, AGAIN_S)
