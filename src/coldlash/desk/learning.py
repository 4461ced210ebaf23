"""The owner's own figures: how rough the hands, blades and days of this book are, learnt from all its engines.

Learnt once there are more than a few visits and kept in the book with the number of visits they were learnt from;
learnt again when a tenth more have come, and at least two: one more visit teaches next to nothing and costs
seconds. Until then, and where learning does not settle, the invented starting points hold.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, fields

from coldlash.engine.spec import Engine
from coldlash.errors import ConvergenceError, InputError
from coldlash.wear.learn import learn
from coldlash.wear.record import VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings

SETTING = "learnt"
LEAST_VISITS = 6
"""Fewer visits in the whole book than this teach nothing (judgement: three teach a little, six enough to use)."""
MOST_ENGINES = 12
"""Of a large shed the engines with the most visits are enough to know the hands (judgement)."""

Learnable = tuple[Engine, Sequence[VisitRecord], Coefficient | None]


def learnt_from(books: Sequence[Learnable]) -> TrendSettings:
    """The figures learnt from these engines' visits; the starting points where there is too little to learn from."""
    chosen = sorted(books, key=lambda book: -len(book[1]))[:MOST_ENGINES]
    if sum(len(visits) for _, visits, _ in chosen) < LEAST_VISITS:
        return DEFAULTS
    try:
        pairs = [(engine, visits) for engine, visits, _ in chosen]
        return learn(pairs, coefficients=[coefficient for *_, coefficient in chosen]).settings
    except ConvergenceError:
        # Readings that contradict each other: what they teach is not to be trusted.
        return DEFAULTS


def outgrown(learnt_visits: int, visits: int) -> bool:
    """Is the book so much larger (or smaller: an import undone) that it should be learnt from again?"""
    return abs(visits - learnt_visits) > max(1, learnt_visits // 10)


def written(settings: TrendSettings, visits: int) -> str:
    """The figures as the book keeps them, with the number of visits they were learnt from."""
    return json.dumps({"visits": visits, "settings": asdict(settings)})


def read(text: str | None) -> tuple[TrendSettings, int] | None:
    """What ``written`` wrote; None where there is nothing, or nothing this version understands."""
    if not text:
        return None
    try:
        kept = json.loads(text)
        names = {f.name for f in fields(TrendSettings)}
        values = {name: float(value) for name, value in kept["settings"].items() if name in names}
        return TrendSettings(**values), int(kept["visits"])
    except (ValueError, KeyError, TypeError, AttributeError, InputError):
        return None
