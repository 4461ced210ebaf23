"""Which part is the likely cause of what the gaps did: a posterior over small combinations of causes.

For each place where something may have begun (a jump before one of the last visits, a slope since a visit or from
new) the residual of all later readings (``wear.signature``) is explained by every small combination of the engine's own
causes (``wear.combinations``). Averaged over noise and offset scales, and over each reading of that visit
being a misread, so that neither a wrong offset nor one slip of the hand makes a cause. Probabilities of causes are
given that something happened; ``p_something`` is the probability of that. All figures are invented starting points.
Units: mm, km at the surface, 1000 km inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from coldlash.engine.linkage import cause_table
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.wear.alike import look_alikes
from coldlash.wear.candidates import SESSION_OFFSET, SLOPE_OF_SIZE, Candidate, candidates
from coldlash.wear.combinations import BEAM, Beam, Scenes, Weighed, log_prior_total, weigh
from coldlash.wear.interval import Array
from coldlash.wear.signature import Onset, Signature, signatures
from coldlash.wear.trend import Estimate, Shock, Trend

LEAST_MM = 0.05
"""Below this amount candidates are shown, but no verdict is drawn from one."""
ACCEPT_AT = 0.9
"""Probability (of the cause, times that anything happened) from which a jump goes back into the trend."""
HISTORY_VISITS = 5
"""An old jump is judged by so many visits from it on."""
NEW_VISITS = 20
"""A slope that was always there is judged by this many of the last visits."""
LOG_LEAST_MISREAD = -6.0
"""A reading is weighed as a misread when that is at least exp(this) times as likely as reading it soundly."""
LEAST_COMBINATION = 1e-4
TOGETHER = 0.1
"""Two causes that come together at least this often are compared with other pairs that move the gaps alike."""
SHOWN_FROM = 0.02
"""Causes less probable than this are not listed."""


@dataclass(frozen=True, slots=True)
class CauseSettings:
    """Invented starting points. ``hazard``: happenings per 1000 km and valve.

    ``jumps``: last visits before which a jump is looked for; the one before last counts ``older_share``, each earlier
    one half the next (what was there was seen then). ``slope_ages``: visits ago at which a slope may have begun; a
    share ``slope_share`` of happenings are slopes, fading with ``slope_fade`` visits. ``from_new``: 1000 km of
    hazard given to a slope as old as the book. ``noise`` and ``offsets``: (scale, weight).
    """

    hazard: float = 1.0 / 1600.0
    jumps: int = 3
    older_share: float = 0.12
    slope_ages: tuple[int, ...] = (2, 3, 4, 5, 6, 8, 10, 13, 17)
    slope_fade: float = 6.0
    slope_share: float = 0.06
    from_new: float = 1.5
    noise: tuple[tuple[float, float], ...] = ((0.75, 0.4), (1.0, 0.4), (1.35, 0.2))
    offsets: tuple[tuple[float, float], ...] = ((1.0, 0.8), (3.0, 0.2))
    beam: Beam = BEAM

    def __post_init__(self) -> None:
        if not (0 < self.hazard < 1) or self.jumps < 1:
            raise InputError(
                f"hazard {self.hazard} with {self.jumps} visits for jumps; give a hazard in (0, 1), 1 visit or more"
            )
        for name, scales in (("noise", self.noise), ("offset", self.offsets)):
            if not scales or any(s <= 0 or w <= 0 for s, w in scales):
                raise InputError(f"{name} scales {scales}; give pairs of a scale and a weight, both above 0")


DEFAULT_CAUSES = CauseSettings()


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause at one place. ``probability`` is given that something happened.

    ``amount``: change of the gap at the most affected valve, mm, >= 0, up to the last visit. ``how``: jump or slope;
    ``per_1000km``: of a slope, mm per 1000 km, >= 0. ``since_km``: the visit after which it most likely began.
    ``variants``: what exactly it may be, likeliest first. ``not_separable_from``: causes (and places) that move the
    gaps alike. ``why``: the sign in one sentence. ``loading`` (V,): gap change per mm at the most affected valve.
    """

    cause: str
    where: tuple[Valve, ...]
    probability: float
    amount: Estimate
    direction: str
    how: Literal["jump", "slope"]
    onset_session: int
    since_km: float
    per_1000km: Estimate | None
    variants: tuple[str, ...]
    not_separable_from: tuple[str, ...]
    why: str
    loading: tuple[float, ...] = field(repr=False, default=())

    @property
    def name(self) -> str:
        """Cause and place, for look-ups: "seat_recession_or_stretch E3"."""
        return f"{self.cause} {'+'.join(map(str, self.where))}"

    @property
    def worth_a_verdict(self) -> bool:
        """Large enough to be named in a verdict."""
        return self.amount.mean >= LEAST_MM


class Part(NamedTuple):
    """One cause of a combination: its place in ``Attribution.causes`` and what exactly happened."""

    cause: int
    variant: str


class Combination(NamedTuple):
    """What may have happened together, and how probable that is, given that something happened."""

    parts: tuple[Part, ...]
    weight: float


@dataclass(frozen=True, slots=True)
class Attribution:
    """What may have happened to one engine.

    ``p_something``: probability that anything did; ``prior_something`` the same before the readings. ``causes``: given
    that something did, most likely first. ``combinations``, likeliest first, weights sum to at most 1 (the rest are
    combinations with causes too unlikely to be listed).
    ``p_misread``: probability that a reading of the last visit was a misread, by valve, where above 1 %.
    """

    p_something: float
    prior_something: float
    causes: tuple[Cause, ...]
    combinations: tuple[Combination, ...]
    p_misread: dict[Valve, float]

    def probability_of(self, cause: Cause) -> float:
        """The product that verdicts use: that something happened, and that this was part of it."""
        return self.p_something * cause.probability


NOTHING = Attribution(0.0, 0.0, (), (), {})


def attribute(
    trend: Trend,
    settings: CauseSettings = DEFAULT_CAUSES,
    onsets: Sequence[tuple[Onset, float]] | None = None,
    visits_after: int | None = None,
) -> Attribution:
    """The causes behind the readings of one engine.

    ``onsets``: (place, prior probability) instead of the usual ones; ``visits_after`` limits how many visits from the
    first of them on are weighed. Without two visits to compare: nothing.
    """
    where = list(onsets) if onsets is not None else likely_onsets(trend, settings)
    where = [(o, p) for o, p in where if p > 0]
    if not where:
        return NOTHING
    last = trend.sessions[-1]
    read = tuple(v for v, on in zip(trend.valves, last.read, strict=True) if on)
    found = candidates(trend.engine, read)
    priors = np.array([p for _, p in where])
    prior_something = float(min(priors.sum(), 0.5))
    total = log_prior_total([c.log_odds for c in found])
    parts, of_onset, nulls = [], [], []
    for k, signature in enumerate(signatures(trend, [o for o, _ in where], visits_after)):
        scenes, out = _scenes(trend, signature, found, settings)
        nothing = _logsumexp(scenes.log_weight)
        nulls.append((signature, scenes.log_weight - nothing, out))
        shift = math.log(priors[k] / priors.sum()) - nothing - total
        parts.append((scenes, shift))
        of_onset.extend([k] * len(scenes.log_weight))
    joined = _join(parts)
    blocks = weigh(joined, settings.beam)
    log_something = _logsumexp(np.concatenate([b.log_weight.ravel() for b in blocks]))
    p_something = _share(prior_something, log_something)
    view = _View(trend, [o for o, _ in where], np.array(of_onset), found, blocks, log_something)
    causes, combinations = view.causes()
    misread = _misreads(trend, nulls, p_something)
    return Attribution(p_something, prior_something, causes, combinations, misread)


def likely_onsets(trend: Trend, settings: CauseSettings = DEFAULT_CAUSES) -> list[tuple[Onset, float]]:
    """Where something may have begun, each with its prior probability."""
    book = trend.book
    T, rate = len(book.visits), settings.hazard * len(trend.valves)
    if T < 2 or not bool((~book.found[3]).any()):
        return []
    out: list[tuple[Onset, float]] = []
    read = np.array([bool(s.read.any()) for s in trend.sessions])
    for age in range(1, settings.jumps + 1):
        t = T - age
        if t < 1 or not read[t] or book.dist[t] <= 0:
            continue
        share = 1.0 if age == 1 else settings.older_share * 0.5 ** (age - 2)
        out.append((Onset(t, "jump"), -share * math.expm1(-rate * float(book.dist[t]))))
    ages = [a for a in settings.slope_ages if a < T - 1]
    for age, older in zip(ages, [*ages[1:], T][: len(ages)], strict=True):
        first, t = max(T - older + 1, 1), T - age
        driven = float(book.dist[first : t + 1].sum())
        share = settings.slope_share * 0.5 ** (age / settings.slope_fade)
        if driven > 0 and book.dist[t] > 0:
            out.append((Onset(t, "slope"), -share * math.expm1(-rate * min(driven, 10.0))))
    if float(book.dist.sum()) > 0:
        out.append((Onset(max(0, T - NEW_VISITS), "new"), -0.5 * math.expm1(-rate * settings.from_new)))
    return out


def settle_history(
    trend: Trend, settings: CauseSettings = DEFAULT_CAUSES, most: int = 3
) -> tuple[Shock, ...]:
    """Jumps of earlier visits that are beyond doubt, to be put into the trend so that they don't leak into a drift.

    Visits older than those ``attribute`` looks at are screened by their own readings; at most ``most`` of the most
    suspicious are weighed with everything that was read since. Accepted from ``ACCEPT_AT``.
    """
    from coldlash.wear.screen import suspicious

    accepted: list[Shock] = []
    for session, prior in suspicious(trend, settings.hazard, len(trend.book.visits) - settings.jumps)[:most]:
        seen = attribute(trend, settings, [(Onset(session, "jump"), prior)], HISTORY_VISITS)
        accepted.extend(accepted_jumps(trend, seen))
    return tuple(accepted)


def accepted_jumps(trend: Trend, seen: Attribution, at: float = ACCEPT_AT) -> tuple[Shock, ...]:
    """The jumps in ``seen`` that are beyond doubt, as ``trend.fit`` takes them.

    Their prior is broad (as large as the jump itself): the readings set the amount once more, and only once.
    """
    shocks = []
    for cause in seen.causes:
        sure = seen.probability_of(cause) > at and cause.how == "jump" and cause.worth_a_verdict
        if sure and cause.cause != SESSION_OFFSET:
            loading = {v: x for v, x in zip(trend.valves, cause.loading, strict=True) if x}
            mean = cause.amount.mean
            shocks.append(Shock(cause.onset_session, "gap", loading, mean, max(mean, LEAST_MM)))
    return tuple(shocks)


# ---------------------------------------------------------------------------------------------- scenes


def _scenes(
    trend: Trend, signature: Signature, found: Sequence[Candidate], settings: CauseSettings
) -> tuple[Scenes, Array]:
    """The scenes of one onset, and which valve's reading each takes for a misread (-1: none)."""
    V, n = len(trend.valves), len(signature.h)
    D, slope = signature.dist, signature.onset.how != "jump"
    last = signature.onset.session == len(trend.book.visits) - 1
    loading = np.array([c.loading for c in found]).T
    offset = np.array([c.cause == SESSION_OFFSET for c in found])
    varied = np.zeros_like(loading)
    for j, c in enumerate(found):
        if c.spread:
            # Two valves: what they share is the amount itself, what they differ by is the variation.
            a, b = np.flatnonzero(loading[:, j])[:2]
            varied[a, j], varied[b, j] = loading[a, j], -loading[b, j]
            varied[:, j] *= c.spread / math.sqrt(2.0)

    def directions(gaps: Array) -> Array:
        u = np.zeros((n, gaps.shape[1]))
        if slope:
            u[:V], u[V : 2 * V] = gaps * D, gaps
        else:
            u[:V] = gaps
        return u

    U, E, own = directions(loading), directions(varied), directions(np.eye(V))
    U[:, offset] = 0.0
    U[signature.o, offset] = np.sign(loading[:, offset].sum(axis=0))
    size = np.array([c.size for c in found]) * (SLOPE_OF_SIZE if slope else 1.0)
    spread = np.array([c.spread > 0 for c in found])
    log_prior = np.array([c.log_odds for c in found])
    log_prior[offset & (slope or not last)] = -math.inf
    log_prior[~offset & _ended(trend, signature.onset.session, loading)] = -math.inf

    left_out, L, h, log_w = _left_out(signature)
    so2 = trend.settings.offset**2
    r, N, weight, out = [], [], [], []
    for scale, share in settings.offsets:
        P = signature.P.copy()
        P[signature.o, signature.o] += (scale**2 - 1.0) * so2
        got_r, got_N, log_z = _under(L, h, P)
        r.append(got_r)
        N.append(got_N)
        weight.append(log_w + log_z + math.log(share))
        out.append(left_out)
    r_all, N_all, w_all = np.concatenate(r), np.concatenate(N), np.concatenate(weight)
    chi2, rank = _misfit(own, r_all, N_all)
    b, be = r_all @ U, r_all @ E
    NU, NE = N_all @ U, N_all @ E
    A, Ae = U.T @ NU, U.T @ NE
    Aee = np.einsum("nj,snj->sj", E, NE)
    scales = np.array([s for s, _ in settings.noise])
    k2 = np.repeat(scales**2, len(r_all))
    times = len(scales)
    log_k = np.concatenate(
        [
            math.log(share) - 0.5 * chi2 * (1.0 / scale**2 - 1.0) - rank * math.log(scale)
            for scale, share in settings.noise
        ]
    )
    S, J = len(k2), len(found)

    def spread_out(x: Array) -> Array:
        tiled: Array = np.tile(x, (times,) + (1,) * (x.ndim - 1)) / k2.reshape((-1,) + (1,) * (x.ndim - 1))
        return tiled

    log_weight = np.tile(w_all, times) + log_k
    scenes = Scenes(
        log_weight,
        log_weight + 0.5 * np.tile(chi2, times) / k2,
        spread_out(b),
        spread_out(A),
        spread_out(be),
        spread_out(Ae),
        spread_out(Aee),
        np.tile(np.where(spread, size**2, 0.0), (S, 1)),
        np.tile(1.0 / size**2, (S, 1)),
        np.tile(log_prior, (S, 1)),
    )
    return scenes, np.tile(np.concatenate(out), times) if J else np.zeros(S)


def _left_out(signature: Signature) -> tuple[np.ndarray, Array, Array, Array]:
    """The likelihood as it is, and with each reading of the visit that surprises taken for a misread.

    Returns which reading (B,) (-1: none), L (B, n, n), h (B, n) and the log weight (B,).
    """
    which = [-1]
    L, h, log_w = [signature.L], [signature.h], [0.0]
    q = np.einsum("vi,ij,vj->v", signature.rows, signature.P, signature.rows)
    grown = 1.0 + signature.tau * q
    usual = signature.log_site + 0.5 * signature.lean**2 * q / grown - 0.5 * np.log(grown)
    for v in np.flatnonzero(signature.read & (signature.log_misread - usual > LOG_LEAST_MISREAD)):
        row = signature.rows[v]
        which.append(int(v))
        L.append(signature.L - signature.tau[v] * np.outer(row, row))
        h.append(signature.h - signature.lean[v] * row)
        log_w.append(float(signature.log_misread[v] - signature.log_site[v]))
    return np.array(which), np.array(L), np.array(h), np.array(log_w)


def _under(L: Array, h: Array, P: Array) -> tuple[Array, Array, Array]:
    """r (B, n), N (B, n, n) and log evidence (B,) of the trend itself under the prediction's covariance ``P``."""
    M = np.eye(len(P)) + L @ P
    solved = np.linalg.solve(M, np.concatenate([L, h[..., None]], axis=2))
    N, r = solved[..., :-1], solved[..., -1]
    log_z = 0.5 * np.einsum("bi,ij,bj->b", h, P, r) - 0.5 * np.linalg.slogdet(M)[1]
    return r, 0.5 * (N + np.swapaxes(N, 1, 2)), log_z


def _misfit(own: Array, r: Array, N: Array) -> tuple[Array, Array]:
    """How far the residual of all valves is from 0: chi-square (B,), and the number of directions seen (B,)."""
    values, vectors = np.linalg.eigh(own.T @ N @ own)
    along = np.einsum("bij,bi->bj", vectors, r @ own)
    seen = values > 1e-6 * np.maximum(values[:, -1:], 1e-12)
    chi2: Array = np.sum(np.where(seen, along**2 / np.where(seen, values, 1.0), 0.0), axis=1)
    return chi2, seen.sum(axis=1).astype(float)


def _ended(trend: Trend, session: int, loading: Array) -> np.ndarray:
    """Causes (J,) all of whose valves had a part replaced at that visit or since."""
    kept = np.flatnonzero(~trend.book.restart[session:].any(axis=0))
    moved: np.ndarray = (loading[kept] != 0).any(axis=0)
    return ~moved


def _join(parts: Sequence[tuple[Scenes, float]]) -> Scenes:
    names = ("b", "A", "be", "Ae", "Aee", "q", "precision", "log_prior")
    joined = {name: np.concatenate([getattr(s, name) for s, _ in parts]) for name in names}
    return Scenes(
        np.concatenate([s.log_weight + shift for s, shift in parts]),
        np.concatenate([s.log_most + shift for s, shift in parts]),
        **joined,
    )


# ---------------------------------------------------------------------------------------------- answers


@dataclass
class _View:
    """Sums over combinations and scenes, per cause and place."""

    trend: Trend
    onsets: Sequence[Onset]
    of_onset: np.ndarray
    found: Sequence[Candidate]
    blocks: Sequence[Weighed]
    log_total: float

    def causes(self) -> tuple[tuple[Cause, ...], tuple[Combination, ...]]:
        names = [(c.cause, c.where) for c in self.found]
        groups = list(dict.fromkeys(names))
        group = np.array([groups.index(name) for name in names])
        G, places, J = len(groups), len(self.onsets), len(self.found)
        mass = np.zeros((G, places))
        first, second = np.zeros((G, places)), np.zeros((G, places))
        variant = np.zeros(J)
        gain = np.array([c.gain for c in self.found])
        together: dict[tuple[int, ...], float] = {}
        for block in self.blocks:
            w = np.exp(block.log_weight - self.log_total)
            onset = self.of_onset[block.scene]
            by_onset = np.zeros((places, w.shape[1]))
            np.add.at(by_onset, onset, w)
            seen = group[block.members]
            for place in range(block.members.shape[1]):
                g, j = seen[:, place], block.members[:, place]
                again = (seen[:, :place] == g[:, None]).any(axis=1)
                fresh = np.where(again, 0.0, 1.0)
                np.add.at(mass, g, (by_onset * fresh).T)
                mean, sd = block.mean[..., place] * gain[j], block.sd[..., place] * gain[j]
                for into, value in ((first, w * fresh * mean), (second, w * fresh * (mean**2 + sd**2))):
                    summed = np.zeros((places, w.shape[1]))
                    np.add.at(summed, onset, value)
                    np.add.at(into, g, summed.T)
                np.add.at(variant, j, by_onset.sum(axis=0))
            for row, weight in zip(block.members.tolist(), by_onset.sum(axis=0).tolist(), strict=True):
                together[tuple(row)] = weight
        p = mass.sum(axis=1)
        order = [int(g) for g in np.argsort(-p, kind="stable") if p[g] >= SHOWN_FROM]
        rank = {g: i for i, g in enumerate(order)}
        likely = sorted(((w, key) for key, w in together.items() if w > LEAST_COMBINATION), reverse=True)
        combined = tuple(
            Combination(tuple(Part(rank[int(group[j])], self.found[j].variant) for j in key), w)
            for w, key in likely
            if all(int(group[j]) in rank for j in key)
        )
        both = {
            (order[c.parts[0].cause], order[c.parts[1].cause])
            for c in combined
            if len(c.parts) == 2 and c.weight >= TOGETHER and c.parts[0].cause != c.parts[1].cause
        }
        alike = look_alikes(self.found, groups, order, sorted(both))
        made = tuple(
            self._cause(groups[g], group == g, mass[g], first[g], second[g], variant, alike[g]) for g in order
        )
        return made, combined

    def _cause(
        self,
        name: tuple[str, tuple[Valve, ...]],
        mine: np.ndarray,
        mass: Array,
        first: Array,
        second: Array,
        variant: Array,
        alike: tuple[str, ...],
    ) -> Cause:
        book = self.trend.book
        onset = self.onsets[int(np.argmax(mass))]
        since = 0 if onset.how == "new" else max(onset.session - 1, 0)
        ranked = sorted(np.flatnonzero(mine), key=lambda j: -variant[j])
        top = self.found[int(ranked[0])]
        # A slope's amount is what it has done since it began.
        far = np.array([self._far(o) for o in self.onsets])
        jump = np.array([o.how == "jump" for o in self.onsets])
        alike_how = jump == (onset.how == "jump")
        amount = _moments(mass * alike_how, first * far * alike_how, second * far**2 * alike_how)
        rate = None
        if onset.how != "jump":
            rate = _moments(mass * alike_how, first * alike_how, second * alike_how)
        return Cause(
            cause=name[0],
            where=name[1],
            probability=float(min(mass.sum(), 1.0)),
            amount=amount,
            direction=top.direction,
            how="jump" if onset.how == "jump" else "slope",
            onset_session=onset.session,
            since_km=float(book.km[since]),
            per_1000km=rate,
            variants=tuple(self.found[int(j)].variant for j in ranked if variant[j] > 0),
            not_separable_from=alike,
            why=_why(self.trend, top),
            loading=tuple(x / top.gain for x in top.loading),
        )

    def _far(self, onset: Onset) -> float:
        """1000 km a slope has lasted; 1 for a jump."""
        if onset.how == "jump":
            return 1.0
        counted = self.trend.book.counted_km
        first = 0 if onset.how == "new" else max(onset.session - 1, 0)
        return float(counted[-1] - counted[first]) / 1000.0


def _moments(mass: Array, first: Array, second: Array) -> Estimate:
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0)
    mean = float(first.sum()) / total
    return Estimate(mean, math.sqrt(max(float(second.sum()) / total - mean**2, 0.0)))


def _why(trend: Trend, candidate: Candidate) -> str:
    if candidate.cause == SESSION_OFFSET:
        return (
            "Everything read at that visit is off by the same: an engine not quite cold, another hand or other blades "
            "move all readings together."
        )
    for row in cause_table(trend.engine):
        if row.variant == candidate.variant:
            return row.explanation
    return ""


def _misreads(
    trend: Trend, nulls: Sequence[tuple[Signature, Array, Array]], p_something: float
) -> dict[Valve, float]:
    """Probability that a reading of the last visit was a misread (counted where nothing happened), above 1 %."""
    last = len(trend.book.visits) - 1
    for signature, log_w, out in nulls:
        if signature.onset == Onset(last, "jump"):
            p = {v: float(np.exp(log_w[out == i]).sum()) for i, v in enumerate(trend.valves)}
            return {v: x * (1.0 - p_something) for v, x in p.items() if x * (1.0 - p_something) > 0.01}
    return {}


def _share(prior: float, log_ratio: float) -> float:
    """Posterior probability from the prior and the log evidence ratio."""
    logit = math.log(prior / (1.0 - prior)) + log_ratio
    return 1.0 / (1.0 + math.exp(-logit)) if logit > -700 else 0.0


def _logsumexp(logs: Array) -> float:
    top = float(np.max(logs, initial=-math.inf))
    if top == -math.inf:
        return top
    return top + math.log(float(np.sum(np.exp(logs - top))))
