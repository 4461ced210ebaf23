"""Writes the book of the current schema version as SQL text: run once per released version, then never again.

    python tests/logbook/books/make.py

The book uses every table and every state. Ids and times are fixed, so that the text is the same each time.
"""

from __future__ import annotations

import hashlib
import re
import sqlite3
import sys
import tempfile
import uuid
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TypedDict

from sqlalchemy import Table

from coldlash.engine.catalogue import generic_text
from coldlash.engine.spec import Valve
from coldlash.logbook import models as m
from coldlash.logbook.lasting import AcceptedCause, EngineTest, Instrument, MeterReading, Work
from coldlash.logbook.migrations import HEAD
from coldlash.logbook.models import APPLICATION_ID
from coldlash.logbook.records import NewReading, NewVisit, Step
from coldlash.logbook.store import Book

NOON = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
NOON_TEXT = "2024-05-04T12:00:00.000Z"
_numbers = iter(range(1, 1000))


class Common(TypedDict):
    """Who wrote an entry, on what."""

    by: str
    device: str


class Place(TypedDict):
    """Where and when at an engine."""

    engine_id: str
    visit_id: str
    day: date
    valves: tuple[Valve, ...]


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
    fill_lasting(book, engine, first)
    fill_other_tables(book, engine, first)


def fill_lasting(book: Book, engine: str, first: str) -> None:
    """Instruments, fitments, work, tests, causes: one of each, one corrected, one withdrawn."""
    van = book.vehicle("Lieferwagen 車").id
    boat = book.add_vehicle("Boat", meter="h", id=uid()).id
    common: Common = {"by": "Ann", "device": "phone"}
    book.add_instrument(
        Instrument(
            vehicle_id=van, how="replaced", unit="km", digits=6, day=date(2005, 6, 1), reading=0,
            old_reading=99_999_000, note="second-hand", id=uid(), **common,
        )
    )  # fmt: skip
    noted = book.note_reading(
        MeterReading(
            vehicle_id=van,
            day=date(2004, 9, 1),
            reading=100_000,
            unit="mile",
            turned_over=1,
            id=uid(),
            **common,
        )
    )
    book.correct(
        replace(noted, id=uid(), replaces=noted.id, reason="misread", reading=110_000, at=None, seq=0)
    )
    book.fit_engine(
        engine,
        boat,
        day=date(2007, 1, 1),
        meter_reading=5_500,
        meter_unit="h",
        distance_m=94_100_000,
        id=uid(),
    )
    book.add_work(
        Work(
            engine_id=engine, visit_id=first, day=date(2004, 3, 1), distance_m=84_210_000, cylinders=(1,),
            valves=(Valve("E", 3),), kind="ground", part="seat", note="pitted; 錆", id=uid(), **common,
        )
    )  # fmt: skip
    mistaken = book.add_work(
        Work(engine_id=engine, day=date(2004, 4, 1), kind="replaced", part="camshaft", id=uid())
    )
    book.add_work(
        replace(
            mistaken,
            id=uid(),
            replaces=mistaken.id,
            reason="another engine's",
            withdrawn=True,
            at=None,
            seq=0,
        )
    )
    place: Place = {
        "engine_id": engine,
        "visit_id": first,
        "day": date(2004, 3, 1),
        "valves": (Valve("E", 3),),
    }
    book.add_test(
        EngineTest(kind="leak_down", data={"percent": 12.5}, result="low", id=uid(), **place, **common)
    )
    book.accept_cause(
        AcceptedCause(cause="seat_recession_or_stretch", direction="tighter", amount_um=60, id=uid(), **place)
    )


def fill_other_tables(book: Book, engine: str, first: str) -> None:
    """Photos, imports, requests, facts: row by row, whatever calls write them."""
    digest, photo = "a" * 64, hashlib.sha256(b"\x00\xffa").hexdigest()
    rows: list[tuple[Table, dict[str, object]]] = [
        (m.attachment_files, {"sha256": photo, "size": 3, "bytes": b"\x00\xffa"}),
        (
            m.attachments,
            {
                "id": uid(), "engine_id": engine, "visit_id": first, "valve": "E3", "media_type": "image/jpeg",
                "name": "seat.jpg", "caption": "der Sitz", "sha256": photo, "size": 3, "width": 4, "height": 3,
                "taken_at": NOON_TEXT, "by": "Ann", "at": NOON_TEXT, "file_sha256": photo,
            },
        ),
        (
            m.imports,
            {
                "id": "00000000-0000-4000-8000-0000000000aa", "source": "old.csv", "sha256": digest, "how": "{}",
                "visits_added": 1, "rows_added": 4, "at": NOON_TEXT, "undone_reason": "",
            },
        ),
        (m.import_visits, {"visit_id": first, "import_id": "00000000-0000-4000-8000-0000000000aa"}),
        (m.applied_requests, {"key": "r1", "sha256": digest, "answer": "{}", "device": "phone", "at": NOON_TEXT}),
        (m.engine_facts, {"engine_file_id": book.engine(engine).file.id, "facts": "{}"}),
    ]  # fmt: skip
    with book._file.writing() as connection:
        for table, row in rows:
            connection.execute(table.insert().values(row))


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


def dump(db: sqlite3.Connection) -> str:
    """The book as SQL that makes it again. The index of words is made empty: who searches fills it."""
    lines = [
        line for line in db.iterdump() if not re.match(r"(INSERT INTO|CREATE TABLE) .?search_words", line)
    ]
    lines = [line for line in lines if "VALUES('table','search_words'" not in line]
    (words,) = db.execute("SELECT sql FROM sqlite_master WHERE name = 'search_words'").fetchone()
    return "\n".join([*lines, f"{words};"])


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
            text = dump(db)
    target.write_text(f"PRAGMA application_id = {APPLICATION_ID};\n{text}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
