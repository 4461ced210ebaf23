"""What a sheet says of itself, what has to be asked, and what a person may correct."""

from __future__ import annotations

import pytest

from coldlash.errors import InputError
from coldlash.language import using
from coldlash.logbook.sheets.guessing import guess, retold
from coldlash.logbook.sheets.questions import questions
from coldlash.logbook.sheets.understanding import Column, Understanding, corrected, valve_words
from coldlash.logbook.sheets.workbook import read_workbook


def understood(text: str, **more):
    sheet = read_workbook(text.encode(), "f").sheets[0]
    return sheet, guess(sheet, this_year=2026, **more)


def asked(text: str, **more) -> dict[str, str]:
    sheet, told = understood(text, **more)
    return {question.key: question.text for question in questions(sheet, told)}


def roles(told: Understanding) -> list[str]:
    return [column.role + (f":{column.valve}" if column.valve else "") for column in told.columns]


CLEAR = (
    "Date;Distance km;Temp (C);Valve;Gap go mm;No-go mm;Adjusted;Set to mm;Note\n"
    "2019-05-04;84210;18;E3;0.10;0.15;yes;0.15;x\n"
)


def test_a_sheet_that_says_everything_leaves_nothing_to_ask():
    sheet, told = understood(CLEAR.replace("Gap go mm", "Goes mm"), engine="Van")
    assert roles(told) == [
        "date", "distance", "temperature", "valve", "found_go", "found_nogo", "adjusted", "left", "note",
    ]  # fmt: skip
    assert questions(sheet, told) == ()


def test_everything_that_is_not_said_is_asked_at_once():
    assert asked(
        "Date;Odometer;Temp;Valve;Gap\n4/5/2019;84,210;18;E3;0.15\n3/6/2020;89,500;18;I3;0.15\n"
    ) == {
        "engine": "Of which engine are these readings?",
        "column:0:order": "Date: which day is 4/5/2019?",
        "column:1:decimal": "Odometer: is the mark in 84,210 a decimal comma or does it group thousands?",
        "column:1:unit": "Odometer: in which unit is it?",
        "column:2:unit": "Temp: in which unit is it?",
        "single": "One number is given for a gap found: what does it mean?",
    }


def test_columns_that_are_missing_are_asked_for():
    assert asked("foo;bar\n1;2\n") == {
        "column:date": "Which column has the date?",
        "column:distance": "Which column has the distance (km, miles or hours)?",
        "column:found": "Which columns have the gaps?",
        "engine": "Of which engine are these readings?",
    }
    told = asked("Date;km;Gap mm\n2019-05-04;1;0.15\n", engine="Van")
    assert told["column:valve"] == "Which column says which valve it was, or which columns are of which?"
    told = asked("Date;km;Intake mm;Exhaust mm\n2019-05-04;1;0.15;0.15\n", engine="Van")
    assert told["column:cylinder"] == "Which column has the cylinder?"


def test_dates_whose_order_cannot_be_seen_at_all_are_asked_plainly():
    sheet, told = understood("Date;km;Valve;Gap\n13/5/2019;1;I3;0.15\n5/13/2020;2;E3;0.15\n", engine="Van")
    (question,) = [q for q in questions(sheet, told) if q.key.endswith("order")]
    assert question.text == "Date: in which order are day, month and year?"
    assert [value for value, _ in question.choices] == ["ymd", "dmy", "mdy"]


def test_e_alone_in_a_german_sheet_is_asked_and_in_an_english_one_is_the_exhaust():
    assert (
        asked("Datum;km;Ventil;Spiel mm\n2019-05-04;1;E3;0,15\n", engine="V")["letters"]
        == "Which valve is E?"
    )
    assert "letters" not in asked("Date;km;Valve;Gap mm\n2019-05-04;1;E3;0.15\n", engine="V")
    _, told = understood("Datum;km;Ventil;Spiel mm\n2019-05-04;1;E3;0,15\n2019-05-04;1;A3;0,15\n")
    assert told.letters == "de"


def test_the_heading_is_found_below_titles_and_blank_rows():
    _, told = understood(
        "Workshop book;;\nof the island museum;;\n;;\n\nDate;km;Valve;Gap mm\n2019-05-04;1;E3;0.15\n"
    )
    assert (told.head, told.head_rows) == (5, 1)
    assert told.columns[3].heading == "Gap mm"


@pytest.mark.parametrize(
    "text",
    [
        "Date;km;E1;;I1;\n;;found;set;found;set\n2019-05-04;1;0.10;0.15;0.10;0.15\n",
        "Date;km;found;;set;\n;;E1;I1;E1;I1\n2019-05-04;1;0.10;0.10;0.15;0.15\n",
    ],
)
def test_a_heading_of_two_rows_is_one_heading(text):
    _, told = understood(text)
    assert told.head == 2
    assert sorted(roles(told)) == ["date", "distance", "found:E1", "found:I1", "left:E1", "left:I1"]


def test_a_column_a_valve_is_understood():
    _, told = understood("Date;km;Exhaust 1 (mm);In 1 (mm);E1 set\n2019-05-04;1;0.10;0.15;0.15\n")
    assert roles(told) == ["date", "distance", "found:X1", "found:I1", "left:E1"]
    assert [valve_words(column.valve, "en") for column in told.columns[2:]] == ["E1", "I1", "E1"]
    assert told.wide


def test_an_intake_that_ends_in_in_is_no_inch():
    _, told = understood("Date;km;#1 In;#1 Ex\n2019-05-04;1;0.15;0.20\n")
    assert [(c.role, c.valve, c.unit) for c in told.columns[2:]] == [
        ("found", "I1", "mm"),
        ("found", "X1", "mm"),
    ]


def test_the_cells_decide_where_the_words_can_mean_two_things():
    _, told = understood("Datum;km;Ventil;Spiel;eingestellt\n2019-05-04;1;A3;0,15;ja\n")
    assert told.columns[4].role == "adjusted"
    _, told = understood("Date;km;Valve;Gap;Adjusted\n2019-05-04;1;I3;0.10;0.15\n")
    assert told.columns[4].role == "left"
    _, told = understood("Date;km;Cyl;Valve;Gap\n2019-05-04;1;3;In;0.10\n")
    assert told.columns[3].role == "kind"


def test_columns_that_are_not_understood_are_not_used():
    _, told = understood("Date;km;Weather;Valve;Gap;Empty;km;By;Engine\n2019-05-04;1;rain;I3;0.10;;2;5;7\n")
    assert roles(told) == ["date", "distance", "ignore", "valve", "found", *["ignore"] * 4]


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (["0.15", "0.10"], "mm"),
        (["0.006", "0.008"], "in"),
        ([".006", ".012"], "in"),
        (["0.04", "0.045"], ""),  # 0.04 mm, or 0.04 in = 1 mm
        (["6", "8"], ""),
        (["0.15 mm"], "mm"),
        (["6 thou"], "thou"),
        (["0"], ""),
    ],
)
def test_the_unit_of_gaps_is_told_only_where_just_one_can_be(cells, unit):
    rows = "".join(f"2019-05-0{n};{n};I3;{cell}\n" for n, cell in enumerate(cells, 1))
    _, told = understood(f"Date;km;Valve;Gap\n{rows}")
    assert told.columns[3].unit == unit


def test_an_empty_date_below_a_date_is_the_one_above():
    _, told = understood("Date;km;Valve;Gap\n2019-05-04;1;I3;0.10\n;;E3;0.15\n")
    assert told.fill_down
    _, told = understood("Date;km;Valve;Gap\n2019-05-04;1;I3;0.10\n;;a note;\n")
    assert not told.fill_down


@pytest.mark.parametrize(
    ("heading", "means"),
    [
        ("Odometer km", "meter"),
        ("km-Stand", "meter"),
        ("distance_km", "own"),
        ("Engine mileage km", "own"),
        ("km", "own"),
    ],
)
def test_the_words_tell_a_meter_from_the_engines_own_distance(heading, means):
    _, told = understood(f"Date;{heading};Valve;Gap\n2019-05-04;1;I3;0.10\n")
    assert told.distance_is == means


def test_a_sheet_without_a_heading_is_all_questions():
    _, told = understood("2019-05-04;84210;I3;0.15\n2020-05-04;89210;I3;0.15\n")
    assert (told.head, told.head_rows) == (0, 0)
    assert roles(told) == ["date", "ignore", "ignore", "ignore"]
    assert told.name(1) == "column B"


def test_the_row_of_the_heading_can_be_given():
    sheet, _ = understood(CLEAR)
    assert guess(sheet, this_year=2026, heading=2).columns[0].heading == "2019-05-04"
    assert guess(sheet, this_year=2026, heading=0).head == 0
    with pytest.raises(InputError, match="there is no row 9 in this sheet"):
        guess(sheet, this_year=2026, heading=9)


# --- corrections ---


def test_a_person_can_correct_everything():
    _, told = understood(CLEAR)
    told = corrected(
        told,
        {
            "column:4:role": "found:E3", "column:4:unit": "in", "column:4:decimal": ",", "column:0:order": "mdy",
            "column:8:role": "ignore", "single": "felt", "letters": "de", "distance_is": "meter", "fill_down": "yes",
            "backwards": "yes", "engine": "Van", "explained:7": "rolled over", "column:1:unit": "",
        },
    )  # fmt: skip
    assert told.columns[4] == Column(told.columns[4].heading, "found", "X3", "in", ",", "")
    assert told.columns[0].order == "mdy"
    assert (told.columns[1].unit, told.columns[8].role) == ("km", "ignore")
    assert (told.single, told.letters, told.distance_is, told.engine) == ("felt", "de", "meter", "Van")
    assert (told.fill_down, told.backwards, told.explained) == (True, True, {7: "rolled over"})
    assert corrected(told, {"explained:7": ""}).explained == {}


def test_a_column_that_becomes_something_else_loses_its_unit():
    _, told = understood(CLEAR)
    assert corrected(told, {"column:1:role": "temperature"}).columns[1].unit == ""
    assert corrected(told, {"column:7:role": "left_go"}).columns[7].unit == "mm"


ODD = "when;run;what;a;b\n2022-01-05;9000;E1;0,10;<0,15\n2022-01-05;9000;A1;0,15;<0,2\n"


def test_a_column_that_a_person_names_is_measured_by_its_cells():
    sheet, told = understood(ODD, heading=1, engine="Van")
    told = retold(
        sheet, told, {"column:1:role": "distance", "column:3:role": "found", "column:4:role": "left"}
    )
    # 0,10 and 0,15 can only be decimal commas; as inches they would be 2.5 and 3.8 mm, which no gap is.
    assert [(c.unit, c.decimal) for c in told.columns] == [
        ("", ""), ("", "."), ("", ""), ("mm", ","), ("mm", ","),
    ]  # fmt: skip
    assert [each.key for each in questions(sheet, told)] == ["column:valve", "column:1:unit", "single"]


def test_what_hangs_on_a_column_is_guessed_again_but_for_what_a_person_said():
    sheet, told = understood(ODD, heading=1)
    assert told.letters == "en"  # no column of valves is known yet
    assert retold(sheet, told, {"column:2:role": "valve"}).letters == "de"
    assert retold(sheet, told, {"column:2:role": "valve", "letters": "en"}).letters == "en"
    said = retold(sheet, told, {"distance_is": "meter", "fill_down": "yes"})
    later = retold(sheet, said, {"column:1:role": "distance", "column:2:role": "valve"})
    assert (later.distance_is, later.fill_down, later.letters) == ("meter", True, "de")


def test_a_question_shows_the_number_that_can_be_read_in_two_ways():
    sheet, told = understood("Date;Own km;Valve;Gap mm\n2022-01-05;9000;E1;<4,125\n")
    (gap,) = [each for each in questions(sheet, told) if each.key.endswith("decimal")]
    assert "the mark in 4,125 a decimal comma" in gap.text
    assert gap.choices == ((".", "4,125 is 4125"), (",", "4,125 is 4.125"))
    with using("de"):
        (gap,) = [each for each in questions(sheet, told) if each.key.endswith("decimal")]
    assert gap.choices[1][1].endswith("ist 4,125")


def test_totals_say_nothing_of_how_a_column_is_written():
    rows = "Date;km;Valve;Gap mm\n2022-01-05;9000;E1;0,15\n{first};;;0.15\n"
    assert understood(rows.format(first="Average"))[1].columns[3].decimal == ","
    assert understood(rows.format(first="2023-01-05"))[1].columns[3].decimal == "either"


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("column:99:role", "date", "there is no column 99"),
        ("column:0:role", "weather", "'weather' is nothing a column can be"),
        ("column:0:role", "date:E3", "only columns of gaps belong to a valve"),
        ("column:0:role", "found:foo", "'foo' is not a valve"),
        ("column:1:unit", "mm", "'mm' is not one of km, mile, h"),
        ("column:0:unit", "mm", "'mm' is not one of -"),
        ("column:1:decimal", ";", "is not one of"),
        ("column:0:order", "ydm", "is not one of ymd, dmy, mdy"),
        ("column:0:colour", "red", "nothing called 'colour' to be told about a column"),
        ("single", "maybe", "is not one of went, felt"),
        ("backwards", "maybe", "is not one of yes, no"),
        ("weather", "rain", "nothing called 'weather' to be told about a sheet"),
        ("explained:x", "replaced", "'x' is not the number of a row"),
        ("explained:7", "stolen", "is not one of rolled over, replaced"),
    ],
)
def test_a_correction_that_is_none_is_said(key, value, says):
    _, told = understood(CLEAR)
    with pytest.raises(InputError, match=says):
        corrected(told, {key: value})


def test_an_understanding_is_kept_as_json_and_comes_back():
    _, told = understood(CLEAR, blades_um=(50, 100))
    told = corrected(told, {"explained:7": "replaced"})
    assert Understanding.from_json(told.as_json()) == told
    with pytest.raises(InputError, match="this is not how a sheet is understood"):
        Understanding.from_json('{"kind":"log"}')
