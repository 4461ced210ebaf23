"""Every field of an archive is described, and none that isn't there."""

from __future__ import annotations

import re

from coldlash.logbook import models as m
from coldlash.logbook.archive.fields import COMMON, JSON_TEXT, OF_TABLE, README, TABLES, meaning

KEPT = [table for table in m.metadata.sorted_tables if table not in m.WORKED_OUT]
UNITS = {
    "um": "micrometres",
    "m": "metres",
    "mc": "thousandths of a degree Celsius",
}


def test_every_table_and_column_is_described_and_nothing_else():
    assert set(TABLES) == {table.name for table in KEPT}
    columns = {f"{table.name}.{column.name}" for table in KEPT for column in table.columns}
    assert all(meaning(*column.split(".")).endswith(".") for column in columns)
    assert set(OF_TABLE) <= columns
    assert columns >= JSON_TEXT
    assert set(COMMON) <= {column.partition(".")[2] for column in columns - set(OF_TABLE)}


def test_a_field_whose_name_ends_in_a_unit_says_it():
    for table in KEPT:
        for column in table.columns:
            end = re.fullmatch(r".*_(um|m|mc)", column.name)
            if end:
                assert UNITS[end[1]] in meaning(table.name, column.name), f"{table.name}.{column.name}"


def test_a_field_that_may_be_absent_says_what_that_means():
    said_elsewhere = {"by", "device", "feel", "spin", "width", "height"}
    for table in KEPT:
        for column in table.columns:
            if column.nullable and column.name not in said_elsewhere:
                assert "Absent" in meaning(table.name, column.name), f"{table.name}.{column.name}"


def test_the_text_for_readers_fits_a_plain_window():
    assert max(map(len, README.splitlines())) <= 120
    assert README.isascii()
