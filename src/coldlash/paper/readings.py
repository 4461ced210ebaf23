"""What is drawn of a gap: what the blades said, what the model thinks, and the words for both."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from coldlash.engine.spec import GapSpec
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.words import NO_BREAK, Words
from coldlash.wear.record import GapInterval


@dataclass(frozen=True, slots=True)
class Band:
    """Something inferred: the value lies in ``lo``..``hi`` with probability ``share``, in the core with a half.

    Units are those of what it is about (mm; mm per 1000 km). Raises InputError when it is not in order.
    """

    lo: float
    hi: float
    core_lo: float | None = None
    core_hi: float | None = None
    share: float = 0.9

    def __post_init__(self) -> None:
        core_lo = self.lo if self.core_lo is None else self.core_lo
        core_hi = self.hi if self.core_hi is None else self.core_hi
        ends = (self.lo, core_lo, core_hi, self.hi)
        if not all(map(math.isfinite, ends)) or list(ends) != sorted(ends):
            raise InputError(
                say("a band needs finite ends in rising order, core inside, and was given {ends}", ends=ends)
            )
        if not 0 < self.share < 1:
            raise InputError(
                say("a band's share is a probability between 0 and 1, not {share}", share=self.share)
            )


@dataclass(frozen=True, slots=True)
class BandPoint:
    """A band of the gap (mm) at one place in the engine's life. ``day`` None = not known."""

    distance_km: float
    band: Band
    day: date | None = None


@dataclass(frozen=True, slots=True)
class GapView:
    """All that is drawn of one valve's gap, mm. ``expected`` is what the book leads one to expect now."""

    valve: str
    spec: GapSpec
    found: GapInterval | None = None
    expected: Band | None = None
    left: GapInterval | None = None
    set_to: float | None = None
    blades_mm: tuple[float, ...] = ()


def check_reading(reading: GapInterval | None, what: str) -> None:
    """Raises InputError for a reading that can't be drawn: its ends crossed, not numbers, or both open."""
    if reading is None:
        return
    if math.isnan(reading.lo) or math.isnan(reading.hi) or reading.lo > reading.hi:
        raise InputError(
            say(
                "{what}: a reading from {lo} to {hi} mm; give the thinner blade first",
                what=what,
                lo=reading.lo,
                hi=reading.hi,
            )
        )
    if math.isinf(reading.lo) and math.isinf(reading.hi):
        raise InputError(
            say("{what}: a reading open at both ends says nothing; leave it out (not measured)", what=what)
        )


def reading_words(reading: GapInterval | None, words: Words) -> str:
    """ "0.10 goes, 0.15 does not", "no blade goes: under 0.05", "0.50 goes, the thickest", "drag on 0.15"."""
    if reading is None:
        return words.say("not measured")
    lo, hi = words.gap(reading.lo), words.gap(reading.hi)
    if math.isinf(reading.lo):
        return words.say("no blade goes, not even {hi}", hi=hi)
    if math.isinf(reading.hi):
        return words.say("the thickest goes: {lo} or more", lo=lo)
    if reading.lo == reading.hi:
        return words.say("drag on {lo}", lo=lo)
    return words.say("{lo} goes, {hi} does not", lo=lo, hi=hi)


def reading_short(reading: GapInterval | None, words: Words) -> str:
    """The same in as few characters as can be: "0.10–0.15", "under 0.05", "0.50 up", "drag 0.15"."""
    if reading is None:
        return words.say("not measured")
    lo, hi = words.gap(reading.lo), words.gap(reading.hi)
    if math.isinf(reading.lo):
        return words.say("under {hi}", hi=hi)
    if math.isinf(reading.hi):
        return words.say("{lo} or more", lo=lo)
    if reading.lo == reading.hi:
        return words.say("drag {lo}", lo=lo)
    return words.say("{lo}–{hi}", lo=lo, hi=hi)


def share_words(share: float, words: Words) -> str:
    """A probability as chances in ten or in a hundred."""
    tenths = share * 10
    if abs(tenths - round(tenths)) < 1e-9:
        return words.say("{n} in 10", n=round(tenths))
    return words.say("{n} in 100", n=round(share * 100))


def band_words(band: Band, words: Words) -> str:
    """ "0.11 to 0.17 mm (9 in 10)"."""
    return words.say(
        "{lo} to {hi}{space}{unit} ({share})",
        lo=words.about(band.lo),
        hi=words.about(band.hi),
        space=NO_BREAK,
        unit=words.gap_unit,
        share=share_words(band.share, words),
    )


def limit_words(spec: GapSpec, words: Words) -> str:
    """One sentence on set point and limits; a limit that is not known is said to be unknown."""
    parts = [words.say("Set point {set}.", set=words.gap_and_unit(spec.cold))]
    if spec.tight is None:
        parts.append(words.say("No lower limit is known for this engine."))
    else:
        parts.append(words.say("Too tight below {tight}.", tight=words.gap_and_unit(spec.tight)))
    if spec.loose is None:
        parts.append(words.say("No upper limit is known for this engine."))
    else:
        parts.append(words.say("Too loose above {loose}.", loose=words.gap_and_unit(spec.loose)))
    return " ".join(parts)
