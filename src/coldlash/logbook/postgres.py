"""A book in a PostgreSQL database, for a club or a shop with several bays: ``postgresql+psycopg://ann@host/shed``.

The same tables and rules as in a file. One writer at a time holds an advisory lock of its transaction; readers see
one state and never wait. What is acknowledged is on the server's disk (``synchronous_commit`` is switched on for
coldlash's own connections; a server told to run without ``fsync`` can still lose it).

A database holds one book, or one per schema: ``?options=-csearch_path%3Dbay2`` names another schema.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError, StatementError

from coldlash.errors import BookError, ColdlashError, InputError
from coldlash.language import say
from coldlash.logbook.checking import deep_faults
from coldlash.logbook.keeping import WAIT_NOTICE_S, Kept
from coldlash.logbook.migrations import FOLDER, known_revisions, upgrade

LOCK_SPACE = 0x636C6173
"""The first of the two numbers of coldlash's advisory locks ("clas"); the second comes from the schema's name."""
MARK = "coldlash book"
"""The comment on the table of versions by which a book is known from another program's database."""
CONNECT_TIMEOUT_S = 10
SHOWN = ("host", "port", "options")
"""What may be shown of the rest of an address."""


def server_url(text: str) -> URL:
    """The URL of a book on a server, for the one driver that coldlash uses. Raises BookError."""
    try:
        url = make_url(text).set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError) as error:
        raise BookError(
            say(
                "this is no address of a book on a server: {kind}; write it like "
                "postgresql+psycopg://ann@host/shed",
                kind=type(error).__name__,
            )
        ) from None
    if not url.database:
        raise BookError(
            say(
                "{address}: which database? Write it like postgresql+psycopg://ann@host/shed",
                address=shown(url),
            )
        )
    if "connect_timeout" not in url.query:
        url = url.update_query_dict({"connect_timeout": str(CONNECT_TIMEOUT_S)})
    return url


def shown(url: URL) -> str:
    """A URL as it may be printed: without anything secret."""
    kept = {name: value for name, value in url.query.items() if name in SHOWN}
    return url._replace(password=None).set(query=kept).render_as_string()


class ServerBook(Kept):
    """An open book on a PostgreSQL server."""

    def __init__(self, url: URL, *, wait_s: float, on_wait: Callable[[], None] | None) -> None:
        super().__init__(shown(url), _engine(url), wait_s=wait_s, on_wait=on_wait)
        self.url = url
        self._lock = 0
        self._reached = False

    @property
    def path(self) -> Path:
        """There is none. Raises BookError."""
        raise BookError(say("{name}: this book is on a server, not in a file", name=self.name))

    @contextmanager
    def translated(self) -> Iterator[None]:
        """Errors of PostgreSQL become BookError in plain words; all others pass."""
        import psycopg

        try:
            yield
        except StatementError as error:
            if isinstance(error.orig, ColdlashError):  # a column type refused the value
                raise error.orig from error
            raise BookError(words_of(error.orig or error, self.name, reached=self._reached)) from error
        except (psycopg.Error, SQLAlchemyError) as error:
            raise BookError(words_of(error, self.name, reached=self._reached)) from error

    def check(self) -> tuple[str, ...]:
        """Read the whole book and list what is wrong with it; empty = sound. Raises BookError if unreadable."""
        with self.reading() as connection:
            return deep_faults(connection)

    def learn_lock(self, connection: Connection) -> None:
        """Work out which lock is this book's: writers of other schemas in the same database don't wait for it."""
        self._reached = True
        schema = connection.exec_driver_sql("SELECT current_schema()").scalar_one()
        if schema is None:
            raise BookError(
                say(
                    "{name}: the schema of this address does not exist; nothing was changed; make it first "
                    "(CREATE SCHEMA)",
                    name=self.name,
                )
            )
        self._lock = zlib.crc32(str(schema).encode()) - 2**31

    def _ready_to_read(self, connection: Connection) -> None:
        connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)

    def _begin_writing(self, connection: Connection) -> None:
        # READ COMMITTED, so that what the writer before left is seen: a snapshot would be as old as the waiting.
        if self.wait_s == 0:
            got = connection.exec_driver_sql(
                f"SELECT pg_try_advisory_xact_lock({LOCK_SPACE}, {self._lock})"
            ).scalar_one()
            if got:
                return
            raise self._gave_up()
        noticed = self.wait_s > WAIT_NOTICE_S
        for seconds in (WAIT_NOTICE_S, self.wait_s - WAIT_NOTICE_S) if noticed else (self.wait_s,):
            try:
                self._take_lock(connection, seconds)
            except DBAPIError as error:
                if _code(error.orig) != "55P03":
                    raise
                connection.rollback()
                if noticed and self.on_wait is not None:
                    self.on_wait()
                noticed = False
            else:
                return
        raise self._gave_up()

    def _take_lock(self, connection: Connection, seconds: float) -> None:
        wait_ms = max(1, round(seconds * 1000))
        connection.exec_driver_sql(
            f"SET LOCAL lock_timeout = {wait_ms}; SELECT pg_advisory_xact_lock({LOCK_SPACE}, {self._lock})"
        )

    def _gave_up(self) -> BookError:
        return BookError(
            say(
                "{name}: another coldlash is writing to this book; waited {wait_s:g} s; nothing was changed; "
                "try again",
                name=self.name,
                wait_s=self.wait_s,
            )
        )

    def _commit(self, connection: Connection) -> None:
        try:
            connection.commit()
        except DBAPIError as error:
            if error.connection_invalidated or not _code(error.orig):
                raise BookError(
                    say(
                        "{name}: the connection was lost while the last write was being kept; whether it stands is "
                        "not known; open the book again and look before writing it again",
                        name=self.name,
                    )
                ) from error
            raise

    def _state(self, connection: Connection) -> str:
        from psycopg.pq import TransactionStatus

        if connection.invalidated:
            return "none"
        driver: Any = connection.connection.dbapi_connection
        match driver.info.transaction_status:
            case TransactionStatus.INTRANS | TransactionStatus.ACTIVE:
                return "open"
            case TransactionStatus.INERROR:
                return "failed"
            case _:
                return "none"


def open_server(
    address: str,
    *,
    create: bool = False,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
    migrations: Path = FOLDER,
    before_update: Callable[[Kept, str], None] | None = None,
) -> ServerBook:
    """Open a book on a server, bringing an older one up to date; with ``create`` make one in an empty database.

    ``before_update`` is given the old book and its revision before it is changed. Raises BookError in plain words
    whatever is wrong, InputError for a wait that is no time.
    """
    if not 0 <= wait_s <= 86_400:
        raise InputError(say("the wait must be 0 s to a day, not {wait_s} s", wait_s=wait_s))
    url = server_url(address)
    book = ServerBook(url, wait_s=wait_s, on_wait=on_wait)
    try:
        _bring_up_to_date(book, create, migrations, before_update)
    except BaseException:
        book.engine.dispose()
        raise
    return book


def is_in_use(address: str) -> bool:
    """Is there anything in that database (in the schema of that address)? Raises BookError."""
    book = ServerBook(server_url(address), wait_s=0, on_wait=None)
    try:
        with book.translated(), book.engine.connect() as connection:
            return bool(_tables(connection))
    finally:
        book.engine.dispose()


def _engine(url: URL) -> Engine:
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise BookError(
            say(
                "{address}: books on a server need the PostgreSQL driver; install coldlash[postgres]",
                address=shown(url),
            )
        ) from None
    given = url.query.get("options", "")
    options = f"{given} -c synchronous_commit=on -c client_min_messages=error -c timezone=UTC".strip()
    return create_engine(
        url,
        hide_parameters=True,
        pool_pre_ping=True,
        max_overflow=-1,
        connect_args={"options": options, "client_encoding": "utf8", "application_name": "coldlash"},
    )


def _bring_up_to_date(
    book: ServerBook,
    create: bool,
    migrations: Path,
    before_update: Callable[[Kept, str], None] | None,
) -> None:
    head, known = known_revisions(migrations)
    with book.translated(), book.engine.connect() as connection:
        encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
        if encoding != "UTF8":
            raise BookError(
                say(
                    "{name}: this database keeps text as {encoding}; nothing was changed; make one that takes "
                    "every script: CREATE DATABASE shed ENCODING 'UTF8' TEMPLATE template0",
                    name=book.name,
                    encoding=encoding,
                )
            )
        book.learn_lock(connection)
        revision = _revision(connection, book, create)
    if revision == head:
        return
    if revision is not None and revision not in known:
        raise BookError(
            say(
                "{name} was made by a newer coldlash; nothing was changed; update coldlash and open it again",
                name=book.name,
            )
        )
    if revision is not None and before_update is not None:
        before_update(book, revision)
    with book.writing() as connection:
        try:
            upgrade(connection, folder=migrations)
            connection.exec_driver_sql(f"COMMENT ON TABLE alembic_version IS '{MARK}'")
        except (BookError, SQLAlchemyError):
            raise
        except Exception as error:
            raise BookError(
                say(
                    "{name}: bringing the book up to date failed ({error}); the old book stands as it was",
                    name=book.name,
                    error=error,
                )
            ) from error


def _revision(connection: Connection, book: ServerBook, create: bool) -> str | None:
    """The schema revision of the book, None where one may be made. Raises BookError."""
    tables = _tables(connection)
    if not tables:
        if create:
            return None
        raise BookError(
            say("there is no book at {name}; check the address, or make a new book there", name=book.name)
        )
    if ("alembic_version", MARK) not in tables:
        raise BookError(
            say(
                "{name} is not a coldlash book; nothing was changed; give the address of a book or of an "
                "empty database (it is a database of another program)",
                name=book.name,
            )
        )
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all()
    if len(rows) != 1:
        raise BookError(
            say(
                "{name}: the book is damaged (it does not say which version it is); nothing was changed; go "
                "on from a backup (coldlash restore)",
                name=book.name,
            )
        )
    return str(rows[0])


def _tables(connection: Connection) -> list[tuple[str, str | None]]:
    """Everything like a table in the schema of the connection, with its comment."""
    rows = connection.exec_driver_sql(
        "SELECT relname, obj_description(oid, 'pg_class') FROM pg_class "
        "WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'p', 'v', 'm', 'f')"
    )
    return [(row[0], row[1]) for row in rows]


def _code(error: BaseException | None) -> str:
    return str(getattr(error, "sqlstate", None) or "")


def words_of(error: BaseException, name: str, *, reached: bool = True) -> str:
    """A PostgreSQL error in plain words: what is wrong with the book and what to do.

    ``reached``: the server has answered before. Source of the codes: PostgreSQL's manual, appendix A.
    """
    code = _code(error)
    detail = _first_line(error)
    match code:
        case "53100":
            return say(
                "{name}: the server's disk is full; nothing was changed; make room there and try again",
                name=name,
            )
        case "53300":
            return say(
                "{name}: the server takes no more connections just now; nothing was changed; try again",
                name=name,
            )
        case "55P03" | "57014" | "40001" | "40P01":
            return say("{name}: another program holds this book; nothing was changed; try again", name=name)
        case "25006":
            return say(
                "{name}: the server takes no writes (is it a standby copy?); nothing was changed; use the "
                "main server",
                name=name,
            )
        case "3D000":
            return say(
                "{name}: the server has no such database; check the address, or make one there (createdb)",
                name=name,
            )
        case "42501":
            return say(
                "{name}: the server does not let you do this ({detail}); nothing was changed; ask for the "
                "rights",
                name=name,
                detail=detail,
            )
        case "25P02":
            return say(
                "{name}: an earlier write of these failed; nothing was changed; try them all again", name=name
            )
        case "42P01" | "42703":
            return say(
                "{name}: the book is damaged ({detail}); nothing was changed; go on from a backup (coldlash "
                "restore)",
                name=name,
                detail=detail,
            )
    match code[:2]:
        case "28":
            return say("{name}: the server refused this user or password; check the address", name=name)
        case "23" | "P0":
            return say(
                "{name}: a rule of the book forbids this ({detail}); nothing was changed",
                name=name,
                detail=detail,
            )
        case "XX":
            return say(
                "{name}: the book is damaged ({detail}); nothing was changed; go on from a backup (coldlash "
                "restore)",
                name=name,
                detail=detail,
            )
        case "08" | "57":
            return _closed(name)
        case "" if _is_connection(error):
            if reached:
                return _closed(name)
            return say(
                "{name}: the server can't be reached ({detail}); nothing was changed; check the address and "
                "the server",
                name=name,
                detail=detail,
            )
    return say("{name}: the book could not be used ({detail}); nothing was changed", name=name, detail=detail)


def _closed(name: str) -> str:
    return say(
        "{name}: the server closed the connection; nothing was changed; try again when it is back", name=name
    )


def _is_connection(error: BaseException) -> bool:
    import psycopg

    return isinstance(error, psycopg.OperationalError)


def _first_line(error: BaseException) -> str:
    return next((line.strip() for line in str(error).splitlines() if line.strip()), type(error).__name__)
