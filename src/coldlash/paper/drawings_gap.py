"""The gap scale: blades as ticks to scale, set point, limits, what is expected, what the blades said.

Left is tight, right is loose. A reading is a bar between two blade ticks; an end that no blade bounds is torn
off; what the book leads one to expect is a soft band; a gap that was not measured is left open, with the word.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.labels import Key, legend, spread, steps, target_mark
from coldlash.paper.readings import (
    Band,
    GapView,
    band_words,
    check_reading,
    limit_words,
    reading_words,
)
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing
from coldlash.paper.textwidth import text_width, wrap
from coldlash.paper.words import ENGLISH, Words
from coldlash.wear.record import GapInterval

LEAST_TOP_MM = 0.5
ROOM_BELOW_MM = 0.04
"""What is shown below 0, so that a bar can run out there: a valve that is held open has a gap below 0."""
LARGEST_MM = 20.0


@dataclass(frozen=True, slots=True)
class Scale:
    """Millimetres to pixels along a line."""

    low_mm: float
    high_mm: float
    start: float
    end: float

    def at(self, mm: float) -> float:
        """Where this gap stands; an infinite one at the end of the line."""
        share = (min(max(mm, self.low_mm), self.high_mm) - self.low_mm) / (self.high_mm - self.low_mm)
        return self.start + share * (self.end - self.start)


def scale_range(views: Sequence[GapView], least_top: float = LEAST_TOP_MM) -> tuple[float, float]:
    """The gaps (mm) that a scale for all these valves has to show: -0.04..``least_top``, more where needed.

    Raises InputError for a reading that can't be drawn or a gap beyond 20 mm.
    """
    low, high = -ROOM_BELOW_MM, least_top
    for view in views:
        shown: list[float] = []
        for reading, what in (
            (view.found, say("{valve} found", valve=view.valve)),
            (view.left, say("{valve} left", valve=view.valve)),
        ):
            check_reading(reading, what)
            if reading is not None:
                shown += [reading.lo, reading.hi]
        if view.expected is not None:
            shown += [view.expected.lo, view.expected.hi]
        spec = view.spec
        shown += [mm for mm in (spec.cold, spec.tight, spec.loose, view.set_to) if mm is not None]
        for mm in filter(math.isfinite, shown):
            if abs(mm) > LARGEST_MM:
                raise InputError(
                    say(
                        "{valve}: {mm:g} mm is no valve gap; gaps are drawn up to {largest_mm:g} mm",
                        valve=view.valve,
                        mm=mm,
                        largest_mm=LARGEST_MM,
                    )
                )
            if mm > high - 0.02:
                high = max(high, mm * 1.05 + 0.03)
            if mm < low + 0.01:
                low = min(low, mm - 0.03)
    if high > least_top:
        high = math.ceil(high * 20 - 1e-9) / 20
    return low, high


def gap_steps(low_mm: float, high_mm: float, most: int, words: Words) -> list[float]:
    """Gaps (mm) that are round numbers in the owner's unit."""
    return [words.gap_mm(v) for v in steps(words.gap_value(low_mm), words.gap_value(high_mm), most)]


def gap_scale(view: GapView, *, words: Words = ENGLISH, width: float = PHONE_WIDTH) -> Drawing:
    """One valve's gap, large. ``width`` in pixels, 240 or more."""
    if width < 240:
        raise InputError(say("a gap scale needs a width of 240 or more, not {width:g}", width=width))
    low, high = scale_range([view])
    scale = Scale(low, high, 4, width - 4)
    canvas = Canvas()
    lane_top, lane = 44.0, 60.0
    foot = lane_top + lane
    _outside_limits(canvas, scale, view, lane_top, lane)
    if view.expected is not None:
        _band(canvas, scale, view.expected, lane_top, lane)
    _limit_marks(canvas, scale, view, lane_top, foot, words)
    _readings(canvas, scale, view, lane_top, lane, words)
    _blade_ticks(canvas, scale, view, foot, words)
    height = _words_below(canvas, view, foot + 34, width, words)
    return Drawing("gap", width, height, *_told(view, words), canvas.body(), _table(view, words))


def compact_scale(
    canvas: Canvas, view: GapView, scale: Scale, top: float, height: float, *, ruler: bool = True
) -> None:
    """The same scale without words, on a drawing that says them: bar, band, limits and set point."""
    foot = top + height
    _outside_limits(canvas, scale, view, top, height, step=4)
    if view.expected is not None:
        _band(canvas, scale, view.expected, top, height)
    canvas.line(scale.start, foot, scale.end, foot, "ink")
    if ruler:
        for mm in steps(0, scale.high_mm, 7):
            canvas.line(scale.at(mm), foot, scale.at(mm), foot + 3, "hair")
    for limit, pen in ((view.spec.tight, "tight"), (view.spec.loose, "loose"), (view.spec.cold, "set")):
        if limit is not None:
            canvas.line(scale.at(limit), top - 2, scale.at(limit), foot + (3 if pen == "set" else 0), pen)
    middle = top + height / 2
    if view.found is None and view.left is None:
        canvas.rect(scale.at(0), middle - 4, scale.end - scale.at(0), 8, "unknown", radius=2)
    elif view.found is not None:
        bar(canvas, scale, view.found, middle, 0.46 * height, "measured", tick=0.92 * height)
    else:
        bar(canvas, scale, view.left, middle, 0.46 * height, "reread", tick=0.92 * height)


def bar(
    canvas: Canvas,
    scale: Scale,
    reading: GapInterval | None,
    middle: float,
    thick: float,
    pen: str,
    tick: float,
) -> None:
    """A reading as a bar between two blade ticks; an end that no blade bounds is torn off."""
    if reading is None:
        return
    x1, x2 = scale.at(reading.lo), scale.at(reading.hi)
    top, foot = middle - thick / 2, middle + thick / 2
    tooth = thick / 4
    left = [(x1, top), (x1, foot)]
    right = [(x2, foot), (x2, top)]
    if math.isinf(reading.lo):
        left = [(x1 + (tooth if i % 2 else 0), top + i * tooth) for i in range(5)]
    if math.isinf(reading.hi):
        right = [(x2 - (tooth if i % 2 else 0), foot - i * tooth) for i in range(5)]
    canvas.polyline(left + right, pen, closed=True)
    for mm in (reading.lo, reading.hi):
        if math.isfinite(mm):
            canvas.line(scale.at(mm), middle - tick / 2, scale.at(mm), middle + tick / 2, "blade")


def _outside_limits(
    canvas: Canvas, scale: Scale, view: GapView, top: float, height: float, step: float = 6
) -> None:
    if view.spec.tight is not None:
        canvas.hatch(scale.start, top, scale.at(view.spec.tight) - scale.start, height, step)
    if view.spec.loose is not None:
        canvas.hatch(scale.at(view.spec.loose), top, scale.end - scale.at(view.spec.loose), height, step)


def _band(canvas: Canvas, scale: Scale, band: Band, top: float, height: float) -> None:
    x1, x2 = scale.at(band.lo), scale.at(band.hi)
    canvas.rect(x1, top, x2 - x1, height, "band")
    if band.core_lo is not None and band.core_hi is not None:
        canvas.rect(
            scale.at(band.core_lo), top, scale.at(band.core_hi) - scale.at(band.core_lo), height, "band-core"
        )
    canvas.line(x1, top, x1, top + height, "band-edge")
    canvas.line(x2, top, x2, top + height, "band-edge")


def _limit_marks(canvas: Canvas, scale: Scale, view: GapView, top: float, foot: float, words: Words) -> None:
    marks = [
        (mm, pen, word)
        for mm, pen, word in (
            (view.spec.tight, "tight", words.say("tight")),
            (view.spec.cold, "set", words.say("set")),
            (view.spec.loose, "loose", words.say("loose")),
        )
        if mm is not None
    ]
    figures = [words.gap(mm) for mm, _, _ in marks]
    sizes = [
        max(text_width(word, 13), text_width(figure, 15, 600))
        for (_, _, word), figure in zip(marks, figures, strict=True)
    ]
    places = spread([scale.at(mm) for mm, _, _ in marks], sizes, 0, scale.end + 4, 8)
    for (mm, pen, word), figure, place in zip(marks, figures, places, strict=True):
        canvas.text(place, 12, word, 13, "text-soft", "middle")
        canvas.text(place, 28, figure, 15, "text", "middle", 600)
        canvas.polyline([(place, 33), (scale.at(mm), top - 2)], "hair")
        canvas.line(scale.at(mm), top - 2, scale.at(mm), foot, pen)
    x = scale.at(view.spec.cold)
    canvas.polyline([(x - 5, top - 4), (x + 5, top - 4), (x, top + 4)], "measured", closed=True)


def _readings(canvas: Canvas, scale: Scale, view: GapView, top: float, lane: float, words: Words) -> None:
    middle = top + lane / 2
    again = view.left is not None or view.set_to is not None
    if view.found is None and not again:
        start = scale.at(0)
        canvas.rect(start, middle - 12, scale.end - start, 24, "unknown", radius=3)
        canvas.backed_text((start + scale.end) / 2, middle + 5.5, words.say("not measured"), 16, "middle")
        return
    upper, lower = (top + 0.3 * lane, top + 0.74 * lane) if again else (middle, middle)
    thick, tick = (18, 28) if again else (24, 40)
    if view.found is None:
        canvas.rect(scale.at(0), upper - 9, scale.end - scale.at(0), 18, "unknown", radius=3)
    bar(canvas, scale, view.found, upper, thick, "measured", tick)
    bar(canvas, scale, view.left, lower, thick, "reread", tick)
    if view.set_to is not None:
        target_mark(canvas, scale.at(view.set_to), lower)


def _blade_ticks(canvas: Canvas, scale: Scale, view: GapView, foot: float, words: Words) -> None:
    canvas.line(scale.start, foot, scale.end, foot, "outline")
    blades = sorted({mm for mm in view.blades_mm if 0 < mm <= scale.high_mm})
    ruler = gap_steps(0, scale.high_mm, 12, words)
    if blades:
        for mm in blades:
            canvas.line(scale.at(mm), foot, scale.at(mm), foot + 9, "tick")
    else:
        for mm in ruler:
            canvas.line(scale.at(mm), foot, scale.at(mm), foot + 6, "hair")
    canvas.line(scale.at(0), foot - 4, scale.at(0), foot + 9, "tick")
    ends = [r.lo for r in (view.found, view.left) if r is not None]
    ends += [r.hi for r in (view.found, view.left) if r is not None]
    size = 13.0
    unit = words.gap_unit
    taken = [(scale.end - text_width(unit, size), scale.end)]
    canvas.text(scale.end, foot + 24, unit, size, "text-soft", "end")
    first = [mm for mm in ends if math.isfinite(mm)] + [0.0]
    tenths = [mm for mm in (blades or ruler) if abs(mm * 10 - round(mm * 10)) < 1e-6]
    done: set[float] = set()
    for mm in [*first, *tenths, *(blades or ruler)]:
        text = "0" if mm == 0 else words.gap(mm)
        half = text_width(text, size) / 2
        x = min(max(scale.at(mm), half), scale.end + 4 - half)
        if mm in done or any(x - half < b + 6 and x + half > a - 6 for a, b in taken):
            continue
        done.add(mm)
        taken.append((x - half, x + half))
        canvas.text(x, foot + 24, text, size, "text" if mm in first else "text-soft", "middle")


def _words_below(canvas: Canvas, view: GapView, top: float, width: float, words: Words) -> float:
    """The lines under the scale; returns the height of the whole drawing."""
    y = top
    mark = "found"
    if view.found is None:
        mark = "unknown"
    elif view.found.lo == view.found.hi:
        mark = "drag"
    strong = [(mark, words.say("Found: {reading}", reading=reading_words(view.found, words)))]
    if view.left is not None:
        strong.append(("reread", words.say("Left: {reading}", reading=reading_words(view.left, words))))
    if view.set_to is not None:
        strong.append(("target", words.say("Set on the {blade} blade", blade=words.gap(view.set_to))))
    for mark, text in strong:
        lines = wrap(text, width - 34, 17, 600)
        legend(canvas, [Key(mark, "")], 4, y + 2, width, 12)
        for line in lines:
            canvas.text(34, y + 18, line, 17, weight=600)
            y += 23
        y += 3
    keys = []
    if view.expected is not None:
        keys.append(Key("band", words.say("expected {band}", band=band_words(view.expected, words))))
    if view.spec.tight is not None or view.spec.loose is not None:
        keys.append(Key("hatched", words.say("outside the limits")))
    y += 2 + legend(canvas, keys, 4, y, width - 4, 14)
    return y + 2


def _told(view: GapView, words: Words) -> tuple[str, str]:
    title = words.say("Gap of {valve}", valve=view.valve)
    said = [
        words.say("Found: {reading}.", reading=reading_words(view.found, words)),
        words.say("Figures in {unit}.", unit=words.gap_unit),
    ]
    if view.left is not None:
        said.append(words.say("Left: {reading}.", reading=reading_words(view.left, words)))
    if view.set_to is not None:
        said.append(words.say("Set on the {blade} blade.", blade=words.gap_and_unit(view.set_to)))
    if view.expected is not None:
        said.append(words.say("Expected: {band}.", band=band_words(view.expected, words)))
    else:
        said.append(words.say("Nothing is expected yet: the book says too little."))
    said.append(limit_words(view.spec, words))
    return title, " ".join(said)


def _table(view: GapView, words: Words) -> tuple[tuple[str, ...], ...]:
    def row(name: str, lo: float | None, hi: float | None) -> tuple[str, str, str]:
        first, second = ("–" if mm is None or math.isinf(mm) else words.gap(mm) for mm in (lo, hi))
        return name, first, second

    unit = words.gap_unit
    rows = [(words.say("what"), words.say("from, {unit}", unit=unit), words.say("to, {unit}", unit=unit))]
    if view.found is None:
        rows.append((words.say("found"), words.say("not measured"), words.say("not measured")))
    else:
        rows.append(row(words.say("found"), view.found.lo, view.found.hi))
    if view.left is not None:
        rows.append(row(words.say("left"), view.left.lo, view.left.hi))
    if view.set_to is not None:
        rows.append(row(words.say("set on"), view.set_to, view.set_to))
    if view.expected is not None:
        rows.append((words.say("expected"), words.about(view.expected.lo), words.about(view.expected.hi)))
    rows.append(row(words.say("limits"), view.spec.tight, view.spec.loose))
    rows.append(row(words.say("set point"), view.spec.cold, view.spec.cold))
    return tuple(rows)
