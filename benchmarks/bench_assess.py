"""How long one whole answer takes (trend, change, causes, forecast, next tests, verdict), and what the beam saves.

    python -m benchmarks.bench_assess [--quick]

The reference of the beam is every combination of up to three causes, in the same run; both must name the same part.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from benchmarks.study_causes import ENGINE

from coldlash.engine.spec import Valve
from coldlash.wear.assessment import assess
from coldlash.wear.causes import DEFAULT_CAUSES, attribute
from coldlash.wear.combinations import EVERYTHING
from coldlash.wear.simulate import Event, Plan, simulate
from coldlash.wear.trend import fit

LIMIT_MS = 200.0


def _best(times: int, job: Callable[[], object]) -> float:
    """Shortest of several runs, ms."""
    took = []
    for _ in range(times):
        start = perf_counter()
        job()
        took.append(perf_counter() - start)
    return 1000.0 * min(took)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="two runs each, without every combination")
    quick = parser.parse_args().quick
    times = 2 if quick else 9
    event = Event(38, {Valve("E", 3): -1.0}, jump=0.10)
    visits = simulate(ENGINE, np.random.default_rng(1), Plan(visits=40), events=[event]).visits
    assess(ENGINE, visits)
    whole = _best(times, lambda: assess(ENGINE, visits))
    print(f"one engine, 8 valves, 40 visits, everything: {whole:.0f} ms (bar {LIMIT_MS:.0f} ms)")
    trend = fit(ENGINE, visits)
    beam = _best(times, lambda: attribute(trend))
    if quick:
        print(f"causes alone: {beam:.0f} ms; every combination is tried without --quick only")
        return
    wide = replace(DEFAULT_CAUSES, beam=EVERYTHING)
    every = _best(1, lambda: attribute(trend, wide))
    same = attribute(trend).causes[0].name == attribute(trend, wide).causes[0].name
    print(f"causes alone: {beam:.0f} ms; every combination {every:.0f} ms, {every / beam:.0f} times as long")
    if not same:
        raise SystemExit("the beam names another part than all combinations do")


if __name__ == "__main__":
    main()
