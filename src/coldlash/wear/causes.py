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

from coldlash.engine.linkage import CauseRow, cause_table
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear.alike import look_alikes
from coldlash.wear.candidates import SESSION_OFFSET, Candidate, candidates
from coldlash.wear.combinations import BEAM, Beam, Weighed, log_prior_total, weigh
from coldlash.wear.interval import Array
from coldlash.wear.scenes import Looks, join, looks
from coldlash.wear.signature import Onset, signatures
from coldlash.wear.trend import Estimate, Shock, Trend

LEAST_MM = 0.05
"""Below this amount candidates are shown, but no verdict is drawn from one."""
ACCEPT_AT = 0.9
"""Probability (of the cause, times that anything happened) from which a jump goes back into the trend."""
HISTORY_VISITS = 5
"""An old jump is judged by so many visits from it on."""
NEW_VISITS = 15
"""A slope that was always there is judged by this many of the last visits."""
LEAST_COMBINATION = 1e-4
TOGETHER = 0.1
"""Two causes that come together at least this often are compared with other pairs that move the gaps alike."""
NO_OFFSET = Estimate(0.0, 0.0)
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
    slope_ages: tuple[int, ...] = (2, 3, 4, 5, 6, 8, 10, 13)
    slope_fade: float = 6.0
    slope_share: float = 0.06
    from_new: float = 1.5
    noise: tuple[tuple[float, float], ...] = ((0.75, 0.4), (1.0, 0.4), (1.35, 0.2))
    offsets: tuple[tuple[float, float], ...] = ((1.0, 0.8), (3.0, 0.2))
    beam: Beam = BEAM

    def __post_init__(self) -> None:
        if not (0 < self.hazard < 1) or self.jumps < 1:
            raise InputError(
                say(
                    "hazard {hazard} with {jumps} visits for jumps; give a hazard in (0, 1), 1 visit or more",
                    hazard=self.hazard,
                    jumps=self.jumps,
                )
            )
        for name, scales in (("noise", self.noise), ("offset", self.offsets)):
            if not scales or any(s <= 0 or w <= 0 for s, w in scales):
                raise InputError(
                    say(
                        "{name} scales {scales}; give pairs of a scale and a weight, both above 0",
                        name=name,
                        scales=scales,
                    )
                )


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
    ``p_misread``: probability that a reading of the last visit was a misread, by valve, where above 1 %. ``offset``:
    what everything read at the last visit seems to be off by together, mm, if nothing else happened.
    """

    p_something: float
    prior_something: float
    causes: tuple[Cause, ...]
    combinations: tuple[Combination, ...]
    p_misread: dict[Valve, float]
    offset: Estimate = NO_OFFSET

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
        look = looks(trend, signature, found, settings.noise, settings.offsets)
        log_w = look.scenes.log_weight
        nothing = _logsumexp(log_w)
        nulls.append((signature.onset, np.exp(log_w - nothing), look))
        parts.append((look.scenes, math.log(priors[k] / priors.sum()) - nothing - total))
        of_onset.extend([k] * len(log_w))
    joined = join(parts)
    blocks = weigh(joined, settings.beam)
    log_something = _logsumexp(np.concatenate([b.log_weight.ravel() for b in blocks]))
    p_something = _share(prior_something, log_something)
    view = _View(trend, [o for o, _ in where], np.array(of_onset), found, blocks, log_something)
    causes, combinations = view.causes()
    here = next((x for x in nulls if x[0] == Onset(len(trend.book.visits) - 1, "jump")), None)
    misread, offset = ({}, NO_OFFSET) if here is None else _last_visit(trend, here[1], here[2], p_something)
    return Attribution(p_something, prior_something, causes, combinations, misread, offset)


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
            to_onset = (self.of_onset[block.scene] == np.arange(places)[:, None]).astype(float)
            by_onset = to_onset @ w
            seen = group[block.members]
            for place in range(block.members.shape[1]):
                g, j = seen[:, place], block.members[:, place]
                again = (seen[:, :place] == g[:, None]).any(axis=1)
                fresh = np.where(again, 0.0, 1.0)
                mean, sd = block.mean[..., place] * gain[j], block.sd[..., place] * gain[j]
                np.add.at(mass, g, (by_onset * fresh).T)
                np.add.at(first, g, (to_onset @ (w * mean) * fresh).T)
                np.add.at(second, g, (to_onset @ (w * (mean**2 + sd**2)) * fresh).T)
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
        table = cause_table(self.trend.engine)
        made = tuple(
            self._cause(groups[g], group == g, mass[g], first[g], second[g], variant, alike[g], table)
            for g in order
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
        table: Sequence[CauseRow],
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
            why=_why(top, table),
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


def _why(candidate: Candidate, table: Sequence[CauseRow]) -> str:
    if candidate.cause == SESSION_OFFSET:
        return say(
            "Everything read at that visit is off by the same: an engine not quite cold, another hand or other blades "
            "move all readings together."
        )
    return next((row.explanation for row in table if row.variant == candidate.variant), "")


def _last_visit(
    trend: Trend, weight: Array, look: Looks, p_something: float
) -> tuple[dict[Valve, float], Estimate]:
    """Of the last visit, if nothing else happened: which readings may be slips (above 1 %), and its offset."""
    slips = {v: float(weight[look.left_out == i].sum()) for i, v in enumerate(trend.valves)}
    mean = float(weight @ look.offset)
    var = float(weight @ (look.offset_var + look.offset**2)) - mean**2
    kept = {v: p * (1.0 - p_something) for v, p in slips.items() if p * (1.0 - p_something) > 0.01}
    return kept, Estimate(mean, math.sqrt(max(var, 0.0)))


def _share(prior: float, log_ratio: float) -> float:
    """Posterior probability from the prior and the log evidence ratio."""
    logit = math.log(prior / (1.0 - prior)) + log_ratio
    return 1.0 / (1.0 + math.exp(-logit)) if logit > -700 else 0.0


def _logsumexp(logs: Array) -> float:
    top = float(np.max(logs, initial=-math.inf))
    if top == -math.inf:
        return top
    return top + math.log(float(np.sum(np.exp(logs - top))))
