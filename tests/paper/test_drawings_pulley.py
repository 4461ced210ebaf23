"""The pulley read back: marks on the side where the mechanic sees them, turns the way they go."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest
from tests.engines import flat_four, make_engine
from tests.paper.drawn import faults_of_text, figures, number, of_pen, parse, points, texts

from coldlash.bench.stops import Stop, plan_stops
from coldlash.errors import InputError
from coldlash.paper.drawings_pulley import (
    direction,
    mark_words,
    place_of_mark,
    pulley_face,
    turn_words,
)
from coldlash.paper.words import Words

AT_TDC = Stop(0.0, 0.0, 1, 0.0, ())


def centre(root):
    rim = of_pen(root, "body", "circle")[0]
    return number(rim, "cx"), number(rim, "cy"), number(rim, "r")


def angle(root, x, y):
    """Degrees clockwise from the top, -180..180, by the coordinates alone."""
    cx, cy, _ = centre(root)
    return math.degrees(math.atan2(x - cx, cy - y))


def notches(root, pen="blade"):
    """Where the marks stand: their outer ends as angles."""
    return sorted(angle(root, number(e, "x1"), number(e, "y1")) for e in of_pen(root, pen, "line"))


def test_a_mark_10_before_tdc_lies_to_the_right_of_the_tdc_mark_on_a_clockwise_pulley():
    # common practice, the direction rule of the contract: facing a pulley that turns clockwise, pointer on top,
    # marks before TDC lie to the right of the TDC mark and marks after it to the left
    root = parse(pulley_face(flat_four(marks=(0.0, 350.0)), AT_TDC))
    (tdc,) = notches(root, "mark-wanted")
    assert tdc == pytest.approx(0, abs=0.02)
    assert notches(root) == pytest.approx([10], abs=0.02)
    root = parse(pulley_face(flat_four(marks=(0.0, 10.0)), AT_TDC))
    assert notches(root) == pytest.approx([-10], abs=0.02)


def test_it_is_mirrored_when_the_pulley_turns_anticlockwise():
    root = parse(pulley_face(flat_four(marks=(0.0, 350.0), turns="counterclockwise"), AT_TDC))
    assert notches(root) == pytest.approx([-10], abs=0.02)
    root = parse(pulley_face(flat_four(marks=(0.0, 10.0), turns="counterclockwise"), AT_TDC))
    assert notches(root) == pytest.approx([10], abs=0.02)


@pytest.mark.parametrize("turns", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("mark", [0.0, 10.0, 180.0, 350.0])
def test_turning_by_what_a_mark_lacks_brings_it_to_the_pointer(turns, mark):
    # derived: turning a pulley by d the way it turns moves each of its marks by d that way
    engine = flat_four(turns=turns)
    for start in (0.0, 77.0, 271.5):
        lacking = (mark - start) % 360
        place = place_of_mark(engine, mark, start)
        assert (place + direction(engine) * lacking) % 360 == pytest.approx(0, abs=1e-9)
        assert place_of_mark(engine, mark, mark) == pytest.approx(0)


@pytest.mark.parametrize(
    ("turns", "turn", "clockwise"),
    [
        ("clockwise", 180.0, True),
        ("clockwise", -180.0, False),
        ("counterclockwise", 180.0, False),
        ("counterclockwise", -180.0, True),
    ],
)
def test_the_arc_goes_from_the_wanted_mark_to_the_pointer_the_way_of_the_turn(turns, turn, clockwise):
    stop = Stop(180.0, turn, 4, 180.0, ())
    root = parse(pulley_face(flat_four(turns=turns, marks=(0.0, 180.0)), stop))
    (arc,) = of_pen(root, "accent", "path")
    x1, y1, _, _, _, large, sweep, x2, y2 = figures(arc)
    assert abs(angle(root, x1, y1)) == pytest.approx(180, abs=0.05)
    assert sweep == (1 if clockwise else 0)  # published: SVG 2, 9.3.8: sweep flag 1 = clockwise on the screen
    assert large == 0
    assert (angle(root, x2, y2) < 0) == clockwise  # just short of the top, where the head is
    head = of_pen(root, "accent-fill", "polygon")[0]
    tip = points(head)[0]
    assert angle(root, *tip) == pytest.approx(0, abs=0.05)
    assert notches(root, "mark-wanted") == pytest.approx([180], abs=0.05) or notches(
        root, "mark-wanted"
    ) == pytest.approx([-180], abs=0.05)


@pytest.mark.parametrize(("turn", "total"), [(360.0, 360), (-360.0, -360), (540.0, 540), (720.0, 720)])
def test_a_full_turn_and_more_is_a_coil_that_does_not_close_on_itself(turn, total):
    root = parse(pulley_face(flat_four(), Stop(0.0, turn, 1, 0.0, ())))
    (coil,) = of_pen(root, "accent", "polyline")
    cx, cy, _ = centre(root)
    run = points(coil)
    swept = 0.0
    for (x1, y1), (x2, y2) in itertools.pairwise(run):
        a, b = math.atan2(y1 - cy, x1 - cx), math.atan2(y2 - cy, x2 - cx)
        swept += math.degrees((b - a + math.pi) % (2 * math.pi) - math.pi)
    assert swept == pytest.approx(total, abs=15)  # less the length of the arrow's head
    radii = [math.hypot(x - cx, y - cy) for x, y in run]
    assert radii == sorted(radii)
    assert radii[-1] - radii[0] > 5


def test_a_place_without_a_mark_is_shown_and_said():
    stop = plan_stops(flat_four(), "cylinder").stops[1]
    drawing = pulley_face(flat_four(), stop)
    root = parse(drawing)
    assert len(of_pen(root, "mark-missing", "line")) == 1
    assert not of_pen(root, "mark-wanted")
    assert "There is no mark for this place" in drawing.desc
    assert "The place that has no mark stands opposite the pointer before the turn." in drawing.desc
    assert {"no mark", "here"} <= {box.words for box in texts(root)}


def test_a_mark_added_later_is_found_at_the_stop():
    stop = plan_stops(flat_four(), "cylinder").stops[1]
    root = parse(pulley_face(flat_four(), stop, marks=[0, 180]))
    assert len(of_pen(root, "mark-wanted")) == 1
    assert not of_pen(root, "mark-missing")


def test_the_first_stop_shows_the_way_of_turning_and_no_turn():
    drawing = pulley_face(flat_four(), plan_stops(flat_four()).stops[0])
    assert drawing.title == "Pulley: Turn with the engine's rotation until TDC 1 and 3 meets the pointer"
    root = parse(drawing)
    assert of_pen(root, "accent-thin", "path")
    assert not of_pen(root, "accent", "path")
    unmarked = pulley_face(make_engine((1,), marks=()), plan_stops(make_engine((1,), marks=())).stops[0])
    assert unmarked.desc.startswith("Turn with the engine's rotation until you are there. There is no mark")


def test_the_text_alternative_says_turn_mark_cylinder_and_places():
    engine = flat_four(marks=(0.0, 180.0, 350.0))
    drawing = pulley_face(engine, plan_stops(engine, "cylinder").stops[1])
    assert drawing.desc == (
        "One half turn with the engine's rotation. Then the mark TDC 2 and 4 meets the pointer. "
        "That is firing TDC of cylinder 4. The pulley as you face it; the engine turns it clockwise; "
        "the pointer is on top. Before the turn TDC 1 and 3 stands at the pointer. Before the turn TDC 2 and 4 "
        "stands opposite the pointer. Before the turn 10° before TDC 1 stands 10 degrees to the right of the pointer."
    )
    assert drawing.table()[1:] == (
        ("TDC 1 and 3", "0", "0"),
        ("TDC 2 and 4", "180", "180"),
        ("10° before TDC 1", "350", "10"),
    )
    anticlockwise = pulley_face(replace(engine, turns="counterclockwise"), AT_TDC)
    assert "10 degrees to the left of the pointer" in anticlockwise.desc
    assert "turns it anticlockwise" in anticlockwise.desc


@pytest.mark.parametrize(
    ("turn", "words"),
    [
        (180, "one half turn with the engine's rotation"),
        (-180, "one half turn against the engine's rotation"),
        (360, "one full turn with the engine's rotation"),
        (90, "a quarter turn with the engine's rotation"),
        (120, "a third of a turn with the engine's rotation"),
        (270, "three quarters of a turn with the engine's rotation"),
        (-540, "one and a half turns against the engine's rotation"),
        (77.5, "77.5 degrees with the engine's rotation"),
        (0, "no turn"),
    ],
)
def test_turns_are_said_in_words(turn, words):
    assert turn_words(turn) == words


def test_marks_are_said_in_two_short_lines():
    engine = flat_four()
    assert mark_words(engine, 0) == ("TDC", "1 and 3")
    assert mark_words(engine, 352.5) == ("7.5°", "before TDC 1")
    assert mark_words(engine, 352.5, Words(decimal=",")) == ("7,5°", "before TDC 1")
    assert mark_words(engine, 10) == ("10°", "after TDC 1")
    # derived: on a wasted single all TDCs of one turn are cylinder 1's
    assert mark_words(make_engine((1,)), 0) == ("TDC", "1")


@pytest.mark.parametrize("turns", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("count", [0, 1, 3, 5, 9, 18, 36])
def test_words_of_marks_never_touch_however_many_there_are(turns, count):
    engine = flat_four(marks=tuple(i * 360 / count for i in range(count)), turns=turns)
    for stop in plan_stops(engine, "cylinder").stops:
        assert faults_of_text(pulley_face(engine, stop)) == []


def test_marks_too_many_for_words_are_in_the_table():
    engine = flat_four(marks=tuple(range(0, 360, 10)))
    drawing = pulley_face(engine, AT_TDC)
    assert len(drawing.table()) == 37
    assert "90°" not in {box.words for box in texts(parse(drawing))}


def test_a_short_turn_still_has_an_arrow_that_can_be_seen():
    root = parse(pulley_face(flat_four(), Stop(0.0, 3.0, 1, 0.0, ())))
    assert of_pen(root, "accent", "path")
    assert any(box.words == "3°" for box in texts(root))


def test_a_face_too_narrow_for_words_is_refused():
    with pytest.raises(InputError, match="a pulley needs a width of 300 or more, not 200"):
        pulley_face(flat_four(), AT_TDC, width=200)
