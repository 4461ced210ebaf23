"""Checksums of a history, so that a printed copy can be compared with the book years later.

Every visit's checksum is SHA-256 (FIPS 180-4) over the one before it and the visit's content; the first is over
the engine. So the checksum beside a visit stands for everything up to it, and a copy printed when the book had
ten visits can be held against a book that has fifteen. Content is written as canonical JSON: RFC 8785 for what
occurs here, which is text, whole numbers, true, false, null, lists and objects with ASCII keys; no fractions.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence

from coldlash.errors import InputError
from coldlash.language import say

SHORT = 16
"""So many hexadecimal digits are printed beside each visit; as many are needed to look one up."""
_WHOLE_MAX = 2**53 - 1


def canonical(content: object) -> bytes:
    """Content as canonical JSON. Raises InputError for what can't be written so."""
    _check(content, "content")
    return json.dumps(
        content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    ).encode()


def chain(engine: object, visits: Sequence[object]) -> tuple[str, ...]:
    """Checksums as 64 hexadecimal digits: first of the engine alone, then after each visit. Raises InputError."""
    sums = [hashlib.sha256(canonical(engine)).hexdigest()]
    for visit in visits:
        sums.append(hashlib.sha256(bytes.fromhex(sums[-1]) + canonical(visit)).hexdigest())
    return tuple(sums)


def grouped(checksum: str) -> str:
    """A checksum in groups of eight, to be read aloud and typed."""
    return " ".join(checksum[i : i + 8] for i in range(0, len(checksum), 8))


def find(sums: Sequence[str], printed: str) -> int | None:
    """After which visit the book gave this checksum (0 = none yet), None = never.

    ``printed``: at least the first 16 digits, blanks and capitals don't matter. Raises InputError.
    """
    wanted = "".join(printed.split()).lower()
    if not re.fullmatch("[0-9a-f]*", wanted):
        raise InputError(
            say(
                "checksum: {printed!r} has other characters than 0 to 9 and a to f; copy it as printed",
                printed=printed,
            )
        )
    if not SHORT <= len(wanted) <= 64:
        raise InputError(
            say(
                "checksum: {printed!r} has {count} digits; give at least the first {short}, at most all 64",
                printed=printed,
                count=len(wanted),
                short=SHORT,
            )
        )
    return next((i for i in range(len(sums) - 1, -1, -1) if sums[i].startswith(wanted)), None)


def _check(content: object, what: str) -> None:
    if content is None or isinstance(content, bool):
        return
    if isinstance(content, int):
        if abs(content) > _WHOLE_MAX:
            raise InputError(
                say(
                    "{what}: {content} is too large to be written the same everywhere",
                    what=what,
                    content=content,
                )
            )
    elif isinstance(content, str):
        if any("\ud800" <= char <= "\udfff" for char in content):
            raise InputError(
                say("{what}: {content!r} has half a character (a lone surrogate)", what=what, content=content)
            )
    elif isinstance(content, Mapping):
        for key, value in content.items():
            if not isinstance(key, str) or not key.isascii():
                raise InputError(say("{what}: the key {key!r} is not plain ASCII text", what=what, key=key))
            _check(value, f"{what}.{key}")
    elif isinstance(content, list | tuple):
        for i, value in enumerate(content):
            _check(value, f"{what}[{i}]")
    else:
        raise InputError(
            say(
                "{what}: {content!r} is no text, whole number, true, false, null, list or object; "
                "fractions are given as whole numbers of a smaller unit",
                what=what,
                content=content,
            )
        )
