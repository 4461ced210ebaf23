"""Figures and words at the edge: decimal mark, minus, units, language."""

from __future__ import annotations

from datetime import date
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldlash.bench.blades import show_um
from coldlash.paper.words import ENGLISH, Words

INCH = Words(gap_unit="in")
MILES = Words(distance_unit="mi")
HOURS = Words(distance_unit="h", km_per_h=50)


@pytest.mark.parametrize(
    ("mm", "in_mm", "in_inches"),
    [
        (0.15, "0.15", ".0059"),
        (0.1524, "0.152", ".006"),  # exact: 0.006 in is 0.1524 mm
        (0.125, "0.125", ".0049"),
        (0.0, "0.00", ".000"),
        (-0.05, "−0.05", "−.002"),
        (0.3302, "0.33", ".013"),
        (25.4, "25.40", "1.000"),
        (inf, "∞", "∞"),
        (-inf, "−∞", "−∞"),
    ],
)
def test_a_gap_is_written_as_its_owner_thinks_of_it(mm, in_mm, in_inches):
    assert ENGLISH.gap(mm) == in_mm
    assert INCH.gap(mm) == in_inches


@given(st.integers(10, 5000))
def test_blades_read_the_same_here_as_in_the_terminal(um):
    # the same rule kept in two rooms: bench.blades.show_um
    assert ENGLISH.gap_and_unit(um / 1000).replace("\u00a0", " ") == show_um(um, "mm")


def test_a_likely_gap_is_never_finer_than_it_is_known():
    assert ENGLISH.about(0.12345) == "0.12"
    assert INCH.about(0.1524) == ".006"
    assert INCH.about(0.14) == ".0055"


def test_the_decimal_mark_and_the_minus_are_the_owners():
    comma = Words(decimal=",")
    assert comma.gap(-0.15) == "−0,15"
    assert comma.number(1234.5, 1) == "1234,5"
    assert ENGLISH.number(-0.001, 2) == "0.00"
    assert ENGLISH.number(0.3, 1, sign=True) == "+0.3"


def test_distances_turn_into_miles_and_hours_and_back():
    assert ENGLISH.distance(184210) == "184\u202f210\u00a0km"
    assert MILES.distance(1.609344) == "1\u00a0mi"  # exact: international mile
    assert HOURS.distance(5000) == "100\u00a0h"
    for words in (ENGLISH, MILES, HOURS):
        assert words.km(words.distance_value(5000)) == pytest.approx(5000)
    assert ENGLISH.grouped(-1234) == "−1\u202f234"


def test_gaps_turn_into_inches_and_back():
    assert INCH.gap_value(25.4) == 1
    assert INCH.gap_mm(0.006) == pytest.approx(0.1524)
    assert ENGLISH.gap_mm(ENGLISH.gap_value(0.15)) == 0.15


def test_a_probability_never_claims_certainty():
    assert ENGLISH.percent(0.0) == "under 1 %"
    assert ENGLISH.percent(1.0) == "over 99 %"
    assert ENGLISH.percent(0.371) == "37 %"


def test_a_translation_reaches_sentences_and_months():
    german = {"Found: {reading}": "Vorgefunden: {reading}", "May": "Mai", "under {n} %": "unter {n} %"}
    words = Words(translate=lambda text: german.get(text, text), decimal=",")
    assert words.say("Found: {reading}", reading="0,15") == "Vorgefunden: 0,15"
    assert words.day(date(2024, 5, 3)) == "3 Mai 2024"
    assert words.percent(0) == "unter 1 %"
    assert ENGLISH.day(date(2024, 5, 3)) == "3 May 2024"
