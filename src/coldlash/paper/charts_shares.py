"""What each part of a sum adds to it: bars from nothing to the left or right, and the sum below them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.drawings_gap import Scale
from coldlash.paper.labels import steps
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing
from coldlash.paper.textwidth import text_width
from coldlash.paper.words import ENGLISH, Words


@dataclass(frozen=True, slots=True)
class ShareRow:
    """One part of the sum: its words and what it adds, mm of gap (negative = tighter)."""

    words: str
    mm: float


def shares_chart(
    title: str,
    rows: Sequence[ShareRow],
    *,
    total: str,
    sd_mm: float | None = None,
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """What each row adds to a change of gap, mm, and the sum as a soft band of two sds about it.

    ``total``: the words of the sum; ``sd_mm``: its sd, None = a bar without a band. ``width`` in pixels, 300 or
    more. Raises InputError for no rows, values that are not finite, or a negative sd.
    """
    if width < 300:
        raise InputError(
            say("{title}: a chart needs a width of 300 or more, not {width:g}", title=title, width=width)
        )
    if not rows:
        raise InputError(say("{title}: a chart of shares needs at least one row", title=title))
    if not all(math.isfinite(row.mm) for row in rows):
        raise InputError(say("{title}: a share is not a finite number of mm", title=title))
    if sd_mm is not None and not (math.isfinite(sd_mm) and sd_mm >= 0):
        raise InputError(
            say("{title}: an sd is a finite number from 0 on, not {sd_mm}", title=title, sd_mm=sd_mm)
        )
    whole = sum(row.mm for row in rows)
    spread = 2 * (sd_mm or 0.0)
    ends = [0.0, whole - spread, whole + spread, *(row.mm for row in rows)]
    figures = [words.about(mm, sign=True) for mm in (*(row.mm for row in rows), whole)]
    column = max(text_width(figure, 14, 600) for figure in figures) + 10
    low, high = min(ends), max(ends)
    spare = 0.06 * (high - low) or 0.01
    scale = Scale(low - spare, high + spare, 4, width - column)
    canvas = Canvas()
    top, line, bar = 26.0, 40.0, 14.0
    foot = top + line * (len(rows) + 1)
    canvas.text(4, 14, words.say("← tighter"), 14, weight=600)
    canvas.text(scale.end, 14, words.say("looser →"), 14, anchor="end", weight=600)
    zero = scale.at(0)
    for mm in steps(words.gap_value(scale.low_mm), words.gap_value(scale.high_mm), 5):
        x = scale.at(words.gap_mm(mm))
        canvas.line(x, top, x, foot, "grid")
    canvas.line(zero, top, zero, foot, "ink")
    for number, row in enumerate(rows):
        y = top + line * number
        canvas.backed_text(4, y + 15, row.words, 13)
        x = scale.at(row.mm)
        canvas.rect(min(x, zero), y + 20, max(abs(x - zero), 0.5), bar, "band-core")
        canvas.text(width - 2, y + 20 + bar - 2, figures[number], 14, anchor="end")
    y = top + line * len(rows)
    canvas.line(4, y + 2, width - 2, y + 2, "ink")
    canvas.text(4, y + 18, total, 14, weight=600)
    if spread:
        x1, x2 = scale.at(whole - spread), scale.at(whole + spread)
        canvas.rect(x1, y + 22, x2 - x1, bar, "band")
        for x in (x1, x2):
            canvas.line(x, y + 22, x, y + 22 + bar, "band-edge")
    x = scale.at(whole)
    canvas.line(x, y + 20, x, y + 24 + bar, "blade")
    canvas.text(width - 2, y + 20 + bar, figures[-1], 14, anchor="end", weight=600)
    note = words.say("mm of gap") if words.gap_unit == "mm" else words.say("inches of gap")
    if spread:
        note = words.say("{unit}; the soft bar: twice its sd either way", unit=note)
    canvas.text(4, foot + 16, note, 12, "text-soft")
    listed = "; ".join(f"{row.words} {figure}" for row, figure in zip(rows, figures[:-1], strict=True))
    desc = words.say(
        "What each part adds to the gap, {unit}; below zero is tighter: {listed}. {total}: {sum}.",
        unit=words.gap_unit,
        listed=listed,
        total=total,
        sum=figures[-1],
    )
    head = (words.say("part"), words.say("adds, {unit}", unit=words.gap_unit))
    table = [head, *((row.words, figure) for row, figure in zip(rows, figures[:-1], strict=True))]
    sure = "" if sd_mm is None else f" ± {words.about(sd_mm)}"
    table.append((total, figures[-1] + sure))
    return Drawing("shares", width, foot + 24, title, desc, canvas.body(), tuple(table))
