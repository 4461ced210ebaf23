"""Crank stops against what manuals and the trade say. Kind and source stand beside each case.

The engines have typical valve timing; published tables are *safe sets*: our windows may allow more, never fewer.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.engines import (
    flat_four,
    flat_six,
    flat_twin,
    inline_four,
    inline_six,
    make_engine,
    parallel_twin_180,
    single,
    v8,
    v12,
    v_twin_90,
)

from coldlash.bench.marks import rocking_pairs
from coldlash.bench.stops import DEFAULT_MARGIN_DEG, closed_at, plan_stops
from coldlash.engine.firing import firing_angles, mate_of, open_spans
from coldlash.engine.spec import Engine, Valve, ValveEvents

# (engine, cylinder at the first stop and what else can be checked there, the same at the second, 360 later)
TABLES = [
    # common practice; derived: flat-four 1-4-3-2
    pytest.param(flat_four(), 1, "I2 E4", 3, "I4 E2", id="flat-four 1-4-3-2"),
    # published: US Army TM 5-3805-258-24-1 p. 4-28; TM 5-3895-385-23-2
    pytest.param(inline_four(), 1, "I2 E3", 4, "I3 E2", id="inline-four 1-3-4-2"),
    # derived from the rule below
    pytest.param(inline_four((1, 2, 4, 3)), 1, "I3 E2", 4, "I2 E3", id="inline-four 1-2-4-3"),
    # published: two diesel engine manuals
    pytest.param(inline_six(), 1, "I2 I4 E3 E5", 6, "I3 I5 E2 E4", id="inline-six 1-5-3-6-2-4"),
    # from memory; agrees with the rule below
    pytest.param(v8(), 1, "I2 I5 I7 E3 E4 E8", 6, "I3 I4 I8 E2 E5 E7", id="V8 1-8-4-3-6-5-7-2"),
    # derived from the rule below
    pytest.param(flat_six(), 1, "I3 I5 E2 E6", 4, "I2 I6 E3 E5", id="flat-six 1-6-2-4-3-5"),
]


def listed(cylinder: int, others: str) -> set[Valve]:
    return {Valve("I", cylinder), Valve("E", cylinder), *map(Valve.parse, others.split())}


@pytest.mark.parametrize(("engine", "first", "at_first", "second", "at_second"), TABLES)
def test_every_valve_of_the_published_table_is_closed_with_the_margin_at_its_stop(
    engine: Engine, first: int, at_first: str, second: int, at_second: str
) -> None:
    angles = firing_angles(engine)
    assert (angles[first], angles[second]) == (0, 360)
    for cylinder, others in ((first, at_first), (second, at_second)):
        states = closed_at(engine, angles[cylinder])
        for valve in listed(cylinder, others):
            assert states[valve].margin_deg >= DEFAULT_MARGIN_DEG, f"{valve} at TDC of {cylinder}"


@pytest.mark.parametrize(("engine", "first", "at_first", "second", "at_second"), TABLES)
@pytest.mark.parametrize("turn", ["with", "against"])
def test_the_plan_from_one_tdc_mark_is_the_published_table(
    engine: Engine, first: int, at_first: str, second: int, at_second: str, turn: str
) -> None:
    # the tables split the valves as the greatest margin does, so with typical timing the sets are equal
    plan = plan_stops(engine, turn=turn)  # type: ignore[arg-type]
    assert [stop.cylinder for stop in plan.stops] == [first, second]
    assert [{valve for valve, _ in stop.valves} for stop in plan.stops] == [
        listed(first, at_first),
        listed(second, at_second),
    ]
    assert plan.total_turn_deg == 360
    assert plan.unreachable == ()


@pytest.mark.parametrize(
    "engine",
    [flat_four(), inline_four(), inline_four((1, 2, 4, 3)), inline_six(), v8(), flat_six(), v12()],
    ids=["flat-4", "1-3-4-2", "1-2-4-3", "I6", "V8", "flat-6", "V12"],
)
def test_cylinders_still_to_fire_give_their_exhaust_those_just_fired_their_intake_the_mate_neither(
    engine: Engine,
) -> None:
    # the trade's rule (common practice), at every firing TDC, not only at the two stops of the tables
    angles = firing_angles(engine)
    for at_tdc, a in angles.items():
        states = closed_at(engine, a)
        for cylinder in angles:
            to_come = (angles[cylinder] - a) % 720
            exhaust, intake = states[Valve("E", cylinder)], states[Valve("I", cylinder)]
            if cylinder == at_tdc:
                assert min(exhaust.margin_deg, intake.margin_deg) >= DEFAULT_MARGIN_DEG
            elif to_come < 360:
                assert exhaust.margin_deg >= DEFAULT_MARGIN_DEG
            elif to_come > 360:
                assert intake.margin_deg >= DEFAULT_MARGIN_DEG
            else:
                assert exhaust.open, "the mate rocks"
                assert intake.open, "the mate rocks"


@pytest.mark.parametrize(
    ("engine", "order", "mates"),
    [
        # published: the two rows of mates as manuals print them, order over mates
        (inline_four(), (1, 3, 4, 2), (4, 2, 1, 3)),
        (inline_six(), (1, 5, 3, 6, 2, 4), (6, 2, 4, 1, 5, 3)),
        # derived: flat-four and flat-twin
        (flat_four(), (1, 4, 3, 2), (3, 2, 1, 4)),
        (flat_twin(), (1, 2), (2, 1)),
    ],
    ids=["1-3-4-2", "1-5-3-6-2-4", "1-4-3-2", "1-2"],
)
def test_mates_come_out_of_the_open_spans_as_printed(
    engine: Engine, order: tuple[int, ...], mates: tuple[int, ...]
) -> None:
    pairs = rocking_pairs(engine)
    assert tuple(pairs[cylinder] for cylinder in order) == mates


@pytest.mark.parametrize(
    "engine",
    [flat_four(), inline_six(), v8(), v12(), single(), v_twin_90(), parallel_twin_180()],
    ids=["flat-4", "I6", "V8", "V12", "single", "V-2", "twin-180"],
)
def test_rocking_mates_from_the_spans_equal_those_a_turn_away_in_the_firing_order(engine: Engine) -> None:
    # derived: two independent ways to the same cylinders; None where nobody fires a turn away
    assert rocking_pairs(engine) == {c: mate_of(engine, c) for c in range(1, engine.cylinders + 1)}


@pytest.mark.parametrize("layout", ["E I I E E I I E", "I E E I I E E I", "E I E I I E I E"])
@pytest.mark.parametrize("order", [(1, 3, 4, 2), (1, 2, 4, 3)])
def test_rule_of_nine_on_an_inline_four_with_valve_n_fully_open_valve_9_less_n_can_be_checked(
    layout: str, order: tuple[int, ...]
) -> None:
    # published for 1+8 and 4+5, common practice for the rest: valves numbered 1..8 along the engine; the sum rule
    # holds where the row of valves is the same from both ends
    kinds = layout.split()
    assert kinds == kinds[::-1]
    engine = inline_four(order)
    numbered = {n: Valve("E" if kinds[n - 1] == "E" else "I", (n + 1) // 2) for n in range(1, 9)}
    spans = open_spans(engine)
    for n, valve in numbered.items():
        fully_open = spans[valve].opens + spans[valve].length / 2
        other = closed_at(engine, fully_open)[numbered[9 - n]]
        assert other.margin_deg >= 120, "as far from its own lift as the cycle allows"


events = st.builds(
    ValveEvents, st.integers(0, 40), st.integers(20, 70), st.integers(20, 70), st.integers(0, 40)
)


@settings(max_examples=50, derandomize=True, deadline=None)
@given(events)
def test_exhaust_starting_to_open_means_the_intake_can_be_set_and_intake_almost_closed_the_exhaust(
    timing: ValveEvents,
) -> None:
    # published: trade articles; holds for the same cylinder of any engine, so one cylinder proves it
    engine = single(events=timing)
    spans = open_spans(engine)
    exhaust, intake = Valve("E", 1), Valve("I", 1)
    assert closed_at(engine, spans[exhaust].opens)[intake].margin_deg >= 100
    closing = spans[intake].opens + spans[intake].length
    assert closed_at(engine, closing)[exhaust].margin_deg >= 100


def test_flat_four_has_more_than_120_degrees_to_spare_at_every_valve_limited_by_the_exhaust() -> None:
    # derived: the least is 180 - EVO, 135 with a typical exhaust opening
    plan = plan_stops(flat_four())
    assert all(margin > 120 for stop in plan.stops for _, margin in stop.valves)
    assert plan.least_margin_deg == 180 - flat_four().events.exhaust_opens_bbdc


@pytest.mark.parametrize(
    ("engine", "turn", "cylinders", "turns"),
    [
        # common practice: flat-four turned backwards half a turn at a time goes 1-2-3-4
        (flat_four(), "against", [1, 2, 3, 4], [-180] * 3),
        (flat_four(), "with", [1, 4, 3, 2], [180] * 3),
        # published: one cylinder at a time, six cylinders, 120 degrees apart
        (inline_six(), "with", [1, 5, 3, 6, 2, 4], [120] * 5),
        # derived: opposed twin a full turn apart; 90 degree V-twin 270 degrees to cylinder 2
        (flat_twin(), "with", [1, 2], [360]),
        (v_twin_90(), "with", [1, 2], [270]),
        (v_twin_90(), "against", [1, 2], [-450]),
        (parallel_twin_180(), "with", [1, 2], [180]),
        (single(), "with", [1], []),
    ],
    ids=["flat-4 back", "flat-4", "I6", "flat-2", "V-2", "V-2 back", "twin-180", "single"],
)
def test_one_cylinder_at_a_time_goes_in_turning_order(
    engine: Engine, turn: str, cylinders: list[int], turns: list[float]
) -> None:
    plan = plan_stops(engine, "cylinder", turn)  # type: ignore[arg-type]
    assert [stop.cylinder for stop in plan.stops] == cylinders
    assert [stop.turn_deg for stop in plan.stops[1:]] == turns
    assert plan.stops[0].turn_deg == 0
    assert plan.total_turn_deg == sum(map(abs, turns))


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.integers(1, 8), st.floats(0, 359.9))
def test_two_stops_a_full_turn_apart_check_everything_wherever_the_first_one_is(half: int, at: float) -> None:
    # derived: typical valves are open 230 degrees, less than 360 - 2 x 30
    engine = make_engine(range(1, 2 * half + 1))
    plan = plan_stops(engine, marks=[at])
    assert plan.unreachable == ()
    for one, next_ in pairwise(plan.stops):
        assert next_.turn_deg == pytest.approx(360)
        assert next_.crank_deg == pytest.approx(one.crank_deg + 360)
