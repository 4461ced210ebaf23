"""How long the timing of a thousand gaps takes, against solving each with a root finder in the same run.

The reference is SciPy's ``brentq`` on the same lift curve, one call for each opening and closing; both must agree to
a millionth of a degree. ``--quick`` runs each once.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import brentq

from coldlash.engine.lobe import LiftCurve, lobe_from_figures, lobe_from_table
from coldlash.engine.timing import timing_of

BAR_MS = 50.0
GAPS = np.linspace(0.0, 0.6, 1000)


def _fastest(what: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """(milliseconds of the fastest round, its result)."""
    times, result = [], None
    for _ in range(rounds):
        start = perf_counter()
        result = what()
        times.append(perf_counter() - start)
    return 1000 * min(times), result


def _by_root_finder(curve: LiftCurve) -> np.ndarray[Any, np.dtype[np.float64]]:
    def root(gap: float, foot: float) -> float:
        if gap <= 0:
            return foot
        return float(brentq(lambda d: float(curve.rise(d)) - gap, curve.peak_deg, foot, xtol=1e-9))

    return np.array([[root(g, curve.opens_deg), root(g, curve.closes_deg)] for g in GAPS]).T


def run(quick: bool = False) -> list[dict[str, Any]]:
    """One row a case: ``what``, ``ms``, ``bar_ms`` or None, ``reference``, ``reference_ms``, ``ratio`` or None."""
    figures = lobe_from_figures(350.0, 580.0, 8.5, 0.25, 12.0)
    rng = np.random.default_rng(4)
    cam = np.arange(0.0, 360.0, 2.0)
    lift = figures.rise(2 * cam) + rng.normal(0.0, 0.01, cam.size)
    rows_of_table = list(zip(cam.tolist(), lift.tolist(), strict=True))
    fit_ms, fit = _fastest(lambda: lobe_from_table(rows_of_table, 350.0, 580.0), 1 if quick else 10)

    rows: list[dict[str, Any]] = []
    for name, curve in (("lobe from figures", figures), ("lobe from a table", fit.curve)):

        def ours(curve: LiftCurve = curve) -> Any:
            return timing_of(curve, GAPS, "I", 3000.0, 0.15)

        def reference(curve: LiftCurve = curve) -> Any:
            return _by_root_finder(curve)

        ms, found = _fastest(ours, 1 if quick else 20)
        reference_ms, expected = _fastest(reference, 1)
        off = max(
            float(np.abs(found.opens_deg - expected[0]).max()),
            float(np.abs(found.closes_deg - expected[1]).max()),
        )
        if off > 1e-6:
            raise SystemExit(f"{name}: timing is {off:.2e} degrees off the root finder's")
        rows.append(
            {
                "what": f"timing of {GAPS.size} gaps, {name}",
                "ms": ms,
                "bar_ms": BAR_MS,
                "reference": "SciPy brentq, one root after the other",
                "reference_ms": reference_ms,
                "ratio": ms / reference_ms,
            }
        )
    rows.append(
        {
            "what": f"smoothing a degree-wheel table of {cam.size} rows",
            "ms": fit_ms,
            "bar_ms": None,
            "reference": None,
            "reference_ms": None,
            "ratio": None,
        }
    )
    return rows


def main() -> int:
    """Print the rows; 1 when a bar is missed (one quick round judges no bar)."""
    missed, quick = 0, "--quick" in sys.argv[1:]
    for row in run(quick):
        line = f"{row['what']}: {row['ms']:.2f} ms"
        if row["bar_ms"] is not None:
            missed += row["ms"] >= row["bar_ms"]
            line += f" (bar {row['bar_ms']:g} ms)"
        if row["ratio"] is not None:
            line += f"; {row['reference']}: {row['reference_ms']:.2f} ms; ratio {row['ratio']:.3g}"
        print(line)
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    raise SystemExit(main())
