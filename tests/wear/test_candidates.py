"""The causes an engine offers, and what is assumed of each beforehand."""

from __future__ import annotations

import pytest
from tests.engines import flat_four

from coldlash.engine.spec import Valve
from coldlash.wear.candidates import PRIORS, SESSION_OFFSET, candidates


def test_a_flat_four_offers_every_kind_of_cause_at_every_place() -> None:
    kinds = [c.variant for c in candidates(flat_four())]
    # derived: 8 valves, 4 shared lobes, 2 heads, 4 cylinders
    assert {k: kinds.count(k) for k in set(kinds)} == {
        "seat_recession": 8,
        "valve_side_wear": 8,
        "shared_lobe": 4,
        "head_settling": 2,
        "head_lifting": 4,
        "stand_loose": 4,
    }


def test_an_exhaust_seat_is_likelier_than_an_intake_seat() -> None:
    seats = {c.where[0].kind: c for c in candidates(flat_four()) if c.variant == "seat_recession"}
    assert (seats["E"].prior, seats["I"].prior) == (0.08, 0.03)  # judgement: the table of priors
    assert seats["E"].direction == "tighter"
    assert seats["E"].gain == 1.0


def test_a_session_offset_is_offered_in_both_directions_for_what_was_read() -> None:
    read = (Valve("I", 1), Valve("E", 1))
    offsets = [c for c in candidates(flat_four(), read) if c.cause == SESSION_OFFSET]
    assert {c.direction for c in offsets} == {"tighter", "looser"}
    assert all(c.where == read for c in offsets)
    assert sum(abs(x) for x in offsets[0].loading) == 2.0


@pytest.mark.parametrize("variant", sorted(PRIORS))
def test_sizes_and_priors_are_probabilities_and_lengths(variant: str) -> None:
    size, first, second = PRIORS[variant]
    assert 0 < size < 0.2
    assert 0 < first < 0.5
    assert 0 < second < 0.5
