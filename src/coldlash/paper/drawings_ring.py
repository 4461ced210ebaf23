"""The whole cycle of 720 degrees: which valves are closed around the present spot, and how much room there is.

As a ring it is read like the pulley: the pointer is on top, the ring turns the way the engine does at half its
speed (as the camshaft does), so what comes later lies where marks after TDC lie. As a strip it has a line for
every valve, earlier to the left, later to the right.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from coldlash.bench.stops import Room, Stop, closed_at, room_at, within_cycle
from coldlash.engine.firing import CYCLE_DEG, OpenSpan, firing_angles, open_spans
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say
from coldlash.paper.drawings_pulley import direction
from coldlash.paper.labels import Key, legend
from coldlash.paper.svg import PHONE_WIDTH, Canvas, Drawing, polar, ring_sector
from coldlash.paper.textwidth import Weight, text_width
from coldlash.paper.words import ENGLISH, Words

ALL_VALVES = 8
"""Up to so many valves the ring has a track for each; beyond, only for those to check at the stop."""
SMALLEST_NAME = 9.0


@dataclass(frozen=True, slots=True)
class _Track:
    valve: Valve
    span: OpenSpan
    margin_deg: float
    here: bool


def cycle_ring(engine: Engine, stop: Stop, *, words: Words = ENGLISH, width: float = PHONE_WIDTH) -> Drawing:
    """The ring around a stop. ``width`` in pixels, 300 or more. Raises InputError."""
    if width < 300:
        raise InputError(say("a ring needs a width of 300 or more, not {width:g}", width=width))
    checked = {entry.valve for entry in stop.valves}
    states = closed_at(engine, stop.crank_deg)
    tracks = [
        _Track(valve, span, states[valve].margin_deg, valve in checked)
        for valve, span in open_spans(engine).items()
        if valve in checked or len(engine.valves) <= ALL_VALVES
    ]
    tracks.sort(key=lambda t: (not t.here, t.valve))
    canvas = Canvas()
    outer = min(width / 2 - 34, 150.0)
    cx, cy = width / 2, outer + 50
    inner = 44.0
    step = min(13.0, (outer - inner) / max(len(tracks), 1))
    room = shared_room(engine, stop)
    _room_sector(canvas, engine, cx, cy, outer - step * len(tracks), outer, room)
    for index, track in enumerate(tracks):
        _ring_track(canvas, engine, cx, cy, outer - (index + 0.5) * step, step, track, stop.crank_deg)
    _cylinders(canvas, engine, cx, cy, outer, stop.crank_deg)
    tip = cy - outer - 30
    canvas.polyline([(cx - 8, tip - 17), (cx + 8, tip - 17), (cx, tip)], "measured", closed=True)
    for index, track in enumerate(tracks):
        size = min(12.5, step)
        if size >= SMALLEST_NAME:
            _name(canvas, cx, cy - outer + (index + 0.5) * step, track, size)
    _spare(canvas, cx, cy, stop, words)
    _ways(canvas, engine, cx, cy, outer, words)
    keys = [Key("open-e", words.say("exhaust open")), Key("open-i", words.say("intake open"))]
    if room is not None:
        keys.append(Key("room", room_words(room, words)))
    if tracks and step < SMALLEST_NAME:
        inward = ", ".join(str(track.valve) for track in tracks)
        keys.append(Key("none", words.say("from the rim inward: {valves}", valves=inward)))
    left_out = len(engine.valves) - len(tracks)
    if left_out:
        keys.append(Key("none", words.say("{n} more valves: see the strip", n=left_out)))
    top = cy + outer + 30
    height = top + legend(canvas, keys, 2, top, width - 4, 13) + 4
    title = words.say("Which valves are closed here")
    desc, rows = _told(engine, stop.crank_deg, checked, room, words)
    return Drawing("ring", width, height, title, desc, canvas.body(), rows)


def shared_room(engine: Engine, stop: Stop) -> Room | None:
    """The room that all valves of the stop share; None when there are none, or one of them is open there."""
    if not stop.valves or any(entry.margin_deg <= 0 for entry in stop.valves):
        return None
    rooms = [room_at(engine, entry.valve, stop.crank_deg) for entry in stop.valves]
    return Room(min(r.before_deg for r in rooms), min(r.after_deg for r in rooms))


def room_words(room: Room, words: Words) -> str:
    """How far off the crank may stand with every valve of the stop still closed."""
    return words.say(
        "room: {before}° before to {after}° after",
        before=words.number(int(room.before_deg), 0),
        after=words.number(int(room.after_deg), 0),
    )


def _angle(engine: Engine, ahead_deg: float) -> float:
    """Degrees clockwise from the top for a place so many crank degrees ahead; later places as on the pulley."""
    return -direction(engine) * ahead_deg / 2


def _sector(
    canvas: Canvas,
    engine: Engine,
    cx: float,
    cy: float,
    inner: float,
    outer: float,
    from_deg: float,
    length: float,
    pen: str,
) -> None:
    a, b = sorted((_angle(engine, from_deg), _angle(engine, from_deg + length)))
    canvas.path(ring_sector(cx, cy, inner, outer, a, b), pen)


def _room_sector(
    canvas: Canvas, engine: Engine, cx: float, cy: float, inner: float, outer: float, room: Room | None
) -> None:
    if room is not None:
        _sector(
            canvas,
            engine,
            cx,
            cy,
            inner,
            outer + 5,
            -room.before_deg,
            room.before_deg + room.after_deg,
            "room",
        )


def _ring_track(
    canvas: Canvas, engine: Engine, cx: float, cy: float, radius: float, step: float, track: _Track, at: float
) -> None:
    canvas.circle(cx, cy, radius, "rail")
    half = 0.36 * step
    ahead = (track.span.opens - at) % CYCLE_DEG
    pen = "open-e" if track.valve.kind == "E" else "open-i"
    _sector(canvas, engine, cx, cy, radius - half, radius + half, ahead, track.span.length, pen)


def _name(canvas: Canvas, cx: float, middle: float, track: _Track, size: float) -> None:
    name = str(track.valve)
    weight: Weight = 600 if track.here else 400
    half = text_width(name, size, 600) / 2
    canvas.rect(cx - half - 2, middle - 0.46 * size, 2 * half + 4, 0.92 * size, "paper")
    canvas.text(cx, middle + 0.35 * size, name, size, "text" if track.here else "text-soft", "middle", weight)


def _cylinders(canvas: Canvas, engine: Engine, cx: float, cy: float, outer: float, at: float) -> None:
    """Each cylinder's number at its firing TDC, outside the ring; those that fire together stand side by side."""
    together: dict[int, list[int]] = {}
    for cylinder, angle in firing_angles(engine).items():
        together.setdefault(round((angle - at) % CYCLE_DEG * 1000), []).append(cylinder)
    for key, cylinders in together.items():
        angle = _angle(engine, key / 1000)
        (x1, y1), (x2, y2) = polar(cx, cy, outer, angle), polar(cx, cy, outer + 6, angle)
        canvas.line(x1, y1, x2, y2, "ink")
        x, y = polar(cx, cy, outer + 17, angle)
        canvas.text(x, y + 5, "·".join(map(str, cylinders)), 14, anchor="middle", weight=600)


def _spare(canvas: Canvas, cx: float, cy: float, stop: Stop, words: Words) -> None:
    if not stop.valves:
        canvas.text(cx, cy + 5, words.say("none here"), 14, "text-soft", "middle")
        return
    least = min(entry.margin_deg for entry in stop.valves)
    canvas.text(cx, cy + 4, f"{words.number(int(least), 0)}°", 26, anchor="middle", weight=600)
    canvas.text(cx, cy + 21, words.say("to spare"), 13, "text-soft", "middle")


def _ways(canvas: Canvas, engine: Engine, cx: float, cy: float, outer: float, words: Words) -> None:
    """Which side of the pointer is earlier and which later, in the corners the ring leaves free."""
    y = cy - outer - 34
    later, earlier = words.say("later"), words.say("earlier")
    left, right = (later, earlier) if direction(engine) > 0 else (earlier, later)
    canvas.text(2, y, f"← {left}", 13, "text-soft")
    canvas.text(2 * cx - 2, y, f"{right} →", 13, "text-soft", "end")


def closed_strip(
    engine: Engine,
    crank_deg: float,
    *,
    here: Collection[Valve] = (),
    words: Words = ENGLISH,
    width: float = PHONE_WIDTH,
) -> Drawing:
    """Every valve's open span over the 360 degrees before and after ``crank_deg``, and its room in words.

    ``here``: valves to check there, marked. ``width`` in pixels, 300 or more. Raises InputError.
    """
    if width < 300:
        raise InputError(say("a strip needs a width of 300 or more, not {width:g}", width=width))
    at = within_cycle(crank_deg)
    states = closed_at(engine, at)
    canvas = Canvas()
    names = 36.0
    said = {
        valve: words.say("open") if state.open else f"{words.number(int(state.margin_deg), 0)}°"
        for valve, state in states.items()
    }
    column = max(text_width(text, 13, 600) for text in said.values()) + 8
    left, right = names, width - column
    middle = (left + right) / 2
    per_deg = (right - left) / CYCLE_DEG
    top, line = 52.0, 20.0
    foot = top + line * len(states)
    _firing_row(canvas, engine, at, middle, per_deg, top, foot)
    canvas.text(2, top - 12, words.say("fires"), 12, "text-soft")
    canvas.text(width - 1, top - 12, words.say("room"), 12, "text-soft", "end")
    spans = open_spans(engine)
    for index, valve in enumerate(states):
        y = top + (index + 0.5) * line
        canvas.line(left, y, right, y, "rail")
        span = spans[valve]
        pen = "open-e" if valve.kind == "E" else "open-i"
        for start in ((span.opens - at) % CYCLE_DEG - CYCLE_DEG * k for k in (0, 1, 2)):
            a, b = max(start, -360.0), min(start + span.length, 360.0)
            if b > a:
                canvas.rect(middle + a * per_deg, y - 5, (b - a) * per_deg, 10, pen)
        strong = valve in here
        if strong:
            canvas.rect(0, y - 8, 4, 16, "accent-fill")
        canvas.text(7, y + 5, str(valve), 13, "text-accent" if strong else "text", weight=600)
        pen = "text-soft" if states[valve].open else "text"
        canvas.text(width - 1, y + 5, said[valve], 13, pen, "end", 600 if strong else 400)
    canvas.line(middle, top - 8, middle, foot + 4, "blade")
    canvas.text(middle, foot + 18, words.say("here"), 13, anchor="middle", weight=600)
    canvas.text(left, foot + 18, words.say("← earlier"), 12, "text-soft")
    canvas.text(right, foot + 18, words.say("later →"), 12, "text-soft", "end")
    keys = [Key("open-e", words.say("exhaust open")), Key("open-i", words.say("intake open"))]
    if here:
        keys.append(Key("here", words.say("check here")))
    height = foot + 28 + legend(canvas, keys, 2, foot + 28, width - 4, 13) + 4
    title = words.say("Open and closed valves over two turns")
    desc, rows = _told(engine, at, set(here), None, words)
    return Drawing("strip", width, height, title, desc, canvas.body(), rows)


def _firing_row(
    canvas: Canvas, engine: Engine, at: float, middle: float, per_deg: float, top: float, foot: float
) -> None:
    """The firing TDCs over the strip; numbers too close to stand beside each other step up a line."""
    together: dict[int, list[int]] = {}
    for cylinder, angle in firing_angles(engine).items():
        place = (angle - at + CYCLE_DEG / 2) % CYCLE_DEG - CYCLE_DEG / 2
        together.setdefault(round(place * 1000), []).append(cylinder)
    ends = [0.0, 0.0, 0.0]
    for key in sorted(together):
        x = middle + key / 1000 * per_deg
        text = "·".join(map(str, together[key]))
        half = text_width(text, 12) / 2
        level = next((i for i, end in enumerate(ends) if x - half >= end), 2)
        ends[level] = x + half + 4
        canvas.line(x, top - 8, x, foot, "hair")
        canvas.text(x, top - 12 - 14 * level, text, 12, "text-soft", "middle")


def _told(
    engine: Engine, crank_deg: float, here: Collection[Valve], room: Room | None, words: Words
) -> tuple[str, tuple[tuple[str, ...], ...]]:
    """The text alternative, and the table: every valve at this angle."""
    states = closed_at(engine, crank_deg)
    rows = [
        (
            words.say("valve"),
            words.say("here"),
            words.say("degrees to the nearest edge"),
            words.say("closed since, degrees"),
            words.say("opens in, degrees"),
        )
    ]
    for valve, state in states.items():
        edge = words.number(abs(state.margin_deg), 0)
        if state.open:
            rows.append((str(valve), words.say("open"), edge, "–", "–"))
        else:
            own = room_at(engine, valve, crank_deg)
            rows.append(
                (
                    str(valve),
                    words.say("closed, check here") if valve in here else words.say("closed"),
                    edge,
                    words.number(own.before_deg, 0),
                    words.number(own.after_deg, 0),
                )
            )
    said = []
    if here:
        listed = ", ".join(
            words.say(
                "{valve} ({deg} degrees to spare)", valve=v, deg=words.number(int(states[v].margin_deg), 0)
            )
            for v in sorted(here)
        )
        said.append(words.say("To check here: {valves}.", valves=listed))
    if room is not None:
        said.append(
            words.say(
                "All of them are closed from {before} degrees before to {after} degrees after this place.",
                before=words.number(int(room.before_deg), 0),
                after=words.number(int(room.after_deg), 0),
            )
        )
    for template, wanted in ((mark("Closed: {valves}."), False), (mark("Open: {valves}."), True)):
        valves = [str(v) for v, s in states.items() if s.open is wanted]
        if valves:
            said.append(words.say(template, valves=", ".join(valves)))
    return " ".join(said), tuple(rows)
