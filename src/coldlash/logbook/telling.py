"""The book's small words in the language of the moment: labels, states, steps, exact numbers. Never for storing."""

from __future__ import annotations

import re
from collections.abc import Iterable

from coldlash.language import ENGLISH, current, mark, number, say_in, table

_LABELS = frozenset(
    {
        mark("accepted cause"), mark("accepted cause id"), mark("air temperature"), mark("amount"),
        mark("at"), mark("blade"), mark("blade set"), mark("blade set id"), mark("blades"),
        mark("by"), mark("caption"), mark("change id"), mark("closed_at"), mark("cylinder"),
        mark("cylinders"), mark("data"), mark("day"), mark("device"), mark("digits"),
        mark("direction"), mark("distance"), mark("engine"), mark("engine file"),
        mark("engine file id"), mark("engine id"), mark("engine temperature"), mark("facts"),
        mark("feel"), mark("fitment"), mark("fitment id"), mark("go"), mark("h"), mark("how"),
        mark("id"), mark("import id"), mark("instrument"), mark("instrument id"), mark("kind"),
        mark("km"), mark("last reading of the old one"), mark("lobe table name"), mark("meter"),
        mark("meter digits"), mark("meter reading"), mark("meter reading id"), mark("meter unit"),
        mark("mile"), mark("name"), mark("nogo"), mark("note"), mark("part"), mark("photo"),
        mark("photo id"), mark("place"), mark("plan"), mark("reading"), mark("reading id"),
        mark("reason"), mark("replaces"), mark("result"), mark("setting"), mark("source"),
        mark("spin"), mark("stacks of"), mark("state"), mark("step"), mark("taken_at"),
        mark("test"), mark("test id"), mark("thousandths"), mark("thousandths of a degree C"),
        mark("times"), mark("turned over"), mark("unit"), mark("vehicle"), mark("vehicle id"),
        mark("visit id"), mark("work"), mark("work id"),
    }
)  # fmt: skip
_READING = re.compile(r"([IE]\d+) (found|set|left)")


def label(what: str) -> str:
    """What a fault is about, "work: note" or "E3 found: go", said part by part; names and ids stay as they are."""
    if current() == ENGLISH:
        return what
    return ": ".join(map(_part, what.split(": ")))


def _part(text: str) -> str:
    reading = _READING.fullmatch(text)
    if reading is not None:
        return f"{reading[1]} {step_word(reading[2])}"
    return table(text) if text in _LABELS else text


def labels(texts: Iterable[str]) -> str:
    """Labels in a row: "day, distance, note"."""
    return ", ".join(map(label, texts))


def step_word(step: str) -> str:
    """A step of a visit: found, set, left."""
    match step:
        case "found":
            return say_in("step of a visit", "found")
        case "set":
            return say_in("step of a visit", "set")
        case "left":
            return say_in("step of a visit", "left")
        case _:
            return step


def state_word(state: str) -> str:
    """A visit's state: draft, closed, discarded."""
    match state:
        case "draft":
            return say_in("state of a visit", "draft")
        case "closed":
            return say_in("state of a visit", "closed")
        case "discarded":
            return say_in("state of a visit", "discarded")
        case _:
            return state


def told(thousandths: int, least_decimals: int = 0) -> str:
    """Thousandths as a decimal number without needless zeros: 150 is "0.15", 84210000 is "84210"."""
    sign, size = ("-" if thousandths < 0 else ""), abs(thousandths)
    decimals = f"{size % 1000:03d}".rstrip("0").ljust(least_decimals, "0")
    if not decimals:
        return f"{sign}{size // 1000}"
    return f"{sign}{size // 1000}{number(0.5, '.1f')[1]}{decimals}"
