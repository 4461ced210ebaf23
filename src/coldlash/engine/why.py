"""How a figure came about, so that a page or the terminal can answer "why": formula, inputs, source, limits."""

from __future__ import annotations

from dataclasses import dataclass

from coldlash.language import say, table


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
            say("How: {formula}", formula=table(self.formula)),
            say("From: {inputs}", inputs=table(self.inputs)),
            say("Source: {source}", source=table(self.source)),
            say("Holds: {valid}", valid=table(self.valid)),
        )
