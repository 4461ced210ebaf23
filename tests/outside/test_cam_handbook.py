"""Cam laws against the peaks printed in handbooks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coldlash.engine.cam_laws import LAWS

FINE = np.linspace(0.0, 1.0, 2_000_001)

# published, from memory (M): handbook tables of normalised cam curves (velocity h/b, acceleration h/b^2).
PEAKS = {
    "3-4-5": (1.875, 5.7735),
    "cycloidal": (2.0, 2 * math.pi),
    # derived: 4-5-6-7 peaks at the middle and at x = (1 - 1/sqrt 5)/2; tables round them to 2.188 and 7.51.
    "4-5-6-7": (2.1875, 84 * math.sqrt(5) / 25),
}


@pytest.mark.parametrize("name", PEAKS)
def test_peak_velocity_and_acceleration_are_those_of_the_handbook(name: str) -> None:
    velocity, acceleration = PEAKS[name]
    assert LAWS[name](FINE, 1).max() == pytest.approx(velocity, abs=1e-6)
    if name == "3-4-5":
        # 5.7735 is printed to four decimals; exactly it is 10/sqrt(3).
        assert LAWS[name](FINE, 2).max() == pytest.approx(acceleration, abs=5e-5)
        acceleration = 10 / math.sqrt(3)
    assert LAWS[name](FINE, 2).max() == pytest.approx(acceleration, abs=1e-6)


def test_peak_jerk_of_the_345_law_is_60_at_its_ends() -> None:
    # published, from memory (M): handbook tables give jerk 60 h/b^3; the cycloid's is 4 pi^2.
    assert np.abs(LAWS["3-4-5"](FINE, 3)).max() == pytest.approx(60.0, abs=1e-6)
    assert np.abs(LAWS["cycloidal"](FINE, 3)).max() == pytest.approx(4 * math.pi**2, abs=1e-6)
