"""The calendar's own rules: the same bytes, what is refused."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from coldlash.errors import InputError
from coldlash.paper import calendar
from coldlash.paper.calendar import DueEntry, calendar_bytes, clean, uid_of

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


def test_without_the_library_the_remedy_is_named(monkeypatch):
    calendar._library.cache_clear()
    monkeypatch.setitem(sys.modules, "icalendar", None)
    with pytest.raises(
        InputError, match=r"the calendar needs a library that is not installed; install coldlash\[paper\]"
    ):
        calendar_bytes([ENTRY])
    calendar._library.cache_clear()
