"""The pens of every drawing: a class for the page's stylesheet and the same look as attributes for paper.

A drawing names a pen; the pen gives ``class="d-name"`` and presentation attributes. On a page
``web/static/coldlash.css`` overrides these by class (night, print); in a PDF or alone the attributes hold.
Nothing here is a ``style``, so the strictest content security policy lets it through.

Measured things are solid ink, inferred things soft bands, unknown things open with a broken outline; colours
(Okabe and Ito's colour-blind safe set) only repeat that.
"""

from __future__ import annotations

INK = "#16191d"
SOFT_INK = "#565c64"
HAIR = "#9aa0a8"
PAPER = "#ffffff"
ACCENT = "#0072b2"
BAND = "#56b4e9"
EXHAUST = "#d55e00"
FAMILY = "'Coldlash Sans', 'Noto Sans', 'DejaVu Sans', sans-serif"

Pen = dict[str, str]


def _line(colour: str, width: float, dashes: str | None = None, **more: str) -> Pen:
    pen = {"fill": "none", "stroke": colour, "stroke-width": f"{width:g}"}
    if dashes:
        pen["stroke-dasharray"] = dashes
    return pen | {k.replace("_", "-"): v for k, v in more.items()}


def _fill(colour: str, opacity: str | None = None) -> Pen:
    return {"fill": colour} | ({"fill-opacity": opacity} if opacity else {})


def _shape(fill: str, stroke: str, width: float, dashes: str | None = None) -> Pen:
    return _line(stroke, width, dashes) | {"fill": fill}


PENS: dict[str, Pen] = {
    "outline": _line(INK, 1.75, stroke_linejoin="round"),
    "ink": _line(INK, 1.25),
    "hair": _line(HAIR, 1),
    "hatch": _line(HAIR, 0.75),
    "centre": _line(SOFT_INK, 1, "12 3 2 3"),
    "tick": _line(INK, 1.25),
    "blade": _line(INK, 2.5),
    "body": _shape(PAPER, INK, 1.75),
    "measured": _fill(INK),
    "measured-open": _line(INK, 2, stroke_linejoin="round"),
    "reread": _shape(PAPER, INK, 1.5),
    "target": _shape(PAPER, INK, 1.5),
    "unknown": _line(SOFT_INK, 1.25, "2 3"),
    "band": _fill(BAND, "0.32"),
    "band-core": _fill(BAND, "0.5"),
    "band-edge": _line(ACCENT, 1, "1 3", stroke_linecap="round"),
    "band-mid": _line(ACCENT, 1.5),
    "fan": _fill(BAND, "0.2"),
    "fan-core": _fill(BAND, "0.32"),
    "fan-edge": _line(ACCENT, 1, "4 3"),
    "set": _line(INK, 1.5),
    "set-thin": _line(INK, 1),
    "cap": _line(INK, 1.5),
    "grid": _line(HAIR, 0.75, "1 4"),
    "ahead": _line(SOFT_INK, 1, "2 2"),
    "band-mid-soft": _line(ACCENT, 0.75, "1 3", stroke_linecap="round"),
    "tight": _line(INK, 1.25, "7 3"),
    "loose": _line(INK, 1.25, "7 3 1.5 3"),
    "reset": _line(SOFT_INK, 1.25, "1.5 3"),
    "frame": _line(HAIR, 1),
    "accent": _line(ACCENT, 3),
    "accent-thin": _line(ACCENT, 1.5),
    "accent-fill": _fill(ACCENT),
    "mark-wanted": _line(ACCENT, 6),
    "mark-missing": _line(ACCENT, 2.5, "3 3"),
    "room": _fill(BAND, "0.32"),
    "series-a": _line(ACCENT, 2),
    "series-b": _line(EXHAUST, 2, "7 3"),
    "series-c": _line(INK, 1.75, "2 3"),
    "series-d": _line(SOFT_INK, 1.75, "10 3 2 3"),
    "open-i": _fill(ACCENT),
    "open-e": _fill(EXHAUST),
    "rail": _line(HAIR, 1.5),
    "paper": _fill(PAPER),
    "text": _fill(INK),
    "text-soft": _fill(SOFT_INK),
    "text-accent": _fill(ACCENT),
    "text-paper": _fill(PAPER),
}

TOKENS = {
    INK: "--ink",
    SOFT_INK: "--ink-soft",
    HAIR: "--hair",
    PAPER: "--paper",
    ACCENT: "--accent",
    BAND: "--band",
    EXHAUST: "--exhaust",
}
"""Each colour's name in the page's stylesheet, where the night and the printer have their own."""


def stylesheet() -> str:
    """The rules of the page's stylesheet that give every pen its colours there."""
    rules: dict[str, list[str]] = {}
    for name, pen in PENS.items():
        colours = "; ".join(
            f"{key}: var({TOKENS[pen[key]]})" for key in ("fill", "stroke") if pen.get(key) in TOKENS
        )
        rules.setdefault(colours, []).append(f".d-{name}")
    return "".join(",\n".join(names) + f" {{ {colours}; }}\n" for colours, names in rules.items())
