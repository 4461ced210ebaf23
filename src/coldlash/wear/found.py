"""Causes that the owner holds for found: what they do to what the readings say.

A cause found is evidence of the same kind as a test, with the reliability that ``tests_table.toml`` states: it weighs
what may have happened, and what is then beyond doubt goes into the trend as a jump, for good. It never makes a cause
of what no reading shows, and it can be wrong. Units: mm, visits from 0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from coldlash.engine.spec import Valve
from coldlash.wear.causes import (
    DEFAULT_CAUSES,
    HISTORY_VISITS,
    LEAST_MM,
    Attribution,
    Cause,
    CauseSettings,
    attribute,
)
from coldlash.wear.next_test import weigh_found
from coldlash.wear.signature import Onset
from coldlash.wear.trend import Shock, Trend

FOUND_AT = 0.5
"""Probability from which a jump that was found goes into the trend: less than for one that was not (judgement)."""
LOOK_BACK = 3
"""What is found on a day happened before one of so many of the last visits then (judgement)."""


class Found(NamedTuple):
    """A cause found on ``day``: its name (or what exactly happened: "stand_loose"), its valves, "tighter" or "looser".

    ``where`` empty = anywhere. ``amount``: mm, >= 0, if the owner knows it. ``saw``: the last visit it was found
    after; None = after them all. ``mended``: there was work at that place since.
    """

    cause: str
    where: tuple[Valve, ...]
    direction: str
    day: date
    amount: float | None = None
    saw: int | None = None
    mended: bool = False


def matching(found: Found, cause: Cause, variant: str | None = None) -> bool:
    """Is ``cause`` (or one variant of it) what was found?"""
    named = found.cause == cause.cause or found.cause in ((variant,) if variant else cause.variants[:1])
    begun = found.saw is None or cause.onset_session <= found.saw
    here = not found.where or bool(set(found.where) & set(cause.where))
    return named and begun and here and found.direction == cause.direction


def with_found(seen: Attribution, found: Sequence[Found]) -> Attribution:
    """``seen`` after what was found; what the readings show nothing of leaves it as it is."""
    for each in found:
        if any(matching(each, c, v) for c in seen.causes for v in c.variants):
            seen = weigh_found(seen, lambda cause, variant, each=each: matching(each, cause, variant))  # type: ignore[misc]
    return seen


def jumps_found(trend: Trend, seen: Attribution, found: Sequence[Found]) -> tuple[Shock, ...]:
    """Jumps in ``seen`` (after ``with_found``) that were found and are beyond doubt, as ``trend.fit`` takes them."""
    shocks = []
    for cause in seen.causes:
        mine = next((f for f in found if matching(f, cause)), None)
        if mine is None or cause.how != "jump" or seen.probability_of(cause) <= FOUND_AT:
            continue
        loading = {v: x for v, x in zip(trend.valves, cause.loading, strict=True) if x}
        mean = cause.amount.mean if mine.amount is None else mine.amount
        shocks.append(Shock(cause.onset_session, "gap", loading, mean, max(mean, LEAST_MM)))
    return tuple(shocks)


def found_history(
    trend: Trend, found: Sequence[Found], settings: CauseSettings = DEFAULT_CAUSES
) -> tuple[tuple[Found, Shock], ...]:
    """Jumps found that lie further back than ``attribute`` looks: they stay in the trend for good."""
    book, rate = trend.book, settings.hazard * len(trend.valves)
    T = len(book.visits)
    shocks: list[tuple[Found, Shock]] = []
    for each in found:
        last = T - 1 if each.saw is None else min(each.saw, T - 1)
        onsets = [
            (Onset(t, "jump"), -math.expm1(-rate * float(book.dist[t])))
            for t in range(max(last - LOOK_BACK + 1, 1), last + 1)
            if t < T - settings.jumps and book.dist[t] > 0 and trend.sessions[t].read.any()
        ]
        if onsets:
            seen = with_found(attribute(trend, settings, onsets, HISTORY_VISITS), [each])
            shocks.extend((each, shock) for shock in jumps_found(trend, seen, [each]))
    return tuple(shocks)


def without_twins(shocks: Sequence[Shock], others: Sequence[Shock]) -> tuple[Shock, ...]:
    """Those of ``shocks`` that are not in ``others`` already: same visit, and a valve in common."""
    return tuple(
        s
        for s in shocks
        if not any(s.session == o.session and set(s.loading) & set(o.loading) for o in others)
    )
