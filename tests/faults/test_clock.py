"""A clock that was set back, or forward: nothing is refused, reordered or lost."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from tests.faults.writers import NOON, new_reading

from coldlash.logbook.backup import backups_of
from coldlash.logbook.records import NewVisit
from coldlash.logbook.store import Book


def test_with_a_clock_set_back_readings_keep_their_order_and_corrections_their_place(path, place):
    clock = [NOON]
    with Book.open(place, now=lambda: clock[0]) as book:
        visit = book.open_visit("Delivery van", NewVisit(day=date(2024, 5, 4), distance_m=1000)).id
        first = book.record(visit, new_reading(0))
        clock[0] = NOON - timedelta(days=4000)  # the battery of the clock was empty
        second = book.record(visit, new_reading(1))
        clock[0] = datetime(1970, 1, 1, tzinfo=UTC)
        book.close_visit(visit)
        kept = book.visit(visit)
        assert [row.id for row in kept.history] == [first.id, second.id]
        assert kept.closed_at < first.at
        assert book.check() == ()


def test_with_a_clock_set_back_the_newest_backup_stays(place, tmp_path):
    folder = tmp_path / "safe"
    folder.mkdir()
    clock = [NOON]
    with Book.open(place, now=lambda: clock[0]) as book:
        made = []
        for days in (0, -4000, -3999, 10, -5000):
            clock[0] = NOON + timedelta(days=days)
            book.add_vehicle(f"Van {days}")
            made.append(book.backup(folder, keep=2, now=lambda: clock[0]).path)
        assert [one.path for one in backups_of(book._file, folder)] == made[-2:]
        with Book.open(made[-1]) as copy:
            assert len(copy.vehicles()) == 5
