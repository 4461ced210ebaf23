"""The words and figures of what is drawn and printed: one place for language, decimal mark and units.

Sentences are written in English where they are needed and go through ``Words.say``, which says them in the language
of the moment (``coldlash.language``). Values inside are mm and km; they become inches, miles or hours here, at the
edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from coldlash import language
from coldlash.language import mark
from coldlash.units import KM_PER_MILE, MM_PER_INCH

GapUnit = Literal["mm", "in"]
DistanceUnit = Literal["km", "mi", "h"]

MINUS = "\u2212"
THIN = "\u202f"
NO_BREAK = "\u00a0"
MONTHS = (
    mark("Jan"), mark("Feb"), mark("Mar"), mark("Apr"), mark("May"), mark("Jun"),
    mark("Jul"), mark("Aug"), mark("Sep"), mark("Oct"), mark("Nov"), mark("Dec"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Words:
    """The units things are said in; the language is that of the moment, unless told otherwise.

    ``translate``: from the English template to another one; ``decimal``: the decimal mark; both for figures that must
    not follow the language. ``km_per_h`` is what one hour counts (``Service.km_per_h``), for meters in hours.
    """

    translate: Callable[[str], str] | None = None
    decimal: str = ""
    gap_unit: GapUnit = "mm"
    distance_unit: DistanceUnit = "km"
    km_per_h: float = 50.0

    def say(self, template: str, **parts: object) -> str:
        """A sentence in the language of the moment, filled in."""
        if self.translate is None:
            return language.table(template, **parts)
        return self.translate(template).format(**parts)

    @property
    def point(self) -> str:
        """The decimal mark: the language's, unless another was given."""
        return self.decimal or language.number(0.5, ".1f")[1]

    def number(self, value: float, places: int, *, sign: bool = False) -> str:
        """A number with this many decimals, a real minus, the decimal mark; ``sign`` writes a plus too."""
        if math.isinf(value):
            return ("" if value > 0 else MINUS) + "∞"
        text = f"{abs(value):.{places}f}"
        if float(text) == 0:
            return text.replace(".", self.point)
        front = MINUS if value < 0 else ("+" if sign else "")
        return front + text.replace(".", self.point)

    def gap(self, mm: float, *, sign: bool = False) -> str:
        """A gap without its unit: "0.15", "0.125"; in inches ".006", ".0055"."""
        if self.gap_unit == "mm":
            third = math.isfinite(mm) and round(mm * 1000) % 10 != 0
            return self.number(mm, 3 if third else 2, sign=sign)
        thousandths = round(mm / MM_PER_INCH * 1000, 1) if math.isfinite(mm) else mm
        tenth = math.isfinite(mm) and thousandths != round(thousandths)
        text = self.number(thousandths / 1000, 4 if tenth else 3, sign=sign)
        return text.replace("0" + self.point, self.point, 1)

    def about(self, mm: float, *, sign: bool = False) -> str:
        """A gap that is only likely, to the nearest 0.01 mm or half thousandth: nothing finer is known."""
        if self.gap_unit == "mm" or not math.isfinite(mm):
            return self.number(mm, 2, sign=sign)
        halves = round(mm / MM_PER_INCH * 2000) / 2
        return self.gap(halves * MM_PER_INCH / 1000, sign=sign)

    def gap_value(self, mm: float) -> float:
        """Millimetres in the owner's unit for gaps."""
        return mm / MM_PER_INCH if self.gap_unit == "in" else mm

    def gap_mm(self, value: float) -> float:
        """The owner's unit for gaps back to millimetres."""
        return value * MM_PER_INCH if self.gap_unit == "in" else value

    def with_unit(self, figure: str) -> str:
        """A gap's figure with its unit behind it."""
        return f"{figure}{NO_BREAK}{self.gap_unit}"

    def gap_and_unit(self, mm: float) -> str:
        """ "0.15 mm" or ".006 in"."""
        return self.with_unit(self.gap(mm))

    def distance_value(self, km: float) -> float:
        """Kilometres in the owner's unit."""
        if self.distance_unit == "mi":
            return km / KM_PER_MILE
        return km / self.km_per_h if self.distance_unit == "h" else km

    def km(self, value: float) -> float:
        """The owner's unit back to kilometres."""
        if self.distance_unit == "mi":
            return value * KM_PER_MILE
        return value * self.km_per_h if self.distance_unit == "h" else value

    def grouped(self, value: float) -> str:
        """A whole number in groups of three, parted by a thin space that can't be read as a decimal mark."""
        text = f"{abs(value):,.0f}"
        return (MINUS if value < 0 and text != "0" else "") + text.replace(",", THIN)

    def distance(self, km: float) -> str:
        """ "84 210 km", miles or hours, whole."""
        return f"{self.grouped(self.distance_value(km))}{NO_BREAK}{self.distance_unit}"

    def month(self, day: date) -> str:
        """ "May 2024"."""
        return self.say("{month} {year}", month=self.say(MONTHS[day.month - 1]), year=str(day.year))

    def day(self, day: date) -> str:
        """ "3 May 2024"; in other languages as ``language.day`` has it."""
        if language.current() == language.ENGLISH:
            return f"{day.day} {self.month(day)}"
        return language.day(day)

    def percent(self, share: float) -> str:
        """A probability in words that never claim more than is known: "under 1 %", "37 %", "over 99 %"."""
        if share < 0.01:
            return self.say("under {n} %", n=1)
        if share > 0.99:
            return self.say("over {n} %", n=99)
        return self.say("{n} %", n=round(100 * share))


ENGLISH = Words()
