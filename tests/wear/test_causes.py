"""Which part: simulated engines with one known cause, and what must not be taken for one.

Expected answers are the simulator's truth; where rates are claimed the study in benchmarks gives them over hundreds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin, single, v12

from coldlash.engine.linkage import loadings
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.wear.causes import (
    DEFAULT_CAUSES,
    Attribution,
    CauseSettings,
    accepted_jumps,
    attribute,
    likely_onsets,
    settle_history,
)
from coldlash.wear.combinations import EVERYTHING
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.signature import Onset
from coldlash.wear.simulate import FINE, Event, Plan, Simulated, simulate
from coldlash.wear.trend import fit

ENGINE = flat_four()


def _loading(engine: Engine, variant: str, *valves: str) -> dict[Valve, float]:
    where = tuple(Valve.parse(v) for v in valves)
    entry = next(c for c in loadings(engine) if c.variant == variant and c.where == where)
    return {v: x for v, x in zip(engine.valves, entry.loading, strict=True) if x}


def _after(loading: Mapping[Valve, float], seed: int = 3, **event: float) -> Simulated:
    """A flat-four read with fine blades at 12 visits, something happening before the last."""
    plan = Plan(visits=12, ladder_mm=FINE)
    return simulate(ENGINE, np.random.default_rng(seed), plan, events=[Event(10, dict(loading), **event)])


def _of(visits: tuple[VisitRecord, ...], engine: Engine = ENGINE) -> Attribution:
    return attribute(fit(engine, visits))


@pytest.mark.parametrize(
    ("variant", "valves", "cause", "direction"),
    [
        ("seat_recession", ("E3",), "seat_recession_or_stretch", "tighter"),
        ("shared_lobe", ("E2", "E4"), "shared_lobe_wear", "looser"),
        ("head_settling", ("I1", "E1", "I2", "E2"), "head_settling", "tighter"),
        ("head_lifting", ("I4", "E4"), "head_lifting_or_stand_loose", "looser"),
        ("stand_loose", ("I3", "E3"), "head_lifting_or_stand_loose", "looser"),
    ],
)
def test_a_clear_jump_names_its_part_and_direction(
    variant: str, valves: tuple[str, ...], cause: str, direction: str
) -> None:
    loading = _loading(ENGINE, variant, *valves)
    seen = _of(_after(loading, jump=0.11).visits)
    first = seen.causes[0]
    assert (first.cause, [str(v) for v in first.where]) == (cause, list(valves))
    assert first.direction == direction
    assert first.how == "jump"
    gap = 0.11 * max(abs(x) for x in loading.values())
    assert first.amount.mean == pytest.approx(gap, abs=3 * first.amount.sd)
    assert first.amount.sd < 0.5 * gap


def test_the_same_jump_seen_at_more_visits_is_surer() -> None:
    def visit(t: int, e3: float) -> VisitRecord:
        gaps = dict.fromkeys(ENGINE.valves, 0.15) | {Valve("E", 3): e3}
        records = {v: ValveRecord(GapInterval(g, g)) for v, g in gaps.items()}
        return VisitRecord(date(2010, 1, 1) + timedelta(days=300 * t), 5000.0 * t, records, 20.0)

    visits = [visit(t, 0.15 if t < 5 else 0.09) for t in range(7)]
    onset = [(Onset(5, "jump"), 0.02)]
    once = attribute(fit(ENGINE, visits[:6]), onsets=onset)
    twice = attribute(fit(ENGINE, visits), onsets=onset)
    assert twice.p_something > once.p_something
    assert twice.causes[0].where == (Valve("E", 3),)
    assert twice.causes[0].amount.sd < once.causes[0].amount.sd


def test_a_seat_that_recedes_steadily_from_new_is_recognised() -> None:
    loading = _loading(ENGINE, "seat_recession", "E2")
    seen = simulate(
        ENGINE, np.random.default_rng(0), Plan(visits=18), events=[Event(0, loading, slope=0.014)]
    )
    said = _of(seen.visits)
    first = said.causes[0]
    assert said.p_something > 0.9
    assert (first.cause, str(first.where[0]), first.how) == ("seat_recession_or_stretch", "E2", "slope")
    assert first.per_1000km is not None
    assert first.per_1000km.mean == pytest.approx(0.014, abs=3 * first.per_1000km.sd)


def test_everything_read_off_by_the_same_is_the_session_not_a_part() -> None:
    visits = simulate(ENGINE, np.random.default_rng(5), Plan(visits=10, ladder_mm=FINE)).visits
    last = visits[-1]

    def moved(g: GapInterval | None) -> GapInterval | None:
        return g and GapInterval(g.lo + 0.06, g.hi + 0.06)

    off = {v: replace(r, found=moved(r.found)) for v, r in last.valves.items()}
    said = _of((*visits[:-1], replace(last, valves=off)))
    assert said.causes[0].cause == "session_offset"
    assert said.causes[0].direction == "looser"
    assert said.causes[0].where == ENGINE.valves


def test_one_slip_of_the_hand_is_no_cause() -> None:
    visits = simulate(ENGINE, np.random.default_rng(6), Plan(visits=10, ladder_mm=FINE)).visits
    last, valve = visits[-1], Valve("I", 2)
    wrong = {**last.valves, valve: replace(last.valves[valve], found=GapInterval(0.38, 0.39))}
    said = _of((*visits[:-1], replace(last, valves=wrong)))
    assert said.p_something < 0.2
    assert said.p_misread[valve] > 0.8


def test_a_new_part_ends_the_cause_of_the_old_one() -> None:
    loading = _loading(ENGINE, "seat_recession", "E3")
    visits = _after(loading, jump=0.12).visits
    last, valve = visits[-1], Valve("E", 3)
    mended = {**last.valves, valve: replace(last.valves[valve], restart=True, adjusted=True, set_to=0.15)}
    said = _of((*visits[:-1], replace(last, valves=mended)))
    assert ("seat_recession_or_stretch", (valve,)) not in [(c.cause, c.where) for c in said.causes]


def test_healthy_engines_are_told_that_little_happened() -> None:
    # bar of the study: under 0.1 on average
    p = [
        _of(simulate(ENGINE, np.random.default_rng([7, k]), Plan(visits=6 + k)).visits).p_something
        for k in range(12)
    ]
    assert np.mean(p) < 0.1


def test_a_cause_names_what_gaps_cannot_tell_it_from() -> None:
    said = _of(_after(_loading(ENGINE, "stand_loose", "I1", "E1"), jump=0.08).visits)
    assert "valve_train_wear I1 + valve_train_wear E1" in said.causes[0].not_separable_from
    assert set(said.causes[0].variants) == {"stand_loose", "head_lifting"}


@pytest.mark.parametrize("what", ["two causes", "nothing", "a head"])
def test_the_beam_gives_the_same_answer_as_trying_every_combination(what: str) -> None:
    # an engine small enough to try all combinations of up to three of its causes
    two = {**_loading(ENGINE, "seat_recession", "E1"), **_loading(ENGINE, "shared_lobe", "I2", "I4")}
    head = _loading(ENGINE, "head_settling", "I3", "E3", "I4", "E4")
    loading = {"two causes": two, "nothing": {}, "a head": head}[what]
    trend = fit(ENGINE, _after(loading, jump=0.06).visits)
    onsets = [(Onset(11, "jump"), 0.025), (Onset(9, "slope"), 0.01)]
    bounded = attribute(trend, DEFAULT_CAUSES, onsets)
    every = attribute(trend, replace(DEFAULT_CAUSES, beam=EVERYTHING), onsets)
    p = {c.name: c.probability for c in every.causes}
    assert bounded.p_something == pytest.approx(every.p_something, abs=0.03)
    assert bounded.causes[0].name == every.causes[0].name
    for cause in bounded.causes:
        assert cause.probability == pytest.approx(p.get(cause.name, 0.0), abs=0.03)


def test_a_twelve_cylinder_engine_gets_an_answer_too() -> None:
    engine = v12()
    loading = _loading(engine, "seat_recession", "E7")
    seen = simulate(
        engine,
        np.random.default_rng(2),
        Plan(visits=5, ladder_mm=FINE),
        events=[Event(3, loading, jump=0.12)],
    )
    first = _of(seen.visits, engine).causes[0]
    assert (first.cause, str(first.where[0])) == ("seat_recession_or_stretch", "E7")


def test_probabilities_hold_together() -> None:
    said = _of(_after(_loading(ENGINE, "seat_recession", "E1"), jump=0.05).visits)
    assert 0 < said.p_something < 1
    assert sum(c.weight for c in said.combinations) <= 1 + 1e-9
    for place, cause in enumerate(said.causes):
        carried = sum(c.weight for c in said.combinations if place in {p.cause for p in c.parts})
        assert carried <= cause.probability + 1e-6
        assert carried == pytest.approx(cause.probability, abs=0.1)


def test_an_accepted_jump_goes_into_the_trend_and_not_into_the_drift() -> None:
    loading = _loading(ENGINE, "head_settling", "I1", "E1", "I2", "E2")
    visits = simulate(
        ENGINE, np.random.default_rng(11), Plan(visits=12), events=[Event(9, loading, jump=0.10)]
    ).visits
    trend = fit(ENGINE, visits)
    shocks = accepted_jumps(trend, attribute(trend))
    assert [s.session for s in shocks] == [10]
    mended = fit(ENGINE, visits, shocks=shocks)
    assert mended.drift(Valve("E", 1)).mean > trend.drift(Valve("E", 1)).mean
    assert mended.log_evidence > trend.log_evidence


def test_an_old_jump_is_found_in_the_history() -> None:
    loading = _loading(ENGINE, "head_settling", "I3", "E3", "I4", "E4")
    visits = simulate(
        ENGINE,
        np.random.default_rng(12),
        Plan(visits=16, ladder_mm=FINE),
        events=[Event(6, loading, jump=0.13)],
    ).visits
    found = settle_history(fit(ENGINE, visits))
    assert [s.session for s in found] == [7]
    assert found[0].mean == pytest.approx(0.143, abs=0.05)  # 1.1 x 0.13: the rocker's ratio


def test_a_quiet_history_holds_no_jump() -> None:
    visits = simulate(ENGINE, np.random.default_rng(13), Plan(visits=16)).visits
    assert settle_history(fit(ENGINE, visits)) == ()


@pytest.mark.parametrize("engine", [flat_four(), single(), flat_twin()])
@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_short_books_give_a_finite_answer(engine: Engine, count: int) -> None:
    visits = simulate(engine, np.random.default_rng(1), Plan(visits=3)).visits[:count]
    said = _of(visits, engine)
    assert math.isfinite(said.p_something)
    assert 0 <= said.p_something < 0.5
    assert all(math.isfinite(c.probability) and math.isfinite(c.amount.sd) for c in said.causes)
    assert (count < 2) == (likely_onsets(fit(engine, visits)) == [])


def test_a_hazard_must_be_a_probability() -> None:
    with pytest.raises(InputError, match=r"hazard 0 with 3 visits for jumps; give a hazard in \(0, 1\)"):
        CauseSettings(hazard=0)


def test_scales_must_be_positive() -> None:
    with pytest.raises(InputError, match=r"noise scales .* both above 0"):
        CauseSettings(noise=((0.0, 1.0),))
