"""Learning the figures: recovers what an owner's engines follow, says how well, refuses to guess from nothing."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin
from tests.wear.books import every_valve, visit

from coldlash.errors import ConvergenceError
from coldlash.wear import learn as learning
from coldlash.wear.learn import PRIOR_SD, learn
from coldlash.wear.settings import DEFAULTS, TrendSettings
from coldlash.wear.simulate import Plan, Simulated, simulate
from coldlash.wear.trend import fit


def _owner(truth: TrendSettings, engines: int, seed: int, visits: int = 20) -> list[Simulated]:
    rng = np.random.default_rng(seed)
    return [simulate(flat_four(), rng, Plan(visits=visits), truth) for _ in range(engines)]


@pytest.mark.parametrize(
    "truth",
    [
        replace(DEFAULTS, offset=0.030),
        replace(DEFAULTS, wander=0.008, feel=0.030, setting=0.024),
        replace(DEFAULTS, wander=0.002, feel=0.0075, setting=0.006),
    ],
)
def test_figures_wrong_by_a_factor_of_two_or_three_are_learnt(truth: TrendSettings) -> None:
    # Derived from simulation: within three of its own sds, and within a factor of 1.5, of the truth.
    sims = _owner(truth, 3, 4)
    found = learn([(s.engine, s.visits) for s in sims])
    for name in ("wander", "feel", "offset", "setting"):
        ratio = np.log(getattr(found.settings, name) / getattr(truth, name))
        assert abs(ratio) < 3 * found.log_sd[name], name
        assert abs(ratio) < np.log(1.5), name
    assert found.gain > 5
    assert found.settings.drag / found.settings.feel == pytest.approx(DEFAULTS.drag / DEFAULTS.feel)


def test_the_figures_found_are_a_maximum() -> None:
    sims = _owner(DEFAULTS, 1, 6)
    found = learn([(s.engine, s.visits) for s in sims])

    def score(settings: TrendSettings) -> float:
        logs = [np.log(getattr(settings, n) / getattr(DEFAULTS, n)) for n in learning.LEARNT]
        return (
            fit(flat_four(), sims[0].visits, settings).log_evidence
            - 0.5 * sum(x * x for x in logs) / PRIOR_SD**2
        )

    best = score(found.settings)
    assert best - score(DEFAULTS) == pytest.approx(found.gain, abs=0.05)
    for name in ("wander", "offset", "setting", "misread"):
        for factor in (0.8, 1.25):
            moved = replace(found.settings, **{name: getattr(found.settings, name) * factor})
            assert score(moved) < best


def test_from_two_visits_nothing_is_learnt_and_that_is_said() -> None:
    twin = flat_twin()
    found = learn([(twin, [visit(5000 * i, every_valve(twin, (0.1, 0.15))) for i in range(2)])])
    assert found.settings == DEFAULTS
    assert found.iterations == 0
    assert found.notes == ("Only 2 visits with readings: the starting points are used as they are.",)


def test_few_visits_move_little() -> None:
    twin = flat_twin()
    found = learn([(twin, [visit(5000 * i, every_valve(twin, (0.1, 0.15))) for i in range(4)])])
    assert all(0.5 < getattr(found.settings, n) / getattr(DEFAULTS, n) < 2 for n in learning.LEARNT)
    assert all(0 < sd <= PRIOR_SD * 1.05 for sd in found.log_sd.values())


def test_a_figure_that_starts_at_nothing_stays_nothing() -> None:
    sims = _owner(replace(DEFAULTS, misread=0.0), 1, 8, visits=8)
    found = learn([(s.engine, s.visits) for s in sims], replace(DEFAULTS, misread=0.0))
    assert found.settings.misread == 0.0
    assert "misread" not in found.log_sd


def test_progress_is_told_every_step() -> None:
    steps: list[int] = []
    sims = _owner(DEFAULTS, 1, 9, visits=6)
    found = learn([(s.engine, s.visits) for s in sims], progress=steps.append)
    assert steps == list(range(1, found.iterations + 1))


def test_a_search_that_does_not_settle_raises() -> None:
    sims = _owner(replace(DEFAULTS, offset=0.03), 1, 9, visits=6)
    with (
        patch.object(learning, "_ITERATIONS", 1),
        pytest.raises(
            ConvergenceError, match="learning from 6 visits did not settle after 1 steps; use the starting"
        ),
    ):
        learn([(s.engine, s.visits) for s in sims])
