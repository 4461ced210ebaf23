"""The fewest positions on a circle, against trying every set and against an integer program."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.bench.fewest import fewest_positions

CYCLE = 720


def tent(places: list[int], middle: int, half_open: int) -> list[int]:
    """Margin of a target that is open ``half_open`` either side of ``middle``: distance to the nearer edge."""
    return [min((p - middle) % CYCLE, (middle - p) % CYCLE) - half_open for p in places]


def span_of(indices: tuple[int, ...], places: list[int]) -> int:
    """The shortest way through all of them, one way round: the circle less its widest empty stretch."""
    at = sorted(places[i] for i in indices)
    return CYCLE - max((b - a) % CYCLE or CYCLE for a, b in zip(at, [*at[1:], at[0]], strict=True))


@st.composite
def circles(draw: st.DrawFn) -> tuple[list[int], list[list[int]], int]:
    places = sorted(draw(st.sets(st.integers(0, 71), min_size=1, max_size=11)))
    places = [10 * p for p in places]
    need = draw(st.sampled_from([0, 30, 60, 120, 180]))
    targets = draw(st.lists(st.tuples(st.integers(0, 719), st.integers(60, 170)), max_size=12))
    margins = [tent(places, middle, half) for middle, half in targets]
    return places, [row for row in margins if max(row) >= need], need


@settings(max_examples=300, derandomize=True, deadline=None)
@given(circles())
def test_equals_trying_every_set(circle: tuple[list[int], list[list[int]], int]) -> None:
    # derived: the definition itself, by exhaustion
    places, margins, need = circle
    chosen = fewest_positions(places, CYCLE, margins, need, list(range(len(places))))
    if not margins:
        assert chosen == ()
        return
    table = np.array(margins)
    best: tuple[int, int, int, int] | None = None
    for size in range(1, len(places) + 1):
        for subset in combinations(range(len(places)), size):
            least = int(table[:, subset].max(axis=1).min())
            if least >= need:
                span = span_of(subset, places)
                start = min(i for i in subset if max((places[j] - places[i]) % CYCLE for j in subset) == span)
                key = (size, -least, span, start)
                best = key if best is None else min(best, key)
        if best is not None:
            break
    ways = [(places[j] - places[chosen[0]]) % CYCLE for j in chosen]
    assert ways == sorted(set(ways)), "visiting order goes one way round"
    assert (len(chosen), -int(table[:, chosen].max(axis=1).min()), ways[-1], chosen[0]) == best


@pytest.mark.parametrize("seed", range(12))
def test_agrees_with_an_integer_program_where_trying_every_set_is_out_of_reach(seed: int) -> None:
    # independent software: scipy.optimize.milp (HiGHS) on the set-cover formulation, 48 positions, 32 targets
    from scipy.optimize import Bounds, LinearConstraint, milp

    def cover(level: int) -> int | None:
        reach = (table >= level).astype(float)
        result = milp(
            np.ones(len(places)),
            constraints=LinearConstraint(reach, lb=1),
            bounds=Bounds(0, 1),
            integrality=np.ones(len(places)),
        )
        return None if result.x is None else round(result.x.sum())

    rng = np.random.default_rng(seed)
    places = sorted(int(p) for p in rng.choice(CYCLE, 48, replace=False))
    margins = [tent(places, int(rng.integers(CYCLE)), int(rng.integers(100, 160))) for _ in range(32)]
    need = int(rng.choice([30, 90, 150, 180]))
    margins = [row for row in margins if max(row) >= need]
    table = np.array(margins)
    chosen = fewest_positions(places, CYCLE, margins, need, [0] * len(places))
    least = int(table[:, chosen].max(axis=1).min())
    assert len(chosen) == cover(need)
    assert cover(least) == len(chosen), "the least margin found is possible with as many"
    more = cover(least + 1)
    assert more is None or more > len(chosen), "no larger least margin is"


def test_one_position_when_everything_is_reached_from_everywhere() -> None:
    assert fewest_positions([0, 360], CYCLE, [[50, 50], [40, 40]], 30, [1, 0]) == (1,)


def test_equal_plans_start_at_the_lowest_rank() -> None:
    # two targets, each reached from one of two opposite places: either start is as good
    assert fewest_positions([0, 360], CYCLE, [[90, -90], [-90, 90]], 30, [0, 1]) == (0, 1)
    assert fewest_positions([0, 360], CYCLE, [[90, -90], [-90, 90]], 30, [1, 0]) == (1, 0)
