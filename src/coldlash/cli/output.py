"""Printing: text for people, or one JSON object for scripts. Nothing else goes to standard output."""

from __future__ import annotations

import json
import math
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence

from coldlash.language import ENGLISH, current, number

_LEAD = re.compile(r"\s*(?:\[ \]|!|[a-z?]+\s{2,})?\s*")
_LEAD_OF_OTHERS = re.compile(r"\s*(?:\[ \]|!|[^\W\d_]+\??\s{2,})?\s*")
"""Where words that lead a line may begin with a capital or have other letters."""


def out(text: str = "") -> None:
    """One line (or several) for the person at the terminal, as it is."""
    sys.stdout.write(text + "\n")


def tell(text: str) -> None:
    """A sentence for the person at the terminal, broken at the terminal's width below its own indent."""
    width = max(40, shutil.get_terminal_size((100, 24)).columns)
    for line in text.splitlines() or [""]:
        lead = (_LEAD if current() == ENGLISH else _LEAD_OF_OTHERS).match(line)
        indent = " " * len(lead[0]) if lead else ""
        sys.stdout.write(
            (textwrap.fill(line, width, subsequent_indent=indent, break_on_hyphens=False) or "") + "\n"
        )


def note(text: str) -> None:
    """Something worth knowing that is not the answer: to standard error."""
    sys.stderr.write(text + "\n")


def put_json(data: dict[str, object]) -> None:
    """One JSON object, numbers unrounded; an open end of an interval is null."""
    sys.stdout.write(json.dumps(_finite(data), ensure_ascii=False, indent=2, allow_nan=False) + "\n")


def _finite(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


def table(head: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "") -> str:
    """Columns padded to their widest cell; cells that read as numbers are set to the right."""
    cells = [list(head), *[list(row) for row in rows]]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    right = [all(_is_number(row[i]) for row in cells[1:]) and len(cells) > 1 for i in range(len(head))]
    lines = []
    for row in cells:
        padded = [c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)]
        lines.append((indent + "  ".join(padded)).rstrip())
    return "\n".join(lines)


def _is_number(cell: str) -> bool:
    if current() != ENGLISH:
        cell = cell.replace(".", "")  # a decimal mark or a mark of thousands, as the language has it
    stripped = cell.replace(",", "").replace("\u2212", "-").removesuffix("°").strip()
    if stripped in {"", "-"}:
        return True
    try:
        float(stripped)
    except ValueError:
        return False
    return True


def signed(value: float, digits: int = 0) -> str:
    """A number with its sign, a real minus sign for negatives."""
    text = number(abs(value), f".{digits}f")
    if not round(abs(value), digits):
        return text
    return ("+" if value > 0 else "\u2212") + text
