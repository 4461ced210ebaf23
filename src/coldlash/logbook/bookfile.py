"""The book's SQLite file: how it is made, opened, guarded and checked, and what its faults are in plain words.

A new book is built whole beside its place and then put there, so a half-made one never stands. An existing file
is looked at by its first bytes before SQLite may touch it: what is not a coldlash book stays as it is. Writing
waits for one writer at a time; every write is on the disk before it is acknowledged (WAL, synchronous FULL).
"""

from __future__ import annotations

import os
import sqlite3
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, cast
from urllib.parse import unquote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, SQLAlchemyError, StatementError
from sqlalchemy.pool import NullPool, QueuePool

from coldlash.errors import BookError, ColdlashError, InputError
from coldlash.logbook.migrations import FOLDER, HEAD, upgrade
from coldlash.logbook.models import APPLICATION_ID

HEADER_BYTES = 100
MAGIC = b"SQLite format 3\x00"
CHECK_ON_OPEN_BYTES = 32 * 2**20
"""Books up to this size are checked whole each time they are opened; larger ones by ``check`` and before a
migration, because reading all of a large book takes seconds."""
WAIT_NOTICE_S = 0.5
"""After this long a waiting writer tells its caller that it waits."""

NO_LOCKS = tuple(
    f"SQLITE_{name}"
    for name in (
        "PROTOCOL",
        "NOLFS",
        "IOERR_LOCK",
        "IOERR_RDLOCK",
        "IOERR_UNLOCK",
        "IOERR_CHECKRESERVEDLOCK",
        "IOERR_SHM",
    )
)
"""What SQLite says where the file system has no locks or no shared memory."""

UNCHANGED = "nothing was changed"


def file_of(path_or_url: str | os.PathLike[str]) -> Path:
    """The file meant by a path or a ``sqlite:///path`` URL. Raises BookError for another kind of URL."""
    text = os.fspath(path_or_url)
    if not text or "\0" in text:
        raise BookError(f"{text!r} is no path of a book")
    scheme, mark, rest = text.partition("://")
    if not mark:
        return Path(text).expanduser()
    if scheme != "sqlite" or not rest.startswith("/") or rest == "/":
        raise BookError(
            f"{_without_password(text)}: this coldlash keeps its books in files; give a path, or sqlite:///path"
        )
    return Path(unquote(rest[1:]))


def _without_password(url: str) -> str:
    scheme, _, rest = url.partition("://")
    return f"{scheme}://...@{rest.rpartition('@')[2]}" if "@" in rest else url


class BookFile:
    """An open SQLite book: connections, transactions, errors in plain words. Safe to share between threads."""

    def __init__(self, path: Path, *, wait_s: float, on_wait: Callable[[], None] | None) -> None:
        self.path = path
        self.wait_s = wait_s
        self.on_wait = on_wait
        self.engine = _engine(path, wait_s=wait_s)
        self._local = threading.local()
        self._closed = False

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one unchanging state of the book. Raises BookError.

        Inside ``writing`` on the same thread it is the writing connection, which sees its own writes.
        """
        mine = self._own_connection()
        with translated(self.path):
            if mine is not None:
                yield mine
                return
            with self.engine.connect() as connection:
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection that holds the book's one right to write; all or nothing. Raises BookError.

        Inside another ``writing`` on the same thread it is a part of that one: if it fails, it alone is undone,
        and what it did stands only when the outer one ends well.
        """
        mine = self._own_connection()
        with translated(self.path):
            if mine is not None:
                with self._part_of(mine):
                    yield mine
                return
            with self.engine.connect() as connection:
                begin_immediate(connection, self.path, self.wait_s, self.on_wait)
                self._local.connection = connection
                try:
                    yield connection
                    self._own_connection()
                    connection.commit()
                finally:
                    self._local.connection = None

    def _own_connection(self) -> Connection | None:
        """The connection this thread is writing with, if it is. Raises BookError when its transaction is gone."""
        if self._closed:
            raise BookError(f"{self.path}: this book was closed; {UNCHANGED}; open it again")
        mine: Connection | None = getattr(self._local, "connection", None)
        if mine is not None and not _driver(mine).in_transaction:
            raise BookError(f"{self.path}: an earlier write of these failed; {UNCHANGED}; try them all again")
        return mine

    @contextmanager
    def _part_of(self, connection: Connection) -> Iterator[None]:
        # Plain SQL, not SQLAlchemy's savepoints: a full disk may make SQLite drop the whole transaction, and
        # then there is no savepoint left to go back to; that must not hide the error that caused it.
        driver = _driver(connection)
        driver.execute("SAVEPOINT part")
        try:
            yield
            driver.execute("RELEASE part")
        except BaseException:
            if driver.in_transaction:
                driver.execute("ROLLBACK TO part")
                driver.execute("RELEASE part")
            raise

    def close(self) -> None:
        """Give up every connection; the last one out folds the write-ahead log into the book."""
        self._closed = True
        with translated(self.path):
            self.engine.dispose()

    def check(self) -> tuple[str, ...]:
        """Read the whole book and list what is wrong with it; empty = sound. Raises BookError if unreadable."""
        with self.reading() as connection:
            return _faults(connection, "PRAGMA integrity_check")


def begin_immediate(
    connection: Connection, path: Path, wait_s: float, on_wait: Callable[[], None] | None
) -> None:
    """Begin a transaction that may write, waiting at most ``wait_s`` seconds. Raises BookError."""
    connection.execution_options(coldlash_immediate=True)
    driver = _driver(connection)
    noticed = wait_s > WAIT_NOTICE_S
    for seconds in (WAIT_NOTICE_S, wait_s - WAIT_NOTICE_S) if noticed else (wait_s,):
        driver.execute(f"PRAGMA busy_timeout = {round(seconds * 1000)}")
        try:
            connection.begin()
        except DBAPIError as error:
            if not _is_busy(error):
                raise
            if noticed and on_wait is not None:
                on_wait()
            noticed = False
        else:
            driver.execute(f"PRAGMA busy_timeout = {round(wait_s * 1000)}")
            return
    raise BookError(
        f"{path}: another coldlash is writing to this book; waited {wait_s:g} s; {UNCHANGED}; try again"
    )


def open_file(
    path: Path,
    *,
    create: bool = False,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
    migrations: Path = FOLDER,
) -> BookFile:
    """Open a book's file, bringing an older one up to date; with ``create`` make a missing one.

    Raises BookError in plain words whatever is wrong, InputError for a wait that is no time.
    """
    if not 0 <= wait_s <= 86_400:
        raise InputError(f"the wait must be 0 s to a day, not {wait_s} s")
    if _must_be_made(path, create):
        _make(path, migrations)
    _look_at_header(path)
    book = BookFile(path, wait_s=wait_s, on_wait=on_wait)
    try:
        _bring_up_to_date(book, migrations)
        _switch_to_wal(book)
    except BaseException:
        book.engine.dispose()
        raise
    return book


# --- making -------------------------------------------------------------------------------------------------


def _must_be_made(path: Path, create: bool) -> bool:
    """True when there is no book at ``path`` and one may be made. Raises BookError."""
    try:
        if path.is_dir():
            raise BookError(f"{path} is a folder; give the book's file, for example {path / 'book.coldlash'}")
        if path.is_file():
            return False
        if path.exists():
            raise BookError(f"{path} is no file that can be a book; give another path")
    except OSError as error:
        raise BookError(f"{path}: can't be reached ({error.strerror})") from error
    if not create:
        raise BookError(f"there is no book at {path}; check the path, or make a new book there")
    if not path.parent.is_dir():
        raise BookError(f"the folder {path.parent} does not exist; make it first or choose another place")
    return True


def _make(path: Path, migrations: Path) -> None:
    """Build a whole new book beside ``path`` and put it there, unless another process was quicker."""
    building = path.with_name(f".{path.name}.{uuid.uuid4().hex[:8]}.new")
    try:
        with translated(path, made=True):
            engine = _engine(building, migrating=True)
            try:
                with engine.connect() as connection:
                    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
                    upgrade(connection, folder=migrations)
                    connection.commit()
                    _driver(connection).execute("PRAGMA journal_mode = WAL")
            finally:
                engine.dispose()
            _put_in_place(building, path)
    except OSError as error:
        raise BookError(f"{path}: {error.strerror}; nothing was made; check the folder") from error
    finally:
        for leftover in (building, *(Path(f"{building}{tail}") for tail in ("-journal", "-wal", "-shm"))):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)


def _put_in_place(building: Path, path: Path) -> None:
    try:
        os.link(building, path)  # unlike a rename, this never replaces a book that came there meanwhile
    except FileExistsError:
        return
    except OSError:  # a file system without hard links
        if not path.exists():
            os.replace(building, path)
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


# --- looking ------------------------------------------------------------------------------------------------


def _look_at_header(path: Path) -> None:
    """Refuse what is not a coldlash book by its first bytes, before SQLite may touch it. Raises BookError."""
    try:
        with path.open("rb") as file:
            header = file.read(HEADER_BYTES)
    except OSError as error:
        raise BookError(f"{path}: can't be read ({error.strerror}); check its permissions") from error
    other = f"{path} is not a coldlash book; {UNCHANGED}; give the path of a book"
    if not header:
        raise BookError(
            f"{path} is empty, not a coldlash book; {UNCHANGED}; restore a copy, or remove the file"
        )
    if header[:16] != MAGIC:
        raise BookError(other)
    if len(header) < HEADER_BYTES:
        raise BookError(_damaged(path, "its first page is cut short"))
    if int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise BookError(f"{other} (it is a database of another program)")


def _damaged(path: Path, detail: str) -> str:
    return f"{path}: the book is damaged ({detail}); {UNCHANGED}; keep this file and go on from a copy of the book"


def revision_of(connection: Connection, path: Path) -> str:
    """The schema revision a book says it has. Raises BookError."""
    known = connection.exec_driver_sql(
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'"
    ).scalar_one()
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version").fetchall() if known else []
    if len(rows) != 1:
        raise BookError(_damaged(path, "it does not say which version it is"))
    return str(rows[0][0])


def _bring_up_to_date(book: BookFile, migrations: Path) -> None:
    head, known = _known_revisions(migrations)
    with book.reading() as connection:
        revision = revision_of(connection, book.path)
        if revision not in known:
            raise BookError(
                f"{book.path} was made by a newer coldlash; {UNCHANGED}; update coldlash and open it again"
            )
        if revision != head or book.path.stat().st_size <= CHECK_ON_OPEN_BYTES:
            faults = _faults(connection, "PRAGMA quick_check")
            if faults:
                raise BookError(_damaged(book.path, faults[0]))
    if revision != head:
        _migrate(book, migrations)


def _known_revisions(migrations: Path) -> tuple[str, frozenset[str]]:
    """The newest revision and all of them, from the names of the files (0001_first_tables.py)."""
    if migrations == FOLDER:
        return HEAD, frozenset(f"{number:04d}" for number in range(1, int(HEAD) + 1))
    names = sorted(file.name.partition("_")[0] for file in (migrations / "versions").glob("[0-9]*.py"))
    return names[-1], frozenset(names)


def _migrate(book: BookFile, migrations: Path) -> None:
    """Bring an older book up to date, all or nothing. Raises BookError; the old book then stands whole."""
    engine = _engine(book.path, wait_s=book.wait_s, migrating=True)
    try:
        with translated(book.path), engine.connect() as connection:
            begin_immediate(connection, book.path, book.wait_s, book.on_wait)
            try:
                upgrade(connection, folder=migrations)
            except (BookError, SQLAlchemyError):
                raise
            except Exception as error:
                raise BookError(
                    f"{book.path}: bringing the book up to date failed ({error}); the old book stands as it was"
                ) from error
            connection.commit()
    finally:
        engine.dispose()


def _switch_to_wal(book: BookFile) -> None:
    with book.reading() as connection:
        mode = _driver(connection).execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise BookError(
                f"{book.path}: this folder can't keep a write-ahead log (it may be a network share or read-only); "
                f"{UNCHANGED}; move the book to a local disk"
            )


def _faults(connection: Connection, pragma: str) -> tuple[str, ...]:
    lines = [line for row in connection.exec_driver_sql(pragma) for line in str(row[0]).splitlines()]
    found = [line for line in lines if line != "ok" and not line.startswith("***")]
    found += [
        f"a row of {row[0]} points to a missing row of {row[2]}"
        for row in connection.exec_driver_sql("PRAGMA foreign_key_check")
    ]
    return tuple(found)


# --- connections and errors -----------------------------------------------------------------------------------


def _engine(path: Path, *, wait_s: float = 5.0, migrating: bool = False) -> Engine:
    def connect() -> sqlite3.Connection:
        driver = sqlite3.connect(path, timeout=wait_s, isolation_level=None, check_same_thread=False)
        driver.execute("PRAGMA synchronous = FULL")
        driver.execute("PRAGMA trusted_schema = OFF")
        driver.execute(f"PRAGMA foreign_keys = {'OFF' if migrating else 'ON'}")
        return driver

    pool: dict[str, Any] = (
        {"poolclass": NullPool} if migrating else {"poolclass": QueuePool, "max_overflow": -1}
    )
    engine = create_engine("sqlite://", creator=connect, hide_parameters=True, **pool)

    # The driver's own transaction handling is off (isolation_level None), so BEGIN is ours to send.
    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        immediate = migrating or connection.get_execution_options().get("coldlash_immediate")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine


def _driver(connection: Connection) -> sqlite3.Connection:
    return cast("sqlite3.Connection", connection.connection.dbapi_connection)


def _code(error: BaseException) -> str:
    return str(getattr(error, "sqlite_errorname", ""))


def _is_busy(error: DBAPIError) -> bool:
    return _code(error.orig or error).startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))


def words_of(error: BaseException, path: Path, *, made: bool = False) -> str:
    """A database error in plain words: what is wrong with the book and what to do."""
    code = _code(error)
    verb = "made" if made else "changed"
    unchanged = f"nothing was {verb}"
    if code.startswith(NO_LOCKS):
        return (
            f"{path}: this folder does not keep two writers apart (is it a network share?); {unchanged}; "
            "move the book to a local disk"
        )
    match code.split("_")[1] if code.startswith("SQLITE_") else "":
        case "FULL":
            return f"{path}: the disk is full; {unchanged}; make room and try again"
        case "BUSY" | "LOCKED":
            return f"{path}: another program holds this book; {unchanged}; try again"
        case "READONLY":
            return f"{path}: the book or its folder can't be written to; {unchanged}; check its permissions"
        case "CANTOPEN" | "PERM" | "AUTH":
            return f"{path}: the book can't be opened; {unchanged}; check the folder and its permissions"
        case "CORRUPT":
            return _damaged(path, str(error))
        case "NOTADB":
            return _damaged(path, "it can't be read as a database")
        case "IOERR":
            return f"{path}: the disk can't be read or written ({code}); {unchanged}; check it and try again"
        case "CONSTRAINT":
            return f"{path}: a rule of the book forbids this ({error}); {unchanged}"
        case _:
            return f"{path}: the book could not be used ({error}); {unchanged}"


@contextmanager
def translated(path: Path, *, made: bool = False) -> Iterator[None]:
    """Errors of the database become BookError in plain words; all others pass."""
    try:
        yield
    except StatementError as error:
        if isinstance(error.orig, ColdlashError):  # a column type refused the value
            raise error.orig from error
        raise BookError(words_of(error.orig or error, path, made=made)) from error
    except sqlite3.Error as error:
        raise BookError(words_of(error, path, made=made)) from error
