"""The cycle read back: spans to scale, room as the valve timing gives it."""

from __future__ import annotations

import math

import pytest
from tests.engines import flat_four, make_engine
from tests.paper.drawn import faults_of_text, figures, number, of_pen, parse, texts
from tests.paper.gallery import engine_of

from coldlash.bench.stops import Room, Stop, StopValve, plan_stops
from coldlash.engine.firing import open_spans
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.paper.drawings_ring import closed_strip, cycle_ring, room_words, shared_room
from coldlash.paper.words import ENGLISH

# TYPICAL_EVENTS: intake opens 10 BTDC, closes 40 ABDC; exhaust opens 45 BBDC, closes 8 ATDC


def sectors(root, pen):
    """Angles clockwise from the top of the ends of each piece of ring, and its radii."""
    rail = of_pen(root, "rail", "circle")[0]
    cx, cy = number(rail, "cx"), number(rail, "cy")
    found = []
    for path in of_pen(root, pen, "path"):
        f = figures(path)
        (x1, y1), (x2, y2) = f[0:2], f[7:9]
        a = math.degrees(math.atan2(x1 - cx, cy - y1)) % 360
        b = math.degrees(math.atan2(x2 - cx, cy - y2)) % 360
        found.append((a, (b - a) % 360, math.hypot(x1 - cx, y1 - cy)))
    return found


@pytest.mark.parametrize("turns", ["clockwise", "counterclockwise"])
def test_open_spans_stand_on_the_ring_at_half_a_degree_a_crank_degree(turns):
    engine = flat_four(turns=turns)
    stop = plan_stops(engine).stops[0]
    root = parse(cycle_ring(engine, stop))
    sign = -1 if turns == "clockwise" else 1
    expected = {"E": [], "I": []}
    for valve, span in open_spans(engine).items():
        ends = (
            sign * (span.opens - stop.crank_deg) / 2,
            sign * (span.opens + span.length - stop.crank_deg) / 2,
        )
        expected[valve.kind].append((min(ends) % 360, span.length / 2))
    for kind in ("E", "I"):
        drawn = sorted((start, length) for start, length, _ in sectors(root, f"open-{kind.lower()}"))
        assert len(drawn) == 4
        for (a, b), (c, d) in zip(drawn, sorted(expected[kind]), strict=True):
            assert a == pytest.approx(c, abs=0.1)
            assert b == pytest.approx(d, abs=0.1)


def test_what_comes_later_lies_where_marks_after_tdc_lie():
    # common practice, the direction rule: on a clockwise pulley to the left of the pointer
    engine = flat_four()
    at = {box.words: box for box in texts(parse(cycle_ring(engine, plan_stops(engine).stops[0])))}
    middle = 164
    assert at["← later"].left < middle < at["earlier →"].left
    assert at["4"].right < middle < at["2"].left  # 4 fires next after 1, 2 fired last
    mirrored = flat_four(turns="counterclockwise")
    at = {box.words: box for box in texts(parse(cycle_ring(mirrored, plan_stops(mirrored).stops[0])))}
    assert at["2"].right < middle < at["4"].left
    assert at["← earlier"].left < middle < at["later →"].left


def test_the_room_is_what_the_timing_leaves():
    engine = flat_four()
    stop = plan_stops(engine).stops[0]
    drawing = cycle_ring(engine, stop)
    # derived: at firing TDC 1 the next to open is E1, 180 - 45 = 135 degrees later; I1 closed 180 - 40 = 140 before
    assert shared_room(engine, stop) == Room(140.0, 135.0)
    said = {box.words for box in texts(parse(drawing))}
    assert {"135°", "to spare", "room: 140° before to 135° after"} <= said
    assert "All of them are closed from 140 degrees before to 135 degrees after this place." in drawing.desc
    assert "To check here: I1 (140 degrees to spare), E1 (135 degrees to spare)" in drawing.desc
    (start, length, _), *_ = sectors(parse(drawing), "room")
    assert (start, length) == pytest.approx((360 - 135 / 2, 275 / 2), abs=0.05)


def test_room_is_never_rounded_up():
    assert room_words(Room(59.99, 30.5), ENGLISH) == "room: 59° before to 30° after"


def test_the_table_gives_every_valve_at_this_place():
    rows = cycle_ring(flat_four(), plan_stops(flat_four()).stops[0]).table()
    assert rows[1] == ("I1", "closed, check here", "140", "140", "350")
    assert rows[4] == ("E2", "open", "45", "–", "–")
    assert len(rows) == 9


def test_a_stop_with_an_open_valve_has_no_room():
    engine = flat_four()
    stop = Stop(0.0, 0.0, 1, 0.0, (StopValve(Valve("E", 2), -45.0),))
    assert shared_room(engine, stop) is None
    assert not of_pen(parse(cycle_ring(engine, stop)), "room")
    empty = Stop(0.0, 0.0, 1, 0.0, ())
    assert shared_room(engine, empty) is None
    assert any(box.words == "none here" for box in texts(parse(cycle_ring(engine, empty))))


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("by", ["fewest", "cylinder"])
def test_from_one_to_sixteen_cylinders_nothing_on_ring_or_strip_touches(cylinders, by):
    engine = engine_of(cylinders, "vee", rows=False)
    plan = plan_stops(engine, by)
    for stop in plan.stops[:2]:
        here = [entry.valve for entry in stop.valves]
        ring, strip = cycle_ring(engine, stop), closed_strip(engine, stop.crank_deg, here=here)
        assert faults_of_text(ring) == []
        assert faults_of_text(strip) == []
        names = [box.words for box in texts(parse(strip))]
        assert all(names.count(str(valve)) == 1 for valve in engine.valves)
        tracks = len(of_pen(parse(ring), "rail", "circle"))
        assert tracks == (2 * cylinders if cylinders <= 4 else len(stop.valves))
        said = " ".join(box.words for box in texts(parse(ring)))
        assert all(str(entry.valve) in said for entry in stop.valves)


def test_uneven_engines_and_cylinders_that_fire_together_are_drawn():
    v_twin = make_engine((1, 2), gaps=(270, 450))
    together = make_engine((1, 2), gaps=(0, 720))
    for engine in (v_twin, together):
        stop = plan_stops(engine).stops[0]
        assert faults_of_text(cycle_ring(engine, stop)) == []
        assert faults_of_text(closed_strip(engine, stop.crank_deg)) == []
    assert any(
        box.words == "1·2" for box in texts(parse(cycle_ring(together, plan_stops(together).stops[0])))
    )


@pytest.mark.parametrize("at", [0.0, 77.5, 719.0, -360.0])
def test_bars_of_the_strip_stand_to_scale_about_the_place(at):
    engine = flat_four()
    root = parse(closed_strip(engine, at))
    rail = of_pen(root, "rail", "line")[0]
    left, right = number(rail, "x1"), number(rail, "x2")
    here = number(of_pen(root, "blade", "line")[0], "x1")
    assert here == pytest.approx((left + right) / 2, abs=0.01)
    lines = sorted({number(e, "y1") for e in of_pen(root, "rail", "line")})
    per_deg = (right - left) / 720
    for valve, span in open_spans(engine).items():
        y = lines[engine.valves.index(valve)]
        bars = [
            e
            for e in of_pen(root, f"open-{valve.kind.lower()}", "rect")
            if abs(number(e, "y") + number(e, "height") / 2 - y) < 0.01
        ]
        drawn = sum(number(e, "width") for e in bars) / per_deg
        assert drawn == pytest.approx(span.length, abs=0.1)  # each span is seen whole, in one piece or two
        for e in bars:
            edge = at + (number(e, "x") - here) / per_deg
            inside = edge + number(e, "width") / per_deg / 2
            assert span.margin(inside) < 0  # independent of drawing: open in the middle of its bar


def test_room_on_the_strip_is_said_beside_each_valve():
    words = [box.words for box in texts(parse(closed_strip(flat_four(), 0.0)))]
    assert words.count("open") == 4
    assert {"140°", "135°", "170°", "172°"} <= set(words)


def test_drawings_too_narrow_for_their_words_are_refused():
    stop = plan_stops(flat_four()).stops[0]
    with pytest.raises(InputError, match="a ring needs a width of 300 or more, not 99"):
        cycle_ring(flat_four(), stop, width=99)
    with pytest.raises(InputError, match="a strip needs a width of 300 or more, not 99"):
        closed_strip(flat_four(), 0.0, width=99)
