"""Zone temperatures to begin with: an engine at work, and one that is half cooled.

Plausible round figures for an air-cooled engine, from memory and judgement, no source: they show what heat does
on this engine; the owner's own temperatures take their place.
"""

from __future__ import annotations

from coldlash.engine.heat import zones_of
from coldlash.engine.spec import Engine
from coldlash.language import mark, table

TYPICAL_HOT_C: dict[str, float] = {
    "crankcase": 85.0,
    "cylinder": 150.0,
    "head": 160.0,
    "intake_valve": 180.0,
    "exhaust_valve": 300.0,
    "lifter": 85.0,
    "pushrod": 85.0,
    "oil": 90.0,
}
"""Celsius, an air-cooled engine at a steady road load."""

HALF_COOLED_EXCESS_K: dict[str, float] = {
    "crankcase": 25.0,
    "lifter": 25.0,
    "pushrod": 25.0,
    "oil": 25.0,
    "cylinder": 45.0,
    "head": 45.0,
    "intake_valve": 45.0,
    "exhaust_valve": 45.0,
}
"""K above the air some time after stopping: what lies around the pushrods cools before head and cylinder do."""

WORDS: dict[str, str] = {
    "crankcase": mark("crankcase"),
    "cylinder": mark("cylinder"),
    "head": mark("head"),
    "intake_valve": mark("intake valve"),
    "exhaust_valve": mark("exhaust valve"),
    "lifter": mark("lifter"),
    "pushrod": mark("pushrod"),
    "oil": mark("oil"),
}


def typical_hot(engine: Engine) -> dict[str, float]:
    """Celsius for each of the engine's zones that has a typical figure; a zone of another name is left out."""
    return {zone: TYPICAL_HOT_C[zone] for zone in zones_of(engine) if zone in TYPICAL_HOT_C}


def half_cooled(engine: Engine, air_c: float = 20.0) -> dict[str, float] | None:
    """Celsius for each of the engine's zones when it is half cooled; None when one has no figure or there is none."""
    zones = zones_of(engine)
    if not zones or any(zone not in HALF_COOLED_EXCESS_K for zone in zones):
        return None
    return {zone: air_c + HALF_COOLED_EXCESS_K[zone] for zone in zones}


def zone_words(zone: str) -> str:
    """A zone's name as one says it."""
    return table(WORDS[zone]) if zone in WORDS else zone.replace("_", " ")
