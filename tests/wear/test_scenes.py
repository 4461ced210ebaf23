"""The ways to look at one onset: scales, slips, what can't be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four
from tests.wear.books_with import book

from coldlash.engine.spec import Valve
from coldlash.wear.candidates import SESSION_OFFSET, candidates
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.scenes import Looks, join, looks
from coldlash.wear.settings import DEFAULTS
from coldlash.wear.signature import Onset, signatures
from coldlash.wear.trend import fit

ENGINE = flat_four()
FOUND = candidates(ENGINE, ENGINE.valves)
E3 = ENGINE.valves.index(Valve("E", 3))


def _looks(visits: list[VisitRecord], onset: Onset, noise: float = 1.0) -> Looks:
    trend = fit(ENGINE, visits)
    return looks(trend, signatures(trend, [onset])[0], FOUND, ((noise, 1.0),), ((1.0, 0.8), (3.0, 0.2)))


def test_a_reading_that_surprises_may_be_a_slip_and_others_may_not() -> None:
    seen = _looks(book(ENGINE, {"E3": [0.154] * 5 + [0.33]}), Onset(5, "jump"))
    assert set(seen.left_out) == {-1, E3}


def test_expected_readings_are_not_doubted() -> None:
    assert set(_looks(book(ENGINE, {"E3": [0.154] * 6}), Onset(5, "jump")).left_out) == {-1}


def test_without_the_odd_reading_its_valve_says_nothing() -> None:
    seen = _looks(book(ENGINE, {"E3": [0.154] * 5 + [0.33]}), Onset(5, "jump"))
    wear = next(j for j, c in enumerate(FOUND) if c.variant == "valve_side_wear" and c.loading[E3])
    kept, out = seen.scenes.A[seen.left_out == -1, wear, wear], seen.scenes.A[seen.left_out == E3, wear, wear]
    assert np.all(kept > 100)
    assert out == pytest.approx(0.0, abs=1.0)


def test_twice_the_noise_is_a_quarter_of_the_evidence() -> None:
    visits = book(ENGINE, {"E3": [0.154] * 5 + [0.13]})
    one, two = _looks(visits, Onset(5, "jump")), _looks(visits, Onset(5, "jump"), 2.0)
    assert two.scenes.b == pytest.approx(one.scenes.b / 4)  # derived: Sigma grows by the square
    assert pytest.approx(one.scenes.A / 4) == two.scenes.A


def test_a_larger_offset_makes_the_sessions_own_offset_the_better_explanation() -> None:
    visits = book(ENGINE, {"E3": [0.154] * 6})
    last = visits[-1]
    off = {v: replace(r, found=GapInterval(0.21, 0.22), adjusted=False) for v, r in last.valves.items()}
    seen = _looks([*visits[:-1], replace(last, valves=off)], Onset(5, "jump"))
    usual, wide = (seen.offset[0], seen.offset[len(seen.offset) // 2])
    # derived: shrinkage of a common shift of 0.06 mm by what the offset is allowed to be
    assert 0 < usual < wide < 0.06
    assert np.all(seen.offset_var <= 9 * DEFAULTS.offset**2 + 1e-12)


def test_a_session_can_only_be_off_at_the_last_visit() -> None:
    visits = book(ENGINE, {"E3": [0.154] * 6})
    offset = np.array([c.cause == SESSION_OFFSET for c in FOUND])
    now, before = _looks(visits, Onset(5, "jump")), _looks(visits, Onset(4, "jump"))
    assert np.all(np.isfinite(now.scenes.log_prior[:, offset]))
    assert np.all(np.isinf(before.scenes.log_prior[:, offset]))


def test_joined_scenes_keep_their_order_and_gain_their_weight() -> None:
    part = _looks(book(ENGINE, {"E3": [0.154] * 4}), Onset(3, "jump")).scenes
    both = join([(part, 0.0), (part, -1.5)])
    n = len(part.log_weight)
    assert both.log_weight[n:] == pytest.approx(part.log_weight - 1.5)
    assert both.b[:n] == pytest.approx(part.b)
