"""Backups: whole and sound or not there, the old ones taken away, and the way back rehearsed."""

from __future__ import annotations

import os
import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.logbook.shelf import NAME, NOON, content, found, full_book, open_book, visit_on

from coldlash.errors import BookError, InputError
from coldlash.language import PSEUDO, using
from coldlash.logbook import backup as backups
from coldlash.logbook.backup import BackupSchedule, backups_of, default_folder, faults_in, restore
from coldlash.logbook.store import Book

BOOKS = Path(__file__).parent / "books"


@pytest.fixture
def folder(tmp_path):
    """Where backups go."""
    there = tmp_path / "safe"
    there.mkdir()
    return there


def at(*moments: datetime):
    """A clock that shows these moments, one after the other."""
    left = iter(moments)
    return lambda: next(left)


# --- making ---


def test_a_backup_is_a_book_of_its_own_with_everything_in_it(book, folder):
    visit = book.open_visit(NAME, visit_on()).id
    book.record(visit, found())
    made = book.backup(folder, now=lambda: NOON)
    assert made.path.name.endswith("-20240504T120000Z.coldlash")
    assert made.size == made.path.stat().st_size > 0
    assert [file.name for file in folder.iterdir()] == [made.path.name]  # one file, nothing beside it
    book.record(visit, found("I1"))  # what comes later is not in it
    with open_book(made.path) as copy:
        assert [row.id for row in copy.visit(visit).history] == [book.visit(visit).history[0].id]
        assert copy.check() == ()


def test_a_backup_of_a_full_book_is_equal_to_it(new_place, tmp_path, folder):
    from coldlash.logbook.move import move

    there = new_place()
    move(full_book(tmp_path / "full.coldlash"), there)
    with open_book(there) as book:
        made = book.backup(folder)
        with open_book(made.path) as copy:
            assert content(copy) == content(book)


def test_others_may_write_while_a_backup_is_made(path, folder):
    done = threading.Event()
    failures: list[BaseException] = []

    def write() -> None:
        try:
            with open_book(path, wait_s=30.0) as other:
                for number in range(30):
                    other.add_vehicle(f"Van {number}")
        except BaseException as error:
            failures.append(error)
        done.set()

    thread = threading.Thread(target=write)
    with open_book(path) as book:
        thread.start()
        made = [book.backup(folder) for _ in range(3)]
        thread.join()
        book.backup(folder)
    assert failures == []
    for one in made:
        assert faults_in(one.path)[1] == ()
    with open_book(path) as book:
        assert len(book.vehicles()) == 30


def test_without_a_folder_it_goes_beside_the_book(path, monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with open_book(path) as book:
        made = book.backup()
        beside = Path(path).parent if isinstance(path, Path) else tmp_path / "data" / "coldlash"
        assert made.path.parent == beside / "backups" == default_folder(book._file)
        assert book.last_backup() is not None


def test_a_folder_that_was_named_must_be_there(book, tmp_path):
    assert book.last_backup(tmp_path / "usb") is None
    with pytest.raises(
        BookError, match=r"the folder .*usb does not exist; make it first or choose another place"
    ):
        book.backup(tmp_path / "usb")


def test_a_folder_that_cannot_be_made_or_looked_at_is_said(path, monkeypatch, tmp_path):
    (tmp_path / "backups").write_text("in the way")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "backups"))
    with open_book(path) as book:
        with pytest.raises(BookError, match=r"can't be made \(.*\); give another folder"):
            book.backup()
        with pytest.raises(BookError, match=r"can't be looked at \(Not a directory\); check the folder"):
            book.last_backup(tmp_path / "backups")


# --- rotation ---


def test_only_the_newest_stay_and_other_files_are_left_alone(book, folder):
    (folder / "holiday.jpg").write_text("x")
    other = folder / "book-00000000-20200101T000000Z.coldlash"  # another book's
    other.write_text("x")
    days = [NOON + timedelta(days=day) for day in range(5)]
    made = [book.backup(folder, keep=3, now=lambda day=day: day) for day in days]
    assert [one.removed for one in made] == [(), (), (), (made[0].path,), (made[1].path,)]
    assert sorted(file.name for file in folder.iterdir()) == sorted(
        ["holiday.jpg", other.name, *(one.path.name for one in made[2:])]
    )
    assert [one.made for one in backups_of(book._file, folder)] == days[2:]
    fewer = book.backup(folder, keep=1)
    assert len(fewer.removed) == 3
    assert fewer.path.exists()


def test_two_books_of_one_name_do_not_take_each_others_backups_away(tmp_path, folder):
    for shed in ("north", "south"):
        (tmp_path / shed).mkdir()
        with open_book(tmp_path / shed / "book.coldlash", create=True) as book:
            book.backup(folder, keep=1, now=lambda: NOON)
    assert len(list(folder.iterdir())) == 2


def test_a_clock_that_was_set_back_loses_no_backup(book, folder):
    first = book.backup(folder, keep=2, now=lambda: NOON)
    second = book.backup(folder, keep=2, now=lambda: NOON - timedelta(days=700))
    assert second.path.name > first.path.name  # the order of names is the order in which they were made
    third = book.backup(folder, keep=2, now=lambda: NOON - timedelta(days=699))
    assert third.removed == (first.path,)
    assert [one.path for one in backups_of(book._file, folder)] == [second.path, third.path]


@pytest.mark.parametrize("keep", [0, -1, 10_001, 1.5, True])
def test_how_many_to_keep_must_be_a_number_that_keeps_some(book, folder, keep):
    with pytest.raises(
        InputError, match="how many backups to keep must be a whole number from 1 to 10000, not"
    ):
        book.backup(folder, keep=keep)


def test_one_that_can_not_be_taken_away_does_not_stop_the_others(book, folder, monkeypatch):
    first = book.backup(folder, now=lambda: NOON)
    real = Path.unlink

    def refuse(self: Path, missing_ok: bool = False) -> None:
        if self == first.path:
            raise PermissionError(13, "Permission denied")
        real(self, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", refuse)
    made = book.backup(folder, keep=1, now=lambda: NOON + timedelta(days=1))
    assert made.removed == ()
    assert made.path.exists()


def test_a_book_that_is_not_sound_takes_no_good_backup_away(path, folder, monkeypatch):
    with open_book(path) as book:
        good = book.backup(folder, keep=1)
        monkeypatch.setattr(backups, "faults_in", lambda _: ("0002", ("a page is broken",)))
        with pytest.raises(
            BookError, match=r"its backup would not be sound \(a page is broken\); none was made"
        ):
            book.backup(folder, keep=1)
    assert list(folder.iterdir()) == [good.path]


# --- the way back ---


def test_a_restored_book_is_equal_and_sound(new_place, tmp_path, folder):
    with open_book(full_book(tmp_path / "full.coldlash")) as book:
        made = book.backup(folder)
        expected = content(book)
    there = new_place()
    name, rows = restore(made.path, there)
    assert rows["readings"] > 0
    with open_book(there) as book:
        assert book.name == name
        assert content(book) == expected
        assert book.check() == ()
    assert made.path.exists()
    assert list(tmp_path.glob(".*")) == []


def test_restoring_never_overwrites(path, tmp_path, folder):
    with open_book(full_book(tmp_path / "full.coldlash")) as book:
        made = book.backup(folder)
    with pytest.raises(
        BookError, match=r"is there already; nothing was changed|is not empty; nothing was changed"
    ):
        restore(made.path, path)
    with open_book(path) as book:
        assert [engine.name for engine in book.engines()] == [NAME]


@pytest.mark.parametrize("version", sorted(BOOKS.glob("v*.sql")), ids=lambda path: path.stem)
def test_a_backup_of_an_older_version_is_restored_and_brought_up_to_date(tmp_path, version):
    old = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(old)) as db:
        db.executescript(version.read_text(encoding="utf-8"))
    before = old.read_bytes()
    restore(old, tmp_path / "new.coldlash")
    with open_book(tmp_path / "new.coldlash") as book:
        assert book.check() == ()
        assert len(book.visits()) == 2
    assert old.read_bytes() == before
    assert sorted(file.name for file in tmp_path.iterdir()) == ["new.coldlash", "old.coldlash"]


def test_a_plain_copy_with_its_log_beside_it_is_restored_whole(tmp_path):
    with open_book(tmp_path / "a.coldlash", create=True) as book:
        book.add_vehicle("Van")
        for name in ("a.coldlash", "a.coldlash-wal"):  # as after a power cut
            (tmp_path / name.replace("a.", "b.")).write_bytes((tmp_path / name).read_bytes())
    restore(tmp_path / "b.coldlash", tmp_path / "c.coldlash")
    with open_book(tmp_path / "c.coldlash") as book:
        assert [vehicle.name for vehicle in book.vehicles()] == ["Van"]


def test_a_damaged_backup_is_refused_and_says_what_can_be_done(tmp_path, folder):
    with open_book(full_book(tmp_path / "full.coldlash")) as book:
        made = book.backup(folder)
    data = bytearray(made.path.read_bytes())
    data[8 * 4096 : 8 * 4096 + 600] = b"\xa5" * 600
    made.path.write_bytes(bytes(data))
    with pytest.raises(
        BookError, match=r"this backup is damaged \(.*\); nothing was made; .*coldlash salvage"
    ):
        restore(made.path, tmp_path / "new.coldlash")
    assert not (tmp_path / "new.coldlash").exists()


def test_what_is_no_backup_is_refused(tmp_path):
    (tmp_path / "a.txt").write_text("x" * 200)
    with pytest.raises(BookError, match="is not a coldlash book"):
        restore(tmp_path / "a.txt", tmp_path / "new.coldlash")
    with pytest.raises(BookError, match=r"can't be read \(No such file or directory\)"):
        restore(tmp_path / "none", tmp_path / "new.coldlash")


def test_a_backup_that_is_not_sound_once_brought_up_to_date_is_not_put_in_place(tmp_path, monkeypatch):
    old = full_book(tmp_path / "a.coldlash")
    monkeypatch.setattr(backups, "faults_in", lambda _: ("0002", ()))
    with closing(sqlite3.connect(old)) as db:
        db.execute("DROP TRIGGER readings_no_update")
    with pytest.raises(
        BookError, match=r"brought up to date it is not sound \(readings: what keeps its rows from"
    ):
        restore(old, tmp_path / "new.coldlash")
    assert not (tmp_path / "new.coldlash").exists()


# --- before an update ---


def test_an_older_book_is_backed_up_before_it_is_changed(tmp_path):
    old = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(old)) as db:
        db.executescript((BOOKS / "v1.sql").read_text(encoding="utf-8"))
        before = "\n".join(db.iterdump())
    open_book(old).close()
    (kept,) = (tmp_path / "backups").iterdir()
    assert kept.name.endswith("-before-update.coldlash")
    with closing(sqlite3.connect(kept)) as db:
        assert "\n".join(db.iterdump()) == before
    open_book(old).close()  # a current book needs none
    assert len(list((tmp_path / "backups").iterdir())) == 1


def test_those_made_before_an_update_are_counted_apart(tmp_path):
    old = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(old)) as db:
        db.executescript((BOOKS / "v1.sql").read_text(encoding="utf-8"))
    with open_book(old) as book:
        for _ in range(3):
            book.backup(keep=1)
        assert len(backups_of(book._file, tmp_path / "backups")) == 1
        assert len(backups_of(book._file, tmp_path / "backups", before_update=True)) == 1


def test_without_a_backup_an_older_book_is_not_changed(tmp_path):
    old = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(old)) as db:
        db.executescript((BOOKS / "v1.sql").read_text(encoding="utf-8"))
        before = "\n".join(db.iterdump())
    (tmp_path / "backups").write_text("in the way")
    with pytest.raises(
        BookError, match="brought up to date, and no backup could be made of it before; nothing was"
    ):
        open_book(old)
    with closing(sqlite3.connect(old)) as db:
        assert "\n".join(db.iterdump()) == before


# --- while serving ---


def test_a_schedule_backs_up_what_has_changed_and_leaves_alone_what_has_not(book, folder):
    schedule = BackupSchedule(book, folder=folder)
    assert schedule.once() is not None
    assert schedule.once() is None
    book.add_vehicle("Van")
    assert schedule.once() is not None
    assert len(list(folder.iterdir())) == 2


@pytest.mark.parametrize(
    ("age", "wait_s"),
    [
        (timedelta(hours=6), 18 * 3600),
        (timedelta(hours=24), 0),
        (timedelta(days=40), 0),
        (timedelta(days=-40), 0),  # made in the future: the clock was set back, so the age says nothing
    ],
)
def test_the_first_backup_is_due_a_day_after_the_last(book, folder, age, wait_s):
    assert BackupSchedule(book, folder=folder).first_wait_s() == 0
    book.backup(folder, now=lambda: NOON - age)
    assert BackupSchedule(book, folder=folder, now=lambda: NOON).first_wait_s() == wait_s


def test_a_running_schedule_backs_up_at_once_and_ends_with_the_serving(path, folder):
    with open_book(path) as book:
        made = threading.Event()
        real = book.backup

        def backup(*args: object, **more: object) -> object:
            done = real(*args, **more)  # type: ignore[arg-type]
            made.set()
            return done

        book.backup = backup  # type: ignore[method-assign,assignment]
        with BackupSchedule(book, folder=folder) as schedule:
            assert made.wait(30)
        assert not schedule._thread.is_alive()
    assert len(list(folder.iterdir())) == 1


def test_a_backup_that_fails_is_said_and_the_serving_goes_on(book, tmp_path):
    said: list[str] = []
    heard = threading.Event()

    def say(text: str) -> None:
        said.append(text)
        heard.set()

    (tmp_path / "file").write_text("x")
    with BackupSchedule(book, folder=tmp_path / "usb", say=say) as schedule:
        assert heard.wait(30)
        assert schedule._thread.is_alive()
    assert "backup: the folder" in said[0]
    heard.clear()
    with BackupSchedule(book, folder=tmp_path / "file", say=say):
        assert heard.wait(30)
    assert "can't be looked at" in said[1]


def test_a_backup_that_fails_is_said_in_the_language_of_whoever_serves(book, tmp_path):
    said: list[str] = []
    heard = threading.Event()

    def hear(text: str) -> None:
        said.append(text)
        heard.set()

    with using(PSEUDO), BackupSchedule(book, folder=tmp_path / "usb", say=hear):
        assert heard.wait(30)
    assert said[0].startswith("⟦backup: ⟦the folder ")


@pytest.mark.parametrize("every_s", [0, -5, 1e12, float("nan")])
def test_how_often_must_be_a_time(book, every_s):
    with pytest.raises(InputError, match="backups can be made every second to once a year, not every"):
        BackupSchedule(book, every_s=every_s)


def test_the_clock_is_the_machines_in_utc():
    now = backups.utc_now()
    assert now.tzinfo is UTC
    assert abs((now - datetime.now(UTC)).total_seconds()) < 60


def test_reading_a_backup_changes_nothing_beside_it(tmp_path):
    with Book.open(tmp_path / "a.coldlash", create=True):
        pass
    before = sorted(os.listdir(tmp_path))
    assert faults_in(tmp_path / "a.coldlash") == ("0002", ())
    assert sorted(os.listdir(tmp_path)) == before
