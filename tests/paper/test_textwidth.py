"""Widths of text against Pillow (FreeType) reading the same font."""

from __future__ import annotations

from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from coldlash.errors import InputError
from coldlash.paper import textwidth
from coldlash.paper.textwidth import FILES, advances, fit, fit_size, font_bytes, text_width, wrap

SENTENCES = [
    "0.10 goes, 0.15 does not",
    "−0.05 … +0.10 ±½ 3,000 84\u202f210\u00a0km",
    "Größenänderung, świadectwo, ştift",
    "Лодочный мотор",
    "Κινητήρας Αίγινας",
    "← earlier  later → ↻ ° × ≤ ≥ – “quoted”",
]


@pytest.mark.parametrize("weight", [400, 600])
@pytest.mark.parametrize("text", SENTENCES)
def test_widths_agree_with_freetype(weight, text):
    # independent software: Pillow's basic layout adds the font's advance widths, without kerning pairs
    path = files("coldlash.paper").joinpath("fonts", FILES[weight])
    font = ImageFont.truetype(str(path), 1000, layout_engine=ImageFont.Layout.BASIC)
    assert text_width(text, 1000, weight) == pytest.approx(font.getlength(text), abs=len(text))


@pytest.mark.parametrize("weight", [400, 600])
def test_all_figures_are_equally_wide(weight):
    assert len({advances(weight)[ord(digit)] for digit in "0123456789−+"}) == 1


def test_capital_i_and_figure_one_are_not_alike_in_width():
    # I1 must not look like 11 or ll: the letter has serifs and its own width
    width = advances(600)
    assert len({width[ord(c)] for c in "I1l"}) == 3


def test_characters_of_other_fonts_are_counted_wide():
    assert text_width("消", 10) == 10
    assert text_width("م", 10) == 8
    assert text_width("e\u20dd", 10) == text_width("e", 10)


@given(st.text(alphabet="abc lengthy Wide 0.15", max_size=80), st.floats(30, 300))
def test_wrapped_lines_fit_and_lose_no_word(text, room):
    lines = wrap(text, room, 13)
    assert all(text_width(line, 13) <= room for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_word_wider_than_the_room_is_broken():
    assert len(wrap("x" * 200, 100, 13)) > 5
    assert wrap("", 100, 13) == []


def test_a_name_is_cut_with_an_ellipsis_only_where_it_must():
    assert fit("E3", 100, 13) == "E3"
    cut = fit("a very long name of an engine", 80, 13)
    assert cut.endswith("…")
    assert text_width(cut, 13) <= 80
    assert fit("wide", 1, 13) == ""


def test_text_is_set_smaller_before_it_is_cut():
    text, size = fit_size("not measured", 76, 13, 11.5)
    assert text == "not measured"
    assert 11.5 <= size < 13
    assert text_width(text, size) <= 76
    text, size = fit_size("not measured at all", 60, 13, 11.5)
    assert text.endswith("…")
    assert size == 11.5


def test_a_font_without_a_character_map_is_refused(monkeypatch):
    broken = bytearray(font_bytes(400))
    at = broken.index(b"cmap")
    offset = int.from_bytes(broken[at + 8 : at + 12])
    count = int.from_bytes(broken[offset + 2 : offset + 4])
    for i in range(count):
        broken[offset + 4 + 8 * i : offset + 6 + 8 * i] = b"\x00\x01"
    monkeypatch.setattr(textwidth, "font_bytes", lambda weight: bytes(broken))
    advances.cache_clear()
    try:
        with pytest.raises(
            InputError, match="no Unicode character map in this font; put the shipped file back"
        ):
            advances(400)
    finally:
        advances.cache_clear()
