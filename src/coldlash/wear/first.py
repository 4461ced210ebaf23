"""What two visits say without any model: found now against what was set last time, as intervals.

An interval minus an interval is an interval; nothing here is a probability. What a trend, a forecast or a
cause's likelihood needs, ``wear.trend`` and its neighbours bring.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from coldlash.engine.spec import Engine, Valve
from coldlash.language import mark, say, table
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.wording import MM_KM, Units

HAND_MM = 0.02
"""How far a gap may lie from the blade it was set on when it was not read again. Judgement, no source."""
FEEL_MM = 0.015
"""Half width given to "drag on a blade": one sd of a feeling hand (judgement, no source)."""
SUDDEN_MM = 0.10
"""Tightening within one interval from which an engine is not run (common practice)."""

Standing = Literal["inside", "outside", "perhaps outside", "not known"]
Direction = Literal["tighter", "looser", "no clear change"]


@dataclass(frozen=True, slots=True)
class Baseline:
    """What a gap was when the engine was last closed up, mm, and where that comes from."""

    gap: GapInterval
    source: Literal["read after setting", "blade it was set on", "found and left alone"]
    distance_km: float


@dataclass(frozen=True, slots=True)
class FirstAnswer:
    """One valve at the last visit that measured it. Distances in km, gaps in mm, as read (no correction)."""

    valve: Valve
    found: GapInterval | None
    found_at_km: float | None
    before: Baseline | None
    change: GapInterval | None
    standing: Standing
    side: Literal["tight", "loose", None]
    direction: Direction
    do_not_run: bool
    verdict: str

    @property
    def since_km(self) -> float | None:
        """Distance between the two readings compared."""
        if self.before is None or self.found_at_km is None:
            return None
        return self.found_at_km - self.before.distance_km


def first_answer(
    engine: Engine, visits: Sequence[VisitRecord], valve: Valve, units: Units = MM_KM
) -> FirstAnswer:
    """Compare this valve's last found interval with what it was left at before.

    ``visits`` in the order they happened. An engine without readings gets an answer that says so.
    """
    before: Baseline | None = None
    found: GapInterval | None = None
    found_at: float | None = None
    compared: Baseline | None = None
    for visit in visits:
        record = visit.valves.get(valve)
        if record is None:
            continue
        if record.restart_before:
            before = None
        if record.found is not None:
            found, found_at, compared = record.found, visit.distance_km, before
        before = _left_behind(record, visit.distance_km) or before
    return _judge(engine, valve, found, found_at, compared, units)


def first_answers(
    engine: Engine, visits: Sequence[VisitRecord], units: Units = MM_KM
) -> tuple[FirstAnswer, ...]:
    """Every valve's first answer, in the engine's order, its sentence in ``units``."""
    return tuple(first_answer(engine, visits, valve, units) for valve in engine.valves)


def _left_behind(record: ValveRecord, distance_km: float) -> Baseline | None:
    if record.left is not None:
        return Baseline(_spread(record.left), "read after setting", distance_km)
    if record.adjusted and record.set_to is not None:
        low, high = record.set_to - HAND_MM, record.set_to + HAND_MM
        return Baseline(GapInterval(low, high), "blade it was set on", distance_km)
    if record.found is not None and not record.restart:
        return Baseline(_spread(record.found), "found and left alone", distance_km)
    return None


def _spread(gap: GapInterval) -> GapInterval:
    if gap.lo == gap.hi:
        return GapInterval(gap.lo - FEEL_MM, gap.hi + FEEL_MM)
    return gap


def _judge(
    engine: Engine,
    valve: Valve,
    found: GapInterval | None,
    found_at: float | None,
    before: Baseline | None,
    units: Units,
) -> FirstAnswer:
    if found is None:
        verdict = say("{valve} has not been measured yet; measure it before it is touched.", valve=valve)
        return FirstAnswer(
            valve, None, None, before, None, "not known", None, "no clear change", False, verdict
        )
    now = _spread(found)
    change = None
    if before is not None:
        change = GapInterval(now.lo - before.gap.hi, now.hi - before.gap.lo)
    standing, side = _standing(engine, valve, now)
    direction = _direction(change)
    none_goes_again = math.isinf(now.lo) and now.lo < 0 and before is not None and before.gap.lo > 0
    sudden = change is not None and change.hi <= -SUDDEN_MM
    do_not_run = none_goes_again or sudden
    answer = FirstAnswer(valve, found, found_at, before, change, standing, side, direction, do_not_run, "")
    return replace(answer, verdict=_sentence(engine, answer, units))


def _standing(
    engine: Engine, valve: Valve, now: GapInterval
) -> tuple[Standing, Literal["tight", "loose", None]]:
    limits = engine.gap(valve)
    if limits.tight is not None and now.hi <= limits.tight:
        return "outside", "tight"
    if limits.loose is not None and now.lo >= limits.loose:
        return "outside", "loose"
    if limits.tight is not None and now.lo < limits.tight:
        return "perhaps outside", "tight"
    if limits.loose is not None and now.hi > limits.loose:
        return "perhaps outside", "loose"
    if limits.tight is None and limits.loose is None:
        return "not known", None
    return "inside", None


def _direction(change: GapInterval | None) -> Direction:
    if change is not None and change.hi <= 0:
        return "tighter"
    if change is not None and change.lo >= 0:
        return "looser"
    return "no clear change"


def say_gap(gap: GapInterval, units: Units = MM_KM) -> str:
    """An interval in words: "0.10 to 0.15 mm", "under 0.05 mm, no blade goes"."""
    low, high, unit = units.blade(gap.lo), units.blade(gap.hi), units.gap
    if gap.lo == gap.hi:
        return say("drag on {gap} {unit}", gap=low, unit=unit)
    if math.isinf(gap.lo):
        return say("under {gap} {unit}, no blade goes", gap=high, unit=unit)
    if math.isinf(gap.hi):
        return say("{gap} {unit} or more, the thickest blade goes", gap=low, unit=unit)
    return say("{low} to {high} {unit}", low=low, high=high, unit=unit)


def _say_change(change: GapInterval, direction: Direction, units: Units) -> str:
    if direction == "no clear change":
        return say("no clear change: the two readings overlap")
    near, far = sorted((abs(change.lo), abs(change.hi)))
    parts = {"low": units.blade(near), "unit": units.gap}
    if math.isinf(far):
        if direction == "tighter":
            return say("{low} {unit} tighter or more", **parts)
        return say("{low} {unit} looser or more", **parts)
    if direction == "tighter":
        return say("{low} to {high} {unit} tighter", **parts, high=units.blade(far))
    return say("{low} to {high} {unit} looser", **parts, high=units.blade(far))


_SOURCE = {
    "read after setting": mark("read after setting {distance} before: {gap}"),
    "blade it was set on": mark("blade it was set on {distance} before: {gap}"),
    "found and left alone": mark("found and left alone {distance} before: {gap}"),
}


def _sentence(engine: Engine, answer: FirstAnswer, units: Units) -> str:
    found, before, change = answer.found, answer.before, answer.change
    if found is None:
        return ""
    if before is None or change is None or answer.found_at_km is None:
        parts = [
            say(
                "{valve} found {gap}, with nothing earlier to compare it with.",
                valve=answer.valve,
                gap=say_gap(found, units),
            )
        ]
    else:
        was = table(
            _SOURCE[before.source],
            distance=units.km(max(0.0, answer.found_at_km - before.distance_km)),
            gap=_was(before.gap, units),
        )
        parts = [
            say(
                "{valve} found {gap}; {before}; {change}.",
                valve=answer.valve,
                gap=say_gap(found, units),
                before=was,
                change=_say_change(change, answer.direction, units),
            )
        ]
    limits = engine.gap(answer.valve)
    if answer.standing == "inside":
        parts.append(say("Inside its limits."))
    elif answer.side is not None:
        limit = (limits.tight if answer.side == "tight" else limits.loose) or 0.0
        parts.append(_outside(answer, f"{units.blade(limit)} {units.gap}"))
    else:
        parts.append(say("No limits are known for it."))
    if answer.direction == "tighter":
        parts.append(
            say(
                "By the linkage a gap tightens through a valve sinking into its seat, a stretching valve, or the head "
                "settling; gaps alone can't tell which."
            )
        )
    elif answer.direction == "looser":
        parts.append(
            say(
                "By the linkage a gap loosens through wear of rocker face, valve tip, pushrod ends, lifter foot or cam "
                "base circle, or a head or rocker stand that lifts; gaps alone can't tell which."
            )
        )
    if answer.do_not_run:
        parts.append(
            say("Do not run this engine; have a qualified engine builder look at it (common practice).")
        )
    return " ".join(parts)


def _was(gap: GapInterval, units: Units) -> str:
    if gap.one_sided:
        return say_gap(gap, units)
    return say("{low} to {high} {unit}", low=units.blade(gap.lo), high=units.blade(gap.hi), unit=units.gap)


def _outside(answer: FirstAnswer, limit: str) -> str:
    sure, tight = answer.standing == "outside", answer.side == "tight"
    if sure and tight:
        return say("Outside its limit on the tight side, {limit}.", limit=limit)
    if sure:
        return say("Outside its limit on the loose side, {limit}.", limit=limit)
    if tight:
        return say("Perhaps outside its limit on the tight side, {limit}.", limit=limit)
    return say("Perhaps outside its limit on the loose side, {limit}.", limit=limit)
