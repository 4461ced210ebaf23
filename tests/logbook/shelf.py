"""What the tests of the book share: an engine, a clock, short ways to write readings."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from coldlash.engine.catalogue import generic_text
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Valve
from coldlash.logbook.copying import digest, plain_tables
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.records import NewReading, NewVisit, Step
from coldlash.logbook.store import Book

ENGINE_TOML = generic_text("flat-four")
FLAT_FOUR = read_engine(ENGINE_TOML, "flat-four")
NAME = "Delivery van"
NOON = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
NOON_TEXT = "2024-05-04T12:00:00.000Z"


def open_book(path: Path, **how: Any) -> Book:
    """A book whose clock stands at noon of 2024-05-04."""
    return Book.open(path, now=lambda: NOON, **how)


def visit_on(day: str = "2024-05-04", km: float = 84_210, **more: Any) -> NewVisit:
    """A visit to open."""
    return NewVisit(day=date.fromisoformat(day), distance_m=round(km * 1000), **more)


def found(valve: str = "E3", go: int | None = 100, nogo: int | None = 150, **more: Any) -> NewReading:
    """A found reading, micrometres."""
    return reading(valve, "found", go_um=go, nogo_um=nogo, **more)


def reading(valve: str, step: Step, **more: Any) -> NewReading:
    """Any reading."""
    return NewReading(valve=Valve.parse(valve), step=step, **more)


def full_book(path: Path) -> Path:
    """Make the kept book of the current version there: one of everything, in every table."""
    kept = Path(__file__).parent / "books" / f"v{int(HEAD)}.sql"
    with closing(sqlite3.connect(path)) as db:
        db.executescript(kept.read_text(encoding="utf-8"))
    return path


def content(book: Book) -> dict[str, str]:
    """A checksum of every table that holds something of its own."""
    with book._file.reading() as connection:
        return {table.name: digest(connection, table) for table in plain_tables(connection)}
