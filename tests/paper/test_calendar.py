"""The calendar's own rules: the same bytes, what is refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash import language
from coldlash.errors import InputError
from coldlash.paper.calendar import DueEntry, calendar_bytes, clean, escaped, uid_of

ENTRY = DueEntry("a1", "Van engine", date(2026, 9, 8), 4, datetime(2026, 5, 31, 9, 30, tzinfo=UTC))


def test_the_same_entries_in_any_order_give_the_same_bytes():
    other = replace(ENTRY, engine_id="b2", day=date(2026, 8, 1))
    assert calendar_bytes([ENTRY, other]) == calendar_bytes([other, ENTRY])


def test_controls_become_blanks_and_line_ends_stay():
    assert clean("\x07a\x00b\r\nc\rd\te\x7f ") == "a b\nc\nd e"


def test_the_address_of_the_page_and_the_vehicle_are_in_the_entry():
    content = calendar_bytes([replace(ENTRY, vehicle="Delivery van", url="https://shed.local/engines/a1")])
    assert b"SUMMARY:Check valve gaps: Van engine\\, Delivery van\r\n" in content
    assert b"URL:https://shed.local/engines/a1\r\n" in content


@pytest.mark.parametrize(
    ("entries", "options", "message"),
    [
        ([ENTRY, replace(ENTRY, engine="x")], {}, "engine 'a1' stands twice; give each engine once"),
        ([replace(ENTRY, engine_id="a b")], {}, "'a b' can't be an entry's id; use up to 100 letters"),
        ([replace(ENTRY, engine_id="")], {}, "'' can't be an entry's id"),
        ([replace(ENTRY, changed=datetime(2026, 1, 1))], {}, "has no zone; give one, such as UTC"),  # noqa: DTZ001
        ([replace(ENTRY, revision=-1)], {}, "a revision of -1 can't be; count from 0"),
        ([ENTRY], {"alarm_days": (-1,)}, "an alarm -1 days before can't be set; give whole days, 0 to 365"),
        ([ENTRY], {"alarm_days": (1.5,)}, "an alarm 1.5 days before can't be set"),
        ([ENTRY], {"alarm_days": (True,)}, "an alarm True days before can't be set"),
        ([ENTRY], {"alarm_days": (366,)}, "an alarm 366 days before can't be set"),
    ],
)
def test_what_cannot_be_an_entry_is_refused_with_what_is_needed(entries, options, message):
    with pytest.raises(InputError, match=message):
        calendar_bytes(entries, **options)


def test_the_uid_belongs_to_the_engine_alone():
    assert uid_of("a1") == "gaps-a1@coldlash.invalid"


TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=90).filter(lambda text: text.strip())


@settings(deadline=None)
@given(st.lists(st.tuples(TEXTS, TEXTS, st.booleans()), min_size=1, max_size=4))
def test_it_says_what_another_writer_of_the_same_calendar_says(texts):
    """Independent software: icalendar 7 writes the same properties from values; both are read by its parser."""
    ours = calendar_bytes(
        [
            replace(
                ENTRY, engine_id=f"a{i}", engine=name, vehicle=vehicle, forecast=forecast, due_km=84_210.0
            )
            for i, (name, vehicle, forecast) in enumerate(texts)
        ],
        alarm_days=(14, 1, 0),
    )
    read = icalendar.Calendar.from_ical(ours)
    other = icalendar.Calendar()
    for name, value in read.property_items(recursive=False):
        if name not in ("BEGIN", "END"):
            other.add(name, value, encode=False)
    for event in read.walk("VEVENT"):
        made = icalendar.Event()
        for name in ("UID", "SEQUENCE", "SUMMARY", "DESCRIPTION", "STATUS", "TRANSP"):
            made.add(name, event[name])
        for name in ("DTSTAMP", "LAST-MODIFIED", "DTSTART", "DTEND"):
            made.add(name, event.decoded(name))
        for alarm in event.walk("VALARM"):
            rings = icalendar.Alarm()
            rings.add("action", "DISPLAY")
            rings.add("description", str(alarm["DESCRIPTION"]))
            rings.add("trigger", alarm.decoded("TRIGGER"))
            made.add_component(rings)
        other.add_component(made)
    again = icalendar.Calendar.from_ical(other.to_ical())
    assert [dict(e) for e in again.walk("VEVENT")] == [dict(e) for e in read.walk("VEVENT")]
    assert sorted(str(e["SUMMARY"]) for e in read.walk("VEVENT")) == sorted(
        clean(f"Check valve gaps: {name}, {vehicle}") for name, vehicle, _ in texts
    )
    for alarm, before in zip(read.walk("VALARM")[:3], (14, 1, 0), strict=True):
        assert alarm.decoded("TRIGGER") == timedelta(hours=9) - timedelta(days=before)


@settings(deadline=None)
@given(TEXTS)
def test_no_line_is_longer_than_75_octets_and_no_letter_is_taken_apart(name):
    """Published: RFC 5545, 3.1 (folding by octets); unfolding by its own rule gives the line back."""
    content = calendar_bytes([replace(ENTRY, engine=name * 3)])
    assert content.endswith(b"END:VCALENDAR\r\n")
    for line in content.removesuffix(b"\r\n").split(b"\r\n"):
        assert len(line) <= 75
        assert b"\n" not in line
        line.decode()
    assert f"SUMMARY:{escaped(f'Check valve gaps: {name * 3}')}" in content.replace(b"\r\n ", b"").decode()


def test_another_parser_reads_the_same_from_it():
    """Independent software: vobject 0.9."""
    content = calendar_bytes([replace(ENTRY, engine="Oona's; engine, \\ old", forecast=True)], name="Gaps")
    read = vobject.readOne(content.decode())
    assert read.vevent.summary.value == "Check valve gaps: Oona's; engine, \\ old"
    assert read.vevent.dtstart.value == date(2026, 9, 8)
    assert [alarm.trigger.value for alarm in read.vevent.valarm_list] == [
        timedelta(hours=9) - timedelta(days=14),
        timedelta(hours=9) - timedelta(days=1),
    ]


def test_texts_are_in_the_language_of_the_moment_and_the_uid_is_not():
    english = calendar_bytes([ENTRY])
    with language.using(language.PSEUDO):
        other = calendar_bytes([ENTRY])
    unfolded = other.replace(b"\r\n ", b"").decode()
    assert "SUMMARY:⟦Check valve gaps: Van engine" in unfolded
    assert unfolded.count("DESCRIPTION:⟦") == 3  # the entry's and both alarms'
    assert b"PRODID:-//coldlash//due//EN\r\n" in english
    assert [line for line in english.splitlines() if line.startswith(b"UID")] == [
        line for line in other.splitlines() if line.startswith(b"UID")
    ]
