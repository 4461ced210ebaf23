"""Books for the tests: made once, a fresh one for each test, in a file and on a server.

Every test that takes ``path`` or ``book`` runs on both, unless its module says ``ONLY_FILES``: True for all of it, or
the names of the tests that are about the file itself.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.logbook.shelf import ENGINE_TOML, NAME, open_book
from tests.postgresql import Database, Server

from coldlash.logbook.store import Book


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run on both kinds of book what can be."""
    only_files: Any = getattr(metafunc.module, "ONLY_FILES", ())
    if "backend" in metafunc.fixturenames:
        alone = only_files is True or (only_files and metafunc.function.__name__ in only_files)
        metafunc.parametrize("backend", ["sqlite"] if alone else ["sqlite", "postgresql"], scope="session")


@pytest.fixture(scope="session")
def made_database(server: Server) -> Database:
    """A database with the book that each test starts from."""
    database = Database(server)
    with open_book(database.url, create=True) as book:
        book.add_engine(NAME, ENGINE_TOML)
    database.remember()
    return database


@pytest.fixture(scope="session")
def made_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed book with one engine."""
    path = tmp_path_factory.mktemp("made") / "book.coldlash"
    with open_book(path, create=True) as book:
        book.add_engine(NAME, ENGINE_TOML)
    return path


@pytest.fixture
def path(backend: str, request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """That book, closed: the path of a copy, or the address of its database."""
    if backend == "postgresql":
        database: Database = request.getfixturevalue("made_database")
        database.reset()
        return database.url
    return Path(shutil.copy(request.getfixturevalue("made_book"), tmp_path / "book.coldlash"))


@pytest.fixture
def book(path: Path | str) -> Iterator[Book]:
    """That book, open."""
    with open_book(path) as opened:
        yield opened


@pytest.fixture
def new_place(
    backend: str, request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[Callable[[], Path | str]]:
    """Makes places for new books: free paths, or empty databases."""
    made: list[str] = []

    def place() -> Path | str:
        if backend == "sqlite":
            made.append(f"new-{len(made)}.coldlash")
            return tmp_path / made[-1]
        made.append(server.new_database())
        return server.url(made[-1])

    server: Server = request.getfixturevalue("server") if backend == "postgresql" else None  # type: ignore[assignment]
    yield place
    if backend == "postgresql":
        for name in made:
            server.drop_database(name)
