"""The owner's units: how distances and temperatures are shown and typed. Gaps: ``Desk.unit`` and ``bench.blades``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

from coldlash.bench.blades import Unit
from coldlash.engine.spec import Service
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.words import MINUS, Words
from coldlash.units import KM_PER_MILE, MM_PER_INCH, c_from_f, f_from_c, parse_number
from coldlash.wear.wording import Units

Distance = Literal["km", "mile"]
Temperature = Literal["C", "F"]
LARGEST_MM = 5.0
"""A typed gap beyond this is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Shown:
    """The owner's choice: gaps in mm or thousandths of an inch, distances in km or miles, temperatures in C or F."""

    gap: Unit = "mm"
    distance: Distance = "km"
    temperature: Temperature = "C"

    def km(self, km: float, service: Service | None = None) -> str:
        """A distance in words, as this engine's meter counts it where ``service`` says hours."""
        if service is not None and service.meter == "h":
            return say("{hours:,.0f} h", hours=km / service.km_per_h)
        if self.distance == "mile":
            return say("{miles:,.0f} miles", miles=km / KM_PER_MILE)
        return say("{km:,.0f} km", km=km)

    def units(self, service: Service | None = None) -> Units:
        """The same choice for the sentences of verdicts, in hours where this engine's meter counts them."""
        if service is not None and service.meter == "h":
            return Units(self.gap, "h", service.km_per_h)
        return Units(self.gap, self.distance)

    def celsius(self, c: float) -> str:
        """A temperature in words."""
        if self.temperature == "F":
            return say("{degrees:.0f} °F", degrees=f_from_c(c))
        return say("{degrees:g} °C", degrees=c)

    def to_celsius(self, typed: float) -> float:
        """What the owner typed as a temperature, in Celsius."""
        return c_from_f(typed) if self.temperature == "F" else typed

    def kelvin(self, k: float) -> str:
        """A difference of temperatures in words."""
        if self.temperature == "F":
            return say("{degrees:.0f} °F", degrees=k * 1.8)
        return say("{degrees:g} °C", degrees=round(k, 1))

    @property
    def kelvin_unit(self) -> str:
        """What one step of such a difference is called."""
        return f"°{self.temperature}"

    def typed_celsius(self, c: float) -> str:
        """A temperature as the owner would type it."""
        return f"{f_from_c(c):.0f}" if self.temperature == "F" else f"{c:g}"

    def typed_mm(self, mm: float) -> str:
        """A gap as the owner would type it: "0.15" or ".006"."""
        return self.words().gap(mm).replace(MINUS, "-")

    def to_mm(self, text: str, what: str) -> float:
        """A typed gap in mm; below 0 = held open. "0.15", ".006" or "6" (thousandths) in inches, or with its unit.

        Raises InputError for what is no number, or beyond 5 mm.
        """
        match = re.fullmatch(r"\s*(\S+?)\s*(mm|in|inch|thou)?\s*", text, re.IGNORECASE)
        if match is None:
            raise InputError(
                say(
                    "{what}: {text!r} is not a gap; write it like {example}",
                    what=what,
                    text=text,
                    example=self.typed_mm(0.15),
                )
            )
        number = parse_number(match[1], what)
        unit = (match[2] or self.gap).lower()
        mm = number
        if unit == "thou" or (unit in ("in", "inch") and not match[2] and abs(number) >= 1):
            mm = number / 1000 * MM_PER_INCH
        elif unit in ("in", "inch"):
            mm = number * MM_PER_INCH
        if abs(mm) > LARGEST_MM:
            raise InputError(
                say(
                    "{what}: {text!r} is {mm:g} mm; a gap is below {most:g} mm",
                    what=what,
                    text=text.strip(),
                    mm=mm,
                    most=LARGEST_MM,
                )
            )
        return mm

    def words(self, service: Service | None = None) -> Words:
        """The same choice for drawings and paper."""
        if service is not None and service.meter == "h":
            return Words(gap_unit=self.gap, distance_unit="h", km_per_h=service.km_per_h)
        return Words(gap_unit=self.gap, distance_unit="mi" if self.distance == "mile" else "km")


SETTINGS = {
    "gap_unit": get_args(Unit),
    "distance_unit": get_args(Distance),
    "temperature_unit": get_args(Temperature),
}


def shown_from(settings: dict[str, str]) -> Shown:
    """The choice kept in a book; what is missing or unknown there is the usual one."""

    def kept(key: str, usual: str) -> str:
        value = settings.get(key, usual)
        return value if value in SETTINGS[key] else usual

    return Shown(
        "in" if kept("gap_unit", "mm") == "in" else "mm",
        "mile" if kept("distance_unit", "km") == "mile" else "km",
        "F" if kept("temperature_unit", "C") == "F" else "C",
    )


def checked_setting(key: str, value: str) -> str:
    """Raises InputError for a setting or a value that does not exist."""
    if key not in SETTINGS:
        raise InputError(say("setting {key!r}: there are {names}", key=key, names=", ".join(SETTINGS)))
    if value not in SETTINGS[key]:
        raise InputError(
            say(
                "{key}: {value!r} is not one of {names}", key=key, value=value, names=", ".join(SETTINGS[key])
            )
        )
    return value
