"""Cooling: time constants and waits with known answers, and the excess that uneven cooling allows."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from tests.engines import flat_four

from coldlash.bench.cooldown import (
    Reading,
    allowed_excess_k,
    cooling,
    gap_sd,
    is_ready,
    target_excess_k,
)
from coldlash.engine.catalogue import generic_text
from coldlash.engine.heat import KINDS, gap_change, zones_of
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import StackPart
from coldlash.errors import ConvergenceError, InputError

FLAT = read_engine(generic_text("flat-four"), "flat-four")
TWO = [Reading(0, 92), Reading(45, 61)]


def curve(air: float, start: float, tau: float, minutes: list[float]) -> list[Reading]:
    return [Reading(t, air + start * math.exp(-t / tau)) for t in minutes]


# ---------------------------------------------------------------------------------- time constant, wait


def test_two_readings_are_met_exactly() -> None:
    # derived: tau = 45 / ln(74 / 43), wait = tau ln(43 / 5)
    found = cooling(18, TWO, within_k=5)
    assert found.tau_min == pytest.approx(45 / math.log(74 / 43), rel=1e-12)
    assert found.wait_min == pytest.approx(45 / math.log(74 / 43) * math.log(43 / 5), rel=1e-12)
    assert found.target_c == 23
    for minute, temp in TWO:
        assert found.temp_c_at(minute) == pytest.approx(temp, abs=1e-9)
    assert found.temp_c_at(45 + found.wait_min) == pytest.approx(23)


@pytest.mark.parametrize(
    "minutes", [[0.0, 30.0], [0.0, 10.0, 20.0], [5.0, 60.0, 61.0, 200.0], [-30.0, 0.0, 300.0]]
)
@pytest.mark.parametrize("tau", [20.0, 90.0, 400.0])
def test_readings_on_a_curve_give_its_time_constant(minutes: list[float], tau: float) -> None:
    found = cooling(-5, curve(-5, 80, tau, minutes), within_k=1e-4)
    assert found.tau_min == pytest.approx(tau, rel=1e-8)
    # never negative: an engine long cold need not wait
    left = max(0.0, tau * math.log(80 / 1e-4) - minutes[-1])
    assert found.wait_min == pytest.approx(left, rel=1e-8, abs=1e-6)


def test_more_readings_are_fitted_by_least_squares() -> None:
    # independent software: SciPy's curve_fit on the same readings, with the same 1 K thermometer
    rng = np.random.default_rng(1)
    minutes = np.array([0.0, 12.0, 25.0, 40.0, 70.0, 110.0])
    temps = 18 + 75 * np.exp(-minutes / 85) + rng.normal(0, 1, 6)
    found = cooling(18, [Reading(*pair) for pair in zip(minutes, temps, strict=True)], within_k=5)
    (height, tau), spread = curve_fit(
        lambda t, h, u: h * np.exp(-(t - 110) / u),
        minutes,
        temps - 18,
        p0=(20, 80),
        sigma=np.ones(6),
        absolute_sigma=True,
    )
    assert found.tau_min == pytest.approx(tau, rel=1e-5)
    assert found.tau_sd_min == pytest.approx(math.sqrt(spread[1, 1]), rel=1e-4)
    assert found.wait_min == pytest.approx(tau * math.log(height / 5), rel=1e-5)


@pytest.mark.parametrize("minutes", [[0.0, 45.0], [0.0, 20.0, 45.0, 80.0]])
def test_the_uncertainty_is_that_of_repeated_readings(minutes: list[float]) -> None:
    # simulated: the same engine read 3000 times with a 0.5 K thermometer
    rng = np.random.default_rng(6)
    exact = curve(18, 74, 83, minutes)
    sure = cooling(18, exact, within_k=5, reading_sd_k=0.5)
    taus, waits = [], []
    for _ in range(3000):
        noisy = [Reading(t, temp + float(rng.normal(0, 0.5))) for t, temp in exact]
        found = cooling(18, noisy, within_k=5)
        taus.append(found.tau_min)
        waits.append(found.wait_min)
    assert sure.tau_sd_min == pytest.approx(np.std(taus), rel=0.06)
    assert sure.wait_sd_min == pytest.approx(np.std(waits), rel=0.06)


def test_the_order_of_readings_does_not_matter() -> None:
    assert cooling(18, TWO[::-1], within_k=5) == cooling(18, TWO, within_k=5)


def test_the_countdown_runs_down_to_nothing() -> None:
    found = cooling(18, TWO, within_k=5)
    assert found.remaining_min(45) == pytest.approx(found.wait_min)
    assert found.remaining_min(145) == pytest.approx(found.wait_min - 100)
    assert found.remaining_min(1000) == 0


def test_an_engine_already_close_to_the_air_need_not_wait() -> None:
    found = cooling(18, [Reading(0, 30), Reading(60, 21)], within_k=5)
    assert found.wait_min == 0
    assert found.wait_sd_min == 0


def test_a_last_reading_still_too_warm_is_never_called_ready_by_the_fit() -> None:
    # derived: the fit passes below the last reading, 6 K over the air, and would say 5 K is reached
    readings = [Reading(0, 98), Reading(60, 38), Reading(120, 21), Reading(150, 24 - 1e-9)]
    readings[2] = Reading(120, 22.5)
    found = cooling(18, readings, within_k=5)
    assert found.wait_min > 0
    assert found.wait_min == pytest.approx(found.tau_min * math.log(6 / 5), rel=1e-6)


# -------------------------------------------------------------------------------------- cold enough


def test_half_a_hundredth_of_uneven_cooling_sets_the_limit_at_about_five_kelvin() -> None:
    # check value (common practice in job-and-trade): about 5 K above the air for 0.01 mm
    assert 4 < allowed_excess_k(FLAT) < 7
    assert max(gap_sd(FLAT, allowed_excess_k(FLAT)).values()) == pytest.approx(0.01, rel=1e-12)
    assert allowed_excess_k(FLAT, 0.02) == pytest.approx(2 * allowed_excess_k(FLAT))


@pytest.mark.parametrize("excess", [{}, {"head": 45.0, "pushrod": 25.0}], ids=["even", "uneven"])
def test_the_gaps_spread_is_that_of_zones_varying_on_their_own(excess: dict[str, float]) -> None:
    # independent: Monte Carlo, each zone's excess 20 % off on its own, 4000 draws (sd good to 1.1 %)
    rng = np.random.default_rng(9)
    measured = dict.fromkeys(zones_of(FLAT), 10.0) | excess
    drawn = {kind: [] for kind in KINDS}
    for _ in range(4000):
        zones = {zone: 20 + k * (1 + 0.2 * float(rng.normal())) for zone, k in measured.items()}
        for kind, change in gap_change(FLAT, zones).items():
            drawn[kind].append(change)
    found = gap_sd(FLAT, measured)
    for kind in KINDS:
        assert found[kind] == pytest.approx(np.std(drawn[kind]), rel=0.04)


def test_the_target_never_lies_above_what_the_engine_allows() -> None:
    allowed = allowed_excess_k(FLAT)
    assert target_excess_k(FLAT) == allowed
    assert target_excess_k(FLAT, within_k=40) == allowed
    assert target_excess_k(FLAT, within_k=2) == 2
    assert target_excess_k(FLAT, size_mm=0.005) == pytest.approx(allowed / 2)
    found = cooling(18, TWO, within_k=40, engine=FLAT)
    assert found.target_k == allowed
    assert found.wait_min == pytest.approx(found.tau_min * math.log(43 / allowed))


def test_without_a_stack_five_kelvin_is_asked() -> None:
    assert target_excess_k() == target_excess_k(flat_four()) == 5
    assert target_excess_k(flat_four(), within_k=8) == 8
    assert cooling(18, TWO).wait_min == cooling(18, TWO, within_k=5).wait_min


def test_an_engine_heat_does_not_move_is_asked_for_five_kelvin_all_the_same() -> None:
    still = replace(FLAT, stack=(StackPart("pushrod", 230, "rod", ("pushrod",), expansion_per_k=0.0),))
    assert allowed_excess_k(still) == math.inf
    assert target_excess_k(still) == 5


def test_ready_means_close_to_the_air_on_either_side() -> None:
    assert is_ready(18, 22, FLAT)
    assert is_ready(18, 14, FLAT)  # brought into a warm garage: as uneven the other way
    assert not is_ready(18, 26, FLAT)
    assert not is_ready(18, 10, FLAT)
    assert not is_ready(18, 26, FLAT, within_k=40)
    assert is_ready(18, 26, within_k=8)


# ---------------------------------------------------------------------------------------------- errors


@pytest.mark.parametrize("readings", [[], [Reading(0, 92)]])
def test_fewer_than_two_readings_are_refused(readings: list[Reading]) -> None:
    with pytest.raises(InputError, match=r"two or more are needed.*0:92 and 45:61"):
        cooling(18, readings)


@pytest.mark.parametrize("temp", [18.0, 12.0])
def test_a_reading_not_above_the_air_is_refused(temp: float) -> None:
    with pytest.raises(InputError, match="at minute 45 is not above the air at 18 C"):
        cooling(18, [Reading(0, 92), Reading(45, temp)])


def test_an_engine_that_gets_warmer_is_refused() -> None:
    with pytest.raises(InputError, match=r"got warmer, from 61 C at minute 0 to 92 C at minute 45"):
        cooling(18, [Reading(0, 61), Reading(45, 92)])
    with pytest.raises(InputError, match="got warmer, from 80 C at minute 10 to 83 C"):
        cooling(18, [Reading(0, 92), Reading(10, 80), Reading(20, 83), Reading(60, 50)])


def test_a_thermometers_jitter_among_more_readings_is_borne() -> None:
    found = cooling(18, [Reading(0, 92), Reading(5, 86), Reading(8, 87), Reading(45, 61)], within_k=5)
    assert found.tau_min == pytest.approx(83, abs=5)


def test_readings_that_do_not_fall_are_refused() -> None:
    with pytest.raises(InputError, match="the readings don't fall: 60 C at minute 0, 60 C at minute 30"):
        cooling(18, [Reading(0, 60), Reading(30, 60)])


def test_two_readings_of_one_minute_are_refused() -> None:
    with pytest.raises(InputError, match="two readings at minute 5"):
        cooling(18, [Reading(5, 60), Reading(5, 50)])
    with pytest.raises(InputError, match="two readings at minute 5"):
        cooling(18, [Reading(5, 60), Reading(5 + 1e-9, 50)])


@pytest.mark.parametrize("air", [-41, 61, math.nan, math.inf])
def test_air_no_garage_has_is_refused(air: float) -> None:
    with pytest.raises(InputError, match="from -40 to 60 C"):
        cooling(air, TWO)
    with pytest.raises(InputError, match="from -40 to 60 C"):
        is_ready(air, 20)


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(InputError, match="reading at minute nan"):
        cooling(18, [Reading(0, 92), Reading(math.nan, 61)])
    with pytest.raises(
        InputError, match=r"reading at minute 1e\+09: give minutes on one clock, like 45, up to 100000"
    ):
        cooling(18, [Reading(0, 92), Reading(1e9, 61)])
    with pytest.raises(InputError, match="reading of nan C at minute 45"):
        cooling(18, [Reading(0, 92), Reading(45, math.nan)])
    with pytest.raises(InputError, match="reading of 500 C at minute 0: give degrees Celsius, up to 400"):
        cooling(18, [Reading(0, 500), Reading(45, 61)])
    with pytest.raises(InputError, match="spread of a temperature reading -1 K"):
        cooling(18, TWO, reading_sd_k=-1)


@pytest.mark.parametrize("value", [0.0, -5.0, math.nan])
def test_a_goal_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(InputError, match="it must be more than 0, in kelvins above the air"):
        cooling(18, TWO, within_k=value)
    with pytest.raises(InputError, match="how certain the gap must be is more than 0"):
        cooling(18, TWO, engine=FLAT, size_mm=value)


def test_an_excess_must_be_known_for_every_zone() -> None:
    with pytest.raises(
        InputError, match="zones crankcase, cylinder, exhaust_valve, intake_valve, lifter don't match"
    ):
        gap_sd(FLAT, {"head": 45.0, "pushrod": 25.0})
    with pytest.raises(InputError, match="excess over the air of zone crankcase: nan K"):
        gap_sd(FLAT, math.nan)
    with pytest.raises(InputError, match=r"no \[\[stack\]\]"):
        allowed_excess_k(flat_four())


def test_readings_off_any_cooling_curve_are_an_error_not_an_answer() -> None:
    readings = [Reading(0, 119), Reading(5, 114), Reading(10, 116), Reading(20, 118)]
    with pytest.raises(ConvergenceError, match="don't follow a cooling curve closely enough"):
        cooling(18, readings)
