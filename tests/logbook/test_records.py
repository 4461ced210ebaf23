"""What may be written into the book: each record refuses what can't be meant."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logbook.shelf import found, reading, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.records import (
    NewReading,
    NewVisit,
    PastVisit,
    checked_blades,
    checked_field,
    checked_id,
    checked_name,
    checked_text,
    checked_time,
    name_key,
    plain,
    reading_words,
    utc_text,
)

AN_ID = "3f2b8a52-1c5e-4e0e-9a51-0d8f6c1b7a10"


# --- times, ids, names ---


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        # derived: ISO 8601 offsets taken to UTC by hand
        ("2024-05-04T09:30:00Z", "2024-05-04T09:30:00.000Z"),
        ("2024-05-04T09:30:00+02:00", "2024-05-04T07:30:00.000Z"),
        ("2024-01-01T00:10:00.123456+00:30", "2023-12-31T23:40:00.123Z"),
    ],
)
def test_times_are_kept_in_utc_with_milliseconds(given, kept):
    assert checked_time(given, "at") == kept


@pytest.mark.parametrize(
    "given", ["2024-05-04T09:30:00", "yesterday", "", 5, None, "0001-01-01T00:00:00+05:00"]
)
def test_a_time_without_a_zone_or_sense_is_refused(given):
    with pytest.raises(InputError, match=r"at: .* is not a time; write it like|has no time zone"):
        checked_time(given, "at")


def test_a_naive_moment_is_refused():
    with pytest.raises(InputError, match="has no time zone; give one, such as UTC"):
        utc_text(datetime(2024, 5, 4))  # noqa: DTZ001


@settings(derandomize=True)
@given(st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1)), st.integers(-840, 840))  # noqa: DTZ001
def test_time_texts_sort_as_the_moments_do(moment, offset_min):
    aware = moment.replace(tzinfo=timezone(timedelta(minutes=offset_min)))
    text = utc_text(aware)
    # independent software: datetime reads it back
    back = datetime.fromisoformat(text)
    assert timedelta(0) <= aware - back < timedelta(milliseconds=1)
    assert utc_text(back + timedelta(milliseconds=1)) > text
    assert back.tzinfo == UTC


def test_ids_are_uuids_in_their_usual_form():
    assert checked_id(AN_ID.upper()) == AN_ID
    for bad in ("", "12", None, 7, AN_ID + "0"):
        with pytest.raises(InputError, match="is not a UUID, like"):
            checked_id(bad)


def test_names_of_any_script_are_composed_and_trimmed():
    assert checked_name("  Cafe\u0301 車 ", "engine") == "Caf\u00e9 車"  # derived: Unicode NFC of e + acute
    assert name_key("STRASSE") == name_key("straße")  # published: Unicode case folding of sharp s is ss


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("", "engine: is empty; give a name"),
        (" \u00a0 ", "engine: is empty; give a name"),
        ("a\nb", "engine: 'a\\\\nb' is more than one line"),
        ("x" * 201, "engine: 201 characters are too many; 200 is the most"),
        ("a\0", r"engine: has a character that can't be kept \(U\+0000\)"),
        ("a\x1b[31m", r"engine: has a character that can't be kept \(U\+001B\)"),
        ("\ud800", r"engine: has a character that can't be kept \(U\+D800\)"),
        (None, "engine: None is not text"),
    ],
)
def test_a_name_that_cannot_be_kept_is_refused(name, message):
    with pytest.raises(InputError, match=message):
        checked_name(name, "engine")


def test_notes_keep_lines_and_tabs():
    assert checked_text("a\r\n\tb", "note", 10) == "a\r\n\tb"


@pytest.mark.parametrize(
    ("thousandths", "text"),
    [
        (150, "0.15"),
        (0, "0"),
        (84_210_000, "84210"),
        (-500, "-0.5"),
        (-18_250, "-18.25"),
        (7, "0.007"),
        (1000, "1"),
    ],
)
def test_thousandths_are_written_plainly(thousandths, text):
    assert plain(thousandths) == text


# --- visits ---


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"day": "2024-05-04"}, "day: '2024-05-04' is not a date"),
        ({"day": datetime(2024, 5, 4, tzinfo=UTC)}, "day: .* is not a date"),
        ({"distance_m": -1}, "distance: -1 m is outside 0 to"),
        ({"distance_m": 84.2}, "distance: 84.2 is not a whole number of m"),
        ({"distance_m": True}, "distance: True is not a whole number of m"),
        ({"distance_m": None}, "distance: None is not a whole number of m"),
        ({"engine_temp_mc": 500_000}, "engine temperature: 500000 thousandths of a degree C is outside"),
        ({"air_temp_mc": -99_000}, "air temperature: -99000 thousandths of a degree C is outside"),
        (
            {"meter_reading": 5, "meter_unit": None},
            "meter: give the reading and its unit together, or neither",
        ),
        (
            {"meter_reading": None, "meter_unit": "km"},
            "meter: give the reading and its unit together, or neither",
        ),
        ({"meter_reading": -5, "meter_unit": "km"}, "meter reading: -5 thousandths is outside"),
        ({"meter_reading": 5, "meter_unit": "furlong"}, "meter unit: 'furlong' is not one of km, mile, h"),
        ({"by": ""}, "by: is empty; give a name"),
        ({"blades_um": (100, 50)}, "blades: blades must rise and none may stand twice"),
        ({"blades_um": (50, 50)}, "blades: blades must rise and none may stand twice"),
        ({"blades_um": (0, 50)}, "blades: 0 um is outside 1 to 20000"),
        ({"blades_um": 50}, "blades: 50 is not a row of blades in micrometres"),
        ({"note": 5}, "note: 5 is not text"),
        ({"plan": "x" * 20_001}, "plan: 20001 characters are too many"),
        ({"place": "x" * 20_001}, "place: 20001 characters are too many"),
        ({"id": "7"}, "visit id: '7' is not a UUID"),
        ({"engine_file_id": "7"}, "engine file id: '7' is not a UUID"),
        ({"at": "noon"}, "at: 'noon' is not a time"),
    ],
)
def test_a_visit_refuses_what_cannot_be_meant(more, message):
    values = {"day": date(2024, 5, 4), "distance_m": 84_210_000} | more
    with pytest.raises(InputError, match=message):
        NewVisit(**values)


def test_a_field_no_visit_has_is_named_with_those_it_has():
    with pytest.raises(InputError, match="a visit has no field 'colour' to change; it has day, distance_m, "):
        checked_field("colour", "red")


def test_blades_may_come_as_a_list():
    assert checked_blades([50, 100], "blades") == (50, 100)


# --- readings ---


@pytest.mark.parametrize(
    ("step", "more", "message"),
    [
        (
            "found",
            {"nogo_um": 150},
            r"E3 found: 0\.15 mm did not go, but which blade went\? Give it, or 0 if none",
        ),
        ("found", {"go_um": 0}, "E3 found: no blade went; give the thinnest one that was tried as no-go"),
        ("left", {"go_um": 0, "nogo_um": 0}, "E3 left: a no-go of 0 is no blade"),
        (
            "found",
            {"go_um": 150, "nogo_um": 150},
            r"E3 found: 0\.15 mm goes and 0\.15 mm does not; the blade that",
        ),
        (
            "left",
            {"go_um": 200, "nogo_um": 150},
            r"E3 left: 0\.20 mm goes and 0\.15 mm does not; the blade that",
        ),
        ("found", {"go_um": -1}, "E3 found: go: -1 um is outside 0 to 20000"),
        ("found", {"go_um": 20_001}, "E3 found: go: 20001 um is outside 0 to 20000"),
        ("found", {"go_um": 0.15}, "E3 found: go: 0.15 is not a whole number of um"),
        ("found", {"blade_um": 150}, "E3 found: the blade it was set on belongs to the step set"),
        ("set", {"go_um": 150}, "E3 set: setting has one blade, no go and no-go"),
        ("set", {"nogo_um": 150}, "E3 set: setting has one blade, no go and no-go"),
        ("set", {"blade_um": 99_999}, "E3 set: blade: 99999 um is outside"),
        ("found", {"feel": "drag"}, "E3 found: 'drag' needs the blade that went"),
        ("found", {"go_um": 0, "nogo_um": 50, "feel": "drag"}, "E3 found: 'drag' needs the blade that went"),
        ("found", {"go_um": 50, "feel": "tight"}, "E3 found: feel: 'tight' is not one of free, drag"),
        ("found", {"spin": "fast"}, "E3 found: spin: 'fast' is not one of free, stiff, none"),
        ("before", {}, "E3: step: 'before' is not one of found, set, left"),
        ("found", {"withdrawn": True}, "E3 found: a withdrawal must name the reading it takes back"),
        (
            "found",
            {"withdrawn": True, "replaces": AN_ID, "go_um": 50},
            "E3 found: a withdrawal carries no values",
        ),
        ("found", {"note": "x" * 10_001}, "E3 found: note: 10001 characters are too many"),
        ("found", {"reason": 5}, "E3 found: reason: 5 is not text"),
        ("found", {"by": " "}, "E3 found: by: is empty"),
        ("found", {"device": "a\nb"}, "E3 found: device: .* is more than one line"),
        ("found", {"id": "x"}, "E3 found: id: 'x' is not a UUID"),
        ("found", {"replaces": "x"}, "E3 found: replaces: 'x' is not a UUID"),
        ("found", {"at": "x"}, "E3 found: at: 'x' is not a time"),
    ],
)
def test_a_reading_refuses_what_cannot_be_meant(step, more, message):
    with pytest.raises(InputError, match=message):
        NewReading(valve=Valve("E", 3), step=step, **more)


def test_a_valve_must_be_a_valve():
    with pytest.raises(InputError, match="valve: 'E3' is not a valve, like E3"):
        NewReading(valve="E3", step="found")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("new", "words"),
    [
        (found(), "0.10 mm goes, 0.15 mm does not"),
        (found(nogo=None), "0.10 mm goes, no thicker one tried"),
        (found(go=0, nogo=50), "no blade goes, thinnest tried 0.05 mm"),
        (found(go=None, nogo=None), "not measured"),
        (found(feel="drag"), "drag on 0.10 mm, 0.15 mm does not go"),
        (found(feel="drag", nogo=None), "drag on 0.10 mm"),
        (reading("E3", "set", blade_um=152), "set on 0.152 mm"),
        (reading("E3", "set"), "set to the cold gap"),
        (reading("E3", "left", withdrawn=True, replaces=AN_ID), "withdrawn"),
    ],
)
def test_readings_are_said_in_the_words_of_the_trade(new, words):
    assert reading_words(new) == words


# --- whole visits ---


def test_a_past_visit_holds_no_corrections():
    with pytest.raises(InputError, match="E3 found: a visit that is added whole holds no corrections"):
        PastVisit(visit=visit_on(), readings=(found(replaces=AN_ID),))


def test_a_past_visit_holds_each_valve_and_step_once():
    with pytest.raises(InputError, match="E3 found stands twice in one visit"):
        PastVisit(visit=visit_on(), readings=(found(), found(go=50)))


def test_a_past_visit_closes_at_a_time():
    with pytest.raises(InputError, match="closed_at: 'later' is not a time"):
        PastVisit(visit=visit_on(), readings=(), closed_at="later")
