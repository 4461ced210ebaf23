"""Figures and parts in words, for verdicts: short, with units, never more certain than the number behind them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coldlash.engine.linkage import Cause as LinkageCause
from coldlash.engine.spec import Engine, Valve
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
    "seat_recession": "its seat or the valve itself, which gaps can't tell apart",
    "valve_side_wear": "wear in its own train: rocker face, valve tip, lifter foot or pushrod end",
    "shared_lobe": "the lobe they share and its followers",
    "head_settling": "the head settling towards the crankcase",
    "head_lifting": "the head lifting at that cylinder, where a stud gives way",
    "stand_loose": "the rocker stand coming loose",
    "cam_bearing_loose": "the cam's bearing caps coming loose",
}
"""What may be behind a move, by what exactly happens."""

SIGN: dict[LinkageCause, str] = {
    "seat_recession_or_stretch": "A valve that sinks or grows longer brings its tip closer, so the gap closes.",
    "valve_train_wear": "Worn metal is missing between cam and valve, so the gap opens.",
    "shared_lobe_wear": "Worn metal is missing under both followers, so both gaps open.",
    "head_settling": "Pivot and valve come closer to the camshaft, the pushrod stays as long: the gaps close.",
    "head_lifting_or_stand_loose": "The pivot moves away and the pushrod no longer reaches as far: the gaps open.",
}
"""Why the gap moves that way, for a pushrod engine; ``linkage.cause_table`` has the figures."""

SIGN_OVERHEAD: dict[LinkageCause, str] = {
    **SIGN,
    "head_lifting_or_stand_loose": "The camshaft moves away from the valves, so the gaps open.",
}


def sign(engine: Engine, cause: str) -> str:
    """The one sentence that says why this cause moves the gap that way. Empty for a session's offset."""
    table = SIGN if engine.linkage.train == "pushrod" else SIGN_OVERHEAD
    return next((text for name, text in table.items() if name == cause), "")


def mm(value: float) -> str:
    """ "0.02 mm", with a third decimal below 0.0095 or where it is not 0."""
    places = 3 if abs(value) < 0.0095 else 2
    return f"{value:.{places}f} mm"


def rate(value: float) -> str:
    """ "0.018 mm per 1,000 km", "0.02 mm per 1,000 km"."""
    return f"{value:.3f}".removesuffix("0") + " mm per 1,000 km"


def km(value: float) -> str:
    """ "1,200 km"."""
    return f"{value:,.0f} km"


def share(probability: float) -> str:
    """A probability as "12 in 100", at the ends "under 1 in 100", "over 99 in 100"."""
    if probability < 0.01:
        return "under 1 in 100"
    if probability > 0.99:
        return "over 99 in 100"
    return f"{100 * probability:.0f} in 100"


def likely(probability: float) -> str:
    """ "very likely", "likely", "perhaps"."""
    return "very likely" if probability >= 0.95 else "likely" if probability >= 0.75 else "perhaps"


def valves(which: Sequence[Valve]) -> str:
    """ "E3", "E1 and E3", "I1, E1, I2 and E2"."""
    names = [str(v) for v in which]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def month(day: date, seen_from: date) -> str:
    """ "March", or "March 2019" in another year than ``seen_from``."""
    name = MONTHS[day.month - 1]
    return name if day.year == seen_from.year else f"{name} {day.year}"


def span(what: str, e: Estimate, unit: str) -> str:
    """An estimate with its 90 % range, as a sentence."""
    return f"{what} {e.mean:.3f} {unit}, nine in ten between {e.p05:.3f} and {e.p95:.3f}."
