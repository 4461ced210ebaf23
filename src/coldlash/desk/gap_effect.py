"""What this gap does: timing, seating and seat wear of a cylinder's two valves, set, as asked and warm.

The desk's use case behind the page of that name: it puts the engine's own figures, the book's last readings and
typical zone temperatures together. Gaps mm, angles crank degrees, speeds rpm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coldlash.desk.figures import Figure, told
from coldlash.desk.shown import Shown
from coldlash.engine import breathing, heat, recession, slider_crank, timing
from coldlash.engine.lobe import LiftCurve, has_lobe, lift_curve
from coldlash.engine.spec import KIND_WORD, Engine, Kind, Valve
from coldlash.engine.timing import GapTiming
from coldlash.engine.zones import typical_hot
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.charts_curves import CRANK_STEPS, AxisWords, Curve, Shade, Style, curves_chart
from coldlash.paper.svg import Drawing
from coldlash.paper.words import NO_BREAK, Words
from coldlash.units import MM_PER_INCH, parse_number
from coldlash.wear.record import VisitRecord

USUAL_RPM = 3000.0
LEAST_RPM, MOST_RPM = 100.0, 15_000.0
STYLES: tuple[Style, Style, Style] = ("series-a", "series-b", "series-d")
DEG = "°"


@dataclass(frozen=True, slots=True)
class Asked:
    """The question: one cylinder, a gap for each of its valves, a speed. ``source``: where each gap comes from."""

    cylinder: int
    gaps_mm: Mapping[Kind, float]
    rpm: float
    source: Mapping[Kind, str]


@dataclass(frozen=True, slots=True)
class ValveEffect:
    """What its gap does to one valve. ``heads`` name the cases compared; every figure has a cell for each."""

    valve: Valve
    heads: tuple[str, ...]
    source: str
    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]
    closing: Drawing


@dataclass(frozen=True, slots=True)
class GapEffect:
    """The whole answer for a cylinder. ``warm``: temperatures the warm gaps were worked out for; empty = not known."""

    asked: Asked
    lift: Drawing
    valves: tuple[ValveEffect, ...]
    overlap: Figure
    overlap_heads: tuple[str, ...]
    warm: Mapping[str, float]
    notes: tuple[str, ...]


def asked_from(
    engine: Engine, visits: Sequence[VisitRecord], values: Mapping[str, str], shown: Shown
) -> Asked:
    """The question from what was typed (``cylinder``, ``intake``, ``exhaust``, ``rpm``; empty = as last found).

    Without a cylinder: the one whose last found gap is farthest from its set gap. Raises InputError.
    """
    typed = values.get("cylinder", "").strip()
    cylinder = _cylinder(engine, typed) if typed else _farthest(engine, visits)
    gaps: dict[Kind, float] = {}
    source: dict[Kind, str] = {}
    for kind in ("I", "E"):
        text = values.get(KIND_WORD[kind], "").strip()
        if text:
            gaps[kind], source[kind] = shown.to_mm(text, f"{kind}{cylinder}"), say("as you gave it")
        else:
            gaps[kind], source[kind] = _last_found(engine, visits, Valve(kind, cylinder))
    return Asked(cylinder, gaps, _rpm(values.get("rpm", "")), source)


def _cylinder(engine: Engine, text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= engine.cylinders:
        raise InputError(
            say("cylinder: {text!r} is not one of 1 to {cylinders}", text=text, cylinders=engine.cylinders)
        )
    return int(text)


def _rpm(text: str) -> float:
    rpm = parse_number(text, "rpm") if text.strip() else USUAL_RPM
    if not LEAST_RPM <= rpm <= MOST_RPM:
        raise InputError(
            say(
                "rpm: {rpm:g} turns a minute can't be used; give {least_rpm:g} to {most_rpm:g}, like 3000",
                rpm=rpm,
                least_rpm=LEAST_RPM,
                most_rpm=MOST_RPM,
            )
        )
    return rpm


def _found_mm(visits: Sequence[VisitRecord], valve: Valve) -> float | None:
    """The middle of the last found reading, the known end where only one is known."""
    for visit in reversed(visits):
        record = visit.valves.get(valve)
        if record is not None and record.found is not None:
            lo, hi = record.found.lo, record.found.hi
            if math.isinf(lo):
                return 0.0
            return lo if math.isinf(hi) else (lo + hi) / 2
    return None


def _last_found(engine: Engine, visits: Sequence[VisitRecord], valve: Valve) -> tuple[float, str]:
    found = _found_mm(visits, valve)
    if found is None:
        cold = engine.gap(valve).cold
        return cold, say("the set gap; nothing has been measured here yet")
    return found, say("as last found, the middle between the two blades")


def _farthest(engine: Engine, visits: Sequence[VisitRecord]) -> int:
    def off(valve: Valve) -> float:
        found = _found_mm(visits, valve)
        return 0.0 if found is None else abs(found - engine.gap(valve).cold)

    return max(engine.valves, key=lambda valve: (off(valve), -valve.cylinder)).cylinder


def gap_effect(engine: Engine, asked: Asked, shown: Shown) -> GapEffect:
    """Work it out. Raises InputError when the engine file has no lobe (naming the keys it needs)."""
    words = shown.words(engine.service)
    curves: dict[Kind, LiftCurve] = {kind: lift_curve(engine, kind) for kind in ("I", "E")}
    warming = _warming(engine)
    cases: dict[Kind, tuple[float, ...]] = {}
    for kind in ("E", "I"):
        gaps = [engine.gaps[kind].cold, asked.gaps_mm[kind]]
        if warming.hot is not None:
            gaps.append(asked.gaps_mm[kind] + warming.hot[kind].change_mm)
        cases[kind] = tuple(gaps)
    valves = tuple(
        _valve_effect(engine, curves[kind], asked, kind, cases[kind], warming, shown) for kind in ("E", "I")
    )
    both = timing.overlap(engine, cases["I"], cases["E"])
    turned = tuple(told(float(value), 1, DEG, words) for value in both.overlap_deg)
    open_words = say("Both valves of the cylinder open around overlap TDC; below 0: both shut for so long.")
    return GapEffect(
        asked,
        _lift_chart(curves, cases, asked.cylinder, words),
        valves,
        Figure(say("Overlap"), turned, timing.WHY["overlap_deg"], open_words),
        (say("set"), say("these gaps"), say("warm"))[: len(turned)],
        warming.zones,
        (*warming.notes, *curves["E"].notes, *curves["I"].notes),
    )


@dataclass(frozen=True, slots=True)
class _Warming:
    """How the gaps change from 20 C to an engine at work; ``hot`` None where that is not known, ``notes`` say why."""

    hot: Mapping[Kind, heat.HotGap] | None
    zones: Mapping[str, float]
    notes: tuple[str, ...]


def _warming(engine: Engine) -> _Warming:
    if not engine.stack:
        said = say("The engine file has no [[stack]], so what warmth does to the gap is not known.")
        return _Warming(None, {}, (said,))
    zones = typical_hot(engine)
    missing = [zone for zone in heat.zones_of(engine) if zone not in zones]
    if missing:
        said = say(
            "No usual temperature is known for zone {missing}; give it under Hot and cold.",
            missing=", ".join(missing),
        )
        return _Warming(None, {}, (said,))
    return _Warming(heat.hot_gap(engine, zones), zones, ())


# ---------------------------------------------------------------------------------------------- one valve


def _valve_effect(
    engine: Engine,
    curve: LiftCurve,
    asked: Asked,
    kind: Kind,
    gaps: tuple[float, ...],
    warming: _Warming,
    shown: Shown,
) -> ValveEffect:
    words = shown.words(engine.service)
    result = timing.timing(engine, np.array(gaps), kind, asked.rpm)
    names = (say("set"), say("this gap"), say("warm"))[: len(gaps)]
    heads = tuple(f"{name}, {_gap(mm, words)}" for name, mm in zip(names, gaps, strict=True))
    valve = Valve(kind, asked.cylinder)
    return ValveEffect(
        valve,
        heads,
        asked.source[kind],
        _sentences(valve, result, gaps, None if warming.hot is None else warming.hot[kind].sd_mm, words),
        _figures(engine, kind, result, gaps, words),
        _closing_chart(curve, valve, gaps, words),
    )


def _gap(mm: float, words: Words) -> str:
    return words.with_unit(words.about(mm))


def _sentences(
    valve: Valve, result: GapTiming, gaps: tuple[float, ...], warm_sd: float | None, words: Words
) -> tuple[str, ...]:
    said = []
    asked = gaps[1]
    if result.held_open[1]:
        said.append(
            say(
                "With {gap} {valve} is held open all the way round: it leaks, and burns.",
                gap=_gap(asked, words),
                valve=valve,
            )
        )
    elif result.never_opens[1]:
        said.append(
            say(
                "A gap of {gap} is as large as the lift: {valve} never opens.",
                gap=_gap(asked, words),
                valve=valve,
            )
        )
    elif abs(asked - gaps[0]) < 0.0005:
        said.append(say("{valve} stands at its set gap of {gap}.", valve=valve, gap=_gap(asked, words)))
    else:
        lost, energy = float(result.lost_deg[1]), float(result.seating_energy_ratio[1])
        harder = (
            say("lands with {energy:.2f} times the energy", energy=energy)
            if abs(energy - 1) >= 0.01
            else say("lands no harder")
        )
        told: dict[str, object] = {
            "valve": valve,
            "gap": _gap(asked, words),
            "set": _gap(gaps[0], words),
            "lost": f"{words.number(abs(lost), 1)}{DEG}",
            "harder": harder,
        }
        if lost > 0:
            said.append(say("{valve} at {gap} instead of {set} is open {lost} shorter and {harder}.", **told))
        else:
            said.append(say("{valve} at {gap} instead of {set} is open {lost} longer and {harder}.", **told))
    if result.off_ramp[1]:
        said.append(
            say(
                "That is more than the ramp of the lobe ({gap}): it opens with a knock, lands hard, and "
                "is heard.",
                gap=_gap(result.leaves_ramp_mm, words),
            )
        )
    if warm_sd is not None and not result.held_open[1]:
        likely = say(
            "about {gap}",
            gap=f"{words.about(gaps[2])}{NO_BREAK}±{NO_BREAK}{_gap(warm_sd, words)}",
        )
        if result.held_open[2]:
            said.append(
                say(
                    "Warm it would come to {likely}: held open, it can’t seat, leaks and burns.",
                    likely=likely,
                )
            )
        else:
            closes = say("; it may close, and then the valve can’t seat") if gaps[2] < warm_sd else ""
            if gaps[2] > asked:
                said.append(say("Warm, its gap grows to {likely}{closes}.", likely=likely, closes=closes))
            else:
                said.append(say("Warm, its gap shrinks to {likely}{closes}.", likely=likely, closes=closes))
    return tuple(said)


def _event(kind: Kind, opens: bool, deg: float, words: Words) -> str:
    """An angle past own firing TDC as it is said of a valve: "45.2° before BDC"."""
    if math.isnan(deg):
        return "\N{EN DASH}"
    bottom = (kind == "E") == opens
    past = (
        deg - {("E", True): 180.0, ("E", False): 360.0, ("I", True): 360.0, ("I", False): 540.0}[kind, opens]
    )
    angle = f"{words.number(abs(past), 1)}{DEG}"
    if bottom:
        return say("{angle} after BDC", angle=angle) if past >= 0 else say("{angle} before BDC", angle=angle)
    return say("{angle} after TDC", angle=angle) if past >= 0 else say("{angle} before TDC", angle=angle)


def _figures(
    engine: Engine, kind: Kind, t: GapTiming, gaps: tuple[float, ...], words: Words
) -> tuple[Figure, ...]:
    why = timing.WHY
    cases = range(len(gaps))

    def row(values: np.ndarray, places: int, unit: str, sign: bool = False) -> tuple[str, ...]:
        return tuple(told(float(value), places, unit, words, sign=sign) for value in values)

    speed_unit, length_unit = (" in/s", " in") if words.gap_unit == "in" else (" mm/s", " mm")
    lifts = np.array([words.gap_value(float(mm)) for mm in t.peak_lift_mm])
    speeds = np.array([words.gap_value(float(mm)) for mm in t.seating_mm_per_s])
    places = 3 if words.gap_unit == "in" else 2
    step, per_step = (
        (say(".001 in"), 0.001 * MM_PER_INCH / 0.01) if words.gap_unit == "in" else (say("0.01 mm"), 1.0)
    )
    figures = [
        Figure(
            say("Opens"),
            tuple(_event(kind, True, float(t.opens_deg[i]), words) for i in cases),
            why["opens_deg"],
            say("TDC, BDC: the piston’s upper and lower dead centre."),
        ),
        Figure(
            say("Closes"),
            tuple(_event(kind, False, float(t.closes_deg[i]), words) for i in cases),
            why["closes_deg"],
            say("From here on the valve sits, seals and cools."),
        ),
        Figure(say("Open for"), row(t.duration_deg, 1, DEG), why["closes_deg"], say("Closes less opens.")),
        Figure(
            say("Lifts by"),
            row(lifts, places, length_unit),
            why["opens_deg"],
            say("The lobe’s height less the gap."),
        ),
        Figure(
            say("Lands at, {rpm:.0f} rpm", rpm=t.rpm),
            row(speeds, 1 if words.gap_unit == "in" else 0, speed_unit),
            why["seating_mm_per_s"],
            say("How fast the valve meets its seat."),
        ),
        Figure(
            say("Landing energy"),
            row(t.seating_energy_ratio, 2, f"{NO_BREAK}×"),
            why["seating_energy_ratio"],
            say("Relative to the set gap; it goes with the square of the speed."),
        ),
        Figure(
            say("Seat wear a landing"),
            tuple(_wear(float(ratio), words) for ratio in t.seating_energy_ratio),
            recession.WHY["recession_ratio"],
            say("Relative to the set gap: from all sliding to all impact."),
        ),
        Figure(
            say("Each {step} more costs", step=step),
            row(t.deg_per_hundredth_mm * per_step, 2, DEG),
            why["deg_per_hundredth_mm"],
            say("Crank degrees of opening lost with that much more gap, from here."),
        ),
        Figure(
            say("The ramp reaches to"),
            (_gap(t.leaves_ramp_mm, words),) * len(gaps),
            why["leaves_ramp_mm"],
            say("With a gap beyond it the valve lands off the gentle part of the lobe."),
        ),
    ]
    if kind == "I":
        figures += _trapped(engine, gaps, words)
    return tuple(figures)


def _wear(energy: float, words: Words) -> str:
    if math.isnan(energy):
        return "\N{EN DASH}"
    ratio = recession.wear_ratio(math.sqrt(energy))
    least, most = float(ratio.least), float(ratio.most)
    if abs(most - least) < 0.005:
        return f"{words.number(1.0, 2)}{NO_BREAK}×"
    return f"{words.number(least, 2)}–{words.number(most, 2)}{NO_BREAK}×"


def _trapped(engine: Engine, gaps: tuple[float, ...], words: Words) -> list[Figure]:
    """What the closing intake traps; nothing where the engine file has no geometry."""
    cells = []
    for gap in gaps:
        try:
            caught = breathing.trapped(engine, gap)
        except InputError:
            cells.append("\N{EN DASH}")  # held open, never open, or no geometry
            continue
        cells.append(f"{words.number(caught.effective_compression_ratio, 2)} : 1")
    if all(cell == "\N{EN DASH}" for cell in cells):
        return []
    return [
        Figure(
            say("Compresses"),
            tuple(cells),
            slider_crank.WHY["effective_compression_ratio"],
            say("Compression ratio counted from where the intake valve closes."),
        )
    ]


# ---------------------------------------------------------------------------------------------- pictures


def _lift_chart(
    curves: Mapping[Kind, LiftCurve], cases: Mapping[Kind, tuple[float, ...]], cylinder: int, words: Words
) -> Drawing:
    """Lift against crank angle: both valves, every case, the ramps shaded."""
    start, end = curves["E"].opens_deg - 10, curves["I"].closes_deg + 10
    names = (say("set"), say("this gap"), say("warm"))
    drawn, shades = [], []
    for kind in ("E", "I"):
        curve = curves[kind]
        for case, gap in enumerate(cases[kind]):
            reach = (start, end) if gap < 0 else (curve.opens_deg, curve.closes_deg)
            drawn.append(
                Curve(
                    f"{kind}{cylinder} {names[case]}",
                    _lift_points(curve, gap, *reach, words),
                    STYLES[case],
                    names[case],
                )
            )
        shades += _ramps(curve)
    return curves_chart(
        say("Lift of E{cylinder} and I{cylinder}", cylinder=cylinder),
        drawn,
        AxisWords(say("crank degrees past firing TDC"), 0, CRANK_STEPS),
        AxisWords(say("lift, {unit}", unit=words.gap_unit), 2 if words.gap_unit == "in" else 1),
        shades=shades,
        shade_words=say("ramp of the lobe"),
        marks=[(180.0, say("BDC")), (360.0, say("overlap TDC")), (540.0, say("BDC"))],
        words=words,
    )


def _ramps(curve: LiftCurve) -> list[Shade]:
    if curve.ramp_mm <= 0:
        return []
    up, down = curve.crossings(curve.ramp_mm)
    return [Shade(curve.opens_deg, float(up)), Shade(float(down), curve.closes_deg)]


def _lift_points(
    curve: LiftCurve, gap: float, start: float, end: float, words: Words, count: int = 361
) -> list[tuple[float, float]]:
    degrees = np.linspace(start, end, count)
    lifts = curve.lift(degrees, gap)
    return [(float(deg), words.gap_value(float(lift))) for deg, lift in zip(degrees, lifts, strict=True)]


def _closing_chart(curve: LiftCurve, valve: Valve, gaps: tuple[float, ...], words: Words) -> Drawing:
    """The last of the closing, enlarged: where the curve meets the seat, and how steeply."""
    tall = max(2.0 * curve.ramp_mm, 1.5 * max(gaps), 0.5)
    tall = min(tall, 0.9 * curve.peak_mm)
    start = float(curve.crossings(tall)[1])
    end = curve.closes_deg + 4
    names = (say("set"), say("this gap"), say("warm"))
    drawn = [
        Curve(name, _lift_points(curve, gap, start, end, words, 181), style)
        for name, gap, style in zip(names, gaps, STYLES, strict=False)
    ]
    shades = [shade for shade in _ramps(curve)[1:] if shade.start < end]
    return curves_chart(
        say("{valve} closing, enlarged", valve=valve),
        drawn,
        AxisWords(say("crank degrees past firing TDC"), 0, (1.0, 2.0, 5.0, 10.0, 20.0, 30.0)),
        AxisWords(say("lift, {unit}", unit=words.gap_unit), 3 if words.gap_unit == "in" else 1),
        shades=[Shade(max(s.start, start), s.end) for s in shades],
        shade_words=say("ramp of the lobe"),
        words=words,
    )


# ---------------------------------------------------------------------------------------------- breathing


@dataclass(frozen=True, slots=True)
class BreathingCost:
    """What one valve's gap costs its cylinder in breathing, against the set gaps."""

    valve: Valve
    heads: tuple[str, ...]
    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]
    assumptions: tuple[str, ...]


def breathing_cost(engine: Engine, valve: Valve, gap_mm: float, rpm: float, shown: Shown) -> BreathingCost:
    """Run the cycle with the set gaps and with this one (about a second, then remembered).

    Raises InputError naming what the engine file needs, ConvergenceError when the cycle doesn't settle.
    """
    words = shown.words(engine.service)
    hot = _warming(engine).hot
    key = None if hot is None else (hot["I"].change_mm, hot["E"].change_mm)
    cost = _cost(_Engine(engine), valve, gap_mm, rpm, key)
    why = breathing.WHY
    percent = " %"

    def pair(was: float, now: float, places: int, unit: str) -> tuple[str, str]:
        return told(was, places, unit, words), told(now, places, unit, words)

    was, now = cost.running_set, cost.running_now
    figures = (
        Figure(
            say("Fills itself to"),
            pair(100 * was.volumetric_efficiency, 100 * now.volumetric_efficiency, 1, percent),
            why["volumetric_efficiency"],
            say("Fresh air against what would fit, at {rpm:.0f} rpm.", rpm=rpm),
        ),
        Figure(
            say("Burnt gas left"),
            pair(100 * was.residual_fraction, 100 * now.residual_fraction, 1, percent),
            why["residual_fraction"],
            say("Share of the gas that stays from the cycle before."),
        ),
        Figure(
            say("Compression test"),
            ("100 %", told(100 * cost.cranking_share, 0, percent, words)),
            why["cranking_share"],
            say("What a gauge would show, cranked, against the set gaps."),
        ),
        Figure(
            say("Keeps its gas"),
            pair(100 * cost.cranking_set.kept, 100 * cost.cranking_now.kept, 0, percent),
            why["kept"],
            say("Cranked, from the closing of the intake to firing TDC."),
        ),
    )
    heads = (
        say("set, {gap}", gap=_gap(cost.set_gap_mm, words)),
        say("this gap, {gap}", gap=_gap(gap_mm, words)),
    )
    return BreathingCost(valve, heads, cost.sentences(lambda mm: _gap(mm, words)), figures, cost.assumptions)


class _Engine:
    """An engine as a key: engines hold dicts, which can't be hashed, but one text gives one engine object."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def __hash__(self) -> int:
        return id(self.engine)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Engine) and other.engine is self.engine


@lru_cache(maxsize=64)
def _cost(
    of: _Engine, valve: Valve, gap_mm: float, rpm: float, change: tuple[float, float] | None
) -> breathing.GapCost:
    hot: dict[Kind, float] | None = None if change is None else {"I": change[0], "E": change[1]}
    return breathing.what_it_costs(of.engine, valve, gap_mm, rpm, hot_change_mm=hot)


def has_lobes(engine: Engine) -> bool:
    """True when the engine file says how both lobes lift."""
    return has_lobe(engine, "I") and has_lobe(engine, "E")
