"""The guided visit: what to do next at the engine, from the plan of stops and what has been written so far.

Found comes before the screw is touched, then set, then left. The guide holds no state of its own: it is worked
out anew from the visit in the book, so leaving and coming back lands on the same spot.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from coldlash.bench.blades import STANDARD_SETS, BladeSet, Unit
from coldlash.bench.checklists import Checklist, closing_up, getting_ready
from coldlash.bench.screw import ScrewTurn, screw_turn
from coldlash.desk.bench import PlannedStops, StopWords, plan_for
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say
from coldlash.logbook.records import Reading, Step, Visit
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings
from coldlash.wear.trend import Expectation, expect_next, fit

QUESTION = mark(
    "{valve} was expected between {low} and {high} and reads: {reading}. Before the screw is touched: is "
    "it the right "
    "valve, is the crank at the right stop, is the blade clean? Measure once more."
)
"""What is asked when a found reading lies wholly outside the 98 % range."""

Ask = Literal["found", "set", "left"]


@dataclass(frozen=True, slots=True)
class ValveTask:
    """One valve of the visit: what is written, what is expected, what is asked next (None = nothing more)."""

    valve: Valve
    found: Reading | None
    set: Reading | None
    left: Reading | None
    expected: Expectation | None
    last: str
    ask: Ask | None

    @property
    def done(self) -> bool:
        """Nothing more is asked of this valve."""
        return self.ask is None


@dataclass(frozen=True, slots=True)
class GuidedStop:
    """One stop with its words and its valves."""

    number: int
    words: StopWords
    tasks: tuple[ValveTask, ...]


@dataclass(frozen=True, slots=True)
class Guide:
    """A visit as it is led through: ready, stops, close up."""

    visit: Visit
    engine: Engine
    planned: PlannedStops
    ready: Checklist
    stops: tuple[GuidedStop, ...]
    out_of_plan: tuple[ValveTask, ...]
    closing: Checklist
    blades: BladeSet
    cold_um: Mapping[Valve, int]

    @property
    def tasks(self) -> tuple[ValveTask, ...]:
        """Every valve's task in the order it is visited."""
        return tuple(task for stop in self.stops for task in stop.tasks) + self.out_of_plan

    def task(self, valve: Valve) -> ValveTask:
        """One valve's task. Raises InputError when the engine has no such valve."""
        for task in self.tasks:
            if task.valve == valve:
                return task
        raise InputError(say("{name} has no valve {valve}", name=self.engine.name, valve=valve))

    @property
    def next(self) -> ValveTask | None:
        """The first valve with something still asked; None when all are done."""
        return next((task for task in self.tasks if task.ask is not None), None)

    def screw(self, reading: Reading, valve: Valve) -> ScrewTurn | None:
        """How far to turn the screw from the middle of what was found to the cold gap.

        None where the reading is open at an end, or the engine file states no pitch.
        """
        bounds = bounds_of(reading)
        if bounds is None or bounds.one_sided or self.engine.linkage.screw_pitch_mm is None:
            return None
        middle = (bounds.lo + bounds.hi) / 2
        return screw_turn(self.engine.linkage, middle, self.cold_um[valve] / 1000)


def bounds_of(reading: Reading) -> GapInterval | None:
    """A go / no-go reading as an interval in mm; None when nothing was measured."""
    if reading.go_um is None:
        return None
    if reading.feel == "drag":
        return GapInterval(reading.go_um / 1000, reading.go_um / 1000)
    lo = reading.go_um / 1000 if reading.go_um else -math.inf
    return GapInterval(lo, reading.nogo_um / 1000 if reading.nogo_um is not None else math.inf)


def plan_text(by: str, turn: str, marks: Sequence[float] | None, margin_deg: float) -> str:
    """How the stops of a visit were chosen, as the book keeps it."""
    return json.dumps({"by": by, "turn": turn, "marks": marks, "margin_deg": margin_deg})


def planned_stops(engine: Engine, plan: str) -> PlannedStops:
    """The stops of a visit from what the book kept; an empty text = the defaults."""
    try:
        chosen = json.loads(plan) if plan else {}
        margin = float(chosen.get("margin_deg", 30.0))
    except (ValueError, TypeError, AttributeError):
        raise InputError(say("plan: {plan!r} is not a plan of stops", plan=plan[:80])) from None
    return plan_for(
        engine,
        chosen.get("by", "fewest"),
        chosen.get("turn", "with"),
        chosen.get("marks"),
        margin,
    )


def place_text(step: str, valve: Valve | None = None) -> str:
    """Where the owner is in a visit, as the book keeps it."""
    return json.dumps({"step": step, "valve": None if valve is None else str(valve)})


def read_place(place: str) -> tuple[str, Valve | None]:
    """Where the owner is: (step, valve); ("ready", None) at the start."""
    if not place:
        return "ready", None
    kept = json.loads(place)
    return str(kept.get("step", "ready")), Valve.parse(kept["valve"]) if kept.get("valve") else None


def blade_set_of(visit: Visit, unit: Unit = "mm", name: str = "") -> BladeSet:
    """The blades named in the visit, as one set (stacks already laid out in it)."""
    if not visit.blades_um:
        return STANDARD_SETS["metric" if unit == "mm" else "inch"]
    return BladeSet(name or say("this visit's"), unit, visit.blades_um, 1)


def expected_ranges(
    engine: Engine,
    earlier: Sequence[VisitRecord],
    distance_km: float,
    temp_c: float | None,
    coefficient: Coefficient | None,
    settings: TrendSettings = DEFAULTS,
) -> dict[Valve, Expectation]:
    """What each valve should read, from every earlier visit; empty when there is none to learn from."""
    if not earlier:
        return {}
    trend = fit(engine, earlier, settings, coefficient)
    return expect_next(trend, max(0.0, distance_km - earlier[-1].distance_km), temp_c)


def guide(
    visit: Visit,
    engine: Engine,
    earlier: Sequence[VisitRecord],
    expected: Mapping[Valve, Expectation],
    unit: Unit = "mm",
) -> Guide:
    """Work out the guide of a visit. ``earlier``: the closed visits before it, in the order they happened."""
    planned = planned_stops(engine, visit.plan)
    seen: set[Valve] = set()

    def task(valve: Valve) -> ValveTask:
        seen.add(valve)
        found, was_set, left = (visit.reading(valve, step) for step in _STEPS)
        ask: Ask | None = None
        if found is None:
            ask = "found"
        elif was_set is not None and left is None:
            ask = "left"
        return ValveTask(valve, found, was_set, left, expected.get(valve), last_words(valve, earlier), ask)

    stops = tuple(
        GuidedStop(number, words, tuple(task(entry.valve) for entry in words.stop.valves))
        for number, words in enumerate(planned.words(), 1)
    )
    rest = tuple(task(valve) for valve in engine.valves if valve not in seen)
    cold = {valve: round(engine.gap(valve).cold * 1000) for valve in engine.valves}
    blades = blade_set_of(visit, unit)
    return Guide(visit, engine, planned, getting_ready(engine), stops, rest, closing_up(engine), blades, cold)


_STEPS: tuple[Step, Step, Step] = ("found", "set", "left")


def last_words(valve: Valve, earlier: Sequence[VisitRecord]) -> str:
    """What was done to this valve last, in words."""
    for visit in reversed(earlier):
        record = visit.valves.get(valve)
        if record is None or (record.found is None and not record.adjusted):
            continue
        if record.adjusted and record.set_to is not None:
            return say("set on {set_to:.2f} mm on {day}", set_to=record.set_to, day=visit.day)
        return say("found good and left alone on {day}", day=visit.day)
    return say("never measured before")
