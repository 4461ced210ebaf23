"""The linkage's signs and sizes, derived here once more from a lever drawn as a straight line."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from tests.engines import flat_four, inline_four, single

from coldlash.engine.linkage import (
    CauseRow,
    cause_table,
    gap_from_heights,
    loadings,
    screw_gap_per_mm,
    screw_turn_deg,
    sensitivity,
)
from coldlash.engine.spec import Engine, Linkage, Train, Valve
from coldlash.errors import InputError

RATIOS = (1.0, 1.25, 1.5)


def lever_gap(linkage: Linkage, p: float, q: float, v: float) -> float:
    """Derived: the lever is a line through two points (arm, height); the gap is where it ends less the valve tip."""
    r = linkage.rocker_ratio
    if linkage.train == "pushrod":  # pushrod at arm -1, pivot at 0, valve at +r
        (x0, y0), (x1, y1) = (-1.0, q), (0.0, p)
    elif linkage.train == "finger":  # pivot at 0, cam above arm 1, valve at r
        (x0, y0), (x1, y1) = (0.0, p), (1.0, q)
    else:
        return q - v
    return y0 + (y1 - y0) / (x1 - x0) * (r - x0) - v


def moved(linkage: Linkage, dp: float = 0.0, dq: float = 0.0, dv: float = 0.0) -> float:
    """Gap change per mm by central finite differences of ``lever_gap`` about arbitrary heights, mm."""
    p, q, v, h = 300.0, 295.0, 302.0, 0.5
    up = lever_gap(linkage, p + h * dp, q + h * dq, v + h * dv)
    down = lever_gap(linkage, p - h * dp, q - h * dq, v - h * dv)
    return (up - down) / (2 * h)


def row(engine: Engine, variant: str) -> CauseRow:
    return next(found for found in cause_table(engine) if found.variant == variant)


@pytest.mark.parametrize("train", ["pushrod", "finger", "direct"])
@pytest.mark.parametrize("ratio", RATIOS)
def test_sensitivities_are_the_finite_differences_of_a_lever(train: Train, ratio: float) -> None:
    linkage = Linkage(ratio, train=train)
    slope = sensitivity(linkage)
    assert slope.dp == pytest.approx(moved(linkage, dp=1), abs=1e-12)
    assert slope.dq == pytest.approx(moved(linkage, dq=1), abs=1e-12)
    assert slope.dv == pytest.approx(moved(linkage, dv=1), abs=1e-12)
    assert gap_from_heights(linkage, 300, 299.7, 300.1) == pytest.approx(
        lever_gap(linkage, 300, 299.7, 300.1), abs=1e-12
    )


@pytest.mark.parametrize("train", ["pushrod", "finger", "direct"])
def test_moving_all_heights_together_leaves_the_gap(train: Train) -> None:
    # derived: a gap can't depend on where heights are counted from
    assert sum(sensitivity(Linkage(1.3, train=train))) == pytest.approx(0, abs=1e-15)


def test_a_finger_of_ratio_one_is_a_direct_train() -> None:
    # derived limiting case: cam right over the valve
    assert sensitivity(Linkage(1.0, train="finger")) == sensitivity(Linkage(1.7, train="direct"))


# What physically moves, heights outward (+), and the size the trade's table gives per mm (common practice, each
# derived again by finite differences): cam-side and head causes scale with the ratio.
PUSHROD_CAUSES: tuple[tuple[str, dict[str, float], Callable[[float], float]], ...] = (
    ("seat_recession", {"dv": 1}, lambda r: -1),
    ("stretch", {"dv": 1}, lambda r: -1),
    ("cam_side_wear", {"dq": -1}, lambda r: r),
    ("valve_side_wear", {"dv": -1}, lambda r: 1),
    ("shared_lobe", {"dq": -1}, lambda r: r),
    ("head_settling", {"dp": -1, "dv": -1}, lambda r: -r),
    ("head_lifting", {"dp": 1, "dv": 1}, lambda r: r),
    ("whole_head_lifting", {"dp": 1, "dv": 1}, lambda r: r),
    ("stand_loose", {"dp": 1}, lambda r: 1 + r),
    ("bent_pushrod", {"dq": -1}, lambda r: r),
    ("dropped_seat", {"dv": -1}, lambda r: 1),
    ("dirt_under_valve", {"dv": -1}, lambda r: 1),
)


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize(("variant", "heights", "size"), PUSHROD_CAUSES)
def test_every_pushrod_cause_has_the_sign_and_size_of_the_lever(
    ratio: float, variant: str, heights: dict[str, float], size: Callable[[float], float]
) -> None:
    engine = flat_four(rocker_ratio=ratio)
    found = row(engine, variant)
    assert found.gap_per_mm == pytest.approx(moved(engine.linkage, **heights), abs=1e-12)
    assert found.gap_per_mm == pytest.approx(size(ratio), abs=1e-12)
    assert found.direction == ("looser" if size(ratio) > 0 else "tighter")


def test_the_pushrod_table_has_no_cause_without_a_sign_check() -> None:
    assert {found.variant for found in cause_table(flat_four())} == {name for name, _, _ in PUSHROD_CAUSES}


# Overhead cam: cam, pivot and valve sit in the head; wear lets the cam side draw back outward (derived).
OVERHEAD_CAUSES: tuple[tuple[str, dict[str, float], Callable[[float], float]], ...] = (
    ("seat_recession", {"dv": 1}, lambda lever: -1),
    ("stretch", {"dv": 1}, lambda lever: -1),
    ("cam_side_wear", {"dq": 1}, lambda lever: lever),
    ("valve_side_wear", {"dv": -1}, lambda lever: 1),
    ("shared_lobe", {"dq": 1}, lambda lever: lever),
    ("head_settling", {"dp": -1, "dq": -1, "dv": -1}, lambda lever: 0),
    ("cam_bearing_loose", {"dq": 1}, lambda lever: lever),
    ("dropped_seat", {"dv": -1}, lambda lever: 1),
    ("dirt_under_valve", {"dv": -1}, lambda lever: 1),
)


@pytest.mark.parametrize(("train", "ratio"), [("finger", 1.25), ("finger", 1.5), ("direct", 1.0)])
@pytest.mark.parametrize(("variant", "heights", "size"), OVERHEAD_CAUSES)
def test_every_overhead_cause_has_the_sign_and_size_of_the_lever(
    train: Train, ratio: float, variant: str, heights: dict[str, float], size: Callable[[float], float]
) -> None:
    engine = inline_four(linkage=Linkage(ratio, train=train), shared_lobes=[("I1", "E1")])
    found = row(engine, variant)
    assert found.gap_per_mm == pytest.approx(moved(engine.linkage, **heights), abs=1e-12)
    assert found.gap_per_mm == pytest.approx(size(ratio), abs=1e-12)
    expected = size(ratio)
    assert found.direction == ("unchanged" if expected == 0 else "looser" if expected > 0 else "tighter")
    assert {name for name, _, _ in OVERHEAD_CAUSES} == {r.variant for r in cause_table(engine)}


def test_causes_name_the_valves_of_this_engine() -> None:
    table = {found.variant: found.where for found in cause_table(flat_four())}
    v = Valve.parse
    assert table["seat_recession"] == tuple((valve,) for valve in flat_four().valves)
    assert table["shared_lobe"] == (
        (v("I1"), v("I3")),
        (v("E1"), v("E3")),
        (v("I2"), v("I4")),
        (v("E2"), v("E4")),
    )
    assert table["head_settling"] == (
        (v("I1"), v("E1"), v("I2"), v("E2")),
        (v("I3"), v("E3"), v("I4"), v("E4")),
    )
    assert table["stand_loose"][2] == (v("I3"), v("E3"))
    assert table["whole_head_lifting"] == table["head_settling"]


def test_an_engine_without_shared_lobes_or_wide_heads_has_no_such_rows() -> None:
    variants = {found.variant for found in cause_table(single())}
    assert "shared_lobe" not in variants
    assert "whole_head_lifting" not in variants
    assert "stand_loose" in variants


def test_each_cause_explains_its_sign_in_a_sentence_with_its_size() -> None:
    for engine in (flat_four(rocker_ratio=1.25), inline_four(linkage=Linkage(1.5, train="finger"))):
        for found in cause_table(engine):
            assert found.explanation.endswith(".")
            assert "{" not in found.explanation
            if found.direction == "unchanged":
                assert "does not change" in found.explanation
            else:
                assert f"{abs(found.gap_per_mm):.3g} mm {found.direction} per mm" in found.explanation


def test_loadings_are_the_table_laid_over_the_valves() -> None:
    engine = flat_four(rocker_ratio=1.25)
    found = loadings(engine)
    # 8 seats, 8 trains, 4 lobes, 2 heads settling, 4 cylinders lifting, 4 stands: counted by hand
    assert len(found) == 30
    order = [str(valve) for valve in engine.valves]
    by_place = {
        (entry.variant, *map(str, entry.where)): dict(zip(order, entry.loading, strict=True))
        for entry in found
    }
    none = dict.fromkeys(order, 0.0)
    assert by_place["seat_recession", "E3"] == none | {"E3": -1.0}
    assert by_place["valve_side_wear", "I2"] == none | {"I2": 1.0}
    assert by_place["shared_lobe", "E1", "E3"] == none | {"E1": 1.25, "E3": 1.25}
    settled = {"I1": -1.25, "E1": -1.25, "I2": -1.25, "E2": -1.25}
    assert by_place["head_settling", "I1", "E1", "I2", "E2"] == none | settled
    assert by_place["head_lifting", "I4", "E4"] == none | {"I4": 1.25, "E4": 1.25}
    assert by_place["stand_loose", "I4", "E4"] == none | {"I4": 2.25, "E4": 2.25}
    assert {entry.variant for entry in found if entry.spread > 0} == {"shared_lobe"}


def test_an_overhead_head_that_settles_is_no_loading() -> None:
    found = loadings(inline_four(linkage=Linkage(1.5, train="finger")))
    assert "head_settling" not in {entry.cause for entry in found}
    assert all(any(entry.loading) for entry in found)


# ------------------------------------------------------------------------------------------------ screw


@pytest.mark.parametrize(
    ("linkage", "turn"),
    [
        # exact: 360 x 0.05 / pitch, at a pushrod-side screw divided by the ratio
        (Linkage(1.1, "valve", 1.0), 18.0),
        (Linkage(1.1, "valve", 0.75), 24.0),
        (Linkage(1.25, "pushrod", 1.0), 18.0 / 1.25),
        (Linkage(1.25, "pushrod", 0.75), 24.0 / 1.25),
        (Linkage(1.5, "pushrod", 1.0, "finger"), 18.0 / 0.5),
        (Linkage(1.5, "valve", 1.0, "finger"), 18.0),
        (Linkage(1.0, "pushrod", 1.0, "direct"), 18.0),
    ],
)
def test_a_twentieth_of_a_millimetre_takes_this_turn(linkage: Linkage, turn: float) -> None:
    assert screw_turn_deg(linkage, 0.10, 0.15) == pytest.approx(turn, abs=1e-9)
    assert screw_turn_deg(linkage, 0.15, 0.10) == pytest.approx(-turn, abs=1e-9)


@pytest.mark.parametrize(
    "linkage",
    [Linkage(1.3, "pushrod", 1.0), Linkage(1.3, "pushrod", 1.0, "finger"), Linkage(1.3, "valve", 1.0)],
)
def test_a_screw_moves_the_gap_as_its_height_does(linkage: Linkage) -> None:
    # derived: a screw in the rocker's valve end lowers that end, one at the pushrod lengthens it, one under a finger
    # raises its pivot
    along = {"valve": {"dv": 1.0}, "pushrod": {"dq": 1.0} if linkage.train == "pushrod" else {"dp": 1.0}}
    assert screw_gap_per_mm(linkage) == pytest.approx(
        abs(moved(linkage, **along[linkage.screw_side])), abs=1e-12
    )


def test_a_turn_without_a_pitch_says_what_to_measure() -> None:
    with pytest.raises(InputError, match=r"no screw_pitch_mm.*screw_pitch_mm = 1\.0"):
        screw_turn_deg(Linkage(1.1, "valve", None), 0.10, 0.15)


def test_a_direct_train_without_a_screw_names_the_shim() -> None:
    with pytest.raises(InputError, match=r"fit one 0\.05 mm thinner"):
        screw_turn_deg(Linkage(1.0, "valve", None, "direct"), 0.10, 0.15)
    with pytest.raises(InputError, match=r"fit one 0\.05 mm thicker"):
        screw_turn_deg(Linkage(1.0, "valve", None, "direct"), 0.15, 0.10)


def test_a_turn_between_unknown_gaps_is_refused() -> None:
    with pytest.raises(InputError, match="both gaps must be known"):
        screw_turn_deg(Linkage(1.1, "valve", 1.0), math.nan, 0.15)


def test_a_pivot_screw_on_a_finger_of_ratio_one_is_refused() -> None:
    with pytest.raises(InputError, match="does not move the gap"):
        screw_turn_deg(Linkage(1.0, "pushrod", 1.0, "finger"), 0.10, 0.15)
