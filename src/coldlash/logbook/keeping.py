"""What an open book does whatever keeps it: one unchanging state to read, one writer at a time, all or nothing.

``logbook.bookfile`` keeps books in SQLite files, ``logbook.postgres`` in PostgreSQL databases.
"""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine

from coldlash.errors import BookError
from coldlash.language import say

WAIT_NOTICE_S = 0.5
"""After this long a waiting writer tells its caller that it waits."""


class Kept(ABC):
    """An open book: connections, transactions, errors in plain words. Safe to share between threads."""

    def __init__(
        self, name: str, engine: Engine, *, wait_s: float, on_wait: Callable[[], None] | None
    ) -> None:
        self.name = name
        self.engine = engine
        self.wait_s = wait_s
        self.on_wait = on_wait
        self._local = threading.local()
        self._closed = False

    @property
    @abstractmethod
    def path(self) -> Path:
        """The book's file. Raises BookError when it is kept in no file."""

    @abstractmethod
    def translated(self) -> AbstractContextManager[None]:
        """Errors of the database become BookError in plain words; all others pass."""

    @abstractmethod
    def check(self) -> tuple[str, ...]:
        """Read the whole book and list what is wrong with it; empty = sound. Raises BookError if unreadable."""

    @abstractmethod
    def _ready_to_read(self, connection: Connection) -> None:
        """Make what the connection reads from now on one unchanging state."""

    @abstractmethod
    def _begin_writing(self, connection: Connection) -> None:
        """Begin a transaction that holds the one right to write. Raises BookError after ``wait_s``."""

    @abstractmethod
    def _commit(self, connection: Connection) -> None:
        """End it; what was written is on the disk afterwards."""

    @abstractmethod
    def _state(self, connection: Connection) -> str:
        """The transaction of the connection: "open", "failed" (it can only be undone) or "none"."""

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one unchanging state of the book. Raises BookError.

        Inside ``writing`` on the same thread it is the writing connection, which sees its own writes.
        """
        mine = self._own_connection()
        with self.translated():
            if mine is not None:
                yield mine
                return
            with self.engine.connect() as connection:
                self._ready_to_read(connection)
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection that holds the book's one right to write; all or nothing. Raises BookError.

        Inside another ``writing`` on the same thread it is a part of that one: if it fails, it alone is undone,
        and what it did stands only when the outer one ends well.
        """
        mine = self._own_connection()
        with self.translated():
            if mine is not None:
                with self._part_of(mine):
                    yield mine
                return
            with self.engine.connect() as connection:
                self._begin_writing(connection)
                self._local.connection = connection
                try:
                    yield connection
                    self._own_connection()
                    self._commit(connection)
                finally:
                    self._local.connection = None

    def _own_connection(self) -> Connection | None:
        """The connection this thread is writing with, if it is. Raises BookError when its transaction is gone."""
        if self._closed:
            raise BookError(
                say("{name}: this book was closed; nothing was changed; open it again", name=self.name)
            )
        mine: Connection | None = getattr(self._local, "connection", None)
        if mine is not None and self._state(mine) != "open":
            raise BookError(
                say(
                    "{name}: an earlier write of these failed; nothing was changed; try them all again",
                    name=self.name,
                )
            )
        return mine

    @contextmanager
    def _part_of(self, connection: Connection) -> Iterator[None]:
        # Plain SQL, not SQLAlchemy's savepoints: a full disk may make SQLite drop the whole transaction, and
        # then there is no savepoint left to go back to; that must not hide the error that caused it.
        driver: Any = connection.connection.dbapi_connection
        driver.execute("SAVEPOINT part")
        try:
            yield
            driver.execute("RELEASE SAVEPOINT part")
        except BaseException:
            if self._state(connection) != "none":
                driver.execute("ROLLBACK TO SAVEPOINT part")
                driver.execute("RELEASE SAVEPOINT part")
            raise

    def close(self) -> None:
        """Give up every connection."""
        self._closed = True
        with self.translated():
            self.engine.dispose()
