"""How far to turn the adjusting screw, and how to say it."""

from __future__ import annotations

from dataclasses import dataclass

from coldlash.engine.linkage import screw_turn_deg
from coldlash.engine.spec import Linkage
from coldlash.language import mark, say, table

_PARTS = {
    2: mark("half a turn"),
    3: mark("a third of a turn"),
    4: mark("a quarter turn"),
    6: mark("a sixth of a turn"),
}
_PARTS |= {8: mark("an eighth of a turn"), 12: mark("a twelfth of a turn"), 20: mark("a twentieth of a turn")}


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
            return say("the screw stays as it is")
        size = abs(self.turn_deg)
        part = min(_PARTS, key=lambda n: abs(360 / n - size))
        opens = self.turn_deg > 0
        if abs(360 / part - size) > 0.12 * size:
            if opens:
                return say("{size:.0f} degrees, out: it opens the gap", size=size)
            return say("{size:.0f} degrees, in: it closes the gap", size=size)
        about = table(_PARTS[part])
        if opens:
            return say("{size:.0f} degrees, about {about}, out: it opens the gap", size=size, about=about)
        return say("{size:.0f} degrees, about {about}, in: it closes the gap", size=size, about=about)


def screw_turn(linkage: Linkage, from_mm: float, to_mm: float) -> ScrewTurn:
    """Turn of the screw that takes the gap from ``from_mm`` to ``to_mm``. Raises InputError without a pitch."""
    return ScrewTurn(from_mm, to_mm, screw_turn_deg(linkage, from_mm, to_mm))
