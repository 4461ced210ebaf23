"""Does the attribution name the right part, as surely as it should? Simulated engines with a known truth, in hundreds.

    python -m benchmarks.study_causes [--quick] [--engines N]

Top-1 and recall of single causes (jumps at the last visit, jumps seen twice, slopes from new and slopes since a few
visits), calibration of what is said over causes drawn from the prior, and what healthy engines are told. Two
processes, a progress bar; the full study writes docs/causes-study.md, ``--quick`` (seconds) writes nothing. Seeds are
fixed.
"""

from __future__ import annotations

import argparse
import itertools
import math
import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from benchmarks.study_calibration import Bar

from coldlash.engine.spec import Engine, GapSpec, Linkage, Valve, ValveEvents
from coldlash.wear.assessment import assess
from coldlash.wear.candidates import Candidate, candidates
from coldlash.wear.causes import attribute
from coldlash.wear.simulate import COARSE, FINE, Event, Plan, simulate
from coldlash.wear.trend import fit

PAGE = Path(__file__).resolve().parents[1] / "docs" / "causes-study.md"
WORKERS = 2
LADDERS = {"coarse": COARSE, "fine": FINE}
BINS = (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.01)


def flat_four() -> Engine:
    """The engine of the study: a flat-four with two heads and four shared lobes."""
    gap = GapSpec(0.15, 0.05, 0.30)
    pairs = (("I1", "I3"), ("E1", "E3"), ("I2", "I4"), ("E2", "E4"))
    return Engine(
        name="Study four",
        cylinders=4,
        firing_order=(1, 4, 3, 2),
        firing_gaps_deg=(180.0,) * 4,
        turns="clockwise",
        heads=((1, 2), (3, 4)),
        shared_lobes=tuple((Valve.parse(a), Valve.parse(b)) for a, b in pairs),
        events=ValveEvents(10.0, 40.0, 45.0, 8.0),
        gaps={"I": gap, "E": gap},
        linkage=Linkage(1.1),
    )


ENGINE = flat_four()
CAUSES = candidates(ENGINE)
PRIOR = np.array([c.prior for c in CAUSES])


def _loading(cause: Candidate, rng: np.random.Generator) -> dict[Valve, float]:
    """The cause's loadings, each valve's own variation drawn."""
    own = 1.0 + cause.spread * rng.normal(size=len(cause.loading))
    return {v: float(x * k) for v, x, k in zip(ENGINE.valves, cause.loading, own, strict=True) if x}


def _plan(visits: int, ladder: str) -> Plan:
    return Plan(visits=visits, ladder_mm=LADDERS[ladder])


def _single(task: tuple[str, str, float, int]) -> tuple[bool, bool, float, float]:
    """(named first, among the first three, p_something, probability of the truth) of one single cause."""
    kind, ladder, size, seed = task
    rng = np.random.default_rng([2, hash_of(kind), seed])
    cause = CAUSES[rng.choice(len(CAUSES), p=PRIOR / PRIOR.sum())]
    loading = _loading(cause, rng)
    visits = 16
    if kind == "jump":
        event = Event(visits - 2, loading, jump=size)
    elif kind == "jump seen twice":
        event = Event(visits - 3, loading, jump=size)
    elif kind == "slope from new":
        event = Event(0, loading, slope=size)
    else:
        event = Event(visits - 5, loading, slope=size)
    seen = simulate(ENGINE, rng, _plan(visits, ladder), events=[event])
    said = attribute(fit(ENGINE, seen.visits))
    named = [(c.cause, c.where) for c in said.causes]
    truth = (cause.cause, cause.where)
    p = next((c.probability for c in said.causes if (c.cause, c.where) == truth), 0.0)
    return named[:1] == [truth], truth in named[:3], said.p_something, p


def _prior_draw(task: tuple[str, int]) -> list[tuple[float, bool]]:
    """(said, true) of every listed cause, after a jump of one to three causes drawn from the prior."""
    ladder, seed = task
    rng = np.random.default_rng([3, seed])
    while True:
        chosen = np.flatnonzero(rng.random(len(CAUSES)) < PRIOR)
        if 1 <= len(chosen) <= 3:
            break
    events = [
        Event(14, _loading(CAUSES[j], rng), jump=abs(float(rng.normal(0.0, CAUSES[j].size)))) for j in chosen
    ]
    seen = simulate(ENGINE, rng, _plan(16, ladder), events=events)
    truth = {(CAUSES[j].cause, CAUSES[j].where) for j in chosen}
    said = attribute(fit(ENGINE, seen.visits))
    return [(c.probability, (c.cause, c.where) in truth) for c in said.causes]


def _healthy(task: tuple[str, int]) -> tuple[float, float, bool, bool]:
    """(p_something, largest product, told not to run, told to check now) of an engine to which nothing happened."""
    ladder, seed = task
    rng = np.random.default_rng([4, seed])
    visits = int(rng.integers(2, 41))
    said = assess(ENGINE, simulate(ENGINE, rng, _plan(visits, ladder)).visits)
    most = max((said.attribution.probability_of(c) for c in said.causes), default=0.0)
    return said.p_something, most, said.do_not_run, any(f.grade == "check now" for f in said.findings)


def hash_of(text: str) -> int:
    """The same number for the same text in every process."""
    return sum(ord(c) * (i + 1) for i, c in enumerate(text))


def _all(pool: ProcessPoolExecutor, what: str, job: Callable[[Any], Any], tasks: Sequence[Any]) -> list[Any]:
    bar = Bar(what, len(tasks))
    out = []
    for result in pool.map(job, tasks, chunksize=max(1, len(tasks) // 100)):
        out.append(result)
        bar.step()
    return out


def study(engines: int) -> str:
    """Run everything; the tables as Markdown."""
    started = perf_counter()
    lines = ["| one cause | blades | size | named first | among three | p_something | engines |"]
    lines.append("|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor(WORKERS) as pool:
        rows = [("jump", ladder, size) for ladder in LADDERS for size in (0.06, 0.10)]
        rows += [("jump seen twice", "coarse", 0.06), ("jump seen twice", "coarse", 0.10)]
        rows += [("slope from new", "coarse", 0.006), ("slope from new", "coarse", 0.012)]
        rows += [("slope since four visits", "coarse", 0.012)]
        for kind, ladder, size in rows:
            tasks = [(kind, ladder, size, seed) for seed in range(engines)]
            got = np.array(_all(pool, f"{kind}, {ladder}, {size}", _single, tasks), dtype=float)
            first, three, something, _ = got.mean(axis=0)
            unit = "mm per 1,000 km" if kind.startswith("slope") else "mm"
            lines.append(
                f"| {kind} | {ladder} | {size:g} {unit} | {first:.3f} | {three:.3f} | {something:.2f} | {engines} |"
            )
        lines += ["", "| said | seen | places | within |", "|---|---|---|---|"]
        pairs = [
            p
            for got in _all(pool, "said and seen", _prior_draw, [("coarse", s) for s in range(2 * engines)])
            for p in got
        ]
        said, true = np.array([p for p, _ in pairs]), np.array([t for _, t in pairs])
        for lo, hi in itertools.pairwise(BINS):
            here = (said >= lo) & (said < hi)
            if here.any():
                a, b = float(said[here].mean()), float(true[here].mean())
                sd = math.sqrt(max(b * (1 - b), 1e-9) / here.sum())
                lines.append(f"| {a:.3f} | {b:.3f} | {int(here.sum())} | {a - b:+.3f} (2 se {2 * sd:.3f}) |")
        head = "| healthy engines | p_something, mean | 95 % | a cause above 0.5 | above 0.9 | check now | do not run |"
        lines += ["", head, "|---|---|---|---|---|---|---|"]
        for ladder in LADDERS:
            tasks = [(ladder, seed) for seed in range(engines)]
            got = np.array(_all(pool, f"healthy, {ladder}", _healthy, tasks), dtype=float)
            p, most = got[:, 0], got[:, 1]
            lines.append(
                f"| {ladder} | {p.mean():.3f} | {np.quantile(p, 0.95):.3f} | {np.mean(most > 0.5):.3f} "
                f"| {np.mean(most > 0.9):.3f} | {got[:, 3].mean():.3f} | {got[:, 2].mean():.3f} |"
            )
    print(f"{perf_counter() - started:.0f} s", file=sys.stderr)
    return "\n".join(lines)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a dozen engines each, writes nothing")
    parser.add_argument("--engines", type=int, default=500, help="engines for each row (default 500)")
    chosen = parser.parse_args()
    tables = study(12 if chosen.quick else chosen.engines)
    print(tables)
    if not chosen.quick:
        PAGE.write_text(
            "# Study of the causes\n\nWritten by `python -m benchmarks.study_causes`; simulated flat-four, 16 visits "
            "about 5,000 km apart, figures as assumed by the trend.\n\n" + tables + "\n",
            encoding="utf-8",
        )
        print(f"Written to {PAGE.name}", file=sys.stderr)


if __name__ == "__main__":
    main()
