"""How far to turn the adjusting screw, and how to say it."""

from __future__ import annotations

from dataclasses import dataclass

from coldlash.engine.linkage import screw_turn_deg
from coldlash.engine.spec import Linkage

_PARTS = {2: "half a turn", 3: "a third of a turn", 4: "a quarter turn", 6: "a sixth of a turn"}
_PARTS |= {8: "an eighth of a turn", 12: "a twelfth of a turn", 20: "a twentieth of a turn"}


@dataclass(frozen=True, slots=True)
class ScrewTurn:
    """``turn_deg`` > 0 opens the gap, < 0 closes it."""

    from_mm: float
    to_mm: float
    turn_deg: float

    @property
    def words(self) -> str:
        """What to do with the screwdriver. Which way round the thread runs is the engine's own matter."""
        if abs(self.turn_deg) < 1:
            return "the screw stays as it is"
        way = "out: it opens the gap" if self.turn_deg > 0 else "in: it closes the gap"
        size = abs(self.turn_deg)
        part = min(_PARTS, key=lambda n: abs(360 / n - size))
        about = f", about {_PARTS[part]}" if abs(360 / part - size) <= 0.12 * size else ""
        return f"{size:.0f} degrees{about}, {way}"


def screw_turn(linkage: Linkage, from_mm: float, to_mm: float) -> ScrewTurn:
    """Turn of the screw that takes the gap from ``from_mm`` to ``to_mm``. Raises InputError without a pitch."""
    return ScrewTurn(from_mm, to_mm, screw_turn_deg(linkage, from_mm, to_mm))
