"""What is due as a calendar (RFC 5545): a file to open once, or a feed to subscribe to.

One all-day entry an engine, so that it is the same day in every time zone, with alarms. The UID is the engine's
own, so a changed forecast moves the entry; SEQUENCE and DTSTAMP come from the book (how much was written in it,
and when last), never from the clock, so the same book gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache

from coldlash.errors import InputError
from coldlash.paper.words import ENGLISH, Words

UID_HOST = "coldlash.invalid"
"""Right side of every UID: a name that can't belong to anyone (RFC 2606)."""
ALARM_HOUR = 9
_FORBIDDEN = re.compile("[\x00-\x09\x0b-\x1f\x7f\ud800-\udfff]+")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")


@dataclass(frozen=True, slots=True)
class DueEntry:
    """One engine's next check.

    ``engine_id``: the same for this engine for ever (letters, digits, . _ -). ``day``: when it is due; what is
    only projected has ``forecast`` True, with ``soonest`` and ``latest`` around it. ``due_km``: at which distance.
    ``revision`` rises whenever the book says something new about it; ``changed`` is when it last did, with a zone.
    ``details``: more sentences; ``url``: the engine's page, or "".
    """

    engine_id: str
    engine: str
    day: date
    revision: int
    changed: datetime
    forecast: bool = False
    soonest: date | None = None
    latest: date | None = None
    due_km: float | None = None
    last_day: date | None = None
    vehicle: str = ""
    details: tuple[str, ...] = ()
    url: str = ""
    words: Words = ENGLISH


def calendar_bytes(
    entries: Sequence[DueEntry],
    *,
    name: str = "",
    alarm_days: Sequence[int] = (14, 1),
    words: Words = ENGLISH,
) -> bytes:
    """The calendar, UTF-8 with CRLF. ``alarm_days``: whole days before the entry's day, each at 9 in the morning.

    Raises InputError: an engine twice, an id that can't be part of a UID, a moment without a zone, alarms that
    aren't 0 to 365 days before.
    """
    icalendar = _library()
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//coldlash//due//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    title = clean(name) or words.say("Valve gaps")
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", timedelta(hours=12), parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT12H")
    alarms = _alarms(alarm_days)
    seen: set[str] = set()
    for entry in sorted(entries, key=lambda e: (e.day, e.engine, e.engine_id)):
        uid = uid_of(entry.engine_id)
        if uid in seen:
            raise InputError(f"calendar: engine {entry.engine_id!r} stands twice; give each engine once")
        seen.add(uid)
        calendar.add_component(_event(icalendar, entry, uid, alarms))
    return bytes(calendar.to_ical(sorted=False))


def uid_of(engine_id: str) -> str:
    """The UID of an engine's entry. Raises InputError."""
    if not _ID.fullmatch(engine_id):
        raise InputError(
            f"calendar: {engine_id!r} can't be an entry's id; use up to 100 letters, digits, '.', '_' and '-'"
        )
    return f"gaps-{engine_id}@{UID_HOST}"


def clean(text: str) -> str:
    """Text without what RFC 5545 forbids in a value (control characters but the line feed), ends trimmed."""
    return _FORBIDDEN.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n")).strip()


@cache
def _library():  # type: ignore[no-untyped-def]
    try:
        import icalendar
    except ImportError:
        raise InputError(
            "the calendar needs a library that is not installed; install coldlash[paper]"
        ) from None
    return icalendar


def _alarms(days: Sequence[int]) -> tuple[timedelta, ...]:
    for value in days:
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 365:
            raise InputError(
                f"calendar: an alarm {value!r} days before can't be set; give whole days, 0 to 365"
            )
    return tuple(
        timedelta(hours=ALARM_HOUR) - timedelta(days=value) for value in sorted(set(days), reverse=True)
    )


def _event(icalendar, entry: DueEntry, uid: str, alarms: Sequence[timedelta]):  # type: ignore[no-untyped-def]
    if entry.changed.tzinfo is None:
        raise InputError(f"calendar: the time {entry.changed.isoformat()} has no zone; give one, such as UTC")
    if entry.revision < 0:
        raise InputError(f"calendar: a revision of {entry.revision} can't be; count from 0")
    stamp = entry.changed.astimezone(UTC).replace(microsecond=0)
    summary = _summary(entry)
    event = icalendar.Event()
    event.add("uid", uid)
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", entry.revision)
    event.add("dtstart", entry.day)
    event.add("dtend", entry.day + timedelta(days=1))
    event.add("summary", summary)
    event.add("description", "\n".join(_lines(entry)))
    event.add("status", "TENTATIVE" if entry.forecast else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    if entry.url:
        event.add("url", clean(entry.url))
    for before in alarms:
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", summary)
        alarm.add("trigger", before)
        event.add_component(alarm)
    return event


def _summary(entry: DueEntry) -> str:
    say = entry.words.say
    if entry.vehicle:
        return clean(say("Check valve gaps: {engine}, {vehicle}", engine=entry.engine, vehicle=entry.vehicle))
    return clean(say("Check valve gaps: {engine}", engine=entry.engine))


def _lines(entry: DueEntry) -> list[str]:
    words = entry.words
    say = words.say
    lines = []
    if entry.forecast:
        lines.append(say("About this day, as the engine has been run so far."))
        if entry.soonest is not None and entry.latest is not None and entry.soonest != entry.latest:
            lines.append(
                say(
                    "Between {soonest} and {latest}.",
                    soonest=words.day(entry.soonest),
                    latest=words.day(entry.latest),
                )
            )
    else:
        lines.append(say("By this day at the latest."))
    if entry.due_km is not None:
        lines.append(say("Due at {distance}.", distance=words.distance(entry.due_km)))
    if entry.last_day is not None:
        lines.append(say("Last checked on {day}.", day=words.day(entry.last_day)))
    lines += entry.details
    lines.append(say("The engine must be cold: let it stand overnight."))
    return [clean(line) for line in lines]
