"""Marks on the pulley: which of its two turns a mark shows, which marks to add, how far apart they are.

A mark meets the pointer twice in the 720 degrees of the cycle. What tells the two apart is the camshaft's side of
the engine: which valves rock, where the rotor points, whether air is pushed out of a plug hole. All of it
follows from the firing angles and the open spans (``engine.firing``); the ways themselves are common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import get_args

from coldlash.bench.stops import (
    DEFAULT_MARGIN_DEG,
    TURN_DEG,
    By,
    Stop,
    ValveState,
    closed_at,
    known_marks,
    plan_stops,
    within_cycle,
)
from coldlash.engine.firing import CYCLE_DEG, firing_angles, open_spans
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say

ROCKING_REACH_DEG = 15.0
"""Within so many crank degrees of the middle of its overlap a cylinder's valves are seen to rock (judgement)."""

CLEAR_DEG = 15.0
"""A valve tells two positions apart when it is this far inside its open span at one of them (judgement)."""

_WORDS_DEG = 0.05
"""In words, angles closer than this are the same: they are written with one decimal."""


def describe_position(engine: Engine, crank_deg: float) -> str:
    """A crank angle in words: "firing TDC of cylinder 3", "40 degrees before firing TDC of cylinder 1".

    Counted from the nearest firing TDC; halfway between two, from the one to come. Where no cylinder fires but one
    is at TDC with its valves rocking: "overlap TDC of cylinder 1"; so too from there where the nearest firing TDC
    is more than half a turn away. Raises InputError for what is no finite angle.
    """
    at = within_cycle(crank_deg)
    offset, cylinders = _nearest_firing(engine, at)
    if abs(offset) < _WORDS_DEG:
        return say("firing TDC of {cylinders}", cylinders=_cylinders(cylinders))
    overlap_offset, overlapping = _nearest_firing(engine, at + TURN_DEG)
    if abs(overlap_offset) < _WORDS_DEG:
        return say("overlap TDC of {cylinders}", cylinders=_cylinders(overlapping))
    over = abs(offset) > TURN_DEG / 2
    if over:
        offset, cylinders = overlap_offset, overlapping
    degrees, of = _degrees(abs(offset)), _cylinders(cylinders)
    if over and offset < 0:
        return say("{degrees} before overlap TDC of {cylinders}", degrees=degrees, cylinders=of)
    if over:
        return say("{degrees} after overlap TDC of {cylinders}", degrees=degrees, cylinders=of)
    if offset < 0:
        return say("{degrees} before firing TDC of {cylinders}", degrees=degrees, cylinders=of)
    return say("{degrees} after firing TDC of {cylinders}", degrees=degrees, cylinders=of)


def which_turn(engine: Engine, crank_deg: float) -> tuple[str, ...]:
    """How to tell this position from the one a full turn away, where the same mark shows: sentences to act on.

    First what the two positions are; then, as far as the engine has it: the valves that rock or stand open, the
    rotor in the distributor, a finger over a plug hole. Raises InputError for what is no finite angle.
    """
    at = within_cycle(crank_deg)
    away = within_cycle(at + TURN_DEG)
    what = say(
        "The mark comes round twice in two turns. Wanted here is {position}; a full turn away it is "
        "{position2}.",
        position=describe_position(engine, at),
        position2=describe_position(engine, away),
    )
    valves = _by_rocking(engine, at, away) or _by_open_valves(engine, at, away)
    return tuple(
        sentence
        for sentence in (what, valves, _by_rotor(engine, at, away), _by_finger(engine, at))
        if sentence
    )


def find_firing_tdc(engine: Engine, cylinder: int) -> tuple[str, ...]:
    """How to find a cylinder's firing TDC without any mark: sentences to act on, in order.

    Raises InputError when the engine has no such cylinder.
    """
    angles = firing_angles(engine)
    if cylinder not in angles:
        raise InputError(
            say(
                "{name} has no cylinder {cylinder}; it has 1 to {cylinders}",
                name=engine.name,
                cylinder=cylinder,
                cylinders=engine.cylinders,
            )
        )
    sentences = [
        say(
            "Ignition off, the plug of cylinder {cylinder} out, a finger over the hole: turn with "
            "rotation until air pushes out.",
            cylinder=cylinder,
        ),
        say(
            "Then hold a drinking straw (nothing hard, nothing that can fall in) in the hole and turn on "
            "slowly: firing TDC is the middle of the short way where the straw neither rises nor sinks."
        ),
    ]
    mates = [m for m in rocking_at(engine, angles[cylinder]) if m != cylinder]
    if mates:
        sentences.append(
            say(
                "To be sure: both valves of {cylinders} rock there, those of cylinder {cylinder} stay still.",
                cylinders=_cylinders(mates),
                cylinder=cylinder,
            )
        )
    return tuple(sentences)


def how_to_find(engine: Engine, stop: Stop) -> tuple[str, ...]:
    """How to be sure of a stop of a plan: ``which_turn`` at a mark, ``find_firing_tdc`` where there is none.

    Raises InputError when the stop is at neither a mark nor a cylinder's firing TDC (no plan has such a stop).
    """
    if stop.mark_deg is not None:
        return which_turn(engine, stop.crank_deg)
    if stop.cylinder is None:
        raise InputError(
            say(
                "the stop at {crank_deg:g} degrees has no mark and no cylinder at firing TDC; take stops "
                "from a plan",
                crank_deg=stop.crank_deg,
            )
        )
    return find_firing_tdc(engine, stop.cylinder)


def rocking_at(engine: Engine, crank_deg: float) -> tuple[int, ...]:
    """Cylinders whose valves rock around a crank angle: the exhaust closing as the intake opens.

    Read from the open spans: the angle lies in the overlap (or, where there is none, between the closing and
    the opening), or within 15 degrees of its middle. Nearest first. Raises InputError.
    """
    at = within_cycle(crank_deg)
    spans = open_spans(engine)
    near: list[tuple[float, int]] = []
    for cylinder in range(1, engine.cylinders + 1):
        exhaust, intake = spans[Valve("E", cylinder)], spans[Valve("I", cylinder)]
        overlap = _signed(exhaust.opens + exhaust.length - intake.opens)
        off = abs(_signed(at - intake.opens - overlap / 2))
        if off <= max(abs(overlap) / 2, ROCKING_REACH_DEG):
            near.append((round(off, 6), cylinder))
    return tuple(cylinder for _, cylinder in sorted(near))


def rocking_pairs(engine: Engine) -> dict[int, int | None]:
    """Each cylinder and its mate: the one whose valves rock at its firing TDC, or None. From the open spans."""
    return {
        cylinder: next((m for m in rocking_at(engine, a) if m != cylinder), None)
        for cylinder, a in sorted(firing_angles(engine).items())
    }


def firing_marks(engine: Engine) -> tuple[float, ...]:
    """The marks that checking one cylinder at a time needs: all firing TDCs on one turn, [0, 360), rising.

    Half a turn apart on a four, a third on a six, one mark on a flat-twin.
    """
    return known_marks(engine, [within_cycle(a) for a in firing_angles(engine).values()])


def suggest_marks(
    engine: Engine,
    by: By = "fewest",
    marks: Sequence[float] | None = None,
    margin_deg: float = DEFAULT_MARGIN_DEG,
) -> tuple[float, ...]:
    """Marks to add to those there are, in [0, 360), rising; () when there are enough.

    ``by`` "cylinder": every firing TDC that has no mark. ``by`` "fewest": the smallest set of firing TDC marks
    with which ``plan_stops`` leaves no more valves out, and stops no more often, than with all of them; among
    equally small sets the greatest least margin, then the smallest angles. ``marks``, ``margin_deg`` and errors
    as in ``plan_stops``.
    """
    if by not in get_args(By):
        raise InputError(say("by: {by!r} is not a way to plan; give 'fewest' or 'cylinder'", by=by))
    have = known_marks(engine, marks)
    every = known_marks(engine, [*have, *firing_marks(engine)])
    missing = tuple(mark for mark in every if mark not in have)
    if by == "cylinder":
        return missing
    goal = plan_stops(engine, marks=every, margin_deg=margin_deg)
    if not goal.stops:
        return ()
    reaches = {mark: _reaches(engine, mark, margin_deg) for mark in every}
    wanted = set(engine.valves) - set(goal.unreachable)
    for size in range(0 if have else 1, len(missing)):
        enough: list[tuple[float, tuple[float, ...]]] = []
        for added in combinations(missing, size):
            if not wanted <= set().union(*(reaches[mark] for mark in (*have, *added))):
                continue
            plan = plan_stops(engine, marks=(*have, *added), margin_deg=margin_deg)
            if len(plan.stops) == len(goal.stops):
                enough.append((-round(plan.least_margin_deg or 0.0, 6), added))
        if enough:
            return min(enough)[1]
    return missing


def mm_on_pulley(diameter_mm: float, degrees: float) -> float:
    """Length in mm along the rim of a pulley of ``diameter_mm`` (> 0) for so many degrees: pi d deg / 360.

    Signed like ``degrees``. Raises InputError.
    """
    return _rim_mm_per_deg(diameter_mm) * _finite(degrees, say("angle"))


def degrees_on_pulley(diameter_mm: float, mm: float) -> float:
    """Degrees for so many mm along the rim of a pulley of ``diameter_mm`` (> 0): 360 mm / (pi d).

    Signed like ``mm``. Raises InputError.
    """
    return _finite(mm, say("length along the rim")) / _rim_mm_per_deg(diameter_mm)


def _rim_mm_per_deg(diameter_mm: float) -> float:
    if not (math.isfinite(diameter_mm) and diameter_mm > 0):
        raise InputError(
            say(
                "pulley diameter: {diameter_mm:g} mm is no diameter; measure across the rim, in mm, above 0",
                diameter_mm=diameter_mm,
            )
        )
    return math.pi * diameter_mm / 360.0


def _finite(value: float, what: str) -> float:
    if not math.isfinite(value):
        raise InputError(
            say(
                "{what}: {value:g} is no number that can be measured; give a finite one",
                what=what,
                value=value,
            )
        )
    return value


def _reaches(engine: Engine, mark: float, margin_deg: float) -> frozenset[Valve]:
    """The valves that can be checked where this mark shows, on either turn."""
    return frozenset(engine.valves) - frozenset(
        plan_stops(engine, marks=(mark,), margin_deg=margin_deg).unreachable
    )


def _signed(degrees: float) -> float:
    """Brought into (-360, 360]."""
    within = degrees % CYCLE_DEG
    return within if within <= TURN_DEG else within - CYCLE_DEG


def _nearest_firing(engine: Engine, at: float) -> tuple[float, tuple[int, ...]]:
    """Crank degrees past the nearest firing TDC (negative before it) and the cylinders that fire there."""
    offsets = {c: round(_signed(at - a), 9) for c, a in firing_angles(engine).items()}
    nearest = min(offsets.values(), key=lambda offset: (abs(offset), offset))
    return nearest, tuple(sorted(c for c, offset in offsets.items() if abs(offset - nearest) < _WORDS_DEG))


def _cylinders(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return say("cylinder {number}", number=numbers[0])
    return say("cylinders {these} and {last}", these=", ".join(map(str, numbers[:-1])), last=numbers[-1])


def _degrees(value: float) -> str:
    degrees = round(value, 1)
    if degrees == 1:
        return say("{degrees:g} degree", degrees=degrees)
    return say("{degrees:g} degrees", degrees=degrees)


def _by_rocking(engine: Engine, at: float, away: float) -> str:
    here, there = rocking_at(engine, at), rocking_at(engine, away)
    if here:
        one = here[0]
        if there:
            return say(
                "Move the crank a little to and fro: the valves of cylinder {one} rock (E{one} closes as "
                "I{one} opens). If those of cylinder {other} rock instead, turn one full turn on.",
                one=one,
                other=there[0],
            )
        return say(
            "Move the crank a little to and fro: the valves of cylinder {one} rock (E{one} closes as "
            "I{one} opens). If they stay still, turn one full turn on.",
            one=one,
        )
    if there:
        return say(
            "Move the crank a little to and fro: the valves of cylinder {there} stay still. If they "
            "rock, turn one full turn on.",
            there=there[0],
        )
    return ""


def _by_open_valves(engine: Engine, at: float, away: float) -> str:
    """The valve that is most clearly open here and closed a turn away, and the one the other way round."""
    here, there = closed_at(engine, at), closed_at(engine, away)
    held, free = _clearest(here, there), _clearest(there, here)
    parts = []
    if held is not None:
        parts.append(say("{held} is held open here, no play; a full turn away it is closed.", held=held))
    if free is not None:
        parts.append(say("{free} is closed here; a full turn away it is held open, no play.", free=free))
    return " ".join(parts)


def _clearest(now: dict[Valve, ValveState], then: dict[Valve, ValveState]) -> Valve | None:
    """The valve that is deepest open now and farthest from opening then; None when none is clear enough."""
    clear = {valve: round(min(-state.margin_deg, then[valve].margin_deg), 6) for valve, state in now.items()}
    best = max(clear, key=lambda valve: clear[valve])
    return best if clear[best] >= CLEAR_DEG else None


def _by_rotor(engine: Engine, at: float, away: float) -> str:
    """The rotor turns once in 720 degrees. Where all fire together (a single) there is nothing to tell apart."""
    angles = firing_angles(engine)
    if all(abs(_signed(a)) < _WORDS_DEG for a in angles.values()):
        return ""
    return say(
        "If there is a distributor, lift its cap: the rotor stands {rotor} here, {rotor2} a full turn away.",
        rotor=_rotor(engine, at),
        rotor2=_rotor(engine, away),
    )


def _rotor(engine: Engine, at: float) -> str:
    offset, firing = _nearest_firing(engine, at)
    if abs(offset) < _WORDS_DEG:
        return say("at the lead of {cylinders}", cylinders=_cylinders(firing))
    angles = firing_angles(engine)
    last = min(angles, key=lambda c: ((at - angles[c]) % CYCLE_DEG, c))
    coming = min(angles, key=lambda c: ((angles[c] - at) % CYCLE_DEG, c))
    since, until = (at - angles[last]) % CYCLE_DEG, (angles[coming] - at) % CYCLE_DEG
    if abs(since - until) < 2 * _WORDS_DEG:
        return say(
            "on its way from the lead of cylinder {last} to that of cylinder {coming}, halfway",
            last=last,
            coming=coming,
        )
    return say(
        "on its way from the lead of cylinder {last} to that of cylinder {coming}, nearer to {nearer}",
        last=last,
        coming=coming,
        nearer=last if since < until else coming,
    )


def _by_finger(engine: Engine, at: float) -> str:
    offset, cylinders = _nearest_firing(engine, at)
    cylinder = cylinders[0]
    if abs(offset) < _WORDS_DEG:
        return say(
            "Ignition off, the plug of cylinder {cylinder} out, a finger over the hole, turn with rotation: air "
            "pushes out while this mark comes up, and does not when it comes up a full turn away.",
            cylinder=cylinder,
        )
    if offset == TURN_DEG:
        return say(
            "Ignition off, the plug of cylinder {cylinder} out, a finger over the hole, turn with rotation: no "
            "air pushes out while this mark comes up; it does when it comes up a full turn away.",
            cylinder=cylinder,
        )
    if offset > 0:
        return say(
            "Ignition off, the plug of cylinder {cylinder} out, a finger over the hole, turn with rotation: air "
            "pushes out, then comes firing TDC, and {degrees} further this mark.",
            cylinder=cylinder,
            degrees=_degrees(offset),
        )
    return say(
        "Ignition off, the plug of cylinder {cylinder} out, a finger over the hole, turn with rotation: this "
        "mark, then firing TDC {degrees} further with air pushing out on the way to it.",
        cylinder=cylinder,
        degrees=_degrees(-offset),
    )
