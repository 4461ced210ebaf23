"""Rows made into visits: every fault at once, every row that was left out said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from tests.logbook.shelf import FLAT_FOUR

from coldlash.engine.spec import Service
from coldlash.logbook.sheets.guessing import guess
from coldlash.logbook.sheets.rows import left_out_words, take
from coldlash.logbook.sheets.understanding import corrected
from coldlash.logbook.sheets.workbook import read_workbook

BLADES = (50, 100, 150, 200)
HEAD = "Date;km;Temp C;Valve;Gap mm;Set mm;Adjusted;Note;By\n"


def taken(text: str, engine=FLAT_FOUR, watch=None, **answers):
    sheet = read_workbook(text.encode(), "f").sheets[0]
    told = guess(sheet, this_year=2026, blades_um=BLADES, engine="Van")
    told = corrected(
        told, {"single": "went", **{key.replace("__", ":"): value for key, value in answers.items()}}
    )
    return take(sheet, told, {"Van": engine}, *([watch] if watch else []))


def rows(text: str, **answers):
    found = taken(text, **answers)
    assert [str(fault) for fault in found.faults] == []
    return [row for visits in found.visits.values() for visit in visits for row in visit.log.rows]


def faults(text: str, **answers) -> list[str]:
    return [str(fault) for fault in taken(text, **answers).faults]


def line(
    valve="I3", gap="0.10", left="", adjusted="", day="2019-05-04", km="1000", temp="18", note="", by=""
):
    return f"{day};{km};{temp};{valve};{gap};{left};{adjusted};{note};{by}\n"


def test_a_row_is_a_valve_at_a_visit():
    (row,) = rows(HEAD + line("E3", "0.10", "0.15", "yes", note="rough", by="Ann"))
    assert (str(row.valve), row.found_go_um, row.found_nogo_um, row.adjusted, row.left_um) == (
        "E3",
        100,
        None,
        True,
        150,
    )
    assert (row.note, row.by, row.line) == ("rough", "Ann", 2)
    visit = taken(HEAD + line()).visits["Van"][0]
    assert (visit.log.day, visit.log.distance_m, visit.log.engine_temp_mc) == (
        date(2019, 5, 4),
        1_000_000,
        18_000,
    )


@pytest.mark.parametrize(
    ("gap", "single", "interval"),
    [
        ("0.10", "went", (100, None)),
        ("0.10", "felt", (50, 150)),
        ("0.12", "felt", (100, 150)),
        ("0.05", "felt", (0, 100)),
        ("0.20", "felt", (150, None)),
        ("0", "felt", (0, 50)),
        ("0", "went", (0, 50)),
        ("0.10-0.15", "went", (100, 150)),
        ("0,10 / 0,15", "felt", (100, 150)),
        ("<0.05", "went", (0, 50)),
        (">0.20", "felt", (200, None)),
        ("6 thou", "went", (152, None)),
        (".006 in", "went", (152, None)),
        ("-", "went", (None, None)),
    ],
)
def test_a_gap_in_one_cell_becomes_an_interval(gap, single, interval):
    # derived: between the blades beside it of 0.05, 0.10, 0.15, 0.20 mm; 0.006 in = 152.4 um
    (row,) = rows(HEAD + line(gap=gap) + line("E1", "0.10 mm"), single=single)[1:] or [None]
    assert (row.found_go_um, row.found_nogo_um) == interval


def test_what_a_gap_of_0_was_taken_for_is_said():
    assert taken(HEAD + line(gap="0")).notes == ("1 gap of 0 was read as: no blade went, not even 0.05 mm.",)


def test_inches_miles_and_fahrenheit_become_metric():
    # exact: 25.4 mm to the inch, 1.609344 km to the mile; 68 F = 20 C
    text = "Date;Miles;Temp F;Valve;Gap in\n2019-05-04;1000;68;I3;.006\n"
    visit = taken(text).visits["Van"][0]
    assert (visit.log.distance_m, visit.log.engine_temp_mc, visit.log.rows[0].found_go_um) == (
        1_609_344,
        20_000,
        152,
    )


def test_hours_count_what_the_engine_file_says_they_are_worth():
    pump = replace(FLAT_FOUR, service=Service(meter="h", km_per_h=50.0))
    visit = taken("Date;Hours;Valve;Gap mm\n2019-05-04;120;I3;0.10\n", engine=pump).visits["Van"][0]
    assert visit.log.distance_m == 6_000_000


def test_without_a_column_for_it_a_valve_was_adjusted_if_it_was_set_on_another_blade():
    text = (
        "Date;km;Valve;Gap mm;Set mm\n"
        + "2019-05-04;1;I3;0.10;0.15\n2019-05-04;1;E3;0.15;0.15\n2019-05-04;1;I1;0.15;\n"
    )
    found = taken(text)
    assert [(str(r.valve), r.adjusted, r.left_um) for r in found.visits["Van"][0].log.rows] == [
        ("I1", False, None), ("I3", True, 150), ("E3", False, None),
    ]  # fmt: skip
    assert found.notes == (
        "1 valve was left as it was found: both numbers are the same and nothing says that it was adjusted.",
    )


def test_one_adjusted_for_a_row_of_valves_counts_for_those_that_were_set_on_something():
    text = "Date;km;Adjusted;E1 mm;E1 set;I1 mm;I1 set\n2019-05-04;1;yes;0.10;0.15;0.15;\n"
    assert [(str(r.valve), r.adjusted) for r in rows(text)] == [("I1", False), ("E1", True)]
    text = "Date;km;Adjusted;E1 mm;I1 mm\n2019-05-04;1;yes;0.10;0.15\n"
    assert [(str(r.valve), r.adjusted, r.left_um) for r in rows(text)] == [
        ("I1", True, None),
        ("E1", True, None),
    ]
    assert taken(text).notes == (
        "2 valves were taken as set to the cold gap, because their row says that it was adjusted.",
    )


def test_go_and_no_go_found_and_left_with_their_feel():
    text = (
        "date;km;valve;found_go_mm;found_nogo_mm;found_feel;adjusted;left_mm;left_go_mm;left_nogo_mm;left_feel\n"
        "2019-05-04;1;I3;0.10;0.15;drag;yes;0.15;0.15;0.20;free\n"
    )
    (row,) = rows(text)
    assert (row.found_go_um, row.found_nogo_um, row.found_feel) == (100, 150, "drag")
    assert (row.left_um, row.left_go_um, row.left_nogo_um, row.left_feel) == (150, 150, 200, "free")


def test_notes_of_a_row_of_valves_belong_to_the_visit():
    found = taken("Date;km;E1 mm;Note\n2019-05-04;1;0.10;oil leak\n")
    assert found.visits["Van"][0].note == "oil leak"
    (first, second) = rows("Date;km;Cyl;In mm;Ex mm;Note\n2019-05-04;1;3;0.10;0.15;rough\n")
    assert (first.note, second.note) == ("rough", "")


def test_an_empty_date_means_the_one_above_where_it_was_understood_so():
    found = taken("Date;km;Valve;Gap mm\n2019-05-04;1;I3;0.10\n;;E3;0.15\n2020-05-04;2;I3;0.10\n;;E3;0.15\n")
    assert [len(visit.log.rows) for visit in found.visits["Van"]] == [2, 2]
    assert found.faults == ()


def test_rows_that_are_no_readings_are_left_out_and_said():
    text = (
        "Workshop book\n\n" + HEAD + line() + "\n" + HEAD + "2019-05-04;1000;;;;;;oil changed;\n"
        + "Total;2000;;;0.15;;;;\n;;;;;;;;\nMeasured by Ann, with her own blades\n"
    )  # fmt: skip
    found = taken(text)
    assert found.faults == ()
    assert found.rows == 1
    assert left_out_words(found.left_out) == (
        "row 6: Date | km | Temp C | Valve | Gap mm | Set mm | Adjusted | Note | By (the heading again)",
        "row 7: 2019-05-04 | 1000 | oil changed (no valve and no gap in it)",
        "row 8: Total | 2000 | 0.15 (a total)",
        "row 10: Measured by Ann, with her own blades (only words)",
    )
    named = taken(
        "Who;Date;km;Valve;Gap mm\nMax;2019-05-04;1000;E3;0.10\nMax;;;;0.10\n"
    )  # Max is a name, too
    assert [left.line for left in named.left_out] == [3]
    wide = taken("Date;km;E1 mm;Note\n2019-05-04;1;0.10;\n2019-06-04;500;;oil changed\n")
    assert left_out_words(wide.left_out) == ("row 3: 2019-06-04 | 500 | oil changed (no gap in it)",)


def test_every_fault_is_listed_at_once_with_its_row_and_column():
    wrong = [
        {"valve": "E9"}, {"valve": "foo"}, {"gap": "abc"}, {"gap": "15"}, {"gap": "0.001"}, {"gap": "-0.1"},
        {"day": "31.2.2019"}, {"day": ""}, {"km": ""}, {"km": "x"}, {"km": "99999999"}, {"temp": "999"},
        {"adjusted": "perhaps"}, {"left": "0.15", "adjusted": "no"}, {"left": "0", "adjusted": "yes"},
        {"gap": "0.15-0.10"},
    ]  # fmt: skip
    text = HEAD + "".join(line(**{"km": str(1000 + n), **cells}) for n, cells in enumerate(wrong))
    assert faults(text, fill_down="no") == [
        "line 2, column 4: Valve: Generic flat-four has no valve E9; it has I1, E1, I2, E2, I3, E3, I4, E4",
        "line 3, column 4: Valve: 'foo' is not a valve; write I or E and the cylinder, like I1 or E3",
        "line 4, column 5: Gap mm: 'abc' is not a number here",
        "line 5, column 5: Gap mm: '15' makes 15 mm, thicker than any blade; is the unit right?",
        "line 6, column 5: Gap mm: '0.001' makes 0.001 mm, thinner than any blade; is the unit right?",
        "line 7, column 5: Gap mm: '-0.1' is less than nothing; if no blade went, write 0",
        "line 8, column 1: Date: '31.2.2019' is not a date here; write it like 2024-05-04",
        "line 9, column 1: Date: the date is empty",
        "line 10, column 2: km: the distance is empty",
        "line 11, column 2: km: 'x' is not a number here",
        "line 12, column 2: km: 99,999,999 is outside 0 to 10,000,000 km",
        "line 13, column 3: Temp C: 999 C is outside -40 to 200 C",
        "line 14, column 7: Adjusted: 'perhaps' is not yes or no",
        "line 15, column 6: Set mm: 0.15 mm is a blade it was set on, but it says that it was not adjusted",
        "line 16, column 6: Set mm: 0 is no blade; leave it empty for the cold gap of I3, 0.15 mm",
        "line 17, column 5: Gap mm: 0.15 mm goes and 0.10 mm does not; the blade that does not go must be the thicker "
        "one",
    ]


def test_a_valve_that_stands_twice_and_two_temperatures_are_faults():
    assert faults(HEAD + line() + line() + line("E3", temp="20")) == [
        "line 3, column 4: I3 stands twice in the visit of 2019-05-04 at 1000 km, first in row 2",
        "line 4, column 3: Temp C: 20 C, but row 2 of the same visit has 18 C; a visit has one temperature",
    ]


def test_a_number_that_can_be_read_in_two_ways_is_a_fault_where_its_column_has_both():
    text = (
        "Date;km;Valve;Gap mm\n2019-05-04;1,5;I3;0.10\n2019-05-05;84.5;I3;0,10\n2019-05-06;84,210;I3;0,10\n"
    )
    assert faults(text) == [
        "line 4, column 2: km: '84,210' can be read as 84210 or as 84.21; write one of these"
    ]


def test_cylinders_engines_and_feels_that_are_none_are_said():
    text = "Date;km;Cyl;In mm\n2019-05-04;1;x;0.10\n2019-05-04;1;;0.10\n"
    assert faults(text) == [
        "line 2, column 3: Cyl: 'x' is not a cylinder",
        "line 3, column 3: Cyl: the cylinder is empty",
    ]
    text = "Date;km;Engine;Valve;Gap mm\n2019-05-04;1;Boat;I3;0.10\n2019-05-04;1;;I3;0.10\n"
    assert faults(text) == [
        "line 2, column 3: Engine: this book has no engine 'Boat'; it has Van",
        "line 3, column 3: Engine: is empty; give the engine’s name in the book",
    ]
    text = "date;km;valve;found_go_mm;found_feel\n2019-05-04;1;I3;0.10;soft\n2019-05-05;2;I3;;drag\n"
    text += "2019-05-06;3;In;0.1;\n"
    assert faults(text) == [
        "line 2, column 5: found_feel: 'soft' is not free or drag",
        "line 3, column 5: found_feel: 'drag' needs the blade that went",
        "line 4, column 3: valve: 'In' does not say which cylinder",
    ]


def test_a_year_that_cannot_be_right_is_said():
    assert faults(HEAD + line(day="1500-01-01")) == ["line 2, column 1: Date: the year 1500 can’t be right"]


def test_words_that_cannot_be_kept_are_said():
    assert faults("Date;km;Valve;Gap mm;By;Note\n2019-05-04;1;I3;0.1;" + "x" * 300 + ";a\x01b\n") == [
        "line 2, column 5: by: 300 characters are too many; 200 is the most",
        "line 2, column 6: note: has a character that can't be kept (U+0001); take it out",
    ]


def test_no_gap_of_0_without_any_blades():
    sheet = read_workbook((HEAD + line(gap="0")).encode(), "f").sheets[0]
    told = corrected(guess(sheet, this_year=2026, engine="Van"), {"single": "went", "column:4:unit": "mm"})
    (fault,) = take(sheet, told, {"Van": FLAT_FOUR}).faults
    assert str(fault) == "line 2, column 5: Gap mm: no blade went: which was the thinnest that was tried?"


def test_a_row_that_was_cut_by_a_decimal_comma_is_that_fault_alone():
    text = "Date,km,Valve,Gap mm,Note\n2019-05-04,1,I3,0.10,\n2019-05-05,2,I3,0,15,x\n"
    assert faults(text) == [
        'line 3: has more fields than the heading; a decimal comma or a comma in a note must stand in quotes: "0,15"'
    ]


def test_an_own_distance_that_falls_is_a_fault_until_it_is_accepted():
    text = HEAD + line(km="1000") + line(day="2020-01-01", km="900")
    assert faults(text) == [
        "line 3, column 2: the distance goes backwards: 900 km on 2020-01-01, but 1000 km on 2019-05-04 (row 2). "
        "If it is what the meter showed, say so; if one is mistyped, correct it"
    ]
    assert faults(text, backwards="yes") == []


def test_a_meters_readings_wait_to_be_reckoned():
    found = taken(
        "Date;Odometer km;Valve;Gap mm\n2019-05-04;1000;I3;0.1\n2020-05-04;900;I3;0.1\n",
        explained__3="replaced",
    )
    assert [(v.meter_reading, v.meter_unit, v.log.distance_m, v.explained) for v in found.visits["Van"]] == [
        (1_000_000, "km", 0, ""), (900_000, "km", 0, "replaced"),
    ]  # fmt: skip
    text = "Date;Odometer km;Valve;Gap mm\n2019-05-04;1000 miles;I3;0.1\n2020-05-04;900 km;I3;0.1\n"
    assert faults(text) == ["line 2, column 2: Odometer km: '1000 miles' is in another unit than its column"]


def test_taking_can_be_watched():
    seen = []
    taken(HEAD + line(), watch=lambda *told: seen.append(told))
    assert seen[-1] == ("understanding", 2, 2)
