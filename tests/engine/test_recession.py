"""The recession law: its dimensions, its geometry, its bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coldlash.engine.recession import recession_mm, wear_ratio
from coldlash.errors import InputError


def test_a_thin_layer_recedes_by_its_volume_over_the_seats_projected_area() -> None:
    # derived: sinking by r along the valve takes r cos a off a face of area 2 pi R w.
    volume = 1e-4
    expected = volume / (2 * math.pi * 16.0 * 1.6 * math.cos(math.radians(45)))
    assert float(recession_mm(volume, 16.0, 45.0, 1.6)) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("angle", [30.0, 45.0])
@pytest.mark.parametrize("face", [0.0, 1.6])
def test_the_volume_cut_out_by_a_receding_face_gives_back_the_recession(angle: float, face: float) -> None:
    # derived: cross-section of a right-angled corner cut by a face of width w + r / sin a instead of w, x 2 pi R.
    a, radius, recession = math.radians(angle), 16.0, 0.3
    wide = face + recession / math.sin(a)
    volume = 2 * math.pi * radius * 0.5 * (wide**2 - face**2) * math.sin(a) * math.cos(a)
    assert float(recession_mm(volume, radius, angle, face)) == pytest.approx(recession, rel=1e-12)


def test_four_times_the_volume_recedes_a_knife_edge_seat_twice_as_far() -> None:
    # derived: with w = 0 recession goes with the square root of the volume.
    one, four = recession_mm([1.0, 4.0], 16.0, 45.0, 0.0)
    assert four == pytest.approx(2 * one)


def test_at_the_set_gap_nothing_changes_whatever_the_share() -> None:
    ratio = wear_ratio(1.0, 1.7)
    assert float(ratio.at_share(0.0)) == float(ratio.at_share(1.0)) == 1.0


def test_impact_wear_goes_with_energy_to_the_power_and_sliding_stays() -> None:
    ratio = wear_ratio([0.5, 2.0], exponent=1.5)
    # derived: (v^2)^n = 2^(2 x 1.5) = 8.
    assert ratio.impact == pytest.approx([1 / 8, 8.0])
    assert ratio.least == pytest.approx([1 / 8, 1.0])
    assert ratio.most == pytest.approx([1.0, 8.0])
    assert ratio.at_share(0.5) == pytest.approx([(1 + 1 / 8) / 2, 4.5])


def test_values_that_make_no_seat_or_law_are_refused() -> None:
    for bad in ((-1.0, 16, 45, 1), (1.0, 0, 45, 1), (1.0, 16, 90, 1), (1.0, 16, 45, -1), (np.nan, 16, 45, 1)):
        with pytest.raises(InputError, match="make no seat"):
            recession_mm(*bad)
    with pytest.raises(InputError, match="an exponent of 0 can't be used"):
        wear_ratio(1.0, 0)
    with pytest.raises(InputError, match="a landing speed ratio is below 0"):
        wear_ratio([1.0, -1.0])
    with pytest.raises(InputError, match=r"an impact share of 1.2 is outside 0..1"):
        wear_ratio(2.0).at_share(1.2)
