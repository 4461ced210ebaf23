"""Sheets, report and labels read back by general-purpose libraries (pdfplumber, pikepdf, zxing): independent software.

What PDF/UA-1 (ISO 14289-1) asks is checked by the typesetter while it writes, and here again as far as a file shows
it; nothing may leave its place, whatever people wrote.
"""

from __future__ import annotations

import io

import pikepdf
import pytest
import zxingcpp
from tests.paper import cases
from tests.paper.pdfs import assert_accessible, crowded, pages_of, pixels, tagged, text_of

from coldlash import language
from coldlash.paper.label import LabelData, print_labels
from coldlash.paper.report import print_report
from coldlash.paper.sheet import print_sheet
from coldlash.paper.tape import Mark, plan_strip
from coldlash.paper.tape_page import StripPage, print_strip
from coldlash.paper.typesetting import typeset
from coldlash.paper.words import Words

ENGINES = cases.engines()
EDGE_MM = 9
"""Nothing is printed nearer to the paper's edge: common printers can't."""


def document(kind, engine):
    if kind == "blank sheet":
        return print_sheet(cases.sheet(engine))
    if kind == "filled sheet":
        return print_sheet(cases.sheet(engine, filled=True), paper="letter")
    if kind == "report":
        return print_report(cases.report(engine, 3))
    if kind == "empty report":
        return print_report(cases.bare_report(engine), paper="letter")
    label = LabelData(
        engine.name,
        engine.gaps,
        cases.NOTE,
        cases.DAY,
        True,
        1e6,
        cases.DAY,
        1e6,
        "https://shed.local/" + "x" * 150,
    )
    return print_labels([label] * 3, cases.DAY)


KINDS = ("blank sheet", "filled sheet", "report", "empty report", "labels")


@pytest.mark.parametrize(
    ("engine", "kind"),
    [
        *((engine, "blank sheet") for engine in ("flat-four", "long-name", "scripts")),
        *((engine, "filled sheet") for engine in ("v8", "scripts", "unbroken")),
        *((engine, "report") for engine in ("v8", "unbroken")),
        *((engine, "empty report") for engine in ("scripts",)),
        *((engine, "labels") for engine in ("unbroken",)),
    ],
)
def test_nothing_runs_out_of_its_place_and_every_document_is_accessible(engine, kind):
    made = document(kind, ENGINES[engine])
    assert crowded(made.pdf, EDGE_MM) == []
    assert_accessible(made.pdf, made.title)
    assert made.pages == len(pages_of(made.pdf))


def longer(template):
    """The pseudo-language's texts in letters that our fonts have: else another font, with other widths, is taken."""
    return f"[{template}{'~' * (len(template) * 35 // 100)}]" if template.strip() else template


@pytest.mark.parametrize("kind", [*KINDS, "strip"])
def test_texts_a_third_longer_stay_in_their_place_too(kind, monkeypatch):
    """Common practice: a pseudo-language, as other languages need about that much more room than English."""
    monkeypatch.setattr(language, "_pseudo", longer)
    with language.using(language.PSEUDO):
        made = print_strip(tape_page()) if kind == "strip" else document(kind, ENGINES["flat-four"])
    assert crowded(made.pdf, EDGE_MM) == []
    assert made.title.startswith("[")


def tape_page():
    strip = plan_strip("clockwise", [Mark(0), Mark(180), Mark(350, "static timing")], diameter_mm=175)
    return StripPage(strip, cases.DAY, "Van engine", ENGINES["flat-four"])


@pytest.mark.parametrize("kind", KINDS)
def test_a_document_says_which_language_it_is_in_and_is_the_same_bytes_each_time(kind):
    with language.using("de"):
        made = document(kind, ENGINES["flat-four"])
        again = document(kind, ENGINES["flat-four"])
    assert made.pdf == again.pdf
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert pdf.Root.Lang == "de"


def test_the_check_for_crowding_sees_text_over_the_margin_through_a_rule_and_on_other_text(monkeypatch):
    from coldlash.paper import typesetting

    bad = """#import "house.typ": *
#show: house.with()
#block(width: 20mm, stroke: thin, box(width: 60mm)[a long line that leaves its box])
#place(top + left, dy: 50mm)[one text]
#place(top + left, dy: 50mm, dx: 1mm)[and another]
#place(top + left, dx: 175mm, dy: 90mm, box(width: 60mm)[over the edge of it])
"""
    real = typesetting._sources
    monkeypatch.setattr(typesetting, "_sources", lambda name: {**real("strip"), "main": bad.encode()})
    block = {
        "title_pt": 7,
        "title_label": "a",
        "sheet_label": "b",
        "sheet_of": "{now}",
        "cells": [["c", "d"]],
    }
    pdf = typeset("strip", {"title": "t", "lang": "en", "block": block}).pdf
    said = " ".join(crowded(pdf, EDGE_MM))
    assert "over the margin" in said
    assert "through a rule" in said
    assert "on other text" in said


def test_a_flat_four_takes_one_page_blank_and_filled_with_room_to_write_notes():
    for paper in ("a4", "letter"):
        blank = print_sheet(cases.sheet(ENGINES["flat-four"]), paper=paper)
        assert blank.pages == 1, paper
        assert print_sheet(cases.sheet(ENGINES["flat-four"], filled=True), paper=paper).pages == 1
        (page,) = pages_of(blank.pdf)
        boxes = [r for r in page.rects if r["width"] > 500]
        assert max(r["bottom"] - r["top"] for r in boxes) * 25.4 / 72 > 6


def test_a_longer_language_gets_closer_rows_before_it_gets_a_second_page():
    roomy = print_sheet(cases.sheet(ENGINES["flat-four"]))
    with language.using("de"):
        close = print_sheet(cases.sheet(ENGINES["flat-four"]))
        assert crowded(close.pdf, EDGE_MM) == []
    assert close.pages == 1
    rows = [{r["height"] for r in pages_of(printed.pdf)[0].rects} for printed in (roomy, close)]
    assert rows[0] != rows[1]


def test_every_valve_of_sixteen_stands_once_on_the_sheet_in_the_order_of_the_stops():
    sheet = cases.sheet(ENGINES["v8"])
    pages = pages_of(print_sheet(sheet).pdf)
    words = [w["text"] for page in pages for w in page.extract_words(extra_attrs=["size"]) if w["size"] == 13]
    wanted = [str(line.valve) for stop in sheet.stops for line in stop.valves]
    assert len(wanted) == 16
    assert [w for w in words if w in wanted] == wanted


def test_readings_of_a_filled_sheet_are_printed_and_what_is_missing_is_said():
    text = text_of(print_sheet(cases.sheet(ENGINES["flat-four"], filled=True)).pdf)
    assert "not measured" in text
    for figure in ("0.13", "0.15", "0.18", "14.5 °C", "84210.4 km", "Oona", "Corrected since"):
        assert figure in text


def test_notes_of_200_characters_are_printed_whole():
    assert len(cases.NOTE) >= 200
    flat = " ".join(text_of(print_sheet(cases.sheet(ENGINES["flat-four"], filled=True)).pdf).split())
    assert flat.count("See the photograph in the folder. 'Quotes' & <marks>, #5!") >= 3


def test_inches_are_printed_where_the_owner_thinks_in_inches():
    text = text_of(
        print_sheet(cases.sheet(ENGINES["flat-four"], filled=True), words=Words(gap_unit="in")).pdf
    )
    assert ".0059" in text  # derived: 0.15 / 25.4


def test_every_picture_of_a_report_has_a_text_alternative_and_the_table_behind_it():
    report = cases.report(ENGINES["flat-four"], 4)
    pdf = print_report(report).pdf
    with pikepdf.open(io.BytesIO(pdf)) as file:
        alternatives = [str(figure.Alt) for figure in tagged(file, "/Figure")]
        heads = tagged(file, "/TH")
    for valve in report.engine.valves:
        assert any(text.startswith(f"History of {valve}.") for text in alternatives)
    assert len(alternatives) == len(report.engine.valves) + 1
    assert len(heads) >= 12
    text = text_of(pdf)
    for visit in report.visits:
        assert f"{visit.record.day.day} {visit.record.day:%b %Y}" in text


def test_the_report_prints_the_checksum_of_every_visit_and_the_last_one_whole():
    report = cases.report(ENGINES["flat-four"], 4)
    text = text_of(print_report(report).pdf)
    for checksum in report.sums:
        assert f"{checksum[:8]} {checksum[8:16]}" in text
    assert report.sums[-1] in "".join(text.split())


@pytest.mark.parametrize(
    "address", ["https://shed.local:8765/engines/3f2b8a52-1c5e-4e0e-9a51-0d8f6c1b7a10", "http://a.b/1"]
)
def test_the_qr_code_on_paper_is_read_by_an_independent_reader(address):
    # independent software: ZXing reads the page as PDFium draws it at 300 dpi
    label = LabelData("Van engine", ENGINES["flat-four"].gaps, address=address)
    pdf = print_labels([label], cases.DAY).pdf
    found = zxingcpp.read_barcodes(pixels(pdf, 0))
    assert [code.text for code in found] == [address]


def test_labels_are_90_by_50_mm_on_paper_and_ask_to_be_printed_without_scaling():
    label = LabelData("Van engine", ENGINES["flat-four"].gaps)
    pdf = print_labels([label] * 3, cases.DAY).pdf
    (page,) = pages_of(pdf)
    sizes = [((r["x1"] - r["x0"]) * 25.4 / 72, (r["bottom"] - r["top"]) * 25.4 / 72) for r in page.rects]
    labels = [size for size in sizes if size[0] == pytest.approx(90, abs=0.01)]
    assert len(labels) == 3
    assert all(high == pytest.approx(50, abs=0.01) for _, high in labels)
    with pikepdf.open(io.BytesIO(pdf)) as file:
        assert file.Root.ViewerPreferences.PrintScaling == "/None"


def test_the_same_document_twice_is_the_same_bytes():
    engine = ENGINES["flat-four"]
    for kind in KINDS:
        assert document(kind, engine).pdf == document(kind, engine).pdf, kind
