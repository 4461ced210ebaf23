"""A valve's history: what the blades said at each visit, what was set, how it likely ran, where it is going.

The gap scale turned into time: gap upward, distance or date to the right. Found readings are bars between two
blades; what it was set on is a target, drawn as an open flag; the smoothed band and the forecast are soft.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from coldlash.engine.spec import GapSpec, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.drawings_gap import Scale, gap_steps, scale_range
from coldlash.paper.labels import Key, legend, spread, steps, target_mark
from coldlash.paper.readings import (
    BandPoint,
    GapView,
    band_words,
    check_reading,
    limit_words,
    reading_words,
)
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing
from coldlash.paper.textwidth import text_width
from coldlash.paper.words import ENGLISH, Words
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

Axis = Literal["distance", "date"]

LEAST_TOP_MM = 0.25


@dataclass(frozen=True, slots=True)
class Ahead:
    """A service to come: at this distance, and on this day where one is projected."""

    label: str
    distance_km: float
    day: date | None = None


@dataclass(frozen=True, slots=True)
class ValveHistory:
    """All that is drawn of one valve over time.

    ``smoothed``: runs of bands, a new run after each setting or restart (the gap jumps there). ``forecast``:
    the fan, from now on. ``ahead``: the services to come.
    """

    valve: Valve
    spec: GapSpec
    visits: Sequence[VisitRecord]
    smoothed: Sequence[Sequence[BandPoint]] = ()
    forecast: Sequence[BandPoint] = ()
    ahead: Sequence[Ahead] = ()


@dataclass(frozen=True, slots=True)
class _Across:
    """The horizontal axis: the owner's distance, or years."""

    kind: Axis
    scale: Scale
    known: bool

    def at(self, distance_km: float, day: date | None, words: Words) -> float:
        return self.scale.at(_across_value(self.kind, distance_km, day, words))


def _across_value(kind: Axis, distance_km: float, day: date | None, words: Words) -> float:
    if kind == "distance":
        return words.distance_value(distance_km)
    if day is None:
        raise InputError(
            say(
                "the point at {distance_km:g} km has no day, so it can't stand on an axis of dates; "
                "give its day or draw over distance",
                distance_km=distance_km,
            )
        )
    return _years(day)


def _years(day: date) -> float:
    """A day as a year with its share: for the axis only."""
    first = date(day.year, 1, 1).toordinal()
    return day.year + (day.toordinal() - first) / (date(day.year, 12, 31).toordinal() - first + 1)


def history(
    valve: ValveHistory, *, axis: Axis = "distance", words: Words = ENGLISH, width: float = PHONE_WIDTH
) -> Drawing:
    """The chart. ``width`` in pixels, 300 or more. Raises InputError, also for a point without a day on dates."""
    if width < 300:
        raise InputError(say("a history needs a width of 300 or more, not {width:g}", width=width))
    records = [(visit, visit.valves[valve.valve]) for visit in valve.visits if valve.valve in visit.valves]
    for visit, record in records:
        check_reading(record.found, say("{valve} found on {day}", valve=valve.valve, day=visit.day))
        check_reading(record.left, say("{valve} left on {day}", valve=valve.valve, day=visit.day))
    low, high = _range(valve, records)
    canvas = Canvas()
    left, right_room = 38.0, _limit_room(valve.spec, words)
    top, foot = 20.0, 20.0 + (210.0 if width < 500 else 260.0)
    up = Scale(low, high, foot, top)
    across = _across(valve, records, axis, left + 6, width - right_room, words)
    edges = (left, width - right_room + 4)
    _grid(canvas, up, edges, top, foot, words)
    _bands(canvas, valve, across, up, words)
    _ahead(canvas, valve, across, top, foot, words)
    _limits(canvas, valve.spec, up, edges, width, words)
    seen = _visits(canvas, records, across, up, words)
    if across.known:
        _x_axis(canvas, across, edges, foot, words)
    else:
        canvas.line(edges[0], foot, edges[1], foot, "ink")
        said = words.say("no visit written down yet")
        canvas.backed_text((edges[0] + edges[1]) / 2, (top + foot) / 2, said, 15, "middle")
    y = foot + 44
    height = y + legend(canvas, _keys(valve, seen, words), 2, y, width - 4, 13) + 4
    title = words.say("History of {valve}", valve=valve.valve)
    return Drawing(
        "history", width, height, title, _told(valve, records, words), canvas.body(), _table(records, words)
    )


def _range(valve: ValveHistory, records: Sequence[tuple[VisitRecord, ValveRecord]]) -> tuple[float, float]:
    views = [GapView(str(valve.valve), valve.spec)]
    for _, record in records:
        views.append(GapView(str(valve.valve), valve.spec, record.found, None, record.left, record.set_to))
    for run in (*valve.smoothed, valve.forecast):
        views += [GapView(str(valve.valve), valve.spec, expected=point.band) for point in run]
    return scale_range(views, LEAST_TOP_MM)


def _across(
    valve: ValveHistory,
    records: Sequence[tuple[VisitRecord, ValveRecord]],
    kind: Axis,
    left: float,
    right: float,
    words: Words,
) -> _Across:
    values = [_across_value(kind, visit.distance_km, visit.day, words) for visit, _ in records]
    for run in (*valve.smoothed, valve.forecast):
        values += [_across_value(kind, point.distance_km, point.day, words) for point in run]
    values += [_across_value(kind, ahead.distance_km, ahead.day, words) for ahead in valve.ahead]
    low, high = min(values, default=0.0), max(values, default=1.0)
    least = 2.0 if kind == "date" else 1000.0
    if high - low < least:
        low, high = (low + high - least) / 2, (low + high + least) / 2
    spare = 0.03 * (high - low)
    return _Across(kind, Scale(low - spare, high + spare, left, right), bool(values))


def _grid(
    canvas: Canvas, up: Scale, edges: tuple[float, float], top: float, foot: float, words: Words
) -> None:
    for mm in gap_steps(up.low_mm if up.low_mm < -0.05 else 0.0, up.high_mm, 8, words):
        y = up.at(mm)
        canvas.line(edges[0], y, edges[1], y, "grid")
        canvas.text(edges[0] - 5, y + 4.5, "0" if abs(mm) < 1e-9 else words.gap(mm), 12, "text-soft", "end")
    canvas.text(2, top - 8, words.gap_unit, 12, "text-soft")
    canvas.line(edges[0], top, edges[0], foot, "ink")


def _limit_room(spec: GapSpec, words: Words) -> float:
    texts = [words.say("tight"), words.say("set"), words.say("loose")]
    figures = [words.gap(mm) for mm in (spec.tight, spec.cold, spec.loose) if mm is not None]
    return max([text_width(t, 12) for t in texts] + [text_width(f, 13, 600) for f in figures]) + 12


def _limits(
    canvas: Canvas, spec: GapSpec, up: Scale, edges: tuple[float, float], width: float, words: Words
) -> None:
    marks = [
        (mm, pen, word)
        for mm, pen, word in (
            (spec.loose, "loose", words.say("loose")),
            (spec.cold, "set", words.say("set")),
            (spec.tight, "tight", words.say("tight")),
        )
        if mm is not None
    ]
    wanted = [up.at(mm) for mm, _, _ in marks]
    places = spread(wanted, [28.0] * len(marks), 0, max(up.start, up.end) + 6, 1)
    for (mm, pen, word), place in zip(marks, places, strict=True):
        canvas.line(edges[0], up.at(mm), edges[1], up.at(mm), "set-thin" if pen == "set" else pen)
        canvas.text(width - 1, place - 2, word, 12, "text-soft", "end")
        canvas.text(width - 1, place + 11, words.gap(mm), 13, "text", "end", 600)


def _bands(canvas: Canvas, valve: ValveHistory, across: _Across, up: Scale, words: Words) -> None:
    for run in valve.smoothed:
        _ribbon(canvas, run, across, up, words, "band", "band-core", "band-mid-soft")
    _ribbon(canvas, valve.forecast, across, up, words, "fan", "fan-core", None)
    if len(valve.forecast) > 1:
        xs = [across.at(point.distance_km, point.day, words) for point in valve.forecast]
        for ends in ([p.band.lo for p in valve.forecast], [p.band.hi for p in valve.forecast]):
            canvas.polyline([(x, up.at(end)) for x, end in zip(xs, ends, strict=True)], "fan-edge")


def _ribbon(
    canvas: Canvas,
    run: Sequence[BandPoint],
    across: _Across,
    up: Scale,
    words: Words,
    pen: str,
    core: str,
    edge: str | None,
) -> None:
    if not run:
        return
    xs = [across.at(point.distance_km, point.day, words) for point in run]
    if len(run) == 1:  # known at one place only: a short piece, so that it can be seen
        xs = [xs[0] - 3, xs[0] + 3]
        run = (run[0], run[0])
    lows = [(x, up.at(p.band.lo)) for x, p in zip(xs, run, strict=True)]
    highs = [(x, up.at(p.band.hi)) for x, p in zip(xs, run, strict=True)]
    canvas.polyline(highs + lows[::-1], pen, closed=True)
    if all(p.band.core_lo is not None and p.band.core_hi is not None for p in run):
        inner = [(x, up.at(p.band.core_lo or 0.0)) for x, p in zip(xs, run, strict=True)]
        outer = [(x, up.at(p.band.core_hi or 0.0)) for x, p in zip(xs, run, strict=True)]
        canvas.polyline(outer + inner[::-1], core, closed=True)
    if edge is not None:
        canvas.polyline(lows, edge)
        canvas.polyline(highs, edge)


def _ahead(
    canvas: Canvas, valve: ValveHistory, across: _Across, top: float, foot: float, words: Words
) -> None:
    marks = sorted((across.at(a.distance_km, a.day, words), a.label) for a in valve.ahead)
    sizes = [text_width(label, 12) for _, label in marks]
    places = spread([x for x, _ in marks], sizes, 40, across.scale.end + 4, 6)
    for (x, label), place in zip(marks, places, strict=True):
        canvas.line(x, top, x, foot, "ahead")
        canvas.text(place, top - 8, label, 12, "text-soft", "middle")


def _visits(
    canvas: Canvas,
    records: Sequence[tuple[VisitRecord, ValveRecord]],
    across: _Across,
    up: Scale,
    words: Words,
) -> set[str]:
    """Draws every visit; returns which kinds of mark were used."""
    xs = [across.at(visit.distance_km, visit.day, words) for visit, _ in records]
    gaps = [b - a for a, b in zip(sorted(xs), sorted(xs)[1:], strict=False) if b - a > 0.01]
    thick = max(1.6, min(7.0, 0.5 * min(gaps, default=20.0)))
    shift = thick / 2 + 1
    seen: set[str] = set()
    for (_, record), x in zip(records, xs, strict=True):
        if record.afresh:
            canvas.line(x, min(up.start, up.end), x, max(up.start, up.end), "reset")
            seen.add("reset")
        if record.found is None and record.left is None and record.set_to is None:
            height = abs(up.at(0) - up.at(up.high_mm))
            canvas.rect(x - thick / 2, up.at(up.high_mm), thick, height, "unknown")
            seen.add("unknown")
        if record.found is not None:
            upright(canvas, up, record.found, x, thick, "measured")
            seen.add("found-upright")
        if record.left is not None:
            upright(canvas, up, record.left, x + shift + thick / 2, thick, "reread")
            seen.add("reread-upright")
        if record.set_to is not None:
            target_mark(canvas, x + shift, up.at(record.set_to))
            seen.add("target")
    return seen


def upright(canvas: Canvas, up: Scale, reading: GapInterval, x: float, thick: float, pen: str) -> None:
    """A reading as an upright bar between two blades, torn off where no blade bounds it."""
    y1, y2 = up.at(reading.lo), up.at(reading.hi)
    left, right = x - thick / 2, x + thick / 2
    tooth = max(thick / 2, 2.0)
    lower = [(left, y1), (right, y1)]
    upper = [(right, y2), (left, y2)]
    if math.isinf(reading.lo):
        lower = [(left, y1), (x, y1 - tooth), (right, y1)]
    if math.isinf(reading.hi):
        upper = [(right, y2), (x, y2 + tooth), (left, y2)]
    canvas.polyline(lower + upper, pen, closed=True)
    cap = thick / 2 + min(2.5, thick / 2)
    for mm in (reading.lo, reading.hi):
        if math.isfinite(mm):
            canvas.line(x - cap, up.at(mm), x + cap, up.at(mm), "cap")


def _x_axis(canvas: Canvas, across: _Across, edges: tuple[float, float], foot: float, words: Words) -> None:
    canvas.line(edges[0], foot, edges[1], foot, "ink")
    room = edges[1] - edges[0]
    if across.kind == "distance":
        ticks = [
            (v, words.grouped(v))
            for v in steps(across.scale.low_mm, across.scale.high_mm, max(2, int(room / 62)))
        ]
        unit: str = words.distance_unit
    else:
        years = steps(across.scale.low_mm, across.scale.high_mm, max(2, int(room / 48)))
        ticks = [(v, f"{v:.0f}") for v in years if abs(v - round(v)) < 1e-9]
        unit = words.say("year")
    for value, text in ticks:
        x = across.scale.at(value)
        canvas.line(x, foot, x, foot + 5, "tick")
        half = text_width(text, 12) / 2
        canvas.text(min(max(x, half), edges[1] + 20 - half), foot + 18, text, 12, "text-soft", "middle")
    canvas.text((edges[0] + edges[1]) / 2, foot + 34, unit, 12, "text-soft", "middle")


def _keys(valve: ValveHistory, seen: set[str], words: Words) -> list[Key]:
    every = [
        ("found-upright", words.say("found, blade to blade")),
        ("reread-upright", words.say("left, read again")),
        ("target", words.say("set on this blade")),
        ("unknown", words.say("not measured")),
        ("reset", words.say("part replaced or worked on: starts afresh")),
    ]
    keys = [Key(mark, text) for mark, text in every if mark in seen]
    if valve.smoothed:
        keys.append(Key("band", words.say("likely gap")))
    if valve.forecast:
        keys.append(Key("fan", words.say("forecast")))
    return keys


def _told(valve: ValveHistory, records: Sequence[tuple[VisitRecord, ValveRecord]], words: Words) -> str:
    measured = [(v, r) for v, r in records if r.found is not None]
    said = []
    if not records:
        said.append(words.say("No visit has been written down yet."))
    else:
        first, last = records[0][0], records[-1][0]
        said.append(
            words.say(
                "{count} visits from {first} ({first_km}) to {last} ({last_km}), measured at {measured} of them.",
                count=len(records),
                first=words.day(first.day),
                first_km=words.distance(first.distance_km),
                last=words.day(last.day),
                last_km=words.distance(last.distance_km),
                measured=len(measured),
            )
        )
    if measured:
        visit, record = measured[-1]
        said.append(
            words.say(
                "Last found on {day}: {reading}.",
                day=words.day(visit.day),
                reading=reading_words(record.found, words),
            )
        )
    resets = [words.day(v.day) for v, r in records if r.afresh]
    if resets:
        said.append(words.say("Starts afresh on {days}.", days=", ".join(resets)))
    runs = [run for run in valve.smoothed if run]
    if runs:
        said.append(words.say("At the end likely {band}.", band=band_words(runs[-1][-1].band, words)))
    if valve.forecast:
        point = valve.forecast[-1]
        said.append(
            words.say(
                "Forecast at {distance}: {band}.",
                distance=words.distance(point.distance_km),
                band=band_words(point.band, words),
            )
        )
    said.append(limit_words(valve.spec, words))
    return " ".join(said)


def _table(records: Sequence[tuple[VisitRecord, ValveRecord]], words: Words) -> tuple[tuple[str, ...], ...]:
    rows = [
        (
            words.say("date"),
            words.say("distance"),
            words.say("found, {unit}", unit=words.gap_unit),
            words.say("set on, {unit}", unit=words.gap_unit),
            words.say("left, {unit}", unit=words.gap_unit),
            words.say("started afresh"),
        )
    ]
    for visit, record in records:
        rows.append(
            (
                words.day(visit.day),
                words.distance(visit.distance_km),
                reading_words(record.found, words),
                "–" if record.set_to is None else words.gap(record.set_to),
                "–" if record.left is None else reading_words(record.left, words),
                words.say("yes") if record.afresh else "–",
            )
        )
    return tuple(rows)
