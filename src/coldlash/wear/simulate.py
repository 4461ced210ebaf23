"""Engines with a known truth, drawn from the very model the trend assumes, or bent where a study wants it.

For calibration studies, tests and the demo. Everything invented, every draw from the generator given. Units: mm,
1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear.interval import Array
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import DEFAULTS, KINDS, REFERENCE_C, Coefficient, TrendSettings

COARSE = tuple(round(0.05 * i, 2) for i in range(1, 9))
"""Blades 0.05 to 0.40 by 0.05 mm."""
FINE = tuple(round(0.02 + 0.01 * i, 2) for i in range(39))
"""Blades 0.02 to 0.40 by 0.01 mm (stacks of two)."""
FIRST_DAY = date(2001, 4, 7)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens just after visit ``after`` (from 0), with ``loading`` by valve.

    ``jump``: gap change, mm per unit loading; ``slope``: drift change, mm per 1000 km per unit loading.
    """

    after: int
    loading: dict[Valve, float]
    jump: float = 0.0
    slope: float = 0.0


@dataclass(frozen=True, slots=True)
class Plan:
    """How an engine is kept. ``visits`` services ``every_km`` apart; readings by ``ladder_mm``.

    A valve is set when the found interval excludes the cold gap, or every time where ``set_always``.
    ``read_left``: how often a set valve is read again after the lock-nut. ``every_km`` and ``days`` between
    services vary by +-``uneven`` of themselves. ``temps_c``: engine temperature is drawn evenly from this range.
    """

    visits: int = 40
    every_km: float = 5000.0
    uneven: float = 0.2
    ladder_mm: tuple[float, ...] = COARSE
    set_always: bool = False
    read_left: float = 0.5
    temps_c: tuple[float, float] = (REFERENCE_C, REFERENCE_C)
    days: float = 300.0
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Simulated:
    """An engine's visits and what was true: per visit ``before``, ``after`` (T, V) gaps at 20 C in mm, ``drift``
    (T, V) mm per 1000 km in force when leaving that visit, ``offset`` (T,), ``misread`` (T, V) of the found
    readings; and the hand's ``bias``, mm.
    """

    engine: Engine
    visits: tuple[VisitRecord, ...]
    before: Array
    after: Array
    drift: Array
    offset: Array
    misread: np.ndarray
    bias: float
    events: tuple[Event, ...] = field(default=())


def simulate(
    engine: Engine,
    rng: np.random.Generator,
    plan: Plan = Plan(),
    truth: TrendSettings = DEFAULTS,
    events: Sequence[Event] = (),
    coefficient: Coefficient | None = None,
) -> Simulated:
    """One engine's book. ``truth`` holds the figures it really follows.

    ``coefficient``: mm/K by kind, the engine's own is drawn about its mean. Raises InputError for a plan without
    visits or blades.
    """
    if plan.visits < 1 or not plan.ladder_mm:
        raise InputError(
            say(
                "a plan of {visits} visits with {count} blades; give at least 1 of each",
                visits=plan.visits,
                count=len(plan.ladder_mm),
            )
        )
    valves = engine.valves
    V, T = len(valves), plan.visits
    kind = np.array([KINDS.index(v.kind) for v in valves])
    cold = np.array([engine.gap(v).cold for v in valves])
    pooled = rng.normal(
        [truth.drift_mean_intake, truth.drift_mean_exhaust], [truth.drift_sd_intake, truth.drift_sd_exhaust]
    )
    spread = np.array([truth.drift_spread_intake, truth.drift_spread_exhaust])
    drift = rng.normal(pooled[kind], spread[kind])
    gap = rng.normal(cold, truth.start)
    bias = float(rng.normal(0.0, truth.hand))
    slope = np.zeros(2)
    if coefficient is not None:
        slope = rng.normal([coefficient[k][0] for k in KINDS], [coefficient[k][1] for k in KINDS])
    ladder = np.array(plan.ladder_mm)
    before, after, drifts = np.zeros((T, V)), np.zeros((T, V)), np.zeros((T, V))
    offsets, misread = np.zeros(T), np.zeros((T, V), bool)
    visits = []
    km, day = 0.0, FIRST_DAY
    for t in range(T):
        if t:
            D = plan.every_km / 1000.0 * (1.0 + plan.uneven * rng.uniform(-1.0, 1.0))
            for event in events:
                if event.after == t - 1:
                    load = np.array([event.loading.get(v, 0.0) for v in valves])
                    gap, drift = gap + event.jump * load, drift + event.slope * load
            drifts[t - 1] = drift
            gap = gap + drift * D + truth.wander * math.sqrt(D) * rng.normal(size=V)
            km += D * 1000.0
            day += timedelta(days=max(1.0, plan.days * (1.0 + plan.uneven * rng.uniform(-1.0, 1.0))))
        before[t] = gap
        o = offsets[t] = rng.normal(0.0, truth.offset)
        temp = float(rng.uniform(*plan.temps_c)) if plan.temps_c[0] < plan.temps_c[1] else plan.temps_c[0]
        shift = o + slope[kind] * (temp - REFERENCE_C)
        misread[t] = rng.random(V) < truth.misread
        found = [_blades(gap[i] + shift[i], ladder, truth.feel, misread[t, i], rng) for i in range(V)]
        records = {}
        for i, valve in enumerate(valves):
            fits = found[i].lo <= cold[i] <= found[i].hi and not plan.set_always
            left = None
            if not fits:
                gap[i] = cold[i] + bias - shift[i] + rng.normal(0.0, truth.setting)
                if rng.random() < plan.read_left:
                    wrong = bool(rng.random() < truth.misread)
                    left = _blades(gap[i] + shift[i], ladder, truth.feel, wrong, rng)
            records[valve] = ValveRecord(found[i], not fits, None if fits else float(cold[i]), left)
        after[t] = gap
        visits.append(VisitRecord(day, km, records, temp, plan.by, plan.ladder_mm))
    drifts[T - 1] = drift
    return Simulated(engine, tuple(visits), before, after, drifts, offsets, misread, bias, tuple(events))


def _blades(true: float, ladder: Array, feel: float, wrong: bool, rng: np.random.Generator) -> GapInterval:
    """One reading: the gap as this hand feels it, between the blade that goes and the one that does not."""
    felt = true + rng.normal(0.0, feel)
    k = int(rng.integers(0, len(ladder) + 1)) if wrong else int(np.searchsorted(ladder, felt, side="right"))
    lo = -math.inf if k == 0 else float(ladder[k - 1])
    hi = math.inf if k == len(ladder) else float(ladder[k])
    return GapInterval(lo, hi)
