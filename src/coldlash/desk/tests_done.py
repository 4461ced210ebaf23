"""Tests done and causes found on an engine: written down, corrected, taken back, and which of them still count.

A test says nothing of what began after it. It stops counting when work moved a gap at its place since, when a newer
one of its kind was done there, or when ``STALE_VISITS`` later visits have measured the place. A sign that stops the
engine (a pulled stud, a bent pushrod, a dropped seat) does not fade: it goes with the work that mends it, or with a
newer look that shows otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeVar

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import plural, say, table
from coldlash.logbook.lasting import AcceptedCause, AtEngine, Direction, EngineTest, Work
from coldlash.logbook.parts import VisitAt, moved_by
from coldlash.logbook.records import EngineEntry
from coldlash.logbook.store import Book
from coldlash.units import m_from_km, parse_number
from coldlash.wear import telling, wording
from coldlash.wear.candidates import SESSION_OFFSET, candidates
from coldlash.wear.found import Found
from coldlash.wear.next_test import NONE, Result, Test, check_signs, place_of, places, test_called
from coldlash.wear.next_test import table as all_tests
from coldlash.wear.record import VisitRecord
from coldlash.wear.verdict import STOPPING_SIGNS

Entry = TypeVar("Entry", bound=AtEngine)
STALE_VISITS = 3
"""Visits that measured the place after a test, from which on it no longer counts (judgement: the causes that are
looked for began before one of the last three visits)."""
AGAIN_COLD = "measure_again_cold"
MENDS: Mapping[str, frozenset[str]] = {
    "stud_pulled": frozenset({"stud", "head", "barrel", "engine"}),
    "pushrod_bent": frozenset({"pushrod", "engine"}),
    "seat_dropped": frozenset({"seat", "head", "engine"}),
}
"""Parts whose work can mend what a stopping sign shows."""
MENDING = frozenset({"replaced", "repaired", "machined", "rebuilt"})


@dataclass(frozen=True, slots=True)
class TestDone:
    """A test as the book has it. ``result`` None: none yet, or one that this version does not know.

    ``ended``: why it no longer counts, in a sentence; empty while it does. ``title`` and ``outcome``: its words, taken
    apart for tables.
    """

    __test__ = False

    test: EngineTest
    words: str
    result: Result | None
    ended: str = ""
    title: str = ""
    outcome: str = ""


@dataclass(frozen=True, slots=True)
class CauseFound:
    """A cause that the owner holds for found, in words."""

    cause: AcceptedCause
    words: str
    found: Found


@dataclass(frozen=True, slots=True)
class Evidence:
    """What ``wear.assessment.assess`` takes of tests and finds."""

    results: tuple[Result, ...] = ()
    found: tuple[Found, ...] = ()
    remarks: tuple[str, ...] = ()


# --- writing ----------------------------------------------------------------------------------------------------


def add_test(
    book: Book,
    entry: EngineEntry,
    engine: Engine,
    kind: str,
    outcomes: Sequence[str] | None,
    *,
    day: date,
    visit_id: str | None = None,
    distance_km: float | None = None,
    valves: tuple[Valve, ...] = (),
    cylinders: tuple[int, ...] = (),
    data: Mapping[str, Any] | None = None,
    note: str = "",
    by: str | None = None,
    id: str | None = None,
    corrects: str | None = None,
    reason: str = "",
) -> TestDone:
    """Write a test of ``wear``'s table, at a visit (whose day and distance then hold) or between visits.

    ``outcomes``: the signs that showed, or only "none"; None = no result yet. ``corrects``: the id of the entry this
    one replaces, for a ``reason``. Raises InputError.
    """
    test = test_called(kind)
    where = _place(engine, test, valves, cylinders)
    day, distance_m = _when(book, visit_id, day, distance_km)
    done = EngineTest(
        engine_id=entry.id,
        visit_id=visit_id,
        day=day,
        distance_m=distance_m,
        cylinders=(where[0].cylinder,) if test.place == "cylinder" else (),
        valves=where if test.place == "lobe" else (),
        kind=test.name,
        data=dict(data or {}),
        result=_outcome(test, outcomes),
        note=note,
        by=by,
        id=id,
        replaces=corrects,
        reason=_reason(reason) if corrects else "",
    )
    return _told(engine, book.add_test(done))


def add_cause(
    book: Book,
    entry: EngineEntry,
    engine: Engine,
    cause: str,
    direction: str | None = None,
    *,
    day: date,
    visit_id: str | None = None,
    distance_km: float | None = None,
    valves: tuple[Valve, ...] = (),
    cylinders: tuple[int, ...] = (),
    amount_mm: float | None = None,
    note: str = "",
    by: str | None = None,
    id: str | None = None,
    corrects: str | None = None,
    reason: str = "",
) -> CauseFound:
    """Write a cause the owner holds for found. ``direction`` None = the one the linkage gives. Raises InputError."""
    known = causes_of(engine)
    if cause not in known:
        raise InputError(
            say(
                "no cause called {name!r} on this engine; there are {have}", name=cause, have=", ".join(known)
            )
        )
    way = _direction(cause, direction, known[cause])
    _check_cylinders(engine, cylinders)
    day, distance_m = _when(book, visit_id, day, distance_km)
    amount_um = _amount_um(amount_mm)
    found = AcceptedCause(
        engine_id=entry.id,
        visit_id=visit_id,
        day=day,
        distance_m=distance_m,
        cylinders=cylinders,
        valves=tuple(engine.valve(str(v)) for v in valves),
        cause=cause,
        direction=way,
        amount_um=amount_um,
        note=note,
        by=by,
        id=id,
        replaces=corrects,
        reason=_reason(reason) if corrects else "",
    )
    return _cause_told(engine, book.accept_cause(found))


def correct_test(
    book: Book,
    engine: Engine,
    id: str,
    reason: str,
    *,
    outcomes: Sequence[str] | None = None,
    day: date | None = None,
    valves: tuple[Valve, ...] = (),
    cylinders: tuple[int, ...] = (),
    data: Mapping[str, Any] | None = None,
    note: str | None = None,
    by: str | None = None,
) -> TestDone:
    """Write a test's entry anew, for a ``reason``; what is left out stays as it was. Raises InputError."""
    old = _standing(book.tests(), id, say("no test with the id {id} stands in this book", id=id))
    test = test_called(old.kind)
    changed = replace(
        old,
        id=None, at=None, seq=0, replaces=old.id, reason=_reason(reason),
        result=old.result if outcomes is None else _outcome(test, outcomes),
        data=old.data if data is None else dict(data),
        note=old.note if note is None else note,
        by=by or old.by,
    )  # fmt: skip
    if day is not None and day != old.day:
        changed = replace(changed, day=day, visit_id=None, distance_m=None)
    if valves or cylinders:
        where = _place(engine, test, valves, cylinders)
        changed = replace(
            changed,
            cylinders=(where[0].cylinder,) if test.place == "cylinder" else (),
            valves=where if test.place == "lobe" else (),
        )
    return _told(engine, book.add_test(changed))


def correct_cause(
    book: Book,
    engine: Engine,
    id: str,
    reason: str,
    *,
    direction: str | None = None,
    day: date | None = None,
    valves: tuple[Valve, ...] = (),
    cylinders: tuple[int, ...] = (),
    amount_mm: float | None = None,
    note: str | None = None,
) -> CauseFound:
    """Write a cause found anew, for a ``reason``; what is left out stays as it was. Raises InputError."""
    old = _standing(
        book.accepted_causes(), id, say("no cause found with the id {id} stands in this book", id=id)
    )
    _check_cylinders(engine, cylinders)
    known = causes_of(engine).get(old.cause, frozenset((old.direction,)))
    changed = replace(
        old,
        id=None, at=None, seq=0, replaces=old.id, reason=_reason(reason),
        direction=_direction(old.cause, direction or old.direction, known),
        amount_um=old.amount_um if amount_mm is None else _amount_um(amount_mm),
        note=old.note if note is None else note,
    )  # fmt: skip
    if day is not None and day != old.day:
        changed = replace(changed, day=day, visit_id=None, distance_m=None)
    if valves or cylinders:
        changed = replace(changed, valves=tuple(engine.valve(str(v)) for v in valves), cylinders=cylinders)
    return _cause_told(engine, book.accept_cause(changed))


def _standing(entries: Iterable[Entry], id: str, fault: str) -> Entry:
    for entry in entries:
        if entry.id == id:
            return entry
    raise InputError(fault)


def _amount_um(amount_mm: float | None) -> int | None:
    if amount_mm is not None and not 0 <= amount_mm <= 5:
        raise InputError(say("an amount of {mm:g} mm; give 0 to 5 mm, or leave it out", mm=amount_mm))
    return None if amount_mm is None else round(amount_mm * 1000)


def take_back_test(book: Book, id: str, reason: str) -> EngineTest:
    """Withdraw a test; it stays to be seen. Raises InputError."""
    return book.take_back_entry(EngineTest, id, _reason(reason))


def take_back_cause(book: Book, id: str, reason: str) -> AcceptedCause:
    """Withdraw a cause that was not it; it stays to be seen. Raises InputError."""
    return book.take_back_entry(AcceptedCause, id, _reason(reason))


def _reason(reason: str) -> str:
    if not reason.strip():
        raise InputError(say("say why: a correction needs a reason"))
    return reason


def _when(book: Book, visit_id: str | None, day: date, distance_km: float | None) -> tuple[date, int | None]:
    if visit_id is None:
        return day, None if distance_km is None else m_from_km(distance_km)
    visit = book.visit(visit_id)
    if visit.state == "discarded":
        raise InputError(
            say("the visit of {day} was put aside; write it down with its day instead", day=visit.day)
        )
    return visit.day, visit.distance_m


def _check_cylinders(engine: Engine, cylinders: Iterable[int]) -> None:
    for cylinder in cylinders:
        if not 1 <= cylinder <= engine.cylinders:
            raise InputError(
                say(
                    "{engine} has no cylinder {cylinder}; it has {have}",
                    engine=engine.name,
                    cylinder=cylinder,
                    have=engine.cylinders,
                )
            )


def _place(
    engine: Engine, test: Test, valves: tuple[Valve, ...], cylinders: tuple[int, ...]
) -> tuple[Valve, ...]:
    _check_cylinders(engine, cylinders)
    named = {engine.valve(str(v)) for v in valves} | {v for v in engine.valves if v.cylinder in cylinders}
    return place_of(engine, test, sorted(named))


def _outcome(test: Test, outcomes: Sequence[str] | None) -> str:
    if outcomes is None:
        return ""
    signs = [name for name in outcomes if name != NONE]
    have = ", ".join(test.outcomes)
    if not outcomes:
        raise InputError(say("{test}: say what it showed: {have}", test=test.name, have=have))
    if NONE in outcomes and signs:
        raise InputError(
            say("{test}: none and {sign} can't both be; give what showed", test=test.name, sign=signs[0])
        )
    for name in signs:
        if name not in test.outcomes:
            raise InputError(
                say("{test} can't show {name!r}; it can show {have}", test=test.name, name=name, have=have)
            )
    return "+".join(sign.name for sign in test.signs if sign.name in signs) or NONE


def _direction(cause: str, wanted: str | None, ways: frozenset[Direction]) -> Direction:
    if wanted is None and len(ways) == 1:
        return next(iter(ways))
    for way in ways:
        if way == wanted:
            return way
    have = ", ".join(sorted(ways))
    if wanted is None:
        raise InputError(say("{cause}: say which way it moved the gaps: {have}", cause=cause, have=have))
    raise InputError(
        say(
            "{cause} does not make gaps {wanted} on this engine: {have}",
            cause=cause,
            wanted=wanted,
            have=have,
        )
    )


# --- what there is ----------------------------------------------------------------------------------------------


def causes_of(engine: Engine) -> dict[str, frozenset[Direction]]:
    """Causes that can be found on this engine, and which way each moves the gaps.

    Where gaps can't tell several apart, each by itself (a loose stand, a lifting head) besides their common name.
    """
    ways: dict[str, set[Direction]] = {}
    for each in candidates(engine, engine.valves):
        way: Direction = "tighter" if each.direction == "tighter" else "looser"
        names = [each.cause]
        if each.cause != SESSION_OFFSET and each.variant in wording.CAUSE:
            names.append(each.variant)
        for name in names:
            ways.setdefault(name, set()).add(way)
    return {name: frozenset(found) for name, found in ways.items()}


@dataclass(frozen=True, slots=True)
class Kind:
    """A test of the table: its name, what it is, and what it can show: names and words."""

    name: str
    says: str
    outcomes: tuple[tuple[str, str], ...]


def kinds() -> tuple[Kind, ...]:
    """All tests of the table, in words."""
    return tuple(
        Kind(
            test.name,
            table(test.says),
            (*((sign.name, table(sign.says)) for sign in test.signs), (NONE, table(test.clean))),
        )
        for test in all_tests()
    )


def data_asked(pairs: Iterable[str]) -> dict[str, float | str]:
    """What was read, as typed: "loss=12", "by=ear". Raises InputError."""
    data: dict[str, float | str] = {}
    for pair in pairs:
        name, equals, value = (part.strip() for part in pair.partition("="))
        if not (name and equals and value):
            raise InputError(say("data {pair!r}: write it like loss=12", pair=pair))
        try:
            data[name] = parse_number(value, name)
        except InputError:
            data[name] = value
    return data


def kind_called(name: str) -> Kind | None:
    """A test of the table in words; None where there is none of that name."""
    return next((kind for kind in kinds() if kind.name == name), None)


def cause_words(name: str) -> str:
    """A cause in a few words."""
    return wording.cause(name)


def places_of_test(engine: Engine, kind: str) -> tuple[tuple[str, str], ...]:
    """Where a test can be done: as typed ("3", "E1 E3", "") and in words. Raises InputError."""
    test = test_called(kind)
    return tuple(
        (_typed(test, where), telling.place_words(test.place, where)) for where in places(engine, test.place)
    )


def _typed(test: Test, where: Sequence[Valve]) -> str:
    if test.place == "cylinder":
        return str(where[0].cylinder)
    return " ".join(map(str, where)) if test.place == "lobe" else ""


def typed_place(engine: Engine, kind: str, where: Sequence[Valve]) -> str:
    """The place of a test as it is typed: "3", "E1 E3", "" for the whole engine. Raises InputError."""
    test = test_called(kind)
    return _typed(test, place_of(engine, test, where))


def done_on(
    book: Book, entry: EngineEntry, engine: Engine, records: Sequence[VisitRecord]
) -> tuple[TestDone, ...]:
    """All tests of an engine, oldest first, with why some no longer count. ``records``: its closed visits, in order."""
    tests = book.tests(entry.id)
    if not tests:
        return ()
    visits, work = _visits(book, entry), book.work(entry.id)
    told = [_told(engine, test, _saw(test, visits)) for test in tests]
    return tuple(_judged(done, told[i + 1 :], work, engine, records) for i, done in enumerate(told))


def causes_on(book: Book, entry: EngineEntry, engine: Engine) -> tuple[CauseFound, ...]:
    """All causes found on an engine, oldest first."""
    causes = book.accepted_causes(entry.id)
    if not causes:
        return ()
    visits, work = _visits(book, entry), book.work(entry.id)
    told = [_cause_told(engine, each, _saw(each, visits)) for each in causes]
    return tuple(
        replace(each, found=each.found._replace(mended=_worked_on(each, work, engine))) for each in told
    )


def evidence(book: Book, entry: EngineEntry, engine: Engine, records: Sequence[VisitRecord]) -> Evidence:
    """What the tests and finds of an engine are to its answer."""
    results, remarks = [], []
    last = len(records) - 1
    for done in done_on(book, entry, engine, records):
        if done.result is None:
            continue
        if done.result.weighs or done.result.signs:
            results.append(done.result)
        if done.ended and done.result.saw == last:
            remarks.append(say("{test}; it no longer counts: {why}", test=done.words, why=done.ended))
    found = tuple(
        each.found
        for each in causes_on(book, entry, engine)
        if each.found.where or not (each.cause.valves or each.cause.cylinders)
    )
    return Evidence(tuple(results), found, tuple(remarks))


def _visits(book: Book, entry: EngineEntry) -> tuple[VisitAt, ...]:
    return tuple(VisitAt(v.id, v.day, v.distance_m) for v in book.visits(entry.name))


def _saw(entry: AtEngine, visits: Sequence[VisitAt]) -> int:
    """The last visit that something was done at or after; -1 = before them all."""
    for i, visit in enumerate(visits):
        if entry.visit_id is not None and visit.id == entry.visit_id:
            return i
    return max((i for i, visit in enumerate(visits) if visit.day <= entry.day), default=-1)


def _told(engine: Engine, test: EngineTest, saw: int | None = None) -> TestDone:
    """A test in words, and as ``wear`` takes it, as far as this version and the engine as it is now know it."""
    try:
        kind = test_called(test.kind)
        where = _place(engine, kind, test.valves, test.cylinders)
        signs = tuple(name for name in test.result.split("+") if name not in ("", NONE))
        check_signs(kind, signs)
    except InputError:
        title, outcome = test.kind.replace("_", " "), test.result.replace("_", " ")
        words = say("{test}: {outcome}", test=title, outcome=outcome)
        why = say("This version does not know that test on this engine.")
        return TestDone(test, words, None, why, title, outcome)
    result = Result(kind.name, where, signs, test.day, saw)
    title = say("{test} of {where}", test=table(kind.called), where=telling.place_words(kind.place, where))
    outcome = telling.outcome_words(kind, signs) if test.result else say("no result yet")
    words = say("{test}: {outcome}", test=title, outcome=outcome)
    return TestDone(test, words, result if test.result else None, "", title, outcome)


def _judged(
    done: TestDone,
    later: Sequence[TestDone],
    work: Iterable[Work],
    engine: Engine,
    records: Sequence[VisitRecord],
) -> TestDone:
    """The same with what ended it, if anything did; of what was ended only its unmended stopping signs remain."""
    result = done.result
    if result is None or result.saw is None:
        return done
    newer = next((each for each in later if each.result is not None and _same(each.result, result)), None)
    if newer is not None:
        ended = say("A newer one was done on {day}.", day=newer.test.day)
        return replace(done, result=result._replace(signs=(), weighs=False), ended=ended)
    since = [each for each in work if _after(each, done.test)]
    moving = next((each for each in since if _moves(each, engine, result.where)), None)
    measured = _measured_since(result, records)
    if moving is not None:
        ended = say("Work on {day} moved gaps there.", day=moving.day)
    elif result.saw < 0:
        ended = say("It was done before the first visit.")
    elif measured >= (1 if result.test == AGAIN_COLD else STALE_VISITS):
        ended = plural(
            "{n} visit has measured the place since.", "{n} visits have measured the place since.", measured
        )
    else:
        return done
    kept = tuple(
        s for s in result.signs if s in STOPPING_SIGNS and not _mended(s, since, engine, result.where)
    )
    if kept:
        ended = say("{why} What it showed still stops the engine until it is mended.", why=ended)
    return replace(done, result=result._replace(signs=kept, weighs=False), ended=ended)


def _same(a: Result, b: Result) -> bool:
    return (a.test, a.where) == (b.test, b.where)


def _after(work: Work, test: EngineTest) -> bool:
    """Was this work done after the test? On one day: if it was written down later."""
    return work.day > test.day or (work.day == test.day and (work.at or "") > (test.at or ""))


def _moves(work: Work, engine: Engine, where: Sequence[Valve]) -> bool:
    try:
        return bool(set(moved_by(work, engine).valves) & set(where))
    except InputError:  # work on parts that the engine no longer has
        return False


def _worked_on(found: CauseFound, work: Iterable[Work], engine: Engine) -> bool:
    """Was there work that moved a gap at the place of a cause, on the day it was found or later?"""
    where = found.found.where or engine.valves
    return any(w.day >= found.cause.day and _moves(w, engine, where) for w in work)


def _mended(sign: str, since: Iterable[Work], engine: Engine, where: Sequence[Valve]) -> bool:
    return any(w.part in MENDS[sign] and w.kind in MENDING and _moves(w, engine, where) for w in since)


def _measured_since(result: Result, records: Sequence[VisitRecord]) -> int:
    first = (result.saw or 0) + 1
    return sum(
        any((v := record.valves.get(valve)) is not None and v.found is not None for valve in result.where)
        for record in records[first:]
    )


def _cause_told(engine: Engine, cause: AcceptedCause, saw: int | None = None) -> CauseFound:
    where = tuple(v for v in engine.valves if v in cause.valves or v.cylinder in cause.cylinders)
    amount = None if cause.amount_um is None else cause.amount_um / 1000
    found = Found(cause.cause, where, cause.direction, cause.day, amount, saw)
    name = wording.cause(cause.cause)
    words = say("{cause} at {valves}", cause=name, valves=wording.valves(where)) if where else name
    return CauseFound(cause, words, found)
