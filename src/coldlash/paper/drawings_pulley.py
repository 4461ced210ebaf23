"""The pulley as the mechanic sees it: its marks, the pointer, and the turn to make.

Facing a pulley that turns clockwise, pointer on top, marks before TDC lie to the right of the TDC mark and marks
after it to the left: what comes later has farther to come round. For the other direction all is mirrored. The
pulley is drawn as it stands before the turn; the arc shows the way of the mark that has to meet the pointer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldlash import language
from coldlash.bench.stops import Stop, firing_at, known_marks
from coldlash.engine.spec import Engine
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.labels import fits, spread
from coldlash.paper.svg import PHONE_WIDTH, Anchor, Canvas, Drawing, Point, arc, polar
from coldlash.paper.textwidth import Weight, text_width, wrap
from coldlash.paper.words import ENGLISH, Words

TURN_DEG = 360.0
SAME_DEG = 1e-6

_TURNS: tuple[tuple[float, str, str], ...] = (
    (90, language.mark("¼ turn"), language.mark("a quarter turn")),
    (120, language.mark("⅓ turn"), language.mark("a third of a turn")),
    (180, language.mark("½ turn"), language.mark("one half turn")),
    (240, language.mark("⅔ turn"), language.mark("two thirds of a turn")),
    (270, language.mark("¾ turn"), language.mark("three quarters of a turn")),
    (360, language.mark("1 turn"), language.mark("one full turn")),
    (540, language.mark("1½ turns"), language.mark("one and a half turns")),
    (720, language.mark("2 turns"), language.mark("two full turns")),
)


def direction(engine: Engine) -> int:
    """+1 when the pulley turns clockwise as seen facing it, else -1."""
    return 1 if engine.turns == "clockwise" else -1


def place_of_mark(engine: Engine, mark_deg: float, crank_deg: float) -> float:
    """Where a mark stands on the face with the crank at ``crank_deg``: degrees clockwise from the pointer, 0..360.

    A mark meets the pointer when the crank is at ``mark_deg``; until then it has that much to turn.
    """
    return (-direction(engine) * (mark_deg - crank_deg)) % TURN_DEG


def turn_words(turn_deg: float, words: Words = ENGLISH) -> str:
    """A turn in words: "one half turn with the engine's rotation"; 0 is "no turn"."""
    size = abs(turn_deg)
    if size < SAME_DEG:
        return words.say("no turn")
    named = next((long for deg, _, long in _TURNS if abs(size - deg) < 0.05), None)
    amount = words.say("{deg} degrees", deg=_degrees(size, words)) if named is None else words.say(named)
    if turn_deg > 0:
        return words.say("{amount} with the engine's rotation", amount=amount)
    return words.say("{amount} against the engine's rotation", amount=amount)


def mark_words(engine: Engine, mark_deg: float, words: Words = ENGLISH) -> tuple[str, str]:
    """A mark in two short lines: "TDC", "1 and 3"; "10°", "before TDC 1"."""
    firing = sorted({*firing_at(engine, mark_deg), *firing_at(engine, mark_deg + TURN_DEG)})
    if firing:
        return words.say("TDC"), _listed([str(cylinder) for cylinder in firing], words)
    if mark_deg > TURN_DEG / 2:
        return f"{_degrees(TURN_DEG - mark_deg, words)}°", words.say("before TDC 1")
    return f"{_degrees(mark_deg, words)}°", words.say("after TDC 1")


def _listed(items: Sequence[str], words: Words) -> str:
    """ "1", "1 and 3", "1, 3 and 5"."""
    if len(items) < 2:
        return "".join(items)
    return words.say("{these} and {last}", these=", ".join(items[:-1]), last=items[-1])


def _degrees(value: float, words: Words) -> str:
    text = words.number(value, 1)
    return text.removesuffix(f"{words.point}0")


def pulley_face(
    engine: Engine,
    stop: Stop,
    *,
    marks: Sequence[float] | None = None,
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """The pulley before the turn that leads to ``stop``, the turn as an arc and in words.

    ``marks``: crank degrees past firing TDC 1, within [0, 720), taken modulo 360; None = the engine file's. Where
    ``stop`` has no turn (the first), the pulley is drawn at the stop. ``width`` in pixels, 300 or more.
    Raises InputError.
    """
    if width < 300:
        raise InputError(say("a pulley needs a width of 300 or more, not {width:g}", width=width))
    known = list(known_marks(engine, marks))
    here = stop.crank_deg % TURN_DEG
    wanted = next((mark for mark in known if abs((mark - here + 180) % TURN_DEG - 180) < SAME_DEG), None)
    canvas = Canvas()
    radius = min(104.0, width / 2 - 62)
    cx, cy = width / 2, radius + 40
    start = stop.crank_deg - stop.turn_deg
    target = place_of_mark(engine, stop.crank_deg, start)
    _face(canvas, cx, cy, radius)
    for mark in known:
        _mark(canvas, cx, cy, radius, place_of_mark(engine, mark, start), mark == wanted)
    if wanted is None:
        _no_mark(canvas, cx, cy, radius, target)
    _pointer(canvas, cx, cy - radius)
    _turn_arc(canvas, cx, cy, radius * 0.72, engine, stop)
    _centre(canvas, cx, cy, radius * 0.6, stop, words)
    labels = [
        _Label(place_of_mark(engine, m, start), *mark_words(engine, m, words), m, m == wanted) for m in known
    ]
    if wanted is None:
        labels.append(_Label(target, words.say("no mark"), words.say("here"), here, True))
    _labels(canvas, cx, cy, radius, width, labels)
    said = _said(engine, stop, wanted, words)
    height = _below(canvas, said, cy + radius + 30, width)
    title = words.say("Pulley: {turn}", turn=said[0].rstrip("."))
    rows = [
        (
            words.say("mark"),
            words.say("crank degrees past firing TDC 1"),
            words.say("degrees clockwise from the pointer, before the turn"),
        ),
        *(
            (f"{label.first} {label.second}", _degrees(label.mark, words), _degrees(label.place, words))
            for label in labels
        ),
    ]
    desc = _told(engine, said, labels, wanted is not None, words)
    return Drawing("pulley", width, height, title, desc, canvas.body(), tuple(rows))


@dataclass(frozen=True, slots=True)
class _Label:
    """The two lines beside a mark; ``place`` clockwise from the pointer, ``mark`` in crank degrees."""

    place: float
    first: str
    second: str
    mark: float
    wanted: bool


def _face(canvas: Canvas, cx: float, cy: float, radius: float) -> None:
    canvas.circle(cx, cy, radius, "body")
    canvas.circle(cx, cy, radius - 8, "ink")
    canvas.circle(cx, cy, radius * 0.84, "hair")
    canvas.line(cx - radius - 8, cy, cx - radius + 20, cy, "centre")
    canvas.line(cx + radius - 20, cy, cx + radius + 8, cy, "centre")
    canvas.line(cx, cy + radius - 20, cx, cy + radius + 8, "centre")


def _mark(canvas: Canvas, cx: float, cy: float, radius: float, place: float, wanted: bool) -> None:
    """A notch in the rim; the wanted one is broad."""
    (x1, y1), (x2, y2) = polar(cx, cy, radius + 1, place), polar(cx, cy, radius - 15, place)
    canvas.line(x1, y1, x2, y2, "mark-wanted" if wanted else "blade")


def _no_mark(canvas: Canvas, cx: float, cy: float, radius: float, place: float) -> None:
    (x1, y1), (x2, y2) = polar(cx, cy, radius + 1, place), polar(cx, cy, radius - 17, place)
    canvas.line(x1, y1, x2, y2, "mark-missing")


def _pointer(canvas: Canvas, x: float, rim: float) -> None:
    canvas.polyline([(x - 8, rim - 20), (x + 8, rim - 20), (x, rim - 3)], "measured", closed=True)


def _turn_arc(canvas: Canvas, cx: float, cy: float, radius: float, engine: Engine, stop: Stop) -> None:
    """The way of the wanted mark to the pointer; at the first stop just the way the engine turns."""
    if abs(stop.turn_deg) < SAME_DEG:
        sweep, start, pen, head = 70.0 * direction(engine), -35.0 * direction(engine), "accent-thin", 11.0
    else:
        sweep = stop.turn_deg * direction(engine)
        start, pen, head = -sweep, "accent", 16.0
    sign = 1 if sweep > 0 else -1
    if abs(sweep) < 24:  # too short for an arrow: begin it farther back
        start, sweep = -24.0 * sign, 24.0 * sign
    head_deg = 0.8 * head / radius * 57.2958
    points: list[Point] = []
    total = abs(sweep)
    count = max(2, round(total / 4))
    coil = 9.0 if total > 330 else 0.0  # a full turn and more is drawn as a coil, or it would close on itself
    for i in range(count + 1):
        share = i / count
        angle = start + sign * share * max(total - head_deg, 1)
        points.append(polar(cx, cy, radius - coil * (1 - share) * total / 360, angle))
    if coil:
        canvas.polyline(points, pen)
    else:
        canvas.path(arc(cx, cy, radius, start, start + sign * max(total - head_deg, 1)), pen)
    x, y = polar(cx, cy, radius, start + sweep)
    lean = 0.5 * head_deg * sign
    canvas.arrow_head(x, y, start + sweep - lean + (0 if sign > 0 else 180), head, "accent-fill")


def _centre(canvas: Canvas, cx: float, cy: float, room: float, stop: Stop, words: Words) -> None:
    size = abs(stop.turn_deg)
    if size < SAME_DEG:
        lines = wrap(words.say("turns this way"), 1.7 * room, 15)
        for i, line in enumerate(lines):
            canvas.text(cx, cy + 5 + 18 * (i - (len(lines) - 1) / 2), line, 15, "text-soft", "middle")
        return
    short = next((s for deg, s, _ in _TURNS if abs(size - deg) < 0.05), None)
    big = f"{_degrees(size, words)}°" if short is None else words.say(short)
    scale = min(40.0, 40 * 1.7 * room / text_width(big, 40, 600))
    canvas.text(cx, cy + 6, big, scale, anchor="middle", weight=600)
    way = words.say("with rotation") if stop.turn_deg > 0 else words.say("against rotation")
    if short is not None:
        way = words.say("{deg}° {way}", deg=_degrees(size, words), way=way)
    lines = wrap(way, 1.6 * room, 14)
    for i, line in enumerate(lines):
        canvas.text(cx, cy + 27 + 17 * i, line, 14, "text-soft", "middle")


def _labels(
    canvas: Canvas, cx: float, cy: float, radius: float, width: float, labels: Sequence[_Label]
) -> None:
    """Words of the marks in a column on either side, each tied to its mark by a hairline."""
    tall = 31.0
    low, high = 2.0, cy + radius + 22
    for right in (True, False):
        side = [label for label in labels if (label.place % TURN_DEG < 180) is right]
        side.sort(key=lambda label: polar(cx, cy, radius, label.place)[1])
        if not fits([tall] * len(side), high - low, 2):
            continue  # more marks than words can stand beside them: the table has them
        wanted = [polar(cx, cy, radius, label.place)[1] for label in side]
        for label, y in zip(side, spread(wanted, [tall] * len(side), low, high, 2), strict=True):
            edge = width - 1 if right else 1.0
            anchor: Anchor = "end" if right else "start"
            canvas.text(edge, y - 2, label.first, 14, "text-accent" if label.wanted else "text", anchor, 600)
            canvas.text(edge, y + 13, label.second, 12, "text-soft", anchor)
            reach = max(text_width(label.first, 14, 600), text_width(label.second, 12)) + 5
            x1 = edge - reach if right else edge + reach
            x2, y2 = polar(cx, cy, radius + 3, label.place)
            if (x1 - x2) * (1 if right else -1) > 2 or abs(y - y2) > 12:
                canvas.line(x1, y, x2, y2, "hair")


def _said(engine: Engine, stop: Stop, wanted: float | None, words: Words) -> list[str]:
    """What to do, then where that is: sentences."""
    mark = "" if wanted is None else " ".join(mark_words(engine, wanted, words))
    if abs(stop.turn_deg) >= SAME_DEG:
        turn = turn_words(stop.turn_deg, words)
        said = [turn[:1].upper() + turn[1:] + "."]
        if mark:
            said.append(words.say("Then the mark {mark} meets the pointer.", mark=mark))
    elif mark:
        said = [words.say("Turn with the engine's rotation until {mark} meets the pointer.", mark=mark)]
    else:
        said = [words.say("Turn with the engine's rotation until you are there.")]
    if not mark:
        said.append(words.say("There is no mark for this place: go by the signs in words."))
    if stop.cylinder is not None:
        said.append(words.say("That is firing TDC of cylinder {n}.", n=stop.cylinder))
    return said


def _below(canvas: Canvas, said: Sequence[str], top: float, width: float) -> float:
    y = top
    for index, sentence in enumerate(said):
        size, pen = (18.0, "text") if index == 0 else (14.0, "text-soft")
        weight: Weight = 600 if index == 0 else 400
        for line in wrap(sentence, width - 8, size, weight):
            y += size + 5
            canvas.text(4, y - 5, line, size, pen, weight=weight)
        y += 3
    return y + 4


def _told(engine: Engine, said: Sequence[str], labels: Sequence[_Label], marked: bool, words: Words) -> str:
    way = words.say("clockwise") if engine.turns == "clockwise" else words.say("anticlockwise")
    parts = [
        *said,
        words.say("The pulley as you face it; the engine turns it {way}; the pointer is on top.", way=way),
    ]
    for label in labels:
        where = _where(label.place, words)
        if label.wanted and not marked:
            parts.append(words.say("The place that has no mark stands {where} before the turn.", where=where))
        else:
            mark = f"{label.first} {label.second}"
            parts.append(words.say("Before the turn {mark} stands {where}.", mark=mark, where=where))
    return " ".join(parts)


def _where(place: float, words: Words) -> str:
    """A place on the face in words."""
    if place < 0.05 or place > TURN_DEG - 0.05:
        return words.say("at the pointer")
    if abs(place - 180) < 0.05:
        return words.say("opposite the pointer")
    if place < 180:
        return words.say("{deg} degrees to the right of the pointer", deg=_degrees(place, words))
    return words.say("{deg} degrees to the left of the pointer", deg=_degrees(TURN_DEG - place, words))
