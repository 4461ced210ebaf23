"""Where words go so that they never lie on each other: spread along a line, flowed in lines, a nice scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

from coldlash.paper.svg import Canvas
from coldlash.paper.textwidth import Weight, text_width, wrap


def spread(
    wanted: Sequence[float], sizes: Sequence[float], low: float, high: float, gap: float
) -> list[float]:
    """Centres for labels of these sizes, as near to ``wanted`` (rising) as can be without touching.

    Least squares under "no nearer than half of both sizes plus ``gap``" (pool adjacent violators), then pushed
    inside ``low``..``high``. If they don't fit at all they are packed from ``low`` on and run over: check with
    ``fits`` first.
    """
    count = len(wanted)
    offsets = [0.0] * count
    for i in range(1, count):
        offsets[i] = offsets[i - 1] + (sizes[i - 1] + sizes[i]) / 2 + gap
    blocks: list[tuple[float, int]] = []
    for i in range(count):
        mean, weight = wanted[i] - offsets[i], 1
        while blocks and blocks[-1][0] > mean:
            other, other_weight = blocks.pop()
            mean = (mean * weight + other * other_weight) / (weight + other_weight)
            weight += other_weight
        blocks.append((mean, weight))
    flat = [mean for mean, weight in blocks for _ in range(weight)]
    if not count:
        return []
    lowest = low + sizes[0] / 2
    highest = high - sizes[-1] / 2 - offsets[-1]
    return [max(lowest, min(value, highest)) + offsets[i] for i, value in enumerate(flat)]


def fits(sizes: Sequence[float], room: float, gap: float) -> bool:
    """Whether labels of these sizes can stand beside each other in ``room``."""
    return sum(sizes) + gap * max(len(sizes) - 1, 0) <= room


def steps(low: float, high: float, most: int, every: Sequence[float] = ()) -> list[float]:
    """Round numbers from ``low`` to ``high``, as many as there can be up to ``most``.

    Round: multiples of 1, 2 or 5 times a power of ten; or of those in ``every`` (rising) while they suffice.
    """
    if not high > low:
        return [low]
    power = math.floor(math.log10((high - low) / max(most, 1))) - 1
    decades = (m * 10.0**p for p in range(power, power + 5) for m in (1.0, 2.0, 5.0))
    for step in chain(every, decades):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first + 1 <= most:
            return [i * step for i in range(first, last + 1)]
    return [low]


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of a legend: which mark, and its words."""

    mark: str
    words: str


def legend(canvas: Canvas, keys: Sequence[Key], x: float, y: float, room: float, size: float = 12) -> float:
    """Flow the entries of a legend in lines from (x, y = top); the height used."""
    swatch, space, line = 22.0, 16.0, size + 8
    left, top = x, y
    for key in keys:
        lines = wrap(key.words, room - swatch - 6, size)
        width = swatch + 6 + max((text_width(text, size) for text in lines), default=0)
        if left > x and left + width > x + room + 0.01:
            left, top = x, top + line
        middle = top + line / 2
        _swatch(canvas, key.mark, left, middle, swatch)
        for i, words in enumerate(lines):
            canvas.text(left + swatch + 6, middle + 0.36 * size + i * (size + 3), words, size, "text-soft")
        top += (len(lines) - 1) * (size + 3)
        left = x if len(lines) > 1 else left + width + space
        if len(lines) > 1:
            top += line
    if left > x:
        top += line
    return top - y


def _swatch(canvas: Canvas, mark: str, x: float, y: float, width: float) -> None:
    match mark:
        case "found":
            canvas.rect(x + 3, y - 3.5, width - 6, 7, "measured")
            canvas.line(x + 3, y - 7, x + 3, y + 7, "blade")
            canvas.line(x + width - 3, y - 7, x + width - 3, y + 7, "blade")
        case "found-upright":
            canvas.rect(x + 8, y - 6, 6, 12, "measured")
        case "reread":
            canvas.rect(x + 3, y - 4, width - 6, 8, "reread")
        case "reread-upright":
            canvas.rect(x + 8, y - 6, 6, 12, "reread")
        case "target":
            target_mark(canvas, x + width / 2 - 5, y)
        case "unknown":
            canvas.rect(x + 2, y - 5, width - 4, 10, "unknown")
        case "band":
            canvas.rect(x, y - 6, width, 12, "band")
            canvas.rect(x, y - 3, width, 6, "band-core")
        case "fan":
            canvas.polyline([(x, y), (x + width, y - 6), (x + width, y + 6)], "fan", closed=True)
            canvas.line(x, y, x + width, y - 6, "fan-edge")
            canvas.line(x, y, x + width, y + 6, "fan-edge")
        case "reset":
            canvas.line(x + width / 2, y - 8, x + width / 2, y + 8, "reset")
        case "open-i" | "open-e":
            canvas.rect(x, y - 4, width, 8, mark)
        case "room":
            canvas.rect(x, y - 6, width, 12, "room")
        case "hatched":
            canvas.hatch(x, y - 6, width, 12)
        case "cross":
            canvas.line(x + 7, y - 4, x + 15, y + 4, "ink")
            canvas.line(x + 7, y + 4, x + 15, y - 4, "ink")
        case "here":
            canvas.rect(x + 8, y - 7, 5, 14, "accent-fill")
        case "drag":
            canvas.line(x + width / 2, y - 7, x + width / 2, y + 7, "blade")
        case "none":
            pass
        case _:
            canvas.line(x, y, x + width, y, mark)


def target_mark(canvas: Canvas, x: float, y: float) -> None:
    """The sign for "set on this blade": an open flag pointing at its gap from the right of (x, y)."""
    canvas.polyline([(x, y), (x + 8, y - 5), (x + 8, y + 5)], "target", closed=True)


def column_widths(columns: Sequence[Sequence[str]], size: float, weight: Weight = 400) -> list[float]:
    """The widest entry of each column."""
    return [max((text_width(text, size, weight) for text in column), default=0.0) for column in columns]
