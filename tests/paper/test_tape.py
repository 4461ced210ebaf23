"""The geometry of the pulley strip. Expected values are derived by hand from pi (diameter + thickness)."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.engines import flat_four, make_engine

from coldlash.engine.spec import Valve, ValveEvents
from coldlash.errors import InputError
from coldlash.paper.tape import (
    CLEAR_MM,
    LAP_MM,
    MARGIN_MM,
    SIZES_MM,
    Mark,
    flags,
    longest_mm,
    mark_error,
    plan_strip,
)

TWO = [Mark(0), Mark(180)]


def test_the_strip_is_as_long_as_the_way_round_its_own_middle():
    # derived: a strip 0.1 thick on 175 runs on 175.1
    assert plan_strip("clockwise", TWO, diameter_mm=175, thickness_mm=0.1).length_mm == pytest.approx(
        550.0928740
    )


def test_a_circumference_taken_on_the_rim_is_lengthened_by_the_thickness_one_taken_with_the_strip_is_not():
    on_rim = plan_strip("clockwise", TWO, circumference_mm=550, thickness_mm=0.2)
    assert on_rim.length_mm == pytest.approx(550 + math.pi * 0.2)
    with_strip = plan_strip("clockwise", TWO, circumference_mm=550, thickness_mm=0)
    assert with_strip.length_mm == pytest.approx(550, abs=1e-9)


def test_the_ends_meet_in_the_middle_of_the_widest_space_so_that_no_mark_is_cut_in_two():
    assert plan_strip("clockwise", [Mark(0), Mark(350), Mark(10)], diameter_mm=175).join_deg == 180
    assert plan_strip("clockwise", TWO, diameter_mm=175).join_deg == 270
    assert plan_strip("clockwise", [Mark(0)], diameter_mm=175).join_deg == 180


def test_where_the_ends_meet_can_be_chosen():
    strip = plan_strip("clockwise", TWO, diameter_mm=175, join_deg=0)
    assert [mark.at_mm for mark in strip.marks] == pytest.approx([0, strip.length_mm / 2])


def test_the_other_direction_is_the_mirror_image():
    marks = [Mark(0), Mark(350), Mark(20), Mark(180)]
    one = plan_strip("clockwise", marks, diameter_mm=175, join_deg=100)
    other = plan_strip("counterclockwise", marks, diameter_mm=175, join_deg=100)
    mirrored = sorted(one.length_mm - mark.at_mm for mark in one.marks)
    assert [mark.at_mm for mark in other.marks] == pytest.approx(mirrored)
    assert [m.crank_deg for m in other.marks] == [m.crank_deg for m in reversed(one.marks)]


def test_distances_from_tdc_are_the_shorter_way_and_positive_to_the_right():
    strip = plan_strip(
        "clockwise", [Mark(0), Mark(350), Mark(30), Mark(180)], diameter_mm=100, thickness_mm=0
    )
    apart = {mark.crank_deg: mark.from_tdc_mm for mark in strip.marks}
    per_deg = math.pi * 100 / 360
    assert apart == pytest.approx({0: 0, 350: 10 * per_deg, 30: -30 * per_deg, 180: 180 * per_deg}) or apart[
        180
    ] == pytest.approx(-180 * per_deg)


def test_an_angle_given_twice_or_a_turn_apart_is_one_mark_and_keeps_its_name():
    strip = plan_strip("clockwise", [Mark(0), Mark(360, "TDC"), Mark(720), Mark(-10)], diameter_mm=175)
    assert [(m.crank_deg, m.name) for m in strip.marks] == [(0, "TDC"), (350, "")]


@settings(max_examples=200, derandomize=True, deadline=None)
@given(
    st.floats(10, 2000),
    st.sampled_from(["a4", "letter"]),
    st.lists(st.floats(0, 359.9), min_size=1, max_size=12),
    st.floats(8, 60),
)
def test_pieces_follow_each_other_fit_the_paper_and_cut_clear_of_marks_where_they_can(
    diameter, paper, angles, height
):
    strip = plan_strip(
        "clockwise", [Mark(a) for a in angles], diameter_mm=diameter, paper=paper, height_mm=height
    )
    pieces = strip.pieces
    assert pieces[0].start_mm == 0
    assert pieces[-1].end_mm == strip.length_mm
    assert all(a.end_mm == b.start_mm for a, b in pairwise(pieces))
    assert math.fsum(p.length_mm for p in pieces) == pytest.approx(strip.length_mm, abs=1e-9)
    width, tall = SIZES_MM[paper]
    for piece in pieces:
        assert 0 < piece.length_mm + LAP_MM + 2 * MARGIN_MM <= width + 1e-6
        assert piece.row * height < tall
    if len(strip.marks) <= 3 and diameter > 100:
        for piece in pieces[1:]:
            assert all(abs(piece.start_mm - mark.at_mm) >= CLEAR_MM - 1e-6 for mark in strip.marks)


def test_a_small_pulley_needs_one_piece_and_no_more_than_needed_are_made():
    assert len(plan_strip("clockwise", TWO, diameter_mm=20).pieces) == 1
    large = plan_strip("clockwise", TWO, diameter_mm=600)
    assert len(large.pieces) == math.ceil(large.length_mm / longest_mm("a4"))
    assert large.pages == 2


def test_a_mark_one_mm_off_on_a_175_mm_pulley_is_two_thirds_of_a_degree_and_leaves_the_gaps_their_room():
    # check values: 0.655 degrees (exact). Derived: with typical events the least room at the two stops of a
    # flat-four is 180 - EVO = 135 at the exhaust of the cylinder that fires.
    strip = plan_strip("clockwise", [Mark(0)], diameter_mm=175, thickness_mm=0)
    error = mark_error(strip, flat_four())
    assert error.deg_per_mm == pytest.approx(0.6548, abs=1e-4)
    assert (error.valve, error.room_deg) == (Valve("E", 1), 135)
    assert error.room_mm == pytest.approx(135 * math.pi * 175 / 360)
    assert error.unreachable == ()


def test_valves_that_no_mark_reaches_are_named():
    wild = make_engine((1,), events=ValveEvents(170, 170, 170, 170))
    error = mark_error(plan_strip("clockwise", [Mark(190)], diameter_mm=175), wild)
    assert error.valve is None
    assert error.room_mm is None
    assert set(error.unreachable) == {Valve("I", 1), Valve("E", 1)}


def test_without_an_engine_only_the_degrees_are_said():
    error = mark_error(plan_strip("clockwise", TWO, diameter_mm=175))
    assert error.valve is None
    assert error.mm_per_deg == pytest.approx(1 / error.deg_per_mm)


def test_names_give_way_so_that_every_mark_keeps_at_least_its_number():
    strip = plan_strip("clockwise", [Mark(a) for a in (0, 5, 352.5, 350, 180)], diameter_mm=175)
    (piece,) = [p for p in strip.pieces if p.start_mm <= strip.at_mm(0) < p.end_mm]
    marks = [m for m in strip.marks if piece.start_mm <= m.at_mm < piece.end_mm]
    placed = flags(strip, piece, [(m, [("a long name here", 25.0), (str(m.number), 1.5)]) for m in marks])
    assert all(flag.text for flag in placed)
    assert any(flag.text == "a long name here" for flag in placed)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"turns": "widdershins"},
            "turns: 'widdershins' is not a direction; give clockwise or counterclockwise",
        ),
        ({"paper": "a5"}, "paper: 'a5' is not known; give a4 or letter"),
        ({"diameter_mm": None}, "give its diameter or its measured circumference in mm, one of the two"),
        (
            {"circumference_mm": 500.0},
            "give its diameter or its measured circumference in mm, one of the two",
        ),
        ({"diameter_mm": 5.0}, "pulley diameter: 5 mm is out of range; give 10 to 2000 mm"),
        ({"diameter_mm": math.nan}, "pulley diameter: nan mm is out of range"),
        ({"diameter_mm": None, "circumference_mm": 7000.0}, "pulley circumference: 7000 mm is out of range"),
        ({"thickness_mm": -0.1}, "strip thickness: -0.1 mm is out of range; give 0 to 5 mm"),
        ({"height_mm": 5.0}, "strip height: 5 mm is out of range; give 8 to 60 mm"),
        ({"join_deg": math.inf}, "join: inf is no angle"),
        ({"marks": []}, "no marks are wanted; give at least one, such as TDC"),
        ({"marks": [Mark(math.nan, "x")]}, "mark 'x': nan is no angle"),
        ({"marks": [Mark(i * 0.9) for i in range(361)]}, "361 marks are wanted; 360 are as many"),
    ],
)
def test_what_cannot_be_a_strip_is_refused_with_what_is_needed(change, message):
    given = {"turns": "clockwise", "marks": TWO, "diameter_mm": 175.0} | change
    with pytest.raises(InputError, match=message.replace("(", r"\(")):
        plan_strip(given.pop("turns"), given.pop("marks"), **given)
