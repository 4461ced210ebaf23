"""When the next check is due: by distance, by months, after a rebuild, or sooner because the readings say so.

The day is projected from how the engine has really been run between its visits (``wear.forecast.driving``); where the
visits do not tell, the projection says so by being absent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from coldlash.engine.spec import Service
from coldlash.wear.forecast import RATE_VISITS, Driving, driving
from coldlash.wear.forecast import due as when_driven
from coldlash.wear.record import VisitRecord

__all__ = ["RATE_VISITS", "USUAL", "Due", "Rebuild", "due"]

USUAL = Service(every_km=5000.0, every_months=12.0)
"""Used where an engine file has no [service]: common practice, 5,000 km or 3,000 miles, and once a year."""

MONTH_DAYS = 365.2425 / 12  # mean Gregorian month
SOON_DAYS = 30
FARTHEST_DAYS = 36_525
"""A century away is no date anyone plans by."""

State = Literal["due", "soon", "not yet", "never checked"]
By = Literal["distance", "months", "early check", "verdict", "never checked"]


@dataclass(frozen=True, slots=True)
class Rebuild:
    """Work that moves gaps and was not followed by a visit yet, or was done at the last one.

    ``distance_km``: the engine's own distance then; None = not known: as it was driven since the last visit before it.
    """

    day: date
    distance_km: float | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """The next check. Distances are the engine's own, km; a date that can't be known is None.

    ``projected``: when ``due_km`` will likely be reached; 80 % between ``soonest`` and ``latest``. ``by`` names what
    comes first.
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
    by: By
    early: bool


def due(
    service: Service,
    visits: Sequence[VisitRecord],
    today: date,
    *,
    rebuilt: Rebuild | bool = False,
    distance_now_km: float | None = None,
    recheck_km: float | None = None,
) -> Due:
    """Work out the next check from the closed visits of one engine.

    ``rebuilt``: work that moves gaps, so the early check (``first_km``) holds; True = done at the last visit.
    ``distance_now_km`` where the instrument has been read today; else it is reckoned from the rate. ``recheck_km``: the
    distance after the last visit at which the readings say to look again.
    """
    every_km, every_months = service.every_km, service.every_months
    if every_km is None and every_months is None:
        every_km, every_months = USUAL.every_km, USUAL.every_months
    if not visits:
        return Due("never checked", None, None, None, None, None, None, None, distance_now_km,
                   distance_now_km is not None, "never checked", False)  # fmt: skip
    last = max(visits, key=lambda visit: (visit.day, visit.distance_km))
    how = driving(visits)
    due_km, by = because_of = _due_km(service, every_km, last, rebuilt, recheck_km, how)
    due_day = None if every_months is None else last.day + timedelta(days=round(every_months * MONTH_DAYS))
    now_km = distance_now_km
    if now_km is None and how is not None:
        now_km = last.distance_km + how.km_per_day * max(0, (today - last.day).days)
    read = distance_now_km is not None
    projected = soonest = latest = None
    if due_km is not None and how is not None and now_km is not None:
        since, at_km = last.day, last.distance_km
        if read:
            since, at_km = today, now_km
        elif because_of[1] == "early check" and isinstance(rebuilt, Rebuild):
            since, at_km = max(rebuilt.day, last.day), _rebuilt_km(rebuilt, last, how)
        left = due_km - at_km
        soonest, projected, latest = _dates(max(left, 0.0), since, how)
    first = min((day for day in (projected, due_day) if day is not None), default=None)
    if due_day is not None and (projected is None or due_day < projected):
        by = "months"
    if distance_now_km is not None and due_km is not None and distance_now_km >= due_km:
        state: State = "due"
        by = because_of[1]
    else:
        state = _state(first, today)
    return Due(
        state=state,
        last_day=last.day,
        last_km=last.distance_km,
        due_km=due_km,
        due_day=due_day,
        projected=projected,
        soonest=soonest,
        latest=latest,
        distance_now_km=now_km,
        distance_is_read=read,
        by=by,
        early=because_of[1] == "early check",
    )


def _due_km(
    service: Service,
    every_km: float | None,
    last: VisitRecord,
    rebuilt: Rebuild | bool,
    recheck_km: float | None,
    how: Driving | None,
) -> tuple[float | None, By]:
    """At which distance, and because of what."""
    at: float | None = None if every_km is None else last.distance_km + every_km
    by: By = "distance"
    if rebuilt and service.first_km is not None:
        at, by = _rebuilt_km(rebuilt, last, how) + service.first_km, "early check"
    if recheck_km is not None and (at is None or last.distance_km + recheck_km < at):
        at, by = last.distance_km + recheck_km, "verdict"
    return at, by


def _rebuilt_km(rebuilt: Rebuild | bool, last: VisitRecord, how: Driving | None) -> float:
    """The engine's own distance at the work, as written down or as it was driven since the last visit."""
    if not isinstance(rebuilt, Rebuild):
        return last.distance_km
    if rebuilt.distance_km is not None:
        return max(rebuilt.distance_km, last.distance_km)
    driven = 0.0 if how is None else how.km_per_day * max(0, (rebuilt.day - last.day).days)
    return last.distance_km + driven


def _state(first: date | None, today: date) -> State:
    if first is None:
        return "not yet"
    if today >= first:
        return "due"
    return "soon" if (first - today).days <= SOON_DAYS else "not yet"


def _dates(km: float, since: date, how: Driving) -> tuple[date | None, date | None, date | None]:
    """Soonest, likely and latest day; those a century away are left out."""
    when = when_driven(km, since, how)
    far = since.toordinal() + FARTHEST_DAYS
    soonest, likely, latest = (day if day.toordinal() < far else None for day in when)
    return (soonest if likely is not None else None), likely, (latest if likely is not None else None)
