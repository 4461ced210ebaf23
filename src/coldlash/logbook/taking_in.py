"""Visits of a file into the book: all of them or nothing, none twice, and written down so that it can be undone.

A log file of the contract and a spreadsheet come through here alike.
"""

from __future__ import annotations

import hashlib
import secrets
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import count, pairwise

from coldlash.engine.spec import Engine
from coldlash.errors import Fault, FaultyFileError
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.exchange import Known, past_of
from coldlash.logbook.records import PastVisit, Visit, plain
from coldlash.logbook.sheets.cells import Watch, nobody_watches
from coldlash.logbook.sheets.metering import Anchor, reckoned
from coldlash.logbook.sheets.rows import SheetVisit
from coldlash.logbook.store import Book
from coldlash.logbook.visit_rows import load

AT_ONCE = 250
"""Visits written with one statement; between them it can be stopped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """The visits of one engine of the book. ``digits`` of its meter, None = not known."""

    engine: str
    spec: Engine
    visits: tuple[SheetVisit, ...]
    digits: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What was done, or would be. ``import_id`` None = nothing was added. ``visits``: the new ones with their ids and
    what they came from.
    """

    added: int
    already_there: int
    rows_added: int
    rows_known: int
    import_id: str | None = None
    visits: tuple[tuple[str, SheetVisit], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def visit_ids(self) -> tuple[str, ...]:
        """The ids of the new visits."""
        return tuple(visit_id for visit_id, _ in self.visits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """The visits of one engine against the book: all of them by day, the new ones among them, how many it has, and what
    does not agree.
    """

    batch: Batch
    visits: tuple[SheetVisit, ...]
    fresh: tuple[SheetVisit, ...]
    known: int
    rows_known: int
    faults: tuple[Fault, ...]


def digest(data: bytes) -> str:
    """The SHA-256 of a file, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def compare(book: Book, batch: Batch) -> Compared:
    """Hold visits against the book, with the engine's own distance where a meter was read. Raises InputError."""
    there = book.visits(batch.engine, None)
    anchors = [
        Anchor(v.day, v.distance_m, v.meter_reading, v.meter_unit)
        for v in there
        if v.state == "closed" and v.meter_reading is not None and v.meter_unit is not None
    ]
    visits, faults = reckoned(
        batch.visits, anchors, digits=batch.digits, km_per_h=batch.spec.service.km_per_h
    )
    known = Known(there, batch.spec)
    fresh: list[SheetVisit] = []
    rows_known = already = 0
    seen: dict[object, SheetVisit] = {}
    found = list(faults)
    for visit in visits:
        key = visit.log.day, visit.log.distance_m
        twin = seen.setdefault(key, visit)
        if twin is not visit:
            found.append(
                Fault(
                    say(
                        "this makes a second visit on {day} at {distance} km, after that of row {line}",
                        day=visit.log.day, distance=plain(visit.log.distance_m), line=twin.log.line,
                    ),
                    visit.log.line,
                )
            )  # fmt: skip
            continue
        said = known.compare(visit.log)
        if said == "new":
            fresh.append(visit)
        elif said == "known":
            already += 1
            rows_known += len(visit.log.rows)
        else:
            found += said
    return Compared(
        batch=batch,
        visits=visits,
        fresh=tuple(fresh),
        known=already,
        rows_known=rows_known,
        faults=tuple(found),
    )


def take_in(
    book: Book,
    batches: Sequence[Batch],
    *,
    source: str,
    sha256: str,
    how: str,
    by: str | None = None,
    at: str | None = None,
    watch: Watch = nobody_watches,
) -> TakenIn:
    """Add visits that the book has not, all of them or nothing, as one import.

    Visits the book has already with the same content are left alone, also when they were corrected since. ``how``:
    JSON of how the file was understood; ``at``: the time of the import (None = the book's clock). What ``watch`` raises
    ends it, and nothing was written. Raises FaultyFileError (other content on the same day and distance), InputError,
    BookError.
    """
    when = book._at(at)  # one time for all of it
    with book.transaction():
        compared: list[Compared] = []
        for batch in batches:
            watch("comparing", len(compared), len(batches))
            compared.append(compare(book, batch))
        faults = [fault for each in compared for fault in each.faults]
        if faults:
            raise FaultyFileError(source, faults)
        of = sum(len(each.fresh) for each in compared)
        new: list[tuple[str, SheetVisit]] = []
        notes: list[str] = []
        watch("writing", 0, of)
        ids = rising_ids(when)
        for each in compared:
            engine_new: list[str] = []
            for start in range(0, len(each.fresh), AT_ONCE):
                some = each.fresh[start : start + AT_ONCE]
                added = book.add_past_visits(
                    each.batch.engine, [_past_of(visit, lambda: next(ids)) for visit in some], at=when
                )
                new += zip(added, some, strict=True)
                engine_new += added
                watch("writing", len(new), of)
            notes += _backwards(book, each.batch.engine, set(engine_new))
        rows = sum(len(visit.log.rows) for _, visit in new)
        import_id = None
        if new:
            noted = book.note_import(
                [visit_id for visit_id, _ in new],
                source=source,
                sha256=sha256,
                how=how,
                rows=rows,
                by=by,
                at=when,
            )
            import_id = noted.id
        return TakenIn(
            added=len(new),
            already_there=sum(each.known for each in compared),
            rows_added=rows,
            rows_known=sum(each.rows_known for each in compared),
            import_id=import_id,
            visits=tuple(new),
            notes=tuple(notes),
        )


def rising_ids(when: str) -> Iterator[str]:
    """Fresh ids, each greater than the one before (UUID version 7, RFC 9562 with 6.2's method 2; ``when``: UTC text).

    Rows whose ids rise are written to the ends of a database's indices and not all over them.
    """
    ms = int(datetime.fromisoformat(when).timestamp() * 1000)
    head = (ms << 80) | (7 << 76) | (secrets.randbits(12) << 64) | (2 << 62)
    for number in count(secrets.randbits(61)):
        yield str(uuid.UUID(int=head | number))


def _past_of(visit: SheetVisit, new_id: Callable[[], str]) -> PastVisit:
    past = past_of(visit.log, new_id)
    if visit.meter_reading is None and not visit.note:
        return past
    return replace(
        past,
        visit=replace(
            past.visit, meter_reading=visit.meter_reading, meter_unit=visit.meter_unit, note=visit.note
        ),
    )


def _backwards(book: Book, engine: str, new: set[str]) -> list[str]:
    """Where the distance goes backwards together with what the book had before, in words."""
    if not new:
        return []
    engine_id = book.engine(engine).id
    with book._file.reading() as connection:
        visits = load(
            connection, (m.visits.c.engine_id == engine_id) & (m.visits.c.state == "closed"), readings=False
        )
    return [
        _backwards_words(a, b)
        for a, b in pairwise(visits)
        if b.distance_m < a.distance_m and new & {a.id, b.id}
    ]


def _backwards_words(before: Visit, after: Visit) -> str:
    return say(
        "together with the visits in the book the distance goes backwards: {after_km} km on {after}, but {before_km} "
        "km on {before}; it counts as 0 km",
        after_km=plain(after.distance_m), after=after.day, before_km=plain(before.distance_m), before=before.day,
    )  # fmt: skip
