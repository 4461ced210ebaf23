"""What is fine in an engine file but worth saying."""

from __future__ import annotations

from dataclasses import replace

from tests.engines import make_engine

from coldlash.engine.notes import engine_notes
from coldlash.engine.spec import GapSpec, Linkage, LobeSpec, Pulley, StackPart, Valve, ValveEvents

STACK = (StackPart("all", 100.0, "head", ("pivot", "pushrod", "intake", "exhaust"), "6061"),)
ROWS = ((Valve("I", 1), Valve("E", 1)),)


def complete(**fields):
    """An engine that leaves nothing open, but for what a test changes."""
    return replace(make_engine((1,), stack=STACK, rows=ROWS), **fields)


def test_an_engine_that_leaves_nothing_open_has_no_notes():
    assert engine_notes(complete()) == ()


def test_each_thing_left_open_is_said_in_one_sentence():
    said = {
        "No stack: readings are not corrected for the engine's temperature.": complete(stack=()),
        "No stack part reaches the pushrod's end (pushrod): that height counts 0.": complete(
            stack=(StackPart("x", 1.0, "head", ("pivot", "intake", "exhaust"), "6061"),)
        ),
        "No tight limit for the exhaust gap: no risk of tightness is worked out; check by spinning the"
        " pushrod.": complete(gaps={"I": GapSpec(0.15, 0.05, 0.3), "E": GapSpec(0.0, None, 0.3)}),
        "No loose limit for the intake gap: no risk of looseness is worked out.": complete(
            gaps={"I": GapSpec(0.15, 0.05), "E": GapSpec(0.15, 0.05, 0.3)}
        ),
        "The intake gap of 0.03 mm is very small: make sure that it is in mm.": complete(
            gaps={"I": GapSpec(0.03, 0.01, 0.3), "E": GapSpec(0.15, 0.05, 0.3)}
        ),
        "No marks on the pulley: stops need a mark of your own, or a finger over the plug hole.": complete(
            pulley=Pulley(175.0)
        ),
        "No screw pitch: how far to turn the screw is not worked out.": complete(linkage=Linkage(1.1)),
        "No rows: where each valve lies along its head is not known, the plan is drawn by cylinder.": complete(
            rows=()
        ),
        "The valve events hold at a lift and the intake and exhaust ramp is not given: windows are widened by"
        " 30 degrees a side.": complete(events=ValveEvents(10, 40, 45, 8, 1.0)),
    }
    assert {engine_notes(engine) for engine in said.values()} == {(text,) for text in said}


def test_a_ramp_that_is_given_needs_no_note():
    lobes = {"I": LobeSpec(8.0, 0.2, 12.0), "E": LobeSpec(8.0)}
    engine = complete(events=ValveEvents(10, 40, 45, 8, 1.0), lobes=lobes)
    assert [note for note in engine_notes(engine) if "and the exhaust ramp" in note]


def test_a_direct_train_has_no_rocker_pivot_to_miss():
    stack = (StackPart("x", 1.0, "head", ("pushrod", "intake", "exhaust"), "6061"),)
    assert engine_notes(complete(stack=stack, linkage=Linkage(1.0, "valve", 1.0, "direct"))) == ()
