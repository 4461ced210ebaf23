"""What a gap costs in breathing, as the pages and the terminal ask for it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.engines import flat_four

from coldlash.engine.breathing import (
    WHY,
    GapCost,
    cycle,
    flow_offer,
    inlet_mach,
    trapped,
    valve_sizes,
    what_it_costs,
)
from coldlash.engine.filling import Conditions
from coldlash.engine.spec import Engine, Geometry, LobeSpec, Valve, ValveEvents
from coldlash.engine.valve_flow import ValveSize
from coldlash.errors import InputError

LOBE = LobeSpec(peak_lift_mm=8.5, ramp_mm=0.25, ramp_deg=12.0)
GEOMETRY = Geometry(85.5, 69.0, 137.0, 7.0)
E3 = Valve("E", 3)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return flat_four(lobes={"I": LOBE, "E": LOBE}, geometry=GEOMETRY)


@pytest.fixture(scope="module")
def loose(engine: Engine) -> GapCost:
    return what_it_costs(engine, E3, 0.40)


@pytest.fixture(scope="module")
def held(engine: Engine) -> GapCost:
    return what_it_costs(engine, E3, -0.05)


def test_trapped_volume_without_a_lobe_takes_the_stated_closing() -> None:
    engine = flat_four(geometry=GEOMETRY, events=ValveEvents(10.0, 37.0, 45.0, 8.0))
    result = trapped(engine)
    # derived: exact arithmetic on the slider-crank equation (Heywood ch. 2, V2): 431.387 cm3, 6.5335.
    assert result.volume_cm3 == pytest.approx(431.387, abs=5e-4)
    assert result.effective_compression_ratio == pytest.approx(6.5335, abs=5e-5)
    assert not result.from_lobe


def test_a_looser_intake_closes_earlier_and_traps_more_at_low_speed(engine: Engine) -> None:
    none, little, much = (trapped(engine, gap) for gap in (0.0, 0.15, 0.40))
    # derived: at no gap the intake closes at its event, 540 + 40; each 0.01 mm on the ramp is 0.96 degrees.
    assert none.closes_deg == pytest.approx(580.0)
    assert little.closes_deg == pytest.approx(580.0 - 0.15 / 0.25 * 24.0)
    assert none.volume_cm3 < little.volume_cm3 < much.volume_cm3
    assert trapped(engine) == little


def test_a_loose_exhaust_takes_in_less_air_and_keeps_more_burnt_gas(loose: GapCost) -> None:
    assert -0.15 < loose.filling_change < -0.01
    assert loose.work_change < 0
    assert loose.residual_change > 0
    assert loose.cranking_share == pytest.approx(1.0, abs=0.02)
    said = " ".join(loose.sentences())
    assert "E3 at 0.40 mm instead of 0.15 mm: at 3000 rpm" in said
    assert "% less air" in said
    assert "how hard the valve lands is under timing" in said


def test_a_valve_held_open_loses_much_of_its_cranking_compression(held: GapCost) -> None:
    assert 0.3 < held.cranking_share < 0.8
    assert held.cranking_now.kept < 0.85 < held.cranking_set.kept
    said = " ".join(held.sentences())
    assert "E3 at \N{MINUS SIGN}0.05 mm: the valve is held open and never seats" in said
    assert "Don't run it like this." in said
    assert "it cools through its seat" in said


def test_a_gap_that_closes_when_warm_is_said_to_be_held_open_warm(engine: Engine) -> None:
    cost = what_it_costs(engine, E3, 0.05, hot_change_mm={"E": -0.08})
    assert cost.running_gap_mm == pytest.approx(-0.03)
    assert cost.running_now.kept < 1.0
    assert cost.running_set.kept == pytest.approx(1.0)
    said = " ".join(cost.sentences())
    assert "cold becomes \N{MINUS SIGN}0.03 mm warm: the valve would be held open while running" in said
    assert any("heat model" in note for note in cost.assumptions)


def test_the_set_gap_costs_nothing(engine: Engine) -> None:
    cost = what_it_costs(engine, E3, 0.15)
    assert (cost.filling_change, cost.work_change, cost.residual_change) == (0.0, 0.0, 0.0)
    assert cost.cranking_share == 1.0
    assert "takes in as much air and as much burnt gas stays behind" in cost.sentences()[0]


def test_what_the_answer_leans_on_is_said(loose: GapCost) -> None:
    assert any("typical for this bore" in note for note in loose.assumptions)
    assert set(WHY) == {"volumetric_efficiency", "residual_fraction", "cranking_share", "kept"}
    for why in WHY.values():
        assert all(len(line) > 12 for line in why.lines())


def test_own_valve_sizes_are_used_and_not_called_typical(engine: Engine) -> None:
    own = {"I": ValveSize(35.5, 31.0, 8.0, 1.6), "E": ValveSize(32.0, 28.0, 8.0, 1.6)}
    assert valve_sizes(engine, own) == own
    cost = what_it_costs(engine, E3, 0.40, sizes=own)
    assert not any("typical" in note for note in cost.assumptions)
    only_intake = valve_sizes(engine, {"I": own["I"]})
    assert only_intake["E"].typical
    assert not only_intake["I"].typical


def test_gaps_left_out_are_the_set_gaps(engine: Engine) -> None:
    conditions = Conditions(rpm=3000.0)
    assert cycle(engine, {}, conditions).volumetric_efficiency == pytest.approx(
        cycle(engine, {"I": 0.15, "E": 0.15}, conditions).volumetric_efficiency, abs=1e-12
    )


def test_time_area_and_mach_index_come_from_the_engine(engine: Engine) -> None:
    offer = flow_offer(engine, "I", 0.15, [1000.0, 3000.0])
    assert offer.time_area_mm2_s[0] == pytest.approx(3 * offer.time_area_mm2_s[1])
    index, mean = inlet_mach(engine, 0.15, [1000.0, 3000.0])
    assert index[1] == pytest.approx(3 * index[0])
    assert (mean > 0).all()
    # A looser valve has less time-area for the same swept volume.
    assert inlet_mach(engine, 0.40, 3000.0)[1] > mean[1]


def test_what_the_engine_file_lacks_is_named(engine: Engine) -> None:
    with pytest.raises(InputError, match=r"needs bore_mm, stroke_mm, rod_mm, compression_ratio under \[geom"):
        what_it_costs(flat_four(lobes={"I": LOBE, "E": LOBE}), E3, 0.4)
    with pytest.raises(InputError, match=r"needs \[lobe.intake\] with peak_lift_mm, ramp_mm, ramp_deg"):
        what_it_costs(flat_four(geometry=GEOMETRY), E3, 0.4)
    with pytest.raises(InputError, match="has no valve E9"):
        what_it_costs(engine, Valve("E", 9), 0.4)
    with pytest.raises(InputError, match=r"with a gap of -0.05 mm the intake traps nothing"):
        trapped(engine, -0.05)
    with pytest.raises(InputError, match=r"needs rod_mm under \[geometry\]"):
        trapped(replace(engine, geometry=replace(GEOMETRY, rod_mm=None)))
