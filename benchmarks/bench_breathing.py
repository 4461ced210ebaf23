"""How long a settled breathing cycle takes, against the same cycle in Cantera in the same run.

Both turn the same motored cylinder over the same number of times with the same areas, gas and nozzle formula, and
must agree to a thousandth in pressure at every degree. Ours also keeps the books of old gas, ports, work and heat.
``--quick`` runs each once.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

_ROOT = str(Path(__file__).resolve().parents[1])
if _ROOT not in sys.path:
    sys.path.insert(0, _ROOT)

from benchmarks.cantera_cycle import GAS, cantera_cycle  # noqa: E402

from coldlash.engine.filling import Conditions, Cycle, Opening, run_cycle  # noqa: E402
from coldlash.engine.lobe import lobe_from_figures  # noqa: E402
from coldlash.engine.slider_crank import Cylinder  # noqa: E402
from coldlash.engine.valve_flow import typical_valve  # noqa: E402

BAR_MS = 300.0
CYLINDER = Cylinder(85.5, 69.0, 137.0, 7.0)
INTAKE = Opening(lobe_from_figures(350.0, 580.0, 8.5, 0.25, 12.0), 0.15, typical_valve("I", 85.5))
EXHAUST = Opening(lobe_from_figures(135.0, 368.0, 8.5, 0.25, 12.0), 0.15, typical_valve("E", 85.5))


def _fastest(what: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """(milliseconds of the fastest round, its result)."""
    times, result = [], None
    for _ in range(rounds):
        start = perf_counter()
        result = what()
        times.append(perf_counter() - start)
    return 1000 * min(times), result


def run(quick: bool = False) -> list[dict[str, Any]]:
    """One row a case: ``what``, ``ms``, ``bar_ms`` or None, ``reference``, ``reference_ms``, ``ratio`` or None."""
    rounds = 1 if quick else 5
    rows: list[dict[str, Any]] = []
    for name, conditions in (
        ("fired, 3000 rpm", Conditions(rpm=3000.0)),
        ("cranked, 250 rpm", Conditions(rpm=250.0, fired=False)),
    ):

        def settled(conditions: Conditions = conditions) -> Cycle:
            return run_cycle(CYLINDER, INTAKE, EXHAUST, conditions)

        ms, cycle = _fastest(settled, rounds)
        rows.append(
            {
                "what": f"breathing, {name}, settled in {cycle.cycles} cycles of {cycle.deg.size - 1} steps",
                "ms": ms,
                "bar_ms": BAR_MS,
                "reference": None,
                "reference_ms": None,
                "ratio": None,
            }
        )

    motored = Conditions(rpm=3000.0, fired=False, port_share=1e10)
    ms, ours = _fastest(
        lambda: run_cycle(CYLINDER, INTAKE, EXHAUST, motored, 1e-6, fresh=GAS, burnt=GAS), rounds
    )
    reference_ms, theirs = _fastest(
        lambda: cantera_cycle(CYLINDER, INTAKE, EXHAUST, motored, cycles=ours.cycles), rounds
    )
    off = float(np.abs(np.interp(theirs.deg, ours.deg, ours.pressure_kpa) / theirs.pressure_kpa - 1).max())
    if off > 1e-3:
        raise SystemExit(f"pressure is {off:.1e} off Cantera's")
    rows.append(
        {
            "what": f"breathing, motored, 3000 rpm, {ours.cycles} cycles (pressure within {off:.0e})",
            "ms": ms,
            "bar_ms": None,
            "reference": "the same cycles in Cantera",
            "reference_ms": reference_ms,
            "ratio": ms / reference_ms,
        }
    )
    return rows


def main() -> int:
    """Print the rows; 1 when a bar is missed (one quick round judges no bar)."""
    missed, quick = 0, "--quick" in sys.argv[1:]
    for row in run(quick):
        line = f"{row['what']}: {row['ms']:.1f} ms"
        if row["bar_ms"] is not None:
            missed += row["ms"] >= row["bar_ms"]
            line += f" (bar {row['bar_ms']:g} ms)"
        if row["ratio"] is not None:
            line += f"; {row['reference']}: {row['reference_ms']:.1f} ms; ratio {row['ratio']:.3g}"
        print(line)
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
