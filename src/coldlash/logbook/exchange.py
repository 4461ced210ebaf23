"""Between the book, log files and the models: import and export of the log, records for the models.

A log says less than the book (no pushrod spin, blades at hand, air temperature, meter reading, notes of the visit
itself, corrections): it carries what stands. See ``logbook.logfile`` for the file itself.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Literal

from coldlash.engine.spec import Engine
from coldlash.errors import Fault, FaultyFileError
from coldlash.language import say
from coldlash.logbook.lasting import Work
from coldlash.logbook.logfile import LogRow, LogVisit, decode_log, parse_log, row_words, write_log
from coldlash.logbook.parts import VisitAt, start_afresh
from coldlash.logbook.records import STEPS, NewReading, NewVisit, PastVisit, Visit
from coldlash.logbook.store import Book
from coldlash.logbook.telling import told
from coldlash.units import km_from_m, mm_from_um
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

__all__ = [
    "ImportResult",
    "LogRow",
    "LogVisit",
    "decode_log",
    "export_log",
    "import_log",
    "log_of",
    "parse_log",
    "steps_back",
    "to_records",
    "write_log",
]


HOW_LOG = '{"kind":"log"}'
"""How a log file was understood: as what it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportResult:
    """What an import did: visits added, visits that were in the book already, and their rows.

    ``visit_ids`` are the new visits. ``notes`` are sentences worth saying.
    """

    added: int
    already_there: int
    rows_added: int
    rows_known: int
    visit_ids: tuple[str, ...]
    notes: tuple[str, ...]


# --- the book as a log ------------------------------------------------------------------------------------------


def log_of(visit: Visit) -> LogVisit:
    """What stands in a visit of the book, as a log says it."""
    return LogVisit(
        day=visit.day,
        distance_m=visit.distance_m,
        engine_temp_mc=visit.engine_temp_mc,
        rows=_rows(visit),
    )


def _rows(visit: Visit) -> tuple[LogRow, ...]:
    rows = []
    for valve in visit.valves:
        found, set_to, left = (visit.reading(valve, step) for step in STEPS)
        there = [reading for reading in (found, set_to, left) if reading is not None]
        rows.append(
            LogRow(
                valve=valve,
                found_go_um=found.go_um if found else None,
                found_nogo_um=found.nogo_um if found else None,
                found_feel=found.feel if found else None,
                adjusted=set_to is not None,
                left_um=set_to.blade_um if set_to else None,
                left_go_um=left.go_um if left else None,
                left_nogo_um=left.nogo_um if left else None,
                left_feel=left.feel if left else None,
                by=next((reading.by for reading in there if reading.by), visit.by),
                note="; ".join(reading.note for reading in there if reading.note),
            )
        )
    return tuple(rows)


def export_log(book: Book, engine: str) -> str:
    """The closed visits of an engine (name or id) as the text of a log file. Raises InputError, BookError."""
    return write_log(log_of(visit) for visit in book.visits(engine, "closed"))


# --- a log into the book ----------------------------------------------------------------------------------------


def import_log(
    book: Book, engine: str, spec: Engine, text: str, source: str, *, at: str | None = None
) -> ImportResult:
    """Take a log into the book as closed visits of an engine (name or id): all of it or nothing.

    Visits the book already has with the same content are left alone, also when they were corrected since; the same
    day and distance with other content is a fault. ``spec`` is the engine as its file says; ``at`` the time of
    the import (None = the book's clock). It is written down as an import, so that it can be undone as a whole
    (``logbook.imports``). Raises FaultyFileError, InputError, BookError.
    """
    log = parse_log(text, source, spec)
    with book.transaction():
        known = Known(book.visits(engine, None), spec)
        faults: list[Fault] = []
        fresh: list[LogVisit] = []
        for visit in log:
            said = known.compare(visit)
            if said == "new":
                fresh.append(visit)
            elif said != "known":
                faults += said
        if faults:
            raise FaultyFileError(source, faults)
        ids = book.add_past_visits(engine, [past_of(visit) for visit in fresh], at=at)
        notes = _import_notes(book.visits(engine, "closed"), set(ids))
        rows = sum(len(visit.rows) for visit in log)
        rows_added = sum(len(visit.rows) for visit in fresh)
        if ids:
            sha256 = hashlib.sha256(text.encode()).hexdigest()
            book.note_import(ids, source=source, sha256=sha256, how=HOW_LOG, rows=rows_added, at=at)
    return ImportResult(
        added=len(fresh),
        already_there=len(log) - len(fresh),
        rows_added=rows_added,
        rows_known=rows - rows_added,
        visit_ids=ids,
        notes=notes,
    )


class Known:
    """The visits of an engine that the book has, by day and distance as they stand and as first written."""

    def __init__(self, visits: Iterable[Visit], spec: Engine) -> None:
        self.spec = spec
        self.standing: dict[tuple[date, int], Visit] = {}
        self.corrected: dict[tuple[date, int], Visit] = {}
        for visit in visits:
            if visit.state == "discarded":
                continue
            self.standing[visit.day, visit.distance_m] = visit
            first = log_of(visit.as_first_written())
            if first != log_of(visit):
                self.corrected[first.day, first.distance_m] = visit

    def compare(self, log: LogVisit) -> Literal["new", "known"] | list[Fault]:
        """Whether the book has this visit; the differences where it has another one in its place."""
        key = (log.day, log.distance_m)
        corrected = self.corrected.get(key)
        if corrected is not None and self._same(log_of(corrected.as_first_written()), log):
            return "known"
        there = self.standing.get(key)
        if there is None:
            return "new"
        place: dict[str, object] = {"day": log.day, "km": told(log.distance_m)}
        if there.state == "draft":
            return [
                Fault(
                    say(
                        "the visit of {day} at {km} km is still open in the book; close or discard it first",
                        **place,
                    ),
                    log.line,
                )
            ]
        book = log_of(there)
        return "known" if self._same(book, log) else list(self._differences(place, book, log))

    def _same(self, one: LogVisit, other: LogVisit) -> bool:
        return self._resolved(one) == self._resolved(other)

    def _resolved(self, visit: LogVisit) -> LogVisit:
        return replace(visit, rows=tuple(self._resolved_row(row) for row in visit.rows))

    def _resolved_row(self, row: LogRow) -> LogRow:
        """The cold gap named, where a row only says that it was set to it."""
        if not row.adjusted or row.left_um is not None or row.valve.cylinder > self.spec.cylinders:
            return row
        return replace(row, left_um=round(self.spec.gap(row.valve).cold * 1000))

    def _differences(self, place: dict[str, object], book: LogVisit, log: LogVisit) -> Iterable[Fault]:
        if book.engine_temp_mc != log.engine_temp_mc:
            yield Fault(
                say(
                    "the visit of {day} at {km} km is in the book with {kept}, here with {given}",
                    **place,
                    kept=_temperature(book),
                    given=_temperature(log),
                ),
                log.line,
            )
        ours = {row.valve: row for row in book.rows}
        for row in log.rows:
            mine = ours.pop(row.valve, None)
            if mine is None:
                yield Fault(
                    say(
                        "the visit of {day} at {km} km is in the book without {valve}",
                        **place,
                        valve=row.valve,
                    ),
                    row.line,
                )
            elif self._resolved_row(mine) != self._resolved_row(row):
                yield Fault(
                    say(
                        "the visit of {day} at {km} km is in the book with other content, {valve}: "
                        "in the book {kept}; here {given}",
                        **place,
                        valve=row.valve,
                        kept=row_words(mine),
                        given=row_words(row),
                    ),
                    row.line,
                )
        for valve in ours:
            yield Fault(
                say(
                    "the visit of {day} at {km} km is in the book with {valve}, which is missing here",
                    **place,
                    valve=valve,
                ),
                log.line,
            )


def _temperature(visit: LogVisit) -> str:
    return (
        say("no engine temperature")
        if visit.engine_temp_mc is None
        else say("the engine at {celsius} C", celsius=told(visit.engine_temp_mc))
    )


def past_of(visit: LogVisit, new_id: Callable[[], str | None] = lambda: None) -> PastVisit:
    """A visit of a log as one to add to the book. ``new_id`` makes ids; None = the book makes them."""
    who = {row.by for row in visit.rows}
    readings: list[NewReading] = []
    for row in visit.rows:
        readings.append(
            NewReading(
                id=new_id(),
                valve=row.valve,
                step="found",
                go_um=row.found_go_um,
                nogo_um=row.found_nogo_um,
                feel=row.found_feel,
                note=row.note,
                by=row.by,
            )
        )
        if row.adjusted:
            readings.append(
                NewReading(id=new_id(), valve=row.valve, step="set", blade_um=row.left_um, by=row.by)
            )
        if row.left_go_um is not None:
            readings.append(
                NewReading(
                    id=new_id(),
                    valve=row.valve,
                    step="left",
                    go_um=row.left_go_um,
                    nogo_um=row.left_nogo_um,
                    feel=row.left_feel,
                    by=row.by,
                )
            )
    return PastVisit(
        visit=NewVisit(
            id=new_id(),
            day=visit.day,
            distance_m=visit.distance_m,
            engine_temp_mc=visit.engine_temp_mc,
            by=who.pop() if len(who) == 1 else None,
        ),
        readings=tuple(readings),
    )


def _import_notes(visits: Sequence[Visit], added: set[str]) -> tuple[str, ...]:
    return tuple(
        say(
            "together with the visits in the book the distance goes backwards: {km} km on {day}, "
            "but {km_before} km on {day_before}; it counts as 0 km",
            km=told(after.distance_m),
            day=after.day,
            km_before=told(before.distance_m),
            day_before=before.day,
        )
        for before, after in steps_back(visits)
        if before.id in added or after.id in added
    )


def steps_back(visits: Sequence[Visit]) -> tuple[tuple[Visit, Visit], ...]:
    """Neighbouring visits (by day) of one engine whose distance goes backwards: (before, after)."""
    ordered = sorted(visits, key=lambda visit: (visit.day, visit.distance_m))
    return tuple((a, b) for a, b in pairwise(ordered) if b.distance_m < a.distance_m)


# --- records for the models -------------------------------------------------------------------------------------


def to_records(
    visits: Iterable[Visit | LogVisit],
    engine: Engine,
    files: Mapping[str, Engine] | None = None,
    work: Sequence[Work] = (),
) -> tuple[VisitRecord, ...]:
    """Visits of the book or of a log for the models: mm, km, degrees C, in the order given.

    ``files``: the engine as it was, by engine file id, for visits that remember an older version; it decides what
    "the cold gap" was. ``work`` on this engine: the gaps it moved start afresh (``logbook.parts``); the visits must
    then come by day. Drag on a blade: lo = hi = that blade. No blade goes: lo = -inf. Raises nothing of its own.
    """
    taken = tuple(visits)
    records = tuple(_record(visit, engine, files or {}) for visit in taken)
    if not work:
        return records
    places = [VisitAt(v.id if isinstance(v, Visit) else None, v.day, v.distance_m) for v in taken]
    then = {
        v.id: files[v.engine_file_id]
        for v in taken
        if files and isinstance(v, Visit) and v.engine_file_id in files
    }
    return start_afresh(records, places, work, engine, then)


def _record(visit: Visit | LogVisit, engine: Engine, files: Mapping[str, Engine]) -> VisitRecord:
    if isinstance(visit, Visit):
        log, ladder, who = log_of(visit), visit.blades_um, visit.by
        engine = files.get(visit.engine_file_id, engine)
    else:
        log, ladder, who = visit, (), None
    names = {row.by for row in log.rows if row.by}
    return VisitRecord(
        day=log.day,
        distance_km=km_from_m(log.distance_m),
        valves={row.valve: _valve_record(row, engine) for row in log.rows},
        engine_temp_c=None if log.engine_temp_mc is None else log.engine_temp_mc / 1000,
        by=who or (names.pop() if len(names) == 1 else None),
        ladder_mm=tuple(mm_from_um(blade) for blade in ladder),
    )


def _valve_record(row: LogRow, engine: Engine) -> ValveRecord:
    set_to = None
    if row.adjusted:
        set_to = engine.gap(row.valve).cold if row.left_um is None else mm_from_um(row.left_um)
    return ValveRecord(
        found=_interval(row.found_go_um, row.found_nogo_um, row.found_feel),
        adjusted=row.adjusted,
        set_to=set_to,
        left=_interval(row.left_go_um, row.left_nogo_um, row.left_feel),
    )


def _interval(go_um: int | None, nogo_um: int | None, feel: str | None) -> GapInterval | None:
    if go_um is None:
        return None
    if feel == "drag":
        return GapInterval(mm_from_um(go_um), mm_from_um(go_um))
    lo = mm_from_um(go_um) if go_um else -math.inf
    return GapInterval(lo, math.inf if nogo_um is None else mm_from_um(nogo_um))
