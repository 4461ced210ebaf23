"""The state of an engine's gaps and how it moves: predict, read, set, restart. Batched over a leading axis.

State, in this order: gap of each valve at 20 C (mm), drift of each valve (mm per 1000 km), setting bias of each
hand (mm), pooled drift of intake and exhaust, temperature coefficient of intake and exhaust (mm/K), the
session's offset o (mm), the session's unknown temperature error t (K). Everything is linear and Gaussian but
for the readings; their Gaussian stand-ins come from ``wear.ep``. A reading of valve v at temperature T is
g_v + c (T - 20) + cbar t + o, c of its kind, cbar the prior mean of c (the product of c's and t's errors is
neglected).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from coldlash.wear.ep import Readings, Sites
from coldlash.wear.interval import Array
from coldlash.wear.settings import KINDS, Coefficient, TrendSettings


@dataclass(frozen=True, slots=True)
class Layout:
    """Where things stand in the state of V valves and ``hands`` hands. ``kind`` (V,) 0 intake, 1 exhaust."""

    V: int
    hands: int
    kind: np.ndarray

    @property
    def n(self) -> int:
        """Length of the state."""
        return 2 * self.V + self.hands + 6

    @property
    def g(self) -> slice:
        """Gaps."""
        return slice(0, self.V)

    @property
    def d(self) -> slice:
        """Drifts."""
        return slice(self.V, 2 * self.V)

    @property
    def b(self) -> int:
        """First hand's setting bias."""
        return 2 * self.V

    @property
    def pooled(self) -> int:
        """Pooled drift of intake; exhaust follows."""
        return 2 * self.V + self.hands

    @property
    def c(self) -> int:
        """Temperature coefficient of intake; exhaust follows."""
        return 2 * self.V + self.hands + 2

    @property
    def o(self) -> int:
        """The session's offset."""
        return 2 * self.V + self.hands + 4

    @property
    def t(self) -> int:
        """The session's unknown temperature error."""
        return 2 * self.V + self.hands + 5


class Hyper(NamedTuple):
    """Settings as arrays over the batch: variances and logs, each (B, 1) or (B, 2) by kind.

    ``heated``: any engine of the batch has a temperature coefficient; if not, those terms are left out.
    """

    wander: Array
    feel: Array
    drag: Array
    offset: Array
    setting: Array
    hand: Array
    log_sound: Array
    log_misread: Array
    drift_mean: Array
    drift_var: Array
    spread: Array
    start: Array
    c_mean: Array
    c_var: Array
    heated: bool


def hyper(
    settings: Sequence[TrendSettings], coefficients: Sequence[Coefficient | None] | None = None
) -> Hyper:
    """Stack settings (and temperature coefficients, None = no correction) of a batch."""

    def square(name: str) -> Array:
        return np.array([[getattr(s, name) ** 2] for s in settings])

    eps = np.array([[s.misread] for s in settings])
    c = np.zeros((len(settings), 2, 2))
    for i, coefficient in enumerate(coefficients or []):
        if coefficient is not None:
            c[i] = [[coefficient[k][0], coefficient[k][1] ** 2] for k in KINDS]
    return Hyper(
        wander=square("wander"),
        feel=square("feel"),
        drag=square("drag"),
        offset=square("offset"),
        setting=square("setting"),
        hand=square("hand"),
        log_sound=np.log1p(-eps),
        log_misread=np.log(np.where(eps > 0, eps, 1.0)) + np.where(eps > 0, 0.0, -np.inf),
        drift_mean=np.array([[s.drift_mean_intake, s.drift_mean_exhaust] for s in settings]),
        drift_var=np.array([[s.drift_sd_intake**2, s.drift_sd_exhaust**2] for s in settings]),
        spread=np.array([[s.drift_spread_intake**2, s.drift_spread_exhaust**2] for s in settings]),
        start=square("start"),
        c_mean=c[..., 0],
        c_var=c[..., 1],
        heated=bool(np.any(c)),
    )


class Step(NamedTuple):
    """One visit of a batch, arrays (B or 1, V) or (B or 1,).

    ``dist`` 1000 km since the visit before; ``temp`` K above 20 C; ``temp_var`` its variance; ``found`` and
    ``left`` readings; ``restart``, ``adjusted`` masks; ``target`` the blade set on, mm; ``cold`` the cold gap,
    mm; ``hand`` index of who set it. ``renewed``: mask of valves whose part was replaced since the visit before;
    None = none was.
    """

    dist: Array
    temp: Array
    temp_var: Array
    found: Readings
    restart: np.ndarray
    adjusted: np.ndarray
    target: Array
    cold: Array
    hand: np.ndarray
    left: Readings
    any_restart: bool
    any_adjusted: bool
    renewed: np.ndarray | None = None


class State(NamedTuple):
    """Mean (B, n) and covariance (B, n, n). The functions below return new ones; inputs stay untouched."""

    m: Array
    P: Array


def start(layout: Layout, h: Hyper, cold: Array) -> State:
    """Before any reading: gaps about the cold gap (B or 1, V), drifts from the pooled prior."""
    B, n, kind = h.wander.shape[0], layout.n, layout.kind
    m, P = np.zeros((B, n)), np.zeros((B, n, n))
    m[:, layout.g] = cold
    m[:, layout.d] = h.drift_mean[:, kind]
    m[:, layout.pooled : layout.pooled + 2] = h.drift_mean
    m[:, layout.c : layout.c + 2] = h.c_mean
    var = np.zeros((B, n))
    var[:, layout.g] = h.start
    var[:, layout.d] = h.spread[:, kind]
    var[:, layout.b : layout.b + layout.hands] = h.hand
    var[:, layout.c : layout.c + 2] = h.c_var
    P[:, np.arange(n), np.arange(n)] = var
    share = np.zeros((2, n))
    share[kind, layout.V + np.arange(layout.V)] = 1.0
    share[[0, 1], [layout.pooled, layout.pooled + 1]] = 1.0
    P += np.einsum("bk,ki,kj->bij", h.drift_var, share, share)
    return State(m, P)


def predict(x: State, step: Step, layout: Layout, h: Hyper) -> State:
    """Over the distance driven: drift, wander, and the session's own offset and temperature drawn afresh.

    Parts replaced on the way (``step.renewed``) start afresh at its end.
    """
    m, P = x.m.copy(), x.P.copy()
    D = step.dist[:, None]
    g, d = layout.g, layout.d
    m[:, g] += D * m[:, d]
    P[:, g, :] += D[..., None] * P[:, d, :]
    P[:, :, g] += D[..., None] * P[:, :, d]
    i = np.arange(layout.V)
    P[:, i, i] += h.wander * D
    for j, var in ((layout.o, h.offset[:, 0]), (layout.t, step.temp_var)):
        m[:, j] = 0.0
        P[:, j, :] = 0.0
        P[:, :, j] = 0.0
        P[:, j, j] = var
    if step.renewed is None:
        return State(m, P)
    return restart(State(m, P), step._replace(restart=step.renewed), layout, h)


def readings_of(x: State, step: Step, layout: Layout, h: Hyper) -> tuple[Array, Array, Array]:
    """Mean (B, V), covariance (B, V, V) of the latent readings, and PH' (B, n, V), without reading noise."""
    m, P = x
    g, o = layout.g, layout.o
    mu = m[:, g] + m[:, o, None]
    PH = P[:, :, g] + P[:, :, o, None]
    if h.heated:
        kind, T = layout.c + layout.kind, step.temp[:, None]
        cbar = h.c_mean[:, layout.kind]
        mu = mu + T * m[:, kind] + cbar * m[:, layout.t, None]
        PH = PH + T[..., None] * P[:, :, kind] + cbar[:, None, :] * P[:, :, layout.t, None]
    A = PH[:, g, :] + PH[:, o, None, :]
    if h.heated:
        A = A + T[..., None] * PH[:, kind, :] + cbar[:, :, None] * PH[:, layout.t, None, :]
    return mu, 0.5 * (A + np.swapaxes(A, -1, -2)), PH


def absorb(x: State, PH: Array, sites: Sites) -> State:
    """The state after the readings whose sites these are. ``PH`` from ``readings_of``."""
    m = x.m + np.einsum("bnv,bv->bn", PH, sites.w)
    P = x.P - np.matmul(np.matmul(PH, sites.W), np.swapaxes(PH, -1, -2))
    return State(m, P)


def restart(x: State, step: Step, layout: Layout, h: Hyper) -> State:
    """Valves whose part was replaced: gap about the cold gap, drift about the pooled drift of its kind."""
    m, P = x.m.copy(), x.P.copy()
    kind, g, d, i = layout.kind, layout.g, layout.d, np.arange(layout.V)
    mask = step.restart
    row = mask[..., None]
    m[:, g] = np.where(mask, step.cold, m[:, g])
    P[:, g, :] = np.where(row, 0.0, P[:, g, :])
    P[:, :, g] = np.where(mask[:, None, :], 0.0, P[:, :, g])
    P[:, i, i] += np.where(mask, h.start, 0.0)
    pooled = layout.pooled + kind
    m[:, d] = np.where(mask, m[:, pooled], m[:, d])
    P[:, d, :] = np.where(row, P[:, pooled, :], P[:, d, :])
    P[:, :, d] = np.where(mask[:, None, :], P[:, :, pooled], P[:, :, d])
    P[:, layout.V + i, layout.V + i] += np.where(mask, h.spread[:, kind], 0.0)
    return State(m, P)


def set_screws(x: State, step: Step, layout: Layout, h: Hyper) -> State:
    """Adjusted valves: gap = blade + hand's bias - c (T - 20) - cbar t - o + N(0, setting^2)."""
    m, P = x.m.copy(), x.P.copy()
    B, g, o, i = m.shape[0], layout.g, layout.o, np.arange(layout.V)
    mask, hand, at = step.adjusted, np.broadcast_to(layout.b + step.hand, (m.shape[0],)), np.arange(B)
    target = step.target + m[at, hand][:, None] - m[:, o, None]
    rows = P[at, hand, :][:, None, :] - P[:, o, None, :]
    if h.heated:
        kind, T = layout.c + layout.kind, step.temp[:, None]
        cbar = h.c_mean[:, layout.kind]
        target = target - T * m[:, kind] - cbar * m[:, layout.t, None]
        rows = rows - T[..., None] * P[:, kind, :] - cbar[:, :, None] * P[:, layout.t, None, :]
    P[:, g, :] = np.where(mask[..., None], rows, P[:, g, :])
    columns = P[at, :, hand][:, :, None] - P[:, :, o, None]
    if h.heated:
        columns = columns - T[..., None] * P[:, :, kind] - cbar[:, None, :] * P[:, :, layout.t, None]
    P[:, :, g] = np.where(mask[:, None, :], columns, P[:, :, g])
    P[:, i, i] += np.where(mask, h.setting, 0.0)
    m[:, g] = np.where(mask, target, m[:, g])
    return State(m, P)


def nudge(x: State, direction: Array, mean: Array, var: Array) -> State:
    """A jump of the state along ``direction`` (B or 1, n), its size N(mean, var), both (B,)."""
    m = x.m + mean[:, None] * direction
    P = x.P + var[:, None, None] * direction[:, :, None] * direction[:, None, :]
    return State(m, P)
