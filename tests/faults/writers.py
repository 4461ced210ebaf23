"""What the fault tests run in processes of their own: writers that say what the book has acknowledged."""

from __future__ import annotations

import os
import resource
import signal
from datetime import UTC, date, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import alembic.command  # noqa: F401  (loaded before rights are given up)

from coldlash.engine.spec import Valve
from coldlash.errors import ColdlashError
from coldlash.logbook.records import NewReading, NewVisit, new_id
from coldlash.logbook.store import Book

PARTS = 8
"""How many changes are made in one transaction."""
NOON = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)


def open_book(path: str, **how: Any) -> Book:
    return Book.open(path, now=lambda: NOON, **how)


def new_reading(number: int) -> NewReading:
    """The found reading of one of 198 valves; its note holds enough text to fill pages."""
    valve = Valve("IE"[number % 2], number // 2 % 99 + 1)
    return NewReading(
        valve=valve, step="found", go_um=100, nogo_um=150, note=f"{number} " + "x" * 300, id=new_id()
    )


def write_until_killed(path: str, start: int, told: Connection) -> None:
    """Open a visit and write readings, each in its own transaction; tell each id once it is acknowledged."""
    with open_book(path, wait_s=30.0) as book:
        (engine,) = book.engines()
        visit = book.open_visit(engine.id, NewVisit(day=date(2024, 5, 4), distance_m=start)).id
        told.send(("visit", visit))
        for number in range(198):
            reading = book.record(visit, new_reading(number))
            told.send(("reading", reading.id))
            if number % 3 == 2:  # many rows in one transaction: all of them or none
                with book.transaction():
                    for part in range(PARTS):
                        changed = book.change_visit(visit, {"note": f"{number} {part}"})
                    book.set_place(visit, str(number))
                told.send(("change", changed.changes[-1].id))
        told.send(("end", visit))
        signal.pause()


def write_many(path: str, km: int, count: int, told: Connection) -> None:
    """Write a visit of ``count`` readings beside other processes doing the same; tell the ids or the error."""
    try:
        with open_book(path, wait_s=120.0) as book:
            (engine,) = book.engines()
            visit = book.open_visit(engine.id, NewVisit(day=date(2024, 5, 4), distance_m=km * 1000)).id
            ids = [book.record(visit, new_reading(number)).id for number in range(count)]
            book.close_visit(visit)
        told.send(ids)
    except ColdlashError as error:
        told.send(str(error))


def make_book(path: str, told: Connection) -> None:
    """Make or open the same book as others do at the same moment."""
    try:
        with open_book(path, create=True, wait_s=120.0) as book:
            book.add_vehicle(f"Van {os.getpid()}")
        told.send("made")
    except ColdlashError as error:
        told.send(str(error))


def write_with_little_room(path: str, limit_bytes: int, told: Connection) -> None:
    """Write until files may grow no further, as on a full disk; tell what was acknowledged and what was said."""
    kept: list[str] = []
    with open_book(path) as book:
        (visit,) = book.draft_visits()
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))
        try:
            for number in range(198):
                kept.append(book.record(visit.id, new_reading(number)).id)
        except ColdlashError as error:
            told.send((kept, str(error)))
        else:
            told.send((kept, "there was room for all"))
        os._exit(0)  # closing would fold the log into the book, beyond the limit


def use_without_rights(path: str, create: bool, uid: int, told: Connection) -> None:
    """Open the book and write, as a user who may not; tell what was said."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(uid)
        os.setuid(uid)
    try:
        with open_book(path, create=create) as book:
            book.add_vehicle("Van")
        told.send("written")
    except ColdlashError as error:
        told.send(str(error))


def back_up_with_little_room(path: str, folder: str, limit_bytes: int, told: Connection) -> None:
    """Back the book up where files may not grow beyond a limit, as on a full disk; tell what was said."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with open_book(path) as book:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))
        try:
            told.send(str(book.backup(Path(folder)).path))
        except ColdlashError as error:
            told.send(str(error))
        os._exit(0)
