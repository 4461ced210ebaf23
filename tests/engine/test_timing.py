"""What a gap does to opening, closing, landing and overlap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four

from coldlash.engine.firing import open_spans
from coldlash.engine.lobe import lift_curve, lobe_from_law, lobe_from_table
from coldlash.engine.spec import Engine, GapSpec, LobeSpec, Valve
from coldlash.engine.timing import WHY, overlap, timing, timing_of
from coldlash.errors import InputError

SPEC = LobeSpec(peak_lift_mm=8.5, ramp_mm=0.25, ramp_deg=20.0)
# Ramp speed, derived: 0.25 mm over 20 cam = 40 crank degrees.
RAMP = 0.25 / 40.0


@pytest.fixture(scope="module")
def engine() -> Engine:
    return flat_four(lobes={"I": SPEC, "E": SPEC})


def test_no_gap_opens_and_closes_at_the_events_of_the_file(engine: Engine) -> None:
    # derived: events 10/40/45/8 at the base circle: exhaust 180-45 and 360+8, intake 360-10 and 540+40.
    exhaust, intake = timing(engine, 0.0, "E", 3000), timing(engine, 0.0, "I", 3000)
    assert (float(exhaust.opens_deg), float(exhaust.closes_deg)) == (135.0, 368.0)
    assert (float(intake.opens_deg), float(intake.closes_deg)) == (350.0, 580.0)
    assert float(exhaust.duration_deg) == 233.0


def test_on_the_ramp_each_hundredth_costs_what_the_ramp_says(engine: Engine) -> None:
    result = timing(engine, [0.05, 0.15, 0.20], "I", 1000)
    # derived: gap / ramp speed on either side.
    assert result.opens_deg == pytest.approx(350.0 + np.array([0.05, 0.15, 0.20]) / RAMP)
    assert result.closes_deg == pytest.approx(580.0 - np.array([0.05, 0.15, 0.20]) / RAMP)
    assert result.deg_per_hundredth_mm == pytest.approx(np.full(3, 2 * 0.01 / RAMP))
    assert result.lost_deg == pytest.approx((np.array([0.05, 0.15, 0.20]) - 0.15) * 2 / RAMP)


def test_the_valve_lands_at_ramp_speed_while_the_gap_is_within_the_ramp(engine: Engine) -> None:
    result = timing(engine, [0.0, 0.15, 0.24], "E", 3000)
    # derived: mm per crank degree x 6 x rpm.
    assert result.seating_mm_per_s == pytest.approx(np.full(3, RAMP * 18000.0))
    assert result.seating_energy_ratio == pytest.approx(np.ones(3))
    assert not result.off_ramp.any()
    assert result.leaves_ramp_mm == 0.25


def test_off_the_ramp_the_landing_grows_steeply(engine: Engine) -> None:
    result = timing(engine, np.linspace(0.26, 0.6, 35), "E", 3000)
    assert result.off_ramp.all()
    assert (np.diff(result.seating_mm_per_s) > 0).all()
    assert result.seating_energy_ratio[-1] > 10
    # derived: energy goes with the square of the speed, and the set gap lands at ramp speed.
    assert result.seating_energy_ratio == pytest.approx((result.seating_mm_per_s / (RAMP * 18000.0)) ** 2)


def test_landing_speed_grows_with_rpm_and_its_ratio_does_not(engine: Engine) -> None:
    slow, fast = timing(engine, 0.4, "E", 1000), timing(engine, 0.4, "E", 4000)
    assert float(fast.seating_mm_per_s) == pytest.approx(4 * float(slow.seating_mm_per_s))
    assert float(fast.seating_energy_ratio) == pytest.approx(float(slow.seating_energy_ratio))


def test_landing_speed_is_the_finite_difference_of_the_lift(engine: Engine) -> None:
    result = timing(engine, 0.4, "E", 3000)
    curve = lift_curve(engine, "E")
    lift = curve.lift(float(result.closes_deg) - np.array([2e-4, 1e-4]), 0.4)
    assert float(result.seating_mm_per_s) == pytest.approx((lift[0] - lift[1]) / 1e-4 * 18000.0, rel=1e-4)


def test_degrees_per_hundredth_is_the_finite_difference_of_the_duration(engine: Engine) -> None:
    for gap in (0.10, 0.35, 0.60):
        around = timing(engine, [gap - 1e-4, gap + 1e-4], "I", 1000).duration_deg
        slope = (around[0] - around[1]) / 2e-4 * 0.01
        assert float(timing(engine, gap, "I", 1000).deg_per_hundredth_mm) == pytest.approx(slope, rel=1e-3)


def test_duration_never_grows_with_the_gap(engine: Engine) -> None:
    result = timing(engine, np.linspace(0.0, 8.4, 1000), "I", 3000)
    assert (np.diff(result.duration_deg) < 0).all()
    assert result.peak_lift_mm == pytest.approx(8.5 - result.gap_mm)


def test_a_negative_gap_is_a_valve_that_never_closes(engine: Engine) -> None:
    result = timing(engine, [-0.05, 0.15], "E", 3000)
    assert result.held_open.tolist() == [True, False]
    assert result.duration_deg[0] == 720.0
    assert np.isnan([result.opens_deg[0], result.closes_deg[0], result.seating_mm_per_s[0]]).all()
    assert result.peak_lift_mm[0] == pytest.approx(8.55)


def test_a_gap_above_the_peak_is_a_valve_that_never_opens(engine: Engine) -> None:
    result = timing(engine, [8.5, 9.0], "E", 3000)
    assert result.never_opens.all()
    assert result.duration_deg.tolist() == [0.0, 0.0]
    assert np.isnan(result.opens_deg).all()


def test_any_shape_of_gaps_keeps_its_shape(engine: Engine) -> None:
    assert timing(engine, 0.15, "I", 1000).opens_deg.shape == ()
    assert timing(engine, np.full((3, 4), 0.15), "I", 1000).seating_mm_per_s.shape == (3, 4)


def test_no_gap_of_a_seating_valve_opens_it_outside_the_windows_of_the_stops(engine: Engine) -> None:
    spans = open_spans(engine)
    for kind in ("I", "E"):
        result = timing(engine, np.linspace(0.0, 1.0, 50), kind, 1000)
        span = spans[Valve(kind, 1)]
        assert ((result.opens_deg - span.opens) % 720 <= span.length + 1e-9).all()
        assert ((result.closes_deg - span.opens) % 720 <= span.length + 1e-9).all()


def test_overlap_is_exhaust_closing_less_intake_opening(engine: Engine) -> None:
    # derived: at no gap 8 + 10 degrees; each 0.05 mm of either gap takes 0.05 / ramp speed = 8 degrees.
    assert float(overlap(engine, 0.0, 0.0).overlap_deg) == pytest.approx(18.0)
    result = overlap(engine, [0.05, 0.05], [0.0, 0.05])
    assert result.overlap_deg == pytest.approx([10.0, 2.0])
    assert result.at_set_gaps_deg == pytest.approx(18.0 - 2 * 24.0)


def test_a_valve_held_open_overlaps_all_of_the_others_opening(engine: Engine) -> None:
    intake = float(timing(engine, 0.15, "I", 1000).duration_deg)
    exhaust = float(timing(engine, 0.15, "E", 1000).duration_deg)
    result = overlap(engine, [0.15, -0.05, -0.05], [-0.05, 0.15, -0.05])
    assert result.overlap_deg == pytest.approx([intake, exhaust, 720.0])


def test_gaps_below_a_tables_noise_are_marked(engine: Engine) -> None:
    rng = np.random.default_rng(1)
    cam = np.arange(0.0, 360.0, 2.0)
    lift = lift_curve(engine, "I").rise(2 * cam) + rng.normal(0, 0.01, cam.size)
    curve = lobe_from_table(list(zip(cam.tolist(), lift.tolist(), strict=True)), 350.0, 580.0).curve
    result = timing_of(curve, [0.005, 0.15], "I", 1000, 0.15)
    assert result.unresolved.tolist() == [True, False]


def test_each_figure_can_be_asked_why() -> None:
    asked = {"opens_deg", "closes_deg", "seating_mm_per_s", "seating_energy_ratio", "deg_per_hundredth_mm"}
    assert asked | {"leaves_ramp_mm", "overlap_deg"} == set(WHY)
    for why in WHY.values():
        assert all(len(line) > 12 for line in why.lines())


def test_what_cannot_be_computed_is_said(engine: Engine) -> None:
    with pytest.raises(InputError, match=r"needs \[lobe.exhaust\] with peak_lift_mm, ramp_mm, ramp_deg"):
        timing(flat_four(), 0.15, "E", 3000)
    with pytest.raises(InputError, match=r"needs \[lobe.intake\]"):
        overlap(flat_four(lobes={"E": SPEC}), 0.15, 0.15)
    with pytest.raises(InputError, match="a gap is not a number"):
        timing(engine, [0.1, float("nan")], "E", 3000)
    with pytest.raises(InputError, match="is no crank speed"):
        timing(engine, 0.1, "E", -3000)
    wide = replace(engine, gaps={"I": GapSpec(0.15), "E": GapSpec(9.0)})
    with pytest.raises(InputError, match=r"a set gap of 9 mm is not between 0 and the peak lift 8.5 mm"):
        timing(wide, 0.1, "E", 3000)


def test_a_lobe_without_a_ramp_is_off_it_with_any_gap() -> None:
    curve = lobe_from_law("3-4-5", 350.0, 580.0, 8.5)
    result = timing_of(curve, [0.01, 0.15], "I", 1000, 0.15)
    assert result.off_ramp.all()
    assert result.leaves_ramp_mm == 0.0
