"""Figures in words."""

from __future__ import annotations

from datetime import date

import pytest
from tests.engines import flat_four, inline_four

from coldlash.engine.linkage import cause_table
from coldlash.engine.spec import Linkage, Valve
from coldlash.language import using
from coldlash.wear import wording as say
from coldlash.wear.candidates import PRIORS, SESSION_OFFSET
from coldlash.wear.trend import Estimate


@pytest.mark.parametrize(("value", "text"), [(0.15, "0.15 mm"), (0.004, "0.004 mm"), (0.0, "0.000 mm")])
def test_gaps_have_units_and_as_many_decimals_as_they_need(value: float, text: str) -> None:
    assert say.mm(value) == text


@pytest.mark.parametrize(("value", "text"), [(0.02, "0.02"), (0.0184, "0.018"), (0.003, "0.003")])
def test_rates_are_per_thousand_km(value: float, text: str) -> None:
    assert say.rate(value) == f"{text} mm per 1,000 km"


def test_distances_have_thousands_marks() -> None:
    assert say.km(1200.4) == "1,200 km"


@pytest.mark.parametrize(
    ("p", "text"), [(0.001, "under 1 in 100"), (0.12, "12 in 100"), (0.999, "over 99 in 100")]
)
def test_probabilities_are_counts_in_a_hundred_and_never_certain(p: float, text: str) -> None:
    assert say.share(p) == text


@pytest.mark.parametrize(("p", "word"), [(0.6, "perhaps"), (0.8, "likely"), (0.97, "very likely")])
def test_words_are_no_surer_than_the_number(p: float, word: str) -> None:
    assert say.likely(p) == word


def test_valves_are_listed_in_a_sentence() -> None:
    assert say.valves([Valve("E", 3)]) == "E3"
    assert say.valves([Valve("I", 1), Valve("E", 1), Valve("I", 2)]) == "I1, E1 and I2"


def test_a_month_of_another_year_is_said_with_its_year() -> None:
    assert say.month(date(2021, 3, 4), date(2021, 11, 1)) == "March"
    assert say.month(date(2019, 3, 4), date(2021, 11, 1)) == "March 2019"


def test_a_range_is_nine_in_ten() -> None:
    # derived: 1.645 sd either side of a normal mean
    text = say.span("Gap", Estimate(0.15, 0.01), "mm")
    assert text == "Gap 0.150 mm, nine in ten between 0.134 and 0.166."


def test_every_variant_that_can_be_named_has_words() -> None:
    assert set(PRIORS) - {SESSION_OFFSET} == set(say.PART)


@pytest.mark.parametrize("train", ["pushrod", "finger", "direct"])
def test_the_sign_in_words_is_the_sign_of_the_linkage(train: str) -> None:
    # derived: the linkage table of engine.linkage
    engine = (
        flat_four() if train == "pushrod" else inline_four(linkage=Linkage(1.5, train=train))  # type: ignore[arg-type]
    )
    for row in cause_table(engine):
        if row.attributed and row.direction != "unchanged":
            text = say.sign(engine, row.cause)
            assert ("close" in text.split(",")[-1].split(":")[-1]) == (row.direction == "tighter"), (
                row.variant
            )


def test_a_session_that_is_off_has_no_sign() -> None:
    assert say.sign(flat_four(), SESSION_OFFSET) == ""


INCHES = say.Units("in", "mile")
HOURS = say.Units("mm", "h", 50.0)


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        # derived: 25.4 mm to the inch; to the nearest half thousandth, the ten-thousandth below 0.0095 mm
        (0.1524, ".006 in"),
        (0.14, ".0055 in"),
        (0.02, ".001 in"),
        (0.004, ".0002 in"),
        (-0.15, "-.006 in"),
    ],
)
def test_gaps_in_inches_have_no_nought_before_the_mark(mm: float, text: str) -> None:
    assert INCHES.mm(mm) == text


def test_a_stated_limit_in_inches_is_not_rounded_away() -> None:
    # derived: 0.1016 mm = 0.0040 in, 0.10 mm = 0.0039 in
    assert INCHES.limit(0.1016) == ".004 in"
    assert INCHES.limit(0.10) == ".0039 in"
    assert say.MM_KM.limit(0.10) == "0.10 mm"


def test_a_drift_is_told_for_the_owners_distance() -> None:
    # derived: 0.0254 mm per 1000 km = .001 in per 1000 km = .0016 in per 1000 miles (1.609344 km to the mile);
    # at 50 km an hour 100 h are 5000 km
    assert INCHES.rate(0.0254) == ".0016 in per 1,000 miles"
    assert say.Units("in", "km").rate(0.0254) == ".001 in per 1,000 km"
    assert HOURS.rate(0.02) == "0.10 mm per 100 h"
    assert say.Units("mm", "mile").rate(0.01) == "0.016 mm per 1,000 miles"


def test_distances_come_in_miles_and_hours() -> None:
    # derived: 1500 km / 1.609344, 1500 km / 50 km an hour
    assert INCHES.km(1500.0) == "932 miles"
    assert HOURS.km(1500.0) == "30 h"


def test_a_range_comes_in_the_owners_units() -> None:
    e = Estimate(0.1524, 0.0254)
    # derived: .006 +- 1.645 thousandths of an inch
    assert INCHES.gap_span("Gap", e) == "Gap .0060 in, nine in ten between .0044 and .0076."
    assert HOURS.rate_span("Drift:", Estimate(-0.01, 0.001)) == (
        "Drift: -0.050 mm per 100 h, nine in ten between -0.058 and -0.042."
    )
    assert INCHES.amount(e) == "Amount .0060 in, sd .0010, at the most affected valve."


def test_every_cause_has_a_name_in_words() -> None:
    assert say.cause("stand_loose") == "a loose rocker stand"
    assert {row.cause for row in cause_table(flat_four()) if row.attributed} <= set(say.CAUSE)
    assert say.cause("something_else") == "something else"
    assert say.part("something_else") == "something else"


def test_codes_of_causes_are_put_into_words_in_other_languages() -> None:
    both = "with valve_train_wear E3: head_settling I1+E1 + shared_lobe_wear E1+E3"
    assert say.coded(both) == both
    with using("en-XA"):
        words = say.coded(both)
    assert "_" not in words
    assert "wear in the valve train" in words
    assert "(I1+E1)" in words
