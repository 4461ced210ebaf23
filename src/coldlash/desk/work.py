"""Work on an engine: written down, and what it means for the gaps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, table
from coldlash.logbook.lasting import PARTS, WORK_KINDS, Part, Work, WorkKind
from coldlash.logbook.parts import Moved, moved_by
from coldlash.logbook.records import EngineEntry, checked_choice
from coldlash.logbook.store import Book

PART_WORDS: dict[str, str] = {
    "valve": mark("valve"),
    "seat": mark("seat"),
    "guide": mark("guide"),
    "spring": mark("spring"),
    "head": mark("head"),
    "gasket": mark("gasket"),
    "barrel": mark("barrel"),
    "lifter": mark("lifter"),
    "camshaft": mark("camshaft"),
    "pushrod": mark("pushrod"),
    "rocker": mark("rocker"),
    "stand": mark("stand"),
    "adjuster": mark("adjuster"),
    "stud": mark("stud"),
    "engine": mark("engine"),
    "other": mark("other"),
    "something": mark("something"),
}
"""Each part of the engine as it is called; "something" is how work on "other" is told."""
WORK_WORDS: dict[str, str] = {
    "replaced": mark("replaced"),
    "ground": mark("ground"),
    "retorqued": mark("retorqued"),
    "refitted": mark("refitted"),
    "machined": mark("machined"),
    "repaired": mark("repaired"),
    "cleaned": mark("cleaned"),
    "rebuilt": mark("rebuilt"),
}
"""Each kind of work as it is called."""


@dataclass(frozen=True, slots=True)
class WorkDone:
    """Work as the book has it, and the gaps that start afresh with it."""

    work: Work
    moved: Moved

    @property
    def words(self) -> str:
        """What was done and where, without its day: "camshaft replaced"."""
        return work_words(self.work)

    @property
    def means(self) -> str:
        """What it means for the gaps, in a sentence."""
        if not self.moved.valves:
            return say("No gap starts afresh: {why}.", why=self.moved.why)
        which = ", ".join(map(str, self.moved.valves))
        if self.work.visit_id:
            return say(
                "Starts afresh from what was left at this visit: {which}; {why}.",
                which=which,
                why=self.moved.why,
            )
        return say("Starts afresh from the next visit: {which}; {why}.", which=which, why=self.moved.why)


def work_words(work: Work) -> str:
    """Work in words: "seat ground, E3"."""
    where = [str(valve) for valve in work.valves]
    where += [say("cylinder {cylinder}", cylinder=cylinder) for cylinder in work.cylinders]
    done = say("{part} {done}", part=part_word(work.part), done=kind_word(work.kind))
    return done + (f", {', '.join(where)}" if where else "")


def part_word(part: str) -> str:
    """A part as it is called: "camshaft"; "something" for other."""
    return table(PART_WORDS["something" if part == "other" else part])


def kind_word(kind: str) -> str:
    """What was done, as it is called: "ground"."""
    return table(WORK_WORDS[kind])


def add_work(
    book: Book,
    entry: EngineEntry,
    engine: Engine,
    part: str,
    kind: str,
    *,
    day: date,
    visit_id: str | None = None,
    distance_km: float | None = None,
    valves: tuple[Valve, ...] = (),
    cylinders: tuple[int, ...] = (),
    note: str = "",
    by: str | None = None,
    id: str | None = None,
) -> WorkDone:
    """Write work on an engine: at a visit (``visit_id``, whose day and distance then hold) or between visits.

    ``valves`` and ``cylinders`` say where (of a head, any cylinder under it); none of both = all of that kind of part.
    ``distance_km``: the engine's own distance, if known. Raises InputError.
    """
    checked_choice(part, "part", PARTS)
    checked_choice(kind, say("what was done"), WORK_KINDS)
    part_: Part = next(name for name in PARTS if name == part)
    kind_: WorkKind = next(name for name in WORK_KINDS if name == kind)
    if part_ == "other" and not (valves or cylinders):
        raise InputError(
            say("something other: say whose gaps it moved (valves or cylinders), or write it as a note")
        )
    distance_m = None if distance_km is None else round(distance_km * 1000)
    if visit_id is not None:
        visit = book.visit(visit_id)
        if visit.state == "discarded":
            raise InputError(
                say("the visit of {day} was put aside; write the work with its day instead", day=visit.day)
            )
        day, distance_m = visit.day, visit.distance_m
    work = Work(
        engine_id=entry.id,
        visit_id=visit_id,
        day=day,
        distance_m=distance_m,
        valves=valves,
        cylinders=cylinders,
        part=part_,
        kind=kind_,
        note=note,
        by=by,
        id=id,
    )
    moved = moved_by(work, engine)
    return WorkDone(book.add_work(work), moved)


def work_on(book: Book, entry: EngineEntry, engine: Engine) -> tuple[WorkDone, ...]:
    """All work on an engine, oldest first, by the engine's file as it is now."""
    return tuple(WorkDone(done, _moved(done, engine)) for done in book.work(entry.id))


def _moved(work: Work, engine: Engine) -> Moved:
    try:
        return moved_by(work, engine)
    except InputError as error:
        return Moved((), str(error))


def take_back_work(book: Book, id: str, reason: str) -> Work:
    """Withdraw work that was not done, or not so; it stays to be seen. Raises InputError."""
    if not reason.strip():
        raise InputError(say("say why it is taken back"))
    return book.take_back_entry(Work, id, reason)


def parts_asked(text: str, engine: Engine) -> tuple[tuple[Valve, ...], tuple[int, ...]]:
    """Valves and cylinders as typed: "E3 I3, 2". Raises InputError."""
    valves, cylinders = [], []
    for word in text.replace(",", " ").split():
        if word.isdecimal():
            cylinders.append(int(word))
        else:
            valves.append(engine.valve(word))
    for cylinder in cylinders:
        if not 1 <= cylinder <= engine.cylinders:
            raise InputError(
                say(
                    "{name} has no cylinder {cylinder}; it has {cylinders}",
                    name=engine.name,
                    cylinder=cylinder,
                    cylinders=engine.cylinders,
                )
            )
    return tuple(valves), tuple(cylinders)
