"""Numbers as people type them: which mark is the decimal one is decided over a whole column, never by a single cell.

Each cell is read strictly by the rules of both kinds of locales (babel, strict): "0,15" can only be 0.15 with a
decimal comma, "1.250,5" as well, "0.15" only with a point. "84,210" can be both; only other cells of its column, or a
person, can tell. What stands for nothing ("-", "n/a") is empty.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from coldlash.logbook.sheets.cells import Cell

Decimal = Literal[".", ",", "either"]
DECIMALS: tuple[Decimal, ...] = (".", ",", "either")
"""The decimal mark of a column. "either": both occur, each cell can be read in one way only."""

NOTHING = frozenset(
    {"", "-", "--", "–", "—", "/", "n/a", "na", "n.a.", "none", "nil", "k.a.", "k. a.", "entfällt", "."}
)
"""What people write where there is nothing."""
_LOCALES = {".": "en_US", ",": "de_DE"}
_SPACES = re.compile(r"(?<=\d)[ \u00a0\u202f\u2009'’](?=\d{3}(?!\d))")
_UNIT = re.compile(
    r"(?P<number>[+\-\u2212]?[\d.,'’ \u00a0\u202f\u2009]*\d[\d.,]*)\s*(?P<unit>[^\d\s.,][^\d]*?)?\.?",
    re.DOTALL,
)
_PAIR = re.compile(r"(?P<low>[^/|–—-]+?)\s*(?:-|–|—|/|\||\bto\b|\bbis\b|\.\.\.?|…)\s*(?P<high>[^/|–—-]+)")

UNITS: dict[str, str] = {
    "mm": "mm", "millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm",
    "in": "in", "in.": "in", "inch": "in", "inches": "in", '"': "in", "''": "in", "″": "in", "zoll": "in", "ins": "in",
    "thou": "thou", "thous": "thou", "mil": "thou", "mils": "thou", "thousandths": "thou", "1/1000": "thou",
    "hundredths": "0.01mm", "1/100": "0.01mm", "1/100 mm": "0.01mm", "1/100mm": "0.01mm", "hundertstel": "0.01mm",
    "µm": "um", "um": "um", "micron": "um", "microns": "um", "μm": "um",
    "km": "km", "kms": "km", "kilometer": "km", "kilometre": "km", "kilometers": "km", "kilometres": "km",
    "mi": "mile", "mile": "mile", "miles": "mile", "meilen": "mile", "meile": "mile", "mls": "mile",
    "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "std": "h", "stunden": "h", "bh": "h",
    "betriebsstunden": "h", "stunde": "h",
    "c": "C", "°c": "C", "degc": "C", "celsius": "C", "grad": "C", "grad c": "C", "deg c": "C", "°": "", "ºc": "C",
    "f": "F", "°f": "F", "degf": "F", "fahrenheit": "F", "deg f": "F", "ºf": "F",
}  # fmt: skip
"""What units are called, in English and German."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A number as typed: by decimal point and by decimal comma (None = it can't be read so), and its unit or ""."""

    point: float | None
    comma: float | None
    unit: str = ""

    def by(self, decimal: str) -> float | None:
        """Its value where ``decimal`` holds; None = not a number then, or (for "either") it can be read in two ways."""
        if decimal == ".":
            return self.point
        if decimal == ",":
            return self.comma
        if self.point is None or self.comma is None or self.point == self.comma:
            return self.comma if self.point is None else self.point
        return None

    @property
    def both(self) -> bool:
        """True when it can be read in two ways that differ."""
        return self.point is not None and self.comma is not None and self.point != self.comma


def empty(cell: Cell) -> bool:
    """True for a cell that says nothing."""
    return cell is None or (isinstance(cell, str) and cell.lower() in NOTHING)


def typed(cell: Cell) -> Typed | None:
    """A cell as a number, with what unit stands in it; None = it is none."""
    if isinstance(cell, bool):
        return None
    if isinstance(cell, float):
        return Typed(cell, cell) if math.isfinite(cell) else None
    return typed_text(cell) if isinstance(cell, str) else None


@lru_cache(maxsize=65_536)
def typed_text(text: str) -> Typed | None:
    """A text as a number: "0,15", "0.15 mm", "84 210 km", ".006 in", '6 thou'."""
    found = _UNIT.fullmatch(text.strip())
    if found is None:
        return None
    unit = ""
    if found["unit"]:
        named = UNITS.get(" ".join(found["unit"].lower().split()).strip())
        if named is None:
            return None
        unit = named
    digits = _SPACES.sub("", found["number"].replace("\u2212", "-").strip())
    point, comma = _strict(digits, "."), _strict(digits, ",")
    if point is None and comma is None:
        return None
    return Typed(point, comma, unit)


def _strict(digits: str, decimal: str) -> float | None:
    from babel.numbers import NumberFormatError, parse_decimal

    if " " in digits or digits.endswith((".", ",")):
        return None
    try:
        value = float(parse_decimal(digits, locale=_LOCALES[decimal], strict=True))
    except NumberFormatError:
        return None
    return value if math.isfinite(value) else None


def pair(cell: Cell) -> tuple[str, str] | None:
    """The two numbers of "0.10-0.15", "0,10 / 0,15" as they stand; None = it is no such pair."""
    if not isinstance(cell, str):
        return None
    found = _PAIR.fullmatch(cell)
    if found is None:
        return None
    low, high = found["low"].strip(), found["high"].strip()
    return (low, high) if typed_text(low) and typed_text(high) else None


def number_parts(cell: Cell) -> tuple[Cell, ...]:
    """The numbers of a cell as they stand: both of a pair, that of "<0.10" without its sign, else the cell."""
    return pair(cell) or ((cell.lstrip("<> ") if isinstance(cell, str) else cell),)


def decimal_of(cells: Iterable[Cell]) -> str:
    """The decimal mark of a column: ".", ",", "either", or "" where it can't be told.

    "" only if some cell can be read in two ways and no other tells which. A column without marks has ".".
    """
    only_point = only_comma = both = False
    for cell in cells:
        if not isinstance(cell, str):
            continue
        for part in number_parts(cell):
            number = typed(part)
            if number is None:
                continue
            both = both or number.both
            only_point = only_point or number.comma is None
            only_comma = only_comma or number.point is None
    if only_point and only_comma:
        return "either"
    if only_comma:
        return ","
    return "." if only_point or not both else ""
