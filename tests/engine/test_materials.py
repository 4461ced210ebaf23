"""Strains from mean coefficients, and what happens at the edges of their ranges."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from coldlash.engine.materials import (
    MATERIALS,
    elongation,
    expansion_sd,
    instantaneous_expansion,
    material_named,
    mean_expansion,
    range_note,
)
from coldlash.errors import InputError

VALVE = MATERIALS["X53CrMnNiNbN21-9"]
ALUMINIUM = MATERIALS["6061"]


def test_every_row_states_words_range_source_and_kind() -> None:
    for name, row in MATERIALS.items():
        assert row.name == name
        assert row.words
        assert row.source
        assert row.kind in ("published", "from memory")
        highs = [high for _, high, _ in row.points]
        assert highs == sorted(set(highs))
        assert len({low for low, _, _ in row.points}) == 1
        # common practice: structural metals lie between 5 and 30e-6/K, so a slipped unit shows
        assert all(5 < mean < 30 for _, _, mean in row.points)


@pytest.mark.parametrize("name", list(MATERIALS))
def test_strain_between_two_temperatures_is_the_integral_of_the_slope(name: str) -> None:
    # derived: the instantaneous coefficient is the slope of the strain; midpoint rule, exact on straight pieces
    row = MATERIALS[name]
    edges = sorted({-40.0, 20.0, *(high for _, high, _ in row.points), row.high_c + 200})
    total = 0.0
    for left, right in pairwise(edges):
        total += instantaneous_expansion(row, (left + right) / 2) * (right - left)
    assert elongation(row, edges[0], edges[-1]) == pytest.approx(total, rel=1e-12)


def test_strain_adds_up_over_steps_and_turns_with_direction() -> None:
    assert elongation(VALVE, 50, 400) == pytest.approx(
        elongation(VALVE, 50, 222) + elongation(VALVE, 222, 400)
    )
    assert elongation(VALVE, 400, 50) == -elongation(VALVE, 50, 400)
    assert elongation(VALVE, 333, 333) == 0


def test_between_listed_temperatures_the_mean_runs_straight() -> None:
    # derived: half way between 17.5 (to 300 C) and 18.5 (to 500 C)
    assert mean_expansion(VALVE, 400) == pytest.approx(18.0e-6, rel=1e-12)


def test_outside_its_range_the_nearest_value_is_held_less_surely_and_said() -> None:
    # the project's rule: nearest value, 1e-6/K more uncertainty per 100 K
    assert mean_expansion(ALUMINIUM, 250) == mean_expansion(ALUMINIUM, 100) == 23.6e-6
    assert expansion_sd(ALUMINIUM, 250) ** 2 - expansion_sd(ALUMINIUM, 100) ** 2 == pytest.approx(
        (1.5e-6) ** 2
    )
    note = range_note(ALUMINIUM, 250)
    assert note is not None
    assert "150 K outside" in note
    assert "1.5e-6/K more uncertainty" in note
    assert range_note(ALUMINIUM, 100) is None
    assert range_note(ALUMINIUM, 20) is None
    cold = range_note(ALUMINIUM, 2)
    assert cold is not None
    assert "18 K outside" in cold


def test_a_figure_from_memory_is_less_certain_than_a_published_one() -> None:
    assert expansion_sd(MATERIALS["4130"], 100) > expansion_sd(MATERIALS["4140"], 100)


@pytest.mark.parametrize("temp", [-40.1, 300.1, math.nan, math.inf])
def test_a_temperature_far_outside_is_refused_with_material_and_range(temp: float) -> None:
    with pytest.raises(
        InputError, match=r"6061 \(wrought aluminium 6061\) at .* C: .*20 to 100 C.*-40 to 300 C"
    ):
        elongation(ALUMINIUM, 20, temp)
    for function in (mean_expansion, instantaneous_expansion, expansion_sd):
        with pytest.raises(InputError, match="check the temperature"):
            function(ALUMINIUM, temp)


def test_the_last_allowed_temperatures_are_taken() -> None:
    assert elongation(ALUMINIUM, -40, 300) == pytest.approx(23.6e-6 * 340)


@pytest.mark.parametrize(
    ("given", "name"), [("a356", "A356"), ("356.0", "A356"), (" 319.0 ", "A319"), ("6061", "6061")]
)
def test_other_spellings_find_their_material(given: str, name: str) -> None:
    assert material_named(given).name == name


def test_an_unknown_material_is_refused_with_the_nearest_and_a_way_out() -> None:
    with pytest.raises(InputError, match=r"'606I' is not in the table; nearest is 6061.*expansion_per_k"):
        material_named("606I")
    with pytest.raises(InputError, match=r"'wood' is not in the table\. Known: 6061"):
        material_named("wood")
