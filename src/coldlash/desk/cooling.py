"""How long until it is cold: readings taken one after the other, the wait, and the moment it ends.

The desk's use case behind the page and the terminal's countdown. Moments are aware datetimes; temperatures Celsius
inside, typed and shown in the owner's unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from coldlash.bench.cooldown import WHY, Cooling, Reading, cooling, is_ready, target_excess_k
from coldlash.desk.bench import say_minutes
from coldlash.desk.figures import Figure
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Engine
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.charts_curves import AxisWords, Curve, curves_chart
from coldlash.paper.svg import Drawing
from coldlash.units import f_from_c, parse_number

MOST_READINGS = 12
LONGEST_AGO_MIN = 24 * 60.0
LONGEST = timedelta(days=1)
FIRST_PAUSE_MIN = 20
"""Between the first two readings the fall must be larger than what a thermometer may be off by, minutes."""
CURVE_POINTS = 60


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading: when, and the engine's temperature, Celsius."""

    at: datetime
    temp_c: float

    def kept(self) -> str:
        """As it travels in an address: minutes since 1970 and Celsius."""
        return f"{self.at.timestamp() / 60:.2f}:{self.temp_c:.4g}"


@dataclass(frozen=True, slots=True)
class Cooldown:
    """What is known so far. ``until``: the moment it should be cold enough; None = not known yet, or ready now."""

    air_c: float
    taken: tuple[Taken, ...]
    ready: bool
    until: datetime | None
    sentences: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    curve: Drawing | None = None


def taken_from(kept: Sequence[str]) -> tuple[Taken, ...]:
    """Readings out of an address, in order of time. Raises InputError for one that was changed by hand."""
    found = []
    for text in kept:
        minute, colon, temp = text.partition(":")
        try:
            moment = datetime.fromtimestamp(float(minute) * 60, UTC)
            found.append(Taken(moment, float(temp)))
        except (ValueError, OverflowError, OSError):
            colon = ""
        if not colon:
            raise InputError(say("reading {text!r} is not one that this page made; begin again", text=text))
    if len(found) > MOST_READINGS:
        raise InputError(
            say(
                "{found} readings; the last {most_readings} are enough, begin again with fewer",
                found=len(found),
                most_readings=MOST_READINGS,
            )
        )
    return tuple(sorted(found, key=lambda each: each.at))


def air_from(text: str, shown: Shown) -> float:
    """The air's temperature as typed. Raises InputError."""
    if not text.strip():
        raise InputError(say("air: give the temperature of the air around the engine"))
    return shown.to_celsius(parse_number(text, "air"))


def new_reading(temp: str, ago: str, now: datetime, shown: Shown) -> Taken:
    """A reading as typed: temperature, and how many minutes ago it was taken (empty = now). Raises InputError."""
    minutes = parse_number(ago, say("minutes ago")) if ago.strip() else 0.0
    if not 0 <= minutes <= LONGEST_AGO_MIN:
        raise InputError(
            say(
                "minutes ago: {minutes:g} can’t be used; give 0 for now, up to {longest_ago_min:g} for a day",
                minutes=minutes,
                longest_ago_min=LONGEST_AGO_MIN,
            )
        )
    return Taken(
        now - timedelta(minutes=minutes), shown.to_celsius(parse_number(temp, say("engine temperature")))
    )


def cooldown(engine: Engine, air_c: float, taken: Sequence[Taken], now: datetime, shown: Shown) -> Cooldown:
    """What the readings say. Raises InputError for readings that can't be one cooling engine's, ConvergenceError."""
    if not taken:
        raise InputError(say("no reading yet: give the engine’s temperature"))
    last = taken[-1]
    if last.at - taken[0].at > LONGEST:
        raise InputError(
            say("these readings are more than a day apart, which is no one cooling; begin again")
        )
    target = target_excess_k(engine)
    cold = say(
        "Cold enough is {celsius}, {kelvin} above the air",
        celsius=shown.celsius(round(air_c + target, 1)),
        kelvin=shown.kelvin(target),
    ) + (say(": then its gaps are certain to 0.01 mm (.0004 in).") if engine.stack else ".")
    if is_ready(air_c, last.temp_c, engine):
        return Cooldown(air_c, tuple(taken), True, None, (say("It is cold enough now."), cold))
    if len(taken) == 1:
        said = say(
            "One reading: {celsius}. Take the next one after {first_pause_min} minutes or more; two "
            "tell how fast it cools.",
            celsius=shown.celsius(last.temp_c),
            first_pause_min=FIRST_PAUSE_MIN,
        )
        return Cooldown(air_c, tuple(taken), False, None, (said, cold))
    start = taken[0].at
    minutes = [Reading((each.at - start).total_seconds() / 60, each.temp_c) for each in taken]
    found = cooling(air_c, minutes, engine=engine)
    until = last.at + timedelta(minutes=found.wait_min)
    left = (until - now).total_seconds() / 60
    if left <= 0:
        said = say(
            "By these readings it is cold enough by now. Measure its temperature once more before "
            "the first valve."
        )
        return Cooldown(
            air_c,
            tuple(taken),
            False,
            until,
            (said, cold),
            _figures(found, shown),
            _curve(found, minutes, shown),
        )
    spread = say_minutes(found.wait_sd_min) if found.wait_sd_min >= 0.5 else say("a minute")
    sentences = (
        say(
            "Cold enough about {wait} after the last reading, give or take {spread}.",
            wait=say_minutes(found.wait_min),
            spread=spread,
        ),
        cold,
        say("Measure its temperature once more before the first valve."),
    )
    return Cooldown(
        air_c, tuple(taken), False, until, sentences, _figures(found, shown), _curve(found, minutes, shown)
    )


def _figures(found: Cooling, shown: Shown) -> tuple[Figure, ...]:
    return (
        Figure(
            say("Time constant"),
            (f"{say_minutes(found.tau_min)} ± {say_minutes(found.tau_sd_min)}",),
            WHY["tau_min"],
            say("In that time it loses 63 % of what it has above the air."),
        ),
        Figure(
            say("Wait from the last reading"),
            (f"{say_minutes(found.wait_min)} ± {say_minutes(found.wait_sd_min)}",),
            WHY["wait_min"],
        ),
        Figure(
            say("Cold enough"),
            (say("{kelvin} above the air", kelvin=shown.kelvin(found.target_k)),),
            WHY["target_k"],
            say("Uneven cooling makes the gap uncertain above that."),
        ),
    )


def _curve(found: Cooling, readings: Sequence[Reading], shown: Shown) -> Drawing:
    def degrees(c: float) -> float:
        return f_from_c(c) if shown.temperature == "F" else c

    end = max((found.last_minute + found.wait_min) * 1.1, found.last_minute + 10)
    minutes = [end * i / CURVE_POINTS for i in range(CURVE_POINTS + 1)]
    falling = [(minute, degrees(found.temp_c_at(minute))) for minute in minutes]
    level = [(0.0, degrees(found.target_c)), (end, degrees(found.target_c))]
    marks = [(reading.minute, "read") for reading in readings]
    if math.isfinite(found.wait_min) and found.wait_min > 0:
        marks.append((found.last_minute + found.wait_min, say("cold enough")))
    return curves_chart(
        say("How it cools"),
        [Curve("engine", falling, "series-a"), Curve(say("cold enough"), level, "series-c")],
        AxisWords(
            say("minutes from the first reading"), 0, (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0, 480.0)
        ),
        AxisWords(f"°{shown.temperature}", 0),
        marks=marks,
        words=shown.words(),
    )
