"""How a figure came about, so that a page or the terminal can answer "why": formula, inputs, source, limits."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Why:
    """``formula`` in words and signs, ``inputs`` it takes with units, ``source`` with how we know it (read in a
    text, from memory, derived here), ``valid`` where it holds and where it stops.
    """

    formula: str
    inputs: str
    source: str
    valid: str

    def lines(self) -> tuple[str, str, str, str]:
        """Four lines ready to show, in reading order."""
        return (
            f"How: {self.formula}",
            f"From: {self.inputs}",
            f"Source: {self.source}",
            f"Holds: {self.valid}",
        )
