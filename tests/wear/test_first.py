"""The first answer: intervals against intervals, with nothing made up."""

import math
from dataclasses import replace
from datetime import date

import pytest

from coldlash.engine.catalogue import generic_text
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import GapSpec, Valve
from coldlash.wear.first import HAND_MM, first_answer, first_answers, say_gap
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

ENGINE = read_engine(generic_text("flat-four"), "flat-four")
E3 = Valve("E", 3)


def visit(km, record, valve=E3, day=date(2020, 5, 1)):
    return VisitRecord(day, km, {valve: record})


def test_a_valve_never_measured_says_so_and_nothing_else():
    answer = first_answer(ENGINE, [], E3)
    assert (answer.found, answer.change, answer.standing, answer.since_km) == (None, None, "not known", None)
    assert "has not been measured yet" in answer.verdict


def test_the_first_measurement_has_nothing_to_be_compared_with():
    answer = first_answer(ENGINE, [visit(0, ValveRecord(GapInterval(0.15, 0.20)))], E3)
    assert answer.change is None
    assert answer.standing == "inside"
    assert "nothing earlier to compare" in answer.verdict


def test_the_change_is_the_difference_of_two_intervals():
    first = visit(0, ValveRecord(GapInterval(0.10, 0.15), True, 0.15, GapInterval(0.15, 0.20)))
    second = visit(5000, ValveRecord(GapInterval(0.05, 0.10)))
    answer = first_answer(ENGINE, [first, second], E3)
    assert answer.change.lo == pytest.approx(0.05 - 0.20)
    assert answer.change.hi == pytest.approx(0.10 - 0.15)
    assert answer.direction == "tighter"
    assert answer.since_km == 5000
    assert "0.05 to 0.15 mm tighter" in answer.verdict
    assert "5,000 km before" in answer.verdict


def test_a_gap_set_on_a_blade_but_not_read_again_is_that_blade_give_or_take_a_hand():
    first = visit(0, ValveRecord(None, True, 0.15))
    answer = first_answer(ENGINE, [first, visit(5000, ValveRecord(GapInterval(0.15, 0.20)))], E3)
    assert answer.before.gap == GapInterval(0.15 - HAND_MM, 0.15 + HAND_MM)
    assert answer.direction == "no clear change"
    assert "the two readings overlap" in answer.verdict


def test_a_gap_found_and_left_alone_is_the_next_baseline():
    visits = [
        visit(0, ValveRecord(GapInterval(0.10, 0.15))),
        visit(5000, ValveRecord(GapInterval(0.20, 0.25))),
    ]
    answer = first_answer(ENGINE, visits, E3)
    assert answer.before.source == "found and left alone"
    assert answer.direction == "looser"
    assert answer.change.lo == pytest.approx(0.05)


def test_work_that_moves_the_gap_ends_the_comparison():
    visits = [
        visit(0, ValveRecord(GapInterval(0.10, 0.15), restart=True)),
        visit(9, ValveRecord(GapInterval(0.3, 0.35))),
    ]
    assert first_answer(ENGINE, visits, E3).before is None


def test_a_visit_that_skips_the_valve_changes_nothing():
    skipped = visit(2500, ValveRecord())
    visits = [
        visit(0, ValveRecord(GapInterval(0.10, 0.15))),
        skipped,
        visit(5000, ValveRecord(GapInterval(0.10, 0.15))),
    ]
    assert first_answer(ENGINE, visits, E3).since_km == 5000
    assert first_answer(ENGINE, [*visits, VisitRecord(date(2021, 1, 1), 6000, {})], E3).found_at_km == 5000


@pytest.mark.parametrize(
    ("found", "standing", "side"),
    [
        (GapInterval(-math.inf, 0.05), "outside", "tight"),
        (GapInterval(0.03, 0.06), "perhaps outside", "tight"),
        (GapInterval(0.05, 0.10), "inside", None),
        (GapInterval(0.25, 0.30), "inside", None),
        (GapInterval(0.25, 0.35), "perhaps outside", "loose"),
        (GapInterval(0.30, math.inf), "outside", "loose"),
        (GapInterval(0.05, 0.05), "perhaps outside", "tight"),  # drag: the hand may be off either way
    ],
)
def test_limits_are_judged_as_inside_outside_or_perhaps(found, standing, side):
    answer = first_answer(ENGINE, [visit(0, ValveRecord(found))], E3)
    assert (answer.standing, answer.side) == (standing, side)


def test_an_engine_without_limits_is_not_called_good():
    engine = replace(ENGINE, gaps={"I": GapSpec(0.0), "E": GapSpec(0.0)})
    answer = first_answer(engine, [visit(0, ValveRecord(GapInterval(0.1, 0.15)))], E3)
    assert answer.standing == "not known"
    assert "No limits are known" in answer.verdict


def test_no_blade_going_again_after_being_set_is_do_not_run():
    # Common practice (safety rule): no blade goes again soon after being set.
    visits = [visit(0, ValveRecord(None, True, 0.15)), visit(900, ValveRecord(GapInterval(-math.inf, 0.05)))]
    answer = first_answer(ENGINE, visits, E3)
    assert answer.do_not_run
    assert "Do not run this engine" in answer.verdict


def test_a_tenth_tighter_within_one_interval_is_do_not_run():
    # Common practice (safety rule): 0.10 mm or more tighter within one interval.
    visits = [
        visit(0, ValveRecord(None, True, 0.25, GapInterval(0.25, 0.30))),
        visit(900, ValveRecord(GapInterval(0.10, 0.15))),
    ]
    assert first_answer(ENGINE, visits, E3).do_not_run
    slower = [visits[0], visit(900, ValveRecord(GapInterval(0.15, 0.20)))]
    assert not first_answer(ENGINE, slower, E3).do_not_run


def test_a_first_reading_where_no_blade_goes_is_outside_but_nothing_is_said_about_before():
    answer = first_answer(ENGINE, [visit(0, ValveRecord(GapInterval(-math.inf, 0.05)))], E3)
    assert answer.standing == "outside"
    assert not answer.do_not_run


def test_every_valve_of_the_engine_is_answered_in_order():
    assert [answer.valve for answer in first_answers(ENGINE, [])] == list(ENGINE.valves)


@pytest.mark.parametrize(
    ("gap", "words"),
    [
        (GapInterval(0.15, 0.15), "drag on 0.15 mm"),
        (GapInterval(-math.inf, 0.05), "under 0.05 mm, no blade goes"),
        (GapInterval(1.0, math.inf), "1.00 mm or more, the thickest blade goes"),
        (GapInterval(0.125, 0.15), "0.125 to 0.15 mm"),
    ],
)
def test_gaps_are_said_in_words(gap, words):
    assert say_gap(gap) == words
