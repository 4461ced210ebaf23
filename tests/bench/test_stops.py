"""Crank stops on random engines against trying every set of places, with windows computed a second way."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.engines import flat_four, flat_twin, inline_six, make_engine, single, v8, v12, v_twin_90

from coldlash.bench.stops import (
    Stop,
    StopPlan,
    closed_at,
    firing_at,
    known_marks,
    plan_stops,
    room_at,
    stop_room,
)
from coldlash.engine.spec import Engine, Valve, ValveEvents
from coldlash.errors import InputError

thorough = settings(max_examples=200, derandomize=True, deadline=None)


def firing_of(engine: Engine) -> dict[int, float]:
    """Firing TDCs, computed here from the engine's gaps."""
    return {
        cylinder: sum(engine.firing_gaps_deg[:index]) % 720
        for index, cylinder in enumerate(engine.firing_order)
    }


def margin_of(engine: Engine, valve: Valve, t: float) -> float:
    """Distance to the nearer edge, negative while open: from the definition of the four events, edge by edge."""
    phase = t - firing_of(engine)[valve.cylinder]
    e = engine.events
    if valve.kind == "E":
        opens, closes = 180 - e.exhaust_opens_bbdc, 360 + e.exhaust_closes_atdc
    else:
        opens, closes = 360 - e.intake_opens_btdc, 540 + e.intake_closes_abdc
    is_open = any(opens <= phase + 720 * k < closes for k in range(-4, 5))
    off = min(abs((phase - edge + 360) % 720 - 360) for edge in (opens, closes))
    return -off if is_open else off


@st.composite
def engines(draw: st.DrawFn, most: int = 16) -> Engine:
    """1 to 16 cylinders in any order, firing evenly, or unevenly by whole degrees or by fractions of 720."""
    count = draw(st.integers(1, most))
    order = [1, *draw(st.permutations(range(2, count + 1)))]
    parts = draw(st.lists(st.integers(0 if count > 1 else 1, 12), min_size=count, max_size=count))
    assume(sum(parts) > 0)
    even = draw(st.booleans())
    gaps = None if even else [720.0 * part / sum(parts) for part in parts]
    events = ValveEvents(
        draw(st.integers(-10, 45)),
        draw(st.integers(10, 90)),
        draw(st.integers(10, 90)),
        draw(st.integers(-10, 45)),
    )
    return make_engine(order, gaps, events=events, marks=())


mark_lists = st.lists(
    st.one_of(st.sampled_from([0.0, 90.0, 120.0, 180.0, 240.0, 350.0, 540.0]), st.floats(0, 719.99)),
    min_size=1,
    max_size=5,
)
margins_deg = st.sampled_from([0.0, 15.0, 30.0, 30.0, 60.0, 90.0, 120.0, 150.0, 200.0])


def places_of(engine: Engine, marks: list[float]) -> list[float]:
    """Where the crank may be stopped: each mark on both turns, or without marks every firing TDC."""
    all_of_them = [m % 360 + turn for m in marks for turn in (0, 360)] or list(firing_of(engine).values())
    distinct: dict[int, float] = {}
    for place in all_of_them:
        distinct.setdefault(round(place * 1e6) % 720_000_000, place)
    return [distinct[key] for key in sorted(distinct)]


def shortest_way(places: list[float]) -> float:
    at = sorted(places)
    return 720 - max((b - a) % 720 or 720 for a, b in zip(at, [*at[1:], at[0]], strict=True))


def by_trying_all(
    engine: Engine, places: list[float], margin_deg: float
) -> tuple[list[Valve], int, float, float]:
    """(unreachable, number of stops, least margin, turning) of the best plan, from every set of places."""
    table = {valve: [round(margin_of(engine, valve, t), 6) for t in places] for valve in engine.valves}
    unreachable = [valve for valve, row in table.items() if max(row) < margin_deg]
    rows = np.array([row for valve, row in table.items() if valve not in unreachable])
    if not len(rows):
        return unreachable, 0, 0.0, 0.0
    for size in range(1, len(places) + 1):
        subsets = np.array(list(combinations(range(len(places)), size)))
        least = rows[:, subsets].max(axis=2).min(axis=0)
        if least.max() >= margin_deg:
            best = [subset for subset, value in zip(subsets, least, strict=True) if value == least.max()]
            way = min(shortest_way([places[i] for i in subset]) for subset in best)
            return unreachable, size, float(least.max()), way
    raise AssertionError("all places together reach every reachable valve")


def check_consistent(engine: Engine, plan: StopPlan, turn: str) -> None:
    """What any plan must satisfy, whichever way it was chosen."""
    at = None
    for stop in plan.stops:
        assert 0 <= stop.crank_deg < 720
        assert (
            stop.turn_deg == 0
            if at is None
            else (stop.turn_deg >= 0) == (turn == "with" or not stop.turn_deg)
        )
        if at is not None:
            assert abs((at + stop.turn_deg - stop.crank_deg + 360) % 720 - 360) < 1e-9
        at = stop.crank_deg
        firing = [c for c, a in firing_of(engine).items() if abs((a - at + 360) % 720 - 360) < 1.5e-6]
        assert stop.cylinder in (firing or [None])
        for valve, margin in stop.valves:
            assert margin == pytest.approx(margin_of(engine, valve, at), abs=1e-9)
            assert margin >= plan.margin_deg - 1e-6
        assert list(stop.valves) == sorted(stop.valves)
    assert plan.total_turn_deg == pytest.approx(sum(abs(s.turn_deg) for s in plan.stops), abs=1e-9)
    checked = [valve for stop in plan.stops for valve, _ in stop.valves]
    assert sorted([*checked, *plan.unreachable]) == list(engine.valves), "each valve exactly once"


@thorough
@given(engines(), st.one_of(st.just([]), mark_lists), margins_deg, st.sampled_from(["with", "against"]))
def test_fewest_equals_trying_every_set_of_places(
    engine: Engine, marks: list[float], margin_deg: float, turn: str
) -> None:
    # derived: the order of preference itself, by exhaustion
    plan = plan_stops(engine, turn=turn, marks=marks, margin_deg=margin_deg)
    places = places_of(engine, marks)
    unreachable, size, least, way = by_trying_all(engine, places, margin_deg)
    assert list(plan.unreachable) == unreachable
    assert len(plan.stops) == size
    assert plan.total_turn_deg == pytest.approx(way, abs=2e-6)
    check_consistent(engine, plan, turn)
    if not size:
        assert plan.least_margin_deg is None
        return
    assert plan.least_margin_deg == pytest.approx(least, abs=1e-6)
    for index, stop in enumerate(plan.stops):
        for valve, _ in stop.valves:
            here = [round(margin_of(engine, valve, s.crank_deg), 6) for s in plan.stops]
            assert here.index(max(here)) == index or max(here) - here[index] < 2e-6
        if marks:
            assert stop.mark_deg is not None
            assert abs((stop.crank_deg - stop.mark_deg + 180) % 360 - 180) < 2e-6
            assert any(abs((stop.mark_deg - m + 180) % 360 - 180) < 2e-6 for m in marks)
        else:
            assert stop.mark_deg is None
            assert stop.cylinder is not None


@thorough
@given(engines(), st.one_of(st.just([]), mark_lists), margins_deg, st.sampled_from(["with", "against"]))
def test_by_cylinder_stops_at_each_firing_tdc_in_turning_order_from_cylinder_1(
    engine: Engine, marks: list[float], margin_deg: float, turn: str
) -> None:
    plan = plan_stops(engine, "cylinder", turn, marks, margin_deg)
    check_consistent(engine, plan, turn)
    angles = firing_of(engine)
    assert plan.stops[0].cylinder == 1
    assert sorted(s.cylinder or 0 for s in plan.stops) == sorted(angles)
    assert plan.total_turn_deg < 720, "once round at most"
    for stop in plan.stops:
        assert stop.cylinder is not None
        assert abs((stop.crank_deg - angles[stop.cylinder] + 360) % 720 - 360) < 1e-6
        own = [Valve("I", stop.cylinder), Valve("E", stop.cylinder)]
        expected = [v for v in own if round(margin_of(engine, v, stop.crank_deg), 6) >= margin_deg]
        assert [valve for valve, _ in stop.valves] == expected
        marked = [m for m in marks if abs((stop.crank_deg - m + 180) % 360 - 180) < 1e-6]
        assert (stop.mark_deg is not None) == bool(marked)


@thorough
@given(engines(), st.floats(0, 359.99), st.integers(0, 90))
def test_any_two_stops_a_full_turn_apart_do_when_valves_are_open_less_than_a_turn_less_two_margins(
    engine: Engine, mark: float, margin_deg: int
) -> None:
    # derived: a valve within the margin of being open at both places would be open for 360 - 2 margins or more
    e = engine.events
    longest = max(
        180 + e.intake_opens_btdc + e.intake_closes_abdc, 180 + e.exhaust_opens_bbdc + e.exhaust_closes_atdc
    )
    assume(longest < 360 - 2 * margin_deg)
    plan = plan_stops(engine, marks=[mark], margin_deg=margin_deg)
    assert plan.unreachable == ()
    assert len(plan.stops) <= 2


def test_a_valve_open_longer_than_that_can_be_out_of_reach_of_one_mark() -> None:
    # derived: intake open 320 degrees, 300 is the most for 30 degrees of margin; edges 20 short of both places
    engine = single(events=ValveEvents(60, 80, 45, 8))  # intake open from 300 to 620
    plan = plan_stops(engine, marks=[280])  # 20 before it opens, and 640, 20 after it has closed
    assert plan.unreachable == (Valve("I", 1),)
    assert [s.crank_deg for s in plan.stops] == [640]
    assert plan_stops(engine, marks=[280], margin_deg=20).unreachable == ()


@thorough
@given(engines(), st.floats(-2000, 2000))
def test_closed_at_any_angle_equals_the_definition_of_the_events(engine: Engine, at: float) -> None:
    states = closed_at(engine, at)
    assert list(states) == list(engine.valves)
    for valve, state in states.items():
        expected = margin_of(engine, valve, at)
        assert state.margin_deg == pytest.approx(expected, abs=1e-9)
        if abs(expected) > 1e-6:
            assert state.open == (expected < 0) == (state.margin_deg < 0)


@thorough
@given(engines(), st.floats(0, 719.99), st.floats(0.001, 0.999))
def test_a_valve_stays_closed_within_its_room_and_opens_beyond_it(
    engine: Engine, at: float, part: float
) -> None:
    for valve, state in closed_at(engine, at).items():
        if state.open or state.margin_deg < 0.01:
            continue
        room = room_at(engine, valve, at)
        assert min(room) == pytest.approx(state.margin_deg, abs=1e-9)
        assert not closed_at(engine, at - part * room.before_deg)[valve].open
        assert not closed_at(engine, at + part * room.after_deg)[valve].open
        assert closed_at(engine, at - room.before_deg - 0.01)[valve].open
        assert closed_at(engine, at + room.after_deg + 0.01)[valve].open


def test_edges_count_opening_as_open_and_closing_as_closed_and_never_as_minus_zero() -> None:
    engine = single()  # exhaust open from 135 to 368
    opening, closing = closed_at(engine, 135)[Valve("E", 1)], closed_at(engine, 368)[Valve("E", 1)]
    assert (opening.open, closing.open) == (True, False)
    assert [math.copysign(1, s.margin_deg) for s in (opening, closing)] == [1, 1]
    assert opening.margin_deg == closing.margin_deg == 0


def test_at_an_edge_of_the_open_span_there_is_room_on_the_closed_side_only() -> None:
    engine = single()  # exhaust open from 135 to 368, closed for 487
    exhaust = Valve("E", 1)
    assert (room_at(engine, exhaust, 135), room_at(engine, exhaust, 368)) == ((487, 0), (0, 487))
    edge = plan_stops(engine, marks=[135], margin_deg=0).stops[0]
    assert stop_room(engine, edge) == (275, 0), "before: the intake, closed since 580; after: the exhaust"


def test_events_stated_at_a_lift_cost_each_valve_the_ramp_at_both_edges() -> None:
    # derived: without a lobe the windows widen by 30 degrees a side, so every margin shrinks by 30
    base = single(events=ValveEvents(10, 40, 45, 8))
    lifted = single(events=ValveEvents(10, 40, 45, 8, checking_lift_mm=1.0))
    for valve, state in closed_at(base, 0).items():
        assert closed_at(lifted, 0)[valve].margin_deg == pytest.approx(state.margin_deg - 30, abs=1e-9)


def test_a_mark_at_firing_tdc_names_the_cylinder_and_one_beside_it_does_not() -> None:
    stops = plan_stops(flat_four(), marks=[0.0000004]).stops
    assert [s.cylinder for s in stops] == [1, 3]
    assert [s.cylinder for s in plan_stops(flat_four(), marks=[0.5]).stops] == [None, None]
    assert firing_at(flat_four(), -180) == (2,)
    assert firing_at(flat_four(), 719.9999999) == (1,)


def test_without_marks_the_stops_are_firing_tdcs() -> None:
    plan = plan_stops(flat_four(marks=()))
    assert [(s.crank_deg, s.cylinder, s.mark_deg) for s in plan.stops] == [(0, 1, None), (360, 3, None)]


def test_equal_plans_start_at_the_lowest_cylinder() -> None:
    # a flat-four's two pairs of stops are alike in everything, and each can start at either end
    for turn, second in (("with", 360), ("against", -360)):
        plan = plan_stops(flat_four(marks=(180, 0)), turn=turn)
        assert [(s.cylinder, s.turn_deg) for s in plan.stops] == [(1, 0), (3, second)]


def test_equal_plans_start_at_the_lowest_cylinder_even_at_a_larger_angle() -> None:
    stops = plan_stops(flat_four(marks=(180,))).stops
    assert [(s.cylinder, s.crank_deg, s.turn_deg) for s in stops] == [(2, 540, 0), (4, 180, 360)]


def test_equal_plans_without_a_firing_tdc_start_at_the_smallest_angle() -> None:
    for turn in ("with", "against"):
        assert [s.crank_deg for s in plan_stops(flat_four(marks=(45,)), turn=turn).stops] == [45, 405]


def test_float_noise_in_uneven_gaps_decides_nothing() -> None:
    # sevenths of 720 do not sum exactly; one turn more or less of noise must not change the plan
    gaps = [720 / 7] * 7
    order = (1, 3, 5, 7, 2, 4, 6)
    plain = plan_stops(make_engine(order, gaps), marks=[0, 720 / 7 % 360, 1440 / 7])
    noisy = plan_stops(
        make_engine(order, [g + d for g, d in zip(gaps, [1e-12, -2e-12, 0, 1e-12, 0, 0, 0], strict=True)]),
        marks=[1e-13, 720 / 7 % 360 + 1e-12, 1440 / 7],
    )
    assert [(s.cylinder, [v for v, _ in s.valves]) for s in plain.stops] == [
        (s.cylinder, [v for v, _ in s.valves]) for s in noisy.stops
    ]


def test_against_rotation_visits_the_same_stops_backwards() -> None:
    marks = [0, 180]
    ahead = plan_stops(single(), "cylinder", "with", marks)
    assert [s.turn_deg for s in ahead.stops] == [0]
    back = plan_stops(inline_six(), "cylinder", "against", [0])
    assert [s.cylinder for s in back.stops] == [1, 4, 2, 6, 3, 5]
    assert [s.turn_deg for s in back.stops] == [0, -120, -120, -120, -120, -120]
    assert [s.mark_deg for s in back.stops] == [0, None, None, 0, None, None]
    assert back.total_turn_deg == 600


def test_cylinders_that_fire_together_are_stops_of_their_own_with_no_turn_between() -> None:
    engine = make_engine((1, 2, 3), (360, 360, 0))  # 3 fires with 1
    plan = plan_stops(engine, "cylinder")
    assert [(s.cylinder, s.crank_deg, s.turn_deg) for s in plan.stops] == [
        (1, 0, 0),
        (3, 0, 0),
        (2, 360, 360),
    ]
    fewest = plan_stops(engine)
    assert [(s.cylinder, len(s.valves)) for s in fewest.stops] == [(1, 4), (2, 2)]


def test_a_margin_no_valve_has_leaves_all_unreachable_and_no_stop() -> None:
    plan = plan_stops(flat_four(), margin_deg=300)
    assert (plan.stops, plan.total_turn_deg, plan.least_margin_deg) == ((), 0, None)
    assert plan.unreachable == flat_four().valves


def test_by_cylinder_leaves_out_a_valve_below_the_margin_and_says_so() -> None:
    # derived: typical exhaust has 180 - 45 = 135 degrees at its own firing TDC, intake 180 - 40 = 140
    plan = plan_stops(flat_twin(), "cylinder", margin_deg=138)
    assert plan.unreachable == (Valve("E", 1), Valve("E", 2))
    assert [[str(v) for v, _ in s.valves] for s in plan.stops] == [["I1"], ["I2"]]


def test_marks_are_taken_within_one_turn_sorted_and_each_once() -> None:
    assert known_marks(flat_four(), [540, 0, 180, 359.99999999, 90]) == (0, 90, 180)
    assert known_marks(flat_four(marks=(10,))) == (10,)


def test_more_marks_and_cylinders_than_could_be_tried_set_by_set_give_a_consistent_plan() -> None:
    engine = make_engine(range(1, 17), [20, 70, 15, 75, 40, 50, 35, 55, 45, 45, 60, 30, 25, 65, 10, 80])
    previous = 0
    for margin_deg in (0, 60, 120, 160, 200, 220):
        plan = plan_stops(engine, marks=[i * 7.5 for i in range(48)], margin_deg=margin_deg)
        check_consistent(engine, plan, "with")
        assert plan.unreachable == ()
        assert len(plan.stops) >= previous, "more margin never needs fewer stops"
        previous = len(plan.stops)
    assert previous > 3


@pytest.mark.parametrize(
    "engine", [flat_four(), v8(), v12(), v_twin_90()], ids=["flat-4", "V8", "V12", "V-2"]
)
def test_the_room_of_a_stop_is_the_least_of_its_valves(engine: Engine) -> None:
    for stop in plan_stops(engine).stops:
        room = stop_room(engine, stop)
        assert room is not None
        assert min(room) == pytest.approx(min(m for _, m in stop.valves), abs=1e-9)


def test_a_stop_with_nothing_to_check_has_no_room() -> None:
    assert stop_room(flat_four(), Stop(0.0, 0.0, 1, 0.0, ())) is None


@pytest.mark.parametrize(
    ("given_", "message"),
    [
        ({"by": "row"}, "'row' is not a way to plan; give 'fewest' or 'cylinder'"),
        ({"turn": "left"}, "'left' is not a way to turn the engine; give 'with' or 'against'"),
        ({"margin_deg": -1}, "margin: -1 is out of range; give crank degrees from 0 to below 360"),
        ({"margin_deg": 360}, "margin: 360 is out of range"),
        ({"margin_deg": math.nan}, "margin: nan is out of range"),
        ({"marks": [-10]}, r"marks: -10 is out of range; .* \(10 before it is 350\)"),
        ({"marks": [0, 720]}, "marks: 720 is out of range"),
        ({"marks": [math.nan]}, "marks: nan is out of range"),
    ],
)
def test_what_can_not_be_planned_is_refused_with_what_is_needed(given_: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        plan_stops(flat_four(), **given_)


@pytest.mark.parametrize("at", [math.nan, math.inf, -math.inf])
def test_an_angle_that_is_no_number_is_refused(at: float) -> None:
    with pytest.raises(InputError, match="is no angle; give degrees past firing TDC of cylinder 1"):
        closed_at(flat_four(), at)


def test_room_of_an_open_or_unknown_valve_is_refused() -> None:
    with pytest.raises(InputError, match=r"E1 is open at 200 degrees.*for example at 611\.5"):
        room_at(flat_four(), Valve("E", 1), 200)
    assert not closed_at(flat_four(), 611.5)[Valve("E", 1)].open
    with pytest.raises(InputError, match=r"Test engine has no valve E5; it has 4 cylinder"):
        room_at(flat_four(), Valve("E", 5), 0)
