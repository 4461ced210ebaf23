"""Books for the benchmarks, in a file and on a PostgreSQL server of our own (benchmarks have no pytest).

    for backend in backends():
        with backend.places() as new_place:
            book = Book.open(new_place(), create=True)

The server is the one of the tests: on a socket in a temporary folder, without ``fsync``; so its figures leave out the
disk's own slowness, while those of a file include it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.postgresql import Server

NewPlace = Callable[[], str]
"""Gives the path or address of a place where a new book can be made."""


@dataclass(frozen=True)
class Backend:
    """One way to keep books; ``with backend.places() as new_place``."""

    name: str
    places: Callable[[], AbstractContextManager[NewPlace]]


@contextmanager
def _files() -> Iterator[NewPlace]:
    with tempfile.TemporaryDirectory() as folder:
        count = iter(range(1, 10_000))
        yield lambda: str(Path(folder) / f"book-{next(count)}.coldlash")


@contextmanager
def _databases() -> Iterator[NewPlace]:
    with Server() as server:
        yield lambda: server.url(server.new_database())


def backends() -> tuple[Backend, ...]:
    """Both. Raises tests.postgresql.NoServerError, with the remedy, once the second is used and is not here."""
    return (Backend("file", _files), Backend("PostgreSQL", _databases))
