"""Did a drift change, which way and since when? A bank of trends, each with a change of its own.

Every visit may be the first after a change: each suspect (one valve, or several moving together) gets a twin of the
unchanged trend whose drift jumps by delta ~ N(-size, size_sd^2) per unit loading, and another with +size for
loosening (multiple-model filter: Willsky & Jones 1976; Bar-Shalom, Li & Kirubarajan, Estimation with Applications to
Tracking and Navigation, 2001, section 11.6). Twins are weighed by how well they foresaw the readings. Per suspect
and direction a few onsets are kept apart, older ones are moment-matched. A change that has stayed beyond doubt is
settled: the bank starts afresh from it, so that a later change can be seen too. All figures are invented
starting points. Units: mm, 1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

import numpy as np

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear import kalman
from coldlash.wear.filter import Push, advance
from coldlash.wear.interval import Array
from coldlash.wear.kalman import State
from coldlash.wear.trend import Trend, shock_pushes

WARN_AT = 0.9
"""Probability from which a change is worth a warning (at 0.5 one engine in five raises a false one)."""

Direction = Literal["tighter", "looser"]
DIRECTIONS: tuple[Direction, Direction] = ("tighter", "looser")


@dataclass(frozen=True, slots=True)
class ChangeSettings:
    """``size`` +- ``size_sd``: change of drift, mm per 1000 km. ``hazard``: changes per 1000 km, suspect and
    direction. ``onsets`` kept apart, two or more. Settled from probability ``settled`` at ``settled_visits`` visits
    running.
    """

    size: float = 0.010
    size_sd: float = 0.008
    hazard: float = 1.0 / 1600.0
    onsets: int = 3
    settled: float = 0.995
    settled_visits: int = 3

    def __post_init__(self) -> None:
        if not (math.isfinite(self.size) and math.isfinite(self.size_sd) and self.size_sd > 0):
            raise InputError(
                say(
                    "a change of {size} +- {size_sd}; give finite figures, the sd above 0",
                    size=self.size,
                    size_sd=self.size_sd,
                )
            )
        if not (0 < self.hazard < 1) or self.onsets < 2:
            raise InputError(
                say(
                    "hazard {hazard} with {onsets} onsets; give a hazard in (0, 1), 2 onsets or more",
                    hazard=self.hazard,
                    onsets=self.onsets,
                )
            )


DEFAULT_CHANGE = ChangeSettings()


@dataclass(frozen=True, slots=True)
class Suspect:
    """What may change together: drift per unit of delta, by valve."""

    name: str
    loading: Mapping[Valve, float] = field(hash=False)


class Settled(NamedTuple):
    """A change beyond doubt: seen at visit ``session``, from visit ``onset`` on (its readings are the first)."""

    suspect: int
    direction: Direction
    onset: int
    session: int


@dataclass(frozen=True, slots=True)
class Change:
    """A suspected change: ``since_km`` is the visit after which it most likely began, as written in the book.

    ``drift_before`` and ``drift_now``: mm per 1000 km, of the valve with the largest loading.
    """

    suspect: Suspect
    probability: float
    direction: Direction
    onset_session: int
    since_km: float
    drift_before: float
    drift_now: float


@dataclass(frozen=True)
class Changes:
    """What the bank holds after the last visit.

    ``path`` (T, S, 2): probability by visit, suspect and direction (tighter, looser) as known then. ``trend`` is the
    trend with the changes weighed in: a mixture, for forecasts.
    """

    trend: Trend
    suspects: tuple[Suspect, ...]
    path: Array
    settled: tuple[Settled, ...]
    _onset: Array
    _before: Array

    def of(self, suspect: int) -> Change | None:
        """The likeliest change of one suspect; None where no visit could have shown one."""
        if not len(self.path):
            return None
        direction = int(np.argmax(self.path[-1, suspect]))
        mass = self._onset[suspect, direction]
        if mass.sum() <= 0:
            return None
        onset = int(np.argmax(mass))
        who = self.suspects[suspect]
        valve = max(who.loading, key=lambda v: abs(who.loading[v]))
        return Change(
            who,
            float(self.path[-1, suspect, direction]),
            DIRECTIONS[direction],
            onset,
            float(self.trend.book.km[max(onset - 1, 0)]),
            float(self._before[onset, self.trend.index(valve)]),
            self.trend.drift(valve).mean,
        )

    def of_valve(self, valve: Valve) -> Change | None:
        """The likeliest change among the suspects that move this valve."""
        found = [self.of(i) for i, s in enumerate(self.suspects) if s.loading.get(valve)]
        return max((c for c in found if c is not None), key=lambda c: c.probability, default=None)

    def warnings(self, at: float = WARN_AT) -> list[Change]:
        """Changes more probable than ``at``, likeliest first."""
        found = [self.of(i) for i in range(len(self.suspects))]
        sure = [c for c in found if c is not None and c.probability > at]
        return sorted(sure, key=lambda c: -c.probability)


def single_valves(trend: Trend) -> tuple[Suspect, ...]:
    """Each valve of the engine on its own."""
    return tuple(Suspect(str(v), {v: 1.0}) for v in trend.valves)


def detect(
    trend: Trend, settings: ChangeSettings = DEFAULT_CHANGE, suspects: Sequence[Suspect] | None = None
) -> Changes:
    """Run the bank over the visits of ``trend`` (from ``trend.fit``; its accepted jumps stay in).

    ``suspects`` None: every valve on its own. Loadings along causes may be added.
    """
    who = tuple(suspects) if suspects is not None else single_valves(trend)
    bank = _Bank(trend, settings, who)
    path = np.zeros((bank.T, len(who), 2))
    for t in range(bank.T):
        bank.visit(t)
        path[t] = bank.probability()
    weights, states = bank.components()
    return Changes(
        replace(trend, weights=weights, means=states.m, covs=states.P),
        who,
        path,
        tuple(bank.settled),
        bank.onset_mass(),
        bank.before,
    )


class _Bank:
    """Component 0 is unchanged; then for H = 2 S (suspect, direction) pairs, ``k`` onsets each, oldest first."""

    def __init__(self, trend: Trend, settings: ChangeSettings, suspects: tuple[Suspect, ...]) -> None:
        shelf, h = trend.shelf, trend.hyper
        self.shelf, self.h, self.layout, self.settings = shelf, h, shelf.layout, settings
        self.T, self.S = shelf.T, len(suspects)
        self.pushes = shock_pushes(trend.shocks, trend.engine, shelf)
        V, n = self.layout.V, self.layout.n
        loading = np.zeros((self.S, V))
        for s, suspect in enumerate(suspects):
            for valve, amount in suspect.loading.items():
                loading[s, trend.index(valve)] = amount
        self.loading = loading
        direction = np.zeros((2 * self.S, n))
        direction[:, self.layout.d] = np.repeat(loading, 2, axis=0)
        self.direction = direction
        self.sign = np.tile([-1.0, 1.0], self.S)
        x = kalman.start(self.layout, h, shelf.cold)
        self.null = x
        self.log_null = 0.0
        self.k = 0
        self.logw = np.zeros((2 * self.S, 0))
        self.m = np.zeros((2 * self.S, 0, n))
        self.P = np.zeros((2 * self.S, 0, n, n))
        self.onset = np.zeros((2 * self.S, 0, self.T))
        self.before = np.zeros((self.T, V))
        self.settled: list[Settled] = []
        self.since_settled: dict[int, tuple[int, Array]] = {}
        self.sure = np.zeros(self.S, dtype=int)

    def visit(self, t: int) -> None:
        """Spawn, move on, weigh, fold what a replaced part ended, settle what is beyond doubt."""
        step = self.shelf.step(t)
        D = float(step.dist[0])
        self.before[t] = self.null.m[0, self.layout.d]
        if t and D > 0:
            self._spawn(t, D)
        H, k, n = 2 * self.S, self.k, self.layout.n
        x = State(
            np.concatenate([self.null.m, self.m.reshape(H * k, n)]),
            np.concatenate([self.null.P, self.P.reshape(H * k, n, n)]),
        )
        trace, log_z = advance(x, step, self.layout, self.h, self.pushes[t])
        after = trace.after
        self.null = State(after.m[:1], after.P[:1])
        self.m = after.m[1:].reshape(H, k, n)
        self.P = after.P[1:].reshape(H, k, n, n)
        self.log_null += float(log_z[0])
        self.logw = self.logw + log_z[1:].reshape(H, k)
        self._normalise()
        if step.renewed is not None:
            self._fold(step.renewed[0])
        if step.any_restart:
            self._fold(step.restart[0])
        self._settle(t)

    def _spawn(self, t: int, D: float) -> None:
        s = self.settings
        pairs = max(2 * self.S, 1)
        any_change = -math.expm1(-pairs * s.hazard * D)
        born = np.full((2 * self.S, 1), self.log_null + math.log(any_change / pairs))
        self.log_null -= pairs * s.hazard * D
        push = Push(True, self.direction, self.sign * s.size, np.full(2 * self.S, s.size_sd**2))
        new = kalman.nudge(self.null, push.direction, push.mean, push.var)
        at = np.zeros((2 * self.S, 1, self.T))
        at[:, 0, t] = 1.0
        if self.k >= s.onsets:
            self._merge_oldest()
        self.logw = np.concatenate([self.logw, born], axis=1)
        self.m = np.concatenate([self.m, new.m[:, None]], axis=1)
        self.P = np.concatenate([self.P, new.P[:, None]], axis=1)
        self.onset = np.concatenate([self.onset, at], axis=1)
        self.k = self.logw.shape[1]

    def _merge_oldest(self) -> None:
        pair = self.logw[:, :2]
        total = np.logaddexp(pair[:, 0], pair[:, 1])
        w = np.where(
            np.isfinite(total)[:, None], np.exp(pair - np.where(np.isfinite(total), total, 0.0)[:, None]), 0.5
        )
        first, second = w[:, :1], w[:, 1:]
        m = first * self.m[:, 0] + second * self.m[:, 1]
        off = self.m[:, 1] - self.m[:, 0]
        P = first[..., None] * self.P[:, 0] + second[..., None] * self.P[:, 1]
        P += (first * second)[..., None] * off[:, :, None] * off[:, None, :]
        onset = np.einsum("hk,hkt->ht", w, self.onset[:, :2])
        self.logw = np.concatenate([total[:, None], self.logw[:, 2:]], axis=1)
        self.m = np.concatenate([m[:, None], self.m[:, 2:]], axis=1)
        self.P = np.concatenate([P[:, None], self.P[:, 2:]], axis=1)
        self.onset = np.concatenate([onset[:, None], self.onset[:, 2:]], axis=1)
        self.k -= 1

    def _normalise(self) -> None:
        top = max(self.log_null, float(np.max(self.logw, initial=-math.inf)))
        total = top + math.log(math.exp(self.log_null - top) + float(np.sum(np.exp(self.logw - top))))
        self.log_null -= total
        self.logw = self.logw - total

    def _weights(self) -> Array:
        """(H, k), the unchanged component left out."""
        w: Array = np.exp(self.logw)
        return w

    def probability(self) -> Array:
        """(S, 2): by suspect and direction, settled ones included."""
        p: Array = self._weights().sum(axis=1).reshape(self.S, 2)
        for s, (direction, _) in self.since_settled.items():
            p[s, direction] = max(p[s, direction], self.settings.settled)
        return p

    def onset_mass(self) -> Array:
        """(S, 2, T): probability by the visit that first showed it."""
        flat: Array = np.einsum("hk,hkt->ht", self._weights(), self.onset)
        mass = flat.reshape(self.S, 2, self.T)
        for s, (direction, when) in self.since_settled.items():
            mass[s, direction] += when
        return mass

    def components(self) -> tuple[Array, State]:
        """Weights (K,) and states of the components that matter, unchanged first."""
        w = np.concatenate([[math.exp(self.log_null)], self._weights().ravel()])
        n = self.layout.n
        m = np.concatenate([self.null.m, self.m.reshape(-1, n)])
        P = np.concatenate([self.null.P, self.P.reshape(-1, n, n)])
        keep = w >= min(1e-4, float(w.max()))
        return w[keep] / w[keep].sum(), State(m[keep], P[keep])

    def _collapse(self, which: np.ndarray) -> None:
        """Moment-match the unchanged component with the pairs ``which`` (H,) into a new unchanged one."""
        n = self.layout.n
        w = np.concatenate([[math.exp(self.log_null)], self._weights()[which].ravel()])
        total = float(w.sum())
        if total <= 0.0:
            return
        w = w / total
        m = np.concatenate([self.null.m, self.m[which].reshape(-1, n)])
        P = np.concatenate([self.null.P, self.P[which].reshape(-1, n, n)])
        mean = np.einsum("k,ki->i", w, m)
        off = m - mean
        cov = np.einsum("k,kij->ij", w, P) + np.einsum("k,ki,kj->ij", w, off, off)
        self.null = State(mean[None], cov[None])
        self.log_null = math.log(total)
        self.logw[which] = -math.inf

    def _fold(self, replaced: np.ndarray) -> None:
        """A new part ends the change of the old one: suspects all of whose valves were replaced."""
        over = np.array([bool(np.all(replaced[load != 0])) for load in self.loading])
        if not over.any():
            return
        if self.k:
            self._collapse(np.repeat(over, 2))
        for s in np.flatnonzero(over):
            self.since_settled.pop(int(s), None)
        self.sure[over] = 0

    def _settle(self, t: int) -> None:
        w = self._weights().sum(axis=1).reshape(self.S, 2)
        self.sure = np.where(w.sum(axis=1) >= self.settings.settled, self.sure + 1, 0)
        for s in np.flatnonzero(self.sure >= self.settings.settled_visits):
            direction = int(np.argmax(w[s]))
            pair = 2 * int(s) + direction
            when = np.einsum("k,kt->t", self._weights()[pair], self.onset[pair])
            self.settled.append(Settled(int(s), DIRECTIONS[direction], int(np.argmax(when)), t))
            self.since_settled[int(s)] = (direction, when)
            self._collapse(np.ones(2 * self.S, dtype=bool))
            self.sure[s] = 0
