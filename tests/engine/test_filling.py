"""The cycle model: balances, limits, settling, messages. Independent software: tests/outside/test_cycle_cantera.py."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldlash.engine.filling import (
    Conditions,
    Cycle,
    Opening,
    closed_run,
    run_cycle,
    vessel_run,
)
from coldlash.engine.gas import air, burnt_petrol, constant_k_gas
from coldlash.engine.lobe import lobe_from_figures
from coldlash.engine.slider_crank import Cylinder
from coldlash.engine.valve_flow import ValveSize, typical_valve
from coldlash.errors import ConvergenceError, InputError

CYLINDER = Cylinder(85.5, 69.0, 137.0, 7.0)
INTAKE = Opening(lobe_from_figures(350.0, 580.0, 8.5, 0.25, 12.0), 0.15, typical_valve("I", 85.5))
EXHAUST = Opening(lobe_from_figures(135.0, 368.0, 8.5, 0.25, 12.0), 0.15, typical_valve("E", 85.5))
LEAKY = {
    "fired": Conditions(rpm=3000.0),
    "cranked": Conditions(rpm=250.0, fired=False),
    "fired, leaking, losing heat": Conditions(rpm=2000.0, leak_mm2=1.0, wall_c=180.0),
    "throttled": Conditions(rpm=1500.0, intake_kpa=60.0),
}


@pytest.fixture(scope="module")
def fired() -> Cycle:
    return run_cycle(CYLINDER, INTAKE, EXHAUST, LEAKY["fired"])


@pytest.fixture(scope="module")
def cranked() -> Cycle:
    return run_cycle(CYLINDER, INTAKE, EXHAUST, LEAKY["cranked"])


@pytest.mark.parametrize("what", LEAKY)
@pytest.mark.parametrize("exhaust_gap", [0.15, -0.05])
def test_mass_and_energy_add_up_to_a_millionth(what: str, exhaust_gap: float) -> None:
    cycle = run_cycle(CYLINDER, INTAKE, replace(EXHAUST, gap_mm=exhaust_gap), LEAKY[what])
    assert cycle.mass_error < 1e-6
    assert cycle.energy_error < 1e-6


def test_the_work_is_the_area_of_the_pressure_volume_loop(fired: Cycle) -> None:
    # derived: W = closed integral of p dV, here by the trapezium rule on the reported series.
    volume = CYLINDER.volume_cm3(fired.deg)
    pressure = fired.pressure_kpa
    work = float(np.sum(0.5 * (pressure[1:] + pressure[:-1]) * np.diff(volume)))
    assert fired.imep_kpa == pytest.approx(work / CYLINDER.displacement_cm3, rel=1e-3)


def test_state_series_obey_the_gas_law(fired: Cycle) -> None:
    # derived: p V = m R T with the mixture's R.
    r = air().r + fired.old_share * (burnt_petrol().r - air().r)
    volume = CYLINDER.volume_cm3(fired.deg)
    assert fired.pressure_kpa * volume == pytest.approx(
        1e-6 * fired.mass_mg * r * fired.temperature_k * 1e3, rel=1e-9
    )


def test_with_both_valves_shut_a_tight_cylinder_keeps_its_mass(fired: Cycle) -> None:
    shut = (fired.deg > fired.trapped_deg) & (fired.deg < 720.0 + 135.0)
    assert np.ptp(fired.mass_mg[shut]) < 1e-9
    assert fired.kept == pytest.approx(1.0, abs=1e-12)


def test_the_heat_of_the_fresh_air_shows_in_the_closed_part() -> None:
    # derived: first law between intake closing and exhaust opening: U2 - U1 = Q - W, Q = 2.5 MJ per kg of fresh air.
    cycle = run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=3000.0))
    fresh, burnt = air(), burnt_petrol()
    i = int(np.argmin(np.abs(cycle.deg - cycle.trapped_deg)))
    j = int(np.searchsorted(cycle.deg, 855.0))
    energy = (
        1e-6
        * cycle.mass_mg
        * (
            fresh.u(cycle.temperature_k)
            + cycle.old_share * (burnt.u(cycle.temperature_k) - fresh.u(cycle.temperature_k))
        )
    )
    volume = CYLINDER.volume_cm3(cycle.deg) * 1e-6
    p = cycle.pressure_kpa * 1e3
    work = float(np.sum((0.5 * (p[1:] + p[:-1]) * np.diff(volume))[i:j]))
    heat = 2.5e6 * cycle.fresh_mg * 1e-6
    assert energy[j] - energy[i] + work == pytest.approx(heat, rel=1e-3)
    assert cycle.old_share[j] == pytest.approx(1.0, abs=1e-6)


def test_shut_valves_compress_and_expand_back_to_the_start() -> None:
    # derived: an adiabatic there-and-back is reversible.
    kpa, kelvin = closed_run(CYLINDER, air(), 540.0, 900.0, 100.0, 300.0)
    assert (kpa, kelvin) == pytest.approx((100.0, 300.0), rel=1e-7)


def test_slow_cranking_with_huge_valves_fills_the_cylinder_at_intake_conditions() -> None:
    # derived: quasi-steady limit: at intake closing the pressure is that outside.
    big = ValveSize(60.0, 55.0, 5.0, 2.0)
    cycle = run_cycle(
        CYLINDER,
        replace(INTAKE, size=big),
        replace(EXHAUST, size=big),
        Conditions(rpm=120.0, fired=False),
    )
    at = int(np.argmin(np.abs(cycle.deg - 540.0)))
    assert cycle.pressure_kpa[at] == pytest.approx(101.325, rel=2e-3)


def test_cranked_peak_is_the_adiabatic_compression_of_what_was_trapped(cranked: Cycle) -> None:
    # derived: closed_run is checked against the closed form in tests/outside.
    i = int(np.argmin(np.abs(cranked.deg - cranked.trapped_deg)))
    kpa, _ = closed_run(
        CYLINDER,
        air(),
        cranked.trapped_deg,
        720.0,
        float(cranked.pressure_kpa[i]),
        float(cranked.temperature_k[i]),
    )
    assert cranked.peak_kpa == pytest.approx(kpa, rel=1e-4)


def test_filling_falls_with_speed_and_leftover_gas_grows(fired: Cycle) -> None:
    fast = run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=4500.0))
    assert fast.volumetric_efficiency < fired.volumetric_efficiency - 0.05
    assert fast.residual_fraction > fired.residual_fraction
    assert 0.4 < fast.volumetric_efficiency < fired.volumetric_efficiency < 1.0


def test_what_is_taken_in_fresh_is_what_is_trapped_fresh_when_nothing_is_lost_again(fired: Cycle) -> None:
    # derived: fresh gas through the intake valve = fresh gas at intake closing, less what escapes in overlap.
    taken = fired.volumetric_efficiency * 101325.0 / (air().r * 293.15) * CYLINDER.displacement_cm3
    assert fired.fresh_mg == pytest.approx(taken, rel=2e-3)
    assert fired.trapped_mg == pytest.approx(fired.fresh_mg / (1 - fired.residual_fraction))


def test_a_leak_and_a_valve_held_open_cost_compression_in_the_order_of_their_areas(cranked: Cycle) -> None:
    small = run_cycle(CYLINDER, INTAKE, EXHAUST, replace(LEAKY["cranked"], leak_mm2=0.3))
    large = run_cycle(CYLINDER, INTAKE, EXHAUST, replace(LEAKY["cranked"], leak_mm2=1.0))
    assert cranked.peak_kpa > small.peak_kpa > large.peak_kpa
    assert 1.0 > small.kept > large.kept
    held = run_cycle(CYLINDER, INTAKE, replace(EXHAUST, gap_mm=-0.05), LEAKY["cranked"])
    # derived: 0.05 mm all round a 45 degree seat of 30 mm is 2 mm2 effective, more than either leak.
    assert held.peak_kpa < large.peak_kpa


def test_a_leak_of_the_held_open_valves_area_loses_about_as_much() -> None:
    held = replace(EXHAUST, gap_mm=-0.05)
    area = float(held.effective_area_mm2(np.array([720.0]))[0])
    by_valve = run_cycle(CYLINDER, INTAKE, held, LEAKY["cranked"])
    by_leak = run_cycle(CYLINDER, INTAKE, EXHAUST, replace(LEAKY["cranked"], leak_mm2=area))
    assert by_valve.peak_kpa == pytest.approx(by_leak.peak_kpa, rel=0.05)


def test_walls_take_heat_only_when_asked(cranked: Cycle) -> None:
    cooled = run_cycle(CYLINDER, INTAKE, EXHAUST, replace(LEAKY["cranked"], wall_c=60.0))
    assert cooled.peak_kpa < cranked.peak_kpa
    assert cooled.imep_kpa < cranked.imep_kpa


def test_throttling_fills_in_proportion_and_leaves_more_old_gas(fired: Cycle) -> None:
    throttled = run_cycle(CYLINDER, INTAKE, EXHAUST, replace(LEAKY["fired"], intake_kpa=50.0))
    assert throttled.fresh_mg < 0.55 * fired.fresh_mg
    assert throttled.residual_fraction > fired.residual_fraction


def test_halving_the_steps_and_the_rounding_off_hardly_moves_the_answers(
    fired: Cycle, cranked: Cycle
) -> None:
    for coarse, conditions in ((fired, LEAKY["fired"]), (cranked, LEAKY["cranked"])):
        fine = run_cycle(CYLINDER, INTAKE, EXHAUST, conditions, tolerance=1e-6, step_deg=0.5, even=1e-3)
        assert coarse.volumetric_efficiency == pytest.approx(fine.volumetric_efficiency, abs=2e-4)
        assert coarse.residual_fraction == pytest.approx(fine.residual_fraction, abs=2e-4)
        assert coarse.peak_kpa == pytest.approx(fine.peak_kpa, rel=1e-3)


def test_a_cycle_of_constant_k_gas_runs_too_and_names_its_inputs() -> None:
    gas = constant_k_gas(1.4)
    cycle = run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=1500.0, fired=False), fresh=gas)
    assert cycle.energy_error < 1e-6
    assert cycle.inputs["exhaust_gap_mm"] == 0.15
    assert cycle.inputs["fired"] == "no"


def test_a_vessel_ends_at_the_pressure_outside() -> None:
    kpa, _ = vessel_run(air(), 1000.0, 50.0, 300.0, 300.0, 101.325, 5.0, steps=20000)
    assert kpa == pytest.approx(101.325, rel=1e-6)


def test_conditions_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="5 rpm is no crank speed for this model"):
        Conditions(rpm=5)
    with pytest.raises(InputError, match="a pressure is not above 0"):
        Conditions(rpm=1000, exhaust_kpa=0)
    with pytest.raises(InputError, match="intake air of 293 C can't be"):
        Conditions(rpm=1000, intake_c=293)
    with pytest.raises(InputError, match="leak area and heat must be 0 or more"):
        Conditions(rpm=1000, leak_mm2=-1)
    with pytest.raises(InputError, match="burning from -15 for 200 degrees leaves the closed part"):
        Conditions(rpm=1000, burn_deg=200)
    with pytest.raises(InputError, match="from 720 to 540 degrees is no turn forward"):
        closed_run(CYLINDER, air(), 720.0, 540.0, 100.0, 300.0)
    with pytest.raises(InputError, match="a vessel needs volume, area, pressures"):
        vessel_run(air(), 1000.0, 0.0, 300.0, 300.0, 101.325, 1.0)
    with pytest.raises(InputError, match=r"at 20 rpm this cycle needs \d+ steps; turn faster"):
        run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=20.0, fired=False, leak_mm2=500.0), even=1e-6)


def test_a_cycle_that_does_not_settle_or_leaves_the_tables_is_an_error() -> None:
    with pytest.raises(ConvergenceError, match="the cycle did not settle in 60 repetitions"):
        run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=4000.0, fired=False), tolerance=0.0, step_deg=4.0)
    with pytest.raises(ConvergenceError, match=r"the gas left the tables at \d+ K"):
        run_cycle(CYLINDER, INTAKE, EXHAUST, Conditions(rpm=3000.0, heat_mj_per_kg=20.0))
    with pytest.raises(ConvergenceError, match=r"the gas left the tables at \d+ K"):
        closed_run(Cylinder(85.5, 69.0, 137.0, 2000.0), constant_k_gas(1.6), 540.0, 720.0, 100.0, 300.0)
