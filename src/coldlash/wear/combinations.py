"""How well each small combination of causes explains a residual: evidence in closed form, times an orthant.

r | amounts ~ N(L a, Sigma), a_j half-normal(s_j), written with b = L'r and A = L'NL (see ``wear.signature``):
log of the evidence over that of no cause = k log 2 + log|I + A S^2|^-1/2 + b'Cb / 2 + log P(N(Cb, C) > 0),
C = (A + S^-2)^-1. A cause whose loadings vary from valve to valve on their own (a shared lobe) has that variation
integrated out first.

Every single cause is weighed; pairs and triples are built by extending the best ones by every cause (a beam), so the
work grows with the number of causes, not with its cube. The beam's widths are those at which engines small
enough to try every combination give the same answer (a test shows it).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from coldlash.wear.interval import Array
from coldlash.wear.orthant import log_positive_1, log_positive_2, log_positive_3

MOST_CAUSES = 3

Members = tuple[int, ...]


class Beam(NamedTuple):
    """How many singles and pairs are extended. Scenes whose weight can't come within exp(``least_pairs``) and
    exp(``least_triples``) of the total are left out there.
    """

    singles: int = 9
    pairs: int = 10
    least_pairs: float = -5.0
    least_triples: float = -4.0


BEAM = Beam()
EVERYTHING = Beam(10**6, 10**6, -math.inf, -math.inf)


@dataclass(frozen=True, slots=True)
class Scenes:
    """Ways to look at the residual (S of them): an onset, a noise scale, an offset scale, a reading left out.

    ``log_weight`` (S,) before any cause; ``log_most`` (S,) what no combination of causes can raise it above. ``b``
    (S, J), ``A`` (S, J, J); for the loadings' own variation ``be`` (S, J), ``Ae`` (S, J, J) with [s, i, j] between
    cause i and the variation of cause j, ``Aee`` (S, J), and its variance ``q`` (S, J), 0 for none. ``precision``
    (S, J) is 1 / s_j^2; ``log_prior`` (S, J) the log prior odds, -inf where a cause can't be in a scene.
    """

    log_weight: Array
    log_most: Array
    b: Array
    A: Array
    be: Array
    Ae: Array
    Aee: Array
    q: Array
    precision: Array
    log_prior: Array

    def only(self, keep: np.ndarray) -> Scenes:
        """The scenes where ``keep`` (S,) is True."""
        return Scenes(
            self.log_weight[keep],
            self.log_most[keep],
            self.b[keep],
            self.A[keep],
            self.be[keep],
            self.Ae[keep],
            self.Aee[keep],
            self.q[keep],
            self.precision[keep],
            self.log_prior[keep],
        )


class Weighed(NamedTuple):
    """Combinations of one size: ``members`` (H, k), ``log_weight`` (S, H), amount ``mean`` and ``sd`` (S, H, k), mm,
    over the scenes ``scene`` (S,) (their places).
    """

    members: np.ndarray
    scene: np.ndarray
    log_weight: Array
    mean: Array
    sd: Array


def weigh(scenes: Scenes, beam: Beam = BEAM, most: int = MOST_CAUSES) -> list[Weighed]:
    """Weigh combinations of 1 to ``most`` (at most 3) causes, prior odds included. Empty without causes or scenes."""
    S, J = scenes.b.shape
    if not S or not J:
        return []
    every = np.arange(S)
    out = [_weigh(scenes, every, np.arange(J)[:, None])]
    by_scene = _logsumexp(out[0].log_weight, axis=1)
    best_odds = float(np.max(scenes.log_prior))
    for size, widest, least in ((2, beam.singles, beam.least_pairs), (3, beam.pairs, beam.least_triples)):
        if size > most or size > J:
            break
        last = out[-1]
        score = _logsumexp(last.log_weight, axis=0)
        best = last.members[np.argsort(-score)[:widest]].tolist()
        chosen = {tuple(sorted((*row, j))) for row in best for j in range(J) if j not in row}
        # A scene that single causes leave poor may be the best one for a pair: only what can't matter is left out.
        reach = scenes.log_most + size * best_odds
        keep = every[(reach >= _logsumexp(by_scene[None], axis=1)[0] + least) | (by_scene == by_scene.max())]
        out.append(_weigh(scenes, keep, np.array(sorted(chosen), dtype=int)))
        by_scene[keep] = np.logaddexp(by_scene[keep], _logsumexp(out[-1].log_weight, axis=1))
    return out


def _weigh(scenes: Scenes, keep: np.ndarray, members: np.ndarray) -> Weighed:
    at = scenes.only(keep)
    k = members.shape[1]
    i, j = members[:, :, None], members[:, None, :]
    b = at.b[:, members]
    A = at.A[:, i, j]
    gain = at.log_weight[:, None] + at.log_prior[:, members].sum(axis=2)
    for place in range(k):
        who = members[:, place]
        q = at.q[:, who]
        if not q.any():
            continue
        grown = 1.0 + q * at.Aee[:, who]
        cross = at.Ae[:, members, who[:, None]]
        pull = at.be[:, who]
        b = b - cross * (q / grown * pull)[..., None]
        A = A - cross[..., :, None] * cross[..., None, :] * (q / grown)[..., None, None]
        gain = gain + 0.5 * q / grown * pull**2 - 0.5 * np.log(grown)
    precision = at.precision[:, members]
    C, log_det = _inverse(A + np.eye(k) * precision[..., None])
    mean = np.einsum("shij,shj->shi", C, b)
    sd = np.sqrt(np.maximum(np.einsum("shii->shi", C), 1e-300))
    h = mean / sd
    gain = gain + k * math.log(2.0) + 0.5 * np.log(precision).sum(axis=2) - 0.5 * log_det
    gain = gain + 0.5 * np.einsum("shi,shi->sh", b, mean)
    pairs = list(itertools.combinations(range(k), 2))
    corr = [C[..., x, y] / (sd[..., x] * sd[..., y]) for x, y in pairs]
    if k == 1:
        positive = log_positive_1(h[..., 0])
    elif k == 2:
        positive = log_positive_2(h[..., 0], h[..., 1], corr[0])
    else:
        positive = log_positive_3(h, np.stack(corr, axis=-1))
    amount, spread = _positive_moments(h)
    return Weighed(members, keep, gain + positive, amount * sd, spread * sd)


def _positive_moments(h: Array) -> tuple[Array, Array]:
    """Mean and sd of a normal of mean ``h`` and sd 1, given that it is positive (each part on its own)."""
    from coldlash.wear.interval import truncated

    got = truncated(-h, np.full_like(h, math.inf))
    return h + got.mean, np.sqrt(got.var)


def _inverse(M: Array) -> tuple[Array, Array]:
    """Inverse and log determinant of symmetric positive 1 x 1 to 3 x 3 matrices, many at once."""
    k = M.shape[-1]
    if k == 1:
        return 1.0 / M, np.log(M[..., 0, 0])
    if k == 2:
        a, b, d = M[..., 0, 0], M[..., 0, 1], M[..., 1, 1]
        det = a * d - b * b
        rows = [[d, -b], [-b, a]]
    else:
        a, b, c = M[..., 0, 0], M[..., 0, 1], M[..., 0, 2]
        d, e, f = M[..., 1, 1], M[..., 1, 2], M[..., 2, 2]
        ca, cb, cc = d * f - e * e, c * e - b * f, b * e - c * d
        det = a * ca + b * cb + c * cc
        rows = [[ca, cb, cc], [cb, a * f - c * c, b * c - a * e], [cc, b * c - a * e, a * d - b * b]]
    inverse = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2) / det[..., None, None]
    return inverse, np.log(det)


def log_prior_total(log_odds: Sequence[float], most: int = MOST_CAUSES) -> float:
    """Log of the sum over all combinations of 1 to ``most`` causes of the product of their prior odds."""
    e = [1.0] + [0.0] * most
    for odds in np.exp(np.asarray(log_odds, dtype=float)):
        for size in range(most, 0, -1):
            e[size] += e[size - 1] * float(odds)
    return math.log(sum(e[1:])) if sum(e[1:]) > 0 else -math.inf


def _logsumexp(logs: Array, axis: int) -> Array:
    top = np.max(logs, axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        out: Array = np.squeeze(top, axis) + np.log(np.sum(np.exp(logs - top), axis=axis))
    return out
