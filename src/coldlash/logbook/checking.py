"""Looking at every row of an open book for what no database looks after by itself, or was told not to.

SQLite's own check finds broken pages, wrong types, broken rules and rows that point to nothing. A server enforces
those while it writes, but it can be told not to (a restored dump, triggers switched off), so there each rule is
asked again. On both: the guards that keep readings from being altered, chains of corrections, days and rows of
numbers that can be read, photos that are still what their checksum says.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import CheckConstraint, Connection, ForeignKeyConstraint, Table, and_, func, select, text

from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.columns import Numbers, Words

BLOBS_AT_ONCE = 8
"""How many photos are in memory at a time."""


def deep_faults(connection: Connection) -> tuple[str, ...]:
    """What is wrong with the rows of a book of the current version; empty = nothing. Raises the database's errors."""
    return tuple(_all(connection))


def _all(connection: Connection) -> Iterator[str]:
    server = connection.dialect.name != "sqlite"
    yield from (_missing_guards_of_server if server else _missing_guards)(connection)
    for table in m.metadata.sorted_tables:
        if server:
            yield from _broken_rules(connection, table)
            yield from _pointing_nowhere(connection, table)
        if "replaces" in table.c and "seq" in table.c:
            yield from _broken_chains(connection, table)
    yield from unreadable(connection)
    yield from _altered_photos(connection)


def _missing_guards(connection: Connection) -> Iterator[str]:
    there = set(connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars())
    for table in m.KEPT_FOREVER:
        if not {f"{table.name}_no_update", f"{table.name}_no_delete"} <= there:
            yield _unguarded(table)


def _missing_guards_of_server(connection: Connection) -> Iterator[str]:
    rows = connection.execute(
        text(
            "SELECT c.relname || '.' || t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE c.relnamespace = current_schema()::regnamespace AND t.tgenabled IN ('O', 'A')"
        )
    )
    there = set(rows.scalars())
    for table in m.KEPT_FOREVER:
        if not {f"{table.name}.{table.name}_only_added", f"{table.name}.{table.name}_not_emptied"} <= there:
            yield _unguarded(table)


def _unguarded(table: Table) -> str:
    return say("{table}: what keeps its rows from being altered or deleted is gone", table=table.name)


def _broken_rules(connection: Connection, table: Table) -> Iterator[str]:
    for rule in table.constraints:
        if isinstance(rule, CheckConstraint):
            broken = select(func.count()).select_from(table).where(text(f"NOT ({rule.sqltext})"))
            count = connection.execute(broken).scalar_one()
            if count:
                yield say(
                    "{count} rows of {table} break the rule {rule}",
                    count=count,
                    table=table.name,
                    rule=rule.name,
                )


def _pointing_nowhere(connection: Connection, table: Table) -> Iterator[str]:
    for rule in table.constraints:
        if not isinstance(rule, ForeignKeyConstraint):
            continue
        other = rule.referred_table.alias("other")
        pairs = [(element.parent, other.c[element.column.name]) for element in rule.elements]
        there = (
            select(text("1")).select_from(other).where(and_(*(mine == its for mine, its in pairs))).exists()
        )
        lost = (
            select(func.count())
            .select_from(table)
            .where(and_(*(mine.is_not(None) for mine, _ in pairs), ~there))
        )
        if connection.execute(lost).scalar_one():
            yield say(
                "a row of {table} points to a missing row of {other}",
                table=table.name,
                other=rule.referred_table.name,
            )


def _broken_chains(connection: Connection, table: Table) -> Iterator[str]:
    """With that, and each row replaced at most once by the table's own rules, every chain has one first row."""
    before = table.alias("before")
    wrong = (
        select(func.count())
        .select_from(table.join(before, before.c.id == table.c.replaces))
        .where(before.c.seq >= table.c.seq)
    )
    if connection.execute(wrong).scalar_one():
        yield say("a row of {table} corrects one that was written after it", table=table.name)


def unreadable(connection: Connection) -> Iterator[str]:
    """Days and rows of numbers that the book could not read, though no rule forbids them."""
    for column in [column for table in m.metadata.sorted_tables for column in table.c]:
        if column.name == "day":
            read: Any = date.fromisoformat
        elif isinstance(column.type, Numbers):
            read = _numbers
        else:
            continue
        # As plain text: the column's own type would stop at the first value it can't read.
        for value in connection.execute(
            select(column.cast(Words)).where(column.is_not(None)).distinct()
        ).scalars():
            try:
                read(value)
            except ValueError:
                yield say(
                    "{table}.{column} holds {value!r}, which can't be read",
                    table=column.table.name,
                    column=column.name,
                    value=value,
                )


def _numbers(value: str) -> None:
    read = json.loads(value)
    if not isinstance(read, list) or any(type(number) is not int for number in read):
        raise ValueError(value)


def _altered_photos(connection: Connection) -> Iterator[str]:
    kept = m.attachment_files.c
    photos = select(kept.sha256, kept.bytes).order_by(kept.sha256)
    for sha256, octets in connection.execute(photos.execution_options(yield_per=BLOBS_AT_ONCE)):
        if hashlib.sha256(octets).hexdigest() != sha256:
            yield say("attachment_files: a photo is not what it was ({checksum}...)", checksum=sha256[:12])
