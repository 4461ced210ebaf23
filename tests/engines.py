"""Engines for tests, built directly (no engine file): ``from tests.engines import make_engine``.

The default events, gaps and linkage are typical figures from the engine file of the contract (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from coldlash.engine.spec import Engine, GapSpec, Linkage, Pulley, Valve, ValveEvents

TYPICAL_EVENTS = ValveEvents(10.0, 40.0, 45.0, 8.0)


def make_engine(
    firing_order: Sequence[int],
    gaps: Sequence[float] | None = None,
    heads: Sequence[Sequence[int]] | None = None,
    *,
    events: ValveEvents = TYPICAL_EVENTS,
    marks: Sequence[float] = (0.0,),
    diameter_mm: float | None = 175.0,
    shared_lobes: Sequence[tuple[str, str]] = (),
    rocker_ratio: float = 1.1,
    name: str = "Test engine",
    **fields: Any,
) -> Engine:
    """An engine from its firing order; even firing and one common head unless said.

    ``gaps``: crank degrees from each firing to the next. ``marks``: crank degrees in [0, 360). Any other field
    of ``Engine`` may be given by name (``turns``, ``linkage``, ``stack``, ...).
    """
    count = len(firing_order)
    fields.setdefault("turns", "clockwise")
    fields.setdefault("gaps", {"I": GapSpec(0.15, 0.05, 0.30), "E": GapSpec(0.15, 0.05, 0.30)})
    fields.setdefault("linkage", Linkage(rocker_ratio, "valve", 1.0))
    fields.setdefault("pulley", Pulley(diameter_mm, tuple(marks)))
    return Engine(
        name=name,
        cylinders=count,
        firing_order=tuple(firing_order),
        firing_gaps_deg=tuple(gaps) if gaps is not None else (720.0 / count,) * count,
        heads=tuple(tuple(head) for head in heads) if heads is not None else (tuple(range(1, count + 1)),),
        shared_lobes=tuple((Valve.parse(a), Valve.parse(b)) for a, b in shared_lobes),
        events=events,
        **fields,
    )


def flat_four(**fields: Any) -> Engine:
    """Flat-four 1-4-3-2, heads 1+2 and 3+4, opposite cylinders share lobes (common practice)."""
    fields.setdefault("heads", [(1, 2), (3, 4)])
    fields.setdefault("shared_lobes", [("I1", "I3"), ("E1", "E3"), ("I2", "I4"), ("E2", "E4")])
    return make_engine((1, 4, 3, 2), **fields)


def flat_twin(**fields: Any) -> Engine:
    """Opposed twin: both pistons reach TDC together, firing a full turn apart."""
    return make_engine((1, 2), heads=[(1,), (2,)], **fields)


def flat_six(**fields: Any) -> Engine:
    """Flat-six 1-6-2-4-3-5."""
    return make_engine((1, 6, 2, 4, 3, 5), heads=[(1, 2, 3), (4, 5, 6)], **fields)


def inline_four(order: Sequence[int] = (1, 3, 4, 2), **fields: Any) -> Engine:
    """Inline-four, 1-3-4-2 unless said."""
    return make_engine(order, **fields)


def inline_six(order: Sequence[int] = (1, 5, 3, 6, 2, 4), **fields: Any) -> Engine:
    """Inline-six, 1-5-3-6-2-4 unless said."""
    return make_engine(order, **fields)


def v8(**fields: Any) -> Engine:
    """V8 1-8-4-3-6-5-7-2, odd cylinders on one bank."""
    return make_engine((1, 8, 4, 3, 6, 5, 7, 2), heads=[(1, 3, 5, 7), (2, 4, 6, 8)], **fields)


def v12(**fields: Any) -> Engine:
    """V12 firing every 60 degrees, banks 1-6 and 7-12, each bank in an inline-six's order."""
    return make_engine((1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10), heads=[range(1, 7), range(7, 13)], **fields)


def single(**fields: Any) -> Engine:
    """One cylinder."""
    return make_engine((1,), **fields)


def v_twin_90(**fields: Any) -> Engine:
    """90 degree V-twin on one crankpin: cylinder 2 fires 270 after cylinder 1."""
    return make_engine((1, 2), (270.0, 450.0), heads=[(1,), (2,)], **fields)


def parallel_twin_180(**fields: Any) -> Engine:
    """Parallel twin with a 180 degree crank: fires at 0 and 180."""
    return make_engine((1, 2), (180.0, 540.0), **fields)
