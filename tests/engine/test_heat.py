"""Heat and the gap: exact sums, the consequences the trade knows, and the corrections' honesty."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four

from coldlash.engine.catalogue import generic_text
from coldlash.engine.heat import (
    KINDS,
    coefficient_covariance,
    correct_reading,
    even,
    gap_change,
    hot_gap,
    notes,
    per_k_uniform,
    temperature_coefficient,
    zone_slopes,
    zones_of,
)
from coldlash.engine.linkage import gap_from_heights
from coldlash.engine.materials import MATERIALS, elongation
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import KIND_WORD, Engine, Kind, Linkage, StackPart, Train
from coldlash.errors import InputError


def generic(name: str) -> Engine:
    return read_engine(generic_text(name), name)


def with_pushrods(engine: Engine, material: str) -> Engine:
    return replace(
        engine,
        stack=tuple(replace(p, material=material) if p.part == "pushrod" else p for p in engine.stack),
    )


FLAT = generic("flat-four")
STEEL = generic("flat-four-steel-pushrods")

# A running engine, C. Judgement: common figures for air-cooled engines; only signs lean on them.
HOT = {
    "crankcase": 85,
    "cylinder": 150,
    "head": 160,
    "intake_valve": 180,
    "exhaust_valve": 300,
    "lifter": 85,
    "pushrod": 85,
}
# Half cooled: what is around the pushrods 25 K above the air, head, cylinder and valves 45 K.
HALF_COOLED = dict.fromkeys(HOT, 45) | dict.fromkeys(
    ("cylinder", "head", "intake_valve", "exhaust_valve"), 65
)


def summed_gap(engine: Engine, kind: Kind, zones: dict[str, float]) -> float:
    """The gap from heights added up part by part at these temperatures, mm: the definition, written out."""
    heights = {"pivot": 0.0, "pushrod": 0.0, KIND_WORD[kind]: 0.0}
    for part in engine.stack:
        strain = (
            elongation(MATERIALS[part.material], 20, zones[part.zone])
            if part.material
            else (part.expansion_per_k or 0) * (zones[part.zone] - 20)
        )
        for height in set(part.heights) & set(heights):
            heights[height] += part.length_mm * (1 + strain)
    return gap_from_heights(engine.linkage, heights["pivot"], heights["pushrod"], heights[KIND_WORD[kind]])


# --------------------------------------------------------------------------------------- exact sums


@pytest.mark.parametrize(
    "engine", [FLAT, STEEL, generic("inline-six"), generic("single")], ids=lambda e: e.name
)
def test_the_change_is_the_difference_of_the_summed_heights(engine: Engine) -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        zones = {zone: float(rng.uniform(-20, 250)) for zone in zones_of(engine)}
        before = {zone: float(rng.uniform(-20, 250)) for zone in zones_of(engine)}
        found = gap_change(engine, zones, before)
        for kind in KINDS:
            expected = summed_gap(engine, kind, zones) - summed_gap(engine, kind, before)
            assert found[kind] == pytest.approx(expected, abs=1e-12)


def test_slopes_are_finite_differences_zone_by_zone_and_even() -> None:
    slopes = zone_slopes(FLAT)
    uniform = per_k_uniform(FLAT)
    for kind in KINDS:
        for zone in zones_of(FLAT):
            # the same strain law holds from 19 to 21 C, so the central difference is exact
            up = gap_change(FLAT, even(FLAT, 20) | {zone: 21.0})[kind]
            down = gap_change(FLAT, even(FLAT, 20) | {zone: 19.0})[kind]
            assert slopes[kind][zone] / 1000 == pytest.approx((up - down) / 2, abs=1e-12)
        both = gap_change(FLAT, even(FLAT, 21), even(FLAT, 19))[kind]
        assert uniform[kind] / 1000 == pytest.approx(both / 2, abs=1e-12)


def test_one_part_by_hand() -> None:
    # derived: 200 mm of 6061 (23.6e-6/K) as the pushrod, ratio 1.25, 10 K warmer: -1.25 x 200 x 23.6e-6 x 10
    engine = flat_four(rocker_ratio=1.25, stack=(StackPart("pushrod", 200, "rod", ("pushrod",), "6061"),))
    assert gap_change(engine, {"rod": 30})["E"] == pytest.approx(-0.059, abs=1e-12)
    # the same with the owner's own figure, in two heights: pivot and valve together give +r
    own = StackPart("cylinder", 100, "barrel", ("pivot", "intake"), expansion_per_k=1e-5)
    engine = flat_four(rocker_ratio=1.25, stack=(own,))
    assert gap_change(engine, {"barrel": 30})["I"] == pytest.approx(1.25 * 0.01, abs=1e-12)
    assert gap_change(engine, {"barrel": 30})["E"] == pytest.approx(2.25 * 0.01, abs=1e-12)
    assert per_k_uniform(engine)["I"] == pytest.approx(1.25, abs=1e-12)


@pytest.mark.parametrize("train", ["pushrod", "finger", "direct"])
def test_an_engine_of_one_material_evenly_warm_grows_like_its_gap(train: Train) -> None:
    # derived limiting case: everything swells alike, so the gap grows by its own strain and nothing more
    r = 1.3
    p, v = 300.0, 300.0
    gap = 0.15
    q = {"pushrod": ((1 + r) * p - v - gap) / r, "finger": (gap + v - (1 - r) * p) / r, "direct": v + gap}[
        train
    ]
    parts = (
        StackPart("to the pivot", p, "all", ("pivot",), "1045"),
        StackPart("cam side", q, "all", ("pushrod",), "1045"),
        StackPart("valves", v, "all", ("intake", "exhaust"), "1045"),
    )
    engine = flat_four(linkage=Linkage(r, train=train), stack=parts)
    assert gap_change(engine, {"all": 100})["I"] == pytest.approx(gap * 11.6e-6 * 80, abs=1e-12)


def test_there_and_back_is_no_change() -> None:
    there = gap_change(FLAT, HOT, even(FLAT, 20))
    back = gap_change(FLAT, even(FLAT, 20), HOT)
    for kind in KINDS:
        assert there[kind] + back[kind] == pytest.approx(0, abs=1e-15)


# ---------------------------------------------------- consequences from plausible dimensions (common practice)


def test_with_aluminium_pushrods_the_garage_hardly_matters() -> None:
    slope = per_k_uniform(FLAT)
    assert all(abs(slope[kind]) < 1.0 for kind in KINDS)


@pytest.mark.parametrize("engine", [STEEL, with_pushrods(FLAT, "4130")], ids=["file", "swapped"])
def test_with_steel_pushrods_the_gap_grows_two_to_four_micrometres_per_kelvin(engine: Engine) -> None:
    slope = per_k_uniform(engine)
    assert all(2.0 < slope[kind] < 4.0 for kind in KINDS)
    # 20 K more in the garage looks like one blade step of 0.05 mm
    warm = gap_change(engine, even(engine, 40))
    assert all(0.04 <= warm[kind] <= 0.08 for kind in KINDS)


@pytest.mark.parametrize("engine", [FLAT, STEEL], ids=lambda e: e.name)
def test_intake_and_exhaust_differ_by_about_half_a_micrometre_per_kelvin(engine: Engine) -> None:
    slope = per_k_uniform(engine)
    assert 0.3 < slope["I"] - slope["E"] < 0.7


def test_hot_the_exhaust_gap_shrinks_with_aluminium_and_grows_with_steel_pushrods() -> None:
    assert gap_change(FLAT, HOT)["E"] < 0
    assert gap_change(STEEL, HOT)["E"] > 0.05
    # which is what the cold gap is for: it does not close
    assert FLAT.gaps["E"].cold + gap_change(FLAT, HOT)["E"] > 0


def test_half_cooled_aluminium_already_reads_seven_hundredths_more() -> None:
    change = gap_change(FLAT, HALF_COOLED)
    assert sum(change.values()) / 2 == pytest.approx(0.07, abs=0.01)
    assert all(0.05 < change[kind] < 0.09 for kind in KINDS)


def test_the_sign_belongs_to_the_engine() -> None:
    signs = {math.copysign(1, per_k_uniform(engine)["I"]) for engine in (STEEL, generic("inline-six"))}
    assert signs == {1.0, -1.0}


# ------------------------------------------------------------------------------------------- uncertainty


@pytest.mark.parametrize("dim_sd_mm", [None, 1.5])
def test_the_hot_gaps_spread_is_that_of_drawn_engines(dim_sd_mm: float | None) -> None:
    # independent: Monte Carlo over lengths, zone temperatures and expansion figures, 4000 engines (sd good to 1 %)
    from coldlash.engine.materials import expansion_sd

    rng = np.random.default_rng(12)
    drawn: dict[Kind, list[float]] = {"I": [], "E": []}
    for _ in range(4000):
        zones = {zone: temp + float(rng.normal(0, 8)) for zone, temp in HOT.items()}
        off = {name: float(rng.normal()) for name in MATERIALS}
        parts = []
        for part in FLAT.stack:
            assert part.material is not None
            row = MATERIALS[part.material]
            mean = elongation(row, 20, zones[part.zone]) / (zones[part.zone] - 20)
            sd = part.length_mm * 0.02 if dim_sd_mm is None else dim_sd_mm
            parts.append(
                replace(
                    part,
                    length_mm=part.length_mm + float(rng.normal(0, sd)),
                    material=None,
                    expansion_per_k=mean + off[part.material] * expansion_sd(row, HOT[part.zone]),
                )
            )
        change = gap_change(replace(FLAT, stack=tuple(parts)), zones)
        for kind in KINDS:
            drawn[kind].append(change[kind])
    found = hot_gap(FLAT, HOT, dim_sd_mm=dim_sd_mm, temp_sd_k=8.0)
    for kind in KINDS:
        assert found[kind].sd_mm == pytest.approx(np.std(drawn[kind]), rel=0.05)
        # what bends with temperature (valve steel) moves the mean a little
        assert found[kind].change_mm == pytest.approx(np.mean(drawn[kind]), abs=0.004)
        assert found[kind].gap_mm == pytest.approx(0.15 + gap_change(FLAT, HOT)[kind])


def test_the_hot_gaps_spread_is_nothing_when_nothing_is_uncertain_but_the_figures() -> None:
    found = hot_gap(FLAT, HOT, dim_sd_mm=0, temp_sd_k=0)["E"]
    assert found.sd_lengths_mm == found.sd_temperatures_mm == 0
    assert found.sd_mm == found.sd_expansion_mm > 0
    # at the reference temperature even those don't matter
    assert hot_gap(FLAT, even(FLAT, 20), temp_sd_k=0)["E"].sd_mm == 0


def test_each_zone_may_have_its_own_spread_and_the_gap_its_own_start() -> None:
    spread = dict.fromkeys(zones_of(FLAT), 0.0) | {"head": 10.0}
    found = hot_gap(FLAT, HOT, cold_mm={"I": 0.1, "E": 0.2}, temp_sd_k=spread)
    slope = zone_slopes(FLAT, HOT)["I"]["head"] / 1000
    assert found["I"].sd_temperatures_mm == pytest.approx(abs(slope) * 10)
    assert found["E"].cold_mm == 0.2


def test_the_coefficient_covariance_is_that_of_drawn_engines() -> None:
    # independent: Monte Carlo, 4000 engines; the structure's share (0.3 um/K) is added by hand
    drawn = np.array([[per_k_uniform(_drawn(FLAT, seed))[k] for k in KINDS] for seed in range(4000)])
    expected = np.cov(drawn.T) + 0.09 * np.eye(2)
    assert np.array(coefficient_covariance(FLAT)) * 1e6 == pytest.approx(expected, abs=0.01)
    found = temperature_coefficient(FLAT)
    assert found is not None
    for i, kind in enumerate(KINDS):
        assert found[kind].sd * 1000 == pytest.approx(math.sqrt(expected[i, i]), rel=0.05)
        assert found[kind].value * 1000 == pytest.approx(per_k_uniform(FLAT)[kind])


def _drawn(engine: Engine, seed: int) -> Engine:
    """An engine whose lengths (2 %) and figures are off by what the model says they may be."""
    from coldlash.engine.materials import expansion_sd

    rng = np.random.default_rng(seed)
    off = {name: float(rng.normal()) for name in MATERIALS}
    parts = []
    for part in engine.stack:
        assert part.material is not None
        row = MATERIALS[part.material]
        figure = elongation(row, 20, 21) + off[part.material] * expansion_sd(row, 21)
        length = part.length_mm * (1 + 0.02 * float(rng.normal()))
        parts.append(replace(part, length_mm=length, material=None, expansion_per_k=figure))
    return replace(engine, stack=tuple(parts))


@pytest.mark.parametrize("engine", [FLAT, STEEL], ids=["aluminium", "steel"])
def test_readings_from_garages_between_2_and_35_c_come_out_unbiased(engine: Engine) -> None:
    # simulated: 1000 engines that differ from their file as its sds say, each read once in a garage
    rng = np.random.default_rng(7)
    rest, raw, scaled = [], [], []
    for seed in range(1000):
        own = _drawn(engine, 10_000 + seed)
        temp = float(rng.uniform(2, 35))
        kind = KINDS[seed % 2]
        missed = float(rng.normal(0, 0.3e-3)) * (temp - 20)
        reading = 0.15 + gap_change(own, even(own, temp))[kind] + missed + float(rng.normal(0, 0.015))
        correction = correct_reading(engine, temp)
        assert correction is not None
        rest.append(reading - correction[kind].value - 0.15)
        raw.append((reading - 0.15, temp - 20))
        scaled.append(rest[-1] / math.hypot(correction[kind].sd, 0.015))
    assert abs(np.mean(rest)) < 3 * np.std(rest) / math.sqrt(len(rest))
    # neither do they lean on the temperature any more
    temps = np.array([t for _, t in raw])
    lean = np.polyfit(temps, rest, 1)[0]
    assert abs(lean) < 3 * np.std(rest) / (np.std(temps) * math.sqrt(len(rest)))
    assert np.std(scaled) == pytest.approx(1, abs=0.07)
    if engine is STEEL:  # and uncorrected they do: 2 to 4 um/K
        assert 0.002 < np.polyfit(temps, [r for r, _ in raw], 1)[0] < 0.004


def test_a_correction_is_the_even_change_and_knows_its_thermometer() -> None:
    found = correct_reading(STEEL, 35, temp_sd_k=2)
    sure = correct_reading(STEEL, 35)
    assert found is not None
    assert sure is not None
    for kind in KINDS:
        assert found[kind].value == pytest.approx(gap_change(STEEL, even(STEEL, 35))[kind])
        assert found[kind].sd ** 2 - sure[kind].sd ** 2 == pytest.approx(
            (0.002 * per_k_uniform(STEEL)[kind]) ** 2
        )
    at_reference = correct_reading(STEEL, 20)
    assert at_reference is not None
    assert at_reference["I"] == (0, 0)


def test_without_stacks_there_is_no_correction() -> None:
    assert temperature_coefficient(flat_four()) is None
    assert correct_reading(flat_four(), 30) is None


# ---------------------------------------------------------------------------------------- notes and errors


def test_an_empty_height_counts_nothing_and_is_said() -> None:
    engine = flat_four(stack=(StackPart("pushrod", 230, "pushrod", ("pushrod",), "6061"),))
    assert gap_change(engine, {"pushrod": 20})["I"] == 0
    (note,) = notes(engine)
    assert "pivot, intake, exhaust" in note
    assert "counts 0" in note
    assert notes(FLAT, even(FLAT, 60)) == ()
    direct = flat_four(linkage=Linkage(1, train="direct"), stack=engine.stack)
    assert "heights intake, exhaust:" in notes(direct)[0]


def test_temperatures_outside_a_range_are_noted_once_each() -> None:
    found = notes(FLAT, HOT)
    assert len(found) == len(set(found))
    assert any("A356 at 160 C is 60 K outside" in note for note in found)
    assert not any("21-4N" in note for note in found)


def test_an_engine_without_stacks_is_refused_with_the_remedy() -> None:
    with pytest.raises(InputError, match=r"no \[\[stack\]\].*length, material, zone and heights"):
        gap_change(flat_four(), {"head": 100})


def test_missing_zones_are_all_named() -> None:
    with pytest.raises(InputError, match="missing for zones cylinder, head, intake_valve"):
        gap_change(FLAT, {"crankcase": 90})
    short = dict(HOT)
    del short["pushrod"]
    with pytest.raises(InputError, match="a temperature is missing for zone pushrod of"):
        gap_change(FLAT, short)
    with pytest.raises(InputError, match="a temperature spread is missing for zone pushrod"):
        hot_gap(FLAT, HOT, temp_sd_k=dict.fromkeys(short, 1.0))


def test_an_unknown_zone_names_the_nearest() -> None:
    with pytest.raises(
        InputError, match=r"no zone 'heads'; nearest is 'head'\. Its zones: crankcase, cylinder"
    ):
        gap_change(FLAT, HOT | {"heads": 100})


@pytest.mark.parametrize("temp", [-41, 1201, math.nan, math.inf])
def test_a_temperature_that_cannot_be_is_refused(temp: float) -> None:
    with pytest.raises(InputError, match=r"zone head at .* temperatures from -40 to 1200 C"):
        gap_change(FLAT, HOT | {"head": temp})


def test_a_temperature_far_beyond_a_material_is_refused_with_its_name() -> None:
    with pytest.raises(InputError, match=r"6061 .*at 350 C.*20 to 100 C"):
        gap_change(FLAT, HOT | {"pushrod": 350})


def test_negative_spreads_are_refused() -> None:
    with pytest.raises(InputError, match="spread of the lengths -1 mm"):
        hot_gap(FLAT, HOT, dim_sd_mm=-1)
    with pytest.raises(InputError, match="spread of the temperature of zone crankcase: -1 K"):
        hot_gap(FLAT, HOT, temp_sd_k=-1)
    with pytest.raises(InputError, match="spread of the temperature of zone"):
        correct_reading(FLAT, 30, temp_sd_k=math.nan)


def test_a_part_without_any_figure_is_refused() -> None:
    engine = flat_four(stack=(StackPart("stand", 30, "head", ("pivot",)),))
    with pytest.raises(InputError, match="'stand' has neither a material nor expansion_per_k"):
        gap_change(engine, {"head": 60})


def test_an_unknown_material_in_a_stack_is_refused() -> None:
    engine = flat_four(stack=(StackPart("pushrod", 230, "pushrod", ("pushrod",), "bamboo"),))
    with pytest.raises(InputError, match="material 'bamboo' is not in the table"):
        per_k_uniform(engine)
