"""Which earlier visits look as if something had jumped just before them, by their own readings alone.

A cheap look before the full one: for every visit and single cause the evidence of a jump against that of none
(``wear.combinations`` for one cause), the readings as sites under a widened prediction.
"""

from __future__ import annotations

import math

import numpy as np

from coldlash.wear.candidates import candidates
from coldlash.wear.interval import Array
from coldlash.wear.orthant import log_positive_1
from coldlash.wear.trend import Session, Trend, widened_sites

LEAST = 0.5
"""Visits whose odds of a jump, by their own readings, are below this are passed over."""
ODD_FROM = 1.0
"""Visits with no reading off by more than this many sd are not looked at."""


def suspicious(trend: Trend, hazard: float, before: int) -> list[tuple[int, float]]:
    """(visit, prior probability) of the visits 1 to ``before`` - 1 worth a full look, most suspicious first.

    ``hazard`` per 1000 km and valve.
    """
    found = candidates(trend.engine)
    if not found:
        return []
    loading = np.array([c.loading for c in found]).T
    size2 = np.array([c.size**2 for c in found])
    odds = np.array([c.log_odds for c in found])
    ranked = []
    for session in trend.sessions[1 : max(before, 1)]:
        if not _odd(session, trend.settings.feel):
            continue
        prior = -math.expm1(-hazard * len(trend.valves) * session.driven_km / 1000.0)
        if prior <= 0 or not session.read.any():
            continue
        best = math.log(prior) + _best(trend, session, loading, size2, odds)
        if best > math.log(LEAST):
            ranked.append((best, session.index, prior))
    return [(index, prior) for _, index, prior in sorted(ranked, reverse=True)]


def _odd(session: Session, feel: float) -> bool:
    """Does any reading lie off what was expected, by ``ODD_FROM`` sd from its nearer end?"""
    sd = np.sqrt(np.diagonal(session.reading_cov) + feel**2)
    off = np.maximum(session.lo - session.reading_mean, session.reading_mean - session.hi) / sd
    return bool(np.any(session.read & (off > ODD_FROM)))


def _best(trend: Trend, session: Session, loading: Array, size2: Array, odds: Array) -> float:
    centre, var = widened_sites(trend, session)
    seen = np.isfinite(var)
    if not seen.any():
        return -math.inf
    S = session.reading_cov[np.ix_(seen, seen)] + np.diag(var[seen])
    solved = np.linalg.solve(S, np.column_stack([loading[seen], (centre - session.reading_mean)[seen]]))
    W, w = solved[:, :-1], solved[:, -1]
    b = loading[seen].T @ w
    A = np.einsum("vj,vj->j", loading[seen], W)
    C = 1.0 / (A + 1.0 / size2)
    log_ratio = (
        math.log(2.0) - 0.5 * np.log1p(A * size2) + 0.5 * C * b**2 + log_positive_1(b * np.sqrt(C)) + odds
    )
    return float(np.max(log_ratio))
