"""The type that is shipped: small enough for a phone, ours by name, with its licence."""

from __future__ import annotations

from importlib.resources import files

import pytest
from PIL import ImageFont
from tests.paper.drawn import SVG, parse
from tests.paper.gallery import NAMES, gallery

from coldlash.paper.textwidth import FILES, advances

WEB = files("coldlash.web").joinpath("static", "fonts")
PAPER = files("coldlash.paper").joinpath("fonts")


@pytest.mark.parametrize("weight", [400, 600])
@pytest.mark.parametrize("part", ["", "-more"])
def test_each_web_font_is_under_40_kb_and_is_woff2(weight, part):
    data = WEB.joinpath(f"coldlash-sans-{weight}{part}.woff2").read_bytes()
    assert data[:4] == b"wOF2"  # published: W3C WOFF2, 4: signature
    assert len(data) < 40_000


@pytest.mark.parametrize(("weight", "style"), [(400, "Regular"), (600, "SemiBold")])
def test_the_paper_fonts_go_by_our_name_not_by_the_reserved_one(weight, style):
    # independent software: FreeType's reading of the name table. The licence reserves the original's name.
    font = ImageFont.truetype(str(PAPER.joinpath(FILES[weight])), 12)
    assert font.getname() == ("Coldlash Sans", style)


@pytest.mark.parametrize("folder", [WEB, PAPER])
def test_the_licence_travels_with_the_fonts(folder):
    text = folder.joinpath("OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in text
    assert "Copyright" in text
    assert "The original's reserved name is not used" in text


def test_the_font_has_every_letter_that_the_drawings_write_themselves():
    have = set(advances(400)) & set(advances(600))
    for name, drawing in gallery():
        if any(other in name for other in NAMES):
            continue
        written = "".join(element.text or "" for element in parse(drawing).iter(SVG + "text"))
        assert {c for c in written if ord(c) not in have} == set(), name


def test_latin_greek_and_cyrillic_alphabets_are_complete():
    have = advances(400)
    letters = (
        "abcdefghijklmnopqrstuvwxyzäöüßéèçñåøæœąęłőşğžčřđ"
        + "αβγδεζηθικλμνξοπρστυφχψωάέήίόύώς"
        + ("абвгдежзийклмнопрстуфхцчшщъыьэюяёіїєґў")
    )
    assert [c for c in letters + letters.upper() if ord(c) not in have] == []
