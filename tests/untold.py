"""What of a text did not go through the catalogue, told by the pseudo language: what stands outside its ⟦ ⟧."""

from __future__ import annotations

import re
from collections.abc import Iterable

# Written alike in every language: units, valves, figures of speech of a workshop drawing, the program's own name.
ALIKE = re.compile(
    r"\b(?:mm|km|mi|h|in|MB|kB|min|s|rpm|bar|kPa|psi|Nm|[IE]\d{1,2}|KW|SHA|PDF|JPEG|PNG|WebP|CSV|XLSX|ODS|HTTPS?|QR|coldlash"
    r"|English|Deutsch|TOML|JSON|SI|sd|C|F|K|x)\b|°[CF]?|µm"
)
WORD = re.compile(r"[^\W\d_]{2,}")


def outside(text: str) -> str:
    """``text`` without what stands in ⟦ ⟧, however deep they are nested."""
    out, depth = [], 0
    for letter in text:
        if letter == "⟦":
            depth += 1
        elif letter == "⟧":
            depth = max(0, depth - 1)
        elif depth == 0:
            out.append(letter)
    return "".join(out)


def untold(text: str, data: Iterable[str] = ()) -> list[str]:
    """The words of ``text`` that no catalogue knows; ``data``: what people typed or named, longest first."""
    left = outside(text)
    for known in sorted(data, key=len, reverse=True):
        left = left.replace(known, " ")
    return WORD.findall(ALIKE.sub(" ", left))
