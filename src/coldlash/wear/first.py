"""What two visits say without any model: found now against what was set last time, as intervals.

An interval minus an interval is an interval; nothing here is a probability. What a trend, a forecast or a
cause's likelihood needs, ``wear.trend`` and its neighbours bring.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coldlash.engine.spec import Engine, Valve
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

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


def first_answer(engine: Engine, visits: Sequence[VisitRecord], valve: Valve) -> FirstAnswer:
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
    return _judge(engine, valve, found, found_at, compared)


def first_answers(engine: Engine, visits: Sequence[VisitRecord]) -> tuple[FirstAnswer, ...]:
    """Every valve's first answer, in the engine's order."""
    return tuple(first_answer(engine, visits, valve) for valve in engine.valves)


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
    engine: Engine, valve: Valve, found: GapInterval | None, found_at: float | None, before: Baseline | None
) -> FirstAnswer:
    if found is None:
        verdict = f"{valve} has not been measured yet; measure it before it is touched."
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
    verdict = _sentence(engine, valve, found, before, found_at, change, standing, side, direction, do_not_run)
    return FirstAnswer(valve, found, found_at, before, change, standing, side, direction, do_not_run, verdict)


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


def _mm(value: float) -> str:
    return f"{value:.3f}".removesuffix("0")


def say_gap(gap: GapInterval) -> str:
    """An interval in words: "0.10 to 0.15 mm", "under 0.05 mm, no blade goes"."""
    if gap.lo == gap.hi:
        return f"drag on {_mm(gap.lo)} mm"
    if math.isinf(gap.lo):
        return f"under {_mm(gap.hi)} mm, no blade goes"
    if math.isinf(gap.hi):
        return f"{_mm(gap.lo)} mm or more, the thickest blade goes"
    return f"{_mm(gap.lo)} to {_mm(gap.hi)} mm"


def _say_change(change: GapInterval, direction: Direction) -> str:
    ends = sorted((abs(change.lo), abs(change.hi)))
    if direction == "no clear change":
        return "no clear change: the two readings overlap"
    if math.isinf(ends[1]):
        return f"{_mm(ends[0])} mm {direction} or more"
    return f"{_mm(ends[0])} to {_mm(ends[1])} mm {direction}"


_CAN_TIGHTEN = "a valve sinking into its seat, a stretching valve, or the head settling"
_CAN_LOOSEN = (
    "wear of rocker face, valve tip, pushrod ends, lifter foot or cam base circle, or a head or rocker stand "
    "that lifts"
)


def _sentence(
    engine: Engine,
    valve: Valve,
    found: GapInterval,
    before: Baseline | None,
    found_at: float | None,
    change: GapInterval | None,
    standing: Standing,
    side: Literal["tight", "loose", None],
    direction: Direction,
    do_not_run: bool,
) -> str:
    parts = [f"{valve} found {say_gap(found)}"]
    if before is None or change is None or found_at is None:
        parts[0] += ", with nothing earlier to compare it with"
    else:
        was = f"{_mm(before.gap.lo)} to {_mm(before.gap.hi)} mm"
        if before.gap.one_sided:
            was = say_gap(before.gap)
        over = f"{max(0.0, found_at - before.distance_km):,.0f} km"
        parts[0] += f"; {before.source} {over} before: {was}; {_say_change(change, direction)}"
    limits = engine.gap(valve)
    if standing == "inside":
        parts.append("Inside its limits")
    elif side is not None:
        limit = limits.tight if side == "tight" else limits.loose
        sure = "Outside" if standing == "outside" else "Perhaps outside"
        parts.append(f"{sure} its limit on the {side} side, {_mm(limit or 0.0)} mm")
    else:
        parts.append("No limits are known for it")
    if direction == "tighter":
        parts.append(f"By the linkage a gap tightens through {_CAN_TIGHTEN}; gaps alone can't tell which")
    elif direction == "looser":
        parts.append(f"By the linkage a gap loosens through {_CAN_LOOSEN}; gaps alone can't tell which")
    if do_not_run:
        parts.append("Do not run this engine; have a qualified engine builder look at it (common practice)")
    return ". ".join(parts) + "."
