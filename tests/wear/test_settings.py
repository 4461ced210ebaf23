"""The trend's figures are checked when given."""

from __future__ import annotations

import math

import pytest

from coldlash.errors import InputError
from coldlash.wear.settings import TrendSettings, check_coefficient


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"wander": -0.001}, "wander is -0.001; it can't be negative"),
        ({"feel": 0.0}, "feel is 0; give a positive number of mm"),
        ({"offset": math.nan}, "offset is nan; give a finite number"),
        ({"misread": 1.0}, "misread is 1.0; give a probability below 1"),
    ],
)
def test_settings_that_cannot_be_are_refused(fields: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        TrendSettings(**fields)


def test_a_coefficient_needs_both_kinds() -> None:
    with pytest.raises(InputError, match="has no kind E; give"):
        check_coefficient({"I": (0.001, 0.0)})


def test_a_coefficient_needs_finite_figures() -> None:
    with pytest.raises(InputError, match="give a finite mean and sd in mm/K"):
        check_coefficient({"I": (0.001, -1.0), "E": (0.001, 0.0)})
