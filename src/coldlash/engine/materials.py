"""How much each engine material grows with heat: one table of constants and the strain between two temperatures.

Symbol of the quantity: mean coefficient of linear expansion alpha_m(T), unit 1e-6/K, from a reference
temperature to T; strain(T) = alpha_m(T) x (T - 20 C). Between listed temperatures alpha_m runs straight from
one listed mean to the next; outside a material's range the nearest value is held, with 1e-6/K more
uncertainty per 100 K.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import mark, say, table

REFERENCE_C = 20.0
"""Gaps are compared at this temperature, Celsius."""
LOWEST_C = -40.0
"""Below this no figure is trusted, Celsius."""
MOST_BEYOND_K = 200.0
"""So far above its range a material's nearest value is still held, K."""

FIGURE_SD = 0.3
"""Spread of a published figure between heats and alloys of one name, 1e-6/K (judgement, no source)."""
MEMORY_SD = 0.5
"""The same for a figure written down from memory, 1e-6/K (judgement, no source)."""
BEYOND_SD_PER_100K = 1.0
"""Added outside the range, 1e-6/K per 100 K beyond its edge (the project's rule)."""
BELOW_SD_PER_100K = 0.35
"""Added inside the range, 1e-6/K per 100 K between T and the first listed mean (judgement: the means of the
valve-steel table fall by 0.3 to 1 per 100 K towards 20 C, and an unlisted one is held at the first)."""

Provenance = Literal["published", "from memory"]


@dataclass(frozen=True, slots=True)
class Material:
    """One row of the constants table.

    ``points`` are (low C, high C, mean expansion 1e-6/K) with rising high temperatures; several points share
    the low one. ``source`` says where the figure stands, ``kind`` how it came here.
    """

    name: str
    words: str
    points: tuple[tuple[float, float, float], ...]
    source: str
    kind: Provenance = "published"

    @property
    def low_c(self) -> float:
        """Lower end of the range, Celsius."""
        return self.points[0][0]

    @property
    def high_c(self) -> float:
        """Upper end of the range, Celsius."""
        return self.points[-1][1]

    @property
    def range_words(self) -> str:
        """The range in words, like "20 to 100 C"."""
        return say("{low_c:g} to {high_c:g} C", low_c=self.low_c, high_c=self.high_c)


_CALLISTER = "Callister, Materials Science and Engineering, Table B.6"
_RANGE_M = "; the range 20 to 100 C from memory of handbooks that print the same figure"

_ROWS = (
    Material("6061", mark("wrought aluminium 6061"), ((20, 100, 23.6),), _CALLISTER + _RANGE_M),
    Material("2024", mark("wrought aluminium 2024"), ((20, 100, 22.9),), _CALLISTER + _RANGE_M),
    Material("A356", mark("cast aluminium 356.0"), ((20, 100, 21.5),), _CALLISTER + _RANGE_M),
    Material("A319", mark("cast aluminium 319.0"), ((20, 100, 22.0),), "a property table" + _RANGE_M),
    Material("AZ91D", mark("cast magnesium AZ91D"), ((20, 100, 26.0),), "Callister; a materials data page"),
    Material("grey-iron", mark("grey cast iron"), ((20, 100, 11.4),), "an engineering table" + _RANGE_M),
    Material("1020", mark("mild steel 1020"), ((0, 100, 11.7),), "an engineering table"),
    Material("1045", mark("carbon steel 1045"), ((0, 100, 11.6),), "an engineering table"),
    Material(
        "4130",
        mark("chromium-molybdenum steel 4130"),
        ((0, 100, 12.2),),
        "no table at hand; next to 4140, which is published",
        "from memory",
    ),
    Material("4140", mark("chromium-molybdenum steel 4140"), ((0, 100, 12.3),), "a property table"),
    Material(
        "X53CrMnNiNbN21-9",
        mark("austenitic exhaust valve steel X53CrMnNiNbN21-9"),
        ((20, 100, 15.5), (20, 300, 17.5), (20, 500, 18.5), (20, 700, 18.8)),
        "EN 10090:1998, as quoted elsewhere",
    ),
    Material(
        "21-4N",
        mark("austenitic exhaust valve steel 21-4N"),
        ((20, 500, 17.5), (20, 760, 18.4)),
        "a steelmaker's data page",
    ),
    Material(
        "martensitic-valve-steel",
        mark("martensitic intake valve steel"),
        ((20, 600, 12.5),),
        "a steelmaker's data page",
    ),
    Material("Ti-6Al-4V", mark("titanium Ti-6Al-4V"), ((20, 100, 8.6),), _CALLISTER + _RANGE_M),
)

MATERIALS: dict[str, Material] = {row.name: row for row in _ROWS}
"""Material name, as engine files write it, to its row."""

ALIASES: dict[str, str] = {
    "356": "A356",
    "356.0": "A356",
    "A356.0": "A356",
    "319": "A319",
    "319.0": "A319",
    "AZ91": "AZ91D",
    "gray-iron": "grey-iron",
    "cast-iron": "grey-iron",
}
"""Other ways to write a material's name."""

_FOLDED = {name.casefold(): name for name in MATERIALS} | {a.casefold(): n for a, n in ALIASES.items()}


def material_named(name: str) -> Material:
    """The material of this name; capitals don't matter. Raises InputError with the nearest known names."""
    known = _FOLDED.get(name.strip().casefold())
    if known is not None:
        return MATERIALS[known]
    near = difflib.get_close_matches(name.strip().casefold(), list(_FOLDED), n=1, cutoff=0.5)
    if near:
        raise InputError(
            say(
                "material {name!r} is not in the table; nearest is {near}. Known: {materials}. For another one "
                "write expansion_per_k instead, like 23.6e-6",
                name=name,
                near=_FOLDED[near[0]],
                materials=", ".join(MATERIALS),
            )
        )
    raise InputError(
        say(
            "material {name!r} is not in the table. Known: {materials}. For another one write "
            "expansion_per_k instead, like 23.6e-6",
            name=name,
            materials=", ".join(MATERIALS),
        )
    )


def check_temperature(material: Material, temp_c: float) -> None:
    """Raises InputError where the material's figures can't be held: below -40 C or over 200 K beyond."""
    limit = material.high_c + MOST_BEYOND_K
    if math.isfinite(temp_c) and LOWEST_C <= temp_c <= limit:
        return
    raise InputError(
        say(
            "{name} ({words}) at {temp_c:g} C: its expansion is known from {range_words} and held no "
            "further than {lowest_c:g} to {limit:g} C; check the temperature, or give the part another "
            "material or its own expansion_per_k",
            name=material.name,
            words=table(material.words),
            temp_c=temp_c,
            range_words=material.range_words,
            lowest_c=LOWEST_C,
            limit=limit,
        )
    )


def range_note(material: Material, temp_c: float) -> str | None:
    """A sentence where ``temp_c`` lies outside the material's range, else None."""
    beyond = _beyond_k(material, temp_c)
    if beyond == 0:
        return None
    return say(
        "{name} at {temp_c:g} C is {beyond:g} K outside the range of its figure ({range_words}): the "
        "nearest value is held, with {beyond2:.2g}e-6/K more uncertainty",
        name=material.name,
        temp_c=temp_c,
        beyond=beyond,
        range_words=material.range_words,
        beyond2=beyond / 100,
    )


def mean_expansion(material: Material, temp_c: float) -> float:
    """Mean expansion 1/K from 20 C to ``temp_c``; nearest value held outside the range. Raises InputError."""
    check_temperature(material, temp_c)
    points = material.points
    if temp_c <= points[0][1]:
        return points[0][2] * 1e-6
    for (_, left, below), (_, right, above) in pairwise(points):
        if temp_c <= right:
            return (below + (above - below) * (temp_c - left) / (right - left)) * 1e-6
    return points[-1][2] * 1e-6


def instantaneous_expansion(material: Material, temp_c: float) -> float:
    """Slope of the strain at ``temp_c``, 1/K; at a listed temperature the slope above it. Raises InputError.

    Derivative of alpha_m(T) (T - 20): alpha_m + alpha_m' (T - 20).
    """
    mean = mean_expansion(material, temp_c)
    for (_, left, below), (_, right, above) in pairwise(material.points):
        if left <= temp_c < right:
            return mean + (above - below) * 1e-6 / (right - left) * (temp_c - REFERENCE_C)
    return mean


def elongation(material: Material, from_c: float, to_c: float) -> float:
    """Strain (mm per mm, signed, relative to the length at 20 C) from one temperature to another.

    Raises InputError where either temperature is out of reach.
    """
    return _strain(material, to_c) - _strain(material, from_c)


def expansion_sd(material: Material, temp_c: float) -> float:
    """Sd of the mean expansion from 20 C to ``temp_c``, 1/K: spread of the figure, distance from the first
    listed mean, distance outside the range, added as squares. Raises InputError.
    """
    check_temperature(material, temp_c)
    figure = FIGURE_SD if material.kind == "published" else MEMORY_SD
    first = material.points[0][1]
    short = max(0.0, first - max(temp_c, material.low_c)) * BELOW_SD_PER_100K / 100
    beyond = _beyond_k(material, temp_c) * BEYOND_SD_PER_100K / 100
    return math.sqrt(figure**2 + short**2 + beyond**2) * 1e-6


def _strain(material: Material, temp_c: float) -> float:
    return mean_expansion(material, temp_c) * (temp_c - REFERENCE_C)


def _beyond_k(material: Material, temp_c: float) -> float:
    return max(0.0, material.low_c - temp_c, temp_c - material.high_c)
