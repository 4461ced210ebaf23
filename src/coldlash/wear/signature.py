"""What the readings from one visit on say about a jump that may have happened just before it.

The sites of a run whose prediction was widened there (so that an interval far away keeps its weight) are a Gaussian
likelihood of the state at that visit: exp(h'x - x'Lx/2), x counted from the trend's own prediction. Under the
trend's own covariance P a jump u a then has the log likelihood ratio b a - A a^2 / 2 with b = u'r, A = u'Nu,
N = (I + LP)^-1 L, r = (I + LP)^-1 h: residual and information of every later visit added up, settings and
restarts in between included (de Jong & Penzer, Diagnosing shocks in time series, JASA 93, 1998). For the last visit
alone this is "site minus prediction" with the covariance of both. Units: mm, 1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from coldlash.wear import kalman
from coldlash.wear.ep import Sites
from coldlash.wear.filter import Trace, advance
from coldlash.wear.interval import Array, read
from coldlash.wear.kalman import State, Step
from coldlash.wear.smoother import driving_matrix, reading_rows, restart_matrix, setting_matrix
from coldlash.wear.trend import Trend, shock_pushes

WIDE_GAP = 0.06
"""sd of a reading under the widened prediction of a jump, mm."""
WIDE_DRIFT = 0.012
"""sd added to every drift under the widened prediction of a slope, mm per 1000 km."""

SOUND_BY = 4.0
"""A later reading counts when it is at least exp(this) times likelier soundly read than misread."""

How = Literal["jump", "slope", "new"]


class Onset(NamedTuple):
    """Where something may have begun: just before visit ``session``, a jump of gaps or a slope that lasts.

    "new": a slope that was always there; then ``session`` is the first visit that is counted, and what the drifts
    had learnt before is set aside.
    """

    session: int
    how: How


@dataclass(frozen=True, slots=True)
class Signature:
    """The likelihood of the state x at ``onset.session``, before its readings, from that visit's readings on.

    ``L`` (n, n), ``h`` (n,): canonical form about the trend's own prediction, whose covariance is ``P`` (n, n).
    ``rows`` (V, n): the found readings of that visit are ``rows`` x. ``tau`` (V,), ``lean`` (V,): their sites,
    exp(lean y - tau y^2 / 2) of y counted from the prediction; ``log_site`` (V,) their log height there.
    ``log_misread`` (V,): log probability of the reading under a misread, -inf where nothing was read.
    ``dist``: 1000 km driven to that visit. ``o``: place of the session's offset in the state.
    """

    onset: Onset
    L: Array
    h: Array
    P: Array
    rows: Array
    tau: Array
    lean: Array
    log_site: Array
    log_misread: Array
    read: np.ndarray
    dist: float
    o: int


def signatures(trend: Trend, onsets: Sequence[Onset], visits: int | None = None) -> tuple[Signature, ...]:
    """The signatures of ``onsets`` (visits from 0), in the order given. One forward and one backward pass, batched.

    ``visits``: so many from the first onset on are taken in (None: all).

    A slope's drift changes before the distance to its visit is driven; at visit 0 it holds from the start.
    """
    if not onsets:
        return ()
    order = sorted(range(len(onsets)), key=lambda i: onsets[i].session)
    run = _Run(trend, [onsets[i] for i in order], visits)
    got = dict(zip(order, run.signatures(), strict=True))
    return tuple(got[i] for i in range(len(onsets)))


class _Run:
    def __init__(self, trend: Trend, onsets: Sequence[Onset], visits: int | None) -> None:
        self.trend, self.onsets = trend, onsets
        self.layout, self.shelf = trend.shelf.layout, trend.shelf
        self.h = trend.hyper
        self.sound = self.h._replace(
            log_sound=np.zeros_like(self.h.log_sound), log_misread=np.full_like(self.h.log_misread, -math.inf)
        )
        self.pushes = shock_pushes(trend.shocks, trend.engine, self.shelf)
        self.first = onsets[0].session
        self.T = self.shelf.T if visits is None else min(self.shelf.T, self.first + visits)

    def before(self, onset: Onset) -> State:
        """The trend just before the way to the onset's visit."""
        layout, t = self.layout, onset.session
        new = kalman.start(layout, self.h, self.shelf.cold)
        if t == 0:
            return new
        x = self.trend.traces[t - 1].after
        if onset.how != "new":
            return x
        drifts = np.zeros(layout.n, dtype=bool)
        drifts[layout.d] = drifts[layout.pooled : layout.pooled + 2] = True
        crossed = drifts[:, None] | drifts
        return State(np.where(drifts, new.m, x.m), np.where(crossed, new.P, x.P))

    def start(self, onset: Onset) -> State:
        """The same, widened."""
        layout, t = self.layout, onset.session
        before = self.before(onset)
        P = before.P.copy()
        if onset.how == "jump":
            i = np.arange(layout.V)
            now = np.diagonal(self.trend.traces[t].A[0])
            P[0, i, i] += np.maximum(WIDE_GAP**2 - now, 0.0)
        else:
            i = layout.V + np.arange(layout.V)
            P[0, i, i] += WIDE_DRIFT**2
        return State(before.m, P)

    def forward(self) -> list[list[tuple[slice, Trace]]]:
        """Per visit from the first onset on: traces of the components, those of new onsets apart (no misreads)."""
        out: list[list[tuple[slice, Trace]]] = []
        count, state = 0, None
        for t in range(self.first, self.T):
            step, here = self.shelf.step(t), []
            parts = []
            if state is not None:
                trace = self.later(state, t)
                here.append((slice(0, count), trace))
                parts.append(trace.after)
            new = [o for o in self.onsets if o.session == t]
            if new:
                starts = [self.start(o) for o in new]
                x = State(np.concatenate([s.m for s in starts]), np.concatenate([s.P for s in starts]))
                trace, _ = advance(x, step, self.layout, self.sound, self.pushes[t])
                here.append((slice(count, count + len(new)), trace))
                parts.append(trace.after)
                count += len(new)
            state = State(np.concatenate([p.m for p in parts]), np.concatenate([p.P for p in parts]))
            out.append(here)
        return out

    def later(self, state: State, t: int) -> Trace:
        """A visit after the onset. Readings that neither this run nor the trend can believe are set aside.

        Each may be a misread or something else that happened since: its Gaussian stand-in would hold far from here
        only, and count against the trend without an end. One that only this run can't believe speaks against it, and
        is taken as sound.
        """
        step = self.shelf.step(t)
        trace, _ = advance(state, step, self.layout, self.h, self.pushes[t])
        doubtful = self.doubtful(trace, step)
        if not doubtful.any():
            return trace
        found = step.found
        B, V = doubtful.shape
        aside = doubtful & self.doubtful(self.trend.traces[t], step)
        lo, hi, chance = (np.broadcast_to(a, (B, V)) for a in (found.lo, found.hi, found.log_chance))
        kept = found._replace(lo=lo, hi=hi, log_chance=chance, open=found.open | aside)
        trace, _ = advance(state, step._replace(found=kept), self.layout, self.sound, self.pushes[t])
        return trace

    def doubtful(self, trace: Trace, step: Step) -> np.ndarray:
        """Readings (B, V) that are not clearly likelier sound than misread, given everything but themselves."""
        sites, found, h = trace.found_sites, step.found, self.h
        if sites is None:
            return np.zeros((1, self.layout.V), dtype=bool)
        sound = read(
            sites.cavity_mean,
            sites.cavity_var,
            found.lo,
            found.hi,
            h.feel,
            h.drag if found.has_point else None,
            np.zeros(1),
            np.full(1, -math.inf),
            np.zeros(1),
        ).log_z
        odd: np.ndarray = (h.log_sound + sound < h.log_misread + found.log_chance + SOUND_BY) & ~found.open
        return odd

    def signatures(self) -> list[Signature]:
        forward = self.forward()
        B, n = len(self.onsets), self.layout.n
        r, N = np.zeros((B, n)), np.zeros((B, n, n))
        done: dict[int, Signature] = {}
        for t in range(self.T - 1, self.first - 1, -1):
            step = self.shelf.step(t)
            H = reading_rows(step, self.layout, self.h)
            for part, trace in forward[t - self.first]:
                rp, Np = r[part], N[part]
                if trace.left_sites is not None and trace.left_cross is not None:
                    rp, Np = _over_reading(rp, Np, H, trace.left_cross, trace.left_sites)
                if step.any_adjusted:
                    rp, Np = _over(rp, Np, setting_matrix(step, self.layout, self.h))
                if step.any_restart:
                    rp, Np = _over(rp, Np, restart_matrix(step, self.layout))
                if trace.found_sites is not None:
                    rp, Np = _over_reading(rp, Np, H, trace.cross, trace.found_sites)
                for k, i in enumerate(range(part.start, part.stop)):
                    if self.onsets[i].session == t:
                        done[i] = self.signature(i, k, trace, rp[k], Np[k], H[0])
                r[part], N[part] = _over(rp, Np, driving_matrix(step, self.layout))
        return [done[i] for i in range(B)]

    def signature(self, i: int, k: int, trace: Trace, r: Array, N: Array, H: Array) -> Signature:
        onset, t, V = self.onsets[i], self.onsets[i].session, self.layout.V
        own = self.trend.traces[t].predicted
        if onset.how == "new":
            own = kalman.predict(self.before(onset), self.shelf.step(t), self.layout, self.h)
        wide = trace.predicted.P[k]
        solved = np.linalg.solve(np.eye(len(r)) - N @ wide, np.column_stack([N, r]))
        L, h = solved[:, :-1], solved[:, -1]
        lo, hi, chance, shut = self.trend.book.found
        tau = lean = log_site = np.zeros(V)
        if trace.found_sites is not None:
            tau, lean, log_site = self.site(trace, k, lo[t], hi[t], shut[t])
        eps = math.exp(float(self.h.log_misread[0, 0]))
        with np.errstate(divide="ignore"):
            log_misread = np.where(shut[t], -math.inf, np.log(eps) - math.log1p(-eps) + chance[t])
        # A possible misread later on may count as negative information: take it as none. The sites of this visit
        # itself never do, so they are set aside meanwhile.
        seen, pull = H.T @ (tau[:, None] * H), H.T @ lean
        rest, rest_h = _no_less_than_nothing(0.5 * (L + L.T) - seen, h - pull)
        return Signature(
            onset,
            rest + seen,
            rest_h + pull,
            own.P[0],
            H,
            tau,
            lean,
            log_site,
            log_misread,
            ~shut[t],
            float(self.trend.book.dist[t]),
            self.layout.o,
        )

    def site(
        self, trace: Trace, k: int, lo: Array, hi: Array, shut: np.ndarray
    ) -> tuple[Array, Array, Array]:
        """tau, lean and log height of the found readings' sites, y counted from the prediction."""
        sites: Sites | None = trace.found_sites
        if sites is None:
            nothing = np.zeros(self.layout.V)
            return nothing, nothing, nothing
        mu = trace.mu[k]
        tau, lean = sites.tau[k], sites.nu[k] - sites.tau[k] * mu
        cav, q = sites.cavity_mean[k] - mu, sites.cavity_var[k]
        got = read(
            cav + mu,
            q,
            lo,
            hi,
            self.h.feel[0],
            self.h.drag[0],
            np.zeros(1),
            np.full(1, -math.inf),
            np.zeros(1),
        )
        joint = (lean + cav / q) ** 2 / (tau + 1.0 / q) - cav**2 / q
        grown = np.maximum(1.0 + tau * q, 1e-12)
        log_site = np.where(shut, 0.0, got.log_z - 0.5 * joint + 0.5 * np.log(grown))
        return tau, lean, log_site


def _no_less_than_nothing(L: Array, h: Array) -> tuple[Array, Array]:
    values, vectors = np.linalg.eigh(L)
    positive = values > 0.0
    kept = vectors[:, positive]
    return (kept * values[positive]) @ kept.T, kept @ (kept.T @ h)


def _over(r: Array, N: Array, F: Array) -> tuple[Array, Array]:
    Ft = np.swapaxes(F, -1, -2)
    return np.einsum("bij,bj->bi", np.broadcast_to(Ft, (len(r), *Ft.shape[1:])), r), Ft @ N @ F


def _over_reading(r: Array, N: Array, H: Array, PH: Array, sites: Sites) -> tuple[Array, Array]:
    Ht = np.swapaxes(H, -1, -2)
    L = np.eye(H.shape[-1]) - PH @ sites.W @ H
    Lt = np.swapaxes(L, -1, -2)
    r = np.einsum("bij,bj->bi", np.broadcast_to(Ht, (len(r), *Ht.shape[1:])), sites.w) + np.einsum(
        "bij,bj->bi", Lt, r
    )
    N = Ht @ sites.W @ H + Lt @ N @ L
    return r, 0.5 * (N + np.swapaxes(N, -1, -2))
