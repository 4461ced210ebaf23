"""Figures with their units: a real minus, a dash where there is none."""

from __future__ import annotations

import math

from coldlash.desk.figures import Figure, told
from coldlash.paper.words import Words


def test_a_figure_is_told_with_its_unit_and_a_real_minus():
    words = Words()
    assert told(1.234, 2, " mm", words) == "1.23 mm"
    assert told(-0.5, 1, "°", words) == "\N{MINUS SIGN}0.5°"
    assert told(0.5, 1, "°", words, sign=True) == "+0.5°"
    assert told(0.5, 1, "°", Words(decimal=",")) == "0,5°"


def test_where_there_is_no_figure_stands_a_dash():
    assert told(math.nan, 2, " mm", Words()) == "\N{EN DASH}"
    assert Figure("Closes", ("\N{EN DASH}",)).why is None
