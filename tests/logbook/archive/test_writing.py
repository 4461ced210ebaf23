"""An archive is made whole or not at all."""

from __future__ import annotations

import errno
import os
import sqlite3
import zipfile
from contextlib import closing

import pytest
from tests.logbook.shelf import full_book, open_book

from coldlash.errors import BookError
from coldlash.logbook.archive import writing
from coldlash.logbook.archive.writing import slug


@pytest.fixture
def full(tmp_path):
    return full_book(tmp_path / "full.coldlash")


def test_the_same_book_gives_the_same_bytes_each_time(full, tmp_path):
    with open_book(full) as book:
        made = book.write_archive(tmp_path / "a.zip")
        book.write_archive(tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    assert made.size == (tmp_path / "a.zip").stat().st_size
    assert all(count > 0 for count in made.rows.values())  # the book has one of everything


def test_a_plain_program_finds_the_archive_whole(full, tmp_path):
    with open_book(full) as book:
        book.write_archive(tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as file:  # independent software: Python's own reader
        assert file.testzip() is None
        assert file.namelist()[0] == "README.txt"
        assert b"No program of ours is needed" in file.read("README.txt")


def test_progress_counts_every_row(full, tmp_path):
    seen: list[tuple[int, int, str]] = []
    with open_book(full) as book:
        made = book.write_archive(tmp_path / "a.zip", progress=lambda *how: seen.append(how))
    assert seen[-1][0] == seen[-1][1] == sum(made.rows.values())
    assert {table for _, _, table in seen} == set(made.rows)


def test_nothing_is_overwritten_and_a_missing_folder_is_said(full, tmp_path):
    (tmp_path / "a.zip").write_bytes(b"mine")
    with open_book(full) as book:
        with pytest.raises(BookError, match="is there already; nothing was changed; choose another name"):
            book.write_archive(tmp_path / "a.zip")
        with pytest.raises(BookError, match=r"the folder .* does not exist; make it first"):
            book.write_archive(tmp_path / "nowhere" / "a.zip")
    assert (tmp_path / "a.zip").read_bytes() == b"mine"


def test_no_archive_is_made_of_a_book_that_is_not_sound(full, tmp_path):
    with open_book(full) as book:
        with closing(sqlite3.connect(full)) as db:
            db.execute("DROP TRIGGER readings_no_update")
        with pytest.raises(BookError, match=r"the book is not sound \(readings: .*\); no archive was made"):
            book.write_archive(tmp_path / "a.zip")
    assert not (tmp_path / "a.zip").exists()


def test_a_full_disk_is_said_and_leaves_nothing(full, tmp_path, monkeypatch):
    def full_disk(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(writing.Writer, "close", full_disk)
    with (
        open_book(full) as book,
        pytest.raises(BookError, match=r"No space left on device; nothing was made|disk is full"),
    ):
        book.write_archive(tmp_path / "a.zip")
    assert [name for name in os.listdir(tmp_path) if ".zip" in name] == []


def test_a_writing_that_is_stopped_leaves_nothing(full, tmp_path):
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with open_book(full) as book, pytest.raises(KeyboardInterrupt):
        book.write_archive(tmp_path / "a.zip", progress=stop)
    assert [name for name in os.listdir(tmp_path) if ".zip" in name] == []


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("Van engine", "-van-engine"),
        ("Öl-Motor!", "-ol-motor"),
        ("車", ""),
        ("../../x", "-x"),
        ("a" * 200, "-" + "a" * 40),
    ],
)
def test_a_name_becomes_a_plain_path(name, path):
    assert slug(name) == path
