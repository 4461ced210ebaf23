"""Curves over an angle: lift of the valves with the ramp shaded; a fit with what it leaves over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.drawings_gap import Scale
from coldlash.paper.labels import Key, legend, steps
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing, Point, num
from coldlash.paper.textwidth import text_width
from coldlash.paper.words import ENGLISH, Words

Style = Literal["series-a", "series-b", "series-c", "series-d"]
STYLES: tuple[Style, ...] = ("series-a", "series-b", "series-c", "series-d")


@dataclass(frozen=True, slots=True)
class Curve:
    """One line: points (x, y), x rising, in the units of the axes; told apart by the kind of its line first.

    ``key``: its words in the legend where they are not the label; lines alike in style and key share one entry.
    """

    label: str
    points: Sequence[Point]
    style: Style = "series-a"
    key: str = ""


@dataclass(frozen=True, slots=True)
class Shade:
    """A stretch of the horizontal axis to shade, such as a ramp."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class AxisWords:
    """What stands along an axis, how many decimals its figures have, and the steps they may go in."""

    name: str
    places: int = 0
    every: tuple[float, ...] = ()


CRANK_STEPS = (10.0, 30.0, 45.0, 60.0, 90.0, 180.0)
"""Steps that suit crank and cam degrees."""


def curves_chart(
    title: str,
    curves: Sequence[Curve],
    across: AxisWords,
    up: AxisWords,
    *,
    shades: Sequence[Shade] = (),
    shade_words: str = "",
    marks: Sequence[tuple[float, str]] = (),
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """Lines over one axis, such as lift (mm) against crank angle (degrees), ``shades`` behind them.

    ``marks``: places along the axis with a word, such as dead centres. Every curve has two points or more with
    finite values and x rising. ``width`` in pixels, 300 or more. Raises InputError.
    """
    _check(title, curves, width)
    canvas = Canvas()
    xs = [x for curve in curves for x, _ in curve.points]
    ys = [y for curve in curves for _, y in curve.points]
    plot = _Plot.for_values(canvas, xs, ys, across, up, words, width, 38, 220 if width < 500 else 280)
    for shade in shades:
        x1, x2 = plot.x.at(shade.start), plot.x.at(shade.end)
        canvas.rect(min(x1, x2), plot.y.end, abs(x2 - x1), plot.y.start - plot.y.end, "band")
    plot.frame()
    end = -1e9
    for place, word in sorted(marks):
        x = plot.x.at(place)
        canvas.line(x, plot.y.end, x, plot.y.start, "ahead")
        half = text_width(word, 12) / 2
        x = min(max(x, half), width - half)
        if x - half > end + 4:
            canvas.text(x, plot.y.end - 6, word, 12, "text-soft", "middle")
            end = x + half
    for curve in curves:
        canvas.path(_path(plot, curve.points), curve.style)
    keys = list(dict.fromkeys(Key(curve.style, curve.key or curve.label) for curve in curves))
    if shades and shade_words:
        keys.append(Key("room", shade_words))
    top = plot.y.start + 44
    height = top + legend(canvas, keys, 2, top, width - 4, 13) + 4
    told = []
    for curve in curves:
        x, y = max(curve.points, key=lambda point: point[1])
        told.append(
            words.say(
                "{label}: highest {y} at {x}",
                label=curve.label,
                y=words.number(y, up.places + 1),
                x=words.number(x, across.places),
            )
        )
    desc = words.say(
        "{up} against {across}. {curves}.", up=up.name, across=across.name, curves="; ".join(told)
    )
    if shades and shade_words:
        spans = ", ".join(
            words.say(
                "{a} to {b}", a=words.number(s.start, across.places), b=words.number(s.end, across.places)
            )
            for s in shades
        )
        desc += " " + words.say("Shaded, {what}: {spans}.", what=shade_words, spans=spans)
    return Drawing(
        "curves", width, height, title, desc, canvas.body(), _curve_table(curves, across, up, words)
    )


def fit_chart(
    title: str,
    measured: Sequence[Point],
    fit: Sequence[Point],
    left_over: Sequence[Point],
    across: AxisWords,
    up: AxisWords,
    *,
    error: float | None = None,
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """A measured table with its fit, and below it what the fit leaves over, to a larger measure.

    ``measured``, ``fit``, ``left_over``: points (x, y) in the units of the axes; ``error``: the stated error of
    the fit (one sd, units of y), drawn as a soft band about zero. Raises InputError.
    """
    _check(title, [Curve("fit", fit), Curve("measured", measured), Curve("left over", left_over)], width)
    if error is not None and not (math.isfinite(error) and error >= 0):
        raise InputError(
            say(
                "{title}: the error of a fit is a finite number from 0 on, not {error}",
                title=title,
                error=error,
            )
        )
    canvas = Canvas()
    xs = [x for points in (measured, fit, left_over) for x, _ in points]
    heights = [y for points in (measured, fit) for _, y in points]
    upper = _Plot.for_values(canvas, xs, heights, across, up, words, width, 38, 180)
    reach = max([abs(y) for _, y in left_over] + [2 * (error or 0.0), 1e-9])
    top = upper.y.start + 40
    below = AxisWords("", _places(reach))
    lower = _Plot.for_values(canvas, xs, [-reach, reach], across, below, words, width, top, 110, ticks=5)
    shared = replace(upper.x, start=max(upper.x.start, lower.x.start))
    upper, lower = replace(upper, x=shared), replace(lower, x=shared)
    upper.frame(label_across=False)
    canvas.path(_path(upper, fit), "series-a")
    _crosses(canvas, upper, measured)
    if error:
        y1, y2 = lower.y.at(2 * error), lower.y.at(-2 * error)
        canvas.rect(lower.x.start, y1, lower.x.end - lower.x.start, y2 - y1, "band")
        y1, y2 = lower.y.at(error), lower.y.at(-error)
        canvas.rect(lower.x.start, y1, lower.x.end - lower.x.start, y2 - y1, "band-core")
    lower.frame()
    canvas.text(2, top - 8, words.say("left over: measured less fit"), 13, "text-soft")
    canvas.line(lower.x.start, lower.y.at(0), lower.x.end, lower.y.at(0), "ink")
    _crosses(canvas, lower, left_over)
    keys = [Key("cross", words.say("measured")), Key("series-a", words.say("fit"))]
    if error:
        keys.append(Key("band", words.say("error of the fit, once and twice")))
    foot = lower.y.start + 44
    height = foot + legend(canvas, keys, 2, foot, width - 4, 13) + 4
    worst = max(left_over, key=lambda point: abs(point[1]))
    desc = words.say(
        "{up} against {across}: {n} measured points and a fit. Farthest off: {rest} at {x}.",
        up=up.name,
        across=across.name,
        n=len(measured),
        rest=words.number(worst[1], _places(reach)),
        x=words.number(worst[0], across.places),
    )
    if error:
        desc += " " + words.say("The error of the fit is {error}.", error=words.number(error, _places(error)))
    rows = [(across.name, words.say("measured"), words.say("left over"))]
    over = dict(left_over)
    for x, y in measured:
        rest_text = words.number(over[x], _places(reach), sign=True) if x in over else "–"
        rows.append((words.number(x, across.places), words.number(y, up.places + 1), rest_text))
    return Drawing("fit", width, height, title, desc, canvas.body(), tuple(rows))


def _places(reach: float) -> int:
    """Decimals that show two figures of a number this large."""
    return max(0, min(6, 1 - math.floor(math.log10(reach)))) if reach > 0 else 0


def _check(title: str, curves: Sequence[Curve], width: float) -> None:
    if width < 300:
        raise InputError(
            say("{title}: a chart needs a width of 300 or more, not {width:g}", title=title, width=width)
        )
    if not curves:
        raise InputError(say("{title}: a chart needs at least one curve", title=title))
    for curve in curves:
        if len(curve.points) < 2:
            raise InputError(
                say(
                    "{title}: {label} has {count} points; a curve needs two or more",
                    title=title,
                    label=curve.label,
                    count=len(curve.points),
                )
            )
        if not all(math.isfinite(v) for point in curve.points for v in point):
            raise InputError(
                say("{title}: {label} has a point that is no finite number", title=title, label=curve.label)
            )
        if any(b[0] <= a[0] for a, b in pairwise(curve.points)):
            raise InputError(
                say(
                    "{title}: the points of {label} have to rise along the axis",
                    title=title,
                    label=curve.label,
                )
            )


@dataclass(frozen=True, slots=True)
class _Plot:
    """A frame with its two scales; ``y.start`` is its foot, ``y.end`` its top."""

    canvas: Canvas
    x: Scale
    y: Scale
    across: AxisWords
    up: AxisWords
    words: Words
    y_ticks: tuple[float, ...]

    @classmethod
    def for_values(
        cls,
        canvas: Canvas,
        xs: Sequence[float],
        ys: Sequence[float],
        across: AxisWords,
        up: AxisWords,
        words: Words,
        width: float,
        top: float,
        tall: float,
        ticks: int = 6,
    ) -> _Plot:
        low, high = min(0.0, *ys), max(0.0, *ys)
        if high - low <= 0:
            high = low + 1.0
        spare = 0.04 * (high - low)
        marks = tuple(steps(low, high, ticks))
        margin = max(text_width(words.number(v, up.places), 12) for v in marks) + 8
        x = Scale(min(xs), max(xs), margin, width - 8)
        return cls(canvas, x, Scale(low - spare, high + spare, top + tall, top), across, up, words, marks)

    def frame(self, *, label_across: bool = True) -> None:
        """Grid, axes and figures."""
        c, x, y = self.canvas, self.x, self.y
        for value in self.y_ticks:
            c.line(x.start, y.at(value), x.end, y.at(value), "grid")
            text = self.words.number(value, self.up.places)
            c.text(x.start - 5, y.at(value) + 4.5, text, 12, "text-soft", "end")
        c.line(x.start, y.end, x.start, y.start, "ink")
        c.line(x.start, y.start, x.end, y.start, "ink")
        c.text(2, y.end - (22 if self.up.name else 8), self.up.name, 12, "text-soft")
        for value in steps(x.low_mm, x.high_mm, max(2, int((x.end - x.start) / 46)), self.across.every):
            c.line(x.at(value), y.start, x.at(value), y.start + 5, "tick")
            if label_across:
                text = self.words.number(value, self.across.places)
                half = text_width(text, 12) / 2
                at = min(x.at(value), x.end + 8 - half)
                c.text(at, y.start + 18, text, 12, "text-soft", "middle")
        if label_across:
            c.text((x.start + x.end) / 2, y.start + 35, self.across.name, 12, "text-soft", "middle")


def _path(plot: _Plot, points: Sequence[Point]) -> str:
    """A line through the points; those closer than a third of a pixel to the straight line are left out."""
    kept = _thin([(plot.x.at(x), plot.y.at(y)) for x, y in points])
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in kept)


def _thin(points: Sequence[Point], nearer: float = 0.3) -> list[Point]:
    """Ramer-Douglas-Peucker: the fewest of these points from which no other lies farther than ``nearer``."""
    keep = [False] * len(points)
    keep[0] = keep[-1] = True
    todo = [(0, len(points) - 1)]
    while todo:
        first, last = todo.pop()
        (x1, y1), (x2, y2) = points[first], points[last]
        length = math.hypot(x2 - x1, y2 - y1) or 1.0
        worst, index = 0.0, 0
        for i in range(first + 1, last):
            x, y = points[i]
            off = abs((x2 - x1) * (y1 - y) - (x1 - x) * (y2 - y1)) / length
            if off > worst:
                worst, index = off, i
        if worst > nearer:
            keep[index] = True
            todo += [(first, index), (index, last)]
    return [point for point, kept in zip(points, keep, strict=True) if kept]


def _crosses(canvas: Canvas, plot: _Plot, points: Sequence[Point]) -> None:
    size = 3.0 if len(points) < 60 else 2.0
    for x, y in points:
        px, py = plot.x.at(x), plot.y.at(y)
        canvas.path(
            f"M{num(px - size)} {num(py - size)}L{num(px + size)} {num(py + size)}"
            f"M{num(px - size)} {num(py + size)}L{num(px + size)} {num(py - size)}",
            "ink",
        )


def _curve_table(
    curves: Sequence[Curve], across: AxisWords, up: AxisWords, words: Words
) -> tuple[tuple[str, ...], ...]:
    """Every curve at up to 25 round places of the axis; between its points by straight lines."""
    low = min(curve.points[0][0] for curve in curves)
    high = max(curve.points[-1][0] for curve in curves)
    rows = [(across.name, *(f"{curve.label}, {up.name}" for curve in curves))]
    for x in steps(low, high, 25, across.every):
        figures = (_between(curve.points, x) for curve in curves)
        cells = ("–" if y is None else words.number(y, up.places + 1) for y in figures)
        rows.append((words.number(x, across.places), *cells))
    return tuple(rows)


def _between(points: Sequence[Point], x: float) -> float | None:
    if x < points[0][0] - 1e-9 or x > points[-1][0] + 1e-9:
        return None
    for (x1, y1), (x2, y2) in pairwise(points):
        if x <= x2:
            return y1 + (y2 - y1) * max(0.0, x - x1) / (x2 - x1)
    return points[-1][1]
