"""The words of readings and bands, and what can't be drawn."""

from __future__ import annotations

from math import inf, nan

import pytest

from coldlash.engine.spec import GapSpec
from coldlash.errors import InputError
from coldlash.paper.readings import (
    Band,
    band_words,
    check_reading,
    limit_words,
    reading_short,
    reading_words,
    share_words,
)
from coldlash.paper.words import ENGLISH, Words
from coldlash.wear.record import GapInterval


@pytest.mark.parametrize(
    ("reading", "long", "short"),
    [
        (None, "not measured", "not measured"),
        (GapInterval(0.10, 0.15), "0.10 goes, 0.15 does not", "0.10–0.15"),
        (GapInterval(-inf, 0.05), "no blade goes, not even 0.05", "under 0.05"),
        (GapInterval(0.5, inf), "the thickest goes: 0.50 or more", "0.50 or more"),
        (GapInterval(0.15, 0.15), "drag on 0.15", "drag 0.15"),
    ],
)
def test_a_reading_is_said_as_the_blades_said_it(reading, long, short):
    assert reading_words(reading, ENGLISH) == long
    assert reading_short(reading, ENGLISH) == short


def test_an_inch_reading_is_said_in_inches():
    # published: go 0.011 in, no-go 0.013 in (TM 5-3820-233-12-1); exact in mm: 0.2794 and 0.3302
    inches = Words(gap_unit="in")
    assert reading_words(GapInterval(0.2794, 0.3302), inches) == ".011 goes, .013 does not"


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (GapInterval(0.2, 0.1), "give the thinner blade first"),
        (GapInterval(nan, 0.1), "give the thinner blade first"),
        (GapInterval(-inf, inf), "open at both ends says nothing"),
    ],
)
def test_a_reading_that_says_nothing_sensible_is_refused(reading, words):
    with pytest.raises(InputError, match=words):
        check_reading(reading, "E3 found")
    check_reading(None, "E3 found")


@pytest.mark.parametrize(
    "ends", [(0.2, 0.1), (0.1, inf), (nan, 0.2), (0.1, 0.2, 0.05, 0.15), (0.1, 0.2, 0.18, 0.12)]
)
def test_a_band_out_of_order_is_refused(ends):
    with pytest.raises(InputError, match="finite ends in rising order"):
        Band(*ends)


@pytest.mark.parametrize("share", [0.0, 1.0, 1.5, -0.1])
def test_a_band_never_holds_everything(share):
    with pytest.raises(InputError, match="a probability between 0 and 1"):
        Band(0.1, 0.2, share=share)


def test_a_band_says_how_sure_it_is():
    assert band_words(Band(0.11, 0.172), ENGLISH) == "0.11 to 0.17\u00a0mm (9 in 10)"
    assert share_words(0.5, ENGLISH) == "5 in 10"
    assert share_words(0.98, ENGLISH) == "98 in 100"


def test_unknown_limits_are_said_to_be_unknown():
    said = limit_words(GapSpec(0.0), ENGLISH).replace("\u00a0", " ")
    assert said == (
        "Set point 0.00 mm. No lower limit is known for this engine. No upper limit is known for this engine."
    )
    said = limit_words(GapSpec(0.15, 0.05, 0.3), ENGLISH).replace("\u00a0", " ")
    assert said == "Set point 0.15 mm. Too tight below 0.05 mm. Too loose above 0.30 mm."
