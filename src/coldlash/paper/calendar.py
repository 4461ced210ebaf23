"""What is due as a calendar (RFC 5545): a file to open once, or a feed to subscribe to.

One all-day entry an engine, so that it is the same day in every time zone, with alarms. The UID is the engine's
own, so a changed forecast moves the entry; SEQUENCE and DTSTAMP come from the book (how much was written in it,
and when last), never from the clock, so the same book gives the same bytes in the same language.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from coldlash import language
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.words import ENGLISH, Words

UID_HOST = "coldlash.invalid"
"""Right side of every UID: a name that can't belong to anyone (RFC 2606)."""
ALARM_HOUR = 9
REFRESH = "PT12H"
"""How often a program should look again (RFC 7986, 5.7)."""
OCTETS = 75
"""Longest line, without its end (RFC 5545, 3.1)."""
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
    title = clean(name) or words.say("Valve gaps")
    lines = [
        "BEGIN:VCALENDAR",
        f"PRODID:-//coldlash//due//{language.current().upper()}",
        "VERSION:2.0",
        "CALSCALE:GREGORIAN",
        _text("NAME", title),
        _text("X-WR-CALNAME", title),
        f"REFRESH-INTERVAL;VALUE=DURATION:{REFRESH}",
        f"X-PUBLISHED-TTL:{REFRESH}",
    ]
    alarms = _alarms(alarm_days)
    seen: set[str] = set()
    for entry in sorted(entries, key=lambda e: (e.day, e.engine, e.engine_id)):
        uid = uid_of(entry.engine_id)
        if uid in seen:
            raise InputError(
                say("calendar: engine {id!r} stands twice; give each engine once", id=entry.engine_id)
            )
        seen.add(uid)
        lines += _event(entry, uid, alarms)
    lines.append("END:VCALENDAR")
    return b"".join(map(_folded, lines))


def uid_of(engine_id: str) -> str:
    """The UID of an engine's entry. Raises InputError."""
    if not _ID.fullmatch(engine_id):
        raise InputError(
            say(
                "calendar: {id!r} can't be an entry's id; use up to 100 letters, digits, '.', '_' and '-'",
                id=engine_id,
            )
        )
    return f"gaps-{engine_id}@{UID_HOST}"


def clean(text: str) -> str:
    """Text without what RFC 5545 forbids in a value (control characters but the line feed), ends trimmed."""
    return _FORBIDDEN.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n")).strip()


def escaped(text: str) -> str:
    """Text as the value of a property (RFC 5545, 3.3.11)."""
    return clean(text).replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _text(name: str, text: str) -> str:
    return f"{name}:{escaped(text)}"


def _folded(line: str) -> bytes:
    """A content line with its line ends: no more than 75 octets each, no letter taken apart (RFC 5545, 3.1)."""
    octets = line.encode()
    if len(octets) <= OCTETS:
        return octets + b"\r\n"
    parts, start, room = [], 0, OCTETS
    while len(octets) - start > room:
        end = start + room
        while octets[end] & 0xC0 == 0x80:  # within a letter of UTF-8 (RFC 3629)
            end -= 1
        parts.append(octets[start:end])
        start, room = end, OCTETS - 1  # the blank that begins a folded line counts
    parts.append(octets[start:])
    return b"\r\n ".join(parts) + b"\r\n"


def _alarms(days: Sequence[int]) -> tuple[str, ...]:
    """Each alarm's trigger: a duration before midnight of the day (RFC 5545, 3.3.6)."""
    for value in days:
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 365:
            raise InputError(
                say(
                    "calendar: an alarm {days!r} days before can't be set; give whole days, 0 to 365",
                    days=value,
                )
            )
    return tuple(_trigger(value) for value in sorted(set(days), reverse=True))


def _trigger(days: int) -> str:
    if days == 0:
        return f"PT{ALARM_HOUR}H"
    whole = f"{days - 1}D" if days > 1 else ""
    return f"-P{whole}T{24 - ALARM_HOUR}H"


def _event(entry: DueEntry, uid: str, alarms: Sequence[str]) -> list[str]:
    if entry.changed.tzinfo is None:
        raise InputError(
            say(
                "calendar: the time {time} has no zone; give one, such as UTC", time=entry.changed.isoformat()
            )
        )
    if entry.revision < 0:
        raise InputError(say("calendar: a revision of {n} can't be; count from 0", n=entry.revision))
    stamp = f"{entry.changed.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    summary = escaped(_summary(entry))
    lines = [
        "BEGIN:VEVENT",
        f"UID:{uid}",
        f"DTSTAMP:{stamp}",
        f"LAST-MODIFIED:{stamp}",
        f"SEQUENCE:{entry.revision}",
        f"DTSTART;VALUE=DATE:{_date(entry.day)}",
        f"DTEND;VALUE=DATE:{_date(entry.day + timedelta(days=1))}",
        f"SUMMARY:{summary}",
        _text("DESCRIPTION", "\n".join(_lines(entry))),
        f"STATUS:{'TENTATIVE' if entry.forecast else 'CONFIRMED'}",
        "TRANSP:TRANSPARENT",
    ]
    if entry.url:
        lines.append(f"URL:{clean(entry.url)}")
    for trigger in alarms:
        lines += (
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"DESCRIPTION:{summary}",
            f"TRIGGER:{trigger}",
            "END:VALARM",
        )
    lines.append("END:VEVENT")
    return lines


def _date(day: date) -> str:
    return f"{day.year:04d}{day.month:02d}{day.day:02d}"


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
