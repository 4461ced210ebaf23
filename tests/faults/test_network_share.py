"""A folder without locks, such as a poor network share: said, nothing lost; a backup may lie there all the same.

Simulated with SQLite's own ways to open a file without locks (sqlite.org/uri.html, sqlite.org/vfs.html).
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from urllib.parse import quote

import pytest
from tests.faults.writers import open_book

from coldlash.errors import BookError
from coldlash.logbook.backup import restore


@pytest.fixture(params=["nolock=1", "vfs=unix-none", "vfs=unix-dotfile"])
def share(request, monkeypatch, tmp_path):
    """A folder in which SQLite finds no locks that it could trust."""
    folder = tmp_path / "share"
    folder.mkdir()
    real = sqlite3.connect

    def connect(path, *more, **options):
        if not str(path).startswith("file:") and Path(path).parent == folder:
            path, options["uri"] = f"file:{quote(str(path))}?{request.param}", True
        return real(path, *more, **options)

    monkeypatch.setattr(sqlite3, "connect", connect)
    return folder


def test_a_book_there_is_not_opened_and_stays_whole(path, share):
    there = share / "book.coldlash"
    there.write_bytes(path.read_bytes())
    with pytest.raises(BookError, match=r"nothing was changed; .* on a local disk, not on a network share"):
        open_book(str(there))
    assert there.read_bytes() == path.read_bytes()
    assert [file.name for file in share.iterdir()] == ["book.coldlash"]


def test_a_book_is_not_made_there(share):
    with pytest.raises(
        BookError, match=r"can't keep a write-ahead log \(it may be a network share .*nothing was made"
    ):
        open_book(str(share / "new.coldlash"), create=True)
    assert list(share.iterdir()) == []


def test_a_backup_may_lie_there_and_is_restored_from_there(path, share, tmp_path):
    with open_book(str(path)) as book:
        made = book.backup(share)
    assert [file.name for file in share.iterdir()] == [made.path.name]
    restore(made.path, tmp_path / "back.coldlash")
    with open_book(str(tmp_path / "back.coldlash")) as book:
        assert [engine.name for engine in book.engines()] == ["Delivery van"]
        assert book.check() == ()
