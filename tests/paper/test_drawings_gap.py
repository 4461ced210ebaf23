"""The gap scale read back from its SVG: to scale, honest about open ends, never a dot."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.paper.drawn import faults_of_text, number, of_pen, parse, points, texts
from tests.paper.gallery import COARSE, FINE, SPEC

from coldlash.engine.spec import GapSpec
from coldlash.errors import InputError
from coldlash.paper.drawings_gap import Scale, bar, compact_scale, gap_scale, gap_steps, scale_range
from coldlash.paper.readings import Band, GapView
from coldlash.paper.svg import Canvas
from coldlash.paper.words import ENGLISH, Words
from coldlash.wear.record import GapInterval

READING = GapView("E3", SPEC, GapInterval(0.10, 0.15), Band(0.11, 0.17, 0.125, 0.155), blades_mm=COARSE)


def at_axis(root):
    """Pixels of the ticks on the axis: 0 first, then the blades (all start at the foot or 4 above it)."""
    return sorted(number(e, "x1") for e in of_pen(root, "tick", "line"))


def mm_at(root):
    """Pixels to mm from the 0 tick and the set point of 0.15."""
    (set_line,) = of_pen(root, "set", "line")
    zero, fifteen = at_axis(root)[0], number(set_line, "x1")
    return lambda x: (x - zero) * 0.15 / (fifteen - zero)


def test_blade_ticks_stand_exactly_to_scale():
    root = parse(gap_scale(READING))
    ticks = at_axis(root)
    shown = [mm for mm in COARSE if mm <= 0.5]
    mm = mm_at(root)
    # derived: equal thickness steps are equal steps on the paper, to the hundredth of a pixel that is written
    assert [mm(x) for x in ticks] == pytest.approx([0.0, *shown], abs=1e-4)


def test_a_reading_is_a_bar_between_its_two_blade_ticks():
    root = parse(gap_scale(READING))
    mm = mm_at(root)
    bars = [e for e in of_pen(root, "measured", "polygon") if len(points(e)) == 4]
    xs = sorted({x for x, _ in points(bars[0])})
    assert [mm(x) for x in xs] == pytest.approx([0.10, 0.15], abs=1e-4)
    ticks = sorted(number(e, "x1") for e in of_pen(root, "blade", "line"))
    assert set(xs) <= set(ticks)
    assert not list(root.iter("{http://www.w3.org/2000/svg}circle"))


def test_the_expected_range_is_a_soft_band_with_its_core():
    root = parse(gap_scale(READING))
    mm = mm_at(root)
    (outer, *_), (core, *_) = of_pen(root, "band", "rect"), of_pen(root, "band-core", "rect")
    for element, (lo, hi) in ((outer, (0.11, 0.17)), (core, (0.125, 0.155))):
        x, width = number(element, "x"), number(element, "width")
        assert (mm(x), mm(x + width)) == pytest.approx((lo, hi), abs=1e-4)


def test_limits_and_set_point_stand_where_they_are():
    root = parse(gap_scale(READING))
    mm = mm_at(root)
    for pen, value in (("tight", 0.05), ("loose", 0.30)):
        line = of_pen(root, pen, "line")[0]
        assert number(line, "x1") == number(line, "x2")
        assert mm(number(line, "x1")) == pytest.approx(value, abs=1e-4)


@pytest.mark.parametrize(
    ("reading", "end", "blade"),
    [(GapInterval(-inf, 0.05), 4.0, 0.05), (GapInterval(0.45, inf), 324.0, 0.45)],
)
def test_an_end_that_no_blade_bounds_is_torn_off_at_the_edge(reading, end, blade):
    root = parse(gap_scale(GapView("E3", SPEC, reading, blades_mm=COARSE)))
    torn = next(e for e in of_pen(root, "measured", "polygon") if len(points(e)) > 4)
    at_edge = [point for point in points(torn) if point[0] == end]
    assert len(at_edge) == 3  # teeth, not a straight end
    ticks = [number(e, "x1") for e in of_pen(root, "blade", "line")][:1]
    assert [mm_at(root)(x) for x in ticks] == pytest.approx([blade], abs=1e-4)


def test_what_was_not_measured_is_left_open_with_the_word():
    root = parse(gap_scale(GapView("E3", SPEC, None, READING.expected, blades_mm=COARSE)))
    assert of_pen(root, "unknown", "rect")
    assert [p for e in of_pen(root, "measured", "polygon") for p in points(e) if len(points(e)) >= 4] == []
    assert sum(box.words.endswith("not measured") for box in texts(root)) == 2


def test_drag_is_one_blade_and_no_bar():
    root = parse(gap_scale(GapView("E3", SPEC, GapInterval(0.15, 0.15), blades_mm=COARSE)))
    (mark,) = [e for e in of_pen(root, "measured", "polygon") if len(points(e)) == 4]
    assert len({x for x, _ in points(mark)}) == 1
    assert any(box.words == "Found: drag on 0.15" for box in texts(root))


def test_found_set_and_left_are_three_different_marks():
    view = GapView("E4", SPEC, GapInterval(0.2, 0.23), None, GapInterval(0.13, 0.18), 0.15, FINE)
    root = parse(gap_scale(view))
    mm = mm_at(root)
    (left,) = of_pen(root, "reread", "polygon")
    assert sorted({round(mm(x), 3) for x, _ in points(left)}) == [0.13, 0.18]
    flag = of_pen(root, "target", "polygon")[0]
    assert mm(min(x for x, _ in points(flag))) == pytest.approx(0.15, abs=1e-4)
    said = [box.words for box in texts(root)]
    assert {
        "Found: 0.20 goes, 0.23 does not",
        "Left: 0.13 goes, 0.18 does not",
        "Set on the 0.15 blade",
    } <= set(said)


def test_the_text_alternative_says_the_figures():
    drawing = gap_scale(READING)
    said = drawing.desc.replace("\u00a0", " ")
    for words in ("0.10 goes, 0.15 does not", "0.11 to 0.17 mm (9 in 10)", "below 0.05 mm", "above 0.30 mm"):
        assert words in said
    assert drawing.title == "Gap of E3"
    assert ("found", "0.10", "0.15") in drawing.table()
    assert ("limits", "0.05", "0.30") in drawing.table()


def test_without_an_expectation_it_says_that_there_is_none():
    view = GapView("E3", SPEC, GapInterval(-inf, 0.05), left=GapInterval(0.15, inf), set_to=0.15)
    drawing = gap_scale(view)
    assert "Nothing is expected yet" in drawing.desc
    assert ("found", "–", "0.05") in drawing.table()
    assert ("left", "0.15", "–") in drawing.table()
    assert ("set on", "0.15", "0.15") in drawing.table()


def test_the_scale_runs_from_0_to_half_a_millimetre_and_farther_where_needed():
    low, high = scale_range([READING])
    assert low < 0
    assert high == 0.5
    assert scale_range([GapView("I1", SPEC, GapInterval(1.0, inf))])[1] > 1.0
    low, _ = scale_range([GapView("I1", SPEC, None, Band(-0.3, 0.1))])
    assert low < -0.3


def test_gaps_step_in_the_owners_unit():
    assert gap_steps(0, 0.5, 6, ENGLISH) == pytest.approx([0, 0.1, 0.2, 0.3, 0.4, 0.5])
    # exact: 0.005 in = 0.127 mm
    assert gap_steps(0, 0.5, 6, Words(gap_unit="in")) == pytest.approx([0, 0.127, 0.254, 0.381])


def test_the_small_scale_has_the_same_marks_to_scale():
    canvas = Canvas()
    scale = Scale(0.0, 0.5, 100, 200)
    compact_scale(canvas, READING, scale, 10, 14)
    text = canvas.body()
    assert 'points="120,' in text  # 0.10 of 0..0.5 on 100..200
    assert "130," in text
    assert "d-unknown" not in text
    canvas = Canvas()
    compact_scale(canvas, GapView("I1", SPEC), scale, 10, 14, ruler=False)
    assert "d-unknown" in canvas.body()
    canvas = Canvas()
    compact_scale(canvas, GapView("I1", SPEC, left=GapInterval(0.1, 0.2)), scale, 10, 14)
    assert "d-reread" in canvas.body()


def test_no_reading_no_bar():
    canvas = Canvas()
    bar(canvas, Scale(0, 1, 0, 10), None, 5, 5, "measured", 5)
    assert canvas.parts == []


GAPS = st.floats(0.0, 1.2).map(lambda x: round(x, 3))


@settings(max_examples=150)
@given(
    st.lists(GAPS, min_size=3, max_size=3, unique=True).map(sorted),
    st.tuples(GAPS, st.floats(0.0, 0.3)),
    st.sampled_from(["between", "none goes", "thickest", "none"]),
    st.sampled_from([COARSE, FINE, ()]),
    st.booleans(),
    st.sampled_from([ENGLISH, Words(gap_unit="in"), Words(decimal=",")]),
    st.sampled_from([240.0, 328.0, 640.0]),
)
def test_words_never_touch_whatever_the_figures(limits, found, kind, blades, again, words, width):
    tight, cold, loose = limits
    lo, size = found
    reading = {
        "between": GapInterval(lo, lo + size),
        "none goes": GapInterval(-inf, lo),
        "thickest": GapInterval(lo, inf),
        "none": None,
    }[kind]
    left = GapInterval(cold, cold + size) if again else None
    view = GapView(
        "E12", GapSpec(cold, tight, loose), reading, Band(cold - size, cold + size), left, cold, blades
    )
    assert faults_of_text(gap_scale(view, words=words, width=width)) == []


def test_what_is_no_valve_gap_is_refused():
    with pytest.raises(InputError, match="100 mm is no valve gap; gaps are drawn up to 20 mm"):
        gap_scale(GapView("E3", SPEC, GapInterval(100, 150)))
    with pytest.raises(InputError, match=r"E3 found: a reading from 0\.2 to 0\.1"):
        gap_scale(GapView("E3", SPEC, GapInterval(0.2, 0.1)))
    with pytest.raises(InputError, match="needs a width of 240 or more, not 100"):
        gap_scale(READING, width=100)
