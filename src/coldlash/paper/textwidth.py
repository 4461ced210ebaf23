"""How wide a line of text is: read from the font that the pages and the paper carry.

Only two tables of the font are needed, the character map (format 4) and the advance widths; no font library
is. Kerning is left out: it makes a line a little narrower, never wider by more than a hair. Characters the
font does not have are drawn by the reader's own fonts and are counted as wide as they can be.
"""

from __future__ import annotations

import struct
import unicodedata
from functools import cache
from importlib.resources import files
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import say

Weight = Literal[400, 600]

FILES: dict[Weight, str] = {400: "ColdlashSans-Regular.ttf", 600: "ColdlashSans-SemiBold.ttf"}
ASCENT = 0.78
"""Height of the tallest plain letters above the baseline, in ems (b, d, l; capitals are 0.70)."""
DESCENT = 0.22
"""Depth of the deepest plain letters below the baseline, in ems (g, p)."""


@cache
def font_bytes(weight: Weight) -> bytes:
    """The font file of this weight."""
    return files("coldlash.paper").joinpath("fonts", FILES[weight]).read_bytes()


@cache
def advances(weight: Weight) -> dict[int, float]:
    """Code point to advance width in ems. Raises InputError if the font file is not what it should be."""
    data = font_bytes(weight)
    count = struct.unpack_from(">H", data, 4)[0]
    tables: dict[bytes, int] = {}
    for i in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * i)
        tables[tag] = offset
    units = struct.unpack_from(">H", data, tables[b"head"] + 18)[0]
    long_metrics = struct.unpack_from(">H", data, tables[b"hhea"] + 34)[0]
    hmtx = tables[b"hmtx"]
    cmap = tables[b"cmap"]
    for i in range(struct.unpack_from(">H", data, cmap + 2)[0]):
        platform, encoding, offset = struct.unpack_from(">HHI", data, cmap + 4 + 8 * i)
        if (platform, encoding) == (3, 1):
            glyphs = _format_4(data, cmap + offset)
            break
    else:
        raise InputError(
            say(
                "{files}: no Unicode character map in this font; put the shipped file back",
                files=FILES[weight],
            )
        )
    return {
        code: struct.unpack_from(">H", data, hmtx + 4 * min(glyph, long_metrics - 1))[0] / units
        for code, glyph in glyphs.items()
    }


def _format_4(data: bytes, at: int) -> dict[int, int]:
    """Code point to glyph, from a cmap subtable of format 4 (OpenType specification, cmap)."""
    segments = struct.unpack_from(">H", data, at + 6)[0] // 2
    words = f">{segments}H"
    ends = struct.unpack_from(words, data, at + 14)
    starts = struct.unpack_from(words, data, at + 16 + 2 * segments)
    deltas = struct.unpack_from(words, data, at + 16 + 4 * segments)
    offsets_at = at + 16 + 6 * segments
    offsets = struct.unpack_from(words, data, offsets_at)
    glyphs: dict[int, int] = {}
    for i in range(segments):
        for code in range(starts[i], ends[i] + 1):
            if offsets[i]:
                place = offsets_at + 2 * i + offsets[i] + 2 * (code - starts[i])
                glyph = struct.unpack_from(">H", data, place)[0]
                glyph = (glyph + deltas[i]) & 0xFFFF if glyph else 0
            else:
                glyph = (code + deltas[i]) & 0xFFFF
            if glyph and code != 0xFFFF:
                glyphs[code] = glyph
    return glyphs


def text_width(text: str, size: float, weight: Weight = 400) -> float:
    """Width of one line of text in the units of ``size`` (the font size)."""
    have = advances(weight)
    return size * sum(have[c] if (c := ord(char)) in have else _elsewhere(char) for char in text)


def _elsewhere(char: str) -> float:
    """Ems of a character that another font will draw."""
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0.0
    return 1.0 if unicodedata.east_asian_width(char) in ("W", "F") else 0.8


def fit(text: str, room: float, size: float, weight: Weight = 400) -> str:
    """The text, or its beginning with an ellipsis so that it is no wider than ``room``."""
    if text_width(text, size, weight) <= room:
        return text
    kept = text
    while kept and text_width(kept + "…", size, weight) > room:
        kept = kept[:-1]
    return kept.rstrip() + "…" if kept else ""


def fit_size(text: str, room: float, size: float, least: float, weight: Weight = 400) -> tuple[str, float]:
    """The text at the largest size from ``size`` down to ``least`` that fits ``room``; cut if none does."""
    full = text_width(text, 1.0, weight)
    chosen = size if full * size <= room else max(least, int(room / full * 10) / 10)
    return fit(text, room, chosen, weight), chosen


def wrap(text: str, room: float, size: float, weight: Weight = 400) -> list[str]:
    """Lines no wider than ``room``, broken at spaces; a word that is wider alone is broken anywhere."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        tried = f"{line} {word}" if line else word
        if text_width(tried, size, weight) <= room:
            line = tried
            continue
        if line:
            lines.append(line)
        line = word
        while text_width(line, size, weight) > room and len(line) > 1:
            cut = len(line) - 1
            while cut > 1 and text_width(line[:cut], size, weight) > room:
                cut -= 1
            lines.append(line[:cut])
            line = line[cut:]
    if line:
        lines.append(line)
    return lines
