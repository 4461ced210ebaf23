"""Piston position, volumes, effective compression ratio."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.engines import flat_four

from coldlash.engine.slider_crank import Cylinder, cylinder_of
from coldlash.engine.spec import Geometry
from coldlash.errors import InputError

CYLINDER = Cylinder(85.5, 69.0, 137.0, 7.0)


def test_trapped_volume_and_effective_ratio_equal_the_worked_value() -> None:
    # derived: exact arithmetic on the slider-crank equation (Heywood ch. 2, V2), intake closing 37 ABDC;
    # given as 431.387 cm3 and 6.5335.
    assert float(CYLINDER.volume_cm3(540 + 37)) == pytest.approx(431.387, abs=5e-4)
    assert float(CYLINDER.effective_compression_ratio(577)) == pytest.approx(6.5335, abs=5e-5)


def test_top_and_bottom_are_clearance_and_clearance_plus_displacement() -> None:
    # derived: definition of the compression ratio.
    top, bottom = CYLINDER.volume_cm3([0, 180])
    assert bottom / top == pytest.approx(7.0)
    assert bottom - top == pytest.approx(math.pi / 4 * 8.55**2 * 6.9)
    assert CYLINDER.piston_mm([180, 540, 720]) == pytest.approx([69.0, 69.0, 0.0], abs=1e-9)


def test_the_slope_of_the_volume_is_its_finite_difference() -> None:
    deg = np.linspace(0, 720, 97)
    slope = (CYLINDER.volume_cm3(deg + 1e-4) - CYLINDER.volume_cm3(deg - 1e-4)) / 2e-4
    assert CYLINDER.volume_slope_cm3(deg) == pytest.approx(slope, abs=1e-7)


def test_an_endless_rod_moves_the_piston_by_a_cosine() -> None:
    # derived: limit of the slider-crank for l >> a.
    long = Cylinder(85.5, 69.0, 1e7, 7.0)
    deg = np.linspace(0, 360, 25)
    assert long.piston_mm(deg) == pytest.approx(34.5 * (1 - np.cos(np.deg2rad(deg))), abs=1e-4)


def test_mean_piston_speed_is_two_strokes_a_turn() -> None:
    assert CYLINDER.mean_piston_speed(3000) == pytest.approx(6.9)


def test_an_engines_geometry_is_taken_and_what_is_missing_named() -> None:
    engine = flat_four(geometry=Geometry(85.5, 69.0, 137.0, 7.0))
    assert cylinder_of(engine) == CYLINDER
    with pytest.raises(InputError, match=r"needs rod_mm, compression_ratio under \[geometry\]"):
        cylinder_of(flat_four(geometry=Geometry(85.5, 69.0)))


def test_impossible_cylinders_are_refused() -> None:
    with pytest.raises(InputError, match="must be above 0"):
        Cylinder(85.5, -69.0, 137.0, 7.0)
    with pytest.raises(InputError, match=r"a rod of 30 mm is shorter than the crank's throw 34.5 mm"):
        Cylinder(85.5, 69.0, 30.0, 7.0)
    with pytest.raises(InputError, match="a compression ratio of 1 is no compression"):
        Cylinder(85.5, 69.0, 137.0, 1.0)
