"""The ways to look at what may have begun at one place: scales, a reading left out, an offset larger than usual.

From the likelihood of one onset (``wear.signature``) to the figures that combinations of causes are weighed with
(``wear.combinations``): b = u'r and A = u'Nu along each cause, for every noise scale, offset scale and reading that
may be a misread. Units: mm, 1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from coldlash.wear.candidates import SESSION_OFFSET, SLOPE_OF_SIZE, Candidate
from coldlash.wear.combinations import Scenes
from coldlash.wear.interval import Array
from coldlash.wear.signature import Signature
from coldlash.wear.trend import Trend

LOG_LEAST_MISREAD = -6.0
"""A reading is weighed as a misread when that is at least exp(this) times as likely as reading it soundly."""


class Looks(NamedTuple):
    """The scenes of one onset. By scene (S,): ``left_out``, the valve whose reading it takes for a misread (-1:
    none); ``offset`` and ``offset_var``, the visit's offset if nothing happened, mm and mm^2.
    """

    scenes: Scenes
    left_out: np.ndarray
    offset: Array
    offset_var: Array


def looks(
    trend: Trend,
    signature: Signature,
    found: Sequence[Candidate],
    noise: Sequence[tuple[float, float]],
    offsets: Sequence[tuple[float, float]],
) -> Looks:
    """Every way to look at one onset; ``noise`` and ``offsets`` are (scale, weight)."""
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
    off, off_var = [], []
    for scale, share in offsets:
        P = signature.P.copy()
        P[signature.o, signature.o] += (scale**2 - 1.0) * so2
        got_r, got_N, log_z = _under(L, h, P)
        r.append(got_r)
        N.append(got_N)
        weight.append(log_w + log_z + math.log(share))
        out.append(left_out)
        row = P[signature.o]
        off.append(got_r @ row)
        off_var.append(row[signature.o] - np.einsum("i,bij,j->b", row, got_N, row))
    r_all, N_all, w_all = np.concatenate(r), np.concatenate(N), np.concatenate(weight)
    chi2, rank = _misfit(own, r_all, N_all)
    b, be = r_all @ U, r_all @ E
    NU, NE = N_all @ U, N_all @ E
    A, Ae = U.T @ NU, U.T @ NE
    Aee = np.einsum("nj,snj->sj", E, NE)
    scales = np.array([s for s, _ in noise])
    k2 = np.repeat(scales**2, len(r_all))
    times = len(scales)
    log_k = np.concatenate(
        [
            math.log(share) - 0.5 * chi2 * (1.0 / scale**2 - 1.0) - rank * math.log(scale)
            for scale, share in noise
        ]
    )
    S = len(k2)

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
    return Looks(
        scenes,
        np.tile(np.concatenate(out), times),
        np.tile(np.concatenate(off), times),
        np.tile(np.concatenate(off_var), times) * k2,
    )


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
    book = trend.book
    kept = np.flatnonzero(~(book.restart[session:].any(axis=0) | book.renewed[session + 1 :].any(axis=0)))
    moved: np.ndarray = (loading[kept] != 0).any(axis=0)
    return ~moved


def join(parts: Sequence[tuple[Scenes, float]]) -> Scenes:
    """All scenes together, those of each part with its log weight added."""
    names = ("b", "A", "be", "Ae", "Aee", "q", "precision", "log_prior")
    joined = {name: np.concatenate([getattr(s, name) for s, _ in parts]) for name in names}
    return Scenes(
        np.concatenate([s.log_weight + shift for s, shift in parts]),
        np.concatenate([s.log_most + shift for s, shift in parts]),
        **joined,
    )
