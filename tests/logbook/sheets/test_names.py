"""Words of headings and cells, English and German."""

from __future__ import annotations

import pytest

from coldlash.logbook.sheets.names import (
    kind_letter,
    letters_of,
    role_of,
    step_of,
    unit_in,
    valve_heading,
    valve_parts,
    yes_or_no,
)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("E3", ("E", 3)), ("3E", ("E", 3)), ("e 3", ("E", 3)), ("Ex 3", ("X", 3)), ("Exhaust #3", ("X", 3)),
        ("Cyl. 3 exhaust", ("X", 3)), ("Auslass 3", ("A", 3)), ("3. Zyl. Aus", ("A", 3)), ("A3", ("A", 3)),
        ("In 2", ("I", 2)), ("Inlet valve 2", ("I", 2)), ("Einlaß 2", ("G", 2)), ("Zylinder 12 Einlass", ("G", 12)),
        ("Intake", ("I", None)), ("E", ("E", None)),
        ("3", None), ("E0", None), ("E123", None), ("E3 I3", None), ("note", None), ("", None),
    ],
)  # fmt: skip
def test_valves_are_known_by_many_names(text, parts):
    assert valve_parts(text) == parts


def test_what_e_means_is_told_by_the_letters_beside_it():
    # common practice: English I and E (intake, exhaust), German E and A (Einlass, Auslass)
    assert letters_of({"I", "E"}) == "en"
    assert letters_of({"A", "E"}) == "de"
    assert letters_of({"E"}) == ""
    assert letters_of({"I", "A", "E"}) == ""
    assert letters_of({"G", "A"}) == "en"  # words need no telling
    assert [kind_letter(k, "de") for k in "EAGXI"] == ["I", "E", "I", "E", "I"]
    assert [kind_letter(k, "en") for k in "EAGXI"] == ["E", "E", "I", "E", "I"]
    assert kind_letter("E", "") is None


@pytest.mark.parametrize(
    ("heading", "role"),
    [
        ("Date", "date"), ("Datum", "date"), ("Date of check", "date"), ("km", "distance"), ("km-Stand", "distance"),
        ("Odometer (miles)", "distance"), ("Betriebsstunden", "distance"), ("Engine temp. (°C)", "temperature"),
        ("Motortemperatur", "temperature"), ("Valve", "valve"), ("Zyl.", "cylinder"), ("Gap found (mm)", "found"),
        ("Ventilspiel [mm]", "found"), ("found_go_mm", "found_go"), ("No-Go", "found_nogo"), ("adjusted?", "adjusted"),
        ("Set to", "left"), ("eingestellt auf (mm)", "left"), ("Bemerkungen", "note"), ("Checked by", "by"),
        ("Engine", "engine"), ("Found no go", "found_nogo"), ("Left no-go mm", "left_nogo"),
        ("Own km", "distance"), ("Does not", "found_nogo"), ("weather", None), ("", None),
    ],
)  # fmt: skip
def test_headings_say_what_a_column_is(heading, role):
    assert role_of(heading) == role


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Gap (mm)", "mm"), ("Spiel in Zoll", "in"), ("Gap, thou", "thou"), ("Spiel [1/100 mm]", "0.01mm"),
        ("Temp °F", "F"), ("Temp (C)", "C"), ("Odometer (miles)", "mile"), ("km", "km"), ("found_go_mm", "mm"),
        ("In", ""), ("Gap", ""), ("Cylinder in", "in"),
    ],
)  # fmt: skip
def test_headings_say_the_unit(heading, unit):
    assert unit_in(heading) == unit


def test_a_heading_can_name_the_step_and_the_valve():
    assert step_of("E3 found (mm)") == ("found", "e3")
    assert step_of("Auslass 3 eingestellt") == ("left", "auslass 3")
    assert step_of("E3 no-go") == ("found_nogo", "e3")
    assert step_of("E3") == ("found", "e3")
    assert step_of("E3 left no go") == ("left_nogo", "e3")


@pytest.mark.parametrize(
    ("heading", "found"),
    [
        ("#1 In", ("found", "I1")), ("E1 in", ("found", "E1")), ("E1 (in)", ("found", "E1")),
        ("In 1 set", ("left", "I1")),
        ("Intake", ("found", "I")), ("In", ("found", "I")), ("I", None), ("Gap in", None), ("Note", None),
    ],
)  # fmt: skip
def test_in_is_an_intake_where_it_can_be_one_and_else_an_inch(heading, found):
    assert valve_heading(heading) == found


@pytest.mark.parametrize(
    ("cell", "said"),
    [("x", True), ("Ja", True), ("yes", True), (True, True), (1.0, True), ("nein", False), ("no", False), (0.0, False),
     ("perhaps", None), (0.15, None), (None, None)],
)  # fmt: skip
def test_yes_and_no_are_known_in_words_and_marks(cell, said):
    assert yes_or_no(cell) is said
