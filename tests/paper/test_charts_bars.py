"""Drift and causes read back: bands to scale, probabilities to scale, words that claim no more than is known."""

from __future__ import annotations

import pytest
from tests.paper.drawn import faults_of_text, number, of_pen, parse, texts
from tests.paper.gallery import drifts

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.paper.charts_bars import CauseRow, DriftRow, cause_ranking, drift_chart
from coldlash.paper.readings import Band
from coldlash.paper.words import Words

ROWS = [
    DriftRow(Valve("I", 1), Band(-0.004, -0.001, -0.003, -0.002)),
    DriftRow(Valve("E", 1), Band(-0.002, 0.003)),
    DriftRow(Valve("I", 2), Band(0.001, 0.002)),
    DriftRow(Valve("E", 2), None),
]


def test_drifts_stand_to_one_scale_about_zero():
    root = parse(drift_chart(ROWS))
    zero = number(of_pen(root, "ink", "line")[0], "x1")
    bands = [(number(e, "x") - zero, number(e, "width")) for e in of_pen(root, "band", "rect")][:3]
    unit = bands[0][1] / 0.003
    for (x, width), (lo, hi) in zip(bands, [(-0.004, -0.001), (-0.002, 0.003), (0.001, 0.002)], strict=True):
        assert x / unit == pytest.approx(lo, abs=1e-5)
        assert width / unit == pytest.approx(hi - lo, abs=1e-5)


def test_a_direction_is_said_only_where_the_whole_band_has_it():
    words = [box.words for box in texts(parse(drift_chart(ROWS)))]
    assert words.count("tighter") == 1
    assert words.count("can't tell") == 1
    assert words.count("looser") == 1
    assert words.count("not known yet") == 1


def test_the_drift_table_has_the_figures():
    drawing = drift_chart(ROWS)
    assert drawing.table() == (
        ("valve", "from, mm per 1000 km", "to, mm per 1000 km"),
        ("I1", "−0.004", "−0.001"),
        ("E1", "−0.002", "+0.003"),
        ("I2", "+0.001", "+0.002"),
        ("E2", "not known yet", "not known yet"),
    )
    assert "I1 −0.004 to −0.001; E1 −0.002 to +0.003" in drawing.desc


def test_drift_turns_into_the_owners_units():
    rows = [DriftRow(Valve("I", 1), Band(-0.0254, -0.0127))]
    # exact: 0.0254 mm per 1000 km = 0.001 in per 621.371 mi = 0.001609344 in per 1000 mi
    table = drift_chart(rows, words=Words(gap_unit="in", distance_unit="mi")).table()
    assert table[1] == ("I1", "−0.0016", "−0.0008")
    # 50 km an hour: 1000 h are 50,000 km
    assert drift_chart(rows, words=Words(distance_unit="h", km_per_h=50)).table()[1] == (
        "I1",
        "−1.270",
        "−0.635",
    )


@pytest.mark.parametrize("count", [1, 2, 4, 8, 16])
@pytest.mark.parametrize("words", [Words(), Words(gap_unit="in", distance_unit="mi"), Words(decimal=",")])
def test_every_valve_has_its_line_and_no_words_touch(count, words):
    drawing = drift_chart(drifts(count), words=words)
    assert faults_of_text(drawing) == []
    names = [box.words for box in texts(parse(drawing))]
    assert all(names.count(str(row.valve)) == 1 for row in drifts(count))


def test_all_unknown_is_still_a_drawing():
    drawing = drift_chart([DriftRow(Valve("I", 1), None)])
    assert "I1 not known yet" in drawing.desc
    assert not of_pen(parse(drawing), "band")


CAUSES = [
    CauseRow("seat receding", "E3", 0.75, (0.06, 0.02), "tighter", "early stretching"),
    CauseRow("head settling", "", 0.25),
]


def test_bars_of_causes_are_as_long_as_they_are_likely():
    root = parse(cause_ranking(CAUSES))
    frames = [number(e, "width") for e in of_pen(root, "frame", "rect")]
    bars = [number(e, "width") for e in of_pen(root, "band-core", "rect")]
    assert [b / f for b, f in zip(bars, frames, strict=True)] == pytest.approx([0.75, 0.25], abs=1e-3)


def test_a_cause_says_amount_direction_and_what_it_is_not_told_apart_from():
    drawing = cause_ranking(CAUSES)
    said = {box.words.replace("\u00a0", " ") for box in texts(parse(drawing))}
    assert {
        "seat receding: E3",
        "75 %",
        "0.06 ± 0.02 mm tighter",
        "Gaps alone can't tell it from: early stretching",
        "head settling",
    } <= said
    assert drawing.table()[1] == (
        "seat receding",
        "E3",
        "75 %",
        "0.06 ± 0.02\u00a0mm tighter",
        "early stretching",
    )
    assert drawing.table()[2][2:] == ("25 %", "–", "–")
    assert "given that something happened" in drawing.desc


def test_an_amount_may_have_no_direction():
    assert (
        "0.02 ± 0.01\u00a0mm" in cause_ranking([CauseRow("session offset", "", 0.3, (0.02, 0.01))]).table()[1]
    )


def test_long_words_of_causes_are_wrapped_not_cut():
    long = CauseRow(
        "a cause with a long name in a language that makes long words " * 3, "valve I1 und so weiter", 0.5
    )
    drawing = cause_ranking([long])
    assert faults_of_text(drawing) == []
    said = " ".join(box.words for box in texts(parse(drawing)))
    assert long.words.strip() in said


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(InputError, match="needs at least one valve"):
        drift_chart([])
    with pytest.raises(InputError, match="needs at least one; where there is none, say so in words"):
        cause_ranking([])
    with pytest.raises(InputError, match=r"seat: 1\.5 is no probability"):
        cause_ranking([CauseRow("seat", "E3", 1.5)])
    for chart, rows in ((drift_chart, ROWS), (cause_ranking, CAUSES)):
        with pytest.raises(InputError, match="a chart needs a width of 300 or more, not 100"):
            chart(rows, width=100)
