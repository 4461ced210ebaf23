"""Unit conversion and strict reading of numbers: at the edges only; inside, one unit per quantity.

Lengths of gaps are millimetres in computations and integer micrometres in the book; distances are kilometres
in computations and integer metres in the book; temperatures are degrees Celsius; pressures are pascals.
"""

from __future__ import annotations

import re

from coldlash.errors import InputError
from coldlash.language import say

MM_PER_INCH = 25.4  # exact, international inch (1959)
KM_PER_MILE = 1.609344  # exact, international mile (1959)
PA_PER_BAR = 1e5  # exact
PA_PER_PSI = 6894.757293168361  # lbf/in2: 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)^2

_NUMBER = re.compile(r"([+\-\u2212]?)([0-9]*)(?:([.,])([0-9]+))?")


def parse_number(text: str, what: str) -> float:
    """Read one decimal number, with a point or a decimal comma.

    "0,15" is 0.15 and never 15. A comma before exactly three digits after a non-zero whole part ("84,210")
    may be a thousands mark or a decimal comma, so it is refused. ``what`` names the value in the message.
    Raises InputError.
    """
    given = text.strip()
    match = _NUMBER.fullmatch(given)
    if match is None or not (match[2] or match[4]):
        raise InputError(
            say(
                "{what}: {text!r} is not a number; write it like {example:.2f}",
                what=what,
                text=text,
                example=0.15,
            )
        )
    sign, whole, mark, fraction = match.groups()
    if mark == "," and len(fraction) == 3 and whole.strip("0"):
        raise InputError(
            say(
                "{what}: {text!r} can be read as {whole}{fraction} or as {whole}.{fraction}; write one of these",
                what=what,
                text=text,
                whole=whole,
                fraction=fraction,
            )
        )
    value = float(f"{whole or '0'}.{fraction or '0'}")
    return -value if sign in ("-", "\u2212") else value


def um_from_mm(mm: float) -> int:
    """Millimetres to whole micrometres, rounded half to even."""
    return round(mm * 1000)


def mm_from_um(um: int) -> float:
    """Whole micrometres to millimetres."""
    return um / 1000


def m_from_km(km: float) -> int:
    """Kilometres to whole metres."""
    return round(km * 1000)


def km_from_m(m: int) -> float:
    """Whole metres to kilometres."""
    return m / 1000


def mm_from_inch(inch: float) -> float:
    """Inches to millimetres (exact factor)."""
    return inch * MM_PER_INCH


def km_from_mile(mile: float) -> float:
    """Miles to kilometres (exact factor)."""
    return mile * KM_PER_MILE


def c_from_f(fahrenheit: float) -> float:
    """Degrees Fahrenheit to degrees Celsius."""
    return (fahrenheit - 32) / 1.8


def f_from_c(celsius: float) -> float:
    """Degrees Celsius to degrees Fahrenheit."""
    return celsius * 1.8 + 32
