"""The cheap look for old jumps."""

from __future__ import annotations

import numpy as np
from tests.engines import flat_four

from coldlash.wear.screen import suspicious
from coldlash.wear.simulate import Event, Plan, simulate
from coldlash.wear.trend import fit

ENGINE = flat_four()


def test_the_visit_after_a_jump_is_the_most_suspicious() -> None:
    loading = {v: -1.1 for v in ENGINE.valves if v.cylinder < 3}
    visits = simulate(ENGINE, np.random.default_rng(1), Plan(visits=14), events=[Event(5, loading, jump=0.1)])
    assert suspicious(fit(ENGINE, visits.visits), 1 / 1600, 14)[0][0] == 6


def test_visits_from_the_bound_on_are_left_alone() -> None:
    loading = {v: -1.1 for v in ENGINE.valves if v.cylinder < 3}
    visits = simulate(ENGINE, np.random.default_rng(1), Plan(visits=14), events=[Event(5, loading, jump=0.1)])
    assert all(index < 6 for index, _ in suspicious(fit(ENGINE, visits.visits), 1 / 1600, 6))


def test_no_visits_are_not_suspicious() -> None:
    assert suspicious(fit(ENGINE, []), 1 / 1600, 0) == []
