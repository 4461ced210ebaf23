"""The trend's figures learnt from an owner's own books: hand, blades, engines.

Maximises the evidence of all books together times log-normal priors about the starting points (sd 0.5 of the
logarithm; empirical Bayes, Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.1). Newton steps on the
logarithms, derivatives by finite differences, all points of a step in one batch. With one or two visits the priors
hold and little moves.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldlash.engine.spec import Engine
from coldlash.errors import ConvergenceError
from coldlash.language import say
from coldlash.wear import kalman
from coldlash.wear.books import Book, read_book, shelve
from coldlash.wear.filter import run
from coldlash.wear.interval import Array
from coldlash.wear.record import VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings, check_coefficient

LEARNT = ("wander", "feel", "offset", "setting", "hand", "misread")
"""The settings that are learnt; ``drag`` keeps its proportion to ``feel`` (the same hand)."""
PRIOR_SD = 0.5
"""sd of the logarithm of each about its starting point (invented)."""
FEW_SESSIONS = 3
"""Below this many visits with readings nothing is learnt."""

_STEP = 0.05
_SMALL = 0.01
_REACH = 1.0
_LIMIT = 3.0
_ITERATIONS = 40
_BATCH = 512
_MISREAD_MOST = 0.5


@dataclass(frozen=True, slots=True)
class Learned:
    """``settings`` as learnt; ``log_sd`` of each learnt figure's logarithm (Laplace); ``sessions`` read.

    ``gain``: log evidence and prior together above the starting points'. ``iterations`` 0 = nothing was learnt.
    """

    settings: TrendSettings
    log_sd: Mapping[str, float]
    sessions: int
    gain: float
    iterations: int
    notes: tuple[str, ...]


def learn(
    books: Sequence[tuple[Engine, Sequence[VisitRecord]]],
    start: TrendSettings = DEFAULTS,
    coefficients: Sequence[Coefficient | None] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Learned:
    """Learn the settings shared by all ``books`` of one owner, from ``start``, also the centre of the priors.

    ``coefficients``: one a book (mm/K), as for ``trend.fit``. ``progress`` is told each Newton step. A setting that
    starts at 0 stays 0. Raises InputError as ``trend.fit`` does, ConvergenceError if the search does not settle.
    """
    given = list(coefficients) if coefficients is not None else [None] * len(books)
    for c in given:
        check_coefficient(c)
    laid = [read_book(engine, visits, c) for (engine, visits), c in zip(books, given, strict=True)]
    sessions = sum(int(np.sum(~b.found[3].all(axis=1) | ~b.left[3].all(axis=1))) for b in laid)
    if sessions < FEW_SESSIONS:
        note = say(
            "Only {visits} visits with readings: the starting points are used as they are.", visits=sessions
        )
        return Learned(start, {}, sessions, 0.0, 0, (note,))
    names = tuple(name for name in LEARNT if getattr(start, name) > 0)
    score = _Score(laid, given, start, names)
    at = np.zeros(len(names))
    best = first = float(score(at[None])[0])
    hessian: Array = -np.eye(len(names)) / PRIOR_SD**2
    for iteration in range(1, _ITERATIONS + 1):
        gradient, hessian = _derivatives(score, at, best)
        step = _newton(gradient, hessian)
        trial = np.clip(at + np.outer([1.0, 0.5, 0.25, 0.1, 0.03], step), -_LIMIT, _LIMIT)
        scores = score(trial)
        k = int(np.argmax(scores))
        if progress is not None:
            progress(iteration)
        moved = float(np.max(np.abs(trial[k] - at))) if scores[k] > best else 0.0
        if scores[k] > best:
            at, best = trial[k], float(scores[k])
        if moved < _SMALL:
            sd = np.sqrt(np.diagonal(np.linalg.inv(_definite(-hessian))))
            log_sd = {name: float(s) for name, s in zip(names, sd, strict=True)}
            return Learned(_moved(start, names, at), log_sd, sessions, best - first, iteration, ())
    raise ConvergenceError(
        say(
            "learning from {sessions} visits did not settle after {iterations} steps; use the "
            "starting points, and look for a book with readings that contradict each other",
            sessions=sessions,
            iterations=_ITERATIONS,
        )
    )


class _Score:
    """Log evidence of all books plus log priors at points (N, p) of log factors; returns (N,)."""

    def __init__(
        self,
        laid: Sequence[Book],
        coefficients: Sequence[Coefficient | None],
        start: TrendSettings,
        names: tuple[str, ...],
    ) -> None:
        self.laid, self.coefficients, self.start, self.names = laid, coefficients, start, names

    def __call__(self, points: Array) -> Array:
        pairs = [(i, j) for i in range(len(points)) for j in range(len(self.laid))]
        pairs.sort(key=lambda p: len(self.laid[p[1]].visits))
        out: Array = -0.5 * np.sum((points / PRIOR_SD) ** 2, axis=1)
        settings = [_moved(self.start, self.names, p) for p in points]
        for begin in range(0, len(pairs), _BATCH):
            chunk = pairs[begin : begin + _BATCH]
            shelf = shelve([self.laid[j] for _, j in chunk], self.start.unknown_temp_sd)
            h = kalman.hyper([settings[i] for i, _ in chunk], [self.coefficients[j] for _, j in chunk])
            _, log_z, _ = run(shelf, h, keep=False)
            np.add.at(out, [i for i, _ in chunk], log_z.sum(axis=0))
        return out


def _moved(start: TrendSettings, names: tuple[str, ...], at: Array) -> TrendSettings:
    new = {name: getattr(start, name) * math.exp(float(x)) for name, x in zip(names, at, strict=True)}
    if "misread" in new:
        new["misread"] = min(new["misread"], _MISREAD_MOST)
    if "feel" in new:
        new["drag"] = start.drag * new["feel"] / start.feel
    return replace(start, **new)


def _derivatives(score: _Score, at: Array, here: float) -> tuple[Array, Array]:
    """Gradient (p,) and Hessian (p, p) by central and mixed differences, one batch."""
    p = len(at)
    eye = np.eye(p) * _STEP
    mixed = list(itertools.combinations(range(p), 2))
    points = [at + e for e in eye] + [at - e for e in eye] + [at + eye[i] + eye[j] for i, j in mixed]
    got = score(np.array(points))
    up, down = got[:p], got[p : 2 * p]
    gradient = (up - down) / (2 * _STEP)
    hessian: Array = np.diag((up + down - 2 * here) / _STEP**2)
    for (i, j), both in zip(mixed, got[2 * p :], strict=True):
        hessian[i, j] = hessian[j, i] = (both - up[i] - up[j] + here) / _STEP**2
    return gradient, hessian


def _definite(curvature: Array) -> Array:
    """The curvature with no eigenvalue below one: uphill in every direction, steps of at most a few units."""
    values, vectors = np.linalg.eigh(curvature)
    out: Array = (vectors * np.maximum(values, 1.0)) @ vectors.T
    return out


def _newton(gradient: Array, hessian: Array) -> Array:
    step: Array = np.asarray(np.linalg.solve(_definite(-hessian), gradient), dtype=np.float64)
    step *= min(1.0, _REACH / max(float(np.max(np.abs(step))), 1e-12))
    return step
