"""Blades, ladders and the bench shorthand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldlash.bench.blades import (
    STANDARD_SETS,
    BladeReading,
    BladeSet,
    parse_reading,
    parse_thickness,
    show_um,
    typed_set,
)
from coldlash.errors import InputError

METRIC = STANDARD_SETS["metric"]
INCH = STANDARD_SETS["inch"]


def test_a_single_thickness_means_the_next_blade_does_not_go():
    assert parse_reading("0.15", METRIC) == BladeReading(150, 200)


def test_the_pair_smooth_pull_on_13_thousandths_leaves_is_read_as_an_interval():
    # Published: TM 5-3820-233-12-1, set with smooth pull on 0.013 in, then 0.011 goes and 0.013 does not.
    reading = parse_reading(".011/.013", INCH)
    assert reading.bounds_mm() == pytest.approx((0.2794, 0.3302), abs=0.0005)
    assert reading.words("in") == ".011 in goes, .013 in does not"


@pytest.mark.parametrize("said", ["drag 0.15", "0.15 drag", "drag on the 0.15", "Drag on 0.15 mm"])
def test_drag_is_that_blade_and_not_an_interval(said):
    reading = parse_reading(said, METRIC)
    assert (reading.go_um, reading.feel) == (150, "drag")
    assert reading.bounds_mm() == (0.15, 0.15)


def test_no_blade_goes_is_open_below():
    reading = parse_reading("none", METRIC)
    assert reading == BladeReading(0, 50)
    assert reading.bounds_mm() == (-math.inf, 0.05)


def test_the_thickest_goes_is_open_above():
    assert parse_reading("1.0", METRIC).bounds_mm() == (1.0, math.inf)
    assert parse_reading("0.30/", METRIC).bounds_mm() == (0.3, math.inf)


def test_not_measured_is_not_a_gap_of_nothing():
    reading = parse_reading("?", METRIC)
    assert not reading.measured
    assert reading.bounds_mm() is None
    assert reading.words() == "not measured"


def test_a_decimal_comma_stays_a_decimal():
    assert parse_reading("0,15", METRIC).go_um == 150


@pytest.mark.parametrize(
    ("text", "unit", "um"),
    [
        ("0.15", "mm", 150),
        (".006 in", "mm", 152),  # exact: 0.006 x 25.4 = 0.1524 mm
        ("6 thou", "mm", 152),
        ("6", "in", 152),
        (".006", "in", 152),
        ("0.15 mm", "in", 150),
    ],
)
def test_thicknesses_are_read_in_either_unit(text, unit, um):
    assert parse_thickness(text, unit) == um


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0.17", "0.17 mm is not in the blade set metric; nearest: 0.10 mm, 0.15 mm, 0.20 mm"),
        ("15", "did you mean 0.15"),
        ("0.20/0.15", "the one that goes must be thinner"),
        ("/0.15", "which blade goes"),
        ("0/", "say the thinnest that was tried"),
        ("", "write none if no blade goes"),
        ("0", "write none if no blade goes"),
        ("-0.15", "a blade is 0.01 to 5 mm thick"),
        ("six", "is not a thickness"),
        ("0.1.5", "is not a number"),
    ],
)
def test_what_cannot_be_a_reading_is_refused_with_its_reason(text, says):
    with pytest.raises(InputError, match=says.replace(".", r"\.")):
        parse_reading(text, METRIC)


def test_a_no_go_without_a_go_is_refused():
    with pytest.raises(InputError, match="write 0 if none goes"):
        BladeReading(None, 150)


def test_drag_without_a_blade_is_refused():
    with pytest.raises(InputError, match="drag on which blade"):
        BladeReading(0, 50, "drag")


def test_a_typed_set_lists_all_its_faults_at_once():
    with pytest.raises(InputError) as caught:
        typed_set("mine", "0.05 0.05 abc 99", "mm")
    assert "abc" in str(caught.value)
    assert "99" in str(caught.value)
    with pytest.raises(InputError, match="stands twice"):
        typed_set("mine", "0.05 0.05 0.10", "mm")
    with pytest.raises(InputError, match="at least two blades"):
        typed_set("mine", "0.05", "mm")
    with pytest.raises(InputError, match="stacks of 3"):
        typed_set("mine", "0.05 0.10", "mm", 3)


def test_stacks_of_two_fill_the_ladder_and_add_their_tolerances():
    blades = typed_set("mine", "0.05 0.10 0.20", "mm", 2)
    rungs = {rung.um: rung for rung in blades.ladder()}
    assert sorted(rungs) == [50, 100, 150, 200]
    assert rungs[150].blades_um == (50, 100)
    # Published: a gauge maker's article, 0.010 in blade +-0.00035 in = 8.9 um, twice for two blades.
    assert rungs[150].tolerance_um == pytest.approx(2 * 0.00035 * 25400, abs=0.5)
    assert rungs[100].blades_um == (100,)


@pytest.mark.parametrize(
    ("um", "unit", "text"),
    [
        (150, "mm", "0.15 mm"),
        (152, "in", ".006 in"),
        (38, "in", ".0015 in"),
        (1000, "mm", "1.00 mm"),
        (125, "mm", "0.125 mm"),
    ],
)
def test_thicknesses_are_shown_as_their_owner_thinks_of_them(um, unit, text):
    assert show_um(um, unit) == text


@given(st.sampled_from(sorted(STANDARD_SETS)), st.data())
def test_every_interval_of_a_ladder_reads_back_from_what_is_shown(name, data):
    blades: BladeSet = STANDARD_SETS[name]
    ladder = blades.ladder()
    i = data.draw(st.integers(0, len(ladder) - 2))
    said = f"{blades.show(ladder[i].um)}/{blades.show(ladder[i + 1].um)}"
    assert parse_reading(said, blades) == BladeReading(ladder[i].um, ladder[i + 1].um)
