"""What a gap costs in breathing: trapped volume, filling, leftover gas, cranking compression.

Answers by running the cycle of ``engine.filling`` twice, once with the set gaps and once with the gap in
question, and comparing. Absolute figures lean on typical valve sizes and on a model without pipes; the
comparison of one gap with another on the same engine is what it is good for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldlash.engine.filling import Conditions, Cycle, Opening, run_cycle
from coldlash.engine.lobe import events_deg, has_lobe, lift_curve
from coldlash.engine.slider_crank import cylinder_of
from coldlash.engine.spec import Engine, Kind, Valve
from coldlash.engine.valve_flow import TimeArea, ValveSize, inlet_mach_index, time_area, typical_valve
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, number, say

Array = NDArray[np.float64]

CRANKING_RPM = 250.0
"""A starter's speed (typical, from memory)."""

RUNNING_RPM = 3000.0

WHY: dict[str, Why] = {
    "volumetric_efficiency": Why(
        mark(
            "fresh air taken in through the intake valve less what went back / (swept volume x density "
            "of the air outside)"
        ),
        mark("geometry, lift curves, gaps, valve sizes, speed, pressures and temperature"),
        mark(
            "filling-and-emptying model: first law for one zone, isentropic nozzle flow through the "
            "valves (Heywood 1988 ch. 6 and 14, from memory); checked against Cantera on the same cycle"
        ),
        mark(
            "no pipes (no ram, no tuning), no carburettor, typical valve sizes: compare gaps, don't "
            "promise power"
        ),
    ),
    "residual_fraction": Why(
        mark("gas left from the cycle before / all gas in the cylinder when the intake closes"),
        mark("as for filling"),
        mark("same model; gas is marked when it burns (or at firing TDC when cranked)"),
        mark("open ports at constant pressure; a silencer's back pressure adds to it"),
    ),
    "cranking_share": Why(
        mark("highest gauge pressure when cranked with this gap / with the set gaps"),
        mark("as for filling, at cranking speed, nothing burning"),
        mark("same model"),
        mark(
            "its absolute pressure is too high (no heat lost, no rings leaking unless said); the share "
            "is the answer"
        ),
    ),
    "kept": Why(
        mark("gas still in the cylinder at firing TDC / gas in it when the intake closed"),
        mark("as for filling; below 1 when a valve is held open or a leak is given"),
        mark("same model"),
        mark("a valve held open by its pushrod is taken as an even ring all round its seat"),
    ),
}


@dataclass(frozen=True, slots=True)
class Trapped:
    """What the closing intake traps at low speed. ``closes_deg``: crank degrees past own firing TDC.

    ``from_lobe`` False: no lobe in the file, the stated event was taken and the gap plays no part.
    """

    gap_mm: float
    closes_deg: float
    volume_cm3: float
    effective_compression_ratio: float
    from_lobe: bool


def trapped(engine: Engine, intake_gap_mm: float | None = None) -> Trapped:
    """Volume above the piston when the intake closes with this gap (default: the set gap).

    Raises InputError without geometry (naming the keys), or for an intake that is held open or never opens.
    """
    cylinder = cylinder_of(engine)
    gap = engine.gaps["I"].cold if intake_gap_mm is None else intake_gap_mm
    from_lobe = has_lobe(engine, "I")
    if from_lobe:
        curve = lift_curve(engine, "I")
        if not 0 <= gap < curve.peak_mm:
            raise InputError(
                say(
                    "with a gap of {gap:g} mm the intake traps nothing; it must be 0 or more and below the peak "
                    "lift",
                    gap=gap,
                )
            )
        closes = float(curve.crossings(gap)[1])
    else:
        closes = events_deg(engine, "I")[1]
    volume = float(cylinder.volume_cm3(closes))
    return Trapped(gap, closes % 720.0, volume, volume / cylinder.clearance_cm3, from_lobe)


def valve_sizes(engine: Engine, given: Mapping[Kind, ValveSize] | None = None) -> dict[Kind, ValveSize]:
    """The sizes given, typical ones for this bore for the rest."""
    bore = cylinder_of(engine).bore_mm
    return {kind: (given or {}).get(kind) or typical_valve(kind, bore) for kind in ("I", "E")}


def flow_offer(
    engine: Engine, kind: Kind, gap_mm: float, rpm: float | Sequence[float], size: ValveSize | None = None
) -> TimeArea:
    """Time-area of one kind of valve with this gap, mm, at these speeds. Raises InputError without lobe or bore."""
    chosen = size or typical_valve(kind, cylinder_of(engine).bore_mm)
    return time_area(lift_curve(engine, kind), gap_mm, chosen, rpm)


def inlet_mach(
    engine: Engine,
    gap_mm: float,
    rpm: float | Sequence[float],
    air_c: float = 20.0,
    size: ValveSize | None = None,
) -> tuple[Array, Array]:
    """Taylor's inlet Mach index and the mean inlet Mach number with this intake gap at these speeds."""
    cylinder = cylinder_of(engine)
    chosen = size or typical_valve("I", cylinder.bore_mm)
    return inlet_mach_index(cylinder, flow_offer(engine, "I", gap_mm, rpm, chosen), chosen, air_c)


def cycle(
    engine: Engine,
    gaps_mm: Mapping[Kind, float],
    conditions: Conditions,
    sizes: Mapping[Kind, ValveSize] | None = None,
) -> Cycle:
    """One cylinder of this engine with these gaps (as they are then, hot or cold; a kind left out: its set gap).

    Raises InputError naming the keys the engine file needs, ConvergenceError when the cycle doesn't settle.
    """
    cylinder = cylinder_of(engine)
    size = valve_sizes(engine, sizes)
    valves = {
        kind: Opening(lift_curve(engine, kind), gaps_mm.get(kind, engine.gaps[kind].cold), size[kind])
        for kind in ("I", "E")
    }
    return run_cycle(cylinder, valves["I"], valves["E"], conditions)


@dataclass(frozen=True, slots=True)
class GapCost:
    """What one valve's gap costs its cylinder. ``..._set``: with the set gaps; ``..._now``: with this gap.

    ``hot_change_mm``: added to the gaps of each kind while running (not while cranking).
    """

    valve: Valve
    gap_mm: float
    set_gap_mm: float
    rpm: float
    hot_change_mm: dict[Kind, float]
    running_set: Cycle
    running_now: Cycle
    cranking_set: Cycle
    cranking_now: Cycle
    crankcase_kpa: float
    assumptions: tuple[str, ...]

    @property
    def filling_change(self) -> float:
        """Relative change of volumetric efficiency at speed; negative = less air."""
        return self.running_now.volumetric_efficiency / self.running_set.volumetric_efficiency - 1

    @property
    def work_change(self) -> float:
        """Relative change of the net work of a cycle at speed; negative = weaker."""
        return (self.running_now.imep_kpa - self.running_set.imep_kpa) / abs(self.running_set.imep_kpa)

    @property
    def residual_change(self) -> float:
        """Change of the leftover share at speed, 0.01 = one percentage point more."""
        return self.running_now.residual_fraction - self.running_set.residual_fraction

    @property
    def cranking_share(self) -> float:
        """Gauge pressure of a compression test with this gap over that with the set gaps."""
        now = self.cranking_now.peak_kpa - self.crankcase_kpa
        return now / (self.cranking_set.peak_kpa - self.crankcase_kpa)

    @property
    def running_gap_mm(self) -> float:
        """The gap while running: as given plus what heat adds."""
        return self.gap_mm + self.hot_change_mm[self.valve.kind]

    def sentences(self, in_words: Callable[[float], str] | None = None) -> tuple[str, ...]:
        """What it means, most important first; ``in_words`` puts a gap, mm, into words with its unit."""
        gap_words = in_words or _mm_words
        name = say("{valve} at {gap}", valve=self.valve, gap=gap_words(self.gap_mm))
        said = []
        if self.gap_mm < 0:
            said.append(
                say(
                    "{name}: the valve is held open and never seats. Cranked, the cylinder keeps {kept:.0f} % of "
                    "its gas; a compression test would show about {cranking_share:.0f} % of what it shows with "
                    "the set gap. Don't run it like this.",
                    name=name,
                    kept=100 * self.cranking_now.kept,
                    cranking_share=100 * self.cranking_share,
                )
            )
        elif self.running_gap_mm < 0:
            said.append(
                say(
                    "{name} cold becomes {gap} warm: the valve would be held open while running and never seat. "
                    "Don't run it like this.",
                    name=name,
                    gap=gap_words(self.running_gap_mm),
                )
            )
        if self.running_gap_mm >= 0:
            said.append(
                say(
                    "{name} instead of {gap}: at {rpm:.0f} rpm the cylinder takes in {air} and {burnt} "
                    "stays behind; its work changes by {signed} %.",
                    name=name,
                    gap=gap_words(self.set_gap_mm),
                    rpm=self.rpm,
                    air=_air(self.filling_change),
                    burnt=_burnt(self.residual_change),
                    signed=_signed(100 * self.work_change),
                )
            )
        if self.gap_mm >= 0:
            said.append(
                say(
                    "A compression test would show {cranking_share:.0f} % of what it shows with the set gap.",
                    cranking_share=100 * self.cranking_share,
                )
            )
        if self.valve.kind == "E" and self.gap_mm < self.set_gap_mm:
            said.append(
                say(
                    "Breathing is not what harms a tight exhaust valve: it cools through its seat, and a valve "
                    "that seats briefly or not at all burns."
                )
            )
        if self.gap_mm > self.set_gap_mm:
            said.append(
                say("Breathing is the smaller part of a loose gap: how hard the valve lands is under timing.")
            )
        return tuple(said)


def what_it_costs(
    engine: Engine,
    valve: Valve,
    gap_mm: float,
    rpm: float = RUNNING_RPM,
    cranking_rpm: float = CRANKING_RPM,
    hot_change_mm: Mapping[Kind, float] | None = None,
    leak_mm2: float = 0.0,
    sizes: Mapping[Kind, ValveSize] | None = None,
) -> GapCost:
    """What this engine loses with ``valve`` at ``gap_mm`` (cold; negative = held open), the other at its set gap.

    ``hot_change_mm`` by kind, from the heat model, is added while running. ``leak_mm2``: effective leak area past
    the rings, 0 = tight. Four cycle runs. Raises InputError naming what the engine file needs, or for a valve
    the engine hasn't.
    """
    engine.valve(str(valve))
    size = valve_sizes(engine, sizes)
    change: dict[Kind, float] = {kind: float((hot_change_mm or {}).get(kind, 0.0)) for kind in ("I", "E")}
    set_gaps: dict[Kind, float] = {kind: engine.gaps[kind].cold for kind in ("I", "E")}
    now_gaps: dict[Kind, float] = {**set_gaps, valve.kind: float(gap_mm)}
    running = Conditions(rpm=rpm, leak_mm2=leak_mm2)
    cranking = Conditions(rpm=cranking_rpm, fired=False, leak_mm2=leak_mm2)

    def hot(gaps: dict[Kind, float]) -> dict[Kind, float]:
        return {kind: gap + change[kind] for kind, gap in gaps.items()}

    typical = [kind for kind in ("I", "E") if size[kind].typical]
    assumptions = (
        [say("valve sizes are typical for this bore, not this engine's: compare, don't quote")]
        if typical
        else []
    )
    assumptions.append(
        say("no pipes, no carburettor, no heat to the walls; gaps compared on the same cylinder")
    )
    if any(change.values()):
        assumptions.append(say("running, the gaps are those of the warm engine as the heat model gives them"))
    return GapCost(
        valve=valve,
        gap_mm=float(gap_mm),
        set_gap_mm=set_gaps[valve.kind],
        rpm=rpm,
        hot_change_mm=change,
        running_set=cycle(engine, hot(set_gaps), running, size),
        running_now=cycle(engine, hot(now_gaps), running, size),
        cranking_set=cycle(engine, set_gaps, cranking, size),
        cranking_now=cycle(engine, now_gaps, cranking, size),
        crankcase_kpa=cranking.crankcase_kpa,
        assumptions=tuple(assumptions),
    )


def _mm_words(value: float) -> str:
    return f"{number(value, '.2f')} mm".replace("-", "\N{MINUS SIGN}")


def _signed(value: float) -> str:
    return number(value, "+.1f").replace("-", "\N{MINUS SIGN}")


def _air(change: float) -> str:
    if abs(change) < 0.0005:
        return say("as much air")
    if change > 0:
        return say("{percent:.1f} % more air", percent=100 * change)
    return say("{percent:.1f} % less air", percent=-100 * change)


def _burnt(change: float) -> str:
    if abs(change) < 0.0005:
        return say("as much burnt gas")
    if change > 0:
        return say("{points:.1f} percentage points more burnt gas", points=100 * change)
    return say("{points:.1f} percentage points less burnt gas", points=-100 * change)
