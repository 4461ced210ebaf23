"""Drawings of every kind, ordinary and extreme, for tests: ``from tests.paper.gallery import GALLERY``.

All figures are invented; what is tested is the drawing.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from math import cos, inf, pi
from random import Random

from tests.engines import flat_four, flat_six, flat_twin, inline_four, make_engine

from coldlash.bench.stops import plan_stops
from coldlash.engine.spec import GapSpec, Valve
from coldlash.paper.charts_bars import CauseRow, DriftRow, cause_ranking, drift_chart
from coldlash.paper.charts_curves import CRANK_STEPS, AxisWords, Curve, Shade, curves_chart, fit_chart
from coldlash.paper.charts_history import Ahead, ValveHistory, history
from coldlash.paper.drawings_gap import gap_scale
from coldlash.paper.drawings_plan import engine_plan
from coldlash.paper.drawings_pulley import pulley_face
from coldlash.paper.drawings_ring import closed_strip, cycle_ring
from coldlash.paper.readings import Band, BandPoint, GapView
from coldlash.paper.svg import Drawing
from coldlash.paper.words import Words
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

SPEC = GapSpec(0.15, 0.05, 0.30)
COARSE = tuple(i / 20 for i in range(1, 21))
FINE = tuple(i / 100 for i in range(3, 51))
INCH = Words(gap_unit="in", distance_unit="mi")
COMMA = Words(decimal=",")
E3 = Valve("E", 3)
NAMES = (
    "Лодочный мотор",
    "Κινητήρας Αίγινας",
    "محرك القارب",
    "消防車のエンジン",
    'Pump <2> & "spare"',
    "Mått & Söner's",
)


def band(mean: float, sd: float) -> Band:
    return Band(mean - 1.64 * sd, mean + 1.64 * sd, mean - 0.67 * sd, mean + 0.67 * sd)


def views(engine, seed: int = 1) -> dict[Valve, GapView]:
    """Every kind of reading spread over the valves."""
    chance = Random(seed)
    kinds = [
        GapInterval(0.10, 0.15),
        GapInterval(0.15, 0.20),
        GapInterval(-inf, 0.05),
        GapInterval(0.5, inf),
        GapInterval(0.15, 0.15),
        GapInterval(0.125, 0.175),
        None,
    ]
    return {
        valve: GapView(
            str(valve),
            engine.gap(valve),
            kinds[i % len(kinds)],
            None if i % 5 == 4 else band(chance.uniform(0.05, 0.2), 0.02),
            blades_mm=COARSE,
        )
        for i, valve in enumerate(engine.valves)
    }


def engine_of(cylinders: int, layout: str | None, *, rows: bool, heads: str = "bank"):
    """An evenly firing engine of one or two banks; ``heads`` "bank" or "single"."""
    numbers = tuple(range(1, cylinders + 1))
    two = layout in ("flat", "vee") and cylinders > 1
    if heads == "single":
        groups = tuple((n,) for n in numbers)
    elif two:
        half = (cylinders + 1) // 2
        groups = (numbers[:half], numbers[half:])
    else:
        groups = (numbers,)
    fields = {"layout": layout}
    if rows:
        fields["rows"] = tuple(
            tuple(Valve(k, c) for i, c in enumerate(group) for k in ("EI" if i % 2 == 0 else "IE"))
            for group in groups
        )
    return make_engine(numbers, heads=groups, marks=(0.0, 180.0), **fields)


def visits(count: int, step: float = 0.05, every_km: float = 5000, seed: int = 3) -> ValveHistory:
    """A valve that creeps tight and is set again, with a restart and visits where it was not measured."""
    chance = Random(seed)
    start, km, gap = date(2006, 4, 3), 61200.0, 0.15
    rows, runs = [], [[]]

    def day(at: float) -> date:
        return start + timedelta(days=int(at - 61200) // 15)

    for i in range(count):
        runs[-1].append(BandPoint(km, band(gap, 0.014), day(km)))
        lo = int((gap + chance.gauss(0, 0.008)) / step) * step
        found = GapInterval(lo, lo + step) if lo > 0 else GapInterval(-inf, step)
        adjusted = abs(gap - 0.15) > 0.035
        left = GapInterval(0.15, 0.2) if adjusted and i % 2 else None
        record = ValveRecord(found, adjusted, 0.15 if adjusted else None, left, i == int(count * 0.6))
        if i % 9 == 5:
            record = ValveRecord()
        rows.append(VisitRecord(day(km), km, {E3: record}))
        if record.adjusted or record.restart:
            gap = 0.157
            runs.append([BandPoint(km + 1, band(gap, 0.01), day(km))])
        moved = every_km * chance.uniform(0.7, 1.3)
        km, gap = km + moved, gap - 0.004 * moved / 1000
    runs[-1].append(BandPoint(km, band(gap, 0.02), day(km)))
    fan = [
        BandPoint(km + k * 1000, band(gap - 0.004 * k, 0.02 + 0.004 * k), day(km + k * 1000))
        for k in range(11)
    ]
    ahead = [Ahead("next", km + 5000, day(km + 5000)), Ahead("after", km + 10000, day(km + 10000))]
    return ValveHistory(E3, SPEC, rows, runs, fan, ahead)


def lift(at: float, centre: float) -> float:
    return max(0.0, 8.5 * cos((at - centre) / 260 * pi) ** 2) if abs(at - centre) < 130 else 0.0


def drifts(count: int) -> list[DriftRow]:
    valves = [Valve(k, c) for c in range(1, count + 1) for k in ("I", "E")]
    means = (-0.002, -0.004, 0.0, -0.012, None, 0.006)
    return [
        DriftRow(v, None if (m := means[i % 6]) is None else band(m, 0.0014)) for i, v in enumerate(valves)
    ]


@cache
def gallery() -> tuple[tuple[str, Drawing], ...]:
    """Name and drawing of every case."""
    out: list[tuple[str, Drawing]] = []
    likely = band(0.14, 0.018)
    gaps = {
        "reading": GapView("E3", SPEC, GapInterval(0.10, 0.15), likely, blades_mm=COARSE),
        "not measured": GapView("I1", SPEC, None, likely, blades_mm=COARSE),
        "no blade goes": GapView("E1", SPEC, GapInterval(-inf, 0.05), band(0.02, 0.04), blades_mm=COARSE),
        "thickest goes": GapView("E2", SPEC, GapInterval(1.0, inf), None, blades_mm=COARSE),
        "set and left": GapView(
            "E4", SPEC, GapInterval(0.2, 0.23), likely, GapInterval(0.13, 0.18), 0.15, FINE
        ),
        "only left": GapView("E4", SPEC, None, likely, GapInterval(0.13, 0.18), 0.15, FINE),
        "drag, no lower limit": GapView("I4", GapSpec(0.0, None, 0.1), GapInterval(0.05, 0.05), None),
        "limits close together": GapView("I2", GapSpec(0.10, 0.09, 0.11), GapInterval(0.1, 0.101), likely),
        "far out": GapView("I2", SPEC, GapInterval(2.0, 2.05), band(-0.4, 0.1), blades_mm=COARSE),
    }
    for name, view in gaps.items():
        for words, tongue in ((Words(), ""), (INCH, ", inches"), (COMMA, ", comma")):
            out.append((f"gap: {name}{tongue}", gap_scale(view, words=words)))
        out.append((f"gap: {name}, wide", gap_scale(view, width=640)))
    for cylinders in (*range(1, 9), 12, 16):
        for layout in ("inline", "flat", "vee", None):
            engine = engine_of(cylinders, layout, rows=cylinders % 2 == 0)
            here = engine.valves[:3]
            out.append((f"plan: {cylinders} {layout}", engine_plan(engine, views(engine), here=here)))
    single_heads = engine_of(8, "vee", rows=True, heads="single")
    out.append(("plan: single heads", engine_plan(single_heads, {})))
    out.append(("plan: wide", engine_plan(flat_four(), views(flat_four()), width=680)))
    out.append(("plan: inches", engine_plan(flat_four(), views(flat_four()), words=INCH)))
    for name in NAMES:
        out.append((f"plan: {name}", engine_plan(flat_twin(name=name), {})))
    marked = flat_four(marks=(0.0, 10.0, 180.0, 350.0, 352.5), turns="counterclockwise")
    crowded = flat_four(marks=tuple(range(0, 360, 10)))
    for label, engine in (
        ("four", flat_four()),
        ("anticlockwise, many marks", marked),
        ("crowded", crowded),
        ("six", flat_six()),
        ("twin", make_engine((1, 2), gaps=(270, 450), layout="vee", heads=((1,), (2,)))),
        ("single", make_engine((1,))),
        ("sixteen", engine_of(16, "vee", rows=True)),
        ("twelve", engine_of(12, "vee", rows=False)),
        ("inline four", inline_four()),
    ):
        for by in ("fewest", "cylinder"):
            for turn in ("with", "against"):
                plan = plan_stops(engine, by, turn)
                for index, stop in list(enumerate(plan.stops))[:3]:
                    out.append((f"pulley: {label} {by} {turn} {index}", pulley_face(engine, stop)))
        stop = plan_stops(engine).stops[-1]
        out.append((f"ring: {label}", cycle_ring(engine, stop)))
        checked = [entry.valve for entry in stop.valves]
        out.append((f"strip: {label}", closed_strip(engine, stop.crank_deg, here=checked)))
    out.append(("strip: between", closed_strip(flat_four(), 77.5)))
    for name, chart in (
        ("twenty visits", visits(20)),
        ("two hundred visits", visits(200, 0.01, 900)),
        ("one visit", ValveHistory(E3, SPEC, visits(20).visits[:1])),
        ("no visit", ValveHistory(E3, GapSpec(0.0, None, 0.1), [])),
        (
            "not measured once",
            ValveHistory(E3, SPEC, [VisitRecord(date(2020, 2, 29), 1e6, {E3: ValveRecord()})]),
        ),
    ):
        out.append((f"history: {name}", history(chart)))
        out.append((f"history: {name}, dates", history(chart, axis="date", words=INCH, width=640)))
    for count in (1, 4, 16):
        out.append((f"drift: {count}", drift_chart(drifts(count))))
    out.append(("drift: inches", drift_chart(drifts(4), words=INCH)))
    causes = [
        CauseRow(
            "seat receding or valve stretching",
            "E3",
            0.71,
            (0.06, 0.02),
            "tighter",
            "an early stretching valve",
        ),
        CauseRow(
            "session offset: engine not cold, another hand", "all valves read", 0.996, (0.02, 0.01), "looser"
        ),
        CauseRow("shared lobe and its lifters wearing", "I1 I3", 0.004),
        CauseRow("head settling", "", 0.0),
    ]
    out.append(("causes", cause_ranking(causes)))
    degrees = [float(x) for x in range(100, 620)]
    crank = AxisWords("crank degrees past firing TDC 1", 0, CRANK_STEPS)
    out.append(
        (
            "curves",
            curves_chart(
                "Lift of cylinder 1",
                [
                    Curve("intake", [(x, lift(x, 455)) for x in degrees], "series-a"),
                    Curve("exhaust", [(x, lift(x, 250)) for x in degrees], "series-b"),
                ],
                crank,
                AxisWords("lift, mm", 1),
                shades=[Shade(120, 140), Shade(360, 382)],
                shade_words="ramp",
                marks=[(180, "BDC"), (360, "TDC"), (365, "here"), (540, "BDC")],
            ),
        )
    )
    measured = [(x, lift(x, 250) + 0.02 * cos(x)) for x in degrees[:300:7]]
    rest = [(x, 0.02 * cos(x)) for x, _ in measured]
    out.append(
        (
            "fit",
            fit_chart(
                "Lift table of E1",
                measured,
                [(x, lift(x, 250)) for x in degrees[:300]],
                rest,
                AxisWords("cam degrees", 0, CRANK_STEPS),
                AxisWords("lift, mm", 1),
                error=0.014,
            ),
        )
    )
    return tuple(out)
