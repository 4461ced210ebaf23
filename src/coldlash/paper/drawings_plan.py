"""The plan of the engine: seen from above, the pulley at the bottom as you face it, each valve where it is.

Each valve carries its gap scale in small (``drawings_gap``), all to one measure and lined up, so that the one
that wanders stands out. Heads are outlined, cylinders drawn between them and the crankcase. The engine file
says what lies where along a head; where it doesn't, the plan says so instead of guessing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from coldlash.engine.plan_text import Bank, banks_of
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, say_in
from coldlash.paper.drawings_gap import Scale, compact_scale, scale_range
from coldlash.paper.labels import Key, legend
from coldlash.paper.readings import GapView, band_words, limit_words, reading_short, reading_words
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing
from coldlash.paper.textwidth import fit, fit_size, text_width
from coldlash.paper.words import ENGLISH, Words

Side = Literal["left", "right"]

CRANKCASE, BARREL = 30.0, 30.0
PAD, HEAD_GAP = 5.0, 8.0


def engine_plan(
    engine: Engine,
    gaps: Mapping[Valve, GapView],
    *,
    here: Collection[Valve] = (),
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """The plan with what is known of every valve; one without a view in ``gaps`` counts as not measured.

    ``here``: valves to check at the present stop, marked so. ``width`` in pixels, 320 or more. Two banks lie as
    ``engine.plan_text`` has them: the first head on the right of someone who faces the pulley. Raises InputError,
    also for a valve that the engine does not have.
    """
    if width < 320:
        raise InputError(say("a plan needs a width of 320 or more, not {width:g}", width=width))
    for valve in (*gaps, *here):
        if valve not in engine.valves:
            raise InputError(
                say(
                    "{name} has no valve {valve}; it has {list}",
                    name=engine.name,
                    valve=valve,
                    list=", ".join(map(str, engine.valves)),
                )
            )
    views = {v: gaps.get(v, GapView(str(v), engine.gap(v))) for v in engine.valves}
    banks = banks_of(engine)
    frame = _Frame.of(len(banks) == 2, width)
    sheet = _Sheet(Canvas(), frame, views, scale_range(list(views.values())), set(here), width, words)
    foot = sheet.draw(engine, banks)
    height = _legend(sheet.canvas, engine, views, bool(here), foot, width, words)
    title = words.say("Plan of {engine}", engine=engine.name)
    return Drawing(
        "plan",
        width,
        height,
        title,
        _told(engine, banks, views, here, words),
        sheet.canvas.body(),
        _table(engine, views, words),
    )


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where things stand across the sheet, in pixels."""

    double: bool
    centre: float
    reach: float
    room: float

    @classmethod
    def of(cls, double: bool, width: float) -> _Frame:
        centre = width / 2 if double else 32.0
        reach = CRANKCASE / 2 + (BARREL if double else 12)
        return cls(double, centre, reach, (width / 2 if double else width - centre) - reach - 2)

    @property
    def one_line(self) -> bool:
        """Whether a reading has room beside its scale."""
        return self.room >= 200

    @property
    def slot(self) -> float:
        """Height of one valve."""
        return 34.0 if self.one_line else 50.0

    def left(self, side: Side) -> float:
        """Left edge of the heads on this side."""
        return self.centre + self.reach if side == "right" else self.centre - self.reach - self.room

    def head_height(self, valves: Sequence[Valve]) -> float:
        return len(valves) * self.slot + 2 * PAD

    def bank_height(self, bank: Bank) -> float:
        return sum(map(self.head_height, bank.heads)) + HEAD_GAP * (len(bank.heads) - 1)


def _from_pulley(valves: Sequence[Valve]) -> list[int]:
    """The cylinders of a head from the pulley outward, by the middle of their valves."""
    places: dict[int, float] = {}
    for index, valve in enumerate(valves):
        places[valve.cylinder] = places.get(valve.cylinder, 0.0) + index
    return sorted(places, key=lambda cylinder: (places[cylinder], cylinder))


@dataclass(slots=True)
class _Sheet:
    canvas: Canvas
    frame: _Frame
    views: Mapping[Valve, GapView]
    range_mm: tuple[float, float]
    here: Collection[Valve]
    width: float
    words: Words

    def draw(self, engine: Engine, banks: tuple[Bank, ...]) -> float:
        """Everything above the legend; returns where it ends."""
        top = 14.0
        if self.frame.double:
            top = 24.0
            self.canvas.text(2, 15, say_in("side", "left"), 13, "text-soft")
            self.canvas.text(self.width - 2, 15, say_in("side", "right"), 13, "text-soft", "end")
        foot = top + max(map(self.frame.bank_height, banks))
        self._crankcase(top, foot)
        sides: tuple[Side, ...] = ("right", "left")
        for bank, side in zip(banks, sides, strict=False):
            y = foot
            for head in bank.heads:
                self._head(head, side, y)
                y -= self.frame.head_height(head) + HEAD_GAP
        return self._pulley(engine, foot)

    def _crankcase(self, top: float, foot: float) -> None:
        c, centre = self.canvas, self.frame.centre
        c.rect(centre - CRANKCASE / 2, top, CRANKCASE, foot - top + 8, "body", radius=6)
        c.line(centre, top - 8, centre, foot + 40, "centre")

    def _head(self, valves: Sequence[Valve], side: Side, foot: float) -> None:
        c, frame = self.canvas, self.frame
        left, right, slot = frame.left(side), frame.left(side) + frame.room, frame.slot
        height = frame.head_height(valves)
        c.rect(left, foot - height, frame.room, height, "body", radius=5)
        cylinders = _from_pulley(valves)
        share = len(valves) * slot / len(cylinders)
        for index, cylinder in enumerate(cylinders):
            middle = foot - PAD - (index + 0.5) * share
            if frame.double:
                self._barrel(cylinder, side, middle, min(share - 8, 84))
            else:
                c.circle(frame.centre, middle, min(share / 2 - 3, 17), "body")
                c.text(frame.centre, middle + 5.5, str(cylinder), 16, anchor="middle", weight=600)
        for index, valve in enumerate(valves):
            y = foot - PAD - index * slot
            self._valve(valve, left, y - slot)
            if index:
                c.line(left + 4, y, right - 4, y, "hair")

    def _barrel(self, cylinder: int, side: Side, middle: float, height: float) -> None:
        """A cylinder lying between crankcase and head, with its cooling fins."""
        c = self.canvas
        out = 1 if side == "right" else -1
        start = self.frame.centre + out * CRANKCASE / 2
        left = min(start, start + out * BARREL)
        c.rect(left, middle - height / 2, BARREL, height, "body")
        for fin in range(1, 6):
            x = left + fin * BARREL / 6
            for y1, y2 in ((middle - height / 2, middle - 13), (middle + 13, middle + height / 2)):
                if y2 > y1:
                    c.line(x, y1, x, y2, "hair")
        c.circle(left + BARREL / 2, middle, 12, "paper")
        c.text(left + BARREL / 2, middle + 5.5, str(cylinder), 16, anchor="middle", weight=600)

    def _valve(self, valve: Valve, left: float, top: float) -> None:
        c, view, room, slot = self.canvas, self.views[valve], self.frame.room, self.frame.slot
        here = valve in self.here
        if here:
            c.rect(left + 1, top + 1, 5, slot - 2, "accent-fill")
        x, end = left + 9, left + room - 6
        name_size, said_size = 17.0, 13.0
        c.text(x, top + 20, str(valve), name_size, "text-accent" if here else "text", weight=600)
        said = reading_short(view.found, self.words)
        pen = "text-soft" if view.found is None else "text"
        name_width = max(text_width(str(valve), name_size, 600), 20)
        if self.frame.one_line:
            column = x + 42
            c.text(column, top + 20, fit(said, self.column, said_size), said_size, pen)
            compact_scale(c, view, Scale(*self.range_mm, column + self.column + 8, end), top + 7, 16)
        else:
            fitted, said_size = fit_size(said, end - x - name_width - 4, said_size, 11.5)
            c.text(end, top + 19.5, fitted, said_size, pen, "end")
            compact_scale(c, view, Scale(*self.range_mm, x, end), top + 27, 14)

    @property
    def column(self) -> float:
        """Room for the readings where they stand beside the scales: the widest of them, within reason."""
        said = [text_width(reading_short(view.found, self.words), 13) for view in self.views.values()]
        return min(max(said), 100.0)

    def _pulley(self, engine: Engine, foot: float) -> float:
        """The pulley at the bottom, with the way its upper side moves."""
        c, centre = self.canvas, self.frame.centre
        top = foot + 12
        half = 30.0
        c.rect(centre - 5, foot + 8, 10, 6, "body")
        c.rect(centre - half, top, 2 * half, 20, "body", radius=3)
        c.line(centre - half, top + 7, centre + half, top + 7, "hair")
        c.line(centre - half, top + 13, centre + half, top + 13, "hair")
        out = 1 if engine.turns == "clockwise" else -1
        c.line(centre - out * (half - 8), top + 10, centre + out * (half - 12), top + 10, "accent-thin")
        c.arrow_head(centre + out * (half - 5), top + 10, 0 if out > 0 else 180, 10, "accent-fill")
        said = self.words.say("pulley side")
        c.text(centre + half + 10, top + 15, said, 14, weight=600)
        return top + 30


def _legend(
    canvas: Canvas,
    engine: Engine,
    views: Mapping[Valve, GapView],
    here: bool,
    top: float,
    width: float,
    words: Words,
) -> float:
    keys = []
    if here:
        keys.append(Key("here", words.say("check at this stop")))
    if any(view.found is not None for view in views.values()):
        keys.append(Key("found", words.say("last found, {unit}", unit=words.gap_unit)))
    if any(view.found is None for view in views.values()):
        keys.append(Key("unknown", words.say("not measured")))
    if any(view.expected is not None for view in views.values()):
        keys.append(Key("band", words.say("likely now")))
    keys.append(Key("set", words.say("set point")))
    if any(view.spec.tight is not None or view.spec.loose is not None for view in views.values()):
        keys.append(Key("hatched", words.say("outside the limits")))
    y = top + 4 + legend(canvas, keys, 2, top + 4, width - 4, 13)
    for note in _notes(engine, words):
        y += legend(canvas, [Key("none", note)], -20, y, width + 18, 13)
    return y + 4


def _notes(engine: Engine, words: Words) -> list[str]:
    notes = []
    if not engine.rows:
        notes.append(
            words.say("The order along the head is not stated in the engine file: drawn by cylinder.")
        )
    if engine.layout is None and len(engine.heads) > 1:
        notes.append(words.say("How the cylinders stand is not stated in the engine file: a guess."))
    return notes


def _told(
    engine: Engine,
    banks: tuple[Bank, ...],
    views: Mapping[Valve, GapView],
    here: Collection[Valve],
    words: Words,
) -> str:
    def state(valve: Valve) -> str:
        view = views[valve]
        said = f"{valve}: {reading_words(view.found, words)}"
        if view.expected is not None:
            said += ", " + words.say("likely now {band}", band=band_words(view.expected, words))
        return said

    said = [words.say("The engine seen from above, the pulley at the bottom.")]
    if len(banks) == 2:
        said.append(words.say("Left and right are those of someone who faces the pulley."))
        templates: tuple[str, ...] = (
            mark("From the pulley outward on the right, {valves}."),
            mark("From the pulley outward on the left, {valves}."),
        )
    else:
        templates = (mark("From the pulley outward, {valves}."),)
    for template, bank in zip(templates, banks, strict=True):
        said.append(
            words.say(template, valves="; ".join(state(valve) for head in bank.heads for valve in head))
        )
    said += _notes(engine, words)
    if here:
        said.append(words.say("Check at this stop: {valves}.", valves=", ".join(map(str, sorted(here)))))
    intake, exhaust = engine.gaps["I"], engine.gaps["E"]
    if intake == exhaust:
        said.append(limit_words(intake, words))
    else:
        said.append(words.say("Intake: {limits}", limits=limit_words(intake, words)))
        said.append(words.say("Exhaust: {limits}", limits=limit_words(exhaust, words)))
    return " ".join(said)


def _table(engine: Engine, views: Mapping[Valve, GapView], words: Words) -> tuple[tuple[str, ...], ...]:
    unit = words.gap_unit
    rows = [
        (
            words.say("valve"),
            words.say("last found, {unit}", unit=unit),
            words.say("likely now"),
            words.say("set, {unit}", unit=unit),
            words.say("limits, {unit}", unit=unit),
        )
    ]
    for valve in engine.valves:
        view = views[valve]
        spec = view.spec
        limits = " … ".join("–" if mm is None else words.gap(mm) for mm in (spec.tight, spec.loose))
        likely = words.say("not known") if view.expected is None else band_words(view.expected, words)
        rows.append((str(valve), reading_words(view.found, words), likely, words.gap(spec.cold), limits))
    return tuple(rows)
