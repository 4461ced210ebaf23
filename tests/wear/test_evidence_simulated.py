"""Simulated engines with a known fault: right results and finds sharpen the answer, wrong ones do not break it.

Results are drawn from the chances in the table: that they are used rightly is shown, not that they are right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from tests.engines import flat_four

from coldlash.engine.linkage import CauseLoading, loadings
from coldlash.engine.spec import Valve
from coldlash.wear.assessment import Assessment, assess
from coldlash.wear.found import Found
from coldlash.wear.next_test import Result, Test, table
from coldlash.wear.simulate import COARSE, FINE, Event, Plan, Simulated, simulate

ENGINE = flat_four()
ENGINES = 10
FIRST_SEED = 1000


@dataclass(frozen=True)
class Case:
    """A simulated book whose fault is known, and its answers with nothing else given, with tests, with the find."""

    truth: CauseLoading
    book: Simulated
    plain: Assessment
    tested: Assessment
    told: Assessment


def _drawn(rng: np.random.Generator, test: Test, where: tuple[Valve, ...], truth: CauseLoading) -> Result:
    kinds = {v.kind for v in truth.where if v in where}
    signs = []
    for sign in test.signs:
        reached = {"exhaust": "E" in kinds, "intake": "I" in kinds, "any": bool(kinds)}.get(
            sign.at, set(where) == set(truth.where)
        )
        chance = sign.chance.get(truth.variant, 0.0) if reached else 0.0
        if rng.random() < 1 - (1 - sign.without) * (1 - chance):
            signs.append(sign.name)
    return Result(test.name, where, tuple(signs))


def _way(truth: CauseLoading) -> str:
    return "looser" if max(truth.loading, key=abs) > 0 else "tighter"


@lru_cache(maxsize=1)
def cases() -> tuple[Case, ...]:
    """The same for all tests here; invented faults of 0.03 to 0.08 mm."""
    every, out = loadings(ENGINE), []
    for seed in range(FIRST_SEED, FIRST_SEED + ENGINES):
        rng = np.random.default_rng(seed)
        truth = every[int(rng.integers(len(every)))]
        most = max(map(abs, truth.loading))
        loading = {v: x / most for v, x in zip(ENGINE.valves, truth.loading, strict=True) if x}
        plan = Plan(visits=10, ladder_mm=FINE if seed % 2 else COARSE)
        book = simulate(ENGINE, rng, plan, events=[Event(8, loading, jump=float(rng.uniform(0.03, 0.08)))])
        plain = assess(ENGINE, book.visits)
        results = []
        for asked in plain.next_tests[:2]:
            test = next(t for t in table() if t.name == asked.test)
            results.append(_drawn(rng, test, asked.where, truth))
        found = Found(truth.cause, truth.where, _way(truth), book.visits[-1].day)
        out.append(
            Case(
                truth,
                book,
                plain,
                assess(ENGINE, book.visits, results=results),
                assess(ENGINE, book.visits, found=[found]),
            )
        )
    return tuple(out)


def _score(answer: Assessment, truth: CauseLoading) -> float:
    """Log of the chance given to what really happened, at least one in a thousand."""
    seen = answer.attribution
    chance = sum(
        seen.probability_of(c) for c in seen.causes if (c.cause, c.where) == (truth.cause, truth.where)
    )
    return math.log(max(chance, 1e-3))


def _named(answer: Assessment, truth: CauseLoading) -> bool:
    return bool(answer.causes) and (answer.causes[0].cause, answer.causes[0].where) == (
        truth.cause,
        truth.where,
    )


def _drift_score(answer: Assessment, case: Case) -> float:
    """Mean log density of the true drifts of the valves that moved, under what is said of them."""
    scores = []
    for valve in case.truth.where:
        said, true = answer.of(valve).drift, float(case.book.drift[-1, ENGINE.valves.index(valve)])
        scores.append(-0.5 * ((true - said.mean) / said.sd) ** 2 - math.log(said.sd))
    return float(np.mean(scores))


def test_results_of_the_suggested_tests_sharpen_the_causes() -> None:
    gain = [_score(c.tested, c.truth) - _score(c.plain, c.truth) for c in cases()]
    assert np.mean(gain) > 0.3
    assert sum(_named(c.tested, c.truth) for c in cases()) >= sum(_named(c.plain, c.truth) for c in cases())


def test_a_cause_that_was_found_is_named_and_leaves_the_drift_truer() -> None:
    assert np.mean([_score(c.told, c.truth) - _score(c.plain, c.truth) for c in cases()]) > 1.0
    assert sum(_named(c.told, c.truth) for c in cases()) > sum(_named(c.plain, c.truth) for c in cases())
    gain = [_drift_score(c.told, c) - _drift_score(c.plain, c) for c in cases()]
    assert np.mean(gain) > 0.1
    assert min(gain) > -0.5


def test_wrong_results_that_can_be_do_not_break_the_causes() -> None:
    case = max(cases(), key=lambda c: _score(c.plain, c.truth))
    wrong = [
        Result(t.name, place, tuple(s.name for s in t.signs if s.name not in STOPPING))
        for t in table()
        if t.place == "cylinder"
        for place in [
            tuple(v for v in ENGINE.valves if v.cylinder not in {w.cylinder for w in case.truth.where})[:1]
        ]
        if place
    ]
    answer = assess(ENGINE, case.book.visits, results=wrong)
    total = sum(c.weight for c in answer.attribution.combinations)
    assert 0 < total <= 1 + 1e-9
    assert all(0 <= c.probability <= 1 for c in answer.causes)
    assert 0 <= answer.p_something <= 1
    assert not answer.do_not_run or case.plain.do_not_run
    # One wrong sign alone does not drown it: what the readings say plainly keeps most of its chance.
    one = assess(ENGINE, case.book.visits, results=wrong[:1])
    assert _score(one, case.truth) > _score(case.plain, case.truth) - 1.0


STOPPING = ("stud_pulled", "pushrod_bent", "seat_dropped")
