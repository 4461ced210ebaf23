"""What a number in the wrong unit looks like: each hint says what was probably meant, or nothing."""

from __future__ import annotations

from coldlash.engine.fields import Hint, plain
from coldlash.language import say
from coldlash.units import MM_PER_INCH


def gap_hint(value: float) -> str | None:
    """A gap in hundredths of a millimetre, in thousandths of an inch, or in inches."""
    if value > 2:
        return say(
            "if these are thousandths of an inch, write {value}; if hundredths of a mm, write {value2}",
            value=plain(value * MM_PER_INCH / 1000),
            value2=plain(value / 100),
        )
    if 0 < value < 0.02:
        return say(
            "no blade is that thin; if these are inches, {value} in is {value2} mm",
            value=plain(value),
            value2=plain(value * MM_PER_INCH),
        )
    return None


def tight_hint(value: float) -> str | None:
    """As ``gap_hint``; a tight limit may be smaller than any blade."""
    return gap_hint(value) if value > 2 or value < 0.01 else None


def pitch_hint(value: float) -> str | None:
    """Threads per inch in place of a pitch, or a pitch in inches."""
    if 10 <= value <= 80:
        return say(
            "if these are threads per inch, the pitch is 25.4 / {value} = {value2} mm",
            value=plain(value),
            value2=plain(25.4 / value),
        )
    if 0 < value < 0.15:
        return say(
            "if these are inches, {value} in is {value2} mm",
            value=plain(value),
            value2=plain(value * MM_PER_INCH),
        )
    return None


def length_hint(smallest: float) -> Hint:
    """A length in centimetres or inches in place of millimetres: anything above 0 and below ``smallest``."""

    def hint(value: float) -> str | None:
        if 0 < value < smallest:
            return say(
                "if these are centimetres, write {value}; if inches, {value2}",
                value=plain(value * 10),
                value2=plain(value * MM_PER_INCH),
            )
        return None

    return hint


def expansion_hint(value: float) -> str | None:
    """Expansion in millionths per kelvin in place of per kelvin."""
    if 1 <= value <= 100:
        return say("if these are millionths per K, write {value}e-6", value=plain(value))
    return None


def minus_before_hint(value: float) -> str | None:
    """A mark before TDC written as a negative angle."""
    if -360 < value < 0:
        return say("{value} before TDC is written {value2}", value=plain(-value), value2=plain(360 + value))
    return None
