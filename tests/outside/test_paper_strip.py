"""The pulley strip read back from its PDF by general-purpose libraries and held against the exact geometry.

Reading back: independent software (pdfplumber for lines, PDFium for pixels, pikepdf for preferences). The exact
place of a mark is derived here from the definition, not taken from the code: angle x circumference / 360, to the
left of TDC for what comes later on a pulley that turns clockwise seen facing it, mirrored for the other direction.
"""

from __future__ import annotations

import io
import math
from datetime import date

import numpy as np
import pikepdf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.engines import flat_four
from tests.paper.pdfs import MM, assert_accessible, letters_outside, pages_of, pixels, strokes

from coldlash.paper.tape import CHECK_BAR_MM, Mark, plan_strip
from coldlash.paper.tape_page import StripPage, print_strip

DAY = date(2026, 5, 31)
PEN_MM, EDGE_MM = 0.2, 0.15


def printed(turns, marks, **pulley):
    strip = plan_strip(turns, marks, **pulley)
    return strip, print_strip(StripPage(strip, DAY, "Test engine")).pdf


def read_back(pdf, height_mm):
    """Pieces in order as (their lines' places from the left edge of the first, net length), all in mm."""
    joined, lengths = [], []
    start = 0.0
    for page in pages_of(pdf):
        lines, rects = strokes(page, "lines"), strokes(page, "rects")
        edges = [
            r for r in rects if abs(r.bottom - r.top - height_mm) < 0.01 and abs(r.width - EDGE_MM) < 0.005
        ]
        for edge in sorted(edges, key=lambda r: r.top):
            upright = [ln for ln in lines if ln.x0 == ln.x1 and abs(ln.bottom - edge.bottom) < 0.01]
            marks = [line.x0 for line in upright if abs(line.width - PEN_MM) < 0.005]
            (lap,) = [line.x0 for line in upright if abs(line.width - EDGE_MM) < 0.005]
            joined += [start + x - edge.x0 for x in marks]
            start += lap - edge.x0
            lengths.append(lap - edge.x0)
    return sorted(joined), lengths


def exact_apart(turns, length, one, other):
    """How far the second mark lies right of the first, mm, going right once round at most. Derived."""
    way = -1 if turns == "clockwise" else 1
    return (way * (other - one) * length / 360) % length


angles = st.lists(st.integers(0, 3599).map(lambda n: n / 10), min_size=1, max_size=9, unique=True)


@settings(max_examples=12, derandomize=True, deadline=None)
@given(
    diameter=st.floats(20, 600),
    thickness=st.floats(0, 0.5),
    turns=st.sampled_from(["clockwise", "counterclockwise"]),
    paper=st.sampled_from(["a4", "letter"]),
    marks=angles,
)
@example(diameter=20.0, thickness=0.1, turns="clockwise", paper="a4", marks=[0.0, 180.0, 350.0])
@example(diameter=600.0, thickness=0.1, turns="counterclockwise", paper="letter", marks=[0.0, 120.0, 240.0])
def test_every_printed_mark_is_within_a_twentieth_of_a_mm_and_the_tiles_add_up_to_the_circumference(
    diameter, thickness, turns, paper, marks
):
    _, pdf = printed(
        turns, [Mark(m) for m in marks], diameter_mm=diameter, thickness_mm=thickness, paper=paper
    )
    length = math.pi * (
        diameter + thickness
    )  # published rule of the contract: pi (diameter + strip thickness)
    places, lengths = read_back(pdf, 16.0)
    assert sum(lengths) == pytest.approx(length, abs=0.005)
    assert len(places) == len(marks)
    # The strip starts where its ends meet, which is between marks; so going right from the first printed line the
    # others follow in this order.
    for first in marks:
        expected = sorted(exact_apart(turns, length, first, m) for m in marks)
        if np.allclose(np.array(places) - places[0], expected, atol=0.05):
            break
    else:
        pytest.fail(f"no mark of {marks} can be the first of {places}")


@pytest.mark.parametrize(("turns", "right"), [("clockwise", True), ("counterclockwise", False)])
def test_ten_before_tdc_lies_right_of_tdc_on_a_clockwise_pulley_and_left_on_the_other(turns, right):
    # contract (architecture, pulley strip): mirrored, the mark would be 20 degrees wrong
    _, pdf = printed(turns, [Mark(0), Mark(350), Mark(5)], diameter_mm=175)
    places, _ = read_back(pdf, 16.0)
    five, ten = (5 * math.pi * 175.1 / 360, 10 * math.pi * 175.1 / 360)
    apart = [five, ten] if right else [ten, five]
    assert np.diff(places) == pytest.approx(apart, abs=0.005)


def test_half_of_the_circumference_of_a_175_mm_pulley_is_the_published_figure():
    # check values: 274.889 mm and 0.655 degrees for 1 mm (exact)
    strip, pdf = printed("clockwise", [Mark(0), Mark(180)], diameter_mm=175, thickness_mm=0)
    places, _ = read_back(pdf, 16.0)
    assert places[1] - places[0] == pytest.approx(274.889, abs=0.005)
    assert strip.deg_per_mm == pytest.approx(0.655, abs=0.0005)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("diameter", [20, 175, 600])
def test_the_check_bar_on_every_sheet_of_pieces_is_exactly_100_mm(paper, diameter):
    strip, pdf = printed("clockwise", [Mark(0)], diameter_mm=diameter, paper=paper)
    for page in pages_of(pdf)[: strip.pages]:
        bars = [b for b in strokes(page, "lines") if abs(b.width - 0.35) < 0.005]
        assert [b.x1 - b.x0 for b in bars] == pytest.approx([CHECK_BAR_MM], abs=0.001)
        ticks = [t.x0 for t in strokes(page, "lines") if abs(t.bottom - bars[0].top) < 0.3 and t.x0 == t.x1]
        assert max(ticks) - min(ticks) == pytest.approx(100, abs=0.001)


@pytest.mark.parametrize("diameter", [20.0, 175.0, 333.3, 600.0])
def test_the_marks_of_a_scan_at_300_dpi_lie_within_a_pixel(diameter):
    marks = [Mark(0), Mark(180), Mark(352), Mark(247.3)]
    strip, pdf = printed("clockwise", marks, diameter_mm=diameter)
    per_mm = 300 / 25.4
    done = 0
    for number, page in enumerate(pages_of(pdf)[: strip.pages]):
        image = pixels(pdf, number)
        edges = [r for r in strokes(page, "rects") if abs(r.bottom - r.top - 16) < 0.01 and r.width > 0.1]
        for edge, piece in zip(
            sorted(edges, key=lambda r: r.top), [p for p in strip.pieces if p.page == number], strict=True
        ):
            row = round((edge.bottom - 1.5) * per_mm)
            dark = np.flatnonzero(image[row] < 128)
            for mark in strip.marks:
                if piece.start_mm <= mark.at_mm < piece.end_mm:
                    want = (edge.x0 + mark.at_mm - piece.start_mm) * per_mm
                    near = dark[np.abs(dark + 0.5 - want) < 4]
                    assert near.size, f"no line at {mark}"
                    assert abs(near.mean() + 0.5 - want) <= 1
                    done += 1
    assert done == len(marks)


def test_the_sheets_are_a4_or_letter_and_ask_to_be_printed_without_scaling_on_one_side():
    # ISO 32000-1 table 150; ISO 216 and ANSI/ASME Y14.1 sizes
    for paper, size in (("a4", (297, 210)), ("letter", (279.4, 215.9))):
        _, pdf = printed("clockwise", [Mark(0)], diameter_mm=175, paper=paper)
        with pikepdf.open(io.BytesIO(pdf)) as file:
            wishes = file.Root.ViewerPreferences
            assert wishes.PrintScaling == "/None"
            assert wishes.Duplex == "/Simplex"
            assert not file.check_pdf_syntax()
            for page in file.pages:
                got = [float(v) * 25.4 / 72 for v in page.mediabox[2:]]
                assert got == pytest.approx(size, abs=0.02)


def test_the_strip_is_tagged_titled_in_english_with_fonts_embedded():
    strip = plan_strip("clockwise", [Mark(0), Mark(180), Mark(350, "static timing")], diameter_mm=175)
    pdf = print_strip(StripPage(strip, DAY, "Van engine", flat_four())).pdf
    assert_accessible(pdf, "Pulley strip, Van engine")


@pytest.mark.parametrize("diameter", [20, 175, 600])
@pytest.mark.parametrize("count", [4, 120])
def test_no_name_of_a_mark_runs_over_another_a_line_or_the_edge(diameter, count):
    marks = [Mark(i * 360 / count, "a rather long name for it" if i % 3 else "") for i in range(count)]
    strip = plan_strip("clockwise", marks, diameter_mm=diameter)
    pdf = print_strip(StripPage(strip, DAY, "Test engine")).pdf
    for number, page in enumerate(pages_of(pdf)):
        assert not letters_outside(page, 12)
        if number >= strip.pages:
            continue
        edges = [r for r in strokes(page, "rects") if abs(r.bottom - r.top - 16) < 0.01 and r.width > 0.1]
        for edge in edges:
            inside = [
                c for c in page.chars
                if edge.top < (c["top"] + c["bottom"]) / 2 * MM < edge.bottom and abs(c["size"] - 7.5) < 0.01
            ]  # fmt: skip
            boxes = [tuple(c[side] * MM for side in ("x0", "x1", "top", "bottom")) for c in inside]
            for x0, x1, _, _ in boxes:
                assert edge.x0 <= x0
                assert x1 <= edge.x1 - 10
            lines = [
                s for s in strokes(page, "lines")
                if abs(s.bottom - edge.bottom) < 0.01 and s.x0 == s.x1 and abs(s.width - PEN_MM) < 0.005
            ]  # fmt: skip
            for line in lines:
                for x0, x1, top, bottom in boxes:
                    crosses = x0 + 0.05 < line.x0 < x1 - 0.05 and line.top < (top + bottom) / 2 < line.bottom
                    assert not crosses
