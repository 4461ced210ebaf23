"""The normalised cam laws: ends, derivatives, messages. Handbook peaks: tests/outside/test_cam_handbook.py."""

from __future__ import annotations

import numpy as np
import pytest

from coldlash.engine.cam_laws import LAWS, cycloidal, law_named, polynomial_345
from coldlash.errors import InputError


@pytest.mark.parametrize("name", LAWS)
def test_a_law_rises_from_rest_at_0_to_rest_at_1(name: str) -> None:
    law = LAWS[name]
    # derived: a rest-to-rest law has lift 0 and 1, velocity and acceleration 0 at its ends.
    assert law(np.array([0.0, 1.0]), 0) == pytest.approx([0.0, 1.0], abs=1e-12)
    for order in (1, 2):
        assert law(np.array([0.0, 1.0]), order) == pytest.approx([0.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("name", LAWS)
def test_each_derivative_is_the_finite_difference_of_the_one_before(name: str) -> None:
    x, h = np.linspace(0.05, 0.95, 19), 1e-5
    for order in (1, 2, 3):
        slope = (LAWS[name](x + h, order - 1) - LAWS[name](x - h, order - 1)) / (2 * h)
        assert LAWS[name](x, order) == pytest.approx(slope, rel=1e-6, abs=1e-6)


def test_an_unknown_law_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(InputError, match="'sine' is not a cam law known here; use one of 3-4-5, 4-5-6-7"):
        law_named("sine")


@pytest.mark.parametrize("law", [polynomial_345, cycloidal])
def test_an_order_beyond_jerk_is_refused(law: object) -> None:
    with pytest.raises(InputError, match="order 4 is not 0"):
        law(0.5, 4)  # type: ignore[operator]
