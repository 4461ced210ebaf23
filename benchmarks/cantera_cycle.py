"""The same motored cycle in Cantera (a development tool here): a reactor, four flow controllers, a moving wall.

Reservoirs of constant state stand for the ports, so compare with ``Conditions(port_share=1e10)`` and a gas of the
same nitrogen and oxygen (``GAS``). Used by the benchmark and by tests/outside/test_cycle_cantera.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cantera as ct
import numpy as np
from numpy.typing import NDArray

from coldlash.engine.filling import Conditions, Opening
from coldlash.engine.gas import Gas, mixture
from coldlash.engine.slider_crank import Cylinder

COMPOSITION = "N2:0.79,O2:0.21"
GAS: Gas = mixture("N2 and O2", {"N2": 0.79, "O2": 0.21})
EXHAUST_K = 330.0
"""What stands in the exhaust port: the temperature our model starts its own at when nothing burns."""


@dataclass(frozen=True)
class CanteraCycle:
    """The last cycle at every whole degree from 361 to 1080: kPa absolute, K, mg."""

    deg: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    temperature_k: NDArray[np.float64]
    mass_mg: NDArray[np.float64]


def cantera_cycle(
    cylinder: Cylinder,
    intake: Opening,
    exhaust: Opening,
    conditions: Conditions,
    cycles: int = 8,
    tolerance: float = 1e-8,
    step_deg: float = 0.5,
) -> CanteraCycle:
    """Turn the cylinder over ``cycles`` times without burning; ``step_deg`` bounds the integrator's steps."""
    per_s = 6.0 * conditions.rpm
    fine = np.linspace(360.0, 1080.0, 7201)
    areas = [(valve.effective_area_mm2(fine) * 1e-6).tolist() for valve in (intake, exhaust)]
    gas = ct.Solution("airNASA9.yaml")

    def reservoir(kelvin: float, kpa: float) -> ct.Reservoir:
        gas.TPX = kelvin, kpa * 1e3, COMPOSITION
        return ct.Reservoir(gas, clone=True)

    t_in = conditions.intake_c + 273.15
    inlet, back = reservoir(t_in, conditions.intake_kpa), reservoir(t_in, conditions.intake_kpa)
    outlet = reservoir(EXHAUST_K, conditions.exhaust_kpa)
    gas.TPX = EXHAUST_K, conditions.exhaust_kpa * 1e3, COMPOSITION
    inside = ct.IdealGasReactor(gas, clone=True)
    inside.volume = cylinder.clearance_cm3 * 1e-6
    inside.chemistry_enabled = False

    def area(which: int, seconds: float) -> float:
        at = (seconds * per_s % 720.0) * 10.0
        i = int(at)
        table = areas[which]
        return table[i] + (at - i) * (table[min(i + 1, 7200)] - table[i])

    def nozzle(area_m2: float, up: float, kelvin: float, down: float, k: float) -> float:
        if down >= up or area_m2 <= 0.0:
            return 0.0
        x = max(down / up, (2 / (k + 1)) ** (k / (k - 1)))
        stream = max(0.0, 2 * k / (k - 1) * (x ** (2 / k) - x ** ((k + 1) / k)))
        return area_m2 * up / math.sqrt(GAS.r * kelvin) * math.sqrt(stream)

    def flow_in(which: int, kpa: float, kelvin: float) -> Callable[[float], float]:
        k, up = float(GAS.k(kelvin)), kpa * 1e3
        return lambda t: nozzle(area(which, t), up, kelvin, inside.phase.P, k)

    def flow_out(which: int, kpa: float) -> Callable[[float], float]:
        def flow(t: float) -> float:
            now = inside.phase
            return nozzle(area(which, t), now.P, now.T, kpa * 1e3, now.cp_mass / now.cv_mass)

        return flow

    controllers = []
    for up, down, flow in (
        (inlet, inside, flow_in(0, conditions.intake_kpa, t_in)),
        (inside, back, flow_out(0, conditions.intake_kpa)),
        (inside, outlet, flow_out(1, conditions.exhaust_kpa)),
        (outlet, inside, flow_in(1, conditions.exhaust_kpa, EXHAUST_K)),
    ):
        controller = ct.MassFlowController(up, down)
        controller.mass_flow_rate = flow
        controllers.append(controller)

    a, rod = cylinder.stroke_mm / 2e3, cylinder.rod_mm / 1e3

    def piston_speed(t: float) -> float:
        s, c = math.sin(math.radians(t * per_s)), math.cos(math.radians(t * per_s))
        return (a * s + a * a * s * c / math.sqrt(rod * rod - a * a * s * s)) * math.radians(per_s)

    piston = ct.Wall(inside, back, A=cylinder.piston_area_mm2 * 1e-6, velocity=piston_speed)
    net = ct.ReactorNet([inside])
    net.rtol, net.atol, net.max_time_step = tolerance, 1e-14, step_deg / per_s
    net.max_steps = 1_000_000
    if cycles > 1:
        net.advance(720.0 * (cycles - 1) / per_s)
    rows = []
    for deg in range(1, 721):
        net.advance((720.0 * (cycles - 1) + deg) / per_s)
        rows.append((360.0 + deg, inside.phase.P / 1e3, inside.phase.T, inside.mass * 1e6))
    del controllers, piston  # kept alive up to here: Cantera holds no reference of its own
    return CanteraCycle(*np.array(rows).T)
