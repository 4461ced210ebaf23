"""Expectation propagation over the readings of one session: interval likelihoods become Gaussian sites.

The latent readings y ~ N(mu, A) of one session are correlated through the session's offset and everything
shared. Each reading's likelihood is replaced by a site exp(-tau y^2 / 2 + nu y) matched to its moments under
the others (Minka 2001; Rasmussen & Williams, Gaussian Processes for Machine Learning, section 3.6). All sites
are updated at once. Interval likelihoods are log-concave, so a Gaussian is nearly exact; the misread mixture is
not, hence sites may have tau < 0, held above a bound, and later sweeps are damped.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from coldlash.wear.interval import Array, read

SWEEPS = 12
TOLERANCE = 1e-4
LEAST_VAR = 1e-12
"""mm^2 added to the variance of every latent reading, so that a certain one (all sds 0) divides nothing by zero."""
MOST_WIDENING = 0.9
"""How far below zero a precision may go, as a share of what would make the posterior improper."""
_FULL_STEPS = 3
_DAMPED = 0.6


class Readings(NamedTuple):
    """Readings of one session for a batch of B: every array (B or 1, V).

    ``open`` True where nothing was read. ``has_point`` tells whether any lo == hi (drag on a blade).
    """

    lo: Array
    hi: Array
    log_chance: Array
    open: np.ndarray
    has_point: bool
    any: bool


class Sites(NamedTuple):
    """Gaussian stand-ins of the readings, (B, V): precision ``tau`` (1/mm^2) and ``nu`` = tau x centre.

    ``cavity_mean`` and ``cavity_var`` are of y given all *other* readings of the session. ``log_z`` (B,) is
    the log evidence; ``w`` (B, V) and ``W`` (B, V, V) carry the update to the state: mean += PH' w,
    covariance -= PH' W HP.
    """

    tau: Array
    nu: Array
    cavity_mean: Array
    cavity_var: Array
    log_z: Array
    w: Array
    W: Array


def sweep(
    mu: Array,
    A: Array,
    readings: Readings,
    noise: Array,
    drag: Array,
    log_sound: Array,
    log_misread: Array,
    start: tuple[Array, Array] | None = None,
    sweeps: int = SWEEPS,
) -> Sites:
    """Sites for y ~ N(``mu`` (B, V), ``A`` (B, V, V)) in mm and mm^2, given ``readings``.

    ``noise``, ``drag``, ``log_sound``, ``log_misread`` (B or 1, 1) as in ``interval.read``. ``start`` gives
    sites (tau, nu) to start from. Stops when no mean moves by more than TOLERANCE of its sd, or after ``sweeps``.
    """
    B, V = mu.shape
    eye = np.eye(V)
    A = A + LEAST_VAR * eye
    prior_var = np.diagonal(A, axis1=-2, axis2=-1)
    drag_or_none = drag if readings.has_point else None
    shut = readings.open
    # A^-1 is at least 1 / |A| (largest row sum), so no set of sites above this leaves the posterior improper.
    rows = np.where(shut, 0.0, np.sum(np.abs(A) * ~shut[:, None, :], axis=-1))
    least = -MOST_WIDENING / np.maximum(np.max(rows, axis=-1, keepdims=True), LEAST_VAR)
    if start is None:
        tau, nu = np.zeros((B, V)), np.zeros((B, V))
        var, mean = prior_var, mu
    else:
        tau, nu = start
        var, mean = _posterior(mu, A, tau, nu, eye)
    for k in range(max(sweeps, 1)):
        left = 1.0 / var - tau
        sound = left > 1e-3 / prior_var
        cav_var = 1.0 / np.where(sound, left, 1.0 / prior_var)
        cav_mean = np.where(sound, cav_var * (mean / var - nu), mu)
        got = read(
            cav_mean,
            cav_var,
            readings.lo,
            readings.hi,
            noise,
            drag_or_none,
            log_sound,
            log_misread,
            readings.log_chance,
        )
        new_tau = np.where(shut, 0.0, np.maximum(1.0 / got.var - 1.0 / cav_var, least))
        new_nu = np.where(shut, 0.0, got.mean * (1.0 / cav_var + new_tau) - cav_mean / cav_var)
        step = 1.0 if k < _FULL_STEPS else _DAMPED
        tau = tau + step * (new_tau - tau)
        nu = nu + step * (new_nu - nu)
        old = mean
        var, mean = _posterior(mu, A, tau, nu, eye)
        if k and bool(np.all(np.abs(mean - old) <= TOLERANCE * np.sqrt(prior_var))):
            break
    return _finish(mu, A, tau, nu, cav_mean, cav_var, np.where(shut, 0.0, got.log_z), eye)


def _posterior(mu: Array, A: Array, tau: Array, nu: Array, eye: Array) -> tuple[Array, Array]:
    """Marginal variance and mean of y under the sites, both (B, V)."""
    M = eye + A * tau[:, None, :]
    right = np.concatenate([A, mu[..., None] + np.matmul(A, nu[..., None])], axis=2)
    solved = np.linalg.solve(M, right)
    var = np.diagonal(solved, axis1=-2, axis2=-1)
    top = np.diagonal(A, axis1=-2, axis2=-1)
    return np.maximum(var, 1e-12 * top), solved[..., -1]


def _finish(
    mu: Array, A: Array, tau: Array, nu: Array, cav_mean: Array, cav_var: Array, log_site: Array, eye: Array
) -> Sites:
    M = eye + A * tau[:, None, :]
    beta = nu - tau * mu
    right = np.concatenate([eye * tau[:, None, :], beta[..., None]], axis=2)
    solved = np.linalg.solve(np.swapaxes(M, -1, -2), right)
    w = solved[..., -1]
    quad = np.sum(beta * np.matmul(A, w[..., None])[..., 0], axis=1)
    log_det = np.linalg.slogdet(M)[1]
    # Sites are taken about the prior mean: about zero, large tau would cancel to nothing.
    off = cav_mean - mu
    beta_c = beta - tau * off
    grown = np.maximum(1.0 + tau * cav_var, 1e-12)
    own = beta * off - 0.5 * tau * off**2 - 0.5 * np.log(grown) + 0.5 * beta_c**2 * cav_var / grown
    log_z = np.sum(log_site - own, axis=1) - 0.5 * log_det + 0.5 * quad
    W = solved[..., :-1]
    return Sites(tau, nu, cav_mean, cav_var, log_z, w, 0.5 * (W + np.swapaxes(W, -1, -2)))
