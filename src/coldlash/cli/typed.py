"""What people type at a prompt, in their language or in English: yes, back, leave, help, a reading's words.

A translator gives the letters and words that the prompts of the language name; those of English always hold as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from coldlash.language import say_in

if TYPE_CHECKING:
    from coldlash.logbook.records import Spin


def _is(said: str, english: str, own: str) -> bool:
    return said.strip().casefold() in {*english.split(), *own.casefold().split()}


def is_yes(said: str) -> bool:
    """True for y, yes and what the language has for them."""
    return _is(said, "y yes", say_in("answers, separated by blanks", "y yes"))


def is_back(said: str) -> bool:
    """True for b: the question before."""
    return _is(said, "b", say_in("answers, separated by blanks", "b"))


def is_leave(said: str) -> bool:
    """True for q: leave, the visit stays open."""
    return _is(said, "q", say_in("answers, separated by blanks", "q"))


def is_help(said: str) -> bool:
    """True for h: what can be typed."""
    return _is(said, "h", say_in("answers, separated by blanks", "h"))


def why(said: str, offered: Sequence[str]) -> str | None:
    """Which of the explanations "rolled over" (o) and "replaced" (n) was chosen, None = neither."""
    chosen = None
    if _is(said, "o", say_in("answers, separated by blanks", "o")):
        chosen = "rolled over"
    elif _is(said, "n", say_in("answers, separated by blanks", "n")):
        chosen = "replaced"
    return chosen if chosen in offered else None


def spin(said: str) -> Spin | None:
    """How the pushrod spins, by the English word or the language's; None = something else was said."""
    if _is(said, "free", say_in("how a pushrod spins, typed", "free")):
        return "free"
    if _is(said, "stiff", say_in("how a pushrod spins, typed", "stiff")):
        return "stiff"
    if _is(said, "none", say_in("how a pushrod spins, typed", "none")):
        return "none"
    return None


def reading(said: str) -> str:
    """A reading as typed with its two words, drag and none, in English, as the desk reads them."""
    if _is(said, "none", say_in("a reading, typed: no blade goes", "none")):
        return "none"
    first, blank, rest = said.strip().partition(" ")
    if blank and _is(first, "drag", say_in("a reading, typed, before the blade", "drag")):
        return f"drag {rest}"
    return said
