"""The column types: what the book takes and what it refuses before a database could bend it."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import Column, MetaData, Table, create_engine, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import StatementError

from coldlash.errors import InputError
from coldlash.logbook.columns import INT64_MAX, Flag, Numbers, Whole, Words, storable


@pytest.mark.parametrize(
    ("kind", "on_sqlite", "on_postgresql"),
    [
        (Whole(), "INTEGER", "BIGINT"),
        (Flag(), "INTEGER", "BIGINT"),
        (Words(), "TEXT", 'TEXT COLLATE "C"'),
        (Numbers(), "TEXT", 'TEXT COLLATE "C"'),
    ],
)
def test_each_type_is_one_that_strict_tables_and_postgresql_take(kind, on_sqlite, on_postgresql):
    # published: sqlite.org/stricttables.html allows only INT, INTEGER, REAL, TEXT, BLOB, ANY
    assert kind.compile(dialect=sqlite.dialect()) == on_sqlite
    assert kind.compile(dialect=postgresql.dialect()) == on_postgresql


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Whole(), 0),
        (Whole(), -INT64_MAX),
        (Flag(), True),
        (Flag(), False),
        (Words(), "Öl, 油, نفط, 🛢"),
        (Numbers(), (50, 100)),
        (Numbers(), ()),
        (Whole(), None),
        (Flag(), None),
        (Numbers(), None),
    ],
)
def test_values_come_back_as_they_went_in(kind, value):
    table = Table("t", MetaData(), Column("value", kind), sqlite_strict=True)
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        table.create(connection)
        connection.execute(table.insert().values(value=value))
        assert connection.execute(select(table.c.value)).scalar_one() == value
    engine.dispose()


@pytest.mark.parametrize(
    ("kind", "value", "message"),
    [
        (Whole(), 1.0, "the book keeps whole numbers of 64 bits here, not 1.0"),
        (Whole(), True, "whole numbers of 64 bits here, not True"),
        (Whole(), "1", "whole numbers of 64 bits here, not '1'"),
        (Whole(), 2**63, "whole numbers of 64 bits"),
        (Flag(), 1, "the book keeps yes or no here, not 1"),
        (Words(), 5, "the book keeps text here, not 5"),
        (Words(), "a\0b", "the book keeps text here"),
        (Words(), "\ud800", "the book keeps text here"),
        (Numbers(), [1.5], "the book keeps a row of whole numbers here, not [1.5]"),
        (Numbers(), "12", "the book keeps a row of whole numbers here, not '12'"),
    ],
)
def test_a_value_of_the_wrong_kind_is_refused(kind, value, message):
    table = Table("t", MetaData(), Column("value", kind), sqlite_strict=True)
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        table.create(connection)
        with pytest.raises(StatementError) as caught:
            connection.execute(table.insert().values(value=value))
    engine.dispose()
    assert isinstance(caught.value.orig, InputError)
    assert re.search(re.escape(message), str(caught.value.orig))


def test_text_is_storable_unless_it_has_a_nul_or_half_a_surrogate_pair():
    assert storable("ß ж 車\n")
    assert not storable("\0")
    assert not storable("\udfff")
