"""A figure that can be asked why: its name, what it is in each case compared, and how it came about."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coldlash.engine.why import Why
from coldlash.paper.words import Words


@dataclass(frozen=True, slots=True)
class Figure:
    """``cells``: the figure with its unit, one for each case; ``name`` says what it is, ``help`` what that means."""

    name: str
    cells: tuple[str, ...]
    why: Why | None = None
    help: str = ""


def told(value: float, places: int, unit: str, words: Words, *, sign: bool = False) -> str:
    """A number with its unit, or a dash where there is none."""
    if math.isnan(value):
        return "\N{EN DASH}"
    return words.number(value, places, sign=sign) + unit
