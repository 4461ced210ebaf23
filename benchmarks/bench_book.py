"""A large shed: 1,000 engines with 200 visits each. How long its page's data, a stamp, one engine and a search take.

    python -m benchmarks.bench_book [--quick] [--url postgresql+psycopg://user@host/database]

The book is made in a temporary file, or, with --url, in that (empty) database. Shed and search are measured as pages
ask for them; the first time in a new process, and again.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from time import perf_counter

from sqlalchemy import text

from coldlash.desk.desk import Desk
from coldlash.engine.catalogue import generic_text
from coldlash.engine.reader import read_engine
from coldlash.logbook.records import NewReading, NewVisit, PastVisit

SHED_MS, SEARCH_MS = 200.0, 100.0
NOW = datetime(2026, 5, 31, 12, tzinfo=UTC)
WORDS = (
    "pitted tip",
    "rain, cold hands",
    "new gasket on the left",
    "lock-nut rounded",
    "reads like last year",
)
NOTED_EVERY = 5
SEARCHES = {
    "a common word": "gasket",
    "a rare word": "777",
    "the beginning of a word": "g",
    "two words": "rain engine",
    "words side by side": "lock-nut",
    "nothing there": "zebra",
}


def visits_of(number: int, count: int) -> list[PastVisit]:
    """Invented visits of one engine: one a month, a note on every fifth."""
    toml = generic_text("flat-twin")
    valves = read_engine(toml, "flat-twin").valves
    first = date(2026, 5, 1) - timedelta(days=30 * count + number % 29)
    visits = []
    for i in range(count):
        noted = (i + number) % NOTED_EVERY == 0
        new = NewVisit(
            day=first + timedelta(days=30 * i),
            distance_m=400_000 * (i + 1) + number,
            engine_temp_mc=18_000,
            note=f"{WORDS[(i + number) % len(WORDS)]}, engine {number}" if noted else "",
        )
        readings = tuple(NewReading(valve=v, step="found", go_um=100, nogo_um=150) for v in valves)
        visits.append(PastVisit(visit=new, readings=readings))
    return visits


def fill(desk: Desk, engines: int, visits: int) -> None:
    """Put the shed into an empty book."""
    toml = generic_text("flat-twin")
    with desk.book.transaction():
        for number in range(engines):
            desk.book.add_vehicle(f"Vehicle {number}", meter_digits=6)
            # Every engine's file differs, as owners' files do.
            desk.book.add_engine(f"Engine {number}", f"{toml}\n# {number}\n", vehicle=f"Vehicle {number}")
            desk.book.add_past_visits(f"Engine {number}", visits_of(number, visits))
            if number % 100 == 99:
                print(f"  {number + 1} engines", file=sys.stderr)


def settle(desk: Desk) -> None:
    """What a server does by itself soon after so many rows came (autovacuum; the tests' server has it switched off)."""
    with desk.book._file.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("VACUUM ANALYZE")


def took(job: Callable[[], object]) -> float:
    """Milliseconds."""
    start = perf_counter()
    job()
    return 1000 * (perf_counter() - start)


def look_through(desk: Desk, word: str) -> int:
    """The reference: every note fetched and looked through for a word, newest first."""
    with desk.book._file.reading() as connection:
        rows = connection.execute(
            text(
                "SELECT s.text, v.day FROM search_texts s JOIN visits v ON v.id = s.visit_id "
                "WHERE s.source = 'visits' AND v.state <> 'discarded' ORDER BY v.day DESC"
            )
        )
        return sum(word in row.text.lower() for row in rows)


def measure(ref: str) -> dict[str, float]:
    """Each figure in ms, in a newly opened book."""
    figures: dict[str, float] = {}
    with Desk.open(ref, now=lambda: NOW) as desk:
        today = NOW.date()
        figures["shed, engine files never read before"] = took(lambda: desk.shed(today))
    with Desk.open(ref, now=lambda: NOW) as desk:
        figures["shed, first time in a process"] = took(lambda: desk.shed(today))
        figures["shed, again"] = min(took(lambda: desk.shed(today)) for _ in range(5))
        figures["stamp of the book"] = min(took(desk.book.stamp) for _ in range(5))
        figures["one engine's own distance"] = min(took(lambda: desk.meter_of("Engine 7")) for _ in range(5))
        figures["filling the index of words, once"] = took(lambda: desk.book.search("gasket"))
        for what, words in SEARCHES.items():
            figures[f"search, {what}"] = min(took(partial(desk.book.search, words)) for _ in range(5))
        figures["looking through every note"] = min(
            took(lambda: look_through(desk, "gasket")) for _ in range(5)
        )
    with Desk.open(ref, now=lambda: NOW) as desk:
        figures["search, first in a process"] = took(lambda: desk.book.search("lock-nut 7"))
    return figures


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="20 engines with 10 visits, judges no bar")
    parser.add_argument("--url", help="an empty PostgreSQL database to make the book in")
    arguments = parser.parse_args()
    engines, visits = (20, 10) if arguments.quick else (1000, 200)
    with tempfile.TemporaryDirectory() as folder:
        ref = arguments.url or str(Path(folder) / "book.coldlash")
        with Desk.open(ref, create=True, now=lambda: NOW) as desk:
            making = took(lambda: fill(desk, engines, visits))
            settle(desk)
        print(f"{engines} engines with {visits} visits each, made in {making / 1000:.1f} s")
        figures = measure(ref)
    for name, ms in figures.items():
        print(f"{name:40} {ms:8.1f} ms")
    first, again = figures["shed, engine files never read before"], figures["shed, again"]
    print(f"what is kept of engine files saves: ratio {first / again:.1f}")
    scan = figures["looking through every note"]
    print(f"the index of words saves: ratio {scan / figures['search, a common word']:.1f} (common word)")
    if arguments.quick:
        return
    slow = [n for n in figures if n.startswith("shed") and n != next(iter(figures)) and figures[n] > SHED_MS]
    slow += [n for n in figures if n.startswith("search") and figures[n] > SEARCH_MS]
    if slow:
        raise SystemExit(
            f"over the bar ({SHED_MS:.0f} ms shed, {SEARCH_MS:.0f} ms search): {', '.join(slow)}"
        )


if __name__ == "__main__":
    main()
