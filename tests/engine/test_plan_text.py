"""The plan drawn in text: every valve where it is, the pulley marked, within a terminal's width."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.engines import flat_four, flat_twin, inline_four, inline_six, make_engine, v8, v12

from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.plan_text import WIDEST, banks_of, plan_text, width
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Valve


def generic(name: str):
    """A generic engine, read."""
    return read_engine(generic_text(name), name)


def positions(plan: str) -> dict[str, tuple[int, int]]:
    """Line and column of every valve's name in a plan."""
    found = {}
    for number, line in enumerate(plan.splitlines()):
        for column in range(len(line)):
            word = line[column:].split(" ")[0]
            if line[column] in "IE" and (column == 0 or line[column - 1] == " ") and word[1:].isdigit():
                assert word not in found
                found[word] = (number, column)
    return found


FLAT_FOUR = """\
Generic flat-four, seen from above

  left                                   right
  ┌──────────┐         ┌───────┐         ┌───────┐
  │ E3  0.10 ├─────┐   │       │   ┌─────┤ E1    │
  │          │  3  ├───│       │───┤ 1   │       │
  │ I3       ├─────┘   │       │   └─────┤ I1  ? │
  │          │         │       │         │       │
  │ I4       ├─────┐   │       │   ┌─────┤ I2    │
  │          │  4  ├───│       │───┤ 2   │       │
  │ E4       ├─────┘   │       │   └─────┤ E2    │
  └──────────┘         └───┬───┘         └───────┘
                           ║
                         ══╩══
                        pulley

Fires 1-4-3-2, turns clockwise seen facing the pulley.
Right and left are those of someone who faces the pulley."""


def test_the_flat_four_is_drawn_as_it_stands():
    # Regression: looked at and found right. Seen from the pulley, cylinders 1 and 2 are on the right, 2 nearest
    # (common practice for an engine whose pulley is at the back).
    given = {Valve("E", 3): "0.10", Valve("I", 1): "?"}
    assert plan_text(generic("flat-four"), given) == FLAT_FOUR


def test_the_single_is_drawn_with_its_pulley():
    # Regression: looked at and found right.
    assert (
        plan_text(generic("single"))
        == """\
Generic single, seen from above

      ┌───────┐
   ╻  │ E1 I1 │
  ═╋══│   1   │
      └───────┘
  pulley side

Turns clockwise seen facing the pulley."""
    )


def test_rows_run_from_the_pulley_outward_on_both_sides():
    engine = generic("flat-four")
    plan = plan_text(engine)
    at = positions(plan)
    pulley = next(n for n, line in enumerate(plan.splitlines()) if "╩" in line)
    for row in engine.rows:
        lines = [pulley - at[str(valve)][0] for valve in row]
        assert lines == sorted(lines)
        assert min(lines) > 0
    assert len({at[str(v)][1] for v in engine.rows[0]}) == 1
    assert at["E1"][1] > plan.splitlines()[pulley].index("╩") > at["E3"][1]


def test_an_inline_engine_is_drawn_across_with_the_pulley_on_the_left():
    engine = generic("inline-four")
    plan = plan_text(engine)
    at = positions(plan)
    columns = [at[str(valve)][1] for valve in engine.rows[0]]
    assert columns == sorted(columns)
    axis = next(line for line in plan.splitlines() if "╋" in line)
    assert axis.index("╋") < min(columns)


def test_what_is_too_wide_to_be_drawn_across_is_drawn_upright():
    engine = generic("inline-six")
    assert "╋" in plan_text(engine)
    labels = dict.fromkeys(engine.valves, "0.30")
    plan = plan_text(engine, labels)
    assert "╋" not in plan
    at = positions(plan)
    lines = [at[str(valve)][0] for valve in engine.rows[0]]
    assert lines == sorted(lines, reverse=True)  # pulley at the bottom


@pytest.mark.parametrize("name", generic_names())
@pytest.mark.parametrize("label", ["", "0.15", "-0.05"])
def test_every_valve_stands_once_in_every_plan_within_the_width(name, label):
    engine = generic(name)
    plan = plan_text(engine, dict.fromkeys(engine.valves, label))
    assert set(positions(plan)) == {str(valve) for valve in engine.valves}
    assert max(map(width, plan.splitlines())) <= WIDEST
    assert plan.count(label) >= len(engine.valves)
    assert "pulley" in plan


def test_layout_decides_between_one_bank_and_two():
    two_heads = inline_four(heads=[(1, 2), (3, 4)])
    assert len(banks_of(two_heads)) == 2
    assert len(banks_of(replace(two_heads, layout="inline"))) == 1
    six_heads = inline_six(heads=[(c,) for c in range(1, 7)])
    assert len(banks_of(six_heads)) == 1
    right, left = banks_of(replace(six_heads, layout="flat"))
    assert (right.cylinders, left.cylinders) == ((1, 2, 3), (4, 5, 6))
    four_heads = flat_four(heads=[(1,), (2,), (3,), (4,)])
    assert [bank.cylinders for bank in banks_of(four_heads)] == [(1, 2), (3, 4)]  # lobes are shared


def test_what_the_file_does_not_state_is_said():
    plan = plan_text(flat_twin())
    assert "The file gives no rows: where each valve lies along its head is a guess." in plan
    assert "The file gives no layout: drawn as two banks, the first head on the right." in plan
    assert "The file gives no layout: drawn as one bank." in plan_text(
        inline_six(heads=[(1, 2, 3), (4, 5), (6,)])
    )
    stated = plan_text(generic("v8"))
    assert "The file gives no" not in stated
    assert "Right and left are those of someone who faces the pulley." in stated


def test_words_in_labels_stay_readable_on_both_sides():
    labels = {Valve("E", 1): "0.10 to 0.15 mm", Valve("E", 3): "├ 0.10 │ tight"}
    plan = plan_text(generic("flat-four"), labels)
    assert "E1  0.10 to 0.15 mm" in plan
    assert "E3  ├ 0.10 │ tight" in plan


def test_wide_letters_keep_the_frame_straight():
    plan = plan_text(generic("flat-twin"), {Valve("I", 1): "좁음", Valve("I", 2): "e\u0301"})
    body = [line for line in plan.splitlines() if "┤" in line or "├" in line]
    assert len({width(line) for line in body}) == 1


def test_valves_of_a_cylinder_that_lie_apart_are_drawn_without_a_barrel():
    rows = [[Valve.parse(v) for v in row.split()] for row in ("I1 I2 E1 E2", "E3 E4 I3 I4")]
    plan = plan_text(flat_four(rows=tuple(map(tuple, rows))))
    assert set(positions(plan)) == {str(v) for row in rows for v in row}
    assert "┌─────┤" not in plan


def test_a_shorter_bank_begins_at_the_pulley():
    plan = plan_text(make_engine((1, 3, 2), heads=[(1, 2), (3,)])).splitlines()
    at = positions("\n".join(plan))
    assert at["I3"][0] == at["I1"][0]
    assert at["E2"][0] < at["I3"][0]


LAYOUTS = st.sampled_from([None, "flat", "vee", "inline"])


@settings(max_examples=80, derandomize=True, deadline=None)
@given(st.integers(1, 8), st.integers(1, 8), LAYOUTS, st.booleans())
def test_any_engine_of_up_to_sixteen_valves_fits_with_every_valve_once(cylinders, heads, layout, labelled):
    numbers = range(1, cylinders + 1)
    grouped = [tuple(numbers[i::heads]) for i in range(min(heads, cylinders))]
    engine = make_engine(tuple(numbers), heads=grouped, layout=layout)
    plan = plan_text(engine, dict.fromkeys(engine.valves, "0.123") if labelled else None)
    assert set(positions(plan)) == {str(valve) for valve in engine.valves}
    assert max(map(width, plan.splitlines())) <= WIDEST


@pytest.mark.parametrize("engine", [v12(), v8()])
def test_twelve_and_more_cylinders_are_drawn_in_two_banks(engine):
    assert set(positions(plan_text(engine))) == {str(valve) for valve in engine.valves}
