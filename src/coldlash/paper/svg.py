"""A tiny writer of SVG: escaping, rounded numbers, the same bytes for the same drawing.

Coordinates are in pixels of a phone page (1 unit = 1 CSS pixel); paper scales them. Every drawing carries its
title, a description that says what the picture says, and the table behind it.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.pens import FAMILY, PENS
from coldlash.paper.textwidth import Weight, text_width

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
PHONE_WIDTH = 328.0
"""Pixels left for a drawing on a phone 360 wide with a margin of 16 on either side."""

_ESCAPES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"}
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escape(text: str) -> str:
    """Text for XML: marks escaped, characters that XML 1.0 forbids replaced by U+FFFD."""
    return "".join(_ESCAPES.get(char, char) for char in _FORBIDDEN.sub("\ufffd", text))


def num(value: float) -> str:
    """A coordinate to a hundredth, without trailing zeros or a minus before zero. Raises InputError."""
    if not math.isfinite(value):
        raise InputError(say("a drawing can't place {value}; give it a finite number", value=value))
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass(frozen=True, slots=True)
class Drawing:
    """One finished picture. ``rows`` is the table behind it, its first row the heads of the columns."""

    kind: str
    width: float
    height: float
    title: str
    desc: str
    body: str
    rows: tuple[tuple[str, ...], ...]

    def svg(self, ident: str | None = None) -> str:
        """The picture as an element for a page.

        ``ident`` must be unique on the page (letters, digits, ``-`` and ``_``); without one it is made from the
        content, so give one where the same picture stands twice. Raises InputError.
        """
        if ident is None:
            digest = hashlib.sha256(f"{self.title}{self.desc}{self.body}".encode()).hexdigest()
            ident = f"{self.kind}-{digest[:10]}"
        elif not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]*", ident):
            raise InputError(
                say("{ident!r} can't be an id; use a letter, then letters, digits, - and _", ident=ident)
            )
        width, height = num(self.width), num(self.height)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing drawing-{self.kind}" width="{width}" '
            f'height="{height}" viewBox="0 0 {width} {height}" role="img" '
            f'aria-labelledby="{ident}-title {ident}-desc" font-family="{FAMILY}" font-size="13">\n'
            f'<title id="{ident}-title">{escape(self.title)}</title>\n'
            f'<desc id="{ident}-desc">{escape(self.desc)}</desc>\n{self.body}</svg>\n'
        )

    def document(self) -> bytes:
        """The picture as a file of its own (for paper)."""
        return b'<?xml version="1.0" encoding="UTF-8"?>\n' + self.svg().encode()

    def table(self) -> tuple[tuple[str, ...], ...]:
        """The table behind the picture: rows of text, the heads of the columns first."""
        return self.rows


@dataclass(slots=True)
class Canvas:
    """Collects the marks of a drawing, in the order they are laid on the paper."""

    parts: list[str] = field(default_factory=list)

    def _add(
        self, tag: str, pen: str, attributes: Iterable[tuple[str, str]], content: str | None = None
    ) -> None:
        if pen not in PENS:
            raise InputError(say("no pen {pen!r}; the pens are {list}", pen=pen, list=", ".join(PENS)))
        pairs = [*attributes, ("class", f"d-{pen}"), *PENS[pen].items()]
        head = f"<{tag} " + " ".join(f'{key}="{value}"' for key, value in pairs)
        self.parts.append(f"{head}/>" if content is None else f"{head}>{content}</{tag}>")

    def line(self, x1: float, y1: float, x2: float, y2: float, pen: str) -> None:
        """A straight line."""
        ends = (("x1", num(x1)), ("y1", num(y1)), ("x2", num(x2)), ("y2", num(y2)))
        self._add("line", pen, ends)

    def rect(self, x: float, y: float, width: float, height: float, pen: str, radius: float = 0) -> None:
        """A rectangle; a width or height below nothing is nothing."""
        sides = [("x", num(x)), ("y", num(y)), ("width", num(max(width, 0))), ("height", num(max(height, 0)))]
        if radius:
            sides.append(("rx", num(radius)))
        self._add("rect", pen, sides)

    def circle(self, x: float, y: float, radius: float, pen: str) -> None:
        """A circle."""
        self._add("circle", pen, (("cx", num(x)), ("cy", num(y)), ("r", num(radius))))

    def polyline(self, points: Sequence[Point], pen: str, *, closed: bool = False) -> None:
        """A run of straight lines, or the area they enclose."""
        text = " ".join(f"{num(x)},{num(y)}" for x, y in points)
        self._add("polygon" if closed else "polyline", pen, (("points", text),))

    def path(self, d: str, pen: str) -> None:
        """A path; ``d`` is made with ``num``."""
        self._add("path", pen, (("d", d),))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 13,
        pen: str = "text",
        anchor: Anchor = "start",
        weight: Weight = 400,
    ) -> None:
        """One line of text, ``y`` at its baseline."""
        if not words:
            return
        places = [("x", num(x)), ("y", num(y)), ("font-size", num(size))]
        if anchor != "start":
            places.append(("text-anchor", anchor))
        if weight != 400:
            places.append(("font-weight", str(weight)))
        self._add("text", pen, places, escape(words))

    def backed_text(
        self, x: float, y: float, words: str, size: float = 13, anchor: Anchor = "start", weight: Weight = 400
    ) -> None:
        """Text on a slip of paper, so that lines below it don't run through the letters."""
        width = text_width(words, size, weight)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        self.rect(left - 3, y - 0.8 * size, width + 6, 1.06 * size, "paper")
        self.text(x, y, words, size, anchor=anchor, weight=weight)

    def arrow_head(self, x: float, y: float, direction_deg: float, size: float, pen: str) -> None:
        """A filled arrow head with its tip at (x, y), pointing to ``direction_deg`` (0 = right, 90 = down)."""
        a = math.radians(direction_deg)
        back, half = size, 0.42 * size
        foot = (x - back * math.cos(a), y - back * math.sin(a))
        side = (-half * math.sin(a), half * math.cos(a))
        self.polyline(
            [(x, y), (foot[0] + side[0], foot[1] + side[1]), (foot[0] - side[0], foot[1] - side[1])],
            pen,
            closed=True,
        )

    def hatch(self, x: float, y: float, width: float, height: float, step: float = 6) -> None:
        """Section lines at 45 degrees across a rectangle, cut off at its edges (drafting practice)."""
        if width <= 0 or height <= 0:
            return
        d = []
        value = math.ceil((x + y) / step) * step
        while value < x + width + y + height:
            left, right = max(x, value - y - height), min(x + width, value - y)
            if right - left > 0.5:
                d.append(f"M{num(left)} {num(value - left)}L{num(right)} {num(value - right)}")
            value += step
        if d:
            self.path("".join(d), "hatch")

    def body(self) -> str:
        """All marks as SVG."""
        return "".join(f"{part}\n" for part in self.parts)


def polar(cx: float, cy: float, radius: float, angle_deg: float) -> Point:
    """The point at ``angle_deg`` clockwise from the top."""
    a = math.radians(angle_deg)
    return cx + radius * math.sin(a), cy - radius * math.cos(a)


def arc(cx: float, cy: float, radius: float, start_deg: float, end_deg: float) -> str:
    """A path along a circle, angles clockwise from the top; end below start runs anticlockwise.

    A sweep of a full turn or more is drawn as one full circle.
    """
    sweep = end_deg - start_deg
    if abs(sweep) >= 360:
        half = start_deg + math.copysign(180, sweep)
        return arc(cx, cy, radius, start_deg, half) + arc(
            cx, cy, radius, half, half + math.copysign(180, sweep)
        )
    (x1, y1), (x2, y2) = polar(cx, cy, radius, start_deg), polar(cx, cy, radius, end_deg)
    large, clockwise = int(abs(sweep) > 180), int(sweep > 0)
    r = num(radius)
    return f"M{num(x1)} {num(y1)}A{r} {r} 0 {large} {clockwise} {num(x2)} {num(y2)}"


def ring_sector(cx: float, cy: float, inner: float, outer: float, start_deg: float, end_deg: float) -> str:
    """A closed piece of a ring from ``start_deg`` clockwise to ``end_deg`` (less than a full turn)."""
    (x1, y1), (x2, y2) = polar(cx, cy, outer, start_deg), polar(cx, cy, outer, end_deg)
    (x3, y3), (x4, y4) = polar(cx, cy, inner, end_deg), polar(cx, cy, inner, start_deg)
    large = int(end_deg - start_deg > 180)
    o, i = num(outer), num(inner)
    return (
        f"M{num(x1)} {num(y1)}A{o} {o} 0 {large} 1 {num(x2)} {num(y2)}"
        f"L{num(x3)} {num(y3)}A{i} {i} 0 {large} 0 {num(x4)} {num(y4)}Z"
    )
