"""Writes the book of the current schema version as SQL text: run once per released version, then never again.

    python tests/logbook/books/make.py

The book uses every table and every state. Ids and times are fixed, so that the text is the same each time.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import uuid
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

from coldlash.engine.catalogue import generic_text
from coldlash.engine.spec import Valve
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.models import APPLICATION_ID
from coldlash.logbook.records import NewReading, NewVisit, Step
from coldlash.logbook.store import Book

NOON = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
_numbers = iter(range(1, 1000))


def uid() -> str:
    """The next fixed id."""
    return str(uuid.UUID(int=next(_numbers), version=4))


def fill(book: Book) -> None:
    """One of everything."""
    book.set_setting("gap_unit", "mm")
    book.add_vehicle("Lieferwagen 車", meter="mile", meter_digits=5, note="grey", id=uid())
    book.add_blade_set("Box", (50, 100, 150, 200), unit="mm", stacks_of=2, id=uid())
    engine = book.add_engine(
        "Delivery van engine", generic_text("flat-four"), vehicle="Lieferwagen 車", id=uid()
    ).id
    first = visit(book, engine, date(2004, 3, 1), 84_210_000)
    a = say(book, first, "E3", "found", go_um=100, nogo_um=150, spin="free", by="Ann", device="phone")
    b = say(book, first, "E3", "found", go_um=50, nogo_um=100, replaces=a, note="read twice")
    say(book, first, "E3", "set", blade_um=150, feel="drag")
    say(book, first, "E3", "left", go_um=150, feel="drag")
    say(book, first, "I3", "found", go_um=0, nogo_um=50)
    c = say(book, first, "I4", "found")
    book.withdraw(c, id=uid())
    book.close_visit(first)
    book.change_visit(first, {"note": "rainy; 雨"}, reason="remembered later", by="Ann", id=uid())
    say(book, first, "E3", "found", go_um=100, nogo_um=150, replaces=b, reason="the first was right")
    book.new_engine_file(
        engine, generic_text("flat-four") + "\n# new camshaft\n", {"lobe.csv": "0,0\n10,0.1\n"}, id=uid()
    )
    second = visit(book, engine, date(2005, 3, 1), 89_000_000)
    say(book, second, "E3", "found", go_um=200)
    say(book, second, "I4", "set")
    book.close_visit(second)
    third = visit(book, engine, date(2005, 4, 1), 89_500_000)
    book.discard_visit(third, reason="another engine's")
    visit(book, engine, date(2006, 3, 1), 94_000_000)


def visit(book: Book, engine: str, day: date, distance_m: int) -> str:
    """Open a visit with every field filled."""
    return book.open_visit(
        engine,
        NewVisit(
            day=day,
            distance_m=distance_m,
            engine_temp_mc=18_500,
            air_temp_mc=-2_000,
            meter_reading=52_325_500,
            meter_unit="mile",
            by="Ann",
            blades_um=(50, 100, 150, 200),
            plan='{"by":"fewest"}',
            place="E3 found",
            note="n",
            id=uid(),
        ),
    ).id


def say(book: Book, visit_id: str, valve: str, step: Step, **values: object) -> str:
    """Write one reading."""
    new = NewReading(valve=Valve.parse(valve), step=step, id=uid(), **values)  # type: ignore[arg-type]
    return (book.amend if new.reason else book.record)(visit_id, new).id


def main() -> None:
    """Write v<number>.sql beside this file, unless it is there."""
    target = Path(__file__).with_name(f"v{int(HEAD)}.sql")
    if target.exists():
        sys.exit(f"{target.name} was released; it is never written again")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.coldlash"
        with Book.open(path, create=True, now=lambda: NOON) as book:
            # Random ids (engine file, discarding, closing) would differ each time; nothing refers to their values.
            fill(book)
        with closing(sqlite3.connect(path)) as db:
            text = "\n".join(db.iterdump())
    target.write_text(f"PRAGMA application_id = {APPLICATION_ID};\n{text}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
