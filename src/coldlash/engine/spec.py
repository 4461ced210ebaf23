"""What an engine is, once its file has been read and found good: plain frozen data, no rules.

``engine.reader`` makes these from an engine file and guarantees the ranges stated here; nothing else should
build an ``Engine`` from outside data. Angles are crank degrees, lengths millimetres, temperatures Celsius.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import total_ordering
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import mark, say

Kind = Literal["I", "E"]
Turns = Literal["clockwise", "counterclockwise"]
Train = Literal["pushrod", "finger", "direct"]
ScrewSide = Literal["valve", "pushrod"]
Height = Literal["pivot", "pushrod", "intake", "exhaust"]
Layout = Literal["flat", "vee", "inline"]

KIND_WORD: dict[Kind, str] = {"I": mark("intake"), "E": mark("exhaust")}

_VALVE = re.compile(r"([IE])([1-9]\d?)")


@total_ordering
@dataclass(frozen=True, slots=True)
class Valve:
    """One valve: intake I or exhaust E with its cylinder number (common practice): I1, E3.

    Sorted by cylinder, intake before exhaust.
    """

    kind: Kind
    cylinder: int

    @classmethod
    def parse(cls, text: str) -> Valve:
        """ "e3" or "E3" to a Valve. Raises InputError on anything else."""
        match = _VALVE.fullmatch(text.strip().upper())
        if match is None:
            raise InputError(
                say("{text!r} is not a valve; write I or E and the cylinder, like I1 or E3", text=text)
            )
        return cls("I" if match[1] == "I" else "E", int(match[2]))

    @property
    def word(self) -> str:
        """ "intake" or "exhaust"."""
        return KIND_WORD[self.kind]

    def __str__(self) -> str:
        return f"{self.kind}{self.cylinder}"

    def __lt__(self, other: Valve) -> bool:
        return (self.cylinder, self.kind == "E") < (other.cylinder, other.kind == "E")


@dataclass(frozen=True, slots=True)
class ValveEvents:
    """Crank degrees of opening and closing; a negative figure lies on the other side of its dead centre.

    ``checking_lift_mm`` is the valve lift at which they hold; 0 = at the base circle, ramps included.
    """

    intake_opens_btdc: float
    intake_closes_abdc: float
    exhaust_opens_bbdc: float
    exhaust_closes_atdc: float
    checking_lift_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class GapSpec:
    """Gap in mm, engine cold. ``cold`` >= 0 is set; tighter than ``tight`` or looser than ``loose`` is out.

    ``tight`` < ``cold`` < ``loose`` where they are known.
    """

    cold: float
    tight: float | None = None
    loose: float | None = None


@dataclass(frozen=True, slots=True)
class Linkage:
    """The valve train between cam and valve.

    ``rocker_ratio`` = valve side / pushrod (cam) side, > 0. ``screw_pitch_mm`` None = unknown.
    """

    rocker_ratio: float
    screw_side: ScrewSide = "valve"
    screw_pitch_mm: float | None = None
    train: Train = "pushrod"


@dataclass(frozen=True, slots=True)
class Pulley:
    """The pulley and its marks: crank degrees past firing TDC 1 when the mark meets the pointer.

    Marks lie in [0, 360) and show again 360 later.
    """

    diameter_mm: float | None = None
    marks_deg: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class StackPart:
    """One part whose expansion moves the gap. ``length_mm`` may be negative (a part that runs back).

    Either ``material`` (a name of ``engine.materials``) or ``expansion_per_k`` (1/K) is given.
    """

    part: str
    length_mm: float
    zone: str
    heights: tuple[Height, ...]
    material: str | None = None
    expansion_per_k: float | None = None


@dataclass(frozen=True, slots=True)
class LobeSpec:
    """How one kind of lobe lifts: figures (valve lift mm, ramp mm and cam degrees) or a measured table.

    ``table`` rows are (cam degrees, lift mm), as read from the file named in ``table_name``.
    """

    peak_lift_mm: float | None = None
    ramp_mm: float | None = None
    ramp_deg: float | None = None
    table_name: str | None = None
    table: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Geometry:
    """Cylinder dimensions; any may be unknown."""

    bore_mm: float | None = None
    stroke_mm: float | None = None
    rod_mm: float | None = None
    compression_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class Service:
    """When the gaps are checked. ``meter`` "h" counts hours, each worth ``km_per_h`` km of running."""

    every_km: float | None = None
    every_months: float | None = None
    first_km: float | None = None
    meter: Literal["km", "h"] = "km"
    km_per_h: float = 50.0


@dataclass(frozen=True, slots=True)
class Engine:
    """A whole engine. ``firing_order`` starts with cylinder 1; ``firing_gaps_deg[i]`` is from its i-th firing
    to the next and they sum to 720. ``heads`` groups every cylinder once. ``rows`` are valves as seen from
    above, from the pulley outward, one row a head; empty = not stated. ``lobes`` and ``gaps`` by kind.
    ``layout`` says how the cylinders stand, for drawings; None = not stated.
    """

    name: str
    cylinders: int
    firing_order: tuple[int, ...]
    firing_gaps_deg: tuple[float, ...]
    turns: Turns
    heads: tuple[tuple[int, ...], ...]
    shared_lobes: tuple[tuple[Valve, Valve], ...]
    events: ValveEvents
    gaps: dict[Kind, GapSpec]
    linkage: Linkage
    pulley: Pulley = Pulley()
    stack: tuple[StackPart, ...] = ()
    geometry: Geometry = Geometry()
    rows: tuple[tuple[Valve, ...], ...] = ()
    lobes: dict[Kind, LobeSpec] = field(default_factory=dict)
    service: Service = Service()
    layout: Layout | None = None

    @property
    def valves(self) -> tuple[Valve, ...]:
        """Every valve, by cylinder, intake before exhaust."""
        return tuple(
            Valve(kind, cylinder) for cylinder in range(1, self.cylinders + 1) for kind in ("I", "E")
        )

    def gap(self, valve: Valve) -> GapSpec:
        """The gap figures that hold for this valve."""
        return self.gaps[valve.kind]

    def valve(self, text: str) -> Valve:
        """Parse a valve name and make sure this engine has it. Raises InputError."""
        valve = Valve.parse(text)
        if valve.cylinder > self.cylinders:
            have = ", ".join(str(v) for v in self.valves)
            raise InputError(
                say("{name} has no valve {valve}; it has {have}", name=self.name, valve=valve, have=have)
            )
        return valve

    def head_of(self, cylinder: int) -> tuple[int, ...]:
        """The cylinders under the same head, this one included."""
        return next(head for head in self.heads if cylinder in head)
