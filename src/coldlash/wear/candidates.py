"""The causes that may explain what an engine's gaps did, with how large and how likely each is beforehand.

Directions come from ``engine.linkage`` (heads, shared lobes, ratio); sizes and priors are invented starting points,
said so wherever they are shown. A session as a whole may be off as well: that is a candidate like the others,
once in each direction.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coldlash.engine.linkage import loadings
from coldlash.engine.spec import Engine, Valve

SESSION_OFFSET = "session_offset"

PRIORS: dict[str, tuple[float, float, float]] = {
    # variant: (size in mm, prior at an exhaust or any valve, prior at an intake), given that something happened
    "seat_recession": (0.06, 0.08, 0.03),
    "valve_side_wear": (0.05, 0.03, 0.03),
    "shared_lobe": (0.05, 0.03, 0.03),
    "head_settling": (0.04, 0.04, 0.04),
    "head_lifting": (0.06, 0.02, 0.02),
    "stand_loose": (0.04, 0.03, 0.03),
    "cam_bearing_loose": (0.04, 0.03, 0.03),
    SESSION_OFFSET: (0.04, 0.02, 0.02),
}
"""Judgement, no source: invented starting points."""

SLOPE_OF_SIZE = 0.2
"""A slope's size per 1000 km as a share of the jump's: as much in 5,000 km as a jump at once (judgement)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cause at one place. ``loading`` (V,): gap change, mm per mm of it; ``spread`` relative, of each valve alone.

    ``size``: sd of its half-normal amount, mm; ``prior``: that it is part of what happened, given that something did.
    ``variant`` names what exactly happens, where gaps can't tell several apart under one cause.
    """

    cause: str
    variant: str
    where: tuple[Valve, ...]
    loading: tuple[float, ...]
    spread: float
    size: float
    prior: float

    @property
    def gain(self) -> float:
        """Gap change at the most affected valve, mm per mm, >= 0."""
        return max(abs(x) for x in self.loading)

    @property
    def direction(self) -> str:
        """Which way its gaps move."""
        return "looser" if max(self.loading, key=abs) > 0 else "tighter"

    @property
    def log_odds(self) -> float:
        """Log prior odds of being part of what happened."""
        return math.log(self.prior / (1.0 - self.prior))


def candidates(engine: Engine, read: Sequence[Valve] = ()) -> tuple[Candidate, ...]:
    """Every candidate of this engine; ``read`` are the valves a session offset would move (none: no such candidate)."""
    found = []
    for entry in loadings(engine):
        size, at_exhaust, at_intake = PRIORS[entry.variant]
        prior = at_intake if len(entry.where) == 1 and entry.where[0].kind == "I" else at_exhaust
        found.append(
            Candidate(entry.cause, entry.variant, entry.where, entry.loading, entry.spread, size, prior)
        )
    if read:
        size, prior, _ = PRIORS[SESSION_OFFSET]
        for sign, word in ((-1.0, "tighter"), (1.0, "looser")):
            loading = tuple(sign if v in read else 0.0 for v in engine.valves)
            found.append(Candidate(SESSION_OFFSET, f"offset_{word}", tuple(read), loading, 0.0, size, prior))
    return tuple(found)
