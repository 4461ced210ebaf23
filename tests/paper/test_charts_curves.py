"""Curves read back: points where they belong, shade where the ramp is, rests to their own measure."""

from __future__ import annotations

from math import cos, inf, pi

import pytest
from tests.paper.drawn import faults_of_text, figures, number, of_pen, parse, texts

from coldlash.errors import InputError
from coldlash.paper.charts_curves import CRANK_STEPS, AxisWords, Curve, Shade, curves_chart, fit_chart

CRANK = AxisWords("crank degrees", 0, CRANK_STEPS)
LIFT = AxisWords("lift, mm", 1)
HILL = [(float(x), 8.0 * max(0.0, cos((x - 250) / 260 * pi)) ** 2) for x in range(100, 401)]


def scales(root):
    """Pixels to the units of the axes, from the ticks and grid lines and their figures."""
    labels = {box.words: (box.left + box.right) / 2 for box in texts(root)}
    ticks = sorted(number(e, "x1") for e in of_pen(root, "tick", "line"))
    grid = sorted((number(e, "y1") for e in of_pen(root, "grid", "line")), reverse=True)
    assert labels["180"] in [pytest.approx(x, abs=0.02) for x in ticks]
    x1, x2 = labels["180"], labels["270"]
    return (
        lambda x: 180 + (x - x1) * 90 / (x2 - x1),
        lambda y: (y - grid[0]) / (grid[1] - grid[0]) * 2,  # 0 and 2 mm
    )


def test_a_curve_goes_through_its_points():
    root = parse(curves_chart("Lift", [Curve("exhaust", HILL, "series-b")], CRANK, LIFT))
    to_x, to_y = scales(root)
    (path,) = of_pen(root, "series-b", "path")
    numbers = figures(path)
    drawn = [(to_x(x), to_y(y)) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
    assert drawn[0] == pytest.approx((100, HILL[0][1]), abs=0.02)
    assert drawn[-1][0] == pytest.approx(400, abs=0.05)
    exact = dict(HILL)
    for x, y in drawn:
        assert y == pytest.approx(exact[float(round(x))], abs=0.02)
    assert len(drawn) < 80  # thinned: what lies within a third of a pixel is left out
    assert max(y for _, y in drawn) == pytest.approx(8.0, abs=0.02)


def test_the_ramp_is_shaded_where_it_is():
    chart = curves_chart(
        "Lift", [Curve("exhaust", HILL)], CRANK, LIFT, shades=[Shade(120, 140)], shade_words="ramp"
    )
    root = parse(chart)
    to_x, _ = scales(root)
    shade = of_pen(root, "band", "rect")[0]
    ends = number(shade, "x"), number(shade, "x") + number(shade, "width")
    assert [to_x(x) for x in ends] == pytest.approx([120, 140], abs=0.05)
    assert "Shaded, ramp: 120 to 140." in chart.desc


def test_the_text_alternative_and_the_table_give_the_figures():
    chart = curves_chart(
        "Lift", [Curve("exhaust", HILL), Curve("intake", [(200.0, 0.0), (300.0, 1.0)])], CRANK, LIFT
    )
    assert "exhaust: highest 8.00 at 250" in chart.desc
    head, *rows = chart.table()
    assert head == ("crank degrees", "exhaust, lift, mm", "intake, lift, mm")
    # derived: 8 cos^2(50/260 pi) at 200, halfway on the straight line at 250
    by_x = {row[0]: row for row in rows}
    assert by_x["120"][2] == "–"
    assert by_x["210"][2] == "0.10"
    assert float(by_x["210"][1]) == pytest.approx(8 * cos(40 / 260 * pi) ** 2, abs=0.006)
    assert by_x["390"][2] == "–"


def test_words_along_the_axis_make_way_for_each_other():
    marks = [(100 + i, f"mark {i}") for i in range(0, 300, 10)]
    chart = curves_chart("Lift", [Curve("exhaust", HILL)], CRANK, LIFT, marks=marks)
    assert faults_of_text(chart) == []
    assert len(of_pen(parse(chart), "ahead", "line")) == 30


def test_curves_of_one_key_share_an_entry_of_the_legend_and_keep_their_own_columns():
    curves = [
        Curve("E3 set", HILL, "series-a", "set"),
        Curve("I3 set", HILL, "series-a", "set"),
        Curve("E3 warm", HILL, "series-d", "warm"),
    ]
    drawing = curves_chart("Lift", curves, CRANK, LIFT)
    words = [box.words for box in texts(parse(drawing))]
    assert (words.count("set"), words.count("warm")) == (1, 1)
    assert drawing.table()[0][1:] == ("E3 set, lift, mm", "I3 set, lift, mm", "E3 warm, lift, mm")


def test_a_flat_curve_is_drawn():
    assert faults_of_text(curves_chart("Flat", [Curve("a", [(0.0, 0.0), (1.0, 0.0)])], CRANK, LIFT)) == []


def fitted(error=0.02):
    measured = [(x, y + 0.01 * cos(x)) for x, y in HILL[::7]]
    rest = [(x, 0.01 * cos(x)) for x, _ in measured]
    return measured, rest, fit_chart("Table", measured, HILL, rest, CRANK, LIFT, error=error)


def test_every_measured_point_is_a_cross_in_both_panels():
    measured, _, chart = fitted()
    crosses = list(of_pen(parse(chart), "ink", "path"))
    assert len(crosses) == 2 * len(measured)
    assert faults_of_text(chart) == []


def test_the_rest_is_told_with_its_largest():
    measured, rest, chart = fitted()
    worst = max(rest, key=lambda point: abs(point[1]))
    assert f"{len(measured)} measured points" in chart.desc
    assert f"at {worst[0]:.0f}." in chart.desc
    assert "The error of the fit is 0.020." in chart.desc
    assert chart.table()[0] == ("crank degrees", "measured", "left over")
    assert chart.table()[1] == ("100", f"{measured[0][1]:.2f}", "+0.009")


def test_the_error_of_the_fit_is_a_soft_band_about_zero():
    _, _, chart = fitted(0.005)
    (outer, *_), (core, *_) = of_pen(parse(chart), "band", "rect"), of_pen(parse(chart), "band-core", "rect")
    assert number(core, "height") * 2 == pytest.approx(number(outer, "height"), abs=0.02)
    _, _, chart = fitted(None)
    assert not of_pen(parse(chart), "band")
    assert "error of the fit" not in chart.desc


def test_both_panels_share_one_axis():
    root = parse(fitted()[2])
    feet = [e for e in of_pen(root, "ink", "line") if number(e, "x1") == number(e, "x2")]
    assert len({number(e, "x1") for e in feet}) == 1


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(0.0, 1.0)], "a has 1 points; a curve needs two or more"),
        ([(0.0, 1.0), (1.0, inf)], "a has a point that is no finite number"),
        ([(0.0, 1.0), (0.0, 2.0)], "the points of a have to rise"),
    ],
)
def test_points_that_make_no_curve_are_refused(points, words):
    with pytest.raises(InputError, match=words):
        curves_chart("Lift", [Curve("a", points)], CRANK, LIFT)


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(InputError, match="Lift: a chart needs at least one curve"):
        curves_chart("Lift", [], CRANK, LIFT)
    with pytest.raises(InputError, match="Lift: a chart needs a width of 300 or more, not 10"):
        curves_chart("Lift", [Curve("a", HILL)], CRANK, LIFT, width=10)
    with pytest.raises(InputError, match="the error of a fit is a finite number from 0 on"):
        fit_chart("Table", HILL, HILL, HILL, CRANK, LIFT, error=-1)
