"""Shares of a sum read back: bars to one scale from nothing, the sum among them, its spread as a band."""

from __future__ import annotations

import math

import pytest
from tests.paper.drawn import faults_of_text, number, of_pen, parse

from coldlash.errors import InputError
from coldlash.paper.charts_shares import ShareRow, shares_chart
from coldlash.paper.words import Words

ROWS = [ShareRow("crankcase, 85 °C", 0.18), ShareRow("exhaust valve, 300 °C", -0.49), ShareRow("head", 0.54)]


def chart(**more):
    return shares_chart("Exhaust gap", ROWS, total="all together", **more)


def test_every_bar_starts_at_nothing_and_all_have_one_scale():
    root = parse(chart())
    zero = number(of_pen(root, "ink", "line")[0], "x1")
    bars = [(number(e, "x"), number(e, "width")) for e in of_pen(root, "band-core", "rect")]
    unit = bars[0][1] / 0.18
    assert [x - zero for x, _ in bars] == pytest.approx([0, -0.49 * unit, 0], abs=0.02)
    assert [width / unit for _, width in bars] == pytest.approx([0.18, 0.49, 0.54], abs=1e-4)


def test_the_sum_is_marked_with_twice_its_sd_either_way():
    root = parse(chart(sd_mm=0.08))
    zero = number(of_pen(root, "ink", "line")[0], "x1")
    unit = number(of_pen(root, "band-core", "rect")[0], "width") / 0.18
    mark = number(of_pen(root, "blade", "line")[0], "x1")
    band = of_pen(root, "band", "rect")[0]
    assert (mark - zero) / unit == pytest.approx(0.18 - 0.49 + 0.54, abs=1e-4)
    assert number(band, "width") / unit == pytest.approx(0.32, abs=1e-4)
    assert number(band, "x") + number(band, "width") / 2 == pytest.approx(mark, abs=0.02)


def test_table_and_description_have_the_figures_with_a_real_minus():
    drawing = chart(sd_mm=0.08)
    assert drawing.table() == (
        ("part", "adds, mm"),
        ("crankcase, 85 °C", "+0.18"),
        ("exhaust valve, 300 °C", "−0.49"),
        ("head", "+0.54"),
        ("all together", "+0.23 ± 0.08"),
    )
    assert "exhaust valve, 300 °C −0.49" in drawing.desc
    assert "all together: +0.23" in drawing.desc


def test_shares_turn_into_inches():
    # exact: 0.254 mm = 0.010 in
    drawing = shares_chart("t", [ShareRow("a", 0.254)], total="sum", words=Words(gap_unit="in"))
    assert drawing.table() == (("part", "adds, in"), ("a", "+.010"), ("sum", "+.010"))


@pytest.mark.parametrize("width", [300.0, 328.0, 700.0])
def test_no_words_run_out_of_the_picture_or_into_each_other(width):
    assert faults_of_text(chart(sd_mm=0.2, width=width)) == []


def test_a_sum_of_nothing_is_still_drawn():
    drawing = shares_chart("t", [ShareRow("a", 0.0)], total="sum", sd_mm=0.0)
    assert drawing.table()[-1] == ("sum", "0.00 ± 0.00")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rows": []}, "needs at least one row"),
        ({"width": 200}, "width of 300 or more, not 200"),
        ({"rows": [ShareRow("a", math.nan)]}, "not a finite number of mm"),
        ({"sd_mm": -1}, "finite number from 0 on, not -1"),
    ],
)
def test_what_can_not_be_drawn_is_refused(change, message):
    rows = change.pop("rows", ROWS)
    with pytest.raises(InputError, match=message):
        shares_chart("t", rows, total="sum", **change)
