"""Hand-made attributions for tests: ``from tests.wear.attributions import attribution, cause``."""

from __future__ import annotations

from collections.abc import Sequence

from coldlash.engine.spec import Valve
from coldlash.wear.causes import Attribution, Cause, Combination, Part
from coldlash.wear.trend import Estimate


def cause(
    name: str, variants: Sequence[str], where: Sequence[str], probability: float, mm: float = 0.08
) -> Cause:
    """A cause of ``mm`` at these valves, with nothing else known of it."""
    tighter = name in ("seat_recession_or_stretch", "head_settling")
    return Cause(
        name,
        tuple(Valve.parse(v) for v in where),
        probability,
        Estimate(mm, 0.02),
        "tighter" if tighter else "looser",
        "jump",
        1,
        0.0,
        None,
        tuple(variants),
        (),
        "",
    )


def attribution(p_something: float, *alone: tuple[Cause, str, float]) -> Attribution:
    """One cause at a time: (cause, variant, weight); causes in the order they first occur."""
    causes = tuple(dict.fromkeys(c for c, _, _ in alone))
    combinations = tuple(Combination((Part(causes.index(c), v),), w) for c, v, w in alone)
    return Attribution(p_something, 0.05, causes, combinations, {})
