"""The owner's units: how distances and temperatures are shown and typed. Gaps: ``Desk.unit`` and ``bench.blades``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from coldlash.bench.blades import Unit
from coldlash.engine.spec import Service
from coldlash.errors import InputError
from coldlash.paper.words import Words
from coldlash.units import KM_PER_MILE, c_from_f, f_from_c

Distance = Literal["km", "mile"]
Temperature = Literal["C", "F"]


@dataclass(frozen=True, slots=True)
class Shown:
    """The owner's choice: gaps in mm or thousandths of an inch, distances in km or miles, temperatures in C or F."""

    gap: Unit = "mm"
    distance: Distance = "km"
    temperature: Temperature = "C"

    def km(self, km: float, service: Service | None = None) -> str:
        """A distance in words, as this engine's meter counts it where ``service`` says hours."""
        if service is not None and service.meter == "h":
            return f"{km / service.km_per_h:,.0f} h"
        return f"{km / KM_PER_MILE:,.0f} miles" if self.distance == "mile" else f"{km:,.0f} km"

    def celsius(self, c: float) -> str:
        """A temperature in words."""
        return f"{f_from_c(c):.0f} °F" if self.temperature == "F" else f"{c:g} °C"

    def to_celsius(self, typed: float) -> float:
        """What the owner typed as a temperature, in Celsius."""
        return c_from_f(typed) if self.temperature == "F" else typed

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
        raise InputError(f"setting {key!r}: there are {', '.join(SETTINGS)}")
    if value not in SETTINGS[key]:
        raise InputError(f"{key}: {value!r} is not one of {', '.join(SETTINGS[key])}")
    return value
