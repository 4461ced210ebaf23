"""What to have done before the first valve, and after the last. Common practice; the maker's manual first."""

from __future__ import annotations

from dataclasses import dataclass

from coldlash.bench.cautions import Caution, cautions_at
from coldlash.engine.spec import Engine
from coldlash.language import plural, say


@dataclass(frozen=True, slots=True)
class Item:
    """One line to tick. ``key`` names it where the tick is kept."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Checklist:
    """Lines to tick and the cautions said beside them."""

    title: str
    items: tuple[Item, ...]
    cautions: tuple[Caution, ...]


def getting_ready(engine: Engine) -> Checklist:
    """Before the first valve."""
    heads = len(engine.heads)
    marks = say("The pulley marks are clean and can be read.")
    if not engine.pulley.marks_deg:
        marks = say("A way to find firing TDC is at hand: no pulley marks are known for this engine.")
    items = (
        Item("cold", say("The engine has stood until it is cold, best overnight; its temperature is noted.")),
        Item("meter", say("The odometer or hour meter is read and noted.")),
        Item("blades", say("The blades are clean, straight and the ones named in the visit.")),
        Item(
            "gaskets",
            plural(
                "Gaskets for the rocker cover are at hand; dirt is brushed off before it comes off.",
                "Gaskets for the {n} rocker covers are at hand; dirt is brushed off before they come off.",
                heads,
            ),
        ),
        Item("marks", marks),
        Item("plugs", say("Spark plugs are out, if the crank is to turn easily; the holes are covered.")),
    )
    return Checklist(say("Getting ready"), items, cautions_at("ready"))


def closing_up(engine: Engine) -> Checklist:
    """After the last valve."""
    adjusters = say("Every lock-nut is tight and every gap has been measured again after it.")
    items = (
        Item("lock_nuts", adjusters),
        Item(
            "turned", say("The crank has been turned twice round by hand: nothing binds, every valve moves.")
        ),
        Item("stands", say("Rocker stands sit tight (the maker's torque).")),
        Item("covers", say("Covers and new gaskets are on, sealing faces clean, no rag left inside.")),
        Item("plugs", say("Plugs and leads are back in their places, the battery is connected.")),
        Item("oil", say("Oil level is right; covers are dry after a few minutes of running.")),
    )
    return Checklist(
        say("Closing up {name}", name=engine.name), items, (*cautions_at("close_up"), *cautions_at("run"))
    )
