"""Flow areas, nozzle flow, time-area and the inlet Mach index."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coldlash.engine.lobe import lobe_from_figures
from coldlash.engine.slider_crank import Cylinder
from coldlash.engine.valve_flow import (
    ValveSize,
    critical_ratio,
    flow_area_mm2,
    inlet_mach_index,
    nozzle_flow,
    stage_borders_mm,
    time_area,
    typical_valve,
)
from coldlash.errors import InputError

CURVE = lobe_from_figures(350.0, 580.0, 8.5, 0.25, 20.0)
SIZES = [
    ValveSize(38.0, 33.0, 8.0, 1.7, 45.0),
    ValveSize(38.0, 33.0, 8.0, 1.7, 30.0),
    ValveSize(32.0, 28.0, 9.0, 2.0, 45.0),
]


@pytest.mark.parametrize("size", SIZES)
def test_the_area_is_continuous_where_the_stages_meet_and_never_falls(size: ValveSize) -> None:
    # derived: Heywood ch. 6 (M) gives three formulas; they must agree at their borders.
    for border in stage_borders_mm(size):
        below, above = flow_area_mm2([border - 1e-9, border + 1e-9], size)
        assert above == pytest.approx(below, abs=1e-5)
    lift = np.linspace(0.0, 15.0, 3001)
    assert (np.diff(flow_area_mm2(lift, size)) >= -1e-12).all()


@pytest.mark.parametrize("size", SIZES)
def test_a_wide_open_valve_is_limited_by_its_port_from_the_border_on(size: ValveSize) -> None:
    border = stage_borders_mm(size)[1]
    # derived: pi/4 (Dp^2 - Ds^2).
    port = math.pi / 4 * (size.port_mm**2 - size.stem_mm**2)
    assert flow_area_mm2([border * 1.01, 50.0], size) == pytest.approx([port, port])
    assert float(flow_area_mm2(border * 0.98, size)) < port


def test_a_barely_lifted_valve_is_a_cone_of_its_inner_seat_diameter() -> None:
    # derived: limit of small lift, pi L cos b (D - 2w).
    size = SIZES[0]
    thin = math.pi * 1e-4 * math.cos(math.radians(45)) * (38.0 - 3.4)
    assert float(flow_area_mm2(1e-4, size)) == pytest.approx(thin, rel=1e-4)
    assert flow_area_mm2([-1.0, 0.0], size).tolist() == [0.0, 0.0]


def test_the_second_stage_is_the_cone_between_seat_and_valve() -> None:
    # derived: slant height of a frustum of mean diameter D - w, at 4 mm lift and 45 degrees.
    slant = math.hypot(4.0 - 1.7, 1.7)
    assert float(flow_area_mm2(4.0, SIZES[0])) == pytest.approx(math.pi * (38.0 - 1.7) * slant)


def test_choked_flow_of_air_is_the_textbook_number() -> None:
    # published, from memory (M): m sqrt(T0) / (A p0) = 0.0404 for air, choked (gas dynamics textbooks).
    flow = float(nozzle_flow(100.0, 500e3, 300.0, 100e3, 1.4, 287.0))
    assert flow * math.sqrt(300.0) / (100e-6 * 500e3) == pytest.approx(0.0404, abs=5e-5)
    assert critical_ratio(1.4) == pytest.approx(0.5283, abs=5e-5)  # the same tables


def test_flow_is_bernoullis_for_a_small_difference_and_none_backwards() -> None:
    # derived: limit of small pressure difference, A sqrt(2 rho dp).
    density = 100e3 / (287.0 * 300.0)
    flow = float(nozzle_flow(100.0, 100e3, 300.0, 99.99e3, 1.4, 287.0))
    assert flow == pytest.approx(100e-6 * math.sqrt(2 * density * 10.0), rel=1e-3)
    assert float(nozzle_flow(100.0, 100e3, 300.0, 101e3, 1.4, 287.0)) == 0.0


def test_flow_no_longer_grows_below_the_critical_pressure() -> None:
    down = critical_ratio(1.3) * 200e3 * np.array([1.0, 0.9, 0.1])
    flow = nozzle_flow(100.0, 200e3, 900.0, down, 1.3, 290.0)
    assert flow == pytest.approx(np.full(3, flow[0]))


def test_time_area_halves_when_the_speed_doubles_and_shrinks_with_the_gap() -> None:
    size = typical_valve("I", 85.5)
    close = time_area(CURVE, 0.05, size, [1500, 3000])
    loose = time_area(CURVE, 0.40, size, [1500, 3000])
    assert close.time_area_mm2_s[0] == pytest.approx(2 * close.time_area_mm2_s[1])
    assert (loose.time_area_mm2_s < close.time_area_mm2_s).all()
    assert loose.open_deg < close.open_deg


def test_time_area_is_the_integral_of_the_area_over_time() -> None:
    from scipy.integrate import quad  # independent software

    size = typical_valve("I", 85.5)
    offer = time_area(CURVE, 0.15, size, 3000)
    integral = quad(lambda d: float(flow_area_mm2(CURVE.lift(d, 0.15), size)), 374, 556, limit=200)[0]
    assert float(offer.time_area_mm2_s) == pytest.approx(integral / 18000.0, rel=1e-4)
    assert offer.mean_area_mm2 == pytest.approx(integral / 182.0, rel=1e-4)


def test_a_valve_held_open_offers_the_whole_cycle() -> None:
    offer = time_area(CURVE, -0.05, typical_valve("I", 85.5), 3000)
    assert offer.open_deg == 720.0


def test_mach_index_is_mean_velocity_at_the_valve_over_the_speed_of_sound() -> None:
    cylinder, size = Cylinder(85.5, 69.0, 137.0, 7.0), typical_valve("I", 85.5)
    offer = time_area(CURVE, 0.15, size, [1000.0, 3000.0])
    index, mean = inlet_mach_index(cylinder, offer, size, 20.0)
    # published, from memory (M): sound in air at 20 C is 343.2 m/s.
    velocity = cylinder.piston_area_mm2 * 6.9 / (size.discharge * offer.mean_area_mm2)
    assert index[1] == pytest.approx(velocity / 343.2, rel=1e-3)
    # derived: Z uses the mean piston speed, half a turn a stroke; the other the time the valve is open (182 deg).
    assert mean / index == pytest.approx(np.full(2, 180.0 / 182.0), rel=1e-9)


def test_typical_sizes_say_that_they_are() -> None:
    assert typical_valve("E", 80.0).typical
    assert typical_valve("E", 80.0).head_mm < typical_valve("I", 80.0).head_mm
    assert not SIZES[0].typical


def test_impossible_valves_and_flows_are_refused() -> None:
    with pytest.raises(InputError, match="make no valve; stem < port < head"):
        ValveSize(30.0, 33.0, 8.0, 1.7)
    with pytest.raises(InputError, match=r"or discharge coefficient 1.5 can't be"):
        ValveSize(38.0, 33.0, 8.0, 1.7, discharge=1.5)
    with pytest.raises(InputError, match="a bore of 0 mm can't be"):
        typical_valve("I", 0)
    with pytest.raises(InputError, match="k 1 and R 287 make no gas"):
        nozzle_flow(1, 1e5, 300, 9e4, 1.0, 287)
    with pytest.raises(InputError, match="a crank speed is not above 0"):
        time_area(CURVE, 0.15, SIZES[0], [1000, 0])
    with pytest.raises(InputError, match="with a gap of 9 mm this valve never opens"):
        time_area(CURVE, 9.0, SIZES[0], 1000)
    offer = time_area(CURVE, 0.15, SIZES[0], 1000)
    with pytest.raises(InputError, match="-100 C is no air temperature"):
        inlet_mach_index(Cylinder(85.5, 69.0, 137.0, 7.0), offer, SIZES[0], -100)
