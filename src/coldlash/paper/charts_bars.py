"""Bars side by side: the drift of every valve, and how likely each cause is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.drawings_gap import Scale
from coldlash.paper.labels import Key, legend, steps
from coldlash.paper.readings import Band, share_words
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing
from coldlash.paper.textwidth import text_width, wrap
from coldlash.paper.words import ENGLISH, Words

Direction = Literal["tighter", "looser"]


@dataclass(frozen=True, slots=True)
class DriftRow:
    """One valve's drift, mm per 1000 km, negative = tighter; ``band`` None = not known yet."""

    valve: Valve
    band: Band | None


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One possible cause: its words, where, how likely (given that something happened), how much.

    ``amount_mm`` is the gap change at the most affected valve as mean and sd; ``beside``: what gaps alone can't
    tell it from.
    """

    words: str
    where: str
    probability: float
    amount_mm: tuple[float, float] | None = None
    direction: Direction | None = None
    beside: str = ""


def drift_chart(rows: Sequence[DriftRow], *, words: Words = ENGLISH, width: float = PHONE_WIDTH) -> Drawing:
    """The drift of all valves side by side, to one measure, tighter to the left. Raises InputError."""
    if width < 300:
        raise InputError(say("a chart needs a width of 300 or more, not {width:g}", width=width))
    if not rows:
        raise InputError(
            say("a drift chart needs at least one valve; give a row for each valve of the engine")
        )
    unit = words.say("{gap} per 1000 {distance}", gap=words.gap_unit, distance=words.distance_unit)
    per = words.gap_value(1.0) * words.km(1.0)  # mm per 1000 km in the owner's units, per 1000
    bands = [row.band for row in rows if row.band is not None]
    reach = max([0.01, *(abs(end) * 1.08 for band in bands for end in (band.lo, band.hi))])
    said = [_drift_word(row.band, words) for row in rows]
    column = max(text_width(text, 13, 600) for text in said) + 6
    canvas = Canvas()
    names = 40.0
    scale = Scale(-reach, reach, names, width - column - 8)
    top, line = 40.0, 26.0
    foot = top + line * len(rows)
    canvas.text(scale.start, 14, words.say("← tighter"), 14, weight=600)
    canvas.text(scale.end, 14, words.say("looser →"), 14, anchor="end", weight=600)
    marks = [tick / per for tick in steps(-reach * per, reach * per, 5)]
    for mm in marks:
        x = scale.at(mm)
        canvas.line(x, top - 4, x, foot, "grid")
    canvas.line(scale.at(0), top - 12, scale.at(0), foot + 5, "ink")
    for index, (row, text) in enumerate(zip(rows, said, strict=True)):
        y = top + (index + 0.5) * line
        canvas.text(2, y + 5.5, str(row.valve), 16, weight=600)
        if row.band is None:
            canvas.rect(scale.start, y - 6, scale.end - scale.start, 12, "unknown", radius=2)
            canvas.backed_text(
                (scale.start + scale.end) / 2, y + 4.5, words.say("not known yet"), 13, "middle"
            )
            continue
        band_bar(canvas, scale, row.band, y, 16)
        canvas.text(width - 1, y + 5, text, 13, anchor="end", weight=600)
    end = -1e9
    for mm in marks:
        text = words.number(mm * per, _places(reach * per), sign=True)
        x, half = scale.at(mm), text_width(text, 12) / 2
        if x - half > end + 6:
            canvas.text(x, foot + 18, text, 12, "text-soft", "middle")
            end = x + half
    canvas.text((scale.start + scale.end) / 2, foot + 36, unit, 12, "text-soft", "middle")
    share = share_words(bands[0].share, words) if bands else ""
    keys = (
        [Key("band", words.say("likely drift ({share}), middle half darker", share=share))] if bands else []
    )
    height = foot + 46 + legend(canvas, keys, 2, foot + 46, width - 4, 13) + 4
    table = [(words.say("valve"), words.say("from, {unit}", unit=unit), words.say("to, {unit}", unit=unit))]
    told = []
    for row in rows:
        if row.band is None:
            table.append((str(row.valve), words.say("not known yet"), words.say("not known yet")))
            told.append(words.say("{valve} not known yet", valve=row.valve))
        else:
            lo, hi = (
                words.number(end * per, _places(reach * per), sign=True) for end in (row.band.lo, row.band.hi)
            )
            table.append((str(row.valve), lo, hi))
            told.append(words.say("{valve} {lo} to {hi}", valve=row.valve, lo=lo, hi=hi))
    desc = words.say(
        "Likely drift of each valve, {unit}; below zero is tighter: {rows}.",
        unit=unit,
        rows="; ".join(told),
    )
    return Drawing(
        "drift", width, height, words.say("Drift of all valves"), desc, canvas.body(), tuple(table)
    )


def _places(reach: float) -> int:
    return 3 if reach >= 0.002 else 4 if reach >= 0.0002 else 5


def _drift_word(band: Band | None, words: Words) -> str:
    """Which way it goes, where the band is wholly on one side: a word, no figure finer than the band."""
    if band is None:
        return ""
    if band.hi < 0:
        return words.say("tighter")
    if band.lo > 0:
        return words.say("looser")
    return words.say("can't tell")


def band_bar(canvas: Canvas, scale: Scale, band: Band, middle: float, thick: float) -> None:
    """Something inferred as a soft bar with open ends, its core darker."""
    x1, x2 = scale.at(band.lo), scale.at(band.hi)
    canvas.rect(x1, middle - thick / 2, x2 - x1, thick, "band")
    if band.core_lo is not None and band.core_hi is not None:
        start = scale.at(band.core_lo)
        canvas.rect(start, middle - thick / 2, scale.at(band.core_hi) - start, thick, "band-core")
    for x in (x1, x2):
        canvas.line(x, middle - thick / 2, x, middle + thick / 2, "band-edge")


def cause_ranking(rows: Sequence[CauseRow], *, words: Words = ENGLISH, width: float = PHONE_WIDTH) -> Drawing:
    """How likely each cause is, given that something happened, in the order given. Raises InputError."""
    if width < 300:
        raise InputError(say("a chart needs a width of 300 or more, not {width:g}", width=width))
    if not rows:
        raise InputError(say("a ranking of causes needs at least one; where there is none, say so in words"))
    for row in rows:
        if not 0 <= row.probability <= 1:
            raise InputError(
                say(
                    "{words}: {probability} is no probability; give 0 to 1",
                    words=row.words,
                    probability=row.probability,
                )
            )
    canvas = Canvas()
    figures = [words.percent(row.probability) for row in rows]
    column = max(text_width(figure, 17, 600) for figure in figures) + 10
    scale = Scale(0, 1, 4, width - column)
    y = 2.0
    for row, figure in zip(rows, figures, strict=True):
        head = words.say("{cause}: {where}", cause=row.words, where=row.where) if row.where else row.words
        for text in wrap(head, width - 4, 15, 600):
            y += 19
            canvas.text(4, y - 4, text, 15, weight=600)
        y += 4
        canvas.rect(scale.start, y, scale.end - scale.start, 16, "frame")
        canvas.rect(scale.start, y, scale.at(row.probability) - scale.start, 16, "band-core")
        x = scale.at(row.probability)
        canvas.line(x, y - 2, x, y + 18, "accent-thin")
        canvas.text(width - 2, y + 14, figure, 17, anchor="end", weight=600)
        y += 20
        for text in _beneath(row, words):
            for part in wrap(text, width - 8, 13):
                y += 17
                canvas.text(4, y - 4, part, 13, "text-soft")
        y += 12
    table = [
        (
            words.say("cause"),
            words.say("where"),
            words.say("how likely"),
            words.say("amount, {unit}", unit=words.gap_unit),
            words.say("not told apart from"),
        )
    ]
    for row, figure in zip(rows, figures, strict=True):
        table.append((row.words, row.where, figure, _amount(row, words) or "–", row.beside or "–"))
    told = "; ".join(
        words.say("{cause} {where}: {figure}", cause=row.words, where=row.where, figure=figure)
        + (f", {_amount(row, words)}" if row.amount_mm else "")
        for row, figure in zip(rows, figures, strict=True)
    )
    desc = words.say("How likely each cause is, given that something happened. {rows}.", rows=told)
    return Drawing("causes", width, y, words.say("Which cause is likely"), desc, canvas.body(), tuple(table))


def _amount(row: CauseRow, words: Words) -> str:
    if row.amount_mm is None:
        return ""
    mean, sd = row.amount_mm
    amount = words.say("{mean} ± {sd}", mean=words.about(mean), sd=words.about(sd))
    if row.direction is None:
        return words.with_unit(amount)
    if row.direction == "tighter":
        return words.say("{amount} tighter", amount=words.with_unit(amount))
    return words.say("{amount} looser", amount=words.with_unit(amount))


def _beneath(row: CauseRow, words: Words) -> list[str]:
    lines = []
    if row.amount_mm is not None:
        lines.append(_amount(row, words))
    if row.beside:
        lines.append(words.say("Gaps alone can't tell it from: {others}", others=row.beside))
    return lines
