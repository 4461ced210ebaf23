"""A notebook of 100,000 rows: read, understood and taken into a book, in a file and on PostgreSQL.

    python -m benchmarks.bench_import [--quick]

The rows are a messy sheet (semicolons, decimal commas, German headings, a meter). The reference is the driver's own
``executemany`` of the same readings into one plain SQLite table with a primary key, in the same run; what the ratio
pays for is reading, understanding, comparing, checking, history, triggers, indices and foreign keys.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import uuid
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from time import perf_counter, process_time

from benchmarks.backends import backends

from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.importing import FileImport, undo

BAR_S = 30.0
TODAY = date(2026, 5, 31)
ANSWERS = {"single": "felt"}


def notebook(rows: int) -> bytes:
    """An invented notebook: eight valves a visit, set every fourth time."""
    lines = ["Datum;km-Stand;Ventil;Spiel vorher;eingestellt auf;Bemerkung"]
    for visit in range(rows // 8):
        day = date(1985, 1, 1) + timedelta(days=visit)
        for i, valve in enumerate(("E1", "A1", "E2", "A2", "E3", "A3", "E4", "A4")):
            left = "0,15" if visit % 4 == 0 else ""
            note = "rauh" if (visit + i) % 50 == 0 else ""
            lines.append(
                f"{day:%d.%m.%Y};{1000 + visit * 7};{valve};0,{5 + (visit + i) % 4 * 5:02};{left};{note}"
            )
    return "\r\n".join(lines).encode("cp1252")


def reference(rows: int) -> float:
    """Seconds for ``executemany`` of as many readings into a plain table, synchronous as the book is."""
    one = ("E3", "found", 100, 150, "", "2026-05-31T12:00:00.000Z")
    values = [(str(uuid.uuid4()), str(uuid.uuid4()), *one) for _ in range(rows)]
    with tempfile.TemporaryDirectory() as folder, closing(sqlite3.connect(Path(folder) / "plain.db")) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        columns = "id TEXT PRIMARY KEY, visit TEXT, valve TEXT, step TEXT, go INTEGER, nogo INTEGER, note TEXT, at TEXT"
        db.execute(f"CREATE TABLE r ({columns})")
        start = perf_counter()
        with db:
            db.executemany("INSERT INTO r VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)
        return perf_counter() - start


def measure(place: str, data: bytes) -> dict[str, float]:
    """Seconds of each step, in a new book at ``place``."""
    taken: dict[str, float] = {}
    start = perf_counter()

    def lap(name: str) -> None:
        nonlocal start
        now = perf_counter()
        taken[name] = now - start
        start = now

    with Desk.open(place, create=True, now=lambda: datetime(2026, 5, 31, 12, tzinfo=UTC)) as desk:
        desk.add_engine(load_engine("flat-four"), "Van engine")
        start = perf_counter()
        told = 0

        def watch(_stage: str, _done: int, _of: int) -> None:
            nonlocal told
            told += 1

        file = FileImport(data, "notebook.csv", TODAY, watch)
        lap("read")
        file.begin(desk, "Van engine")
        file.answer(desk, ANSWERS)
        lap("guess")
        preview = file.look(desk, watch)
        lap("preview")
        if not preview.ready:
            raise SystemExit(f"the notebook was not understood: {preview.questions} {preview.faults[:3]}")
        done = file.take(desk, watch=watch)
        lap("take in")
        again = file.take(desk)
        lap("the same again")
        undo(desk.book, done.import_id or "", "a trial")
        lap("undo")
        if done.added != len(preview.days) or again.added or desk.book.visits("Van engine"):
            raise SystemExit("what was taken in is not what was shown, or it was not undone")
        taken["calls of progress"] = told
    return taken


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="800 rows, judges no bar")
    arguments = parser.parse_args()
    rows = 800 if arguments.quick else 100_000
    data = notebook(rows)
    plain = reference(rows)
    print(
        f"{rows} rows, {len(data) / 1e6:.1f} MB; reference (sqlite3 executemany, one plain table): {plain:.2f} s"
    )
    over = []
    for backend in backends():
        with backend.places() as new_place:
            busy = process_time()
            taken = measure(new_place(), data)
            busy = process_time() - busy
        whole = sum(taken[step] for step in ("read", "guess", "preview", "take in"))
        for step, seconds in taken.items():
            print(
                f"{backend.name:12} {step:18} {seconds:8.2f}" + (" s" if step != "calls of progress" else "")
            )
        print(
            f"{backend.name:12} {'from file to book':18} {whole:8.2f} s, ratio to the reference {whole / plain:.1f}"
        )
        print(f"{backend.name:12} {'of it all on the processor, without the server':18} {busy:8.2f} s")
        if whole > BAR_S:
            over.append(backend.name)
    if over and not arguments.quick:
        raise SystemExit(f"over the bar of {BAR_S:.0f} s: {', '.join(over)}")


if __name__ == "__main__":
    main()
