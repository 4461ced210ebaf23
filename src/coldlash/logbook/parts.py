"""Work on an engine: which gaps it moves, and from which visit on those trends start afresh. Pure.

The rules are the linkage's: what a part sits between decides which gaps move when it is replaced, ground or tightened
again. A head carries the rockers and seats of every cylinder under it; a camshaft drives every valve; a lobe that two
valves share drives both; whatever belongs to one valve moves only that valve's gap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, table
from coldlash.logbook.due import Rebuild
from coldlash.logbook.lasting import AtEngine, Part, Work
from coldlash.wear.record import ValveRecord, VisitRecord

OF_ONE_VALVE: frozenset[Part] = frozenset({"valve", "seat", "lifter", "pushrod", "rocker", "adjuster"})
"""Parts between one lobe and one seat: only that valve's gap moves."""
OF_A_HEAD: frozenset[Part] = frozenset({"head", "gasket", "barrel", "stud"})
"""Parts whose thickness or clamping carries a whole head: every valve under it moves."""
OF_NO_GAP: frozenset[Part] = frozenset({"guide", "spring"})
"""Parts that no gap hangs on: they hold or guide a valve, and leave its length and seat alone."""

WHY: Mapping[Part, str] = {
    "valve": mark("a valve of another length, or ground, sits deeper or higher"),
    "seat": mark("a seat that is cut or replaced lets the valve sit deeper or higher"),
    "lifter": mark("another lifter is another length between cam and pushrod"),
    "pushrod": mark("another pushrod is another length between lifter and rocker"),
    "rocker": mark("another rocker has another pad and another pivot height"),
    "adjuster": mark("another adjuster stands elsewhere, whatever the lock-nut says"),
    "head": mark(
        "a head that was off or tightened again sits at another height, with all its rockers and seats"
    ),
    "gasket": mark("another gasket is another thickness under the whole head"),
    "barrel": mark("a barrel under a head carries the whole head"),
    "stud": mark("a stud replaced or tightened again clamps the whole head anew"),
    "stand": mark("a rocker stand carries the pivots of the rockers on it"),
    "camshaft": mark("every lobe is another one"),
    "engine": mark("everything was apart"),
    "guide": mark("a guide leads the valve and carries no gap"),
    "spring": mark("a spring closes the valve and carries no gap"),
    "other": mark("only the valves named are taken to have moved"),
}


@dataclass(frozen=True, slots=True)
class Moved:
    """The gaps that a piece of work moved, and why, in a sentence."""

    valves: tuple[Valve, ...]
    why: str


def moved_by(work: Work, engine: Engine) -> Moved:
    """Which gaps ``work`` moved on this engine.

    Nothing named means every part of that kind. Raises InputError for a valve or cylinder that it has not.
    """
    check_where(work, engine)
    valves = _moved(work, engine)
    why = say("cleaning moves no gap") if work.kind == "cleaned" else table(WHY[work.part])
    return Moved(tuple(sorted(valves)), why)


def check_where(entry: AtEngine, engine: Engine) -> None:
    """Raises InputError naming the valves or cylinders that the engine has not."""
    for cylinder in entry.cylinders:
        if cylinder > engine.cylinders:
            raise InputError(
                say(
                    "{name} has no cylinder {cylinder}; it has {cylinders}",
                    name=engine.name,
                    cylinder=cylinder,
                    cylinders=engine.cylinders,
                )
            )
    for valve in entry.valves:
        engine.valve(str(valve))


def _moved(work: Work, engine: Engine) -> set[Valve]:
    everything = set(engine.valves)
    if work.kind == "cleaned" or work.part in OF_NO_GAP:
        return set()
    named = set(work.valves) | {v for v in engine.valves if v.cylinder in work.cylinders}
    if work.part == "other":
        return named
    if work.part == "engine" or not named:
        return everything
    if work.part == "camshaft":
        return everything if work.kind != "ground" else _with_lobe_mates(named, engine)
    if work.part in OF_A_HEAD:
        under = {c for v in named for c in engine.head_of(v.cylinder)}
        return {v for v in engine.valves if v.cylinder in under}
    if work.part == "stand":
        standing = {v.cylinder for v in named}
        return {v for v in engine.valves if v.cylinder in standing}
    return named


def _with_lobe_mates(valves: set[Valve], engine: Engine) -> set[Valve]:
    pairs = [pair for pair in engine.shared_lobes if valves & set(pair)]
    return valves | {valve for pair in pairs for valve in pair}


# --- from which visit on ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class VisitAt:
    """A visit that records were made of: its id (None = of a log), day and engine's own distance, m."""

    id: str | None
    day: date
    distance_m: int


def counts_at(work: Work, visits: Sequence[VisitAt]) -> tuple[int, bool] | None:
    """At which of ``visits`` (in order) work counts, and whether before its found readings; None = after them all.

    Work at a visit counts after what was found there. Work between visits, or at a visit that is not among these,
    counts at the next visit, before its readings: those are already of the new parts.
    """
    for i, visit in enumerate(visits):
        if work.visit_id is not None and visit.id == work.visit_id:
            return i, False
    for i, visit in enumerate(visits):
        later = work.distance_m is not None and visit.day == work.day and visit.distance_m < work.distance_m
        if visit.day >= work.day and not later:
            return i, True
    return None


def start_afresh(
    records: Sequence[VisitRecord],
    visits: Sequence[VisitAt],
    work: Iterable[Work],
    engine: Engine,
    files: Mapping[str, Engine] | None = None,
) -> tuple[VisitRecord, ...]:
    """Records with exactly those valves restarted whose gaps the work moved. ``records`` belong to ``visits`` in order.

    ``files``: the engine as it was, by visit id. Work on parts that the engine no longer has (its file changed since)
    counts for those it still has. Raises nothing of its own.
    """
    out = list(records)
    for done in work:
        place = counts_at(done, visits)
        if place is None:
            continue
        i, before = place
        then = (files or {}).get(visits[i].id or "", engine)
        valves = dict(out[i].valves)
        for valve in _moved(_known(done, then), then):
            record = valves.get(valve, ValveRecord())
            valves[valve] = replace(record, restart_before=True) if before else replace(record, restart=True)
        out[i] = replace(out[i], valves=valves)
    return tuple(out)


def _known(work: Work, engine: Engine) -> Work:
    cylinders = tuple(c for c in work.cylinders if c <= engine.cylinders)
    valves = tuple(v for v in work.valves if v.cylinder <= engine.cylinders)
    if (work.cylinders or work.valves) and not (cylinders or valves):
        return replace(work, part="other", cylinders=(), valves=())
    return replace(work, cylinders=cylinders, valves=valves)


def last_rebuild(work: Iterable[Work], engine: Engine) -> Work | None:
    """The last work that moved any gap, None = none did. An early check follows it."""
    moving = [done for done in work if _moved(_known(done, engine), engine)]
    return max(moving, key=lambda done: (done.day, done.seq), default=None)


def rebuilt_since(work: Iterable[Work], last: VisitAt, engine: Engine) -> Rebuild | None:
    """The last work that moved gaps at the visit ``last`` or after it; None = none, so the usual interval holds."""
    done = last_rebuild((each for each in work if _not_before(each, last)), engine)
    if done is None:
        return None
    return Rebuild(done.day, None if done.distance_m is None else done.distance_m / 1000)


def _not_before(work: Work, last: VisitAt) -> bool:
    if work.visit_id is not None:
        return work.visit_id == last.id
    return work.day > last.day or (work.day == last.day and (work.distance_m or 0) >= last.distance_m)


def moved_after(work: Iterable[Work], visits: Sequence[VisitAt], engine: Engine) -> frozenset[Valve]:
    """Valves whose gaps were moved by work after all of ``visits`` (in order): what they are now is not known."""
    after = [done for done in work if counts_at(done, visits) is None]
    return frozenset(valve for done in after for valve in _moved(_known(done, engine), engine))
