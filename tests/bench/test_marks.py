"""Marks: positions in words, which turn a mark shows, which marks to add, lengths on the rim."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.engines import (
    flat_four,
    flat_twin,
    inline_six,
    make_engine,
    parallel_twin_180,
    single,
    v8,
    v12,
    v_twin_90,
)

from coldlash.bench.marks import (
    degrees_on_pulley,
    describe_position,
    find_firing_tdc,
    firing_marks,
    how_to_find,
    mm_on_pulley,
    rocking_at,
    rocking_pairs,
    suggest_marks,
    which_turn,
)
from coldlash.bench.stops import Stop, closed_at, plan_stops
from coldlash.engine.spec import Engine, Valve, ValveEvents
from coldlash.errors import InputError


@pytest.mark.parametrize(
    ("engine", "at", "words"),
    [
        (flat_four(), 360, "firing TDC of cylinder 3"),
        (flat_four(), 680, "40 degrees before firing TDC of cylinder 1"),
        (flat_four(), 7.5, "7.5 degrees after firing TDC of cylinder 1"),
        (flat_four(), 719, "1 degree before firing TDC of cylinder 1"),
        (flat_four(), -90, "90 degrees before firing TDC of cylinder 1"),
        (flat_four(), 90, "90 degrees before firing TDC of cylinder 4"),
        (flat_four(), 359.99, "firing TDC of cylinder 3"),
        (single(), 360, "overlap TDC of cylinder 1"),
        (single(), 340, "20 degrees before overlap TDC of cylinder 1"),
        (single(), 90, "90 degrees after firing TDC of cylinder 1"),
        (v_twin_90(), 360, "overlap TDC of cylinder 1"),
        (make_engine((1, 2, 3), (360, 360, 0)), 0, "firing TDC of cylinders 1 and 3"),
        (
            make_engine((1, 2, 3, 4), (0, 0, 360, 360)),
            5,
            "5 degrees after firing TDC of cylinders 1, 2 and 3",
        ),
    ],
)
def test_a_position_is_told_from_the_nearest_dead_centre(engine: Engine, at: float, words: str) -> None:
    assert describe_position(engine, at) == words


def test_at_the_tdc_mark_the_mate_rocks_the_rotor_points_and_air_pushes_out() -> None:
    # common practice, flat-four 1-4-3-2: at firing TDC 1 the valves of 3 rock
    sentences = which_turn(flat_four(), 0)
    assert sentences == (
        "The mark comes round twice in two turns. Wanted here is firing TDC of cylinder 1; "
        "a full turn away it is firing TDC of cylinder 3.",
        "Move the crank a little to and fro: the valves of cylinder 3 rock (E3 closes as I3 opens). "
        "If those of cylinder 1 rock instead, turn one full turn on.",
        "If there is a distributor, lift its cap: the rotor stands at the lead of cylinder 1 here, "
        "at the lead of cylinder 3 a full turn away.",
        "Ignition off, the plug of cylinder 1 out, a finger over the hole, turn with rotation: air pushes out while "
        "this mark comes up, and does not when it comes up a full turn away.",
    )


def test_a_single_has_no_mate_and_no_rotor_so_its_own_valves_tell() -> None:
    at_firing, at_overlap = which_turn(single(), 0), which_turn(single(), 360)
    assert at_firing[1].endswith("the valves of cylinder 1 stay still. If they rock, turn one full turn on.")
    assert "the valves of cylinder 1 rock" in at_overlap[1]
    assert at_overlap[1].endswith("If they stay still, turn one full turn on.")
    assert "no air pushes out while this mark comes up" in at_overlap[2]
    assert not any("distributor" in sentence for sentence in (*at_firing, *at_overlap))


def test_between_dead_centres_open_valves_tell_the_turns_apart() -> None:
    sentences = which_turn(flat_four(), 90)
    assert sentences[1] == (
        "I3 is held open here, no play; a full turn away it is closed. "
        "I1 is closed here; a full turn away it is held open, no play."
    )
    here, away = closed_at(flat_four(), 90), closed_at(flat_four(), 450)
    assert here[Valve("I", 3)].open
    assert not away[Valve("I", 3)].open
    assert not here[Valve("I", 1)].open
    assert away[Valve("I", 1)].open
    assert "on its way from the lead of cylinder 1 to that of cylinder 4, halfway here" in sentences[2]
    assert "this mark, then firing TDC 90 degrees further" in sentences[3]


def test_a_mark_after_tdc_is_found_from_the_tdc_before_it() -> None:
    sentences = which_turn(flat_four(), 45)
    assert "from the lead of cylinder 1 to that of cylinder 4, nearer to 1 here" in sentences[2]
    assert sentences[3].endswith("air pushes out, then comes firing TDC, and 45 degrees further this mark.")


@settings(max_examples=200, derandomize=True, deadline=None)
@given(
    st.sampled_from(
        [flat_four(), inline_six(), v8(), v12(), single(), flat_twin(), v_twin_90(), parallel_twin_180()]
    ),
    st.integers(0, 719),
)
def test_the_two_turns_of_a_mark_are_never_told_alike(engine: Engine, at: int) -> None:
    here, away = which_turn(engine, at), which_turn(engine, at + 360)
    assert len(here) == len(away) == (3 if engine.cylinders == 1 else 4), "no way to tell is left out"
    for one, other in zip(here, away, strict=True):
        assert one != other
    if engine.cylinders > 1:
        stands = here[2].split(" the rotor stands ")[1].removesuffix(" a full turn away.").split(" here, ")
        assert stands[0] != stands[1]


def test_nothing_is_said_of_valves_when_none_is_clearly_open_on_either_turn() -> None:
    # spans far shorter than any real ones: at 200 and at 560 both valves are shut
    engine = single(events=ValveEvents(-10, -120, -120, -10))  # exhaust 300 to 350, intake 370 to 420
    assert not any(state.open for at in (200, 560) for state in closed_at(engine, at).values())
    assert len(which_turn(engine, 200)) == 2


def test_no_rotor_is_spoken_of_when_all_cylinders_fire_together() -> None:
    assert not any("rotor" in s for s in which_turn(make_engine((1, 2), (0, 720)), 0))


def test_finding_tdc_without_a_mark_uses_finger_straw_and_mate() -> None:
    sentences = find_firing_tdc(flat_four(), 4)
    assert sentences[0].startswith("Ignition off, the plug of cylinder 4 out")
    assert "straw" in sentences[1]
    assert sentences[2] == "To be sure: both valves of cylinder 2 rock there, those of cylinder 4 stay still."
    assert len(find_firing_tdc(single(), 1)) == 2


def test_a_marked_stop_is_told_by_its_turn_and_an_unmarked_one_is_found_without() -> None:
    marked, unmarked = plan_stops(flat_four(), "cylinder", marks=[0]).stops[:2]
    assert how_to_find(flat_four(), marked) == which_turn(flat_four(), 0)
    assert how_to_find(flat_four(), unmarked) == find_firing_tdc(flat_four(), 4)
    with pytest.raises(InputError, match="the stop at 45 degrees has no mark and no cylinder at firing TDC"):
        how_to_find(flat_four(), Stop(45.0, 0.0, None, None, ()))


def test_rocking_is_read_from_the_overlap_and_ends_15_degrees_from_its_middle() -> None:
    # derived: overlap of cylinder 1 from 350 to 368, middle 359
    engine = single()
    assert [rocking_at(engine, at) for at in (343.9, 344, 359, 374, 374.1)] == [(), (1,), (1,), (1,), ()]


def test_a_long_overlap_rocks_over_its_whole_length_and_a_missing_one_around_the_dead_centre() -> None:
    wide = single(events=ValveEvents(40, 70, 70, 40))
    assert [rocking_at(wide, at) for at in (319, 321, 399, 401)] == [(), (1,), (1,), ()]
    none = single(events=ValveEvents(-5, 30, 30, -5))  # exhaust closes 5 before, intake opens 5 after
    assert rocking_at(none, 360) == (1,)
    assert rocking_pairs(make_engine((1, 2), events=none.events)) == {1: 2, 2: 1}


@pytest.mark.parametrize(
    ("engine", "marks"),
    [
        (flat_four(), (0, 180)),  # common practice: half turns
        (inline_six(), (0, 120, 240)),  # published: 120 degrees apart
        (v8(), (0, 90, 180, 270)),
        (flat_twin(), (0,)),
        (single(), (0,)),
        (v_twin_90(), (0, 270)),
    ],
    ids=["flat-4", "I6", "V8", "flat-2", "single", "V-2"],
)
def test_one_by_one_needs_a_mark_at_each_firing_tdc_of_one_turn(
    engine: Engine, marks: tuple[float, ...]
) -> None:
    assert firing_marks(engine) == marks
    assert suggest_marks(engine, "cylinder") == tuple(m for m in marks if m != 0)
    assert suggest_marks(engine, "cylinder", marks=[]) == marks
    plan = plan_stops(engine, "cylinder", marks=marks)
    assert all(stop.mark_deg is not None for stop in plan.stops)


@pytest.mark.parametrize("engine", [flat_four(), inline_six(), v8(), v12(), v_twin_90(), single()])
def test_one_mark_is_enough_for_the_fewest_stops_whichever_it_is(engine: Engine) -> None:
    # derived: typical valves are open 230 degrees, so any two places a full turn apart do
    assert suggest_marks(engine, marks=[]) == (0,)
    for mark in firing_marks(engine):
        assert suggest_marks(engine, marks=[mark]) == ()


def test_no_mark_helps_where_no_valve_has_the_margin() -> None:
    assert suggest_marks(flat_four(), marks=[], margin_deg=300) == ()


@settings(max_examples=80, derandomize=True, deadline=None)
@given(
    st.lists(st.integers(1, 12), min_size=1, max_size=7),
    st.lists(st.integers(0, 359), max_size=2),
    st.sampled_from([30, 60, 90, 120, 130]),
)
def test_suggested_marks_are_the_smallest_set_that_does_all_that_all_firing_marks_could(
    parts: list[int], marks: list[int], margin_deg: int
) -> None:
    # derived: the definition, by trying every set of marks
    engine = make_engine(range(1, len(parts) + 1), [720 * p / sum(parts) for p in parts], marks=())
    every = [m for m in firing_marks(engine) if not any(abs(m - have) < 1e-6 for have in marks)]
    goal = plan_stops(engine, marks=[*marks, *every], margin_deg=margin_deg)

    def does(extra: tuple[float, ...]) -> bool:
        if not marks and not extra:
            return not goal.stops
        plan = plan_stops(engine, marks=[*marks, *extra], margin_deg=margin_deg)
        return (len(plan.stops), plan.unreachable) == (len(goal.stops), goal.unreachable)

    suggested = suggest_marks(engine, marks=marks, margin_deg=margin_deg)
    assert does(suggested)
    sets = [s for size in range(len(every) + 1) for s in combinations(every, size) if does(s)]
    assert len(suggested) == len(sets[0])
    if suggested:
        best = max(
            plan_stops(engine, marks=[*marks, *s], margin_deg=margin_deg).least_margin_deg or 0
            for s in sets
            if len(s) == len(suggested)
        )
        reached = plan_stops(engine, marks=[*marks, *suggested], margin_deg=margin_deg).least_margin_deg
        assert reached == pytest.approx(best, abs=1e-6)


def test_a_pulley_of_175_mm_has_275_mm_to_the_half_turn_mark_and_0_655_degrees_a_mm() -> None:
    # exact: pi d / 2 = 274.889 mm; 360 / (pi d) = 0.655 degrees
    assert mm_on_pulley(175, 180) == pytest.approx(274.889, abs=5e-4)
    assert degrees_on_pulley(175, 1) == pytest.approx(0.655, abs=5e-4)
    assert degrees_on_pulley(123, mm_on_pulley(123, -77)) == pytest.approx(-77, rel=1e-12)


@pytest.mark.parametrize("diameter", [0, -175, math.nan, math.inf])
def test_a_pulley_without_a_diameter_is_refused(diameter: float) -> None:
    with pytest.raises(InputError, match="is no diameter; measure across the rim, in mm, above 0"):
        mm_on_pulley(diameter, 180)


def test_lengths_and_angles_that_are_no_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="angle: nan is no number"):
        mm_on_pulley(175, math.nan)
    with pytest.raises(InputError, match="length along the rim: inf is no number"):
        degrees_on_pulley(175, math.inf)
    with pytest.raises(InputError, match="crank angle: nan is no angle"):
        which_turn(flat_four(), math.nan)


def test_an_unknown_cylinder_or_way_is_refused() -> None:
    with pytest.raises(InputError, match="Test engine has no cylinder 5; it has 1 to 4"):
        find_firing_tdc(flat_four(), 5)
    with pytest.raises(InputError, match="'rows' is not a way to plan; give 'fewest' or 'cylinder'"):
        suggest_marks(flat_four(), "rows")  # type: ignore[arg-type]
