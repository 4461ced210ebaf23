"""Typing and showing in the owner's units: exact factors, real faults, the way back."""

from __future__ import annotations

import pytest

from coldlash.desk.shown import SETTINGS, Shown, checked_setting, shown_from
from coldlash.engine.spec import Service
from coldlash.errors import InputError

INCH = Shown("in", "mile", "F")


@pytest.mark.parametrize(
    ("shown", "text", "mm"),
    [
        (Shown(), "0.15", 0.15),
        (Shown(), "0,15 mm", 0.15),
        (Shown(), "-0.05", -0.05),
        (Shown(), "\N{MINUS SIGN}0.05", -0.05),
        (Shown(), ".006 in", 0.1524),  # exact: the international inch is 25.4 mm
        (Shown(), "6 thou", 0.1524),
        (INCH, ".006", 0.1524),
        (INCH, "6", 0.1524),
        (INCH, "-2", -0.0508),
        (INCH, "0.15 mm", 0.15),
        (INCH, "0", 0.0),
    ],
)
def test_a_gap_is_typed_in_the_owners_unit_or_with_its_own(shown, text, mm):
    assert shown.to_mm(text, "gap") == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("15", "E3: '15' is 15 mm; a gap is below 5 mm"),
        ("plank", "E3: 'plank' is not a number"),
        ("0.1 0.2", "E3: '0.1 0.2' is not a gap; write it like 0.15"),
        ("", "E3: '' is not a gap; write it like 0.15"),
    ],
)
def test_what_is_no_gap_is_refused_by_name(text, message):
    with pytest.raises(InputError) as refused:
        Shown().to_mm(text, "E3")
    assert message in str(refused.value)


def test_what_is_typed_back_is_what_was_shown():
    for shown in (Shown(), INCH):
        for mm in (0.15, 0.1524, -0.0508, 0.0):
            assert shown.to_mm(shown.typed_mm(mm), "gap") == pytest.approx(mm, abs=0.0013)
    assert INCH.typed_mm(0.1524) == ".006"
    assert Shown().typed_mm(-0.05) == "-0.05"


def test_temperatures_and_their_differences_are_told_apart():
    # definition: F = 1.8 C + 32; a difference has no 32
    assert (Shown().celsius(20), INCH.celsius(20)) == ("20 °C", "68 °F")
    assert (Shown().kelvin(6.3), INCH.kelvin(5)) == ("6.3 °C", "9 °F")
    assert INCH.to_celsius(68) == pytest.approx(20)
    assert (Shown().typed_celsius(20.5), INCH.typed_celsius(20)) == ("20.5", "68")
    assert (Shown().kelvin_unit, INCH.kelvin_unit) == ("°C", "°F")


def test_distances_are_those_of_the_meter():
    assert (Shown().km(1609.344), INCH.km(1609.344)) == ("1,609 km", "1,000 miles")
    hours = Service(meter="h", km_per_h=50)
    assert INCH.km(1000, hours) == "20 h"
    assert (INCH.words(hours).distance_unit, INCH.words().distance_unit) == ("h", "mi")


def test_a_setting_that_does_not_exist_is_refused_and_an_unknown_one_in_a_book_is_the_usual():
    assert shown_from({"gap_unit": "ell", "distance_unit": "mile"}) == Shown("mm", "mile", "C")
    with pytest.raises(InputError, match="setting 'colour': there are gap_unit"):
        checked_setting("colour", "red")
    with pytest.raises(InputError, match="'ell' is not one of mm, in"):
        checked_setting("gap_unit", "ell")
    assert [checked_setting(key, values[0]) for key, values in SETTINGS.items()] == ["mm", "km", "C"]
