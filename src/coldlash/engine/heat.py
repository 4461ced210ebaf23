"""What heat does to a gap: the linkage applied to stacks of lengths, each with its material and temperature.

Gap change = sum over parts of (gap per mm of the heights the part is in) x length x strain(material, from, to).
Linear thermal expansion (textbook definition); signs from ``engine.linkage``. Valid for parts that are evenly
warm within their zone and free to grow; bending and clamping are left out. Lengths mm, temperatures Celsius.
The sign is a property of the engine: nothing here assumes one.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from coldlash.engine.linkage import Sensitivity, sensitivity
from coldlash.engine.materials import (
    FIGURE_SD,
    LOWEST_C,
    REFERENCE_C,
    Material,
    elongation,
    expansion_sd,
    instantaneous_expansion,
    material_named,
    range_note,
)
from coldlash.engine.spec import KIND_WORD, Engine, Height, Kind, StackPart
from coldlash.engine.why import Why
from coldlash.errors import InputError
from coldlash.language import mark, plural, say

KINDS: tuple[Kind, Kind] = ("I", "E")
LENGTH_SD = 0.02
"""Relative sd of a stated length (judgement: measured with a rule or a caliper between rough faces)."""
STRUCTURE_SD_UM_PER_K = 0.3
"""Sd of what a list of lengths leaves out of the even-heating slope, um/K (judgement, no source)."""
HIGHEST_C = 1200.0
"""No part of a valve train is hotter, Celsius: a typing mistake."""

WHY: dict[str, Why] = {
    "per_k_uniform": Why(
        mark("sum over parts of (gap per mm of the heights the part is in) x length x expansion at 20 C"),
        mark("the stack of the engine file (lengths mm, materials), rocker ratio"),
        mark(
            "linear thermal expansion (textbook definition); expansion figures with their sources in the "
            "table of materials; signs from the linkage, derived here"
        ),
        mark(
            "the whole engine evenly warm, near 20 C; lengths good to 2 % and what a list leaves out "
            "(0.3 um/K) are judgements"
        ),
    ),
    "gap_change": Why(
        mark(
            "sum over parts of (gap per mm of the heights the part is in) x length x strain from 20 C to "
            "its zone's temperature"
        ),
        mark("the stack of the engine file, rocker ratio, one temperature for each zone (Celsius)"),
        mark(
            "linear thermal expansion (textbook definition); expansion figures with their sources in the "
            "table of materials"
        ),
        mark("each zone evenly warm and its parts free to grow; bending and clamping are left out"),
    ),
    "hot_gap": Why(
        mark(
            "cold gap + gap change; the spread adds up lengths (2 %), expansion figures and temperatures "
            "(10 K a zone) as squares"
        ),
        mark("the cold gap (mm), the stack, the zones' temperatures and their spreads"),
        mark(
            "first-order propagation of independent spreads (textbook); the spreads themselves are judgements"
        ),
        mark("it tells which way and about how far, not the blade"),
    ),
}


class Estimate(NamedTuple):
    """A value and its standard deviation, same unit."""

    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class HotGap:
    """One kind's gap at given zone temperatures, mm. ``change`` is from the cold gap, all parts at 20 C.

    The variance is the sum of the three shares: lengths, expansion figures, temperatures.
    """

    cold_mm: float
    change_mm: float
    sd_mm: float
    sd_lengths_mm: float
    sd_expansion_mm: float
    sd_temperatures_mm: float

    @property
    def gap_mm(self) -> float:
        """Cold gap plus change."""
        return self.cold_mm + self.change_mm


def zones_of(engine: Engine) -> tuple[str, ...]:
    """The zones of the engine's stack, in the file's order."""
    return tuple(dict.fromkeys(part.zone for part in engine.stack))


def even(engine: Engine, temp_c: float) -> dict[str, float]:
    """Every zone at one temperature."""
    return dict.fromkeys(zones_of(engine), temp_c)


def gap_change(
    engine: Engine, zones: Mapping[str, float], from_zones: Mapping[str, float] | None = None
) -> dict[Kind, float]:
    """Gap change, mm, per kind, from ``from_zones`` (default all parts at 20 C) to ``zones`` (Celsius).

    Exact for the stated lengths. An empty height counts 0: see ``notes``. Raises InputError for an engine
    without stacks, for missing or unknown zones, and for temperatures out of a material's reach.
    """
    before = even(engine, REFERENCE_C) if from_zones is None else from_zones
    _check_zones(engine, before)
    _check_zones(engine, zones)
    change: dict[Kind, float] = dict.fromkeys(KINDS, 0.0)
    slope = sensitivity(engine.linkage)
    for part in engine.stack:
        growth = part.length_mm * _strain(part, before[part.zone], zones[part.zone])
        for kind in KINDS:
            change[kind] += gap_per_mm(slope, part, kind) * growth
    return change


def notes(engine: Engine, zones: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """What the user should know: heights without parts, temperatures outside a material's range."""
    found: list[str] = []
    needed: tuple[Height, ...] = ("pivot", "pushrod", "intake", "exhaust")
    if engine.linkage.train == "direct":
        needed = ("pushrod", "intake", "exhaust")
    filled = {height for part in engine.stack for height in part.heights}
    empty = [height for height in needed if height not in filled]
    if empty and engine.stack:
        found.append(
            plural(
                "No part of the stack is in the height {empty}: it counts 0, and what heat does to "
                "the gap may be far off",
                "No part of the stack is in the heights {empty}: it counts 0, and what heat does to "
                "the gap may be far off",
                len(empty),
                empty=", ".join(empty),
            )
        )
    for part in engine.stack:
        if zones is not None and part.material is not None and part.zone in zones:
            said = range_note(material_named(part.material), zones[part.zone])
            if said is not None and said not in found:
                found.append(said)
    return tuple(found)


def per_k_uniform(engine: Engine) -> dict[Kind, float]:
    """Gap change per K of even heating, um/K per kind: the slope at 20 C. Raises InputError without stacks."""
    return {kind: sum(per_k.values()) for kind, per_k in zone_slopes(engine).items()}


def zone_slopes(engine: Engine, zones: Mapping[str, float] | None = None) -> dict[Kind, dict[str, float]]:
    """Gap change, um per K of each zone alone, per kind, at ``zones`` (default all at 20 C).

    Raises InputError as ``gap_change`` does.
    """
    at = even(engine, REFERENCE_C) if zones is None else zones
    _check_zones(engine, at)
    slope = sensitivity(engine.linkage)
    found: dict[Kind, dict[str, float]] = {kind: dict.fromkeys(zones_of(engine), 0.0) for kind in KINDS}
    for part in engine.stack:
        per_k = part.length_mm * _slope(part, at[part.zone]) * 1000
        for kind in KINDS:
            found[kind][part.zone] += gap_per_mm(slope, part, kind) * per_k
    return found


def hot_gap(
    engine: Engine,
    zones: Mapping[str, float],
    *,
    cold_mm: Mapping[Kind, float] | None = None,
    dim_sd_mm: float | None = None,
    temp_sd_k: float | Mapping[str, float] = 10.0,
) -> dict[Kind, HotGap]:
    """The gap at these zone temperatures, with its uncertainty, per kind.

    ``cold_mm``: gap with all parts at 20 C (default the engine's cold gap). ``dim_sd_mm``: sd of every length
    (default 2 % of each). ``temp_sd_k``: sd of every zone's temperature, or one for each zone (K). Linear
    propagation of independent spreads; one material's figure is off by the same amount in all its parts.
    Valid while the spreads are small. Raises InputError as ``gap_change`` does, and for a negative spread.
    """
    spreads = _temperature_spreads(engine, temp_sd_k)
    if dim_sd_mm is not None and not (math.isfinite(dim_sd_mm) and dim_sd_mm >= 0):
        raise InputError(
            say(
                "spread of the lengths {dim_sd_mm:g} mm: it must be 0 or more, in mm, like 1",
                dim_sd_mm=dim_sd_mm,
            )
        )
    change = gap_change(engine, zones)
    slopes = zone_slopes(engine, zones)
    found: dict[Kind, HotGap] = {}
    for kind in KINDS:
        lengths, figures = _spreads(engine, kind, zones, dim_sd_mm)
        temperatures = math.hypot(*(slopes[kind][zone] * sd / 1000 for zone, sd in spreads.items()))
        found[kind] = HotGap(
            engine.gaps[kind].cold if cold_mm is None else cold_mm[kind],
            change[kind],
            math.hypot(lengths, figures, temperatures),
            lengths,
            figures,
            temperatures,
        )
    return found


def temperature_coefficient(engine: Engine) -> dict[Kind, Estimate] | None:
    """c of reading = gap at 20 C + c (T - 20), mm/K per kind with its sd; None for an engine without stacks.

    The engine is taken as evenly at T (stood overnight), as it is when gaps are checked cold. The sd adds up
    lengths (2 %), expansion figures and what the stack leaves out (0.3 um/K), as squares.
    """
    if not engine.stack:
        return None
    per_k = per_k_uniform(engine)
    covariance = coefficient_covariance(engine)
    return {kind: Estimate(per_k[kind] / 1000, math.sqrt(covariance[i][i])) for i, kind in enumerate(KINDS)}


def coefficient_covariance(engine: Engine) -> tuple[tuple[float, float], tuple[float, float]]:
    """Covariance of the coefficients c of intake and exhaust, (mm/K)^2: they share most of their parts."""
    one_up = even(engine, REFERENCE_C + 1)
    shares = []
    for kind in KINDS:
        lengths, figures = _shares(engine, kind, one_up, None)
        shares.append([*lengths.values(), *figures.values()])
    intake, exhaust = shares
    structure = (STRUCTURE_SD_UM_PER_K / 1000) ** 2
    across = _dot(intake, exhaust)
    return (_dot(intake, intake) + structure, across), (across, _dot(exhaust, exhaust) + structure)


def correct_reading(engine: Engine, temp_c: float, temp_sd_k: float = 0.0) -> dict[Kind, Estimate] | None:
    """What to subtract from a reading taken with the whole engine at ``temp_c``, mm per kind, with its sd.

    gap at 20 C = reading - value. ``temp_sd_k``: how well the temperature is known, K. None for an engine
    without stacks: no correction. Raises InputError as ``gap_change`` does.
    """
    if not engine.stack:
        return None
    at = even(engine, temp_c)
    change = gap_change(engine, at)
    spread = _temperature_spreads(engine, temp_sd_k)
    thermometer = next(iter(spread.values()))
    slopes = zone_slopes(engine, at)
    found: dict[Kind, Estimate] = {}
    for kind in KINDS:
        lengths, figures = _spreads(engine, kind, at, None)
        structure = STRUCTURE_SD_UM_PER_K / 1000 * (temp_c - REFERENCE_C)
        reading = sum(slopes[kind].values()) / 1000 * thermometer
        found[kind] = Estimate(change[kind], math.hypot(lengths, figures, structure, reading))
    return found


def gap_per_mm(slope: Sensitivity, part: StackPart, kind: Kind) -> float:
    """Gap change of this kind per mm by which the part grows, through every height it is in."""
    return slope.of(
        dp=float("pivot" in part.heights),
        dq=float("pushrod" in part.heights),
        dv=float(KIND_WORD[kind] in part.heights),
    )


def _figure_key(part: StackPart) -> str:
    """What the expansion figure of a part is called: parts with the same key share its error."""
    if part.material is not None:
        return material_named(part.material).name
    return f"{part.expansion_per_k} 1/K"


def _figure_strain_sd(part: StackPart, temp_c: float) -> float:
    """Sd of the strain from 20 C to ``temp_c`` that the expansion figure's own spread makes, signed like T - 20."""
    material = _material(part)
    sd = FIGURE_SD * 1e-6 if material is None else expansion_sd(material, temp_c)
    return sd * (temp_c - REFERENCE_C)


def _material(part: StackPart) -> Material | None:
    return None if part.material is None else material_named(part.material)


def _strain(part: StackPart, from_c: float, to_c: float) -> float:
    material = _material(part)
    if material is not None:
        return elongation(material, from_c, to_c)
    return _given(part) * (to_c - from_c)


def _slope(part: StackPart, temp_c: float) -> float:
    material = _material(part)
    return _given(part) if material is None else instantaneous_expansion(material, temp_c)


def _given(part: StackPart) -> float:
    if part.expansion_per_k is None:
        raise InputError(
            say(
                "stack part {part!r} has neither a material nor expansion_per_k; write one of them, like "
                'material = "6061"',
                part=part.part,
            )
        )
    return part.expansion_per_k


def _spreads(
    engine: Engine, kind: Kind, zones: Mapping[str, float], dim_sd_mm: float | None
) -> tuple[float, float]:
    """Sd of the gap change, mm, from lengths and from expansion figures."""
    lengths, figures = _shares(engine, kind, zones, dim_sd_mm)
    return math.hypot(*lengths.values()), math.hypot(*figures.values())


def _shares(
    engine: Engine, kind: Kind, zones: Mapping[str, float], dim_sd_mm: float | None
) -> tuple[dict[int, float], dict[str, float]]:
    """What one sd of each part's length and of each expansion figure moves the gap by, mm, signed."""
    slope = sensitivity(engine.linkage)
    lengths: dict[int, float] = {}
    figures: dict[str, float] = {}
    for number, part in enumerate(engine.stack):
        weight = gap_per_mm(slope, part, kind)
        temp = zones[part.zone]
        length_sd = abs(part.length_mm) * LENGTH_SD if dim_sd_mm is None else dim_sd_mm
        lengths[number] = weight * _strain(part, REFERENCE_C, temp) * length_sd
        key = _figure_key(part)
        figures[key] = figures.get(key, 0.0) + weight * part.length_mm * _figure_strain_sd(part, temp)
    return lengths, figures


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


def _temperature_spreads(engine: Engine, temp_sd_k: float | Mapping[str, float]) -> dict[str, float]:
    given = temp_sd_k if isinstance(temp_sd_k, Mapping) else even(engine, temp_sd_k)
    _check_names(engine, given, say("a temperature spread"))
    for zone, sd in given.items():
        if not (math.isfinite(sd) and sd >= 0):
            raise InputError(
                say(
                    "spread of the temperature of zone {zone}: {sd:g} K; it must be 0 or more, like 10",
                    zone=zone,
                    sd=sd,
                )
            )
    return dict(given)


def _check_zones(engine: Engine, zones: Mapping[str, float]) -> None:
    _check_names(engine, zones, say("a temperature"))
    for zone, temp in zones.items():
        if not LOWEST_C <= temp <= HIGHEST_C:  # also refuses nan
            raise InputError(
                say(
                    "zone {zone} at {temp:g} C: temperatures from {lowest_c:g} to {highest_c:g} C can be used; "
                    "give degrees Celsius",
                    zone=zone,
                    temp=temp,
                    lowest_c=LOWEST_C,
                    highest_c=HIGHEST_C,
                )
            )


def _check_names(engine: Engine, zones: Mapping[str, float], what: str) -> None:
    have = zones_of(engine)
    if not have:
        raise InputError(
            say(
                "{name} has no [[stack]] in its engine file, so nothing is known about its heat; add the "
                "parts with length, material, zone and heights",
                name=engine.name,
            )
        )
    for zone in zones:
        if zone not in have:
            near = difflib.get_close_matches(zone, have, n=1, cutoff=0.0)[0]
            raise InputError(
                say(
                    "{name} has no zone {zone!r}; nearest is {near!r}. Its zones: {have}",
                    name=engine.name,
                    zone=zone,
                    near=near,
                    have=", ".join(have),
                )
            )
    missing = [zone for zone in have if zone not in zones]
    if missing:
        raise InputError(
            plural(
                "{what} is missing for zone {missing} of {name}; give all of: {have}",
                "{what} is missing for zones {missing} of {name}; give all of: {have}",
                len(missing),
                what=what,
                missing=", ".join(missing),
                name=engine.name,
                have=", ".join(have),
            )
        )
