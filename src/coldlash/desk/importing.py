"""A file on its way into the book: read, understood, looked at, corrected, taken in whole; and taken out again whole.

file = FileImport(data, "notebook.xlsx", today)
file.begin(desk, "Van engine")
file.answer(desk, {"single": "felt"})
preview = file.look(desk)                      # what it says, what is open, every fault
done = file.take(desk)                         # all of it or nothing
undo(desk.book, done.import_id, "the wrong engine")
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash.bench.blades import STANDARD_SETS
from coldlash.desk import running
from coldlash.desk.desk import Desk
from coldlash.engine.spec import Engine
from coldlash.errors import Fault, FaultyFileError, InputError
from coldlash.language import current, say
from coldlash.logbook.distance import Explained
from coldlash.logbook.exchange import HOW_LOG
from coldlash.logbook.imports import ImportEntry
from coldlash.logbook.lasting import Instrument, MeterReading
from coldlash.logbook.logfile import COLUMNS, parse_log, row_words
from coldlash.logbook.records import name_key
from coldlash.logbook.sheets.cells import Sheet, Watch, Workbook, letters, nobody_watches
from coldlash.logbook.sheets.guessing import guess, retold
from coldlash.logbook.sheets.questions import Question, questions
from coldlash.logbook.sheets.rows import LeftOut, SheetVisit, Taken, take
from coldlash.logbook.sheets.understanding import Understanding
from coldlash.logbook.sheets.workbook import read_workbook
from coldlash.logbook.store import Book
from coldlash.logbook.taking_in import Batch, TakenIn, compare, digest, take_in

LOG_COLUMNS_LEAST = 5
"""A text whose first line has so many of the log file's own column names is one."""
ROWS_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRow:
    """One of the first rows as it was understood, in words."""

    line: int
    engine: str
    day: date
    distance_m: int
    valve: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What a file says. ``days``: each visit with its engine, day, distance (m), count of valves, whether it is new.

    Nothing is taken in while there are ``questions`` or ``faults``. ``left_out``: rows that are no readings.
    """

    questions: tuple[Question, ...]
    faults: tuple[Fault, ...]
    left_out: tuple[LeftOut, ...]
    rows: int
    days: tuple[tuple[str, date, int, int, bool], ...]
    first: tuple[ShownRow, ...]
    notes: tuple[str, ...]

    @property
    def added(self) -> int:
        """How many visits the book would get."""
        return sum(new for *_, new in self.days)

    @property
    def known(self) -> int:
        """How many visits it has already."""
        return len(self.days) - self.added

    @property
    def ready(self) -> bool:
        """True when it can be taken in."""
        return not self.questions and not self.faults


class FileImport:
    """One file on its way into a book. Nothing is written before ``take``."""

    def __init__(self, data: bytes, source: str, today: date, watch: Watch = nobody_watches) -> None:
        """Read the file. ``source`` names it. Raises InputError, FaultyFileError for one that can't be read."""
        self.source, self.sha256, self.today = source, digest(data), today
        self.log = _log_text(data)
        self.workbook: Workbook | None = None if self.log is not None else read_workbook(data, source, watch)
        self.told: Understanding | None = None
        self.engine = ""
        self._seen: tuple[object, Taken] | None = None

    @property
    def sheets(self) -> tuple[str, ...]:
        """The names of its sheets; none for a log file."""
        return () if self.workbook is None else tuple(sheet.name for sheet in self.workbook.sheets)

    @property
    def sheet(self) -> Sheet:
        """The sheet that is meant. Raises InputError for a log file, or before ``begin``."""
        if self.workbook is None or self.told is None:
            raise InputError(say("{source} is a log file; it has no sheets", source=self.source))
        return self.workbook.sheet(self.told.sheet)

    def begin(self, desk: Desk, engine: str = "", *, sheet: str = "", heading: int | None = None) -> None:
        """Guess how it is meant. ``engine``: the book's name of the one that it is about, "" = not told.

        ``sheet`` "" = the first one that looks like readings; ``heading`` as in ``guess``. Raises InputError.
        """
        self.engine = desk.book.engine(engine).name if engine else ""
        if self.workbook is None:
            return
        sheets = [self.workbook.sheet(sheet)] if sheet else list(self.workbook.sheets)
        guesses = [
            guess(each, this_year=self.today.year, engine=self.engine, heading=heading) for each in sheets
        ]
        told = next(
            (each for each in guesses if each.gap_columns and each.first("date") is not None), guesses[0]
        )
        self.told = replace(told, blades_um=self._blades(desk, told))

    def _blades(self, desk: Desk, told: Understanding) -> tuple[int, ...]:
        """The blades for gaps as felt: of the engine's last visit, else the owner's own set, else a common one."""
        if self.engine:
            visits = desk.book.visits(self.engine)
            if visits and visits[-1].blades_um:
                return visits[-1].blades_um
        own = desk.book.blade_sets()
        if own:
            return tuple(rung.um for rung in desk.blade_set(own[0].name).ladder())
        inches = any(told.columns[n].unit in ("in", "thou") for n in told.gap_columns)
        return STANDARD_SETS["inch" if inches else "metric"].blades_um

    def answer(self, desk: Desk, answers: Mapping[str, str]) -> None:
        """Correct how it is understood: the keys of ``understanding.corrected``, and ``blades``: a blade set's name.

        Raises InputError; then nothing is changed.
        """
        left = dict(answers)
        blades = left.pop("blades", "")
        if self.told is None:
            if left.get("engine"):
                self.engine = desk.book.engine(left["engine"]).name
            return
        told = retold(self.sheet, self.told, left)
        if told.engine:
            told = replace(told, engine=desk.book.engine(told.engine).name)
        if blades:
            told = replace(told, blades_um=tuple(rung.um for rung in desk.blade_set(blades).ladder()))
        if told.engine != self.told.engine and not blades:
            self.engine = told.engine
            told = replace(told, blades_um=self._blades(desk, told))
        self.told, self.engine = told, told.engine

    # --- looking ------------------------------------------------------------------------------------------

    def look(self, desk: Desk, watch: Watch = nobody_watches) -> Preview:
        """What the file says as it is understood now, held against the book. Writes nothing. Raises InputError."""
        asked = self._questions(desk)
        if any(each.key.startswith("column:") and each.column is None for each in asked):
            return Preview(
                questions=asked, faults=(), left_out=(), rows=0, days=(), first=(), notes=self._notes(())
            )
        unsure = {each.column + 1 for each in asked if each.column is not None}
        try:
            taken = self._taken(desk, watch)
        except FaultyFileError as error:
            return Preview(
                questions=asked, faults=error.faults, left_out=(), rows=0, days=(), first=(), notes=()
            )
        faults = [fault for fault in taken.faults if fault.column not in unsure]
        days: list[tuple[str, date, int, int, bool]] = []
        first: list[ShownRow] = []
        for batch in self._batches(desk, taken):
            watch("comparing", 0, 0)
            told = compare(desk.book, batch)
            faults += told.faults
            new = {id(visit) for visit in told.fresh}
            for visit in told.visits:
                log = visit.log
                days.append((batch.engine, log.day, log.distance_m, len(log.rows), id(visit) in new))
                if len(first) < ROWS_SHOWN and not unsure:  # a number of no known unit shows nothing
                    first += _shown(batch.engine, visit)
        return Preview(
            questions=asked,
            faults=tuple(sorted(faults, key=lambda fault: (fault.line, fault.column))),
            left_out=taken.left_out,
            rows=taken.rows,
            days=tuple(days),
            first=tuple(first[:ROWS_SHOWN]),
            notes=self._notes(taken.notes),
        )

    def _notes(self, more: Sequence[str]) -> tuple[str, ...]:
        notes = list(self.workbook.notes) if self.workbook is not None else []
        if self.told is not None and self.told.fill_down:
            notes.append(say("A row without a date belongs to the date above it."))
        if self.told is not None:
            unused = self._unused(self.told)
            if unused:
                notes.append(say("These columns are not used: {columns}.", columns=", ".join(unused)))
        return (*notes, *more)

    def _unused(self, told: Understanding) -> list[str]:
        """The columns that hold something and are not used."""
        held = {n for row in self.sheet.rows[told.head :] for n, cell in enumerate(row) if cell is not None}
        return [
            letters(n) + (f" ({column.heading})" if column.heading else "")
            for n, column in enumerate(told.columns)
            if column.role == "ignore" and n in held
        ]

    def _questions(self, desk: Desk) -> tuple[Question, ...]:
        names = [entry.name for entry in desk.book.engines()]
        if self.told is not None:
            return questions(self.sheet, self.told, names)
        if self.engine:
            return ()
        text = say("Of which engine are these readings?")
        return (Question("engine", text, tuple((name, name) for name in names)),)

    def _taken(self, desk: Desk, watch: Watch) -> Taken:
        """The file's visits by the names of their engines, worked out once for each understanding."""
        engines = self._engines(desk)
        key = (self.told, self.engine, tuple(engines.items()), current())
        if self._seen is None or self._seen[0] != key:
            self._seen = key, self._read(engines, watch)
        return self._seen[1]

    def _read(self, engines: Mapping[str, Engine], watch: Watch) -> Taken:
        if self.told is not None:
            return take(self.sheet, self.told, engines, watch)
        if not self.engine:
            return Taken(visits={}, faults=(), left_out=(), rows=0)
        visits = parse_log(self.log or "", self.source, engines[self.engine])
        rows = sum(len(visit.rows) for visit in visits)
        return Taken(
            visits={self.engine: tuple(SheetVisit(log=visit) for visit in visits)},
            faults=(),
            left_out=(),
            rows=rows,
        )

    def _engines(self, desk: Desk) -> dict[str, Engine]:
        """The engines that the file speaks of, by their names in the book."""
        at = None if self.told is None else self.told.first("engine")
        if at is None:
            return {self.engine: desk.engine(self.engine)[1]} if self.engine else {}
        said = {
            name_key(str(row[at]).strip()) for row in self.sheet.rows if at < len(row) and row[at] is not None
        }
        return {e.name: desk.engine(e.name)[1] for e in desk.book.engines() if name_key(e.name) in said}

    def _batches(self, desk: Desk, taken: Taken) -> list[Batch]:
        digits = {vehicle.id: vehicle.meter_digits for vehicle in desk.book.vehicles()}
        batches = []
        for name, visits in taken.visits.items():
            entry, spec = desk.engine(name)
            batches.append(
                Batch(engine=name, spec=spec, visits=visits, digits=digits.get(entry.vehicle_id or ""))
            )
        return batches

    # --- taking in ----------------------------------------------------------------------------------------

    def take(
        self, desk: Desk, *, by: str | None = None, at: str | None = None, watch: Watch = nobody_watches
    ) -> TakenIn:
        """Take it into the book, all of it or nothing. What the book has already is left alone.

        What ``watch`` raises ends it, and nothing was written. Raises InputError while questions are open,
        FaultyFileError with every fault, BookError.
        """
        asked = self._questions(desk)
        if asked:
            raise InputError(
                "\n".join([say("{source}: some things must be told first", source=self.source),
                           *(f"  {each.text}" for each in asked)])
            )  # fmt: skip
        taken = self._taken(desk, watch)
        if taken.faults:
            raise FaultyFileError(self.source, taken.faults)
        batches = self._batches(desk, taken)
        with desk.book.transaction():
            done = take_in(
                desk.book, batches, source=self.source, sha256=self.sha256,
                how=HOW_LOG if self.told is None else self.told.as_json(), by=by, at=at, watch=watch,
            )  # fmt: skip
            digits = {batch.engine: batch.digits for batch in batches}
            for visit_id, visit in done.visits:
                why = next((w for w in EXPLAINED if w == visit.explained), None)
                if why is not None and visit.meter_reading is not None:
                    kept = desk.book.visit(visit_id)
                    name = desk.book.engine(kept.engine_id).name
                    running.explain_visit(desk.book, kept, why, digits.get(name))
        return done


EXPLAINED: tuple[Explained, ...] = ("rolled over", "replaced")


def _log_text(data: bytes) -> str | None:
    """The text of a log file of the contract, known by its column names; None = it is another kind of file."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    lines = text.removeprefix("\ufeff").lstrip().split("\n", 2)
    head = lines[1] if len(lines) > 1 and lines[0].lower().startswith("sep=") else lines[0]
    known = {word.strip(' "\r') for mark in ",;\t" for word in head.lower().split(mark)} & set(COLUMNS)
    return text if len(known) >= LOG_COLUMNS_LEAST else None


def _shown(engine: str, visit: SheetVisit) -> list[ShownRow]:
    return [
        ShownRow(
            line=row.line,
            engine=engine,
            day=visit.log.day,
            distance_m=visit.log.distance_m,
            valve=str(row.valve),
            words=row_words(row),
        )
        for row in visit.log.rows
    ]


def undo(
    book: Book, import_id: str, reason: str, *, by: str | None = None, anyway: bool = False
) -> ImportEntry:
    """Put aside every visit that came with an import, and take back what was written of a meter on its account.

    Raises ImportTouchedError when somebody has added to its visits since, unless ``anyway``; InputError; BookError.
    """
    with book.transaction():
        before = book.import_entry(import_id)
        entry = book.undo_import(import_id, reason=reason, by=by, anyway=anyway)
        if before.undone_at is not None:
            return entry
        for name in entry.engines:
            gone = {v.id for v in book.visits(name, "discarded") if v.meter_reading is not None}
            if not gone:
                continue
            instruments = {running.instrument_of(visit_id) for visit_id in gone}
            for vehicle in {f.vehicle_id for f in book.fitments(name) if f.vehicle_id}:
                metered = book.metered(vehicle)
                for noted in metered.readings:
                    if noted.visit_id in gone and noted.id is not None:
                        book.take_back(MeterReading, noted.id, entry.undone_reason)
                for instrument in metered.instruments:
                    if instrument.id in instruments and instrument.id is not None:
                        book.take_back(Instrument, instrument.id, entry.undone_reason)
        return entry
