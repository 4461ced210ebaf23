"""Which causes move the gaps alike, so that no reading of gaps can tell them apart.

A cause looks like another when both move the same valves in the same proportion, and like a pair when the pair
can be mixed to the same pattern (a shared lobe and equal wear of its two valves). Worked out from the loadings, so it
holds for any engine.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from coldlash.engine.spec import Valve
from coldlash.wear.candidates import Candidate
from coldlash.wear.interval import Array

_SAME = 1e-6
MOST_NAMED = 6

Place = tuple[str, tuple[Valve, ...]]


def look_alikes(
    found: Sequence[Candidate],
    groups: Sequence[Place],
    wanted: Sequence[int],
    together: Sequence[tuple[int, int]] = (),
) -> dict[int, tuple[str, ...]]:
    """For each of ``wanted`` (places in ``groups``): causes and pairs of causes that move the gaps alike, in words.

    Single causes first, then pairs, joined by " + ", whose parts pull the same way. For the pairs ``together``, which
    may have happened at once, other pairs that move the gaps as both do: "with X: A + B". At most ``MOST_NAMED`` each.
    """
    columns: list[tuple[int, Array]] = []
    for c in found:
        entry = (groups.index((c.cause, c.where)), _unit(np.array(c.loading)))
        if not any(g == entry[0] and _near(entry[1], u) for g, u in columns):
            columns.append(entry)
    names = [say(groups[g]) for g, _ in columns]
    owner = np.array([g for g, _ in columns])
    units = np.array([u for _, u in columns])
    pairs = list(itertools.combinations(range(len(columns)), 2))
    first, second = (np.array([p[i] for p in pairs], dtype=int) for i in (0, 1))
    a, b = units[first], units[second]
    with_each_other = (a * b >= 0).all(axis=1)
    out: dict[int, dict[str, None]] = {g: {} for g in wanted}
    for g in wanted:
        others = owner != g
        for target in units[~others]:
            for i in np.flatnonzero((units @ target > 1 - _SAME) & others):
                out[g][names[i]] = None
            hits = _mixable(target, a, b) & with_each_other & others[first] & others[second]
            for p in np.flatnonzero(hits):
                out[g][f"{names[first[p]]} + {names[second[p]]}"] = None
    for g, k in together:
        others = (owner != g) & (owner != k)
        for one, two in itertools.product(units[owner == g], units[owner == k]):
            hits = _mixable(_unit(one + two), a, b) & others[first] & others[second]
            for p in np.flatnonzero(hits):
                mix = f"{names[first[p]]} + {names[second[p]]}"
                for here, other in ((g, k), (k, g)):
                    if here in out:
                        out[here][f"with {say(groups[other])}: {mix}"] = None
    return {g: tuple(named)[:MOST_NAMED] for g, named in out.items()}


def say(place: Place) -> str:
    """ "head_settling I1+E1+I2+E2"."""
    return f"{place[0]} {'+'.join(map(str, place[1]))}"


def _mixable(target: Array, a: Array, b: Array) -> np.ndarray:
    """True for rows where ``target`` = x a + y b with both x, y clearly positive (unit vectors, (P, V))."""
    ab = np.einsum("pv,pv->p", a, b)
    ta, tb = a @ target, b @ target
    det = 1.0 - ab**2
    sound = det > 1e-9
    safe = np.where(sound, det, 1.0)
    x, y = (ta - ab * tb) / safe, (tb - ab * ta) / safe
    off = target - x[:, None] * a - y[:, None] * b
    near: np.ndarray = sound & (x > 1e-6) & (y > 1e-6) & (np.einsum("pv,pv->p", off, off) < _SAME)
    return near


def _unit(x: Array) -> Array:
    size = float(np.linalg.norm(x))
    out: Array = x / size if size > 0 else x
    return out


def _near(a: Array, b: Array) -> bool:
    return float(a @ b) > 1 - _SAME
