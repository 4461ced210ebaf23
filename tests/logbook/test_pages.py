"""Rows read from the pages of a file without SQLite are the rows that SQLite wrote there."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coldlash.logbook.pages import BrokenError, Pages, Row, record, varint

VALUES = st.one_of(
    st.none(),
    st.integers(-(2**63), 2**63 - 1),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=60),
    st.binary(max_size=60),
    st.integers(0, 40_000).map(lambda n: "x" * n),
)


def file_of(rows: list[tuple[object, ...]], page_size: int) -> bytes:
    """A database with these rows, written by SQLite. Independent software: SQLite itself."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        db.execute(f"PRAGMA page_size = {page_size}")
        db.execute("CREATE TABLE t (a, b)")
        db.execute("CREATE INDEX i ON t (a)")
        db.executemany("INSERT INTO t VALUES (?, ?)", rows)
        return db.serialize()


def root_of(pages: Pages) -> int:
    return next(row.values[3] for row in pages.table(1).rows if row.values[1] == "t")  # type: ignore[return-value]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(VALUES, VALUES), max_size=60), st.sampled_from([512, 1024, 4096, 65536]))
def test_every_row_that_sqlite_wrote_is_read(rows, page_size):
    pages = Pages(file_of(rows, page_size), page_size)
    found = pages.table(root_of(pages))
    assert [row.values for row in found.rows] == rows
    assert [row.rowid for row in found.rows] == list(range(1, len(rows) + 1))
    assert (found.broken_pages, found.broken_rows) == (set(), 0)


def test_negative_row_numbers_and_both_truths_are_read():
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        db.execute("CREATE TABLE t (a, b)")
        db.execute("INSERT INTO t (rowid, a, b) VALUES (-5, 0, 1)")
        pages = Pages(db.serialize(), 4096)
    assert pages.table(root_of(pages)).rows == [Row(-5, (0, 1))]


def test_without_any_lead_rows_are_found_where_they_begin():
    rows = [(number, f"text {number}") for number in range(40)]
    data = bytearray(file_of(rows, 4096))
    root = root_of(Pages(bytes(data), 4096))
    data[(root - 1) * 4096 : (root - 1) * 4096 + 100] = (
        b"\xa5" * 100
    )  # the page's own header and list of rows
    pages = Pages(bytes(data), 4096)

    def fits(row: Row) -> bool:
        return len(row.values) == 2 and type(row.values[0]) is int and type(row.values[1]) is str

    assert pages.table(root).broken_pages == {root}
    assert {row.values for row in pages.rows_in(root, fits)} >= set(rows)


def test_free_pages_are_passed_over():
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        db.execute("CREATE TABLE t (a, b)")
        db.executemany("INSERT INTO t VALUES (?, ?)", [(n, "x" * 1000) for n in range(40)])
        db.execute("DELETE FROM t WHERE a > 3")
        data = db.serialize()
    pages = Pages(data, 4096)
    pages.forget_free()
    pages.table(root_of(pages))
    assert list(pages.orphans()) == []


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_in_the_file_reading_ends_and_gives_only_rows(seed):
    rng = random.Random(seed)
    data = bytearray(file_of([(n, "x" * rng.randrange(3000)) for n in range(60)], 1024))
    for _ in range(rng.randrange(1, 400)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    if rng.random() < 0.3:
        del data[rng.randrange(len(data)) :]
    pages = Pages(bytes(data), 1024)
    pages.forget_free()
    found = [pages.table(number) for number in range(1, pages.count + 1)]
    pages.skip_index(rng.randrange(pages.count + 2))
    rest = [row for number in list(pages.orphans()) for row in pages.rows_in(number, lambda _: True)]
    for row in [row for one in found for row in one.rows] + rest:
        assert isinstance(row, Row)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00",
        b"\x02\x0a",  # serial type 10 is reserved
        b"\x02\x07" + b"\0" * 8,  # a fraction: no table of a book holds one
        b"\x02\x0f\xff",  # text that is not UTF-8
        b"\x02\x01",  # cut short
        b"\x09\x01\x05",
    ],
)
def test_a_record_that_is_none_is_refused(data):
    # published: sqlite.org/fileformat2.html, 2.1, record format
    with pytest.raises(BrokenError):
        record(data)


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (b"\x00", 0),
        (b"\x7f", 127),
        (b"\x81\x00", 128),
        (b"\xff\x7f", 16383),
        (b"\xff" * 9, 2**64 - 1),
        (b"\x81" + b"\x80" * 7 + b"\x00", 2**57),
    ],
)
def test_numbers_of_one_to_nine_bytes(data, value):
    # published: sqlite.org/fileformat2.html, 1.6: seven bits a byte, all eight of the ninth
    assert varint(data, 0) == (value, len(data))


def test_a_number_that_is_cut_short_is_refused():
    with pytest.raises(BrokenError):
        varint(b"\x81", 0)


def test_a_page_that_is_not_there_is_refused():
    with pytest.raises(BrokenError):
        Pages(b"x" * 1024, 512).page(3)
