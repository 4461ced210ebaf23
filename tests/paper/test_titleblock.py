"""The title block and the moment a document is made at."""

from __future__ import annotations

from datetime import date

from coldlash.paper.titleblock import stamp, title_block
from coldlash.paper.words import ENGLISH


def test_a_day_is_its_midnight_utc_and_before_1970_there_is_none():
    assert stamp(date(1970, 1, 2)) == 86_400
    assert stamp(date(1969, 12, 31)) == 0
    assert stamp(None) == 0


def test_a_long_title_is_set_smaller():
    short, long = (title_block(t, [("a", "b")], ENGLISH)["title_pt"] for t in ("Label", "word " * 60))
    assert short == 7.5
    assert long < short
