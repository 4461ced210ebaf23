"""The figures the trend starts from. Every one is an invented starting point, not a published rate.

They are meant to be learnt (``wear.learn``) once an owner has more than a few visits; wherever they are shown,
say that they are invented. Units: mm, 1000 km, kelvin.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from coldlash.engine.spec import Kind
from coldlash.errors import InputError
from coldlash.language import say

REFERENCE_C = 20.0
"""Gaps are compared with the engine evenly at this temperature, C."""

KINDS: tuple[Kind, Kind] = ("I", "E")

Coefficient = Mapping[Kind, tuple[float, float]]
"""Kind to (mean, sd) of the gap change per kelvin of the whole engine, mm/K."""


@dataclass(frozen=True, slots=True)
class TrendSettings:
    """Starting points of the trend, all invented. sds in mm unless said.

    ``wander``: sd of the gap's random walk, mm per sqrt(1000 km). ``feel``: sd of one go / no-go decision.
    ``drag``: sd of "drag on this blade". ``offset``: sd of what all readings of one session share.
    ``setting``: sd of one setting. ``hand``: sd of a hand's setting bias (left gap minus the blade).
    ``misread``: probability that a reading says nothing. ``drift_*``: mm per 1000 km: the pooled mean of a
    kind ~ N(mean, sd^2), each valve around it with ``spread``. ``start``: sd of a gap about the cold gap
    before anything was read. ``unknown_temp_sd``: K about 20 C when the temperature was not written down.
    """

    wander: float = 0.004
    feel: float = 0.015
    drag: float = 0.015
    offset: float = 0.010
    setting: float = 0.012
    hand: float = 0.010
    misread: float = 0.005
    drift_mean_intake: float = -0.0015
    drift_mean_exhaust: float = -0.003
    drift_sd_intake: float = 0.0015
    drift_sd_exhaust: float = 0.002
    drift_spread_intake: float = 0.0010
    drift_spread_exhaust: float = 0.0015
    start: float = 0.1
    unknown_temp_sd: float = 8.0

    def __post_init__(self) -> None:
        for f in fields(self):
            value = getattr(self, f.name)
            if not math.isfinite(value):
                raise InputError(
                    say("trend setting {name} is {value}; give a finite number", name=f.name, value=value)
                )
            if value < 0 and not f.name.startswith("drift_mean"):
                raise InputError(
                    say("trend setting {name} is {value}; it can't be negative", name=f.name, value=value)
                )
        for name in ("feel", "drag", "start"):
            if getattr(self, name) <= 0:
                raise InputError(say("trend setting {name} is 0; give a positive number of mm", name=name))
        if self.misread >= 1:
            raise InputError(
                say("trend setting misread is {misread}; give a probability below 1", misread=self.misread)
            )


DEFAULTS = TrendSettings()


def check_coefficient(coefficient: Coefficient | None) -> None:
    """Raise InputError unless every kind has a finite mean and a finite sd >= 0 (mm/K)."""
    if coefficient is None:
        return
    for kind in KINDS:
        if kind not in coefficient:
            raise InputError(
                say("the temperature coefficient has no kind {kind}; give (mean, sd) for I and E", kind=kind)
            )
        mean, sd = coefficient[kind]
        if not (math.isfinite(mean) and math.isfinite(sd) and sd >= 0):
            raise InputError(
                say(
                    "the temperature coefficient of {kind} is ({mean}, {sd}); give a finite mean and sd "
                    "in mm/K",
                    kind=kind,
                    mean=mean,
                    sd=sd,
                )
            )
