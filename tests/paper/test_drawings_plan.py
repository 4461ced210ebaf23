"""The plan read back: each valve once, where the engine file puts it, to one measure."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.engines import flat_four, inline_four, make_engine
from tests.paper.drawn import faults_of_text, number, of_pen, parse, points, texts
from tests.paper.gallery import engine_of, views

from coldlash.engine.spec import GapSpec, Valve
from coldlash.errors import InputError
from coldlash.paper.drawings_plan import engine_plan
from coldlash.paper.readings import Band, GapView
from coldlash.wear.record import GapInterval

ROWS = (
    tuple(map(Valve.parse, ("E2", "I2", "I1", "E1"))),
    tuple(map(Valve.parse, ("E4", "I4", "I3", "E3"))),
)


def four(**fields):
    return flat_four(rows=ROWS, layout="flat", **fields)


def places(drawing):
    """Valve name to the middle of its words."""
    return {
        box.words: (box.left, (box.top + box.bottom) / 2)
        for box in texts(parse(drawing))
        if box.words[0] in "IE"
    }


def test_rows_run_from_the_pulley_at_the_bottom_outward():
    at = places(engine_plan(four(), {}))
    pulley = next(box for box in texts(parse(engine_plan(four(), {}))) if box.words == "pulley side")
    for row in ROWS:
        heights = [at[str(valve)][1] for valve in row]
        assert heights == sorted(heights, reverse=True)
        assert heights[0] < pulley.top


def test_the_first_head_lies_on_the_right_of_someone_who_faces_the_pulley():
    # the convention of the engine file, kept in engine.plan_text
    drawing = engine_plan(four(), {})
    at = places(drawing)
    assert all(at[str(valve)][0] > drawing.width / 2 for valve in ROWS[0])
    assert all(at[str(valve)][0] < drawing.width / 2 for valve in ROWS[1])
    side = {box.words: box.left for box in texts(parse(drawing))}
    assert side["left"] < drawing.width / 2 < side["right"]


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("layout", ["inline", "flat", "vee", None])
@pytest.mark.parametrize("rows", [True, False])
def test_from_one_to_sixteen_cylinders_every_valve_stands_once_and_no_words_touch(cylinders, layout, rows):
    engine = engine_of(cylinders, layout, rows=rows)
    drawing = engine_plan(engine, views(engine), here=engine.valves[:2])
    assert faults_of_text(drawing) == []
    words = [box.words for box in texts(parse(drawing))]
    for valve in engine.valves:
        assert words.count(str(valve)) == 1
    for cylinder in range(1, cylinders + 1):
        assert words.count(str(cylinder)) == 1


@pytest.mark.parametrize("heads", ["bank", "single"])
@pytest.mark.parametrize("width", [320.0, 328.0, 680.0])
def test_outlines_of_heads_never_overlap_and_stay_on_the_sheet(heads, width):
    engine = engine_of(8, "vee", rows=True, heads=heads)
    root = parse(engine_plan(engine, views(engine), width=width))
    boxes = []
    for e in of_pen(root, "body", "rect"):
        x, y, w, h = (number(e, key) for key in ("x", "y", "width", "height"))
        assert x >= 0
        assert x + w <= width
        if e.get("rx") == "5":
            boxes.append((x, y, x + w, y + h))
    assert len(boxes) == (2 if heads == "bank" else 8)
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert min(a[2], b[2]) <= max(a[0], b[0]) or min(a[3], b[3]) <= max(a[1], b[1])


def test_all_valves_are_drawn_to_one_measure():
    engine = four()
    same = {v: GapView(str(v), engine.gap(v), GapInterval(0.10, 0.15)) for v in engine.valves}
    same[Valve("E", 3)] = GapView("E3", engine.gap(Valve("E", 3)), GapInterval(0.8, 0.85))
    root = parse(engine_plan(engine, same))
    bars = [sorted({x for x, _ in points(e)}) for e in of_pen(root, "measured", "polygon")][:8]
    widths = [right - left for left, right in bars]
    assert widths == pytest.approx([widths[0]] * 8, abs=0.02)  # 0.05 mm each, whichever valve
    on_right = sorted(left for left, _ in bars if left > 164)
    assert on_right == pytest.approx([on_right[0]] * 4, abs=0.01)  # lined up


def test_the_text_alternative_tells_every_valve_in_its_order():
    engine = four()
    known = {Valve("E", 2): GapView("E2", engine.gap(Valve("E", 2)), GapInterval(0.1, 0.15), Band(0.1, 0.16))}
    drawing = engine_plan(engine, known, here=[Valve("E", 2)])
    said = drawing.desc.replace("\u00a0", " ")
    assert (
        "From the pulley outward on the right, E2: 0.10 goes, 0.15 does not, likely now 0.10 to 0.16 mm (9 in 10); "
        "I2: not measured; I1: not measured; E1: not measured." in said
    )
    assert "Check at this stop: E2." in said
    assert "Set point 0.15 mm." in said
    assert drawing.title == "Plan of Test engine"
    rows = drawing.table()
    assert len(rows) == 9
    assert rows[4] == (
        "E2",
        "0.10 goes, 0.15 does not",
        "0.10 to 0.16\u00a0mm (9 in 10)",
        "0.15",
        "0.05 … 0.30",
    )


def test_limits_that_differ_by_kind_are_told_apart():
    engine = replace(flat_four(), gaps={"I": GapSpec(0.1), "E": GapSpec(0.2, 0.1, 0.3)})
    said = engine_plan(engine, {}).desc.replace("\u00a0", " ")
    assert "Intake: Set point 0.10 mm. No lower limit is known" in said
    assert "Exhaust: Set point 0.20 mm. Too tight below 0.10 mm." in said


def test_what_the_engine_file_leaves_open_is_said():
    drawing = engine_plan(flat_four(), {})
    assert "The order along the head is not stated" in drawing.desc
    assert "How the cylinders stand is not stated" in drawing.desc
    assert "not stated" not in engine_plan(four(), {}).desc
    assert "How the cylinders stand" not in engine_plan(make_engine((1,)), {}).desc


def test_valves_to_check_now_are_marked_beside_their_name():
    root = parse(engine_plan(four(), {}, here=[Valve("I", 1), Valve("E", 1)]))
    assert len(of_pen(root, "text-accent")) == 2
    assert (
        len([e for e in of_pen(root, "accent-fill", "rect") if number(e, "width") == 5]) == 3
    )  # two, and the key


@pytest.mark.parametrize(("turns", "sign"), [("clockwise", 1), ("counterclockwise", -1)])
def test_the_arrow_on_the_pulley_shows_where_its_upper_side_goes(turns, sign):
    # derived: facing a wheel that turns clockwise its top moves to the right; the pulley is at the bottom, as faced
    root = parse(engine_plan(four(turns=turns), {}))
    (line,) = of_pen(root, "accent-thin", "line")
    (head,) = of_pen(root, "accent-fill", "polygon")
    tip = points(head)[0]
    assert (tip[0] - number(line, "x1")) * sign > 0


def test_an_inline_engine_stands_in_one_column():
    at = places(engine_plan(inline_four(layout="inline"), {}))
    assert len({x for x, _ in at.values()}) == 1


def test_a_valve_that_the_engine_does_not_have_is_refused():
    ninth = Valve("I", 9)
    with pytest.raises(InputError, match="Test engine has no valve I9; it has I1, E1"):
        engine_plan(four(), {ninth: GapView("I9", GapSpec(0.1))})
    with pytest.raises(InputError, match="has no valve I9"):
        engine_plan(four(), {}, here=[ninth])
    with pytest.raises(InputError, match="a plan needs a width of 320 or more, not 300"):
        engine_plan(four(), {}, width=300)
