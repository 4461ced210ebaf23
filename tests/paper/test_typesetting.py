"""Typesetting: the same bytes, people's text as data, letters our fonts lack, faults named."""

from __future__ import annotations

import io
import sys
import unicodedata

import pikepdf
import pytest
from tests.paper.pdfs import assert_accessible, pages_of, text_of

from coldlash.errors import InputError, PaperError
from coldlash.paper import typesetting
from coldlash.paper.typesetting import LONGEST_RUN, STAND_IN, shown, typeset

MARKUP = r"""#panic("x") $a$ @ref *b* _i_ `c` <l> \ // /* = - + "q" ' #{1} [x] ~ https://x.y {now}"""


@pytest.fixture
def sources(monkeypatch):
    """Typeset a template given as text."""
    real = typesetting._sources

    def use(text):
        monkeypatch.setattr(typesetting, "_sources", lambda name: {**real("strip"), "main": text.encode()})

    return use


PLAIN = """#import "house.typ": *
#show: house.with()
= #d.title
#d.text
"""
BLOCK = {
    "title_pt": 7.5,
    "title_label": "sheet",
    "sheet_label": "page",
    "sheet_of": "{now} of {all}",
    "cells": [["a", "b"]],
}


def data(text="", title="A title"):
    return {"title": title, "lang": "en", "text": text, "block": BLOCK}


def test_the_same_input_gives_the_same_bytes_and_another_moment_only_other_dates(sources):
    sources(PLAIN)
    one, two = typeset("strip", data("same")), typeset("strip", data("same"))
    assert one.pdf == two.pdf
    later = typeset("strip", data("same"), timestamp=86_400)
    assert later.pdf != one.pdf
    with pikepdf.open(io.BytesIO(later.pdf)) as file:
        assert str(file.docinfo["/CreationDate"]).startswith("D:19700102")


def test_what_people_write_is_printed_as_written_and_never_read_as_markup(sources):
    sources(PLAIN)
    pdf = typeset("strip", data(MARKUP, MARKUP)).pdf
    printed = "".join(text_of(pdf).split())
    assert "".join(MARKUP.split()) in printed
    assert_accessible(pdf, MARKUP)


def test_letters_of_any_script_come_from_the_fonts_there_are_or_stand_as_a_lozenge_and_are_named(sources):
    sources(PLAIN)
    name = "Ωmega Привет 消防車 מנוע \u0e40\u0e04 \U0001f600 e\u0301"
    made = typeset("strip", data(name), machine_fonts=False)
    assert set(made.unprinted) == {c for c in name if ord(c) > 0x500 and not c.isspace()}
    assert "Ωmega Привет" in text_of(made.pdf)
    assert STAND_IN * 3 in text_of(made.pdf)
    assert "é" in unicodedata.normalize("NFC", text_of(made.pdf))
    # With whatever fonts this machine has, nothing is lost without being named.
    other = typeset("strip", data(name))
    left = {c for c in name if not c.isspace()} - {"e", "\u0301"} - set(other.unprinted)
    assert left <= set(text_of(other.pdf))


def test_a_picture_with_letters_no_font_has_is_printed_with_lozenges(sources):
    sources(PLAIN + '#image("a.svg", alt: "a picture")\n')
    svg = "<svg xmlns='http://www.w3.org/2000/svg' width='99' height='20'><text y='15'>\u6d88 x</text></svg>"
    made = typeset("strip", data("x"), {"a.svg": svg.encode()}, machine_fonts=False)
    assert made.unprinted == ("\u6d88",)


def test_long_runs_may_break_anywhere_but_not_before_a_combining_mark():
    run = "a\u0323" * LONGEST_RUN
    broken = shown(run)
    assert broken.replace("\u200b", "") == unicodedata.normalize("NFC", run)
    plain = shown("x\u0338" * (LONGEST_RUN + 2))
    assert "\u200b" in plain
    assert "\u200b\u0338" not in plain
    assert shown("x" * LONGEST_RUN) == "x" * LONGEST_RUN


def test_controls_and_marks_that_turn_the_direction_round_are_left_out_and_lone_surrogates_stand_as_a_lozenge():
    assert shown("a\x00b\x1bc\u202ed\u2066e\r\nf\tg\ud800h") == f"abcde\nf g{STAND_IN}h"


def test_a_template_that_warns_is_refused(sources):
    sources(PLAIN.replace("#d.text", '#text(font: "No such family")[x]'))
    with pytest.raises(PaperError, match="strip: the typesetter warns: unknown font family"):
        typeset("strip", data())


def test_a_picture_without_a_text_alternative_is_refused(sources):
    # PDF/UA-1 (ISO 14289-1, 7.3): every figure has an alternative; the typesetter itself checks it
    sources(PLAIN + '#image("a.svg")\n')
    with pytest.raises(PaperError, match="the typesetter says: error: PDF/UA-1 error: missing alt text"):
        typeset("strip", data(), {"a.svg": b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>"})


def test_a_document_without_a_title_or_of_no_known_kind_is_refused():
    with pytest.raises(InputError, match="strip: a document needs a title; give one under 'title'"):
        typeset("strip", {"title": "  "})
    for name in ("nothing", "../strip"):
        with pytest.raises(InputError, match="there is no document"):
            typeset(name, {"title": "x"})


def test_without_the_typesetter_the_remedy_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(InputError, match=r"not installed; install coldlash\[paper\]"):
        typeset("strip", {"title": "x"})


def test_the_templates_hold_no_words_and_reach_for_no_package():
    # All text comes with the data, so that it can be translated; nothing is fetched.
    from importlib.resources import files

    for path in (files("coldlash.paper") / "templates").iterdir():
        text = path.read_text(encoding="utf-8")
        assert "@preview" not in text
        assert "@local" not in text


def test_pages_are_counted_as_the_file_has_them(sources):
    sources(PLAIN + "#pagebreak()\nx\n#pagebreak()\ny\n")
    made = typeset("strip", data("a"))
    assert made.pages == len(pages_of(made.pdf)) == 3
