"""When the next check is due: by distance, by months, or the early check after a rebuild.

The day is projected from how the engine has really been run between its visits; with fewer than two visits
at different days there is no rate and the projection says so by being absent.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from coldlash.engine.spec import Service
from coldlash.wear.record import VisitRecord

USUAL = Service(every_km=5000.0, every_months=12.0)
"""Used where an engine file has no [service]: common practice, 5,000 km or 3,000 miles, and once a year."""

RATE_VISITS = 6
MONTH_DAYS = 365.2425 / 12  # mean Gregorian month

State = Literal["due", "soon", "not yet", "never checked"]


@dataclass(frozen=True, slots=True)
class Rate:
    """How fast distance comes together, km per day, between the first and last visit looked at."""

    km_per_day: float
    spread_km_per_day: float
    visits: int


@dataclass(frozen=True, slots=True)
class Due:
    """The next check. Distances are the engine's own, km; a date that can't be known is None.

    ``soonest`` and ``latest`` enclose ``projected`` by one spread of the rate. ``by`` names what comes first.
    """

    state: State
    last_day: date | None
    last_km: float | None
    due_km: float | None
    due_day: date | None
    projected: date | None
    soonest: date | None
    latest: date | None
    distance_now_km: float | None
    distance_is_read: bool
    by: Literal["distance", "months", "early check", "never checked"]
    early: bool


def rate_of(visits: Sequence[VisitRecord]) -> Rate | None:
    """Rate over the last ``RATE_VISITS`` visits, and the sd of the single intervals' rates around it."""
    recent = sorted(visits, key=lambda visit: visit.day)[-RATE_VISITS:]
    if len(recent) < 2:
        return None
    days = (recent[-1].day - recent[0].day).days
    km = recent[-1].distance_km - recent[0].distance_km
    if days < 30 or km <= 0:
        return None
    mean = km / days
    pieces = [
        ((b.distance_km - a.distance_km) / (b.day - a.day).days, (b.day - a.day).days)
        for a, b in itertools.pairwise(recent)
        if (b.day - a.day).days > 0
    ]
    variance = sum(w * (r - mean) ** 2 for r, w in pieces) / sum(w for _, w in pieces)
    # One interval shows no spread of its own; half the rate is then as honest as a guess gets (judgement).
    spread = math.sqrt(variance) if len(pieces) > 1 else mean / 2
    return Rate(mean, spread, len(recent))


def due(
    service: Service,
    visits: Sequence[VisitRecord],
    today: date,
    *,
    rebuilt: bool = False,
    distance_now_km: float | None = None,
) -> Due:
    """Work out the next check from the closed visits of one engine.

    ``rebuilt``: work that moves gaps was done at the last visit, so the early check (``first_km``) holds.
    ``distance_now_km`` where the instrument has been read today; else it is reckoned from the rate.
    """
    every_km, every_months = service.every_km, service.every_months
    if every_km is None and every_months is None:
        every_km, every_months = USUAL.every_km, USUAL.every_months
    if not visits:
        return Due("never checked", None, None, None, None, None, None, None, distance_now_km,
                   distance_now_km is not None, "never checked", False)  # fmt: skip
    last = max(visits, key=lambda visit: (visit.day, visit.distance_km))
    early = rebuilt and service.first_km is not None
    interval = service.first_km if early else every_km
    due_km = None if interval is None else last.distance_km + interval
    due_day = None if every_months is None else last.day + timedelta(days=round(every_months * MONTH_DAYS))
    rate = rate_of(visits)
    now_km = distance_now_km
    if now_km is None and rate is not None:
        now_km = last.distance_km + rate.km_per_day * max(0, (today - last.day).days)
    projected = soonest = latest = None
    if due_km is not None and rate is not None:
        start, left = (today, due_km - now_km) if distance_now_km is not None and now_km is not None else (
            last.day, due_km - last.distance_km)  # fmt: skip
        projected = _after(start, left, rate.km_per_day)
        soonest = _after(start, left, rate.km_per_day + rate.spread_km_per_day)
        slow = rate.km_per_day - rate.spread_km_per_day
        latest = _after(start, left, slow) if slow > 0 else None
    first, by = _first(projected, due_day, early)
    if distance_now_km is not None and due_km is not None and distance_now_km >= due_km:
        state: State = "due"
        by = "early check" if early else "distance"
    elif first is None:
        state = "not yet"
    elif today >= first:
        state = "due"
    else:
        state = "soon" if (first - today).days <= 30 else "not yet"
    return Due(state, last.day, last.distance_km, due_km, due_day, projected, soonest, latest, now_km,
               distance_now_km is not None, by, early)  # fmt: skip


def _after(start: date, km: float, km_per_day: float) -> date | None:
    days = km / km_per_day
    # A century away is no date anyone plans by, and would leave the calendar's range.
    return start + timedelta(days=round(max(0.0, days))) if days < 36_525 else None


def _first(
    projected: date | None, due_day: date | None, early: bool
) -> tuple[date | None, Literal["distance", "months", "early check", "never checked"]]:
    by_distance: Literal["distance", "early check"] = "early check" if early else "distance"
    if projected is not None and (due_day is None or projected <= due_day):
        return projected, by_distance
    return due_day, "months" if due_day is not None else by_distance
