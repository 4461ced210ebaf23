"""The use cases over one book, for pages and terminal alike: neither does any arithmetic of its own."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from types import TracebackType
from typing import TypedDict

from coldlash import language
from coldlash.bench.blades import (
    STANDARD_SETS,
    BladeSet,
    Unit,
    parse_reading,
    parse_thickness,
    show_um,
    typed_set,
)
from coldlash.desk import due_dates, learning, running
from coldlash.desk import visit as guided
from coldlash.desk.answer import Answer, assess, coefficient_of
from coldlash.desk.due_dates import ShedRow as ShedRow
from coldlash.desk.due_dates import engine_of_entry, renewed_since
from coldlash.desk.engines import LoadedEngine, engine_from_kept
from coldlash.desk.shown import Shown, checked_setting, shown_from
from coldlash.desk.tests_done import TestDone, done_on, evidence
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import BookError, FaultyFileError, InputError
from coldlash.language import say, table
from coldlash.logbook.bookfile import file_of
from coldlash.logbook.distance import Explained, UnitLength
from coldlash.logbook.due import Due
from coldlash.logbook.exchange import ImportResult, export_log, import_log, to_records
from coldlash.logbook.lasting import AcceptedCause, EngineTest
from coldlash.logbook.opening import is_server, is_there, shown_name
from coldlash.logbook.paths import default_book
from coldlash.logbook.records import (
    EngineEntry,
    Feel,
    FieldValue,
    Meter,
    NewReading,
    NewVisit,
    Reading,
    Spin,
    Step,
    Visit,
)
from coldlash.logbook.store import Book
from coldlash.units import km_from_m, m_from_km
from coldlash.wear.record import VisitRecord
from coldlash.wear.settings import Coefficient, TrendSettings
from coldlash.wear.trend import Expectation, Trend, fit
from coldlash.wear.verdict import Finding

ANSWERS_KEPT = 100
JUDGED_ENGINES = 12
ASKING = ("do not run", "check now", "check sooner")
WAIT_S = 5.0
"""How long a writer waits for another, seconds."""


@dataclass(frozen=True, slots=True)
class MeterNow:
    """A meter's unit, how many km one of it stands for, and what it showed at the last visit, in that unit."""

    unit: Meter
    km_each: float
    last: float | None
    last_day: date | None


class Desk:
    """One open book and what is done with it. ``with Desk.open(ref) as desk: ...``"""

    def __init__(self, book: Book, now: Callable[[], datetime]) -> None:
        self.book = book
        self._now = now
        self._answers: dict[tuple[object, ...], Answer] = {}
        self._learnt: tuple[TrendSettings, int] | None = None

    @classmethod
    def open(
        cls,
        ref: str | None = None,
        *,
        create: bool = False,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        on_wait: Callable[[], None] | None = None,
    ) -> Desk:
        """Open the book at ``ref`` (default: the owner's). Raises BookError when it can't be.

        ``on_wait`` is called once when another writer keeps it waiting noticeably.
        """
        return cls(
            Book.open(ref or default_book(), create=create, now=now, wait_s=WAIT_S, on_wait=on_wait), now
        )

    def __enter__(self) -> Desk:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.book.close()

    # ------------------------------------------------------------------------------------- engines

    def engine(self, name: str) -> tuple[EngineEntry, Engine]:
        """An engine in the book by its name. Raises InputError naming those there are."""
        entry = self.book.engine(name)
        return entry, self._read(entry)

    def _read(self, entry: EngineEntry) -> Engine:
        return engine_of_entry(entry)

    def only_engine(self) -> str:
        """The name of the only engine in the book. Raises InputError when there are none or several."""
        names = [entry.name for entry in self.book.engines()]
        if len(names) == 1:
            return names[0]
        if not names:
            raise InputError(say("there is no engine in this book yet; add one: coldlash add engine FILE"))
        raise InputError(say("which engine? The book has {names}", names=", ".join(names)))

    def add_engine(
        self, loaded: LoadedEngine, name: str | None = None, vehicle: str | None = None
    ) -> EngineEntry:
        """Put an engine in the book, under its own name unless another is given."""
        return self.book.add_engine(name or loaded.engine.name, loaded.text, loaded.tables, vehicle=vehicle)

    def new_engine_file(self, name: str, loaded: LoadedEngine) -> int:
        """Keep a new version of an engine's file; earlier visits keep theirs. Returns the version.

        Raises InputError when the new file has not the valves that readings were taken of. Where the file in the book
        can't be read any more (it was lost in damage), any new one is taken.
        """
        entry = self.book.engine(name)
        try:
            engine = self._read(entry)
        except FaultyFileError:
            return self.book.new_engine_file(name, loaded.text, loaded.tables).version
        if loaded.engine.cylinders != engine.cylinders:
            raise InputError(
                say(
                    "{name} has {cylinders} cylinders, {source} has {cylinders2}: that is another "
                    "engine; add it as one",
                    name=entry.name,
                    cylinders=engine.cylinders,
                    source=loaded.source,
                    cylinders2=loaded.engine.cylinders,
                )
            )
        return self.book.new_engine_file(name, loaded.text, loaded.tables).version

    # ------------------------------------------------------------------------------------- shed

    def shed(self, today: date) -> tuple[ShedRow, ...]:
        """Every engine with what is due by distance, months and work, most urgent first."""
        return due_dates.shed(self.book, today)

    def judged_shed(self, today: date) -> tuple[ShedRow, ...]:
        """The same with what the readings say: they may ask for a check sooner, and for something at once.

        A shed of more than ``JUDGED_ENGINES`` is shown without: judging takes about a third of a second an engine.
        """
        rows = self.shed(today)
        if len(rows) > JUDGED_ENGINES:
            return rows
        return due_dates.by_urgency(self._judged(row, today) for row in rows)

    def _judged(self, row: ShedRow, today: date) -> ShedRow:
        if not row.visits:
            return row
        answer = self.answer(row.entry.name)
        asking = _asking(answer)
        if not asking:
            return row
        when = self.due(row.entry.name, today, answer.assessment.recheck_km)
        return replace(row, due=when, headline=asking[0].sentence)

    def judged_due(self, name: str, today: date) -> Due:
        """When one engine is due, by what the readings say as well."""
        answer = self.answer(name)
        return self.due(name, today, answer.assessment.recheck_km if _asking(answer) else None)

    def due(self, name: str, today: date, recheck_km: float | None = None) -> Due:
        """When one engine is due; ``recheck_km`` after the last visit if the readings say to look again then."""
        entry, engine = self.engine(name)
        visits = self.book.visits(entry.name)
        records = to_records(visits, engine)
        last = visits[-1].id if visits else None
        work = self.book.work(entry.name)
        return due_dates.due_of(
            engine.service, records, today, work, engine, last_visit_id=last, recheck_km=recheck_km
        )

    # ------------------------------------------------------------------------------------- blades, units

    def shown(self) -> Shown:
        """The owner's units."""
        return shown_from(self.book.settings())

    def unit(self) -> Unit:
        """The owner's unit for gaps."""
        return self.shown().gap

    def choose_units(self, chosen: Mapping[str, str]) -> Shown:
        """Keep the owner's units (keys of ``desk.shown.SETTINGS``). Raises InputError."""
        with self.book.transaction():
            for key, value in chosen.items():
                self.book.set_setting(key, checked_setting(key, value))
        return self.shown()

    def blade_set(self, name: str) -> BladeSet:
        """The owner's set of that name, else a standard set. Raises InputError naming what there is."""
        own = {kept.name: kept for kept in self.book.blade_sets()}
        if name in own:
            kept = own[name]
            return BladeSet(kept.name, kept.unit, kept.blades_um, kept.stacks_of)
        if name in STANDARD_SETS:
            return STANDARD_SETS[name]
        have = ", ".join([*own, *STANDARD_SETS])
        raise InputError(say("no blade set {name!r}; there are {have}", name=name, have=have))

    def add_blade_set(self, name: str, blades: str, unit: Unit, stacks: int) -> BladeSet:
        """Keep the owner's blades as typed."""
        blade_set = typed_set(name, blades, unit, stacks)
        if name in STANDARD_SETS:
            raise InputError(say("{name!r} is the name of a standard set; choose another", name=name))
        self.book.add_blade_set(name, unit=unit, blades_um=blade_set.blades_um, stacks_of=stacks)
        return blade_set

    # ------------------------------------------------------------------------------------- visits

    def records(self, name: str) -> tuple[VisitRecord, ...]:
        """The closed visits of an engine as the models read them, oldest first."""
        _, engine = self.engine(name)
        return to_records(self.book.visits(name), engine, self._as_it_was(name), self.book.work(name))

    def _as_it_was(self, name: str) -> dict[str, Engine]:
        files = self.book.engine_files(name)
        return {f.id: engine_from_kept(f.toml, dict(f.tables), name) for f in files} if len(files) > 1 else {}

    def trend(self, name: str) -> Trend:
        """What the readings of an engine say together, by the joint model."""
        _, engine = self.engine(name)
        return fit(engine, self.records(name), self.learnt(), self.coefficient(engine))

    def learnt(self) -> TrendSettings:
        """The owner's own figures, learnt again when the book has grown by more than a few visits since.

        A book that can't be written to now is answered all the same; what was learnt is then kept for this process.
        """
        heads = {head.engine_id: head.count for head in self.book.recent_visits(1) if head.state == "closed"}
        closed = sum(heads.values())
        kept = learning.read(self.book.settings().get(learning.SETTING)) or self._learnt
        if kept is not None and not learning.outgrown(kept[1], closed):
            return kept[0]
        most = sorted(heads, key=lambda engine: -heads[engine])[: learning.MOST_ENGINES]
        books = []
        for engine_id in most:
            entry, engine = self.engine(engine_id)
            books.append((engine, self.records(entry.name), self.coefficient(engine)))
        settings = learning.learnt_from(books)
        self._learnt = settings, closed
        with contextlib.suppress(BookError):
            self.book.set_setting(learning.SETTING, learning.written(settings, closed))
        return settings

    def coefficient(self, engine: Engine) -> Coefficient | None:
        """Gap change per K by kind (mean, sd), from the engine's stack; None without one."""
        return coefficient_of(engine)

    def start_visit(
        self,
        name: str,
        *,
        day: date,
        distance_km: float | None = None,
        meter: float | None = None,
        meter_explained: Explained | None = None,
        engine_temp_c: float | None = None,
        by: str | None = None,
        blades: BladeSet | None = None,
        blades_um: tuple[int, ...] | None = None,
        plan: str = "",
        note: str = "",
        visit_id: str | None = None,
        engine_file_id: str | None = None,
        at: str | None = None,
    ) -> Visit:
        """Open a visit: the engine's own distance in km, or what its meter shows that day.

        ``meter_explained``: why the meter shows less than before ("rolled over", "replaced"); it is written down.

        ``blades`` or the rungs themselves in ``blades_um``; without either, those of the last visit. ``visit_id``,
        ``engine_file_id`` and ``at`` come from a device that opened it with no network; the same opening twice
        opens once.
        Raises InputError when both or neither are given, MeterWentBackError when the meter has gone back and nobody
        said why.
        """
        _, engine = self.engine(name)
        if visit_id is not None:
            there = [visit for visit in self.book.visits(name, None) if visit.id == visit_id]
            if there:
                return there[0]
        if (distance_km is None) == (meter is None):
            raise InputError(
                say("give the engine's own distance in km, or what its meter shows, one of the two")
            )
        if meter_explained is not None and meter is None:
            raise InputError(say("only a reading of the meter can be explained; give it (--meter)"))
        now = running.metering(self.book, name, engine, day)
        shown = None if meter is None else running.thousandths(meter)
        distance_m = m_from_km(distance_km or 0.0)
        if shown is not None:
            distance_m = now.distance_m(shown, meter_explained)
        if blades_um is None:
            blades_um = self._usual_blades(name) if blades is None else ()
            if not blades_um:
                chosen = blades or STANDARD_SETS["metric" if self.unit() == "mm" else "inch"]
                blades_um = tuple(rung.um for rung in chosen.ladder())
        guided.planned_stops(engine, plan)
        new = NewVisit(
            day=day,
            distance_m=distance_m,
            engine_temp_mc=None if engine_temp_c is None else round(engine_temp_c * 1000),
            meter_reading=shown,
            meter_unit=None if shown is None else now.unit,
            by=by,
            blades_um=blades_um,
            plan=plan,
            note=note,
            id=visit_id,
            engine_file_id=engine_file_id,
            at=at,
        )
        with self.book.transaction():
            visit = self.book.open_visit(name, new)
            if meter_explained is not None:
                running.explain_visit(self.book, visit, meter_explained, now.reckoning.digits)
            return self.book.visit(visit.id)

    def _usual_blades(self, name: str) -> tuple[int, ...]:
        visits = self.book.visits(name)
        return visits[-1].blades_um if visits else ()

    def draft(self, name: str) -> Visit:
        """The open visit of an engine. Raises InputError when there is none, or more than one."""
        drafts = self.book.draft_visits(name)
        if not drafts:
            raise InputError(
                say("no visit of {name} is open; open one: coldlash visit start {name!r}", name=name)
            )
        if len(drafts) > 1:
            days = ", ".join(f"{visit.day} ({visit.id})" for visit in drafts)
            raise InputError(
                say("{name} has several open visits: {days}; name one with --visit ID", name=name, days=days)
            )
        return drafts[0]

    def which_visit(self, visit_id: str | None, engine: str | None, *, latest: bool = False) -> Visit:
        """The visit that is meant: by id, else the open one of the engine (or of the only engine).

        ``latest``: where none is open, the last closed one. Raises InputError.
        """
        if visit_id is not None:
            return self.book.visit(visit_id)
        if engine is None:
            drafts = self.book.draft_visits()
            if len(drafts) == 1:
                return drafts[0]
        name = engine or self.only_engine()
        if latest and not self.book.draft_visits(name):
            closed = self.book.visits(name)
            if closed:
                return closed[-1]
        return self.draft(name)

    def change_visit(
        self,
        visit: Visit,
        *,
        day: date | None = None,
        distance_km: float | None = None,
        engine_temp_c: float | None = None,
        by: str | None = None,
        note: str | None = None,
        reason: str = "",
    ) -> Visit:
        """Change fields of a visit; None = leave as it is. The old values stay visible. Raises InputError."""
        changes: dict[str, FieldValue] = {}
        if day is not None:
            changes["day"] = day
        if distance_km is not None:
            changes["distance_m"] = m_from_km(distance_km)
        if engine_temp_c is not None:
            changes["engine_temp_mc"] = round(engine_temp_c * 1000)
        if by is not None:
            changes["by"] = by
        if note is not None:
            changes["note"] = note
        return self.book.change_visit(visit.id, changes, reason=reason) if changes else visit

    def check_plan(self, visit: Visit, plan: str) -> None:
        """Raises InputError when the book could not plan stops from this text."""
        guided.planned_stops(self._engine_of(visit, self._entry(visit)), plan)

    def missing(self, visit: Visit) -> tuple[Valve, ...]:
        """The valves that nothing was measured of before they were touched."""
        engine = self._engine_of(visit, self._entry(visit))
        return tuple(v for v in engine.valves if (r := visit.reading(v, "found")) is None or not r.measured)

    def show_mm(self, mm: float) -> str:
        """A gap in the owner's unit, in words, to a hundredth of a millimetre."""
        return show_um(round(mm * 100) * 10, self.unit())

    def meter_of(self, name: str) -> MeterNow:
        """What counts this engine's running, and what it showed last."""
        _, engine = self.engine(name)
        now = running.metering(self.book, name, engine)
        told, each = now.reckoning, UnitLength(now.unit, engine.service.km_per_h)
        last = None if told.reading is None else told.reading / 1000
        return MeterNow(now.unit, each.um / 1e6, last, None if last is None else told.read_on)

    def meter_unit(self, name: str) -> Meter:
        """What the meter of this engine counts."""
        return running.metering(self.book, name, self.engine(name)[1]).unit

    def guide(self, visit: Visit) -> guided.Guide:
        """The guide of a visit: its stops, what is written, what is expected, what is asked next."""
        entry = self._entry(visit)
        engine = self._engine_of(visit, entry)
        earlier = self._earlier(visit, entry, engine)
        return guided.guide(visit, engine, earlier, self._expected(visit, engine, earlier), self.unit())

    def _entry(self, visit: Visit) -> EngineEntry:
        return self.book.engine(visit.engine_id)

    def _engine_of(self, visit: Visit, entry: EngineEntry) -> Engine:
        if visit.engine_file_id == entry.file.id:
            return self._read(entry)
        kept = next(f for f in self.book.engine_files(entry.name) if f.id == visit.engine_file_id)
        return engine_from_kept(kept.toml, dict(kept.tables), entry.name)

    def _earlier(self, visit: Visit, entry: EngineEntry, engine: Engine) -> tuple[VisitRecord, ...]:
        kept = [
            other
            for other in self.book.visits(entry.name)
            if other.id != visit.id and (other.day, other.distance_m) <= (visit.day, visit.distance_m)
        ]
        return to_records(kept, engine, self._as_it_was(entry.name), self.book.work(entry.name))

    def _expected(
        self, visit: Visit, engine: Engine, earlier: Sequence[VisitRecord]
    ) -> dict[Valve, Expectation]:
        temp = None if visit.engine_temp_mc is None else visit.engine_temp_mc / 1000
        ranges = guided.expected_ranges(
            engine, earlier, km_from_m(visit.distance_m), temp, self.coefficient(engine), self.learnt()
        )
        renewed = renewed_since(self.book, visit.engine_id, engine, visit)
        return {valve: expected for valve, expected in ranges.items() if valve not in renewed}

    def say(
        self,
        visit: Visit,
        valve: Valve,
        step: Step,
        text: str,
        *,
        spin: Spin | None = None,
        note: str = "",
        by: str | None = None,
        reason: str = "",
        correct: bool = False,
        reading_id: str | None = None,
    ) -> Reading:
        """Write what was said at a valve in the shorthand of the bench.

        ``correct``: this corrects what stands there; in a closed visit that needs a ``reason``. Without it, a
        second reading of the same step is refused. Raises InputError.
        """
        engine = self._engine_of(visit, self._entry(visit))
        standing = visit.reading(valve, step)
        blades = guided.blade_set_of(visit, self.unit())
        new = NewReading(
            valve=valve, step=step, **_values(engine, valve, step, text, blades), spin=spin, note=note, by=by,
            replaces=None if standing is None else standing.id, reason=reason, id=reading_id,
        )  # fmt: skip
        if standing is not None and not correct:
            raise InputError(
                say(
                    "{valve} {step} is written already: {words}; to correct it say so (--correct)",
                    valve=valve,
                    step=step,
                    words=standing.words,
                )
            )
        return self.write(visit.id, new)

    def write(self, visit_id: str, new: NewReading) -> Reading:
        """Write a reading, or, in a closed visit, an amendment (which needs its reason).

        Sent again it changes nothing. Raises InputError, ReadingConflictError, BookError.
        """
        visit = self.book.visit(visit_id)
        self._engine_of(visit, self._entry(visit)).valve(str(new.valve))
        closed = visit.state == "closed"
        return self.book.amend(visit_id, new) if closed else self.book.record(visit_id, new)

    def surprise(self, guide: guided.Guide, valve: Valve, reading: Reading) -> str | None:
        """What to say before the screw is touched when a found reading is not what was expected; else None."""
        expected = guide.task(valve).expected
        bounds = guided.bounds_of(reading)
        if expected is None or bounds is None or not expected.surprising(bounds):
            return None
        return table(
            guided.QUESTION,
            valve=valve,
            low=self.show_mm(max(expected.lo, 0.0)),
            high=self.show_mm(expected.hi),
            reading=reading.words,
        )

    # ------------------------------------------------------------------------------------- answers

    def answer(self, name: str, next_km: float | None = None) -> Answer:
        """What the closed visits of an engine say. ``next_km``: distance to the next check. Raises InputError."""
        entry, engine = self.engine(name)
        learnt = self.learnt()
        key = (entry.id, next_km, self.book.stamp(), language.current())
        kept = self._answers.get(key)
        if kept is None:
            records = self.records(name)
            kept = assess(
                engine,
                records,
                self.coefficient(engine),
                next_km,
                learnt,
                known=evidence(self.book, entry, engine, records),
                units=self.shown().units(engine.service),
            )
            if len(self._answers) >= ANSWERS_KEPT:
                self._answers.clear()
            self._answers[key] = kept
        return kept

    def tests(self, name: str) -> tuple[TestDone, ...]:
        """All tests of an engine, oldest first, with why some no longer count. Raises InputError."""
        entry, engine = self.engine(name)
        return done_on(self.book, entry, engine, self.records(name))

    def engine_of_test(self, id: str) -> str:
        """The name of the engine that a test was of. Raises InputError."""
        return self.book.engine(self.book.one_entry(EngineTest, id).engine_id).name

    def engine_of_cause(self, id: str) -> str:
        """The name of the engine that a cause was found on. Raises InputError."""
        return self.book.engine(self.book.one_entry(AcceptedCause, id).engine_id).name

    def valve_words(self, name: str, valve: Valve) -> tuple[str, ...]:
        """What the readings of one valve say, in sentences."""
        return self.answer(name).of(valve)

    def import_log(self, name: str, text: str, source: str) -> ImportResult:
        """Add the visits of a log file, all or nothing; those the book has already are left alone."""
        _, engine = self.engine(name)
        return import_log(self.book, name, engine, text, source=source)

    def export_log(self, name: str) -> str:
        """An engine's closed visits as a log file."""
        return export_log(self.book, name)


class _Values(TypedDict, total=False):
    go_um: int | None
    nogo_um: int | None
    blade_um: int | None
    feel: Feel | None


def _asking(answer: Answer) -> list[Finding]:
    """What of an answer asks for something sooner than usual."""
    return [finding for finding in answer.urgent if finding.grade in ASKING]


def _values(engine: Engine, valve: Valve, step: Step, text: str, blades: BladeSet) -> _Values:
    if step == "set":
        cold_um = round(engine.gap(valve).cold * 1000)
        return {"blade_um": parse_thickness(text, blades.unit, f"{valve} set") if text.strip() else cold_um}
    said = parse_reading(text, blades)
    return {"go_um": said.go_um, "nogo_um": said.nogo_um, "feel": said.feel}


def make_book(ref: str | None = None) -> str:
    """Make an empty book where there is none; returns its name. Raises InputError when one is there, BookError."""
    where = ref or default_book()
    if is_there(where):
        raise InputError(
            say(
                "{shown_name} is there already and stays as it is; open it, or choose another name",
                shown_name=shown_name(where),
            )
        )
    if not is_server(where):
        file_of(where).parent.mkdir(parents=True, exist_ok=True)
    with Desk.open(where, create=True) as desk:
        return desk.book.name
