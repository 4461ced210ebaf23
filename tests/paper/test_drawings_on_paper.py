"""The same drawings in a PDF: typst takes them without a warning, pdfplumber reads them back to scale."""

from __future__ import annotations

import io
import itertools
from importlib.resources import files

import pdfplumber
import pytest
import typst
from tests.paper.gallery import COARSE, SPEC, gallery

from coldlash.paper.drawings_gap import gap_scale
from coldlash.paper.readings import Band, GapView
from coldlash.wear.record import GapInterval

WIDTH_MM = 82.0


@pytest.fixture
def pdf_of(tmp_path):
    """Drawings to an open PDF, one to a page, each ``WIDTH_MM`` wide."""
    fonts = str(files("coldlash.paper").joinpath("fonts"))

    def make(drawings):
        source = "#set page(width: auto, height: auto, margin: 5mm)\n"
        for i, drawing in enumerate(drawings):
            (tmp_path / f"d{i}.svg").write_bytes(drawing.document())
            source += f'#image("d{i}.svg", width: {WIDTH_MM}mm)\n#pagebreak(weak: true)\n'
        (tmp_path / "sheet.typ").write_text(source, encoding="utf-8")
        pdf, warnings = typst.compile_with_warnings(
            str(tmp_path / "sheet.typ"), font_paths=[fonts], ignore_system_fonts=True
        )
        assert [warning.message for warning in warnings] == []
        return pdfplumber.open(io.BytesIO(pdf))

    return make


def test_every_kind_of_drawing_is_set_in_the_shipped_type_without_a_warning(pdf_of):
    first = {}
    for _, drawing in gallery():
        first.setdefault(drawing.kind, drawing)
    with pdf_of(first.values()) as pdf:
        assert len(pdf.pages) == len(first) == 10
        for kind, page in zip(first, pdf.pages, strict=True):
            fonts = {char["fontname"].partition("+")[2] for char in page.chars}
            assert fonts <= {"ColdlashSans-Regular", "ColdlashSans-SemiBold"}, kind
            assert page.chars, kind


def test_a_reading_stands_to_scale_on_paper(pdf_of):
    view = GapView("E3", SPEC, GapInterval(0.10, 0.15), Band(0.11, 0.17), blades_mm=COARSE)
    with pdf_of([gap_scale(view)]) as pdf:
        page = pdf.pages[0]
        upright = [line for line in page.lines if abs(line["x0"] - line["x1"]) < 0.01]
        # the axis and its blade ticks are the lowest upright lines that start at the foot of the scale
        at_foot = {}
        for line in upright:
            at_foot.setdefault(round(line["top"], 1), []).append(line["x0"])
        ticks = sorted(max(at_foot.values(), key=len))
        steps = [b - a for a, b in itertools.pairwise(ticks)]
        assert len(ticks) >= 10
        # derived: 0.05 mm is (328 - 8) / 0.54 * 0.05 of the drawing's 328 units, 82 mm wide; 72 points to 25.4 mm
        step_pt = 320 / 0.54 * 0.05 / 328 * WIDTH_MM / 25.4 * 72
        assert steps == pytest.approx([step_pt] * len(steps), abs=0.02)
        assert "Found: 0.10 goes, 0.15 does not" in page.extract_text()
