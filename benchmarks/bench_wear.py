"""How long the readings take to be understood: one engine, ten thousand engines, and against a sampler.

Then the calibration study (benchmarks/study_calibration.py), which writes docs/calibration.md. ``--quick``: small sizes
and nothing written.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

_ROOT = Path(__file__).resolve().parents[1]
if str(_ROOT) not in sys.path:
    sys.path.insert(0, str(_ROOT))

from benchmarks import nuts_reference, study_calibration  # noqa: E402

from coldlash.wear.change import detect  # noqa: E402
from coldlash.wear.forecast import all_risks, recheck  # noqa: E402
from coldlash.wear.learn import learn  # noqa: E402
from coldlash.wear.simulate import Plan, simulate  # noqa: E402
from coldlash.wear.trend import fit, fit_many  # noqa: E402

ONE_ENGINE_BAR_S = 0.2
MANY_BAR_S = 60.0
MANY = 10_000
NUTS = _ROOT / "tests" / "outside" / "data" / "nuts_reference.json"


def _fastest(what: Callable[[], Any], rounds: int) -> float:
    times = []
    for _ in range(rounds):
        start = perf_counter()
        what()
        times.append(perf_counter() - start)
    return min(times)


def one_engine(rounds: int) -> None:
    """Eight valves, 40 visits: each part and their sum against the bar."""
    engine = study_calibration.flat_four()
    visits = simulate(engine, np.random.default_rng(1), Plan(visits=40)).visits
    trend = fit(engine, visits)
    parts = {
        "trend": lambda: fit(engine, visits),
        "hindsight (for drawing)": lambda: fit(engine, visits).history(engine.valves[0]),
        "change, both directions": lambda: detect(trend),
        "risks and next check": lambda: (all_risks(trend, 5000.0), recheck(trend)),
    }
    total = 0.0
    for name, what in parts.items():
        took = _fastest(what, rounds)
        if name.startswith("hindsight"):
            took -= _fastest(parts["trend"], rounds)
        total += took
        print(f"one engine, 8 valves x 40 visits: {name:26} {1000 * took:7.1f} ms")
    print(f"one engine, all of these:                                   {1000 * total:7.1f} ms (bar 200)")
    print(f"learning the figures from that book: {_fastest(lambda: learn([(engine, visits)]), 1):.2f} s")


def _chunk(task: tuple[int, int]) -> int:
    seed, count = task
    engine = study_calibration.flat_four()
    rng = np.random.default_rng(seed)
    some = [simulate(engine, rng, Plan(visits=40)).visits for _ in range(min(count, 100))]
    start = perf_counter()
    fit_many([(engine, some[i % len(some)]) for i in range(count)])
    return round(1e6 * (perf_counter() - start))


def many_engines(count: int) -> None:
    """Trends of many engines on two processes, and of half as many: linear in their number."""
    with ProcessPoolExecutor(2) as pool:
        seconds = []
        for n in (count // 2, count):
            # 100 simulated books a process, used again; each is laid out and filtered anew.
            seconds.append(max(pool.map(_chunk, [(1, n // 2), (2, n // 2)])) / 1e6)
    print(
        f"{count} engines' trends on two processes: {seconds[1]:.1f} s (bar {MANY_BAR_S:.0f} for {MANY}); half as many "
        f"take {seconds[1] / seconds[0]:.2f} times less"
    )


def against_nuts(rounds: int) -> None:
    """The same posterior by NumPyro's sampler (its stored time, from its own run) and by the filter here."""
    stored = json.loads(NUTS.read_text(encoding="utf-8"))
    for name, visits in nuts_reference.books().items():
        took = _fastest(lambda v=visits: fit(nuts_reference.flat_twin(), v), rounds)  # type: ignore[misc]
        nuts = stored["books"][name]["posterior"]["seconds"]
        print(
            f"posterior of book {name}: {1000 * took:.1f} ms, NUTS {nuts:.0f} s then: {nuts / took:,.0f} times"
        )


def main(arguments: Sequence[str]) -> int:
    """Run all; ``--quick`` small."""
    quick = "--quick" in arguments
    one_engine(1 if quick else 7)
    many_engines(200 if quick else MANY)
    against_nuts(1 if quick else 5)
    return study_calibration.main(arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
