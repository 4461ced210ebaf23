"""The pulley strip: where every mark lies on a strip of paper once round the pulley, and how it is cut in pieces.

Pure geometry in mm. A strip of thickness t wound round a diameter d closes at pi (d + t): its middle runs on the
diameter d + t. Facing a pulley that turns clockwise, pointer on top, marks before TDC lie to the right of the TDC
mark and marks after it to the left, because the top moves to the right; mirrored for the other direction. The
strip is seen from outside, printed side out, its lower edge towards whoever faces the pulley.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from coldlash.bench.stops import plan_stops
from coldlash.engine.spec import Engine, Turns, Valve
from coldlash.errors import InputError
from coldlash.language import say

Paper = Literal["a4", "letter"]

TURN_DEG = 360.0
SIZES_MM: dict[Paper, tuple[float, float]] = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""Width and height lying on the long side: ISO 216, ANSI/ASME Y14.1."""
MARGIN_MM = 12.0
"""Paper edge that common printers can't print on, with some to spare (judgement)."""
LAP_MM = 10.0
"""What a piece has beyond its end, to be glued under the next one."""
CLEAR_MM = 6.0
"""A cut keeps this far from every mark where it can."""
CHECK_BAR_MM = 100.0
OFFICE_PAPER_MM = 0.1
"""Common 80 g/m2 paper (common practice)."""
DIAMETERS_MM = (10.0, 2000.0)
_SAME_DEG = 1e-6


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark wanted: crank degrees past firing TDC 1 when it meets the pointer (10 before = 350), and a name."""

    crank_deg: float
    name: str = ""


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark on the strip. ``at_mm`` from the strip's left end, in [0, length).

    ``from_tdc_mm``: along the strip from the TDC mark the shorter way, positive to the right.
    """

    number: int
    crank_deg: float
    name: str
    at_mm: float
    from_tdc_mm: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the strip, from ``start_mm`` to ``end_mm``; beyond it ``LAP_MM`` for glue.

    ``page`` and ``row`` count from 0.
    """

    number: int
    start_mm: float
    end_mm: float
    page: int
    row: int

    @property
    def length_mm(self) -> float:
        """Without the lap."""
        return self.end_mm - self.start_mm


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip once round a pulley. ``length_mm`` = pi (diameter + thickness); marks and pieces left to right."""

    turns: Turns
    length_mm: float
    diameter_mm: float
    thickness_mm: float
    height_mm: float
    join_deg: float
    paper: Paper
    marks: tuple[PlacedMark, ...]
    pieces: tuple[Piece, ...]

    @property
    def deg_per_mm(self) -> float:
        """Crank degrees for 1 mm along the strip."""
        return TURN_DEG / self.length_mm

    @property
    def pages(self) -> int:
        """Sheets that the pieces take."""
        return self.pieces[-1].page + 1

    def at_mm(self, crank_deg: float) -> float:
        """Where a crank angle lies: mm from the left end, in [0, length)."""
        return _at(self.turns, self.join_deg, crank_deg) * self.length_mm / TURN_DEG


def plan_strip(
    turns: Turns,
    marks: Sequence[Mark],
    *,
    diameter_mm: float | None = None,
    circumference_mm: float | None = None,
    thickness_mm: float = OFFICE_PAPER_MM,
    height_mm: float = 16.0,
    paper: Paper = "a4",
    join_deg: float | None = None,
) -> Strip:
    """Lay out a strip for a pulley of this diameter, or of this circumference measured on the rim itself.

    ``thickness_mm`` of the strip, 0 to 5; ``height_mm`` 8 to 60. ``join_deg``: the crank angle at which the ends
    meet; None = the middle of the widest space between marks. A circumference that was taken with the strip
    itself goes with a thickness of 0. Diameters from 10 to 2000 mm. Raises InputError.
    """
    if turns not in ("clockwise", "counterclockwise"):
        raise InputError(
            say("turns: {turns!r} is not a direction; give clockwise or counterclockwise", turns=turns)
        )
    if paper not in SIZES_MM:
        raise InputError(say("paper: {paper!r} is not known; give a4 or letter", paper=paper))
    diameter = _diameter(diameter_mm, circumference_mm)
    thickness = _within(thickness_mm, "strip thickness", 0.0, 5.0)
    height = _within(height_mm, "strip height", 8.0, 60.0)
    wanted = _wanted(marks)
    length = math.pi * (diameter + thickness)
    join = _widest_space(wanted) if join_deg is None else _angle(join_deg, "join")
    placed = _placed(turns, length, join, wanted)
    cuts = _cuts(length, [mark.at_mm for mark in placed], longest_mm(paper))
    rows = rows_on_page(paper, height)
    pieces = tuple(
        Piece(i + 1, start, end, i // rows, i % rows) for i, (start, end) in enumerate(pairwise(cuts))
    )
    return Strip(turns, length, diameter, thickness, height, join, paper, placed, pieces)


def longest_mm(paper: Paper) -> float:
    """The longest piece, without its lap, that lies along this paper."""
    return SIZES_MM[paper][0] - 2 * MARGIN_MM - LAP_MM


HEAD_MM, FOOT_MM, ROW_SPACE_MM = 24.0, 32.0, 9.0
"""Of a page of pieces: height of the words on top, of check bar and title block, and of each piece's words."""


def rows_on_page(paper: Paper, height_mm: float) -> int:
    """How many pieces lie below each other on one sheet."""
    room = SIZES_MM[paper][1] - 2 * MARGIN_MM - HEAD_MM - FOOT_MM
    return max(1, int(room / (height_mm + ROW_SPACE_MM)))


@dataclass(frozen=True, slots=True)
class MarkError:
    """What a mark that is 1 mm off amounts to. ``valve`` has the least room at the stops; None = no stops.

    ``room_deg``, ``room_mm``: how far the crank, or the mark, may be off there before that valve begins to open.
    """

    deg_per_mm: float
    mm_per_deg: float
    valve: Valve | None = None
    room_deg: float | None = None
    room_mm: float | None = None
    unreachable: tuple[Valve, ...] = ()


def mark_error(strip: Strip, engine: Engine | None = None) -> MarkError:
    """What 1 mm along this strip is in degrees, and how much room the stops at its marks leave (``bench.stops``)."""
    per_mm = strip.deg_per_mm
    if engine is None or not strip.marks:
        return MarkError(per_mm, 1 / per_mm)
    plan = plan_stops(engine, marks=[mark.crank_deg for mark in strip.marks])
    entries = [entry for stop in plan.stops for entry in stop.valves]
    if not entries:
        return MarkError(per_mm, 1 / per_mm, unreachable=plan.unreachable)
    least = min(entries, key=lambda entry: (entry.margin_deg, entry.valve))
    return MarkError(
        per_mm, 1 / per_mm, least.valve, least.margin_deg, least.margin_deg / per_mm, plan.unreachable
    )


# --- the flags: a mark's name beside its line ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Flag:
    """A mark's line and name within a piece, mm from the piece's left end and from its upper edge.

    The line runs from ``top_mm`` to the lower edge; the name stands to the right of it, or to the left. ``text``
    is empty where there was no room for even the number.
    """

    mark: PlacedMark
    at_mm: float
    top_mm: float
    text: str
    left: bool
    width_mm: float


LANE_MM = 3.6
FLAG_PAD_MM = 0.7


def flags(
    strip: Strip, piece: Piece, texts: Sequence[tuple[PlacedMark, Sequence[tuple[str, float]]]]
) -> tuple[Flag, ...]:
    """Place the names of a piece's marks so that none covers another, a line, or the piece's end.

    ``texts``: for each mark of the piece from left to right, the names it may carry with their widths in mm, best
    first. Each name takes the highest free lane, right of its line, else left of it. Where a mark finds no room, the
    longest name near it gives way to its next one; a mark without any room gets a short bare line.
    """
    allowed = [list(names) for _, names in texts]
    while True:
        placed = _place_flags(
            strip, piece, [(mark, names) for (mark, _), names in zip(texts, allowed, strict=True)]
        )
        crowded = [i for i, flag in enumerate(placed) if not flag.text and texts[i][1]]
        if not crowded:
            return placed
        here = placed[crowded[0]].at_mm
        longest = max(
            (
                i
                for i, flag in enumerate(placed)
                if flag.text and flag.text != allowed[i][-1][0] and _near(flag, here)
            ),
            key=lambda i: (placed[i].width_mm, -i),
            default=None,
        )
        if longest is None:
            return placed
        shorter = [name for name, _ in allowed[longest]].index(placed[longest].text) + 1
        allowed[longest] = allowed[longest][shorter:]


def _near(flag: Flag, at: float) -> bool:
    return abs(flag.at_mm - at) <= flag.width_mm + 3 * LANE_MM


def _place_flags(
    strip: Strip, piece: Piece, texts: Sequence[tuple[PlacedMark, Sequence[tuple[str, float]]]]
) -> tuple[Flag, ...]:
    lanes = max(1, int((strip.height_mm - 3.0) / LANE_MM))
    taken: list[tuple[int, float, float]] = []
    lines: list[tuple[float, int]] = []
    result = []
    for mark, names in texts:
        at = mark.at_mm - piece.start_mm
        spots = (
            (text, width, left, lane)
            for text, width in names
            for left in (False, True)
            for lane in range(lanes)
            if _free(at, width, left, lane, taken, lines, piece.length_mm)
        )
        text, width, left, lane = next(spots, ("", 0.0, False, lanes))
        if text:
            taken.append((lane, *_reach(at, width, left)))
        lines.append((at, lane))
        result.append(Flag(mark, at, lane * LANE_MM + 0.6, text, left, width))
    return tuple(result)


def _reach(at: float, width: float, left: bool) -> tuple[float, float]:
    size = width + 2 * FLAG_PAD_MM
    return (at - size, at) if left else (at, at + size)


def _free(
    at: float,
    width: float,
    left: bool,
    lane: int,
    taken: Sequence[tuple[int, float, float]],
    lines: Sequence[tuple[float, int]],
    length: float,
) -> bool:
    low, high = _reach(at, width, left)
    if low < 0 or high > length:
        return False
    if any(other == lane and low < b and high > a for other, a, b in taken):
        return False
    # Its line runs down through the lanes below; names there must not stand in its way, nor other lines in its own.
    if any(other > lane and a < at < b for other, a, b in taken):
        return False
    return not any(low <= x <= high and x != at and top <= lane for x, top in lines)


# --- placing -------------------------------------------------------------------------------------------------


def _diameter(diameter_mm: float | None, circumference_mm: float | None) -> float:
    if (diameter_mm is None) == (circumference_mm is None):
        raise InputError(say("pulley: give its diameter or its measured circumference in mm, one of the two"))
    if diameter_mm is not None:
        return _within(diameter_mm, "pulley diameter", *DIAMETERS_MM)
    low, high = (math.pi * d for d in DIAMETERS_MM)
    return _within(circumference_mm or 0.0, "pulley circumference", low, high) / math.pi


def _within(value: float, what: str, low: float, high: float) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(
            say(
                "{what}: {value:g} mm is out of range; give {low:g} to {high:g} mm",
                what=what,
                value=value,
                low=low,
                high=high,
            )
        )
    return value


def _angle(value: float, what: str) -> float:
    if not math.isfinite(value):
        raise InputError(
            say(
                "{what}: {value} is no angle; give crank degrees past firing TDC of cylinder 1",
                what=what,
                value=value,
            )
        )
    within = value % TURN_DEG
    return 0.0 if abs(within - TURN_DEG) < _SAME_DEG else within + 0.0


def _wanted(marks: Sequence[Mark]) -> list[Mark]:
    """Each angle once, within one turn; of two at one angle the first that has a name."""
    found: dict[int, Mark] = {}
    for mark in marks:
        angle = _angle(mark.crank_deg, f"mark {mark.name!r}" if mark.name else "mark")
        key = round(angle / _SAME_DEG) % round(TURN_DEG / _SAME_DEG)
        if key not in found or (mark.name and not found[key].name):
            found[key] = Mark(angle, mark.name)
    if not found:
        raise InputError(say("strip: no marks are wanted; give at least one, such as TDC"))
    if len(found) > 360:
        raise InputError(
            say("strip: {count} marks are wanted; 360 are as many as can be told apart", count=len(found))
        )
    return [found[key] for key in sorted(found)]


def _at(turns: Turns, join_deg: float, crank_deg: float) -> float:
    """Degrees from the left end: later angles lie to the left on a pulley that turns clockwise."""
    way = -1.0 if turns == "clockwise" else 1.0
    within = (way * (crank_deg - join_deg)) % TURN_DEG
    return 0.0 if TURN_DEG - within < _SAME_DEG else within


def _widest_space(marks: Sequence[Mark]) -> float:
    """The middle of the widest space between marks; of equally wide ones the one nearest before TDC."""
    angles = [mark.crank_deg for mark in marks]
    spaces = [(b - a, (a + b) / 2) for a, b in pairwise([*angles, angles[0] + TURN_DEG])]
    width = max(space for space, _ in spaces)
    return max(middle % TURN_DEG for space, middle in spaces if width - space < _SAME_DEG)


def _placed(turns: Turns, length: float, join: float, marks: Sequence[Mark]) -> tuple[PlacedMark, ...]:
    per_deg = length / TURN_DEG
    tdc = _at(turns, join, 0.0)
    placed = sorted(((_at(turns, join, mark.crank_deg), mark) for mark in marks), key=lambda pair: pair[0])
    result = []
    for number, (at, mark) in enumerate(placed, 1):
        apart = at - tdc
        if apart > TURN_DEG / 2 + _SAME_DEG:
            apart -= TURN_DEG
        elif apart < -TURN_DEG / 2 - _SAME_DEG:
            apart += TURN_DEG
        result.append(PlacedMark(number, mark.crank_deg, mark.name, at * per_deg, apart * per_deg))
    return tuple(result)


def _cuts(length: float, marks: Sequence[float], longest: float) -> list[float]:
    """Ends of the pieces, 0 and ``length`` included: as few and as even as can be, cuts away from marks."""
    fewest = max(1, math.ceil(length / longest - 1e-9))
    for count in (fewest, fewest + 1):
        cuts = [0.0]
        for k in range(1, count):
            low = max(cuts[-1] + CLEAR_MM, length - (count - k) * longest)
            high = min(cuts[-1] + longest, length - (count - k) * CLEAR_MM)
            even = length * k / count
            tried = [even, *(m + side * CLEAR_MM for m in marks for side in (-1, 1))]
            clear = [
                c
                for c in tried
                if low - 1e-9 <= c <= high + 1e-9 and all(abs(c - m) >= CLEAR_MM - 1e-9 for m in marks)
            ]
            if not clear:
                break
            cuts.append(min(clear, key=lambda c: (abs(c - even), c)))
        else:
            return [*cuts, length]
    return [length * k / fewest for k in range(fewest)] + [length]
