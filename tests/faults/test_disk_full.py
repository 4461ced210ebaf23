"""A full disk: a clear message, and everything that was acknowledged is there."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import event
from tests.faults.writers import back_up_with_little_room, new_reading, open_book, write_with_little_room

from coldlash.engine.catalogue import generic_text
from coldlash.engine.reader import read_engine
from coldlash.errors import BookError
from coldlash.logbook.exchange import import_log
from coldlash.logbook.records import NewVisit
from coldlash.logbook.store import Book

FULL = r"book\.coldlash: the disk is full; nothing was changed; make room and try again"


@pytest.fixture
def visit_id(path: Path) -> str:
    """An open visit in the book."""
    with open_book(str(path)) as book:
        return book.open_visit("Delivery van", NewVisit(day=date(2024, 5, 4), distance_m=1000)).id


def fill(book: Book, spare_pages: int) -> None:
    """From now on the book can grow by so many pages only: SQLite then answers SQLITE_FULL, as on a full disk."""

    @event.listens_for(book._file.engine, "checkout")
    def limit(connection: sqlite3.Connection, *_: object) -> None:
        used = connection.execute("PRAGMA page_count").fetchone()[0]
        now = connection.execute("PRAGMA max_page_count").fetchone()[0]
        if now > used + spare_pages:
            connection.execute(f"PRAGMA max_page_count = {used + spare_pages}")


def write_all(book: Book, visit_id: str, kept: list[str]) -> None:
    for number in range(198):
        kept.append(book.record(visit_id, new_reading(number)).id)


def test_a_full_disk_is_said_and_nothing_acknowledged_is_lost(path, visit_id):
    kept: list[str] = []
    with open_book(str(path)) as book:
        fill(book, 4)
        with pytest.raises(BookError, match=FULL):
            write_all(book, visit_id, kept)
        assert 0 < len(kept) < 198
        assert [row.id for row in book.visit(visit_id).history] == kept  # the open book can still be read
    with open_book(str(path)) as book:  # and there is room again
        assert [row.id for row in book.visit(visit_id).history] == kept
        assert book.check() == ()
        book.record(visit_id, new_reading(len(kept)))


def test_of_what_is_written_together_nothing_stands_when_the_disk_fills(path, visit_id):
    kept: list[str] = []

    def together(book: Book) -> None:
        with book.transaction():
            write_all(book, visit_id, kept)

    with open_book(str(path)) as book:
        fill(book, 4)
        with pytest.raises(BookError, match=FULL):
            together(book)
        assert len(kept) > 1
        assert book.visit(visit_id).history == ()


def test_an_import_that_finds_no_room_adds_nothing(path):
    engine = read_engine(generic_text("flat-four"), "flat-four")
    header = "date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note"
    rows = [f"2024-05-04,{n},,E1,0.10,0.15,yes,,{'x' * 300}" for n in range(200)]
    with open_book(str(path)) as book:
        fill(book, 4)
        with pytest.raises(BookError, match=FULL):
            import_log(book, "Delivery van", engine, "\n".join([header, *rows]), "log.csv")
        assert book.visits(state=None) == ()
    with open_book(str(path)) as book:
        assert import_log(book, "Delivery van", engine, "\n".join([header, *rows]), "log.csv").added == 200


def test_files_that_may_grow_no_further_are_said_by_a_process_of_its_own(start, path, visit_id):
    # The kernel refuses the write (RLIMIT_FSIZE), so this goes through real write errors, in the log and the book.
    size = path.stat().st_size
    for extra in (0, 20_000, 60_000):
        process, ours = start(write_with_little_room, str(path), size + extra)
        kept, said = ours.recv()
        process.join()
        assert (
            "the disk is full; nothing was changed" in said or "the disk can't be read or written" in said
        ), said
        with open_book(str(path)) as book:
            assert book.check() == ()
            rows = {row.id for row in book.visit(visit_id).history}
            assert set(kept) <= rows
            book.discard_visit(visit_id)
            visit_id = book.open_visit("Delivery van", NewVisit(day=date(2024, 5, 4), distance_m=1000)).id


def test_a_book_that_finds_no_room_to_be_made_leaves_nothing(tmp_path, monkeypatch):
    from coldlash.logbook import bookfile

    real = bookfile._engine

    def small(path, **how):
        engine = real(path, **how)

        @event.listens_for(engine, "connect")
        def limit(connection: sqlite3.Connection, *_: object) -> None:
            connection.execute("PRAGMA max_page_count = 5")

        return engine

    monkeypatch.setattr(bookfile, "_engine", small)
    with pytest.raises(
        BookError, match=r"new\.coldlash: the disk is full; nothing was made; make room and try again"
    ):
        open_book(str(tmp_path / "new.coldlash"), create=True)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_while_an_older_book_is_brought_up_to_date_leaves_it_whole(path, monkeypatch, tmp_path):
    import shutil

    from coldlash.logbook import bookfile
    from coldlash.logbook.migrations import FOLDER, HEAD

    folder = tmp_path / "migrations"
    shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "9999_more.py").write_text(
        f"from alembic import op\nrevision = '9999'\ndown_revision = '{HEAD}'\nbranch_labels = None\n"
        "depends_on = None\n\ndef upgrade():\n    op.execute('CREATE TABLE more (x BLOB)')\n"
        "    op.execute('INSERT INTO more VALUES (zeroblob(100000))')\n"
    )
    with closing(sqlite3.connect(path)) as db:
        before = "\n".join(db.iterdump())
        pages = db.execute("PRAGMA page_count").fetchone()[0]
    real = bookfile._engine

    def small(path, **how):
        engine = real(path, **how)

        @event.listens_for(engine, "connect")
        def limit(connection: sqlite3.Connection, *_: object) -> None:
            connection.execute(f"PRAGMA max_page_count = {pages + 3}")

        return engine

    monkeypatch.setattr(bookfile, "_engine", small)
    with pytest.raises(BookError, match=FULL):
        bookfile.open_file(path, migrations=folder)
    with closing(sqlite3.connect(path)) as db:
        assert "\n".join(db.iterdump()) == before


# --- copies ---


@pytest.fixture
def full_disk(monkeypatch):
    """From now on no file may grow: the write that would is refused as on a full disk."""
    import os

    def refuse(*_: object) -> None:
        raise OSError(28, os.strerror(28))

    return lambda name: monkeypatch.setattr(name, refuse)


def test_a_backup_salvage_or_move_that_finds_no_room_leaves_nothing(path, tmp_path, full_disk):
    from coldlash.logbook.move import move
    from coldlash.logbook.salvage import salvage

    folder = tmp_path / "safe"
    folder.mkdir()
    before = path.read_bytes()
    full_disk("coldlash.logbook.copying.sync_folder")
    no_room = r"No space left on device; nothing was made; check the folder"
    with open_book(str(path)) as book, pytest.raises(BookError, match=no_room):
        book.backup(folder)
    with pytest.raises(BookError, match=no_room):
        move(path, folder / "moved.coldlash")
    with pytest.raises(BookError, match=no_room):
        salvage(path, folder / "saved.coldlash")
    assert list(folder.iterdir()) == []
    assert path.read_bytes() == before


def test_a_backup_on_a_disk_that_fills_while_it_is_written_is_said_and_cleared_away(
    start, path, visit_id, tmp_path
):
    folder = tmp_path / "safe"
    folder.mkdir()
    process, ours = start(back_up_with_little_room, str(path), str(folder), 40_000)
    said = ours.recv()
    process.join()
    assert "the disk is full" in said or "the disk can't be read or written" in said, said
    assert list(folder.iterdir()) == []
    with open_book(str(path)) as book:
        assert book.check() == ()
        assert book.backup(folder).size > 40_000  # there is room again
