"""One root error; kinds named by cause. Each message says what was given, what is needed, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coldlash.language import plural, say


class ColdlashError(Exception):
    """Root of all errors that coldlash raises on purpose. ``exit_code`` is what the terminal returns."""

    exit_code = 2


class InputError(ColdlashError):
    """The caller's value can't be used: wrong type, unit, sign, order, name."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file. ``line`` and ``column`` count from 1; 0 = the file as a whole."""

    message: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.line:
            return self.message
        if self.column:
            return say(
                "line {line}, column {column}: {message}",
                line=self.line,
                column=self.column,
                message=self.message,
            )
        return say("line {line}: {message}", line=self.line, message=self.message)


class FaultyFileError(InputError):
    """A file has faults; all of them are listed at once in ``faults``."""

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        self.source = source
        self.faults = tuple(sorted(faults, key=lambda f: (f.line, f.column)))
        count = len(self.faults)
        head = plural(
            "{source}: {n} fault, nothing was taken from it",
            "{source}: {n} faults, nothing was taken from it",
            count,
            source=source,
        )
        super().__init__("\n".join([head, *(f"  {fault}" for fault in self.faults)]))


class BookError(ColdlashError):
    """The book can't be read or written: missing, damaged, locked, from a newer version, disk full."""


class PaperError(ColdlashError):
    """A page could not be made, through no fault of what was given: a template or the typesetter failed."""

    exit_code = 1


class ConvergenceError(ColdlashError):
    """A computation did not converge. Always raised, never papered over with the last iterate."""

    exit_code = 1


class ReadingConflictError(BookError):
    """Two readings of one valve and step, made apart: one stands in the book, another was offered.

    Nothing was written. ``standing_id`` is the id of the reading that stands; an offer that replaces it is taken.
    """

    def __init__(self, message: str, *, valve: str, step: str, standing_id: str) -> None:
        self.valve = valve
        self.step = step
        self.standing_id = standing_id
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a meter can show less than before. ``distance_m``: the engine's own distance if so, None = correct it."""

    how: Literal["rolled over", "replaced", "mistyped"]
    distance_m: int | None
    words: str


class MeterWentBackError(InputError):
    """A meter shows less than it did before and nobody said why. ``explanations`` come likeliest first."""

    def __init__(self, message: str, explanations: Sequence[Explanation]) -> None:
        self.explanations = tuple(explanations)
        super().__init__(message)
