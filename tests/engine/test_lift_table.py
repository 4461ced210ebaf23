"""A lobe table: rows of cam degrees and lift, all its faults with their lines."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.engine.lift_table import read_lift_table

ROWS = tuple((10.0 * i, 0.5 * i) for i in range(8))


@pytest.mark.parametrize("mark", [",", " , ", ";", "\t"])
@pytest.mark.parametrize("head", ["", "cam_deg,lift_mm\n", "# by hand\n\nangle;lift\n", "\ufeff"])
def test_rows_are_read_with_any_separator_and_header(mark, head):
    assert read_lift_table(head + "\n".join(f"{a}{mark}{b}  # x" for a, b in ROWS)) == (ROWS, [])


def test_decimal_commas_are_read_where_cells_stand_apart_by_semicolons():
    text = "\n".join(f"{a};{b}" for a, b in ROWS).replace(".", ",")
    assert read_lift_table(text) == (ROWS, [])


def test_decimal_commas_between_commas_are_refused_never_misread():
    text = "\n".join(f"{10 * i},0,5" for i in range(8))
    assert read_lift_table(text)[1][0] == (
        "line 1: '0,0,5' has 3 cells; write angle and lift, like 12.5, 3.20"
        " (with decimal commas, set the cells apart with ;)"
    )


GOOD = [f"{10 * i}, {0.5 * i}" for i in range(9)]


@pytest.mark.parametrize(
    ("at", "row", "said"),
    [
        (3, "x, 1", "line 4: angle: 'x' is not a number"),
        (3, "30, nan", "line 4: lift: 'nan' is not a number"),
        (3, "30", "line 4: '30' has 1 cells"),
        (3, "900, 1", "line 4: angle 900 is no cam angle; give cam degrees from -720 to 720"),
        (3, "30, 85", "line 4: lift 85 mm is no valve lift; give mm, up to 30"),
        (3, "20, 1", "line 4: angle 20 follows 20; angles must rise from row to row"),
        (8, "361, 0", "the angles span more than 360 cam degrees, one whole turn; are they crank degrees?"),
        (0, "crank_deg, lift", "line 1: angles are named crank degrees; give cam degrees (half of them)"),
    ],
)
def test_a_faulty_row_is_named_with_its_line(at, row, said):
    lines = list(GOOD)
    lines[at] = row
    faults = read_lift_table("\n".join(lines))[1]
    assert len(faults) == 1
    assert said in faults[0]


def test_too_few_rows_and_no_lift_at_all_are_refused():
    assert read_lift_table("1,2\n2,3\n")[1] == ["2 rows of angle and lift; at least 8 are needed for a curve"]
    assert read_lift_table("")[1] == ["0 rows of angle and lift; at least 8 are needed for a curve"]
    flat = "\n".join(f"{i},0" for i in range(9))
    assert read_lift_table(flat)[1] == ["no row lifts the valve; lift must be above 0 mm somewhere"]


@settings(max_examples=200, derandomize=True, deadline=None)
@given(st.text("0123456789,.;\t\n# ax-\x00\ud800", max_size=60))
def test_any_text_gives_rows_or_faults(text):
    rows, faults = read_lift_table(text)
    assert faults or len(rows) >= 8
    assert all(fault.encode() for fault in faults)
