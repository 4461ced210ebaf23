"""Where to stop the crank: the fewest stops, or one cylinder at a time; what is closed where, with what room.

Crank angles run from 0 to 720, counted from firing TDC of cylinder 1 in the direction of rotation. A valve can
be checked where the crank is at least a margin away from both edges of its open span (``engine.firing``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

from coldlash.bench.fewest import fewest_positions
from coldlash.engine.firing import CYCLE_DEG, OpenSpan, firing_angles, open_spans
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import plural, say

By = Literal["fewest", "cylinder"]
Turn = Literal["with", "against"]

DEFAULT_MARGIN_DEG = 30.0
TURN_DEG = 360.0
SAME_DEG = 1e-6
"""Angles and margins closer than this are the same."""

_PER_DEG = 1_000_000
_CYCLE = round(CYCLE_DEG) * _PER_DEG


class StopValve(NamedTuple):
    """A valve to check at a stop, and the crank degrees from there to the nearest edge of its open span."""

    valve: Valve
    margin_deg: float


class ValveState(NamedTuple):
    """Open or closed, and crank degrees to the nearest edge of the open span: negative while open."""

    open: bool
    margin_deg: float


class Room(NamedTuple):
    """Crank degrees by which the crank may stand before or after a place with the valve still closed."""

    before_deg: float
    after_deg: float


@dataclass(frozen=True, slots=True)
class Stop:
    """One place to stop the crank.

    ``crank_deg`` in [0, 720). ``turn_deg``: from the stop before, negative against rotation, 0 at the first.
    ``cylinder``: the one at firing TDC there, or None. ``mark_deg``: the mark in [0, 360) that meets the
    pointer, or None where there is no mark. ``valves``: those to check here, by cylinder.
    """

    crank_deg: float
    turn_deg: float
    cylinder: int | None
    mark_deg: float | None
    valves: tuple[StopValve, ...]


@dataclass(frozen=True, slots=True)
class StopPlan:
    """The stops in visiting order. ``total_turn_deg``: all turns, whichever way, without a way back.

    ``unreachable``: valves that have less than ``margin_deg`` at every place allowed.
    """

    stops: tuple[Stop, ...]
    total_turn_deg: float
    unreachable: tuple[Valve, ...]
    by: By
    turn: Turn
    margin_deg: float

    @property
    def least_margin_deg(self) -> float | None:
        """The smallest margin of all valves in the plan; None when it has none."""
        return min((entry.margin_deg for stop in self.stops for entry in stop.valves), default=None)


def plan_stops(
    engine: Engine,
    by: By = "fewest",
    turn: Turn = "with",
    marks: Sequence[float] | None = None,
    margin_deg: float = DEFAULT_MARGIN_DEG,
) -> StopPlan:
    """Where to stop the crank so that every valve can be checked once.

    ``by`` "fewest": stops only where a mark meets the pointer (each mark shows twice in 720 degrees); without any
    mark, at firing TDCs, which can be found without one. Chosen are the fewest stops, then the greatest least
    margin, then the least turning (exact, compared to 1e-6 degrees); then the plan that starts at firing TDC of
    the lowest cylinder, then at the smallest crank angle. A valve is checked at the stop of its greatest margin,
    the earlier one when equal.

    ``by`` "cylinder": a stop at each firing TDC for that cylinder's valves, in turning order from cylinder 1.

    ``turn``: "with" or "against" the engine's rotation. ``marks``: crank degrees past firing TDC 1, within [0, 720),
    taken modulo 360; None = the engine file's. ``margin_deg`` within [0, 360). Raises InputError.
    """
    if by not in get_args(By):
        raise InputError(say("by: {by!r} is not a way to plan; give 'fewest' or 'cylinder'", by=by))
    if turn not in get_args(Turn):
        raise InputError(
            say("turn: {turn!r} is not a way to turn the engine; give 'with' or 'against'", turn=turn)
        )
    if not 0 <= margin_deg < TURN_DEG:
        raise InputError(
            say(
                "margin: {margin_deg:g} is out of range; give crank degrees from 0 to below 360",
                margin_deg=margin_deg,
            )
        )
    known = known_marks(engine, marks)
    if by == "cylinder":
        return _by_cylinder(engine, turn, known, margin_deg)
    return _fewest(engine, turn, known, margin_deg)


def known_marks(engine: Engine, marks: Sequence[float] | None = None) -> tuple[float, ...]:
    """The marks as they meet the pointer within one turn: [0, 360), rising, each once. None = the engine's own.

    Raises InputError for a mark outside [0, 720).
    """
    found: dict[int, float] = {}
    for mark in engine.pulley.marks_deg if marks is None else marks:
        if not 0 <= mark < CYCLE_DEG:
            raise InputError(
                say(
                    "marks: {mark:g} is out of range; give crank degrees past firing TDC of cylinder 1, from 0 "
                    "to below 720 (10 before it is 350)",
                    mark=mark,
                )
            )
        within = mark % TURN_DEG
        key = round(within * _PER_DEG) % (_CYCLE // 2)
        found.setdefault(key, within if key else 0.0)
    return tuple(found[key] for key in sorted(found))


def closed_at(engine: Engine, crank_deg: float) -> dict[Valve, ValveState]:
    """Every valve's state at a crank angle (any finite number of degrees). Raises InputError."""
    at = within_cycle(crank_deg)
    states: dict[Valve, ValveState] = {}
    for valve, span in open_spans(engine).items():
        is_open = (at - span.opens) % CYCLE_DEG < span.length
        states[valve] = ValveState(is_open, _margin(span, at))
    return states


def room_at(engine: Engine, valve: Valve, crank_deg: float) -> Room:
    """How far before and after ``crank_deg`` the crank may stand with the valve still on the base circle.

    At an edge of the open span (to 1e-6 degrees) it is 0 on that side. Raises InputError when the valve is open
    at ``crank_deg``, or is not one of this engine's.
    """
    at = within_cycle(crank_deg)
    span = open_spans(engine).get(valve)
    if span is None:
        raise InputError(
            plural(
                "{name} has no valve {valve}; it has {n} cylinder(s)",
                "{name} has no valve {valve}; it has {n} cylinder(s)",
                engine.cylinders,
                name=engine.name,
                valve=valve,
            )
        )
    since_opening = (at - span.opens) % CYCLE_DEG
    closed_for = CYCLE_DEG - span.length
    if since_opening <= SAME_DEG:
        return Room(closed_for, 0.0)
    if abs(span.length - since_opening) <= SAME_DEG:
        return Room(0.0, closed_for)
    if since_opening < span.length:
        raise InputError(
            say(
                "{valve} is open at {at:g} degrees: there is no room there; ask where it is closed, for "
                "example at {within_cycle:g}",
                valve=valve,
                at=at,
                within_cycle=within_cycle(span.opens + span.length + closed_for / 2),
            )
        )
    return Room(since_opening - span.length, CYCLE_DEG - since_opening)


def stop_room(engine: Engine, stop: Stop) -> Room | None:
    """The room that all valves of a stop share; None when there is none to check at it. Raises InputError."""
    rooms = [room_at(engine, entry.valve, stop.crank_deg) for entry in stop.valves]
    if not rooms:
        return None
    return Room(min(room.before_deg for room in rooms), min(room.after_deg for room in rooms))


def firing_at(engine: Engine, crank_deg: float) -> tuple[int, ...]:
    """The cylinders at firing TDC there (within 1e-6 degrees), lowest first; usually one or none."""
    at = _place(within_cycle(crank_deg))
    return tuple(sorted(c for c, a in firing_angles(engine).items() if _apart(_place(a), at) <= 1))


def within_cycle(crank_deg: float) -> float:
    """Crank degrees brought into [0, 720). Raises InputError for what is no finite number."""
    if not math.isfinite(crank_deg):
        raise InputError(
            say(
                "crank angle: {crank_deg} is no angle; give degrees past firing TDC of cylinder 1",
                crank_deg=crank_deg,
            )
        )
    at = crank_deg % CYCLE_DEG
    return 0.0 if at == CYCLE_DEG else at + 0.0


@dataclass(frozen=True, slots=True)
class _Place:
    """A place where the crank may be stopped."""

    crank_deg: float
    mark_deg: float | None


def _place(crank_deg: float) -> int:
    """A crank angle as whole micro-degrees in [0, 720 degrees), so that equal is equal."""
    return round(crank_deg * _PER_DEG) % _CYCLE


def _apart(a: int, b: int) -> int:
    return min((a - b) % _CYCLE, (b - a) % _CYCLE)


def _margin(span: OpenSpan, crank_deg: float) -> float:
    return span.margin(crank_deg) + 0.0  # never -0.0


def _travel(place: int, turn: Turn) -> int:
    """A place as seen along the way of turning: rising the way one turns."""
    return place if turn == "with" else -place % _CYCLE


def _turn_between(before: float, after: float, turn: Turn) -> float:
    """Signed crank degrees from one stop to the next, always the one way."""
    if _place(before) == _place(after):
        return 0.0
    return (after - before) % CYCLE_DEG if turn == "with" else -((before - after) % CYCLE_DEG)


def _mark_at(marks: Sequence[float], crank_deg: float) -> float | None:
    """The mark that meets the pointer there, or None."""
    half = _CYCLE // 2
    at = _place(crank_deg) % half
    for mark in marks:
        off = (_place(mark) - at) % half
        if min(off, half - off) <= 1:
            return mark
    return None


def _lined_up(
    places: Sequence[_Place],
    cylinders: Sequence[int | None],
    valves: Sequence[Sequence[StopValve]],
    unreachable: Sequence[Valve],
    by: By,
    turn: Turn,
    margin_deg: float,
) -> StopPlan:
    stops: list[Stop] = []
    for place, cylinder, checked in zip(places, cylinders, valves, strict=True):
        moved = _turn_between(stops[-1].crank_deg, place.crank_deg, turn) if stops else 0.0
        stops.append(Stop(place.crank_deg, moved, cylinder, place.mark_deg, tuple(sorted(checked))))
    total = math.fsum(abs(stop.turn_deg) for stop in stops)
    return StopPlan(tuple(stops), total, tuple(sorted(unreachable)), by, turn, margin_deg)


def _by_cylinder(engine: Engine, turn: Turn, marks: Sequence[float], margin_deg: float) -> StopPlan:
    """Cylinders that fire together are stops of their own, with no turn between them."""
    angles = {cylinder: within_cycle(a) for cylinder, a in firing_angles(engine).items()}
    order = sorted(angles, key=lambda c: (_travel(_place(angles[c]), turn), engine.firing_order.index(c)))
    spans = open_spans(engine)
    valves: list[list[StopValve]] = []
    unreachable: list[Valve] = []
    for cylinder in order:
        checked: list[StopValve] = []
        for valve in (Valve("I", cylinder), Valve("E", cylinder)):
            margin = _margin(spans[valve], angles[cylinder])
            if round(margin * _PER_DEG) >= round(margin_deg * _PER_DEG):
                checked.append(StopValve(valve, margin))
            else:
                unreachable.append(valve)
        valves.append(checked)
    places = [_Place(angles[c], _mark_at(marks, angles[c])) for c in order]
    return _lined_up(places, order, valves, unreachable, "cylinder", turn, margin_deg)


def _fewest(engine: Engine, turn: Turn, marks: Sequence[float], margin_deg: float) -> StopPlan:
    at: dict[int, _Place] = {}
    if marks:
        for mark in marks:
            for crank in (mark, mark + TURN_DEG):
                at.setdefault(_travel(_place(crank), turn), _Place(crank, mark))
    else:
        for a in firing_angles(engine).values():
            at.setdefault(_travel(_place(a), turn), _Place(within_cycle(a), None))
    along = sorted(at)
    places = [at[key] for key in along]
    need = round(margin_deg * _PER_DEG)
    margins: dict[Valve, list[float]] = {}
    whole: dict[Valve, list[int]] = {}
    unreachable: list[Valve] = []
    for valve, span in open_spans(engine).items():
        here = [_margin(span, place.crank_deg) for place in places]
        rounded = [round(m * _PER_DEG) for m in here]
        if max(rounded) < need:
            unreachable.append(valve)
        else:
            margins[valve], whole[valve] = here, rounded
    firing = [next(iter(firing_at(engine, place.crank_deg)), None) for place in places]
    by_start = sorted(
        range(len(places)),
        key=lambda i: (firing[i] is None, firing[i] or 0, _place(places[i].crank_deg)),
    )
    ranks = [0] * len(places)
    for rank, index in enumerate(by_start):
        ranks[index] = rank
    chosen = fewest_positions(along, _CYCLE, list(whole.values()), need, ranks)
    checked: dict[int, list[StopValve]] = {index: [] for index in chosen}
    for valve, rounded in whole.items():
        best = max(chosen, key=lambda i: rounded[i])  # max keeps the first of equals: the earlier stop
        checked[best].append(StopValve(valve, margins[valve][best]))
    return _lined_up(
        [places[i] for i in chosen],
        [firing[i] for i in chosen],
        list(checked.values()),
        unreachable,
        "fewest",
        turn,
        margin_deg,
    )
