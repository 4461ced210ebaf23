"""What the printed strip says around its pieces."""

from __future__ import annotations

from datetime import date

import pytest
from tests.engines import flat_four, make_engine
from tests.paper.pdfs import text_of

from coldlash.engine.spec import ValveEvents
from coldlash.paper.tape import Mark, plan_strip
from coldlash.paper.tape_page import StripPage, print_strip, strip_data
from coldlash.paper.words import Words

DAY = date(2026, 5, 31)


TWO = (Mark(0), Mark(180))


def data(marks=TWO, engine=None, words=None, turns="clockwise", diameter=175.0):
    page = StripPage(
        plan_strip(turns, marks, diameter_mm=diameter), DAY, "Van engine" if engine else "", engine
    )
    return strip_data(page, words) if words else strip_data(page)


def section(said, title):
    return next(s for s in said["sections"] if s["title"] == title)


def test_marks_are_named_by_the_cylinders_of_the_engine_or_by_degrees():
    rows = section(data(engine=flat_four()), "The marks")["table"]["rows"]
    assert [row[1] for row in rows] == ["TDC 2 and 4", "TDC 1 and 3"]
    rows = section(data((Mark(0), Mark(350, "static timing"), Mark(5))), "The marks")["table"]["rows"]
    assert [row[1] for row in rows] == ["5° after TDC 1", "TDC 1", "static timing (10° before TDC 1)"]
    # derived: pi (175 + 0.1) x 10 / 360
    assert [row[4] for row in rows] == ["7.64 left", "0", "15.28 right"]


def test_it_says_how_far_a_mm_is_and_whether_that_matters():
    said = " ".join(section(data(engine=flat_four()), "How exact must it be?")["paragraphs"])
    assert "A mark 1 mm off is 0.65° off; 1° is 1.53 mm." in said
    assert "E1 has the least room, 135° or 206 mm of rim before it begins to open." in said
    assert "A mark a few mm off does not matter there." in said
    assert "timing is usually wanted within 1°, which is 1.5 mm here (common practice)" in said


def test_little_room_is_said_to_be_little_and_valves_out_of_reach_are_named():
    tight = make_engine((1,), events=ValveEvents(130, 150, 150, 130))
    said = " ".join(section(data((Mark(0),), tight, diameter=20.0), "How exact must it be?")["paragraphs"])
    assert "That is little: the marks must be right to a fraction of it." in said
    wild = make_engine((1,), events=ValveEvents(170, 170, 170, 170))
    said = " ".join(section(data((Mark(190),), wild), "How exact must it be?")["paragraphs"])
    assert "Not to be checked at these marks: I1, E1." in said


def test_without_an_engine_it_says_what_most_engines_have():
    said = " ".join(section(data(), "How exact must it be?")["paragraphs"])
    assert "Give the engine, and its own room is printed here." in said


@pytest.mark.parametrize(
    ("turns", "side", "arrow"), [("clockwise", "right", "way →"), ("counterclockwise", "left", "← the")]
)
def test_the_fold_method_and_the_arrow_follow_the_direction(turns, side, arrow):
    said = data(turns=turns)
    assert f"marks before TDC lie to the {side} of it" in " ".join(
        section(said, "Without a printer: fold it")["steps"]
    )
    assert arrow in said["pages"][0][0]["caption"]


def test_cautions_come_before_the_crank_is_turned():
    assert section(data(), "How to use it")["cautions"] == [
        "Ignition off and battery disconnected before the engine is turned by hand.",
        "Gearbox in neutral, brake on, wheels chocked.",
        "Nobody touches the starter or the ignition while a hand or spanner is on the pulley.",
    ]


def test_one_piece_needs_no_gluing_of_pieces():
    one = section(data(diameter=60.0), "How to use it")["steps"]
    many = section(data(), "How to use it")["steps"]
    assert len(many) == len(one) + 1
    assert data(diameter=60.0)["pages"][0][0]["name"] == "The strip"


def test_a_decimal_comma_is_used_where_the_words_have_one():
    said = data(words=Words(decimal=","))
    assert "0,65°" in " ".join(section(said, "How exact must it be?")["paragraphs"])


def test_a_strip_without_a_tdc_line_is_laid_on_by_a_mark_that_is_known():
    steps = " ".join(section(data((Mark(350),)), "How to use it")["steps"])
    assert "There is no TDC line on this strip" in steps
    assert "slide the strip until its TDC line" in " ".join(section(data(), "How to use it")["steps"])


def test_the_pulley_is_drawn_with_its_marks_where_the_engine_is_known_and_they_can_be_told_apart():
    def titles(marks, engine):
        strip = plan_strip("clockwise", marks, diameter_mm=175.0)
        return text_of(print_strip(StripPage(strip, DAY, "Van", engine)).pdf)

    title = "With TDC at the pointer it looks like this"
    assert title in titles(TWO, flat_four())
    assert title not in titles(TWO, None)
    assert title not in titles([Mark(i * 20.0) for i in range(18)], flat_four())
