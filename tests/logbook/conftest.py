"""Books for the tests: made once, copied for each test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.logbook.shelf import ENGINE_TOML, NAME, open_book

from coldlash.logbook.store import Book


@pytest.fixture(scope="session")
def made_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed book with one engine."""
    path = tmp_path_factory.mktemp("made") / "book.coldlash"
    with open_book(path, create=True) as book:
        book.add_engine(NAME, ENGINE_TOML)
    return path


@pytest.fixture
def path(made_book: Path, tmp_path: Path) -> Path:
    """A copy of that book, closed."""
    return Path(shutil.copy(made_book, tmp_path / "book.coldlash"))


@pytest.fixture
def book(path: Path) -> Iterator[Book]:
    """A copy of that book, open."""
    with open_book(path) as opened:
        yield opened
