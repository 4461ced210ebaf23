"""A valve's history read back: bars from blade to blade, soft bands, the fan, restarts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import inf

import pytest
from tests.paper.drawn import faults_of_text, number, of_pen, parse, points, texts
from tests.paper.gallery import E3, SPEC, visits

from coldlash.engine.spec import GapSpec, Valve
from coldlash.errors import InputError
from coldlash.paper.charts_history import Ahead, ValveHistory, history
from coldlash.paper.readings import Band, BandPoint
from coldlash.paper.words import Words
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord


def visit(km, record, day=date(2020, 5, 1)):
    return VisitRecord(day, km, {E3: record})


def gap_at(root):
    """Pixels to mm, from the limit lines at 0.05 and 0.30."""
    (tight,), (loose,) = of_pen(root, "tight", "line"), of_pen(root, "loose", "line")
    y1, y2 = number(tight, "y1"), number(loose, "y1")
    return lambda y: 0.05 + (y - y1) * 0.25 / (y2 - y1)


def test_a_found_reading_is_an_upright_bar_from_blade_to_blade():
    root = parse(history(ValveHistory(E3, SPEC, [visit(5000, ValveRecord(GapInterval(0.10, 0.15)))])))
    bar = of_pen(root, "measured", "polygon")[0]
    mm = gap_at(root)
    assert sorted({round(mm(y), 3) for _, y in points(bar)}) == [0.10, 0.15]
    caps = sorted(round(mm(number(e, "y1")), 3) for e in of_pen(root, "cap", "line"))
    assert caps == [0.10, 0.15]


@pytest.mark.parametrize(
    ("reading", "known"), [(GapInterval(-inf, 0.05), 0.05), (GapInterval(0.2, inf), 0.2)]
)
def test_a_one_sided_reading_has_one_blade_and_a_torn_end(reading, known):
    root = parse(history(ValveHistory(E3, SPEC, [visit(5000, ValveRecord(reading))])))
    bar = of_pen(root, "measured", "polygon")[0]
    assert len(points(bar)) == 5
    mm = gap_at(root)
    assert [round(mm(number(e, "y1")), 3) for e in of_pen(root, "cap", "line")] == [known]


def test_distances_stand_to_scale():
    rows = [visit(km, ValveRecord(GapInterval(0.1, 0.15))) for km in (0, 1000, 5000)]
    root = parse(history(ValveHistory(E3, SPEC, rows)))
    xs = [sum(x for x, _ in points(e)) / 4 for e in of_pen(root, "measured", "polygon")[:3]]
    assert (xs[1] - xs[0]) / (xs[2] - xs[0]) == pytest.approx(1 / 5, abs=1e-3)


def test_dates_stand_to_scale_through_a_leap_year():
    days = (date(2019, 1, 1), date(2020, 1, 1), date(2020, 7, 1), date(2021, 1, 1))
    rows = [visit(1000 * i, ValveRecord(GapInterval(0.1, 0.15)), day) for i, day in enumerate(days)]
    root = parse(history(ValveHistory(E3, SPEC, rows), axis="date"))
    xs = [sum(x for x, _ in points(e)) / 4 for e in of_pen(root, "measured", "polygon")[:4]]
    # derived: 1 July is day 182 of 366 of a leap year
    assert [(x - xs[0]) / (xs[3] - xs[0]) for x in xs] == pytest.approx(
        [0, 0.5, (1 + 182 / 366) / 2, 1], abs=1e-3
    )


def test_set_and_left_are_marks_of_their_own():
    record = ValveRecord(GapInterval(0.1, 0.15), True, 0.15, GapInterval(0.15, 0.2))
    root = parse(history(ValveHistory(E3, SPEC, [visit(5000, record)])))
    mm = gap_at(root)
    flag = of_pen(root, "target", "polygon")[0]
    assert round(mm(points(flag)[0][1]), 3) == 0.15
    left = of_pen(root, "reread", "polygon")[0]
    assert sorted({round(mm(y), 3) for _, y in points(left)}) == [0.15, 0.2]
    said = {box.words for box in texts(parse(history(ValveHistory(E3, SPEC, [visit(5000, record)]))))}
    assert {"found, blade to blade", "left, read again", "set on this blade"} <= said


def test_a_visit_without_a_reading_is_left_open():
    root = parse(history(ValveHistory(E3, SPEC, [visit(0, ValveRecord()), visit(9, ValveRecord())])))
    assert len(of_pen(root, "unknown", "rect")) == 3  # two, and the key
    assert "measured at 0 of them" in history(ValveHistory(E3, SPEC, [visit(0, ValveRecord())])).desc


def test_a_restart_is_a_line_and_a_word():
    drawing = history(ValveHistory(E3, SPEC, [visit(0, ValveRecord(GapInterval(0.1, 0.15), restart=True))]))
    root = parse(drawing)
    assert len(of_pen(root, "reset", "line")) == 2  # it, and the key
    assert "Starts afresh on 1 May 2020." in drawing.desc
    assert drawing.table()[1][-1] == "yes"


def test_the_bands_have_the_ends_they_were_given():
    run = [BandPoint(0, Band(0.10, 0.20, 0.12, 0.18)), BandPoint(5000, Band(0.08, 0.16, 0.1, 0.14))]
    fan = [BandPoint(5000, Band(0.08, 0.16)), BandPoint(10000, Band(0.0, 0.2))]
    chart = ValveHistory(E3, SPEC, [], [run], fan, [Ahead("next", 10000)])
    root = parse(history(chart))
    mm = gap_at(root)
    for pen, ends in (
        ("band", [0.2, 0.16, 0.08, 0.10]),
        ("band-core", [0.18, 0.14, 0.1, 0.12]),
        ("fan", [0.16, 0.2, 0.0, 0.08]),
    ):
        area = of_pen(root, pen, "polygon")[0]
        assert [mm(y) for _, y in points(area)] == pytest.approx(ends, abs=2e-4)
    assert len(of_pen(root, "fan-edge", "polyline")) == 2
    (ahead,) = of_pen(root, "ahead", "line")
    assert number(ahead, "x1") == pytest.approx(max(x for x, _ in points(area)), abs=0.01)
    said = history(chart).desc.replace("\u00a0", " ").replace("\u202f", " ")
    assert "Forecast at 10 000 km: 0.00 to 0.20 mm (9 in 10)." in said


def test_bands_break_where_the_valve_was_set():
    root = parse(history(visits(20)))
    assert len(of_pen(root, "band", "polygon")) == len([run for run in visits(20).smoothed if run])


def test_a_band_known_at_one_place_can_be_seen():
    chart = ValveHistory(E3, SPEC, [], [[BandPoint(5000, Band(0.1, 0.2))], []])
    area = of_pen(parse(history(chart)), "band", "polygon")[0]
    assert max(x for x, _ in points(area)) - min(x for x, _ in points(area)) == pytest.approx(6)


@pytest.mark.parametrize("axis", ["distance", "date"])
@pytest.mark.parametrize(
    "words", [Words(), Words(gap_unit="in", distance_unit="mi"), Words(distance_unit="h")]
)
@pytest.mark.parametrize("width", [300.0, 328.0, 680.0])
@pytest.mark.parametrize("count", [0, 1, 2, 20, 200])
def test_words_never_touch(axis, words, width, count):
    chart = replace(visits(max(count, 1)), visits=visits(max(count, 1)).visits[:count])
    assert faults_of_text(history(chart, axis=axis, words=words, width=width)) == []


@pytest.mark.parametrize(
    "spec", [GapSpec(0.0), GapSpec(0.1, 0.09, 0.11), GapSpec(0.3, None, 0.9), GapSpec(0.01, 0.0, 0.02)]
)
def test_words_of_limits_never_touch_however_close_they_lie(spec):
    assert faults_of_text(history(ValveHistory(E3, spec, visits(9).visits))) == []


def test_nothing_written_down_yet_is_said():
    drawing = history(ValveHistory(E3, SPEC, []))
    assert any(box.words == "no visit written down yet" for box in texts(parse(drawing)))
    assert drawing.desc.startswith("No visit has been written down yet.")
    assert len(drawing.table()) == 1


def test_visits_of_other_valves_are_left_out():
    rows = [*visits(5).visits, VisitRecord(date(2030, 1, 1), 1e6, {Valve("I", 1): ValveRecord()})]
    assert len(history(ValveHistory(E3, SPEC, rows)).table()) == 6


def test_the_table_has_a_row_for_each_visit():
    record = ValveRecord(GapInterval(0.1, 0.15), True, 0.15, GapInterval(0.15, 0.2))
    rows = history(ValveHistory(E3, SPEC, [visit(84210, record)])).table()
    assert rows[1] == (
        "1 May 2020",
        "84\u202f210\u00a0km",
        "0.10 goes, 0.15 does not",
        "0.15",
        "0.15 goes, 0.20 does not",
        "–",
    )


def test_what_has_no_day_cannot_stand_on_dates():
    chart = ValveHistory(E3, SPEC, [], [[BandPoint(5000, Band(0.1, 0.2))]])
    with pytest.raises(InputError, match="the point at 5000 km has no day"):
        history(chart, axis="date")


def test_what_cannot_be_drawn_is_refused():
    crossed = [visit(0, ValveRecord(GapInterval(0.2, 0.1)))]
    with pytest.raises(InputError, match="E3 found on 2020-05-01: a reading from"):
        history(ValveHistory(E3, SPEC, crossed))
    with pytest.raises(InputError, match="a history needs a width of 300 or more"):
        history(ValveHistory(E3, SPEC, []), width=100)
