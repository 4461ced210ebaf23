"""How long a plan of crank stops takes, against trying every set of places in the same run.

The reference is the brute force of the definition: every set of places, smallest sets first, scored in the
contract's order. Both get the same engine, marks and margin, and must agree on stops, least margin and turning.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations, pairwise
from time import perf_counter
from typing import Any

from coldlash.bench.stops import StopPlan, plan_stops
from coldlash.engine.firing import open_spans
from coldlash.engine.spec import Engine, GapSpec, Linkage, Pulley, ValveEvents

V12_ORDER = (1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10)
UNEVEN_16_GAPS = (20.0, 70, 15, 75, 40, 50, 35, 55, 45, 45, 60, 30, 25, 65, 10, 80)


def _engine(
    order: Sequence[int], gaps: Sequence[float] | None = None, marks: Sequence[float] = (0.0,)
) -> Engine:
    count = len(order)
    gap = GapSpec(0.15, 0.05, 0.30)
    return Engine(
        name=f"{count} cylinders",
        cylinders=count,
        firing_order=tuple(order),
        firing_gaps_deg=tuple(gaps or [720 / count] * count),
        turns="clockwise",
        heads=(tuple(range(1, count + 1)),),
        shared_lobes=(),
        events=ValveEvents(10, 40, 45, 8),
        gaps={"I": gap, "E": gap},
        linkage=Linkage(1.1),
        pulley=Pulley(175.0, tuple(marks)),
    )


def brute_force(engine: Engine, margin_deg: float) -> tuple[int, float, float]:
    """(stops, least margin, turning) of the best plan with rotation, by trying every set of places."""
    places = sorted(mark + turn for mark in engine.pulley.marks_deg for turn in (0.0, 360.0))
    rows = [[round(s.margin(t), 6) for t in places] for s in open_spans(engine).values()]
    rows = [row for row in rows if max(row) >= margin_deg]
    for size in range(1, len(places) + 1):
        best = max(
            (
                (least, -_way([places[i] for i in subset]))
                for subset in combinations(range(len(places)), size)
                if (least := min(max(row[i] for i in subset) for row in rows)) >= margin_deg
            ),
            default=None,
        )
        if best is not None:
            return size, best[0], -best[1]
    return 0, 0.0, 0.0


def _way(places: Sequence[float]) -> float:
    gaps = [b - a for a, b in pairwise(places)] + [places[0] + 720 - places[-1]]
    return round(720 - max(gaps), 6)


def _fastest(what: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """(milliseconds of the fastest round, its result)."""
    times, result = [], None
    for _ in range(rounds):
        start = perf_counter()
        result = what()
        times.append(perf_counter() - start)
    return 1000 * min(times), result


def run() -> list[dict[str, Any]]:
    """One row a case: ``what``, ``ms``, ``bar_ms`` or None, ``reference``, ``reference_ms``, ``ratio`` or None."""
    rows: list[dict[str, Any]] = []
    cases = [
        ("V12, one mark", _engine(V12_ORDER), 30.0, 50.0, True),
        ("V12, 12 marks", _engine(V12_ORDER, marks=[30.0 * i for i in range(12)]), 150.0, 50.0, True),
        (
            "16 uneven, 24 marks",
            _engine(range(1, 17), UNEVEN_16_GAPS, [15.0 * i for i in range(24)]),
            150.0,
            50.0,
            False,
        ),
    ]
    for what, engine, margin_deg, bar_ms, compare in cases:

        def plan(engine: Engine = engine, margin_deg: float = margin_deg) -> StopPlan:
            return plan_stops(engine, margin_deg=margin_deg)

        ms, found = _fastest(plan, 20)
        row: dict[str, Any] = {
            "what": f"plan of stops, {what}, margin {margin_deg:g}: {len(found.stops)} stops",
            "ms": ms,
            "bar_ms": bar_ms,
            "reference": None,
            "reference_ms": None,
            "ratio": None,
        }
        if compare:

            def brute(engine: Engine = engine, margin_deg: float = margin_deg) -> tuple[int, float, float]:
                return brute_force(engine, margin_deg)

            reference_ms, expected = _fastest(brute, 1)
            ours = (len(found.stops), round(found.least_margin_deg or 0.0, 6), round(found.total_turn_deg, 6))
            if ours != expected:
                raise SystemExit(f"{what}: the plan {ours} is not the brute force's {expected}")
            row |= {
                "reference": "brute force over every set of places",
                "reference_ms": reference_ms,
                "ratio": ms / reference_ms,
            }
        rows.append(row)
    return rows


def main() -> int:
    """Print the rows; 1 when a bar is missed."""
    missed = 0
    for row in run():
        line = f"{row['what']}: {row['ms']:.2f} ms"
        if row["bar_ms"] is not None:
            missed += row["ms"] >= row["bar_ms"]
            line += f" (bar {row['bar_ms']:g} ms)"
        if row["ratio"] is not None:
            line += f"; {row['reference']}: {row['reference_ms']:.2f} ms; ratio {row['ratio']:.3g}"
        print(line)
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
