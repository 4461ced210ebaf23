"""The calendar held against RFC 5545 and an independent parser (vobject: independent software)."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.paper.calendar import DueEntry, calendar_bytes

CHANGED = datetime(2026, 5, 31, 9, 30, tzinfo=timezone(timedelta(hours=2)))
HARD = 'Эн\u00adджин; 消防車, \\n back\\slash "q" : ünd\r\nsecond line ' + "long " * 30


def entry(engine_id="3f2b8a52", **fields):
    given = {"engine": "Van engine", "day": date(2026, 9, 8), "revision": 4, "changed": CHANGED}
    return DueEntry(engine_id, **(given | fields))


def parsed(content):
    """The calendar as vobject reads it."""
    (calendar,) = vobject.readComponents(content.decode())
    return calendar


def lines_of(content):
    return content.split(b"\r\n")


text = st.text(st.characters(exclude_categories=["Cs"]), max_size=120)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(name=text, vehicle=text, detail=text)
def test_any_text_survives_escaping_and_folding_but_for_the_controls_the_standard_forbids(
    name, vehicle, detail
):
    # RFC 5545 3.1: CRLF, no line over 75 octets, folded between characters; 3.3.11: text without controls
    content = calendar_bytes([entry(engine=name, vehicle=vehicle, details=(detail,))])
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    for line in lines_of(content):
        assert len(line) <= 75
        line.decode()  # a fold never splits a character
    event = parsed(content).vevent

    def plain(value):
        return re.sub(r"[\x00-\x09\x0b-\x1f\x7f]+", " ", value.replace("\r\n", "\n").replace("\r", "\n"))

    said = "".join(event.description.value.split())
    assert "".join(plain(detail).split()) in said
    summary = "".join(event.summary.value.split())
    assert "".join(plain(name).split()) in summary


def test_hard_text_is_read_back_as_written():
    event = parsed(calendar_bytes([entry(engine=HARD.strip())])).vevent
    assert event.summary.value == "Check valve gaps: " + HARD.strip().replace("\r\n", "\n")


def test_the_entry_is_a_whole_day_without_a_zone_so_it_is_the_same_day_everywhere():
    # RFC 5545 3.6.1: DTSTART as a DATE; DTEND is the day after
    content = calendar_bytes([entry()])
    assert b"DTSTART;VALUE=DATE:20260908\r\n" in content
    event = parsed(content).vevent
    assert (event.dtstart.value, event.dtend.value) == (date(2026, 9, 8), date(2026, 9, 9))
    assert type(event.dtstart.value) is date
    assert event.dtstamp.value == datetime(2026, 5, 31, 7, 30, tzinfo=UTC)
    assert event.transp.value == "TRANSPARENT"


def test_alarms_ring_at_nine_in_the_morning_so_many_days_before():
    event = parsed(calendar_bytes([entry()], alarm_days=(1, 14, 0))).vevent
    midnight = datetime.fromisoformat("2026-09-08T00:00")
    rings = [(midnight + alarm.trigger.value).isoformat(" ", "minutes") for alarm in event.valarm_list]
    assert rings == ["2026-08-25 09:00", "2026-09-07 09:00", "2026-09-08 09:00"]
    for alarm in event.valarm_list:
        # RFC 5545 3.6.6: a DISPLAY alarm has ACTION, DESCRIPTION and TRIGGER
        assert alarm.action.value == "DISPLAY"
        assert alarm.description.value == "Check valve gaps: Van engine"


def test_a_changed_forecast_moves_the_entry_it_keeps_its_uid_and_a_higher_sequence():
    # RFC 5545 3.8.4.7 and 3.8.7.4: same UID, higher SEQUENCE replaces
    before = parsed(calendar_bytes([entry()])).vevent
    after = parsed(calendar_bytes([entry(day=date(2026, 10, 1), revision=9, engine="Renamed")])).vevent
    assert before.uid.value == after.uid.value == "gaps-3f2b8a52@coldlash.invalid"
    assert int(after.sequence.value) > int(before.sequence.value)
    assert after.dtstart.value == date(2026, 10, 1)


def test_the_calendar_names_itself_its_version_and_how_often_to_look_again():
    calendar = parsed(calendar_bytes([], name="Museum shed"))
    assert calendar.version.value == "2.0"
    assert calendar.prodid.value.startswith("-//coldlash//")
    assert calendar.contents["x-wr-calname"][0].value == "Museum shed"
    assert calendar.contents["refresh-interval"][0].value == "PT12H"
    assert not hasattr(calendar, "method")  # with METHOD, RFC 5546 would want an organizer


def test_a_forecast_says_so_and_a_last_day_is_certain():
    soft = parsed(
        calendar_bytes([entry(forecast=True, soonest=date(2026, 8, 7), latest=date(2026, 10, 16))])
    ).vevent
    hard = parsed(calendar_bytes([entry(due_km=78480.0, last_day=date(2025, 8, 15))])).vevent
    assert soft.status.value == "TENTATIVE"
    assert "Between 7 Aug 2026 and 16 Oct 2026." in soft.description.value
    assert hard.status.value == "CONFIRMED"
    assert "Due at 78\u202f480\u00a0km." in hard.description.value
    assert "Last checked on 15 Aug 2025." in hard.description.value


@pytest.mark.parametrize("count", [0, 1, 1000])
def test_every_engine_has_its_entry_in_the_order_of_the_days(count):
    entries = [entry(f"e{i}", day=date(2026, 1, 1) + timedelta(days=(i * 37) % 365)) for i in range(count)]
    calendar = parsed(calendar_bytes(entries))
    events = list(calendar.contents.get("vevent", []))
    assert len({event.uid.value for event in events}) == count
    days = [event.dtstart.value for event in events]
    assert days == sorted(days)
