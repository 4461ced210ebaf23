"""The plan of an engine drawn in text: seen from above, pulley side marked, each valve where it is."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coldlash.engine.spec import Engine, Valve
from coldlash.language import say, say_in

WIDEST = 78
"""Columns of a terminal that a plan keeps within where its labels allow it."""


@dataclass(frozen=True, slots=True)
class Bank:
    """One line of heads, from the pulley outward: for each head its valves in order."""

    heads: tuple[tuple[Valve, ...], ...]

    @property
    def cylinders(self) -> tuple[int, ...]:
        """Its cylinders from the pulley outward, by where each is met first."""
        return tuple(dict.fromkeys(valve.cylinder for head in self.heads for valve in head))


def banks_of(engine: Engine) -> tuple[Bank, ...]:
    """One bank (in line) or two: right first, then left, as for someone who faces the pulley.

    Two where the layout says flat or vee, or, where none is stated, when there are two heads or opposite
    cylinders share lobes. The first half of ``heads`` is the right bank. Without ``rows`` the valves come in
    the order of the cylinders in the file, intake first.
    """
    heads = [_valves_of(engine, head) for head in engine.heads]
    two = engine.layout in ("flat", "vee") or (
        engine.layout is None and (len(heads) == 2 or (len(heads) > 2 and bool(engine.shared_lobes)))
    )
    if not two or len(heads) < 2:
        return (Bank(tuple(heads)),)
    half = (len(heads) + 1) // 2
    return Bank(tuple(heads[:half])), Bank(tuple(heads[half:]))


def _valves_of(engine: Engine, head: tuple[int, ...]) -> tuple[Valve, ...]:
    for row in engine.rows:
        if row and row[0].cylinder in head:
            return row
    return tuple(valve for cylinder in head for valve in engine.valves if valve.cylinder == cylinder)


def plan_text(engine: Engine, labels: Mapping[Valve, str] | None = None) -> str:
    """The plan as lines of text, with a ``labels`` text (a gap, say) at each valve that has one.

    Up to sixteen valves keep within 78 columns with labels of up to five characters. What the engine file does
    not state (order of the valves, layout) is said below the drawing.
    """
    texts = {valve: (labels or {}).get(valve, "") for valve in engine.valves}
    banks = banks_of(engine)
    if len(banks) == 2:
        drawing = _two_banks(banks[0], banks[1], texts)
    else:
        drawing = _across(banks[0], texts)
        if max(map(width, drawing)) > WIDEST:
            drawing = _along(banks[0], texts)
    order = "-".join(map(str, engine.firing_order))
    if engine.cylinders > 1:
        clockwise = say(
            "Fires {order}, turns clockwise seen facing the pulley.",
            order=order,
        )
        counter = say("Fires {order}, turns counter-clockwise seen facing the pulley.", order=order)
    else:
        clockwise = say("Turns clockwise seen facing the pulley.")
        counter = say("Turns counter-clockwise seen facing the pulley.")
    below = [clockwise if engine.turns == "clockwise" else counter]
    if len(banks) == 2:
        below.append(say("Right and left are those of someone who faces the pulley."))
    if not engine.rows:
        below.append(say("The file gives no rows: where each valve lies along its head is a guess."))
    if engine.layout is None and len(engine.heads) > 1:
        if len(banks) == 2:
            below.append(say("The file gives no layout: drawn as two banks, the first head on the right."))
        else:
            below.append(say("The file gives no layout: drawn as one bank."))
    return "\n".join(
        line.rstrip() for line in [say("{name}, seen from above", name=engine.name), "", *drawing, "", *below]
    )


_Line = tuple[str, ...]
"""A line of the right bank in pieces: frames and words by turns, frames first. Mirrored piece by piece, so
that words stay readable."""


def _two_banks(right: Bank, left: Bank, texts: Mapping[Valve, str]) -> list[str]:
    """Crankcase in the middle, pulley at the bottom, first cylinders of both banks next to it."""
    rights = ["".join(line) for line in _side(right, texts)]
    lefts = [_mirror(line) for line in _side(left, texts)]
    height = max(len(rights), len(lefts))
    rights, lefts = _lift(rights, height), _lift(lefts, height)
    case = ["┌───────┐", *("│       │" for _ in range(height - 2)), "└───┬───┘"]
    margin, middle = width(lefts[0]), width(lefts[0]) + len(case[0]) // 2
    names = pad(say_in("bank", "left"), margin + len(case[0]) + _BARREL) + say_in("bank", "right")
    body = [f"{a}{b}{c}" for a, b, c in zip(lefts, case, rights, strict=True)]
    foot = [" " * (middle - len(text) // 2) + text for text in ("║", "══╩══", say("pulley"))]
    return [f"  {line}" for line in (names, *body, *foot)]


def _lift(lines: list[str], height: int) -> list[str]:
    """Room above a shorter bank: both begin at the pulley."""
    return [" " * width(lines[0])] * (height - len(lines)) + lines


_FLIP = str.maketrans("┌┐└┘├┤", "┐┌┘└┤├")
_BARREL = 9
"""Columns between crankcase and head."""


def _mirror(line: _Line) -> str:
    """A line of the right bank, drawn for the left."""
    return "".join(
        piece if index % 2 else piece[::-1].translate(_FLIP)
        for index, piece in reversed(list(enumerate(line)))
    )


def _side(bank: Bank, texts: Mapping[Valve, str]) -> list[_Line]:
    """The right bank: cylinders beside the crankcase, then heads; from the far end down to the pulley."""
    wide = max(width(_cell(valve, texts)) for head in bank.heads for valve in head)
    gap = " " * _BARREL
    lines: list[_Line] = []
    for head in reversed(bank.heads):
        lines.append((f"{gap}┌─{'─' * wide}─┐",))
        for index, group in enumerate(_by_cylinder(tuple(reversed(head)))):
            if index:
                lines.append((f"{gap}│ {' ' * wide} │",))
            cells = [pad(_cell(valve, texts), wide) for valve in group]
            if len(group) == 2:
                lines.append(("   ┌─────┤ ", cells[0], " │"))
                lines.append(("───┤ ", f"{group[0].cylinder:<2}", f"  │ {' ' * wide} │"))
                lines.append(("   └─────┤ ", cells[1], " │"))
            else:  # a cylinder whose valves don't lie side by side has no room for a barrel
                lines += [(f"{gap}│ ", cell, " │") for cell in cells]
        lines.append((f"{gap}└─{'─' * wide}─┘",))
    return lines


def _by_cylinder(valves: Sequence[Valve]) -> list[list[Valve]]:
    """Neighbouring valves of one cylinder together."""
    groups: list[list[Valve]] = []
    for valve in valves:
        if groups and groups[-1][-1].cylinder == valve.cylinder:
            groups[-1].append(valve)
        else:
            groups.append([valve])
    return groups


def _cell(valve: Valve, texts: Mapping[Valve, str]) -> str:
    text = texts[valve]
    return f"{valve!s:<3} {text}" if text else str(valve)


def _across(bank: Bank, texts: Mapping[Valve, str]) -> list[str]:
    """In line with the pulley on the left: a box a cylinder, a double line between heads."""
    wide = max(2, *(max(width(str(v)), width(texts[v])) for head in bank.heads for v in head))
    top, names, given, numbers, bottom = "┌", "│", "│", "│", "└"
    for place, head in enumerate(bank.heads):
        groups = _by_cylinder(head)
        for index, group in enumerate(groups):
            last_in_head = index == len(groups) - 1
            last = last_in_head and place == len(bank.heads) - 1
            end = ("┐", "│", "┘") if last else ("╥", "║", "╨") if last_in_head else ("┬", "│", "┴")
            cells = [centre(str(v), wide) for v in group]
            room = len(group) * (wide + 1) + 1
            top += "─" * room + end[0]
            names += " " + " ".join(cells) + " " + end[1]
            given += " " + " ".join(centre(texts[v], wide) for v in group) + " " + end[1]
            numbers += centre(f"{group[0].cylinder}", room) + end[1]
            bottom += "─" * room + end[2]
    body = [names, given, numbers] if any(texts.values()) else [names, numbers]
    axis = [" ╻  ", "═╋══", " ╹  "] if len(body) == 3 else [" ╻  ", "═╋══"]
    lines = [f"    {top}", *(f"{a}{b}" for a, b in zip(axis, body, strict=True)), f"    {bottom}"]
    return [*(f"  {line}" for line in lines), f"  {say('pulley side')}"]


def _along(bank: Bank, texts: Mapping[Valve, str]) -> list[str]:
    """In line with the pulley at the bottom, one line a valve, for what is too wide to be drawn across."""
    wide = max(width(_cell(valve, texts)) for head in bank.heads for valve in head)
    lines: list[str] = []
    for place, head in enumerate(reversed(bank.heads)):
        lines.append(f"┌──────┬─{'─' * wide}─┐" if not place else f"╞══════╪═{'═' * wide}═╡")
        for index, group in enumerate(_by_cylinder(tuple(reversed(head)))):
            if index:
                lines.append(f"├──────┼─{'─' * wide}─┤")
            for i, valve in enumerate(group):
                number = str(valve.cylinder) if i == 0 else ""
                lines.append(f"│ {centre(number, 4)} │ {pad(_cell(valve, texts), wide)} │")
    lines.append(f"└──┬───┴─{'─' * wide}─┘")
    return [*(f"  {line}" for line in lines), "     ║", "   ══╩══", f"   {say('pulley')}"]


def width(text: str) -> int:
    """Columns that a text takes on a terminal: wide East Asian characters two, marks on letters none."""
    return sum(
        0
        if unicodedata.combining(c) or unicodedata.category(c) in ("Mn", "Me", "Cf")
        else 2
        if unicodedata.east_asian_width(c) in "WF"
        else 1
        for c in text
    )


def pad(text: str, columns: int) -> str:
    """The text filled up with spaces on the right."""
    return text + " " * (columns - width(text))


def centre(text: str, columns: int) -> str:
    """The text in the middle of its columns."""
    left = (columns - width(text)) // 2
    return " " * left + pad(text, columns - left)
