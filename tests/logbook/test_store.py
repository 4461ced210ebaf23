"""The book as a whole: opened, used, closed."""

from __future__ import annotations

import pytest
from tests.logbook.shelf import ENGINE_TOML, NAME, NOON, NOON_TEXT, found, open_book, visit_on

from coldlash.errors import BookError
from coldlash.logbook.store import Book

ONLY_FILES = {"test_after_closing_nothing_stands_beside_the_book"}


def test_a_book_made_and_closed_is_there_again(tmp_path):
    path = tmp_path / "shed.coldlash"
    with Book.open(path, create=True, now=lambda: NOON) as book:
        book.add_engine(NAME, ENGINE_TOML)
        visit = book.open_visit(NAME, visit_on()).id
        book.record(visit, found())
    with Book.open(f"sqlite:///{path}") as book:
        assert book.path == path
        assert book.visit(visit).history[0].at == NOON_TEXT
        assert book.check() == ()


def test_create_opens_a_book_that_is_there(path):
    with open_book(path, create=True) as book:
        assert [engine.name for engine in book.engines()] == [NAME]


def test_a_book_that_is_not_there_is_an_error_of_the_book(tmp_path):
    with pytest.raises(BookError, match="there is no book at"):
        Book.open(tmp_path / "none.coldlash")


def test_after_closing_nothing_stands_beside_the_book(path):
    with open_book(path) as book:
        book.add_vehicle("Van")
        assert (path.parent / "book.coldlash-wal").exists()
    assert [file.name for file in path.parent.iterdir()] == ["book.coldlash"]


def test_many_writes_in_one_transaction_are_one_write_to_the_disk(book):
    with book.transaction() as same:
        assert same is book
        visit = book.open_visit(NAME, visit_on()).id
        for cylinder in range(1, 17):
            book.record(visit, found(f"E{cylinder}"))
        book.close_visit(visit)
    assert len(book.visits(NAME)[0].readings) == 16


def test_every_public_call_of_the_book_is_named_in_its_summary():
    import coldlash.logbook.store as store

    public = {name for name in dir(Book) if not name.startswith("_")} - {"path"}
    missing = {name for name in public if f"``{name}" not in (store.__doc__ or "") and name != "open"}
    assert missing == set()
