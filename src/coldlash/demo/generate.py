"""Fifteen to twenty years of invented visits, from a seed, with stories in them.

How a year goes here: each valve has a true gap at 20 C that drifts by its own small rate; a visit finds that
gap through this engine's blades, a feeling hand (sd 0.012 mm) and an offset of the whole session (sd 0.008 mm);
a gap read too far from the cold gap is set again, a little above the blade by the setter's habit. Rates,
spreads, names, days and faults are invented; nothing here is a source for anything.

Stories: the van's intake lobe 2+4 and its lifters wear until the camshaft is replaced; after that rebuild one
head settles; in the last years its exhaust valve 3 begins to tighten; its odometer rolls over on the way. The tender
has one misread. The pump has none, which is a story too.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from importlib.resources import files

import numpy as np

from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Engine, Valve

SEED = 1944
SESSION_SD_MM, FEEL_SD_MM, SETTING_SD_MM = 0.008, 0.012, 0.010
LEFT_ALONE_UM = (30, 50)
"""A reading no further below and above the cold gap than this is left alone."""
HABIT_MM = {"Oona": 0.006, "Tadek": 0.015, "Mirela": 0.002}


@dataclass(frozen=True, slots=True)
class DemoReading:
    """One valve at one visit, micrometres: found go / no-go, and the blade it was set on (None = left alone)."""

    valve: Valve
    go_um: int
    nogo_um: int | None
    set_um: int | None = None
    left_go_um: int | None = None
    left_nogo_um: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class DemoVisit:
    """One visit; ``hours`` is the meter of an engine counted in hours."""

    day: date
    distance_km: float
    hours: float | None
    temp_c: float
    by: str
    readings: tuple[DemoReading, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class DemoWork:
    """Work done at the visit of that number (from 0); ``cylinders`` empty = all."""

    visit: int
    part: str
    kind: str
    cylinders: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class DemoEngine:
    """One engine of the demo: its file's text, its vehicle, its blades, its visits and the work on it.

    ``digits`` the vehicle's meter shows; it showed ``meter_start`` when the engine had run nothing.
    """

    key: str
    vehicle: str
    meter: str
    digits: int
    meter_start: float
    text: str
    engine: Engine
    blades_um: tuple[int, ...]
    visits: tuple[DemoVisit, ...]
    work: tuple[DemoWork, ...] = ()


@dataclass(slots=True)
class _Story:
    """What happens to some valves between two visits: mm per 1000 km from one visit up to another."""

    valves: tuple[str, ...]
    first: int
    last: int
    mm_per_1000km: float


@dataclass(slots=True)
class _Plan:
    key: str
    vehicle: str
    meter: str
    digits: int
    meter_start: float
    blades_um: tuple[int, ...]
    years: int
    km_per_year: float
    stories: list[_Story] = field(default_factory=list)
    rebuilt_after: int | None = None
    misread: tuple[int, str] | None = None


_FINE = (50, 80, 100, 130, 150, 180, 200, 230, 250, 300, 350, 400)
_METRIC = tuple(range(50, 701, 50))

PLANS = (
    _Plan(
        "van", "Delivery van", "km", 5, 61_240.0, _FINE, 18, 4300.0,
        [
            _Story(("I2", "I4"), 4, 7, 0.011),
            _Story(("I1", "E1", "I2", "E2"), 8, 8, -0.055),
            _Story(("E3",), 14, 99, -0.013),
        ],
        rebuilt_after=7,
    ),
    _Plan("pump", "Harbour pump", "h", 5, 0.0, _METRIC, 15, 2600.0),
    _Plan("tender", "Fire tender", "km", 6, 0.0, _METRIC, 20, 1500.0, misread=(12, "I4")),
)  # fmt: skip


def engine_text(key: str) -> str:
    """The engine file of one demo engine."""
    return (files("coldlash.demo") / "engines" / f"{key}.toml").read_text(encoding="utf-8")


def generate(until: date, seed: int = SEED) -> tuple[DemoEngine, ...]:
    """The three engines with their visits, the last one some weeks or months before ``until``."""
    children = np.random.SeedSequence(seed).spawn(len(PLANS))
    return tuple(
        _one(plan, until, np.random.default_rng(child)) for plan, child in zip(PLANS, children, strict=True)
    )


def _one(plan: _Plan, until: date, rng: np.random.Generator) -> DemoEngine:
    text = engine_text(plan.key)
    engine = read_engine(text, f"{plan.key}.toml")
    days, distances = _calendar(plan, engine, until, rng)
    drift = {v: rng.normal(-0.0015 if v.kind == "I" else -0.0030, 0.0008) for v in engine.valves}
    gap = {v: engine.gap(v).cold + rng.normal(0.01, 0.01) for v in engine.valves}
    visits = []
    for number, (day, km) in enumerate(zip(days, distances, strict=True)):
        driven = 0.0 if number == 0 else (km - distances[number - 1]) / 1000
        for valve in engine.valves:
            rate = drift[valve] + sum(
                s.mm_per_1000km
                for s in plan.stories
                if str(valve) in s.valves and s.first <= number <= s.last
            )
            gap[valve] += rate * driven + rng.normal(0, 0.003) * float(np.sqrt(driven))
        visits.append(_visit(plan, engine, number, day, km, gap, rng))
    return DemoEngine(
        plan.key,
        plan.vehicle,
        plan.meter,
        plan.digits,
        plan.meter_start,
        text,
        engine,
        plan.blades_um,
        tuple(visits),
        () if plan.rebuilt_after is None else _rebuild(plan.rebuilt_after, engine),
    )


def _rebuild(visit: int, engine: Engine) -> tuple[DemoWork, ...]:
    """A new camshaft with its lifters; the heads had to come off for it."""
    heads = tuple(DemoWork(visit, "head", "refitted", (head[0],)) for head in engine.heads)
    return (DemoWork(visit, "camshaft", "replaced"), DemoWork(visit, "lifter", "replaced"), *heads)


def _calendar(
    plan: _Plan, engine: Engine, until: date, rng: np.random.Generator
) -> tuple[list[date], list[float]]:
    days, distances = [], []
    day = until - timedelta(days=round(plan.years * 365.25) + 40)
    km = 0.0
    last = until - timedelta(days=240 if plan.key == "van" else 60)
    while day <= last:
        days.append(day)
        distances.append(round(km, 1))
        rebuilt = plan.rebuilt_after is not None and len(days) == plan.rebuilt_after + 1
        first_km = engine.service.first_km or 500.0
        step_days = round(365 * first_km / plan.km_per_year) if rebuilt else round(rng.normal(365, 25))
        km += first_km if rebuilt else step_days / 365.25 * plan.km_per_year * rng.uniform(0.8, 1.2)
        day += timedelta(days=step_days)
    return days, distances


def _visit(
    plan: _Plan,
    engine: Engine,
    number: int,
    day: date,
    km: float,
    gap: dict[Valve, float],
    rng: np.random.Generator,
) -> DemoVisit:
    by = str(rng.choice(list(HABIT_MM)))
    offset = rng.normal(0, SESSION_SD_MM)
    rebuilt = plan.rebuilt_after == number
    readings = []
    for valve in engine.valves:
        seen = gap[valve] + offset + rng.normal(0, FEEL_SD_MM)
        note = ""
        if plan.misread == (number, str(valve)):
            seen += 0.11
        go, nogo = _between(plan.blades_um, seen)
        cold_um = round(engine.gap(valve).cold * 1000)
        low, high = cold_um - LEFT_ALONE_UM[0], cold_um + LEFT_ALONE_UM[1]
        good = go >= low and nogo is not None and nogo <= high
        set_um = left_go = left_nogo = None
        if rebuilt or not good or number == 0:
            set_um = cold_um
            gap[valve] = engine.gap(valve).cold + HABIT_MM[by] + rng.normal(0, SETTING_SD_MM) - offset
            if rng.random() < 0.7:
                left_go, left_nogo = _between(plan.blades_um, gap[valve] + offset + rng.normal(0, FEEL_SD_MM))
        readings.append(DemoReading(valve, go, nogo, set_um, left_go, left_nogo, note))
    words = ""
    if rebuilt:
        words = "Camshaft and lifters replaced, both heads off and refitted; all gaps set afresh."
    elif plan.misread is not None and plan.misread[0] == number:
        words = "Poor light in the shed, in a hurry."
    hours = round(km / engine.service.km_per_h, 1) if plan.meter == "h" else None
    temp = round(
        float(np.clip(rng.normal(14 + 6 * np.sin((day.timetuple().tm_yday - 100) / 58), 3), 3, 28)), 1
    )
    return DemoVisit(day, km, hours, temp, by, tuple(readings), words)


def _between(blades_um: tuple[int, ...], gap_mm: float) -> tuple[int, int | None]:
    below = [um for um in blades_um if um / 1000 <= gap_mm]
    above = [um for um in blades_um if um / 1000 > gap_mm]
    return (below[-1] if below else 0), (above[0] if above else None)
