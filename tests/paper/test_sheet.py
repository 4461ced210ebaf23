"""What the visit sheet says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import inf

import pytest
from tests.engines import flat_four
from tests.paper import cases

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.paper.readings import Band
from coldlash.paper.sheet import SheetValve, sheet_data
from coldlash.wear.record import GapInterval

I1 = Valve("I", 1)


def row(line, *, filled=True):
    """The first row of a sheet whose first valve is this line."""
    sheet = cases.sheet(flat_four(), filled=filled)
    first = replace(sheet.stops[0], valves=(line, *sheet.stops[0].valves[1:]))
    data, _ = sheet_data(replace(sheet, stops=(first, *sheet.stops[1:])))
    return data["stops"][0]["rows"][0]


@pytest.mark.parametrize(
    ("found", "cells"),
    [
        (GapInterval(0.10, 0.15), ["0.10", "0.15"]),
        (GapInterval(-inf, 0.05), ["none", "0.05"]),
        (GapInterval(0.40, inf), ["0.40", "–"]),
        (GapInterval(0.15, 0.15), ["drag 0.15"]),
        (None, ["not measured"]),
    ],
)
def test_a_reading_stands_under_goes_and_not_as_the_blades_said_it(found, cells):
    assert row(SheetValve(I1, found=found))["found"] == cells


def test_a_blank_sheet_has_nothing_where_figures_are_to_be_written():
    line = row(SheetValve(I1), filled=False)
    assert line["found"] == ["", ""]
    assert line["left"] == ["", ""]
    assert line["set"] == line["spin"] == ""


def test_what_was_last_read_and_set_is_said_with_its_month_and_never_is_said_too():
    assert row(SheetValve(I1))["last"] == "never measured"
    line = SheetValve(I1, GapInterval(0.1, 0.13), 0.15, date(2025, 8, 15))
    assert row(line)["last"] == "0.10–0.13, set on 0.15, Aug 2025"


def test_an_expected_range_is_not_drawn_below_nothing():
    assert row(SheetValve(I1, expected=Band(-0.03, 0.08, share=0.98)))["expected"] == "0.00–0.08"
    assert row(SheetValve(I1))["expected"] == "–"


def test_a_record_says_what_was_not_written_down_and_a_form_leaves_it_open():
    filled = cases.sheet(flat_four(), filled=True, air_temp_c=None, by="")
    fields = dict(sheet_data(filled)[0]["fields"])
    assert fields["air"] == fields["by"] == "not written down"
    assert dict(sheet_data(cases.sheet(flat_four()))[0]["fields"])["air"] == ""


def test_valves_out_of_reach_stand_at_the_end_with_the_remedy():
    sheet = cases.sheet(flat_four())
    last = sheet.stops[1].valves[-1]
    cut = replace(sheet.stops[1], valves=sheet.stops[1].valves[:-1])
    data, pictures = sheet_data(replace(sheet, stops=(sheet.stops[0], cut), out_of_plan=(last,)))
    assert data["stops"][-1]["number"] == "Not reached at these stops"
    assert [r["valve"] for r in data["stops"][-1]["rows"]] == [str(last.valve)]
    assert len(pictures) == 8


def test_cautions_stand_in_the_form_and_the_maker_comes_first_on_both():
    form, _ = sheet_data(cases.sheet(flat_four()))
    cautions = form["lists"][0]["cautions"]
    assert "Ignition off and battery disconnected before the engine is turned by hand." in cautions
    assert any("lock-nut" in text for text in cautions)
    record, _ = sheet_data(cases.sheet(flat_four(), filled=True))
    assert record["lists"] == record["closing"] == []
    assert (
        form["maker"]
        == record["maker"]
        == "The maker's manual and local rules come before anything said here."
    )


def test_a_valve_twice_or_of_another_engine_is_refused():
    sheet = cases.sheet(flat_four())
    twice = replace(sheet, out_of_plan=(SheetValve(I1),))
    with pytest.raises(InputError, match="visit sheet: I1 stands twice; give each valve at one stop"):
        sheet_data(twice)
    with pytest.raises(InputError, match="Test engine has no valve I9; it has I1, E1"):
        sheet_data(replace(sheet, out_of_plan=(SheetValve(Valve("I", 9)),)))
