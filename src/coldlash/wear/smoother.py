"""The same gaps with hindsight: what every visit's readings, later ones too, say about each moment.

Backward recursion of the fixed-interval state smoother in the form that never inverts a state covariance
(de Jong 1989; Durbin & Koopman, Time Series Analysis by State Space Methods, section 4.4), over the Gaussian
sites that the forward pass settled on.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from coldlash.wear.books import Shelf
from coldlash.wear.ep import Sites
from coldlash.wear.filter import Trace
from coldlash.wear.interval import Array
from coldlash.wear.kalman import Hyper, Layout, State, Step


class Hindsight(NamedTuple):
    """Smoothed states of one visit: ``before`` anything was touched, ``after`` the engine was closed up."""

    before: State
    after: State


def smooth(shelf: Shelf, h: Hyper, traces: Sequence[Trace]) -> list[Hindsight]:
    """Smoothed states (B, n), (B, n, n) of every visit of ``shelf``, from the traces of ``filter.run``."""
    layout = shelf.layout
    B, n = h.wander.shape[0], layout.n
    r, N = np.zeros((B, n)), np.zeros((B, n, n))
    out: list[Hindsight] = []
    for t in range(shelf.T - 1, -1, -1):
        step, trace = shelf.step(t), traces[t]
        after = _seen(trace.after, r, N)
        H = reading_rows(step, layout, h)
        if trace.left_sites is not None and trace.left_cross is not None:
            r, N = _back_over_reading(r, N, H, trace.left_cross, trace.left_sites)
        if step.any_adjusted:
            r, N = _back(r, N, setting_matrix(step, layout, h))
        if step.any_restart:
            r, N = _back(r, N, restart_matrix(step, layout))
        if trace.found_sites is not None:
            r, N = _back_over_reading(r, N, H, trace.cross, trace.found_sites)
        out.append(Hindsight(_seen(trace.predicted, r, N), after))
        r, N = _back(r, N, driving_matrix(step, layout))
    return out[::-1]


def reading_rows(step: Step, layout: Layout, h: Hyper) -> Array:
    """H (B, V, n): the latent readings are H x."""
    i, kind = np.arange(layout.V), layout.kind
    B = h.wander.shape[0]
    H = np.zeros((B, layout.V, layout.n))
    H[:, i, i] = 1.0
    H[:, i, layout.c + kind] = step.temp[:, None]
    H[:, i, layout.o] = 1.0
    H[:, i, layout.t] = h.c_mean[:, kind]
    return H


def driving_matrix(step: Step, layout: Layout) -> Array:
    """F (B, n, n) of the distance driven; the session's offset and temperature are drawn afresh (zero rows).

    Parts replaced on the way (``step.renewed``) start afresh at its end, as in ``kalman.predict``.
    """
    i = np.arange(layout.V)
    F = np.tile(np.eye(layout.n), (step.dist.shape[0], 1, 1))
    F[:, i, layout.V + i] = step.dist[:, None]
    F[:, [layout.o, layout.t], :] = 0.0
    if step.renewed is None:
        return F
    return restart_matrix(step._replace(restart=step.renewed), layout) @ F


def restart_matrix(step: Step, layout: Layout) -> Array:
    """F (B, n, n) of parts replaced: those gaps forget all, those drifts fall back to the pooled drift."""
    i = np.arange(layout.V)
    F = np.tile(np.eye(layout.n), (step.restart.shape[0], 1, 1))
    rows = np.zeros((layout.V, layout.n))
    rows[i, layout.pooled + layout.kind] = 1.0
    mask = step.restart[..., None]
    F[:, layout.g, :] = np.where(mask, 0.0, F[:, layout.g, :])
    F[:, layout.d, :] = np.where(mask, rows, F[:, layout.d, :])
    return F


def setting_matrix(step: Step, layout: Layout, h: Hyper) -> Array:
    """F (B, n, n) of the screws: an adjusted gap is the hand's bias less offset and temperature."""
    B, i, kind = h.wander.shape[0], np.arange(layout.V), layout.kind
    F = np.tile(np.eye(layout.n), (B, 1, 1))
    rows = np.zeros((B, layout.V, layout.n))
    at = np.arange(B)
    rows[at, :, np.broadcast_to(layout.b + step.hand, (B,))] = 1.0
    rows[:, i, layout.c + kind] = -step.temp[:, None]
    rows[:, i, layout.o] = -1.0
    rows[:, i, layout.t] = -h.c_mean[:, kind]
    F[:, layout.g, :] = np.where(step.adjusted[..., None], rows, F[:, layout.g, :])
    return F


def _seen(x: State, r: Array, N: Array) -> State:
    m = x.m + np.einsum("bij,bj->bi", x.P, r)
    P = x.P - x.P @ N @ x.P
    return State(m, 0.5 * (P + np.swapaxes(P, -1, -2)))


def _back(r: Array, N: Array, F: Array) -> tuple[Array, Array]:
    Ft = np.swapaxes(F, -1, -2)
    return np.einsum("bij,bj->bi", Ft, r), Ft @ N @ F


def _back_over_reading(r: Array, N: Array, H: Array, PH: Array, sites: Sites) -> tuple[Array, Array]:
    Ht = np.swapaxes(H, -1, -2)
    L = np.eye(H.shape[-1]) - PH @ sites.W @ H
    Lt = np.swapaxes(L, -1, -2)
    r = np.einsum("bij,bj->bi", Ht, sites.w) + np.einsum("bij,bj->bi", Lt, r)
    N = Ht @ sites.W @ H + Lt @ N @ L
    return r, 0.5 * (N + np.swapaxes(N, -1, -2))
