"""Reading a PDF back: lines, rectangles and letters in mm from the top left, tags, fonts, pixels."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import pdfplumber
import pikepdf
import pypdfium2

MM = 25.4 / 72


@dataclass(frozen=True)
class Stroke:
    """A drawn line or rectangle, mm."""

    x0: float
    x1: float
    top: float
    bottom: float
    width: float


def pages_of(pdf: bytes):
    """The pages as pdfplumber reads them."""
    return pdfplumber.open(io.BytesIO(pdf)).pages


def strokes(page, kind):
    """ "lines" or "rects" of a page in mm."""
    return [
        Stroke(o["x0"] * MM, o["x1"] * MM, o["top"] * MM, o["bottom"] * MM, (o.get("linewidth") or 0) * MM)
        for o in getattr(page, kind)
    ]


def text_of(pdf: bytes) -> str:
    """All text, page by page, places to break taken out."""
    return "\n".join(page.extract_text() for page in pages_of(pdf)).replace("\u200b", "")


def pixels(pdf: bytes, page: int, dpi: int = 300) -> np.ndarray:
    """A page in grey, 0 black to 255 white."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        image = document[page].render(scale=dpi / 72, grayscale=True).to_numpy()
        return np.array(image).reshape(image.shape[0], image.shape[1])
    finally:
        document.close()


def assert_accessible(pdf: bytes, title: str, language: str = "en") -> None:
    """What PDF/UA-1 (ISO 14289-1) asks of a file and can be read without judging it: tags, title, language, fonts."""
    with pikepdf.open(io.BytesIO(pdf)) as file:
        root = file.Root
        assert root.MarkInfo.Marked
        assert root.StructTreeRoot is not None
        assert str(root.Lang) == language
        assert root.ViewerPreferences.DisplayDocTitle
        with file.open_metadata() as meta:
            assert meta["dc:title"] == title
            assert meta["pdfuaid:part"] == "1"
        fonts = [f for page in file.pages for f in page.get("/Resources", {}).get("/Font", {}).values()]
        assert fonts
        for font in fonts:
            inner = font.DescendantFonts[0] if "/DescendantFonts" in font else font
            embedded = inner.FontDescriptor
            assert any(key in embedded for key in ("/FontFile", "/FontFile2", "/FontFile3")), font.BaseFont
            assert "/ToUnicode" in font
        for page in file.pages:
            assert page.get("/Tabs") == "/S"
        for figure in tagged(file, "/Figure"):
            assert str(figure.get("/Alt", "")).strip(), "a picture without a text alternative"


def tagged(file: pikepdf.Pdf, kind: str):
    """Every structure element of this kind."""
    found = []

    def walk(node):
        if not isinstance(node, pikepdf.Dictionary):
            return
        if node.get("/S") == kind:
            found.append(node)
        children = node.get("/K", [])
        for child in children if isinstance(children, pikepdf.Array) else [children]:
            walk(child)

    walk(file.Root.StructTreeRoot)
    return found


def letters_outside(page, margin_mm: float) -> list[str]:
    """Letters that reach over the page's margin."""
    low_x, high_x = margin_mm / MM - 0.5, page.width - margin_mm / MM + 0.5
    low_y, high_y = margin_mm / MM - 1.5, page.height - margin_mm / MM + 0.5
    return [
        c["text"]
        for c in page.chars
        if c["text"].strip("\u200b ")
        and not (low_x <= c["x0"] and c["x1"] <= high_x and low_y <= c["top"] and c["bottom"] <= high_y)
    ]


RULES_PT = (0.35, 0.5, 1.1)
"""Widths of the rules of our own tables and boxes (templates); lines in drawings have others."""


def letters_across_rules(page) -> list[str]:
    """Letters that a rule of a table or a box runs through: they have left their cell."""
    upright, level = [], []
    for line in [*page.lines, *page.rects]:
        if not any(abs((line.get("linewidth") or 0) - width) < 0.01 for width in RULES_PT):
            continue
        if line["x1"] - line["x0"] < 0.01 or line["object_type"] == "rect":
            upright += [(x, line["top"], line["bottom"]) for x in {line["x0"], line["x1"]}]
        if line["bottom"] - line["top"] < 0.01 or line["object_type"] == "rect":
            level += [(y, line["x0"], line["x1"]) for y in {line["top"], line["bottom"]}]
    found = []
    for c in page.chars:
        if not c["text"].strip("\u200b "):
            continue
        high = c["bottom"] - c["top"]
        top, bottom = c["top"] + 0.25 * high, c["bottom"] - 0.25 * high
        across = any(c["x0"] + 0.4 < x < c["x1"] - 0.4 and a < bottom and top < b for x, a, b in upright)
        if across or any(top < y < bottom and a < c["x1"] - 0.4 and c["x0"] + 0.4 < b for y, a, b in level):
            found.append(c["text"])
    return found


def letters_on_letters(page) -> list[str]:
    """Pairs of letters that lie on each other: text that has run over other text."""
    chars = [c for c in page.chars if c["text"].strip("\u200b ") and c["x1"] - c["x0"] > 0.5]
    rows: dict[int, list] = {}
    for c in chars:
        rows.setdefault(int((c["top"] + c["bottom"]) / 2 / 20), []).append(c)
    found = []
    for key, row in rows.items():
        for c in row:
            for other in [*rows.get(key, []), *rows.get(key + 1, [])]:
                if other is c or (other["x0"], other["top"]) <= (c["x0"], c["top"]):
                    continue
                wide = min(c["x1"], other["x1"]) - max(c["x0"], other["x0"])
                high = min(c["bottom"], other["bottom"]) - max(c["top"], other["top"])
                least_wide = min(c["x1"] - c["x0"], other["x1"] - other["x0"])
                least_high = min(c["bottom"] - c["top"], other["bottom"] - other["top"])
                if wide > 0.4 * least_wide and high > 0.5 * least_high:
                    found.append(c["text"] + other["text"])
    return found


def crowded(pdf: bytes, margin_mm: float) -> list[str]:
    """Everything that is out of its place on any page: over the margin, through a rule, on other text."""
    found = []
    for number, page in enumerate(pages_of(pdf), 1):
        for what, letters in (
            ("over the margin", letters_outside(page, margin_mm)),
            ("through a rule", letters_across_rules(page)),
            ("on other text", letters_on_letters(page)),
        ):
            if letters:
                found.append(f"page {number}, {what}: {''.join(letters)[:80]}")
    return found
