"""The filling-and-emptying model against the same motored cycle in Cantera, an independent solver."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.cantera_cycle import GAS, CanteraCycle, cantera_cycle

from coldlash.engine.filling import Conditions, Cycle, Opening, run_cycle
from coldlash.engine.lobe import lobe_from_figures
from coldlash.engine.slider_crank import Cylinder
from coldlash.engine.valve_flow import typical_valve

CYLINDER = Cylinder(85.5, 69.0, 137.0, 7.0)
INTAKE = lobe_from_figures(350.0, 580.0, 8.5, 0.25, 12.0)
EXHAUST = lobe_from_figures(135.0, 368.0, 8.5, 0.25, 12.0)


def both(rpm: float, exhaust_gap: float, even: float, step_deg: float) -> tuple[Cycle, CanteraCycle]:
    intake = Opening(INTAKE, 0.15, typical_valve("I", 85.5))
    exhaust = Opening(EXHAUST, exhaust_gap, typical_valve("E", 85.5))
    conditions = Conditions(rpm=rpm, fired=False, port_share=1e10)
    ours = run_cycle(
        CYLINDER, intake, exhaust, conditions, 1e-6, fresh=GAS, burnt=GAS, step_deg=step_deg, even=even
    )
    return ours, cantera_cycle(CYLINDER, intake, exhaust, conditions, cycles=14)


def worst(ours: Cycle, theirs: CanteraCycle) -> tuple[float, float, float]:
    return tuple(  # type: ignore[return-value]
        float(np.abs(np.interp(theirs.deg, ours.deg, mine) / other - 1).max())
        for mine, other in (
            (ours.pressure_kpa, theirs.pressure_kpa),
            (ours.temperature_k, theirs.temperature_k),
            (ours.mass_mg, theirs.mass_mg),
        )
    )


@pytest.mark.parametrize("rpm", [1500.0, 4000.0])
@pytest.mark.parametrize("exhaust_gap", [0.15, 0.40, -0.05])
def test_pressure_temperature_and_mass_follow_cantera_at_every_degree(rpm: float, exhaust_gap: float) -> None:
    ours, theirs = both(rpm, exhaust_gap, even=1e-4, step_deg=0.5)
    # independent software: Cantera 3.2 (CVODES, NASA9 nitrogen and oxygen), same areas, same nozzle formula.
    assert max(worst(ours, theirs)) < 2e-4


def test_the_default_steps_and_rounding_off_cost_less_than_a_thousandth() -> None:
    ours, theirs = both(3000.0, 0.15, even=2e-3, step_deg=1.0)
    assert max(worst(ours, theirs)) < 1e-3
