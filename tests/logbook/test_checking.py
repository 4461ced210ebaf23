"""What ``check`` finds that no database looks after by itself, on a file and on a server."""

from __future__ import annotations

import pytest
from sqlalchemy import text as sql
from tests.logbook.shelf import NAME, found, open_book, visit_on

from coldlash.logbook.models import KEPT_FOREVER


@pytest.fixture
def written(book, backend):
    """An open book with a visit of two readings, and a way past its rules."""
    visit = book.open_visit(NAME, visit_on()).id
    first = book.record(visit, found())
    book.record(visit, found(go=50, nogo=100, replaces=first.id))
    assert book.check() == ()

    def past(*statements: str) -> None:
        with book._file.engine.connect() as connection:
            if backend == "sqlite":
                driver = connection.connection.dbapi_connection
                driver.execute("PRAGMA foreign_keys = OFF")
                driver.execute("PRAGMA ignore_check_constraints = ON")
                for name in driver.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'trigger'"
                ).fetchall():
                    if name[0].endswith(("_no_update", "_no_delete")) and "readings" in name[0]:
                        driver.execute(f"DROP TRIGGER {name[0]}")
                for statement in statements:
                    driver.execute(statement)
                driver.execute("PRAGMA foreign_keys = ON")
                driver.execute("PRAGMA ignore_check_constraints = OFF")
                return
            connection.execute(sql("SET LOCAL session_replication_role = replica"))
            for statement in statements:
                connection.execute(sql(statement))
            connection.commit()

    return past


def faults(book) -> set[str]:
    return {fault for fault in book.check() if "what keeps its rows" not in fault}


def test_a_correction_of_something_later_is_found(book, written):
    written(
        "UPDATE readings SET seq = 1000 WHERE replaces IS NULL",
    )
    assert faults(book) == {"a row of readings corrects one that was written after it"}


def test_a_row_that_points_to_nothing_is_found(book, written):
    written("UPDATE engine_files SET engine_id = '00000000-0000-4000-8000-000000000099'")
    assert "a row of engine_files points to a missing row of engines" in faults(book)
    assert "a row of visits points to a missing row of engine_files" in faults(book)


@pytest.mark.parametrize("day", ["2024-13-01", "abcd-ef-gh", "2023-02-29"])
def test_a_day_that_is_none_is_found(book, written, day):
    written(f"UPDATE visits SET day = '{day}'")
    assert faults(book) == {f"visits.day holds '{day}', which can't be read"}


@pytest.mark.parametrize("numbers", ["[50,", "{}", "[1.5]", "[true]", "50"])
def test_numbers_that_can_not_be_read_are_found(book, written, numbers):
    written(f"UPDATE visits SET blades_um = '{numbers}'")
    assert faults(book) == {f"visits.blades_um holds '{numbers}', which can't be read"}


def test_an_altered_photo_is_found(book, written, backend):
    octets = "x'616263'" if backend == "sqlite" else "'\\x616263'"
    good = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # published: FIPS 180-4, SHA-256 of abc
    written(
        f"INSERT INTO attachment_files VALUES ('{good}', 3, {octets})",
        f"INSERT INTO attachment_files VALUES ('{'0' * 64}', 3, {octets})",
    )
    assert faults(book) == {"attachment_files: a photo is not what it was (000000000000...)"}


def test_a_broken_rule_is_found(book, written, backend):
    if backend == "postgresql":
        written(
            "ALTER TABLE engines DROP CONSTRAINT ck_engines_name",
            "UPDATE engines SET name = ''",
        )
        try:
            assert faults(book) == {"1 rows of engines break the rule ck_engines_name"}
        finally:
            written(
                f"UPDATE engines SET name = '{NAME}'",
                "ALTER TABLE engines ADD CONSTRAINT ck_engines_name CHECK (length(name) BETWEEN 1 AND 200)",
            )
    else:
        written("UPDATE engines SET name = ''")
        assert faults(book) == {"CHECK constraint failed in engines"}


@pytest.mark.parametrize("table", [table.name for table in KEPT_FOREVER])
def test_a_guard_that_is_gone_is_found(book, backend, table):
    gone = f"{table}: what keeps its rows from being altered or deleted is gone"
    with book._file.engine.connect() as connection:
        if backend == "sqlite":
            connection.execute(sql(f"DROP TRIGGER {table}_no_delete"))
            connection.commit()
            assert gone in book.check()
            return
        connection.execute(sql(f"ALTER TABLE {table} DISABLE TRIGGER {table}_only_added"))
        connection.commit()
        assert book.check() == (gone,)
        connection.execute(sql(f"ALTER TABLE {table} ENABLE TRIGGER {table}_only_added"))
        connection.commit()
        assert book.check() == ()


def test_a_sound_book_has_no_faults(path):
    with open_book(path) as book:
        assert book.check() == ()
