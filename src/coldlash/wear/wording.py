"""Figures and parts in words, for verdicts: short, with units, never more certain than the number behind them.

What is computed is mm and km; ``Units`` says in which units the owner reads it. Texts of the tables here are marked
and said in the language of the moment where they are used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

from coldlash import language
from coldlash.engine.linkage import Cause as LinkageCause
from coldlash.engine.spec import Engine, Valve
from coldlash.language import mark, number, say, table
from coldlash.units import KM_PER_MILE, MM_PER_INCH

if TYPE_CHECKING:
    from coldlash.wear.trend import Estimate

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

PART: dict[str, str] = {
    "seat_recession": mark("its seat or the valve itself, which gaps can't tell apart"),
    "valve_side_wear": mark("wear in its own train: rocker face, valve tip, lifter foot or pushrod end"),
    "shared_lobe": mark("the lobe they share and its followers"),
    "head_settling": mark("the head settling towards the crankcase"),
    "head_lifting": mark("the head lifting at that cylinder, where a stud gives way"),
    "stand_loose": mark("the rocker stand coming loose"),
    "cam_bearing_loose": mark("the cam's bearing caps coming loose"),
}
"""What may be behind a move, by what exactly happens."""

SIGN: dict[LinkageCause, str] = {
    "seat_recession_or_stretch": mark(
        "A valve that sinks or grows longer brings its tip closer, so the gap closes."
    ),
    "valve_train_wear": mark("Worn metal is missing between cam and valve, so the gap opens."),
    "shared_lobe_wear": mark("Worn metal is missing under both followers, so both gaps open."),
    "head_settling": mark(
        "Pivot and valve come closer to the camshaft, the pushrod stays as long: the gaps close."
    ),
    "head_lifting_or_stand_loose": mark(
        "The pivot moves away and the pushrod no longer reaches as far: the gaps open."
    ),
}
"""Why the gap moves that way, for a pushrod engine; ``linkage.cause_table`` has the figures."""

SIGN_OVERHEAD: dict[LinkageCause, str] = {
    **SIGN,
    "head_lifting_or_stand_loose": mark("The camshaft moves away from the valves, so the gaps open."),
}


CAUSE: dict[str, str] = {
    "seat_recession_or_stretch": mark("a receding seat or a stretching valve"),
    "valve_train_wear": mark("wear in the valve train"),
    "shared_lobe_wear": mark("wear of a shared lobe"),
    "head_settling": mark("a settling head"),
    "head_lifting_or_stand_loose": mark("a lifting head or a loose rocker stand"),
    "head_lifting": mark("a lifting head"),
    "stand_loose": mark("a loose rocker stand"),
    "cam_bearing_loose": mark("loose bearing caps of the cam"),
    "session_offset": mark("a whole session that is off"),
}
"""Causes, and what exactly may have happened where owners can tell more than gaps can, by name."""


@dataclass(frozen=True, slots=True)
class Units:
    """The owner's units for sentences. Values given are mm, mm per 1000 km and km.

    ``km_per_h``: what an hour counts where the meter counts hours ("h").
    """

    gap: Literal["mm", "in"] = "mm"
    distance: Literal["km", "mile", "h"] = "km"
    km_per_h: float = 50.0

    def mm(self, value: float) -> str:
        """An amount that is only likely: "0.02 mm", a third decimal below 0.0095; ".0055 in", to half thousandths."""
        if self.gap == "mm":
            if abs(value) < 0.0095:
                return say("{size:.3f} mm", size=value)
            return say("{size:.2f} mm", size=value)
        if abs(value) < 0.0095:
            return say("{size} in", size=_inch(value, 4))
        halves = round(value / MM_PER_INCH * 2000)
        return say("{size} in", size=_inch(halves * MM_PER_INCH / 2000, 4 if halves % 2 else 3))

    def limit(self, value: float) -> str:
        """A gap that somebody stated: "0.10 mm", ".004 in", ".0039 in"."""
        return self.mm(value) if self.gap == "mm" else say("{size} in", size=self.blade(value))

    def about(self, value: float) -> str:
        """An amount to two decimals or half a thousandth, however small: "0.00 mm"."""
        return say("{size:.2f} mm", size=value) if self.gap == "mm" else self.mm(value)

    def blade(self, value: float) -> str:
        """What a blade said, without its unit: "0.10", "0.125"; ".004", ".0045"."""
        if self.gap == "mm":
            return _no_last_zero(number(value, ".3f"))
        return _no_last_zero(_inch(value, 4))

    def rate(self, value: float) -> str:
        """A drift: "0.018 mm per 1,000 km", ".0011 in per 1,000 miles", "0.09 mm per 100 h"."""
        size = value * self._far
        text = number(size, ".3f") if self.gap == "mm" else _inch(size, 4)
        return self._per(_no_last_zero(text))

    def km(self, value: float) -> str:
        """A distance: "1,200 km", "746 miles", "24 h"."""
        if self.distance == "mile":
            return say("{miles:,.0f} miles", miles=value / KM_PER_MILE)
        if self.distance == "h":
            return say("{hours:,.0f} h", hours=value / self.km_per_h)
        return say("{km:,.0f} km", km=value)

    def gap_span(self, what: str, e: Estimate) -> str:
        """A gap's estimate with its 90 % range, as a sentence."""
        return _span(what, self._exact(e.mean), self.gap, self._exact(e.p05), self._exact(e.p95))

    def rate_span(self, what: str, e: Estimate) -> str:
        """A drift's estimate with its 90 % range, as a sentence."""
        far = self._far
        return _span(
            what, self._exact(e.mean * far), self._unit, self._exact(e.p05 * far), self._exact(e.p95 * far)
        )

    def amount(self, e: Estimate) -> str:
        """What a cause moved, as a sentence."""
        return say(
            "Amount {mean} {unit}, sd {sd}, at the most affected valve.",
            mean=self._exact(e.mean),
            unit=self.gap,
            sd=self._exact(e.sd),
        )

    @property
    def _far(self) -> float:
        """Thousand km in the distance that drifts are told for: 1,000 km, 1,000 miles or 100 h."""
        return {"km": 1.0, "mile": KM_PER_MILE, "h": self.km_per_h / 10.0}[self.distance]

    @property
    def _unit(self) -> str:
        if self.distance == "mile":
            return say("{unit} per 1,000 miles", unit=self.gap)
        if self.distance == "h":
            return say("{unit} per 100 h", unit=self.gap)
        return say("{unit} per 1,000 km", unit=self.gap)

    def _per(self, size: str) -> str:
        return f"{size} {self._unit}"

    def _exact(self, value: float) -> str:
        return number(value, ".3f") if self.gap == "mm" else _inch(value, 4)


MM_KM = Units()
"""What the contract's JSON speaks."""


def _inch(mm: float, places: int) -> str:
    """Inches without the nought before the mark: ".006", "-.0005"."""
    text = number(abs(mm) / MM_PER_INCH, f".{places}f").removeprefix("0")
    return f"-{text}" if mm < 0 and text.strip(".,0") else text


def _no_last_zero(text: str) -> str:
    return text.removesuffix("0")


def _span(what: str, mean: str, unit: str, low: str, high: str) -> str:
    return say(
        "{what} {mean} {unit}, nine in ten between {low} and {high}.",
        what=what, mean=mean, unit=unit, low=low, high=high,
    )  # fmt: skip


def sign(engine: Engine, cause: str) -> str:
    """The one sentence that says why this cause moves the gap that way. Empty for a session's offset."""
    signs = SIGN if engine.linkage.train == "pushrod" else SIGN_OVERHEAD
    return next((table(text) for name, text in signs.items() if name == cause), "")


def part(variant: str) -> str:
    """What may be behind a move, by what exactly happens; a name that is not in ``PART`` as it is."""
    return table(PART[variant]) if variant in PART else variant.replace("_", " ")


def cause(name: str) -> str:
    """A cause in a few words."""
    return table(CAUSE[name]) if name in CAUSE else name.replace("_", " ")


_CODED = re.compile(r"([a-z_]+) ([IE]\d+(?:\+[IE]\d+)*)")
_WITH = re.compile(r"with (.*): (.*)")


def coded(name: str) -> str:
    """A cause and its place as data has them ("head_settling I1+E1", "with A E3: B E4"); English says them so."""
    if language.current() == language.ENGLISH:
        return name
    together = _WITH.fullmatch(name)
    if together is not None:
        return say("with {cause}: {others}", cause=coded(together[1]), others=coded(together[2]))
    return _CODED.sub(lambda m: f"{cause(m[1])} ({m[2]})", name)


def mm(value: float) -> str:
    """ "0.02 mm", with a third decimal below 0.0095 or where it is not 0."""
    return MM_KM.mm(value)


def rate(value: float) -> str:
    """ "0.018 mm per 1,000 km", "0.02 mm per 1,000 km"."""
    return MM_KM.rate(value)


def km(value: float) -> str:
    """ "1,200 km"."""
    return MM_KM.km(value)


def share(probability: float) -> str:
    """A probability as "12 in 100", at the ends "under 1 in 100", "over 99 in 100"."""
    if probability < 0.01:
        return say("under 1 in 100")
    if probability > 0.99:
        return say("over 99 in 100")
    return say("{count:.0f} in 100", count=100 * probability)


def likely(probability: float) -> str:
    """ "very likely", "likely", "perhaps"."""
    return (
        say("very likely")
        if probability >= 0.95
        else say("likely")
        if probability >= 0.75
        else say("perhaps")
    )


def valves(which: Sequence[Valve]) -> str:
    """ "E3", "E1 and E3", "I1, E1, I2 and E2"."""
    names = [str(v) for v in which]
    if len(names) == 1:
        return names[0]
    return say("{valves} and {last}", valves=", ".join(names[:-1]), last=names[-1])


def month(day: date, seen_from: date) -> str:
    """ "March", or "March 2019" in another year than ``seen_from``."""
    here = day.year == seen_from.year
    if language.current() != language.ENGLISH:
        return language.month(day) if here else language.month_and_year(day)
    name = MONTHS[day.month - 1]
    return name if here else f"{name} {day.year}"


def span(what: str, e: Estimate, unit: str) -> str:
    """An estimate with its 90 % range, as a sentence."""
    return _span(what, *(number(e.mean, ".3f"), unit, number(e.p05, ".3f"), number(e.p95, ".3f")))
