"""A book by path or address; whether something is there is seen without touching it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from tests.logbook.shelf import NAME, open_book

from coldlash.errors import BookError
from coldlash.logbook.opening import is_server, is_there, open_kept, shown_name

ONLY_FILES = {"test_a_link_to_nowhere_is_something"}


def test_a_book_that_is_there_is_seen(path, new_place):
    assert is_there(path)
    free = new_place()
    assert not is_there(free)
    open_kept(free, create=True).close()
    assert is_there(free)


def test_a_link_to_nowhere_is_something(path, tmp_path):
    os.symlink(tmp_path / "nowhere", tmp_path / "link")
    assert is_there(tmp_path / "link")
    assert is_there(f"sqlite:///{path}")


def test_one_call_opens_either_kind(path):
    book = open_kept(path)
    assert book.check() == ()
    book.close()
    assert book.name == shown_name(path)
    with (
        pytest.raises(BookError, match="this book was closed; nothing was changed; open it again"),
        book.reading(),
    ):
        pass


def test_the_same_book_opened_twice_shows_the_same(path):
    with open_book(path) as one, open_book(path) as other:
        one.add_vehicle("Van")
        assert [v.name for v in other.vehicles()] == ["Van"]
        assert [e.name for e in other.engines()] == [NAME]


def test_a_windows_path_is_no_server():
    assert not is_server(Path("C:/shed/book.coldlash"))
