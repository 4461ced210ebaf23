"""A cheap second opinion on change: cumulative sums of how surprising each reading was (Page 1954).

Each reading becomes a standard normal score: the middle of its probability interval under what was expected from
everything else (visits before and the session's other valves), through the inverse normal (Dunn & Smyth 1996, mid
quantile residuals). No bank, no hypotheses: it says that something moved, not what.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear.interval import Array
from coldlash.wear.trend import Session, Trend

SLACK = 0.5
"""Half of the shift, in sds, that the sum is tuned to see (Montgomery, Statistical Quality Control, section 9.1)."""
LIMIT = 5.0
"""Alarm level in sds (Montgomery: 4 or 5; with slack 1/2 about 465 quiet readings a false alarm, both sides)."""
MOST = 3.0
"""Scores count at most this many sds, or one misread would raise the alarm."""


class Cusum(NamedTuple):
    """Sums (T, V) per visit and valve in the engine's order, both >= 0; ``scores`` (T, V), nan where not read."""

    tighter: Array
    looser: Array
    scores: Array

    def alarms(self, limit: float = LIMIT) -> np.ndarray:
        """(T, V) True where either sum is above ``limit``."""
        found: np.ndarray = (self.tighter > limit) | (self.looser > limit)
        return found


def scores(session: Session, feel: float) -> Array:
    """Standard normal scores (V,) of a session's readings, nan where nothing was read. ``feel`` mm."""
    from scipy.special import ndtr, ndtri

    sd = np.sqrt(session.others_var + feel**2)
    a, b = (session.lo - session.others_mean) / sd, (session.hi - session.others_mean) / sd
    middle = np.clip(0.5 * (ndtr(a) + ndtr(b)), 1e-12, 1 - 1e-12)
    out: Array = np.where(session.read, ndtri(middle), np.nan)
    return out


def cusum(trend: Trend, slack: float = SLACK) -> Cusum:
    """Two-sided cumulative sums over every visit. Raises InputError for a slack that is not >= 0.

    A sum starts again where a part was replaced; a visit without a reading leaves it as it is.
    """
    if not (math.isfinite(slack) and slack >= 0):
        raise InputError(say("a slack of {slack}; give 0 or more, in sds", slack=slack))
    T, V = len(trend.sessions), trend.layout.V
    z = np.full((T, V), np.nan)
    low, high = np.zeros((T, V)), np.zeros((T, V))
    down, up = np.zeros(V), np.zeros(V)
    for t, session in enumerate(trend.sessions):
        z[t] = scores(session, trend.settings.feel)
        step = np.clip(np.nan_to_num(z[t]), -MOST, MOST)
        read = session.read
        renewed = trend.book.renewed[t]
        down, up = np.where(renewed, 0.0, down), np.where(renewed, 0.0, up)
        down = np.where(read, np.maximum(0.0, down - step - slack), down)
        up = np.where(read, np.maximum(0.0, up + step - slack), up)
        low[t], high[t] = down, up
        fresh = trend.book.restart[t]
        down, up = np.where(fresh, 0.0, down), np.where(fresh, 0.0, up)
    return Cusum(low, high, z)


def first_alarm(sums: Cusum, trend: Trend, valve: Valve, limit: float = LIMIT) -> int | None:
    """The first visit (from 0) at which a valve's sum is above ``limit``; None if never."""
    at = np.flatnonzero(sums.alarms(limit)[:, trend.index(valve)])
    return int(at[0]) if len(at) else None
