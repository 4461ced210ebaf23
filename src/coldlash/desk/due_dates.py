"""What is due across the shed, and of one engine: the same reckoning for pages, terminal, paper and calendar."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date

from coldlash.desk.engines import engine_from_kept
from coldlash.engine.spec import Engine, Service, Valve
from coldlash.errors import BookError
from coldlash.logbook.due import RATE_VISITS, Due, Rebuild, due
from coldlash.logbook.lasting import Work
from coldlash.logbook.parts import VisitAt, moved_after, rebuilt_since
from coldlash.logbook.records import EngineEntry, Visit, VisitHead
from coldlash.logbook.store import Book
from coldlash.units import km_from_m, m_from_km
from coldlash.wear.record import VisitRecord

URGENCY = {"due": 0, "never checked": 1, "soon": 2, "not yet": 3}


@dataclass(frozen=True, slots=True)
class ShedRow:
    """One engine as it stands in the shed."""

    entry: EngineEntry
    service: Service
    vehicle: str | None
    due: Due
    draft: VisitHead | None
    visits: int
    headline: str = ""
    """The most important sentence of what the readings say, where it asks for something."""

    @property
    def engine(self) -> Engine:
        """The engine, read from its file."""
        return engine_of_entry(self.entry)


def engine_of_entry(entry: EngineEntry) -> Engine:
    """An engine as its current file says."""
    return engine_from_kept(entry.file.toml, dict(entry.file.tables), entry.name)


def due_of(
    service: Service,
    records: Sequence[VisitRecord],
    today: date,
    work: Iterable[Work] = (),
    engine: Engine | None = None,
    *,
    last_visit_id: str | None = None,
    recheck_km: float | None = None,
) -> Due:
    """When one engine is due, from its closed visits and the work on it.

    ``last_visit_id``: the id of the last of them. ``recheck_km``: how far after it the readings say to look again.
    """
    rebuilt: Rebuild | None = None
    work = tuple(work)
    if work and records and engine is not None:
        last = max(records, key=lambda record: (record.day, record.distance_km))
        rebuilt = rebuilt_since(work, VisitAt(last_visit_id, last.day, m_from_km(last.distance_km)), engine)
    return due(service, records, today, rebuilt=rebuilt or False, recheck_km=recheck_km)


def shed(book: Book, today: date) -> tuple[ShedRow, ...]:
    """Every engine with what is due, most urgent first. A handful of queries, whatever the number of engines."""
    return by_urgency(rows_of(book, today))


def rows_of(book: Book, today: date) -> tuple[ShedRow, ...]:
    """Every engine with what is due, in the book's order. A handful of queries, whatever the number of engines."""
    vehicles = {vehicle.id: vehicle.name for vehicle in book.vehicles()}
    heads: dict[str, list[VisitHead]] = {}
    for head in book.recent_visits(RATE_VISITS):
        heads.setdefault(head.engine_id, []).append(head)
    work: dict[str, list[Work]] = {}
    for done in book.work():
        work.setdefault(done.engine_id, []).append(done)
    entries = book.engines()
    services = _services(book, entries)
    return tuple(
        _row(entry, services[entry.file.id], vehicles, heads.get(entry.id, []), work.get(entry.id, []), today)
        for entry in entries
    )


def by_urgency(rows: Iterable[ShedRow]) -> tuple[ShedRow, ...]:
    """Most urgent first: what is due, then by the day it will be."""

    def place(row: ShedRow) -> tuple[int, date]:
        return URGENCY[row.due.state], row.due.projected or row.due.due_day or date.max

    return tuple(sorted(rows, key=place))


def _row(
    entry: EngineEntry,
    service: Service,
    vehicles: dict[str, str],
    heads: Sequence[VisitHead],
    work: Sequence[Work],
    today: date,
) -> ShedRow:
    closed = [head for head in heads if head.state == "closed"]
    draft = next((head for head in heads if head.state == "draft"), None)
    records = [VisitRecord(head.day, km_from_m(head.distance_m), {}) for head in closed]
    when = due_of(
        service,
        records,
        today,
        work,
        engine_of_entry(entry) if work else None,
        last_visit_id=closed[-1].id if closed else None,
    )
    vehicle = vehicles.get(entry.vehicle_id) if entry.vehicle_id else None
    return ShedRow(entry, service, vehicle, when, draft, closed[-1].count if closed else 0)


def _services(book: Book, entries: Sequence[EngineEntry]) -> dict[str, Service]:
    """Each engine file's [service], kept in the book once it was read."""
    kept = book.engine_facts()
    services, new = {}, {}
    for entry in entries:
        facts = kept.get(entry.file.id)
        if facts is None:
            service = engine_of_entry(entry).service
            new[entry.file.id] = json.dumps({"service": asdict(service)}, separators=(",", ":"))
        else:
            service = Service(**json.loads(facts)["service"])
        services[entry.file.id] = service
    if new:
        # A shed that can't be written to now is shown all the same.
        with contextlib.suppress(BookError):
            book.keep_engine_facts(new)
    return services


def renewed_since(book: Book, engine_id: str, engine: Engine, draft: Visit | None = None) -> frozenset[Valve]:
    """Valves whose gaps work moved since the last closed visit, up to ``draft``: none can be expected there."""
    heads = [h for h in book.recent_visits(1) if h.engine_id == engine_id and h.state == "closed"]
    places = [VisitAt(head.id, head.day, head.distance_m) for head in heads]
    until = date.max if draft is None else draft.day
    work = [each for each in book.work(engine_id) if each.day <= until and each.visit_id is None]
    return moved_after(work, places, engine)
