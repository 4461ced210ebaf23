"""Is the trend as sure as it should be? Simulated engines with a known truth, in their hundreds.

    python -m benchmarks.study_calibration [--quick] [--engines N]

Coverage of its intervals, reliability of its forecasts, false alarms and delay of its change warnings, and what
remains of that when the world differs from the starting points. Runs on two processes with a progress bar; the full
study writes docs/calibration.md, ``--quick`` (a few seconds) writes nothing. Seeds are fixed.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import itertools

import numpy as np

from coldlash.engine.spec import Engine, GapSpec, Linkage, ValveEvents
from coldlash.wear.change import WARN_AT, detect
from coldlash.wear.forecast import risks
from coldlash.wear.learn import learn
from coldlash.wear.settings import DEFAULTS, TrendSettings
from coldlash.wear.simulate import COARSE, FINE, Event, Plan, simulate
from coldlash.wear.trend import fit, fit_many

PAGE = Path(__file__).resolve().parents[1] / "docs" / "calibration.md"
WORKERS = 2
LADDERS = {"coarse (0.05 mm)": COARSE, "fine (0.01 mm)": FINE}
BINS = (0.0, 0.01, 0.05, 0.15, 0.35, 0.65, 1.0)
AHEAD_KM = 15_000.0
WORLDS: dict[str, TrendSettings] = {
    "as assumed": DEFAULTS,
    "misreads at 1 %": replace(DEFAULTS, misread=0.01),
    "offsets three times larger": replace(DEFAULTS, offset=3 * DEFAULTS.offset),
    "noise halved": replace(
        DEFAULTS,
        feel=DEFAULTS.feel / 2,
        wander=DEFAULTS.wander / 2,
        setting=DEFAULTS.setting / 2,
        offset=DEFAULTS.offset / 2,
    ),
    "noise doubled": replace(
        DEFAULTS,
        feel=DEFAULTS.feel * 2,
        wander=DEFAULTS.wander * 2,
        setting=DEFAULTS.setting * 2,
        offset=DEFAULTS.offset * 2,
    ),
}


def flat_four() -> Engine:
    """The engine of the study: four cylinders, eight valves, limits 0.05 and 0.30 mm about 0.15."""
    gap = GapSpec(0.15, 0.05, 0.30)
    return Engine(
        name="Study four",
        cylinders=4,
        firing_order=(1, 4, 3, 2),
        firing_gaps_deg=(180.0,) * 4,
        turns="clockwise",
        heads=((1, 2), (3, 4)),
        shared_lobes=(),
        events=ValveEvents(10.0, 40.0, 45.0, 8.0),
        gaps={"I": gap, "E": gap},
        linkage=Linkage(1.1),
    )


ENGINE = flat_four()


class Bar:
    """A progress bar on stderr; where that is no terminal, one line when done."""

    def __init__(self, what: str, total: int) -> None:
        self.what, self.total, self.done, self.start = what, total, 0, perf_counter()
        self.shown = -1

    def step(self) -> None:
        """One more is done."""
        self.done += 1
        percent = 100 * self.done // max(self.total, 1)
        if percent != self.shown and (sys.stderr.isatty() or self.done == self.total):
            self.shown = percent
            bar = "#" * (percent // 4)
            left = "\n" if self.done == self.total else ""
            took = perf_counter() - self.start
            print(f"\r{self.what:38} [{bar:25}] {percent:3d} % {took:5.0f} s{left}", end="", file=sys.stderr)
            sys.stderr.flush()


def _all(pool: ProcessPoolExecutor, what: str, job: Callable[[Any], Any], tasks: Sequence[Any]) -> list[Any]:
    bar = Bar(what, len(tasks))
    out = []
    for result in pool.map(job, tasks, chunksize=max(1, len(tasks) // 100)):
        out.append(result)
        bar.step()
    return out


# Coverage ---------------------------------------------------------------------------------------------------------


def _cover(task: tuple[str, int, int]) -> np.ndarray:
    """(2, engines, V) standardised errors of gap and drift after 40 services."""
    ladder, seed, count = task
    rng = np.random.default_rng([1, seed])
    sims = [simulate(ENGINE, rng, Plan(visits=40, ladder_mm=LADDERS[ladder])) for _ in range(count)]
    now = fit_many([(s.engine, s.visits) for s in sims])
    gap = np.array([(s.after[-1] - n.gap_mean) / n.gap_sd for s, n in zip(sims, now, strict=True)])
    drift = np.array([(s.drift[-1] - n.drift_mean) / n.drift_sd for s, n in zip(sims, now, strict=True)])
    return np.array([gap, drift])


def coverage(pool: ProcessPoolExecutor, engines: int) -> list[str]:
    """Share of truths inside the 50 and 90 % intervals."""
    rows = ["| blades | of | engines | 50 % | 90 % |", "|---|---|---|---|---|"]
    for ladder in LADDERS:
        size = min(50, engines)
        tasks = [(ladder, i, size) for i in range(max(1, engines // size))]
        z = np.concatenate(_all(pool, f"coverage, {ladder}", _cover, tasks), axis=1)
        for k, name in enumerate(("gap", "drift")):
            half, most = np.mean(np.abs(z[k]) < 0.674490), np.mean(np.abs(z[k]) < 1.644854)
            rows.append(f"| {ladder} | {name} | {z.shape[1]} | {half:.3f} | {most:.3f} |")
    return rows


# Forecast ---------------------------------------------------------------------------------------------------------


def _foresee(task: tuple[str, int]) -> list[tuple[float, bool]]:
    """(risk said, happened) of every valve, tight and loose, after 8 services, over the next 15,000 km."""
    ladder, seed = task
    rng = np.random.default_rng([2, seed])
    sim = simulate(ENGINE, rng, Plan(visits=8, ladder_mm=LADDERS[ladder]))
    trend = fit(sim.engine, sim.visits)
    steps, L = 120, AHEAD_KM / 1000
    dt, w = L / steps, DEFAULTS.wander
    out = []
    for i, valve in enumerate(trend.valves):
        moves = rng.normal(sim.drift[-1, i] * dt, w * math.sqrt(dt), steps)
        path = sim.after[-1, i] + np.concatenate([[0.0], np.cumsum(moves)])
        for side, limit, sign in (("tight", 0.05, 1.0), ("loose", 0.30, -1.0)):
            x = sign * (path - limit)
            # Between two steps a Wiener path may dip and come back: Brownian bridge.
            dips = np.exp(-2 * np.maximum(x[:-1], 0) * np.maximum(x[1:], 0) / (w * w * dt))
            said = risks(trend, valve, [AHEAD_KM], side)  # type: ignore[arg-type]
            if said is not None:
                out.append((float(said[0]), bool(np.any(rng.random(steps) < dips))))
    return out


def reliability(pool: ProcessPoolExecutor, engines: int) -> list[str]:
    """Risk said against share that happened, by bins of the risk said."""
    rows = ["| blades | risk said | forecasts | mean said | happened | 2 se |", "|---|---|---|---|---|---|"]
    for ladder in LADDERS:
        pairs = _all(pool, f"forecasts, {ladder}", _foresee, [(ladder, i) for i in range(engines)])
        flat = np.array([pair for engine in pairs for pair in engine], dtype=float)
        for lo, hi in itertools.pairwise(BINS):
            here = flat[(flat[:, 0] >= lo) & ((flat[:, 0] < hi) | (hi == BINS[-1]))]
            if len(here):
                said, seen = here.mean(axis=0)
                two = 2 * math.sqrt(float(np.mean(here[:, 0] * (1 - here[:, 0]))) / len(here))
                rows.append(
                    f"| {ladder} | {lo:.2f}-{hi:.2f} | {len(here)} | {said:.3f} | {seen:.3f} | {two:.3f} |"
                )
    return rows


# Change -----------------------------------------------------------------------------------------------------------


def _quiet(task: tuple[str, int]) -> float:
    """Highest probability of any change in 24 visits of a steady engine."""
    ladder, seed = task
    sim = simulate(ENGINE, np.random.default_rng([3, seed]), Plan(visits=24, ladder_mm=LADDERS[ladder]))
    return float(detect(fit(ENGINE, sim.visits)).path.max())


def _late(task: tuple[str, int]) -> int:
    """Services from the change until the warning, 99 = not within 20."""
    ladder, seed = task
    rng = np.random.default_rng([4, seed])
    i, slope = int(rng.integers(8)), float(rng.choice([-0.010, 0.010]))
    events = [Event(11, {ENGINE.valves[i]: 1.0}, slope=slope)]
    sim = simulate(ENGINE, rng, Plan(visits=32, ladder_mm=LADDERS[ladder]), events=events)
    hit = np.flatnonzero(detect(fit(ENGINE, sim.visits)).path[12:, i, int(slope > 0)] > WARN_AT)
    return int(hit[0]) + 1 if len(hit) else 99


def change(pool: ProcessPoolExecutor, engines: int) -> list[str]:
    """False alarms in steady engines, and how soon a change of 0.010 mm per 1000 km is warned of."""
    rows = [
        "| blades | engines | false alarms at 0.9 | at 0.5 | delay, services: 25 / 50 / 75 % | missed |",
        "|---|---|---|---|---|---|",
    ]
    for ladder in LADDERS:
        quiet = np.array(_all(pool, f"false alarms, {ladder}", _quiet, [(ladder, i) for i in range(engines)]))
        late = np.array(
            _all(pool, f"delays, {ladder}", _late, [(ladder, i) for i in range(engines // 2 or 1)])
        )
        q = np.percentile(late, [25, 50, 75])
        rows.append(
            f"| {ladder} | {engines} | {np.mean(quiet > 0.9):.3f} | {np.mean(quiet > 0.5):.3f} "
            f"| {q[0]:.0f} / {q[1]:.0f} / {q[2]:.0f} | {np.mean(late == 99):.3f} |"
        )
    return rows


# Another world ----------------------------------------------------------------------------------------------------


def _owner(task: tuple[str, int]) -> list[tuple[float, float]]:
    """An owner with two engines in that world: highest change probability, figures as given and as learnt."""
    world, seed = task
    rng = np.random.default_rng([5, seed])
    sims = [simulate(ENGINE, rng, Plan(visits=24), WORLDS[world]) for _ in range(2)]
    learnt = learn([(ENGINE, s.visits) for s in sims]).settings
    return [
        (
            float(detect(fit(ENGINE, s.visits)).path.max()),
            float(detect(fit(ENGINE, s.visits, learnt)).path.max()),
        )
        for s in sims
    ]


def worlds(pool: ProcessPoolExecutor, engines: int) -> list[str]:
    """False alarms when the world is not as assumed, before and after learning from the owner's two engines."""
    rows = ["| the world | engines | false alarms, starting points | learnt |", "|---|---|---|---|"]
    for world in WORLDS:
        pairs = _all(pool, world, _owner, [(world, i) for i in range(max(1, engines // 4))])
        top = np.array([pair for owner in pairs for pair in owner])
        given, learnt = np.mean(top > WARN_AT, axis=0)
        rows.append(f"| {world} | {len(top)} | {given:.3f} | {learnt:.3f} |")
    return rows


def _page(parts: Iterable[tuple[str, str, list[str]]], engines: int) -> str:
    out = [
        "# Calibration: is the trend as sure as it should be?",
        "",
        "Made by `python -m benchmarks.study_calibration`, which `./run bench` runs; do not edit. Simulated engines",
        f"with a known truth ({engines} a row unless said), drawn from the trend's own model or from a world that",
        "differs from it. Simulation shows that the arithmetic is honest; it can't show that real engines wear like",
        "this.",
        "",
    ]
    for title, text, rows in parts:
        out += [f"## {title}", "", text, "", *rows, ""]
    return "\n".join(out)


def study(engines: int, page: Path | None) -> str:
    """Run everything over ``engines`` engines a row; write ``page`` unless None. Returns the page's text."""
    with ProcessPoolExecutor(WORKERS) as pool:
        parts = [
            (
                "Coverage",
                "Share of true gaps and drifts inside the intervals after 40 services.",
                coverage(pool, engines),
            ),
            (
                "Forecasts",
                "Risk said after 8 services of passing a limit within 15,000 km, against what happened.",
                reliability(pool, 2 * engines),
            ),
            (
                "Change",
                "Any warning in 24 visits of a steady engine (8 valves, both directions) is a false alarm. Delay: a "
                "change of 0.010 mm per 1000 km, either way, of one valve after 12 visits, services 5,000 km apart.",
                change(pool, engines),
            ),
            (
                "Another world",
                "Coarse blades, 24 visits. False alarms at 0.9 with the starting points and with figures learnt from "
                "the owner's two engines.",
                worlds(pool, engines),
            ),
        ]
    text = _page(parts, engines)
    if page is not None:
        page.write_text(text, encoding="utf-8")
    return text


def main(arguments: Sequence[str] | None = None) -> int:
    """Parse the arguments and run."""
    parser = argparse.ArgumentParser(description="Calibration of the trend on simulated engines")
    parser.add_argument("--quick", action="store_true", help="a few engines, a few seconds, nothing written")
    parser.add_argument("--engines", type=int, default=600, help="engines a row (full study)")
    chosen, _ = parser.parse_known_args(arguments)
    print(study(4 if chosen.quick else chosen.engines, None if chosen.quick else PAGE))
    return 0


if __name__ == "__main__":
    sys.exit(main())
