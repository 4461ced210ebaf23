"""Lift curves from figures, laws and degree-wheel tables."""

from __future__ import annotations

import numpy as np
import pytest
from tests.engines import flat_four

from coldlash.engine.lobe import (
    LiftCurve,
    _ramp_line,
    events_deg,
    has_lobe,
    lift_curve,
    lobe_from_figures,
    lobe_from_law,
    lobe_from_table,
    table_fit,
)
from coldlash.engine.spec import LobeSpec, ValveEvents
from coldlash.errors import InputError

FIGURES = lobe_from_figures(350.0, 580.0, 8.5, 0.25, 20.0)
SPEC = LobeSpec(peak_lift_mm=8.5, ramp_mm=0.25, ramp_deg=20.0)


def wheel(
    curve: LiftCurve, step: float, sd: float, seed: int = 0, turned: float = 77.0, zero: float = 0.0
) -> list[tuple[float, float]]:
    """A noisy degree-wheel table of this curve: cam degrees from any zero of the wheel, lift + gauge zero."""
    rng = np.random.default_rng(seed)
    cam = np.arange(0.0, 360.0, step)
    lift = curve.rise(2 * cam + turned) + zero + (rng.normal(0.0, sd, cam.size) if sd else 0.0)
    return list(zip(cam.tolist(), lift.tolist(), strict=True))


# ---------------------------------------------------------------------------------------------- figures


def test_figures_at_the_base_circle_open_and_close_exactly_at_the_events() -> None:
    # derived: that is what checking lift 0 means.
    assert (FIGURES.opens_deg, FIGURES.closes_deg) == (350.0, 580.0)
    assert FIGURES.rise([350.0, 580.0, 200.0, 465.0]) == pytest.approx([0.0, 0.0, 0.0, 8.5])
    assert FIGURES.peak_deg == 465.0


def test_the_ramp_is_straight_and_as_high_and_long_as_stated() -> None:
    # derived: 0.25 mm over 20 cam = 40 crank degrees on either side.
    along = np.linspace(0.0, 40.0, 9)
    assert FIGURES.rise(350.0 + along) == pytest.approx(0.25 * along / 40.0, abs=1e-12)
    assert FIGURES.rise(580.0 - along) == pytest.approx(0.25 * along / 40.0, abs=1e-12)
    assert FIGURES.rise(580.0 - along[:-1], 1) == pytest.approx(np.full(8, -0.25 / 40.0))


def test_the_flank_leaves_the_ramp_without_a_jump_in_velocity_acceleration_or_jerk() -> None:
    for end in (390.0, 540.0):
        for order in (0, 1, 2, 3):
            before, after = FIGURES.rise([end - 1e-6, end + 1e-6], order)
            assert before == pytest.approx(after, abs=1e-5)


def test_derivatives_are_finite_differences_of_the_rise() -> None:
    deg, h = np.linspace(392.0, 538.0, 60), 1e-4
    for order in (1, 2, 3):
        slope = (FIGURES.rise(deg + h, order - 1) - FIGURES.rise(deg - h, order - 1)) / (2 * h)
        assert FIGURES.rise(deg, order) == pytest.approx(slope, abs=1e-7)


def test_rise_is_monotone_on_both_flanks_and_symmetrical() -> None:
    deg = np.linspace(350.0, 465.0, 500)
    assert (np.diff(FIGURES.rise(deg)) > 0).all()
    assert FIGURES.rise(930.0 - deg) == pytest.approx(FIGURES.rise(deg), abs=1e-12)


@pytest.mark.parametrize("lift", [0.1, 0.25, 1.0, 1.27, 4.0])
def test_events_at_a_checking_lift_give_back_the_lobe_they_were_read_from(lift: float) -> None:
    up, down = (float(side) for side in FIGURES.crossings(lift))
    again = lobe_from_figures(up, down, 8.5, 0.25, 20.0, checking_lift_mm=lift)
    assert (again.opens_deg, again.closes_deg) == pytest.approx((350.0, 580.0), abs=1e-3)


def test_crossings_invert_the_rise_for_a_thousand_heights() -> None:
    heights = np.linspace(0.0, 8.5, 1000)
    up, down = FIGURES.crossings(heights)
    assert FIGURES.rise(up) == pytest.approx(heights, abs=1e-9)
    assert FIGURES.rise(down) == pytest.approx(heights, abs=1e-9)
    assert np.isnan(FIGURES.crossings(8.6)).all()
    assert FIGURES.crossings(-0.1) == (350.0, 580.0)


def test_any_turn_of_the_crank_shows_the_same_rise() -> None:
    deg = np.linspace(340.0, 600.0, 27)
    assert FIGURES.rise(deg + 720.0) == pytest.approx(FIGURES.rise(deg), abs=1e-9)
    assert FIGURES.rise(deg - 1440.0) == pytest.approx(FIGURES.rise(deg), abs=1e-9)


def test_lift_is_rise_less_gap_and_a_negative_gap_holds_the_valve_open() -> None:
    deg = np.array([0.0, 370.0, 465.0])
    assert FIGURES.lift(deg, 0.15) == pytest.approx([0.0, 0.0, 8.35], abs=1e-12)
    assert FIGURES.lift(deg, -0.05) == pytest.approx([0.05, 0.175, 8.55])


def test_motion_scales_with_speed_to_the_order() -> None:
    # derived: 1000 rpm is 6000 crank degrees a second.
    for order in (1, 2, 3):
        assert FIGURES.motion(420.0, 1000.0, order) == pytest.approx(
            float(FIGURES.rise(420.0, order)) * 6000.0**order
        )


def test_figures_that_make_no_lobe_are_refused() -> None:
    with pytest.raises(InputError, match="peak must be above ramp"):
        lobe_from_figures(350, 580, 0.2, 0.25, 20)
    with pytest.raises(InputError, match="peak must be above ramp"):
        lobe_from_figures(350, 580, 8.5, 0.25, 0)
    with pytest.raises(InputError, match=r"a checking lift of 9 mm is not on a lobe of 8.5 mm"):
        lobe_from_figures(350, 580, 8.5, 0.25, 20, checking_lift_mm=9)
    with pytest.raises(InputError, match="don't fit into 60 crank degrees"):
        lobe_from_figures(350, 410, 8.5, 0.25, 20)
    with pytest.raises(InputError, match="don't fit into 700 crank degrees"):
        lobe_from_figures(0, 700, 8.5, 0.25, 20, checking_lift_mm=0.2)
    with pytest.raises(InputError, match="would dip between ramp and nose"):
        lobe_from_figures(350, 580, 1.0, 0.9, 20)
    with pytest.raises(InputError, match=r"no lobe passes 8.49 mm 500 crank degrees apart"):
        lobe_from_figures(100, 600, 8.5, 0.25, 20, checking_lift_mm=8.49)
    with pytest.raises(InputError, match="order 5 is not 0"):
        FIGURES.rise(400, 5)
    with pytest.raises(InputError, match="is no crank speed"):
        FIGURES.motion(400, 0, 1)


# ---------------------------------------------------------------------------------------------- law


def test_a_lobe_by_law_has_the_handbooks_peak_velocity_on_each_side() -> None:
    curve = lobe_from_law("3-4-5", 350.0, 580.0, 8.0, peak_deg=450.0)
    deg = np.linspace(350.0, 580.0, 200_001)
    # published, from memory (M): peak velocity of the 3-4-5 law is 1.875 h/b; b is 100 and 130 crank degrees.
    assert curve.rise(deg, 1).max() == pytest.approx(1.875 * 8.0 / 100.0, rel=1e-8)
    assert curve.rise(deg, 1).min() == pytest.approx(-1.875 * 8.0 / 130.0, rel=1e-8)
    assert curve.rise(450.0) == 8.0
    assert curve.ramp_mm == 0.0


def test_a_lobe_by_law_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InputError, match="make no lobe; they must follow each other"):
        lobe_from_law("cycloidal", 580.0, 350.0, 8.0)
    with pytest.raises(InputError, match="not a cam law known here"):
        lobe_from_law("harmonic", 350.0, 580.0, 8.0)


# ---------------------------------------------------------------------------------------------- table


def test_a_clean_fine_table_gives_the_lobe_back() -> None:
    fit = lobe_from_table(wheel(FIGURES, 1.0, 0.0), 350.0, 580.0)
    deg = np.linspace(340.0, 590.0, 1001)
    assert np.abs(fit.curve.rise(deg) - FIGURES.rise(deg)).max() < 0.01
    assert fit.curve.ramp_mm == pytest.approx(0.25, abs=0.02)
    assert fit.events_off_deg == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize(("step", "sd"), [(1.0, 0.01), (2.0, 0.01), (2.0, 0.005)])
def test_noisy_tables_give_noise_ramp_and_landing_speed_back_without_bias(step: float, sd: float) -> None:
    fits = [lobe_from_table(wheel(FIGURES, step, sd, seed), 350.0, 580.0) for seed in range(12)]
    assert np.mean([f.residual_sd_mm for f in fits]) == pytest.approx(sd, rel=0.1)
    assert np.mean([f.curve.ramp_mm for f in fits]) == pytest.approx(0.25, abs=0.01)
    assert np.std([f.curve.ramp_mm for f in fits]) < 0.02
    landing = [-float(f.curve.rise(f.curve.crossings(0.15)[1], 1)) for f in fits]
    assert np.mean(landing) == pytest.approx(0.25 / 40.0, rel=0.15)
    closing = np.array([float(f.curve.crossings(0.15)[1]) for f in fits])
    assert closing.mean() == pytest.approx(580.0 - 24.0, abs=1.0)
    # The stated error of the place is of the size of what happens.
    stated = np.mean([f.place_sd_deg for f in fits])
    assert 0.4 < closing.std() / stated < 2.5


def test_the_stated_error_of_the_fit_is_the_size_of_its_true_error() -> None:
    inside = []
    for seed in range(10):
        fit = lobe_from_table(wheel(FIGURES, 2.0, 0.01, seed, turned=350.0), 350.0, 580.0)
        # The wheel's zero is known here, so the rows' own truth is too.
        truth = FIGURES.rise(2 * np.arange(0.0, 360.0, 2.0) + 350.0)
        error = fit.row_mm - fit.residual_mm - truth
        inside.append(np.abs(error) < 1.645 * fit.error_mm)
    assert 0.8 < np.mean(inside) <= 1.0


def test_the_gauges_zero_is_taken_from_the_base_circle() -> None:
    fit = lobe_from_table(wheel(FIGURES, 2.0, 0.01, zero=0.13), 350.0, 580.0)
    # derived: the mean of 80 rows of 0.01 mm noise is within 3 x 0.01 / sqrt 80.
    assert fit.base_mm == pytest.approx(0.13, abs=0.0034)
    assert fit.curve.peak_mm == pytest.approx(8.5, abs=0.02)


def test_fit_plus_residual_is_the_row_and_rows_lie_on_the_crank_circle() -> None:
    fit = lobe_from_table(wheel(FIGURES, 2.0, 0.01), 350.0, 580.0)
    on_lobe = fit.row_mm > 2.0
    assert fit.curve.rise(fit.row_deg[on_lobe]) + fit.residual_mm[on_lobe] == pytest.approx(
        fit.row_mm[on_lobe], abs=1e-9
    )


def test_a_table_is_placed_by_events_at_a_checking_lift() -> None:
    up, down = (float(side) for side in FIGURES.crossings(1.0))
    fit = lobe_from_table(wheel(FIGURES, 2.0, 0.01), up, down, checking_lift_mm=1.0)
    assert fit.curve.crossings(1.0) == pytest.approx((up, down), abs=0.3)
    assert fit.place_sd_deg < 0.3


def test_an_uneven_lobe_keeps_its_unevenness() -> None:
    uneven = lobe_from_law("4-5-6-7", 350.0, 590.0, 9.0, peak_deg=450.0)
    up, down = (float(side) for side in uneven.crossings(1.0))
    fit = lobe_from_table(wheel(uneven, 2.0, 0.005), up, down, checking_lift_mm=1.0)
    for height in (2.0, 4.0, 8.0):
        assert fit.curve.crossings(height) == pytest.approx(
            tuple(float(side) for side in uneven.crossings(height)), abs=0.5
        )
    assert "no ramp can be seen in the table" in fit.curve.notes
    assert fit.curve.ramp_mm == 0.0


def test_known_noise_and_stated_ramp_are_taken_as_given() -> None:
    fit = lobe_from_table(wheel(FIGURES, 2.0, 0.01), 350.0, 580.0, noise_sd_mm=0.01, ramp_mm=0.3)
    assert fit.chosen_by == "known noise"
    assert fit.residual_sd_mm == 0.01
    assert fit.curve.ramp_mm == 0.3


def test_rows_too_far_apart_and_events_of_another_cam_are_remarked_on() -> None:
    coarse = lobe_from_table(wheel(FIGURES, 10.0, 0.005), 350.0, 580.0)
    assert any("rows are too far apart for this lobe" in note for note in coarse.curve.notes)
    other = lobe_from_table(wheel(FIGURES, 2.0, 0.01), 320.0, 610.0)
    assert any("crank degrees shorter than the valve events say" in note for note in other.curve.notes)
    assert other.events_off_deg == pytest.approx(-60.0, abs=5.0)


def test_a_table_of_the_lobe_alone_takes_its_zero_as_it_stands() -> None:
    cam = np.arange(-62.0, 62.5, 2.0)
    rows = list(zip(cam.tolist(), FIGURES.rise(465.0 + 2 * cam).tolist(), strict=True))
    fit = lobe_from_table(rows, 350.0, 580.0)
    assert fit.base_mm == 0.0
    assert any("no rows on the base circle" in note for note in fit.curve.notes)
    assert fit.curve.rise(465.0) == pytest.approx(8.5, abs=0.02)


def test_first_and_last_row_a_whole_turn_apart_fall_together() -> None:
    rows = wheel(FIGURES, 2.0, 0.0)
    closed = lobe_from_table([*rows, (360.0, rows[0][1])], 350.0, 580.0)
    assert closed.curve.rise(465.0) == pytest.approx(8.5, abs=0.01)


def test_tables_without_a_lobe_are_refused() -> None:
    rng = np.random.default_rng(3)
    with pytest.raises(InputError, match="a lobe table of 3 rows is too short"):
        lobe_from_table([(0, 0), (1, 1), (2, 0)], 350, 580)
    with pytest.raises(InputError, match="not a pair of numbers"):
        lobe_from_table([(float(i), np.nan) for i in range(20)], 350, 580)
    with pytest.raises(InputError, match="drowns in a noise"):
        lobe_from_table([(float(i), rng.normal()) for i in range(0, 360, 5)], 350, 580)
    cam = np.arange(-20.0, 21.0, 1.0)
    cut = list(zip(cam.tolist(), FIGURES.rise(465.0 + 2 * cam).tolist(), strict=True))
    with pytest.raises(InputError, match="the table ends before the lobe does"):
        lobe_from_table(cut, 350, 580)
    with pytest.raises(InputError, match="below the checking lift of 9 mm"):
        lobe_from_table(wheel(FIGURES, 2.0, 0.01), 350, 580, checking_lift_mm=9.0)


def test_a_foot_that_falls_towards_the_nose_is_no_ramp() -> None:
    away = np.linspace(0.0, 40.0, 120)
    with pytest.raises(InputError, match="no ramp line fits the foot of this table"):
        _ramp_line(away, 0.5 - 0.01 * away)


# ---------------------------------------------------------------------------------------------- engine


def test_an_engines_curves_take_its_events_and_figures() -> None:
    engine = flat_four(lobes={"I": SPEC, "E": SPEC})
    # derived: exhaust 45 BBDC to 8 ATDC, intake 10 BTDC to 40 ABDC of the test engine.
    assert events_deg(engine, "E") == (135.0, 368.0)
    assert events_deg(engine, "I") == (350.0, 580.0)
    curve = lift_curve(engine, "E")
    assert (curve.opens_deg, curve.closes_deg) == (135.0, 368.0)
    assert curve.source == "timing figures"
    assert has_lobe(engine, "E")


def test_an_engines_table_is_preferred_to_its_figures() -> None:
    spec = LobeSpec(8.5, None, None, "cam.csv", tuple(wheel(FIGURES, 2.0, 0.01)))
    engine = flat_four(lobes={"I": spec})
    assert has_lobe(engine, "I")
    assert lift_curve(engine, "I").source == "degree-wheel table"
    assert table_fit(engine, "I").residual_sd_mm == pytest.approx(0.01, rel=0.2)


def test_an_engine_with_a_checking_lift_opens_earlier_at_the_base_circle() -> None:
    events = ValveEvents(10.0, 40.0, 45.0, 8.0, checking_lift_mm=0.125)
    engine = flat_four(events=events, lobes={"I": SPEC})
    # derived: 0.125 mm is half the ramp, 20 crank degrees.
    assert lift_curve(engine, "I").opens_deg == pytest.approx(330.0)


def test_without_a_lobe_the_message_names_the_keys_the_file_needs() -> None:
    with pytest.raises(InputError, match=r"\[lobe.exhaust\] with peak_lift_mm, ramp_mm, ramp_deg .* table ="):
        lift_curve(flat_four(), "E")
    engine = flat_four(lobes={"I": LobeSpec(peak_lift_mm=8.5)})
    assert not has_lobe(engine, "I")
    with pytest.raises(InputError, match=r"\[lobe.intake\] with ramp_mm, ramp_deg \(mm"):
        lift_curve(engine, "I")
    with pytest.raises(InputError, match=r"no intake lobe table; the engine file needs \[lobe.intake\]"):
        table_fit(engine, "I")
