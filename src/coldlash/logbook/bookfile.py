"""The book's SQLite file: how it is made, opened, guarded and checked, and what its faults are in plain words.

A new book is built whole beside its place and then put there, so a half-made one never stands. An existing file
is looked at by its first bytes before SQLite may touch it: what is not a coldlash book stays as it is. Writing
waits for one writer at a time; every write is on the disk before it is acknowledged (WAL, synchronous FULL).
"""

from __future__ import annotations

import errno
import os
import sqlite3
import uuid
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, cast
from urllib.parse import quote, unquote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, SQLAlchemyError, StatementError
from sqlalchemy.pool import NullPool, QueuePool

from coldlash.errors import BookError, ColdlashError, InputError
from coldlash.language import say
from coldlash.logbook.checking import deep_faults, unreadable
from coldlash.logbook.keeping import WAIT_NOTICE_S, Kept
from coldlash.logbook.migrations import FOLDER, HEAD, known_revisions, upgrade
from coldlash.logbook.models import APPLICATION_ID

HEADER_BYTES = 100
MAGIC = b"SQLite format 3\x00"
CHECK_ON_OPEN_BYTES = 32 * 2**20
"""Books up to this size are checked whole each time they are opened; larger ones by ``check`` and before a
migration, because reading all of a large book takes seconds."""
UNREADABLE = "Could not decode to UTF-8"
"""What the driver says of text that is none."""

LEFTOVERS = ("-journal", "-wal", "-shm")
"""What SQLite may keep beside a file while it is open."""

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


def file_of(path_or_url: str | os.PathLike[str]) -> Path:
    """The file meant by a path or a ``sqlite:///path`` URL. Raises BookError for another kind of URL."""
    text = os.fspath(path_or_url)
    if not text or "\0" in text:
        raise BookError(say("{text!r} is no path of a book", text=text))
    scheme, mark, rest = text.partition("://")
    if not mark:
        return Path(text).expanduser()
    if scheme != "sqlite" or not rest.startswith("/") or rest == "/":
        raise BookError(
            say(
                "{address}: books are kept in files or on PostgreSQL; give a path, sqlite:///path "
                "or postgresql+psycopg://user@host/database",
                address=_without_password(text),
            )
        )
    return Path(unquote(rest[1:]))


def _without_password(url: str) -> str:
    scheme, _, rest = url.partition("://")
    return f"{scheme}://...@{rest.rpartition('@')[2]}" if "@" in rest else url


class BookFile(Kept):
    """An open SQLite book."""

    def __init__(self, path: Path, *, wait_s: float, on_wait: Callable[[], None] | None) -> None:
        super().__init__(str(path), _engine(path, wait_s=wait_s), wait_s=wait_s, on_wait=on_wait)
        self._path = path

    @property
    def path(self) -> Path:
        """The book's file."""
        return self._path

    def translated(self) -> AbstractContextManager[None]:
        """Errors of SQLite become BookError in plain words; all others pass."""
        return translated(self._path)

    def check(self) -> tuple[str, ...]:
        """Read the whole book and list what is wrong with it; empty = sound. Raises BookError if unreadable."""
        with self.reading() as connection:
            return faults_of(connection, "PRAGMA integrity_check") or deep_faults(connection)

    def _ready_to_read(self, connection: Connection) -> None:
        """Nothing to do: a transaction on a write-ahead log sees one state."""

    def _begin_writing(self, connection: Connection) -> None:
        begin_immediate(connection, self._path, self.wait_s, self.on_wait)

    def _commit(self, connection: Connection) -> None:
        connection.commit()

    def _state(self, connection: Connection) -> str:
        return "open" if _driver(connection).in_transaction else "none"


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
        say(
            "{path}: another coldlash is writing to this book; waited {wait_s:g} s; nothing was changed; "
            "try again",
            path=path,
            wait_s=wait_s,
        )
    )


def open_file(
    path: Path,
    *,
    create: bool = False,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
    migrations: Path = FOLDER,
    before_update: Callable[[Kept, str], None] | None = None,
) -> BookFile:
    """Open a book's file, bringing an older one up to date; with ``create`` make a missing one.

    ``before_update`` is given the old book and its revision before it is changed.

    Raises BookError in plain words whatever is wrong, InputError for a wait that is no time.
    """
    if not 0 <= wait_s <= 86_400:
        raise InputError(say("the wait must be 0 s to a day, not {wait_s} s", wait_s=wait_s))
    if _must_be_made(path, create):
        make_file(path, migrations)
    _look_at_header(path)
    book = BookFile(path, wait_s=wait_s, on_wait=on_wait)
    try:
        _bring_up_to_date(book, migrations, before_update)
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
            raise BookError(
                say(
                    "{path} is a folder; give the book's file, for example {example}",
                    path=path,
                    example=path / "book.coldlash",
                )
            )
        if path.is_file():
            return False
        if path.exists():
            raise BookError(say("{path} is no file that can be a book; give another path", path=path))
    except OSError as error:
        raise BookError(
            say("{path}: can't be reached ({reason})", path=path, reason=error.strerror)
        ) from error
    if not create:
        raise BookError(
            say("there is no book at {path}; check the path, or make a new book there", path=path)
        )
    if not path.parent.is_dir():
        raise BookError(
            say(
                "the folder {folder} does not exist; make it first or choose another place",
                folder=path.parent,
            )
        )
    return True


def make_file(path: Path, migrations: Path = FOLDER, to: str = "head") -> None:
    """Build a whole new book (of revision ``to``) and put it at ``path``, unless another process was quicker."""
    building = path.with_name(f".{path.name}.{uuid.uuid4().hex[:8]}.new")
    try:
        with translated(path, made=True):
            engine = _engine(building, migrating=True)
            try:
                with engine.connect() as connection:
                    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
                    upgrade(connection, folder=migrations, to=to)
                    connection.commit()
                    _demand_wal(connection, path, "made")
            finally:
                engine.dispose()
            _put_in_place(building, path)
    except OSError as error:
        raise BookError(
            say("{path}: {reason}; nothing was made; check the folder", path=path, reason=error.strerror)
        ) from error
    finally:
        for leftover in (building, *(Path(f"{building}{tail}") for tail in LEFTOVERS)):
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
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk. Raises OSError."""
    if os.name == "posix":
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        except OSError as error:
            if error.errno != errno.EINVAL:  # some file systems know no such thing
                raise
        finally:
            os.close(opened)


# --- looking ------------------------------------------------------------------------------------------------


def _look_at_header(path: Path) -> None:
    """Refuse what is not a coldlash book by its first bytes, before SQLite may touch it. Raises BookError."""
    try:
        with path.open("rb") as file:
            header = file.read(HEADER_BYTES)
    except OSError as error:
        raise BookError(
            say("{path}: can't be read ({reason}); check its permissions", path=path, reason=error.strerror)
        ) from error
    if not header:
        raise BookError(
            say(
                "{path} is empty, not a coldlash book; nothing was changed; restore a copy, or remove the "
                "file",
                path=path,
            )
        )
    if header[:16] != MAGIC:
        raise BookError(
            say("{path} is not a coldlash book; nothing was changed; give the path of a book", path=path)
        )
    if len(header) < HEADER_BYTES:
        raise BookError(_damaged(path, say("its first page is cut short")))
    if int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise BookError(
            say(
                "{path} is not a coldlash book; nothing was changed; give the path of a book "
                "(it is a database of another program)",
                path=path,
            )
        )


def _damaged(path: Path, detail: str) -> str:
    return say(
        "{path}: the book is damaged ({detail}); nothing was changed; keep this file and go on from "
        "a backup (coldlash restore), or save what can be saved (coldlash salvage)",
        path=path,
        detail=detail,
    )


@contextmanager
def read_only(path: Path) -> Iterator[Connection]:
    """A connection to a book's file of any version that changes nothing, not even beside it. Raises BookError."""
    _look_at_header(path)
    # Without a log beside it the file is all there is; told so, SQLite makes no files of its own there.
    alone = "" if Path(f"{path}-wal").exists() else "&immutable=1"
    address = f"file:{quote(str(path.absolute()))}?mode=ro{alone}"
    engine = create_engine(
        "sqlite://",
        creator=lambda: sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False),
        poolclass=NullPool,
        hide_parameters=True,
    )
    try:
        with translated(path), engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


def revision_of(connection: Connection, path: Path) -> str:
    """The schema revision a book says it has. Raises BookError."""
    known = connection.exec_driver_sql(
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'"
    ).scalar_one()
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version").fetchall() if known else []
    if len(rows) != 1:
        raise BookError(_damaged(path, say("it does not say which version it is")))
    return str(rows[0][0])


def _bring_up_to_date(
    book: BookFile, migrations: Path, before_update: Callable[[Kept, str], None] | None
) -> None:
    head, known = known_revisions(migrations)
    with book.reading() as connection:
        revision = revision_of(connection, book.path)
        if revision not in known:
            raise BookError(
                say(
                    "{path} was made by a newer coldlash; nothing was changed; update coldlash and open it again",
                    path=book.path,
                )
            )
        if revision != head or book.path.stat().st_size <= CHECK_ON_OPEN_BYTES:
            faults = faults_of(connection, "PRAGMA quick_check")
            if not faults and revision == HEAD:
                faults = tuple(unreadable(connection))
            if faults:
                raise BookError(_damaged(book.path, faults[0]))
    if revision != head:
        if before_update is not None:
            before_update(book, revision)
        _migrate(book, migrations)


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
                    say(
                        "{path}: bringing the book up to date failed ({error}); the old book stands as it was",
                        path=book.path,
                        error=error,
                    )
                ) from error
            connection.commit()
    finally:
        engine.dispose()


def _switch_to_wal(book: BookFile) -> None:
    with book.reading() as connection:
        _demand_wal(connection, book.path, "changed")


def _demand_wal(connection: Connection, path: Path, verb: str) -> None:
    """Switch a book to its write-ahead log. Raises BookError where the folder has no shared memory or locks for it."""
    mode = _driver(connection).execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise BookError(
            say(
                "{path}: this folder can't keep a write-ahead log (it may be a network share or read-only); "
                "nothing was {verb}; keep the book on a local disk",
                path=path,
                verb=verb,
            )
        )


def faults_of(connection: Connection, pragma: str) -> tuple[str, ...]:
    lines = [line for row in connection.exec_driver_sql(pragma) for line in str(row[0]).splitlines()]
    found = [line for line in lines if line != "ok" and not line.startswith("***")]
    found += [
        say("a row of {table} points to a missing row of {other}", table=row[0], other=row[2])
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
    unchanged = say("nothing was made") if made else say("nothing was changed")
    if code.startswith(NO_LOCKS):
        return say(
            "{path}: this folder does not keep two writers apart (is it a network share?); {unchanged}; "
            "move the book to a local disk",
            path=path,
            unchanged=unchanged,
        )
    match code.split("_")[1] if code.startswith("SQLITE_") else "":
        case "FULL":
            return say(
                "{path}: the disk is full; {unchanged}; make room and try again",
                path=path,
                unchanged=unchanged,
            )
        case "BUSY" | "LOCKED":
            return say(
                "{path}: another program holds this book; {unchanged}; try again",
                path=path,
                unchanged=unchanged,
            )
        case "READONLY":
            return say(
                "{path}: the book or its folder can't be written to; {unchanged}; check its permissions",
                path=path,
                unchanged=unchanged,
            )
        case "CANTOPEN" | "PERM" | "AUTH":
            return say(
                "{path}: the book can't be opened; {unchanged}; check the folder and its permissions, and "
                "that it is on a local disk, not on a network share",
                path=path,
                unchanged=unchanged,
            )
        case "CORRUPT":
            return _damaged(path, str(error))
        case "NOTADB":
            return _damaged(path, say("it can't be read as a database"))
        case "IOERR":
            return say(
                "{path}: the disk can't be read or written ({code}); {unchanged}; check it and try again",
                path=path,
                code=code,
                unchanged=unchanged,
            )
        case "CONSTRAINT":
            return say(
                "{path}: a rule of the book forbids this ({error}); {unchanged}",
                path=path,
                error=error,
                unchanged=unchanged,
            )
        case _ if UNREADABLE in str(error):
            return _damaged(path, say("text in it can't be read"))
        case _:
            return say(
                "{path}: the book could not be used ({error}); {unchanged}",
                path=path,
                error=error,
                unchanged=unchanged,
            )


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
    except UnicodeDecodeError as error:  # the driver could not read SQLite's own message about the damage
        raise BookError(_damaged(path, say("text in it can't be read"))) from error
