"""Type small enough for its place: the largest size at which a text, wrapped, stays inside a box on paper."""

from __future__ import annotations

from coldlash.paper.textwidth import Weight, text_width, wrap
from coldlash.paper.typesetting import LONGEST_RUN

MM_PER_PT = 25.4 / 72
LEADING = 1.25
"""Height of a line over its type size, with a little to spare."""


def fit_size(
    text: str, room_mm: tuple[float, float], most: float, least: float, weight: Weight = 400
) -> float:
    """The largest type size (pt, in halves) at which the text, wrapped, fits ``room_mm``; ``least`` if none does."""
    width, height = (mm / MM_PER_PT for mm in room_mm)
    size = most
    while size > least:
        lines = sum(max(1, len(wrap(part, width, size, weight))) for part in text.splitlines() or [""])
        widest = max((text_width(word, size, weight) for word in text.split()), default=0.0)
        long_word = any(len(word) > LONGEST_RUN for word in text.split())
        if lines * size * LEADING <= height and (widest <= width or long_word):
            return size
        size -= 0.5
    return least
