"""Books into arrays: the visits of one or many engines, padded to one shape, with what had to be assumed said.

Distances become 1000 km since the visit before; a distance that goes backwards counts as 0 km. Visits are taken
in order of their day (those of one day in the order given).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import plural, say
from coldlash.wear.ep import Readings
from coldlash.wear.interval import Array
from coldlash.wear.kalman import Layout, Step
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import REFERENCE_C, Coefficient
from coldlash.wear.wording import MM_KM, Units

UNKNOWN_LADDER = tuple(round(0.05 * i, 2) for i in range(1, 9))
"""Blades assumed, mm, where a visit does not say which were at hand (invented: 0.05 to 0.40 by 0.05)."""
MOST_HANDS = 4
"""Hands told apart in one book; the rarest share the last place."""


@dataclass(frozen=True, slots=True)
class Book:
    """One engine's visits as arrays over T visits and V valves; see ``kalman.Step`` for the units.

    ``km`` (T,) is the distance as written, ``counted_km`` (T,) as counted. ``hands`` are the names of who set.
    ``restart`` (T, V): a part was replaced after the found reading; ``renewed`` (T, V): since the visit before.
    """

    engine: Engine
    visits: tuple[VisitRecord, ...]
    km: Array
    counted_km: Array
    dist: Array
    temp: Array
    temp_known: np.ndarray
    found: tuple[Array, Array, Array, np.ndarray]
    left: tuple[Array, Array, Array, np.ndarray]
    restart: np.ndarray
    renewed: np.ndarray
    adjusted: np.ndarray
    target: Array
    cold: Array
    hand: np.ndarray
    hands: tuple[str, ...]
    notes: tuple[str, ...]


def read_book(engine: Engine, visits: Sequence[VisitRecord], coefficient: Coefficient | None) -> Book:
    """Check one engine's visits and lay them out.

    Raises InputError for a valve the engine has not, a distance, temperature or blade that is no number, or an
    interval upside down.
    """
    ordered = tuple(sorted(visits, key=lambda v: v.day))
    valves = engine.valves
    T, V = len(ordered), len(valves)
    index = {valve: i for i, valve in enumerate(valves)}
    found, left = _empty(T, V), _empty(T, V)
    restart, renewed, adjusted = (np.zeros((T, V), bool) for _ in range(3))
    cold = np.array([engine.gap(v).cold for v in valves])
    target = np.tile(cold, (T, 1))
    hands = _hands(ordered)
    for t, visit in enumerate(ordered):
        _check_visit(engine, visit)
        for valve, record in visit.valves.items():
            if valve not in index:
                have = ", ".join(map(str, valves))
                raise InputError(
                    say(
                        "the visit of {day} has valve {valve}; {name} has {have}",
                        day=visit.day,
                        valve=valve,
                        name=engine.name,
                        have=have,
                    )
                )
            i = index[valve]
            _put(found, t, i, record.found, visit, valve, "found")
            _put(left, t, i, record.left, visit, valve, "left")
            restart[t, i], adjusted[t, i] = record.restart, record.adjusted
            renewed[t, i] = record.restart_before
            if record.adjusted and record.set_to is not None:
                target[t, i] = record.set_to
    km = np.array([v.distance_km for v in ordered], dtype=float)
    dist, _ = _distances(km)
    known = np.array([v.engine_temp_c is not None for v in ordered], dtype=bool)
    temp = (
        np.array([REFERENCE_C if v.engine_temp_c is None else v.engine_temp_c for v in ordered]) - REFERENCE_C
    )
    notes = notes_of(ordered, km, known, coefficient)
    hand = np.array(
        [hands.index(_hand(v)) if _hand(v) in hands else len(hands) - 1 for v in ordered], dtype=int
    )
    return Book(
        engine,
        ordered,
        km,
        np.cumsum(dist) * 1000.0 + (km[0] if T else 0.0),
        dist,
        temp.reshape(T),
        known,
        found,
        left,
        restart,
        renewed,
        adjusted,
        target,
        cold,
        hand,
        hands,
        notes,
    )


@dataclass(frozen=True, slots=True)
class Shelf:
    """Books of a batch, padded: visits after the last are empty, valves an engine has not are never measured."""

    books: tuple[Book, ...]
    layout: Layout
    T: int
    cold: Array
    _steps: tuple[Step, ...]

    def step(self, t: int) -> Step:
        """Visit ``t`` (from 0) of every book."""
        return self._steps[t]


def shelve(books: Sequence[Book], unknown_temp_sd: float) -> Shelf:
    """Pad ``books`` to one shape. ``unknown_temp_sd`` in K for visits without a temperature."""
    V = max((len(b.cold) for b in books), default=0)
    T = max((len(b.visits) for b in books), default=0)
    hands = max((len(b.hands) for b in books), default=1)
    kind = np.array([i % 2 for i in range(V)])
    layout = Layout(V, max(hands, 1), kind)

    def pad(arrays: list[np.ndarray], fill: float | bool) -> np.ndarray:
        out = np.full((len(arrays), T, *([V] if arrays[0].ndim == 2 else [])), fill)
        for i, a in enumerate(arrays):
            out[i][tuple(slice(0, size) for size in a.shape)] = a
        return out

    cold = np.full((len(books), V), 0.15)
    for i, b in enumerate(books):
        cold[i, : len(b.cold)] = b.cold
    dist = pad([b.dist for b in books], 0.0)
    temp = pad([b.temp for b in books], 0.0)
    temp_var = pad([np.where(b.temp_known, 0.0, unknown_temp_sd**2) for b in books], 0.0)
    restart = pad([b.restart for b in books], False)
    renewed = pad([b.renewed for b in books], False)
    adjusted = pad([b.adjusted for b in books], False)
    target = pad([b.target for b in books], 0.0)
    hand = pad([b.hand for b in books], 0).astype(int)
    fills = (-math.inf, math.inf, 0.0, True)
    found = [pad([b.found[j] for b in books], fills[j]) for j in range(4)]
    left = [pad([b.left[j] for b in books], fills[j]) for j in range(4)]
    steps = tuple(
        Step(
            dist[:, t],
            temp[:, t],
            temp_var[:, t],
            _readings([a[:, t] for a in found]),
            restart[:, t],
            adjusted[:, t],
            target[:, t],
            cold,
            hand[:, t],
            _readings([a[:, t] for a in left]),
            bool(restart[:, t].any()),
            bool(adjusted[:, t].any()),
            renewed[:, t] if renewed[:, t].any() else None,
        )
        for t in range(T)
    )
    return Shelf(tuple(books), layout, T, cold, steps)


def log_chance(reading: GapInterval, ladder: Sequence[float]) -> float:
    """Log probability that a reading that says nothing falls here: intervals covered of the ladder's intervals.

    For drag on a blade (lo == hi) a log density per mm: one over the ladder's span and a step at each end.
    """
    blades = tuple(ladder) or UNKNOWN_LADDER
    if reading.lo == reading.hi:
        step = (blades[-1] - blades[0]) / (len(blades) - 1) if len(blades) > 1 else 0.05
        return -math.log(max(blades[-1] - blades[0] + 2 * step, 1e-3))
    inside = sum(1 for blade in blades if reading.lo < blade < reading.hi)
    return math.log(min(inside + 1, len(blades) + 1) / (len(blades) + 1))


def _readings(arrays: list[np.ndarray]) -> Readings:
    lo, hi, chance, shut = arrays
    return Readings(lo, hi, chance, shut, bool((lo == hi).any()), not bool(shut.all()))


def _empty(T: int, V: int) -> tuple[Array, Array, Array, np.ndarray]:
    return np.full((T, V), -math.inf), np.full((T, V), math.inf), np.zeros((T, V)), np.ones((T, V), bool)


def _put(
    into: tuple[Array, Array, Array, np.ndarray],
    t: int,
    i: int,
    reading: GapInterval | None,
    visit: VisitRecord,
    valve: Valve,
    which: str,
) -> None:
    if reading is None:
        return
    lo, hi = reading.lo, reading.hi
    if math.isnan(lo) or math.isnan(hi) or lo > hi or lo == math.inf or hi == -math.inf:
        raise InputError(
            say(
                "{valve} {which} at the visit of {day}: [{lo}, {hi}) is no interval; give the blade "
                "that goes, then a thicker one that does not",
                valve=valve,
                which=which,
                day=visit.day,
                lo=lo,
                hi=hi,
            )
        )
    into[0][t, i], into[1][t, i], into[2][t, i] = lo, hi, log_chance(reading, visit.ladder_mm)
    into[3][t, i] = False


def _check_visit(engine: Engine, visit: VisitRecord) -> None:
    if not math.isfinite(visit.distance_km):
        raise InputError(
            say(
                "the visit of {day} to {name} is at {distance_km} km; give a number of km",
                day=visit.day,
                name=engine.name,
                distance_km=visit.distance_km,
            )
        )
    if visit.engine_temp_c is not None and not math.isfinite(visit.engine_temp_c):
        raise InputError(
            say(
                "the visit of {day} has engine temperature {engine_temp_c}; give C, or none if unknown",
                day=visit.day,
                engine_temp_c=visit.engine_temp_c,
            )
        )
    for valve, record in visit.valves.items():
        if record.set_to is not None and not (math.isfinite(record.set_to) and record.set_to >= 0):
            raise InputError(
                say(
                    "{valve} at the visit of {day} was set to {set_to}; give the blade in mm",
                    valve=valve,
                    day=visit.day,
                    set_to=record.set_to,
                )
            )


def _hand(visit: VisitRecord) -> str:
    return (visit.by or "").strip()


def _hands(visits: Sequence[VisitRecord]) -> tuple[str, ...]:
    counts: dict[str, int] = {}
    for visit in visits:
        counts[_hand(visit)] = counts.get(_hand(visit), 0) + _settings(visit.valves.values())
    ranked = sorted(counts, key=lambda name: -counts[name])
    return tuple(ranked[:MOST_HANDS]) or ("",)


def _settings(records: Iterable[ValveRecord]) -> int:
    return sum(1 for r in records if r.adjusted)


def _distances(km: Array) -> tuple[Array, list[int]]:
    dist = np.zeros(len(km))
    back = []
    for t in range(1, len(km)):
        since = km[t] - km[t - 1]
        if t > 1 and km[t - 1] < km[t - 2] <= km[t]:
            since = km[t] - km[t - 2]
        if since < 0:
            back.append(t)
        dist[t] = max(since, 0.0) / 1000.0
    return dist, back


def notes_of(
    visits: Sequence[VisitRecord],
    km: Array,
    known: np.ndarray,
    coefficient: Coefficient | None,
    units: Units = MM_KM,
) -> tuple[str, ...]:
    """What had to be assumed about distances and temperatures, in sentences in the owner's units."""
    back = [
        say(
            "On {day} the book says {distance}, less than the {before} before: counted as {nothing} driven.",
            day=visits[t].day,
            distance=units.km(float(km[t])),
            before=units.km(float(km[t - 1])),
            nothing=units.km(0.0),
        )
        for t in _distances(km)[1]
    ]
    return (*back, *_heat_notes(visits, known, coefficient))


def _heat_notes(
    visits: Sequence[VisitRecord], known: np.ndarray, coefficient: Coefficient | None
) -> list[str]:
    if not visits:
        return []
    if coefficient is None:
        return [
            say(
                "Readings are not corrected for temperature: the engine file does not say what the parts are made of."
            )
        ]
    missing = int(np.sum(~known))
    if not missing:
        return []
    return [
        plural(
            "The engine temperature of {n} visit is not known: taken as 20 C, give or take 8.",
            "The engine temperature of {n} visits is not known: taken as 20 C, give or take 8.",
            missing,
        )
    ]
