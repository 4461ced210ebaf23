"""An engine's own coefficient: found back in simulated engines, exact against brute force, honest when unsure."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from tests.engines import flat_four

from coldlash.engine.calibrate import GapsAt, calibrate, compare_hot
from coldlash.engine.catalogue import generic_text
from coldlash.engine.heat import KINDS, coefficient_covariance, gap_change, per_k_uniform, zones_of
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Engine, StackPart, Valve
from coldlash.errors import ConvergenceError, InputError

FLAT = read_engine(generic_text("flat-four"), "flat-four")
STEEL = read_engine(generic_text("flat-four-steel-pushrods"), "flat-four-steel-pushrods")
BLADES = tuple(0.05 * i for i in range(-4, 12))


def between_blades(gap: float) -> tuple[float, float]:
    """The interval of 0.05 mm blades a gap reads as; nothing below the thinnest, 0.05."""
    if gap < 0.05:
        return -math.inf, 0.05
    lo = 0.05 * math.floor(gap / 0.05 + 1e-9)
    return lo, lo + 0.05


def visits_of(
    slopes: dict[str, float], temps: list[float], rng: np.random.Generator, *, fine: bool = False
) -> list[GapsAt]:
    """Visits to a simulated engine: gaps about 0.15 mm, visit offset 0.010, hand 0.015, thermometer 1 K."""
    valves = flat_four().valves
    at_20 = {valve: 0.15 + float(rng.normal(0, 0.03)) for valve in valves}
    found = []
    for temp in temps:
        offset = float(rng.normal(0, 0.010))
        gaps = {}
        for valve in valves:
            true = at_20[valve] + slopes[valve.kind] * (temp - 20) + offset
            read = true + float(rng.normal(0, 0.015))
            gaps[valve] = (read, read) if fine else between_blades(read)
        found.append(GapsAt(temp + float(rng.normal(0, 1)), gaps))
    return found


def test_a_steel_engine_described_as_aluminium_is_found_out() -> None:
    rng = np.random.default_rng(3)
    found = calibrate(FLAT, visits_of({"I": 0.0030, "E": 0.0025}, [5, 33, 8, 30], rng))
    assert found.stack_fits is not None
    assert found.stack_fits < 0.2
    for kind, true in (("I", 0.0030), ("E", 0.0025)):
        own = found.coefficient[kind]
        assert abs(own.value - true) < 2.5 * own.sd
        off = found.off_by(kind)
        assert off is not None
        assert off.value * 1000 == pytest.approx(own.value * 1000 - per_k_uniform(FLAT)[kind])
        assert off.value > 3 * off.sd
    assert "hardly agree" in found.words[-1]
    assert "the stack said" in found.words[0]


def test_an_engine_that_fits_its_stack_ends_surer_than_the_stack_was() -> None:
    rng = np.random.default_rng(5)
    slopes = {kind: per_k_uniform(FLAT)[kind] / 1000 for kind in KINDS}
    found = calibrate(FLAT, visits_of(slopes, [4, 32, 6, 30, 5, 31], rng))
    assert found.stack_fits is not None
    assert found.model is not None
    assert found.stack_fits > 0.8
    for kind in KINDS:
        assert found.coefficient[kind].sd < found.model[kind].sd
        assert found.coefficient[kind].value == pytest.approx(
            slopes[kind], abs=3 * found.coefficient[kind].sd
        )
    assert "don't contradict" in found.words[-1]


def test_engines_without_a_stack_are_learnt_from_their_readings_alone() -> None:
    # simulated: 60 engines at 3 um/K; starting from nothing known pulls each down by less than half an sd
    bare = replace(FLAT, stack=())
    off = []
    for seed in range(60):
        rng = np.random.default_rng(100 + seed)
        found = calibrate(bare, visits_of({"I": 0.003, "E": 0.003}, [3, 34, 3, 34], rng))
        assert found.model is None
        assert found.stack_fits is None
        assert found.off_by("I") is None
        off += [(found.coefficient[kind].value - 0.003) / found.coefficient[kind].sd for kind in KINDS]
        assert found.coefficient["E"].sd < 0.0006
    assert -0.5 < np.mean(off) < 0.3
    assert np.mean(np.abs(off) < 1.645) > 0.82
    assert "readings alone" in found.words[-1]


@pytest.mark.parametrize("second", [(0.15, 0.20), (0.30, math.inf), (0.25, 0.25)])
def test_the_answer_is_that_of_brute_force(second: tuple[float, float]) -> None:
    # independent: one valve, two visits: the posterior summed over a grid of gap and coefficient; for one valve a
    # visit's offset and the hand are one noise. Prior: gap N(0.15, 0.3), slope N(0, 0.003).
    bare = replace(FLAT, stack=())
    first = (0.10, 0.15)
    valve = Valve("E", 1)
    found = calibrate(bare, [GapsAt(5, {valve: first}), GapsAt(35, {valve: second})]).coefficient["E"]
    gap = np.linspace(-1.2, 1.5, 1201)[:, None]
    slope = np.linspace(-0.018, 0.018, 1201)[None, :]
    noise = math.hypot(0.015, 0.010)
    weight = norm.pdf(gap, 0.15, 0.3) * norm.pdf(slope, 0, 0.003)
    for rise, (lo, hi) in ((-15, first), (15, second)):
        mean = gap + slope * rise
        if lo == hi:
            weight = weight * norm.pdf(lo, mean, noise)
        else:
            weight = weight * (norm.cdf(hi, mean, noise) - norm.cdf(lo, mean, noise))
    weight /= weight.sum()
    mean_slope = float((weight * slope).sum())
    sd_slope = math.sqrt(float((weight * (slope - mean_slope) ** 2).sum()))
    # two readings move each other's truncation little: moment matching is within a few percent of an sd
    assert found.value == pytest.approx(mean_slope, abs=0.05 * sd_slope)
    assert found.sd == pytest.approx(sd_slope, rel=0.05)


def test_readings_as_exact_values_give_the_closed_form() -> None:
    # derived: all Gaussian, so generalised least squares with the priors is the whole answer; stack assumed to fit
    # half the time is checked through its two halves' evidence
    rng = np.random.default_rng(2)
    visits = visits_of({"I": 0.001, "E": 0.0005}, [2, 20, 35], rng, fine=True)
    found = calibrate(FLAT, visits)
    start = np.array([per_k_uniform(FLAT)[kind] / 1000 for kind in KINDS])
    rows, values = [], []
    valves = list(FLAT.valves)
    for number, visit in enumerate(visits):
        for valve, (value, _) in visit.gaps.items():
            row = np.zeros(2 + 8 + 3)
            row[KINDS.index(valve.kind)] = visit.temp_c - 20
            row[2 + valves.index(valve)] = row[10 + number] = 1
            rows.append(row)
            values.append(value)
    design, data = np.array(rows), np.array(values)
    thermometer = float(np.mean(start))
    logs, means, spreads = [], [], []
    for cover, weight in ((np.array(coefficient_covariance(FLAT)), 0.8), (np.eye(2) * 0.003**2, 0.2)):
        prior = np.zeros((13, 13))
        prior[:2, :2] = cover
        prior[2:, 2:] = np.diag([0.09] * 8 + [0.010**2 + thermometer**2] * 3)
        before = np.concatenate([start, [0.15] * 8, [0] * 3])
        total = design @ prior @ design.T + 0.015**2 * np.eye(len(data))
        gain = prior @ design.T @ np.linalg.inv(total)
        rest = data - design @ before
        means.append((before + gain @ rest)[:2])
        spreads.append((prior - gain @ design @ prior)[:2, :2])
        logs.append(
            math.log(weight) - 0.5 * (np.linalg.slogdet(total)[1] + rest @ np.linalg.solve(total, rest))
        )
    share = np.exp(np.array(logs) - max(logs))
    share /= share.sum()
    mean = share @ np.array(means)
    assert found.stack_fits == pytest.approx(share[0], abs=1e-6)
    for i, kind in enumerate(KINDS):
        spread = sum(
            p * (s[i, i] + (m[i] - mean[i]) ** 2) for p, m, s in zip(share, means, spreads, strict=True)
        )
        assert found.coefficient[kind].value == pytest.approx(mean[i], abs=1e-9)
        assert found.coefficient[kind].sd == pytest.approx(math.sqrt(spread), rel=1e-6)


def test_its_intervals_cover_the_truth_as_often_as_they_say() -> None:
    # simulated: 200 engines drawn from the mixture the model believes in, coarse blades, four visits
    rng = np.random.default_rng(21)
    start = np.array([per_k_uniform(FLAT)[kind] / 1000 for kind in KINDS])
    narrow = np.linalg.cholesky(coefficient_covariance(FLAT))
    scaled = []
    for _ in range(200):
        spread = narrow if rng.random() < 0.8 else np.eye(2) * 0.003
        true = start + spread @ rng.normal(size=2)
        temps = [float(t) for t in rng.uniform([2, 25, 2, 25], [12, 35, 12, 35])]
        found = calibrate(FLAT, visits_of({"I": float(true[0]), "E": float(true[1])}, temps, rng))
        scaled += [
            (found.coefficient[k].value - true[i]) / found.coefficient[k].sd for i, k in enumerate(KINDS)
        ]
    share = float(np.mean(np.abs(scaled) < 1.645))
    assert 0.85 <= share <= 0.96  # 90 %, and about two standard errors of 400 related draws
    assert abs(float(np.mean(scaled))) < 0.2


def test_a_one_sided_reading_says_less_than_a_bounded_one() -> None:
    valve = Valve("I", 2)
    cold = GapsAt(5, {valve: (0.10, 0.15)})
    bounded = calibrate(FLAT, [cold, GapsAt(35, {valve: (0.20, 0.25)})]).coefficient["I"]
    open_ended = calibrate(FLAT, [cold, GapsAt(35, {valve: (0.20, math.inf)})]).coefficient["I"]
    assert open_ended.value > bounded.value
    assert open_ended.sd > bounded.sd


# ------------------------------------------------------------------------------------------ cold and hot

HOT = dict(zip(zones_of(FLAT), (85, 150, 160, 180, 300, 85, 85), strict=True))


def test_a_hot_reading_tells_how_far_the_model_is_off() -> None:
    cold = GapsAt(20, {Valve("E", 1): (0.15, 0.15), Valve("E", 2): (0.15, 0.15)})
    true = gap_change(STEEL, HOT)["E"] + 0.15
    hot = {Valve("E", 1): (true, true), Valve("E", 2): (true, true), Valve("I", 1): (0.3, 0.3)}
    right = compare_hot(STEEL, HOT, cold, hot)
    assert list(right) == ["E"]
    assert right["E"].off_by_mm == pytest.approx(0, abs=1e-12)
    wrong = compare_hot(FLAT, HOT, cold, hot, temp_sd_k=3)["E"]
    assert wrong.off_by_mm == pytest.approx(
        gap_change(STEEL, HOT)["E"] - gap_change(FLAT, HOT)["E"], abs=1e-12
    )
    assert wrong.off_by_sds > 3
    # derived: two hands at each of two valves, two visits' offsets
    assert wrong.measured.sd == pytest.approx(math.sqrt(2 * 0.015**2 / 2 + 2 * 0.010**2))


def test_a_cold_reading_in_a_warm_garage_is_brought_to_20_c_first() -> None:
    valve = Valve("I", 1)
    at_35 = 0.15 + 0.001 * per_k_uniform(STEEL)["I"] * 15
    hot = {valve: (0.40, 0.40)}
    found = compare_hot(STEEL, HOT, GapsAt(35, {valve: (at_35, at_35)}), hot)["I"]
    assert found.measured.value == pytest.approx(0.25)
    even = compare_hot(STEEL, HOT, GapsAt(20, {valve: (0.15, 0.15)}), hot)["I"]
    assert found.measured.sd > even.measured.sd


def test_blades_hot_and_cold_as_a_manual_prints_them() -> None:
    # published (V): TM 5-3820-233-12-1, exhaust: cold 0.011 in goes and 0.013 does not, hot 0.008 goes, 0.010 not
    inch = 25.4
    valve = Valve("E", 3)
    cold = GapsAt(20, {valve: (0.011 * inch, 0.013 * inch)})
    found = compare_hot(FLAT, HOT, cold, {valve: (0.008 * inch, 0.010 * inch)})["E"]
    assert found.measured.value == pytest.approx(-0.003 * inch)
    width = 0.002 * inch
    assert found.measured.sd == pytest.approx(math.sqrt(2 * 0.015**2 + 2 * width**2 / 12 + 2 * 0.010**2))


# ------------------------------------------------------------------------------------------------ errors


def two(engine_temp: float = 35.0, gap: tuple[float, float] = (0.1, 0.15)) -> list[GapsAt]:
    valve = Valve("I", 1)
    return [GapsAt(5, {valve: (0.1, 0.15)}), GapsAt(engine_temp, {valve: gap})]


@pytest.mark.parametrize(
    "visits",
    [
        [],
        two()[:1],
        two(9.9),
        [GapsAt(5, {Valve("I", 1): (0.1, 0.15)}), GapsAt(30, {Valve("I", 2): (0.1, 0.15)})],
    ],
    ids=["none", "one", "too near", "other valve"],
)
def test_visits_that_cannot_tell_are_refused(visits: list[GapsAt]) -> None:
    with pytest.raises(InputError, match="at least 5 K apart; read the same valves"):
        calibrate(FLAT, visits)


@pytest.mark.parametrize("temp", [-41, 101, math.nan])
def test_a_temperature_no_standing_engine_has_is_refused(temp: float) -> None:
    with pytest.raises(InputError, match="must be evenly warm, from -40 to 100 C"):
        calibrate(FLAT, two(temp))


@pytest.mark.parametrize("gap", [(0.2, 0.1), (math.nan, 0.1), (-math.inf, math.inf), (math.inf, math.inf)])
def test_blades_out_of_order_are_refused(gap: tuple[float, float]) -> None:
    with pytest.raises(
        InputError, match=r"I1: from .* mm is no reading; give the thickest blade that goes first"
    ):
        calibrate(FLAT, two(gap=gap))
    with pytest.raises(InputError, match="is no reading"):
        compare_hot(FLAT, HOT, two()[0], {Valve("I", 1): gap})


def test_a_valve_the_engine_has_not_is_refused() -> None:
    with pytest.raises(InputError, match="has no valve E7"):
        calibrate(FLAT, [GapsAt(5, {Valve("E", 7): (0.1, 0.15)})])


@pytest.mark.parametrize("spread", [0.0, -1.0, math.nan])
def test_a_spread_that_is_none_is_refused(spread: float) -> None:
    with pytest.raises(InputError, match="spread of the hand"):
        calibrate(FLAT, two(), hand_sd_mm=spread)
    with pytest.raises(InputError, match="spread of the visit"):
        calibrate(FLAT, two(), visit_sd_mm=spread)


def test_an_unsettled_calibration_is_an_error_not_an_answer() -> None:
    with pytest.raises(ConvergenceError, match="did not settle in 1 sweeps over 2 readings"):
        calibrate(FLAT, two(gap=(0.2, 0.25)), max_sweeps=1)


def test_nothing_read_both_cold_and_hot_is_refused() -> None:
    cold = GapsAt(20, {Valve("E", 1): (0.15, math.inf)})
    with pytest.raises(InputError, match="no valve was read both cold and hot"):
        compare_hot(FLAT, HOT, cold, {Valve("E", 1): (0.15, 0.2)})


def test_comparing_hot_without_a_stack_is_refused() -> None:
    with pytest.raises(InputError, match="no \\[\\[stack\\]\\]"):
        compare_hot(flat_four(), {}, two()[0], {})


def test_extreme_disagreement_stays_finite() -> None:
    # readings in the far tails of what the model expects: finite numbers, no crash
    visits = two(gap=(3.0, 3.001))
    found = calibrate(FLAT, visits, hand_sd_mm=0.001, visit_sd_mm=0.001)
    assert all(math.isfinite(x) for kind in KINDS for x in found.coefficient[kind])


def test_an_owners_own_part_counts_in_the_prior() -> None:
    stack = (StackPart("pushrod", 200, "rod", ("pushrod",), expansion_per_k=-1e-5),)
    engine: Engine = flat_four(stack=stack)
    found = calibrate(engine, two())
    assert found.model is not None
    assert found.model["I"].value == pytest.approx(1.1 * 200 * 1e-5)
