"""A measured lobe as a text of rows ``angle, lift``: cam degrees and millimetres of valve lift."""

from __future__ import annotations

from itertools import pairwise

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.units import parse_number

FEWEST_ROWS = 8
"""Fewer points than this say nothing about a lift curve."""


def read_lift_table(text: str) -> tuple[tuple[tuple[float, float], ...], list[str]]:
    """Rows (cam degrees, lift mm) with rising angles, and every fault as "line 7: ...".

    Cells stand apart by a comma, a semicolon or a tab; a header line is optional, ``#`` starts a comment,
    blank lines count for nothing. Decimal commas are taken where the cells stand apart by ; or a tab.
    """
    rows: list[tuple[int, float, float]] = []
    faults: list[str] = []
    header_seen = False
    for line, whole in enumerate(text.removeprefix("\ufeff").splitlines(), 1):
        content = whole.partition("#")[0].strip()
        if not content:
            continue
        cells = _cells(content)
        if not rows and not faults and not header_seen and _is_header(cells):
            header_seen = True
            if any("crank" in cell.lower() for cell in cells):
                faults.append(
                    say(
                        "line {line}: angles are named crank degrees; give cam degrees (half of them)",
                        line=line,
                    )
                )
            continue
        if len(cells) != 2:
            faults.append(
                say(
                    "line {line}: {short} has {count} cells; write angle and lift, like 12.5, 3.20 (with decimal "
                    "commas, set the cells apart with ;)",
                    line=line,
                    short=_short(content),
                    count=len(cells),
                )
            )
            continue
        try:
            angle = parse_number(cells[0], say("angle"))
            lift = parse_number(cells[1], say("lift"))
        except InputError as error:
            faults.append(say("line {line}: {printable}", line=line, printable=_printable(str(error))))
            continue
        if not -720 <= angle <= 720:
            faults.append(
                say(
                    "line {line}: angle {angle:g} is no cam angle; give cam degrees from -720 to 720",
                    line=line,
                    angle=angle,
                )
            )
        elif not -1 <= lift <= 30:
            faults.append(
                say("line {line}: lift {lift:g} mm is no valve lift; give mm, up to 30", line=line, lift=lift)
            )
        else:
            rows.append((line, angle, lift))
    for (_, before, _), (line, after, _) in pairwise(rows):
        if after <= before:
            faults.append(
                say(
                    "line {line}: angle {after:g} follows {before:g}; angles must rise from row to row",
                    line=line,
                    after=after,
                    before=before,
                )
            )
    if rows and rows[-1][1] - rows[0][1] > 360:
        faults.append(
            say("the angles span more than 360 cam degrees, one whole turn; are they crank degrees?")
        )
    if not faults and len(rows) < FEWEST_ROWS:
        faults.append(
            say(
                "{count} rows of angle and lift; at least {fewest_rows} are needed for a curve",
                count=len(rows),
                fewest_rows=FEWEST_ROWS,
            )
        )
    elif not faults and max(lift for _, _, lift in rows) <= 0:
        faults.append(say("no row lifts the valve; lift must be above 0 mm somewhere"))
    return tuple((angle, lift) for _, angle, lift in rows), faults


def _cells(content: str) -> list[str]:
    mark = next((mark for mark in (";", "\t", ",") if mark in content), ",")
    return [cell.strip() for cell in content.split(mark)]


def _is_header(cells: list[str]) -> bool:
    return all(cell and not any(c.isdigit() for c in cell) for cell in cells)


def _short(content: str) -> str:
    return repr(_printable(content if len(content) <= 40 else content[:37] + "..."))


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
