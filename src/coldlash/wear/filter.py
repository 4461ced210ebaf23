"""One visit through the joint filter: predict, read what was found, restart, set, read what was left.

The pieces are in ``wear.kalman`` and ``wear.ep``; here is their order, what is kept of it, and a run over a whole
book or a shelf of books.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from coldlash.wear import kalman
from coldlash.wear.books import Shelf
from coldlash.wear.ep import Sites, sweep
from coldlash.wear.interval import Array
from coldlash.wear.kalman import Hyper, Layout, State, Step


class Push(NamedTuple):
    """A jump of the state, its size N(mean, var), both (B,), along ``direction`` (B or 1, n).

    ``early``: before the distance to this visit is driven (a change of drift); else just before its readings.
    """

    early: bool
    direction: Array
    mean: Array
    var: Array


class Trace(NamedTuple):
    """What the filter held around one visit. ``State`` means (B, n), covariances (B, n, n).

    ``predicted`` before any reading, ``found`` after the found readings, ``after`` once the engine was closed up.
    ``set`` is between restart and setting and the left readings. Sites are None where nothing was read.
    ``mu``, ``A``: mean (B, V) and covariance (B, V, V) of the found readings as predicted (offset, temperature and
    its correction included, reading noise not).
    """

    predicted: State
    mu: Array
    A: Array
    cross: Array
    found_sites: Sites | None
    found: State
    set: State
    left_cross: Array | None
    left_sites: Sites | None
    after: State


def advance(
    x: State,
    step: Step,
    layout: Layout,
    h: Hyper,
    pushes: Sequence[Push] = (),
) -> tuple[Trace, Array]:
    """One visit: predict, read, restart, set, read again. Returns the trace and the log evidence (B,)."""
    for push in pushes:
        if push.early:
            x = kalman.nudge(x, push.direction, push.mean, push.var)
    x = kalman.predict(x, step, layout, h)
    for push in pushes:
        if not push.early:
            x = kalman.nudge(x, push.direction, push.mean, push.var)
    predicted = x
    log_z = np.zeros(x.m.shape[0])
    mu, A, PH = kalman.readings_of(x, step, layout, h)
    sites = left_sites = left_cross = None
    if step.found.any:
        sites = sweep(mu, A, step.found, h.feel, h.drag, h.log_sound, h.log_misread)
        log_z = log_z + sites.log_z
        x = kalman.absorb(x, PH, sites)
    found = x
    if step.any_restart:
        x = kalman.restart(x, step, layout, h)
    if step.any_adjusted:
        x = kalman.set_screws(x, step, layout, h)
    ready = x
    if step.left.any:
        mu2, A2, left_cross = kalman.readings_of(x, step, layout, h)
        left_sites = sweep(mu2, A2, step.left, h.feel, h.drag, h.log_sound, h.log_misread)
        log_z = log_z + left_sites.log_z
        x = kalman.absorb(x, left_cross, left_sites)
    return Trace(predicted, mu, A, PH, sites, found, ready, left_cross, left_sites, x), log_z


def run(
    shelf: Shelf, h: Hyper, pushes: Sequence[Sequence[Push]] = (), keep: bool = True
) -> tuple[State, Array, list[Trace]]:
    """Every visit of a shelf: final state, log evidence per visit (T, B), traces (empty unless ``keep``).

    ``pushes[t]`` are the jumps at visit t. ``h`` may have a longer batch than the shelf if that has one book.
    """
    x = kalman.start(shelf.layout, h, shelf.cold)
    log_z = np.zeros((shelf.T, h.wander.shape[0]))
    traces = []
    for t in range(shelf.T):
        at: Iterable[Push] = pushes[t] if t < len(pushes) else ()
        trace, log_z[t] = advance(x, shelf.step(t), shelf.layout, h, tuple(at))
        x = trace.after
        if keep:
            traces.append(trace)
    return x, log_z, traces
