"""The writer: safe for any text, the same bytes every time, nothing that a strict policy would block."""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from tests.paper.drawn import SVG, faults_of_text, figures
from tests.paper.gallery import NAMES, gallery

from coldlash.errors import InputError
from coldlash.paper.pens import PENS
from coldlash.paper.svg import Canvas, Drawing, arc, escape, num, polar, ring_sector

CASES = [pytest.param(drawing, id=name) for name, drawing in gallery()]


@pytest.mark.parametrize("drawing", CASES)
def test_every_drawing_is_well_formed_and_says_what_it_is(drawing):
    # independent software: lxml (libxml2) reads it strictly
    root = etree.fromstring(drawing.document())
    assert root.tag == SVG + "svg"
    assert root.get("role") == "img"
    title, desc = root.find(SVG + "title"), root.find(SVG + "desc")
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert title.text.strip()
    assert len(desc.text.split()) >= 4
    assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"


@pytest.mark.parametrize("drawing", CASES)
def test_no_drawing_carries_style_script_or_anything_from_elsewhere(drawing):
    for element in ET.fromstring(drawing.svg()).iter():
        assert element.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "line", "rect", "circle", "polyline", "polygon", "path", "text"
        }  # fmt: skip
        for key, value in element.attrib.items():
            assert key != "style"
            assert not key.startswith("on")
            assert "href" not in key
            assert "url(" not in value
            assert "var(" not in value


@pytest.mark.parametrize("drawing", CASES)
def test_every_mark_has_a_pen_with_its_look_beside_the_class(drawing):
    for element in ET.fromstring(drawing.svg()):
        if element.tag in (SVG + "title", SVG + "desc"):
            continue
        pen = PENS[element.attrib["class"].removeprefix("d-")]
        assert {key: element.attrib[key] for key in pen} == pen


@pytest.mark.parametrize("drawing", CASES)
def test_no_text_touches_another_or_leaves_the_sheet(drawing):
    assert faults_of_text(drawing) == []


@pytest.mark.parametrize("drawing", CASES)
def test_every_drawing_has_a_table_of_texts_behind_it(drawing):
    head, *rows = drawing.table()
    assert len(head) >= 2
    for row in (head, *rows):
        assert len(row) == len(head)
        assert all(isinstance(cell, str) for cell in row)


def test_letters_are_large_enough_for_a_phone_in_the_hand():
    sizes = {}
    for name, drawing in gallery():
        for element in ET.fromstring(drawing.svg()).iter(SVG + "text"):
            sizes.setdefault(float(element.attrib["font-size"]), name)
    # judgement: 9 px only for the names on the rings of large engines, 11.5 px anywhere else
    assert min(sizes) >= 9
    assert all("ring" in name for size, name in sizes.items() if size < 11.5)


def test_the_ids_of_all_drawings_on_a_page_are_unique_without_being_told():
    ids = [
        element.attrib["id"]
        for _, drawing in dict(gallery()).items()
        for element in ET.fromstring(drawing.svg()).iter()
        if "id" in element.attrib
    ]
    different = {drawing.svg() for _, drawing in gallery()}
    assert len(set(ids)) == 2 * len(different)


def test_the_same_drawing_has_the_same_bytes_in_another_process():
    code = (
        "import hashlib, sys; sys.path.insert(0, sys.argv[1]);"
        "from tests.paper.gallery import gallery;"
        "print(hashlib.sha256(b''.join(d.document() for _, d in gallery())).hexdigest())"
    )
    root = os.path.abspath(os.path.join(os.path.dirname(__file__), "..", ".."))
    seen = {
        subprocess.run(
            [sys.executable, "-c", code, root],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(seen) == 1
    assert len(seen.pop().strip()) == 64


@given(st.text())
def test_any_text_comes_back_from_a_parser_as_it_went_in(text):
    canvas = Canvas()
    canvas.text(1, 2, f"x{text}")
    drawing = Drawing("t", 10, 10, f"x{text}", "d", canvas.body(), ())
    root = etree.fromstring(drawing.document())
    allowed = "".join(
        c
        if c in "\t\n\r" or (c >= " " and not "\ud800" <= c <= "\udfff" and c not in "\ufffe\uffff")
        else "\ufffd"
        for c in text
    )
    allowed = allowed.replace("\r\n", "\n").replace(
        "\r", "\n"
    )  # published: XML 1.0, 2.11 end-of-line handling
    assert root.find(SVG + "text").text == f"x{allowed}"
    assert root.find(SVG + "title").text == f"x{allowed}"


@pytest.mark.parametrize("name", NAMES)
def test_a_name_in_any_script_stands_in_the_title_unharmed(name):
    drawing = dict(gallery())[f"plan: {name}"]
    assert etree.fromstring(drawing.document()).find(SVG + "title").text == f"Plan of {name}"


def test_marks_are_escaped_as_xml_asks():
    # published: XML 1.0, 2.4: & and < must be escaped; " within attributes
    assert escape('<a href="x">&</a>') == "&lt;a href=&quot;x&quot;&gt;&amp;&lt;/a&gt;"
    assert escape("a\x00b\x1bc\ud800") == "a\ufffdb\ufffdc\ufffd"


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.125, "0.12"),
        (1.0, "1"),
        (-0.001, "0"),
        (-0.0, "0"),
        (10, "10"),
        (100.50, "100.5"),
        (-3.14159, "-3.14"),
    ],
)
def test_numbers_are_rounded_to_a_hundredth_and_kept_short(value, written):
    assert num(value) == written


@pytest.mark.parametrize("value", [inf, -inf, nan])
def test_a_number_that_is_no_place_is_refused(value):
    with pytest.raises(InputError, match="can't place"):
        num(value)


def test_an_id_that_is_none_is_refused():
    _, drawing = gallery()[0]
    with pytest.raises(InputError, match="can't be an id"):
        drawing.svg('x" onload="')
    assert 'aria-labelledby="scale-title scale-desc"' in drawing.svg("scale")


def test_an_unknown_pen_is_refused_and_the_pens_are_named():
    with pytest.raises(InputError, match="no pen 'red'; the pens are outline"):
        Canvas().line(0, 0, 1, 1, "red")


def test_angles_run_clockwise_from_the_top():
    # derived: y points down on a screen (SVG 2, 8.1), so 90 degrees clockwise from the top is to the right
    assert polar(0, 0, 10, 0) == pytest.approx((0, -10))
    assert polar(0, 0, 10, 90) == pytest.approx((10, 0))
    assert polar(0, 0, 10, 180) == pytest.approx((0, 10))
    assert polar(0, 0, 10, -90) == pytest.approx((-10, 0))


def test_an_arc_takes_the_way_it_is_told():
    # published: SVG 2, 9.3.8: flags large-arc and sweep, sweep 1 = clockwise on the screen
    assert arc(0, 0, 10, 0, 90) == "M0 -10A10 10 0 0 1 10 0"
    assert arc(0, 0, 10, 90, 0) == "M10 0A10 10 0 0 0 0 -10"
    assert " 0 1 1 " in arc(0, 0, 10, 0, 270)
    assert arc(0, 0, 10, 0, 360).count("A") == 2
    assert ring_sector(0, 0, 5, 10, 0, 90) == "M0 -10A10 10 0 0 1 10 0L5 0A5 5 0 0 0 0 -5Z"


def test_section_lines_stay_inside_their_rectangle_at_45_degrees():
    canvas = Canvas()
    canvas.hatch(10, 20, 31, 17)
    (mark,) = canvas.parts
    numbers = figures(ET.fromstring(mark))
    lines = [numbers[i : i + 4] for i in range(0, len(numbers), 4)]
    assert len(lines) > 5
    for x1, y1, x2, y2 in lines:
        assert 10 <= x1 <= x2 <= 41
        assert 20 <= y2 <= y1 <= 37
        assert x2 - x1 == pytest.approx(y1 - y2)


def test_section_lines_need_some_room():
    canvas = Canvas()
    canvas.hatch(10, 20, 0, 17)
    canvas.hatch(10, 20, 5, -1)
    assert canvas.parts == []


def test_a_slip_of_paper_lies_under_backed_words():
    canvas = Canvas()
    canvas.backed_text(50, 20, "not measured", 16, "middle")
    slip, words = (ET.fromstring(part) for part in canvas.parts)
    assert slip.get("class") == "d-paper"
    left, width = float(slip.attrib["x"]), float(slip.attrib["width"])
    assert left + width / 2 == pytest.approx(50, abs=0.01)
    assert words.text == "not measured"


def test_no_words_leave_no_mark():
    canvas = Canvas()
    canvas.text(1, 1, "")
    assert canvas.parts == []
