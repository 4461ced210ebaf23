"""Search over all engines: what was found, in groups by engine, each note with the words marked in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coldlash.language import plural, say
from coldlash.logbook.search import Hit, phrases_of
from coldlash.logbook.store import Book
from coldlash.logbook.telling import step_word

SNIPPET = 180
"""How much of a note is shown, characters."""
BEFORE = 50
MOST = 50


@dataclass(frozen=True, slots=True)
class Line:
    """One note that was found. ``pieces``: the part of it that is shown, cut where the words begin and end; True = one
    of the words."""

    hit: Hit
    what: str
    pieces: tuple[tuple[str, bool], ...]

    @property
    def text(self) -> str:
        """The part that is shown, with the words in brackets."""
        return "".join(f"[{piece}]" if marked else piece for piece, marked in self.pieces)


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one engine, or (``engine_id`` None) of a vehicle; the newest first."""

    name: str
    engine_id: str | None
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """Groups, the one with the newest note first. ``more``: there are older notes; ``asked``: there was a word."""

    words: str
    asked: bool
    groups: tuple[Group, ...]
    more: bool

    @property
    def count(self) -> int:
        """How many notes are shown."""
        return sum(len(group.lines) for group in self.groups)

    def says(self) -> str:
        """How many were found, in a sentence; "" when nothing was asked."""
        if not self.asked:
            return say("Type a word from a note.") if self.words.strip() else ""
        if not self.groups:
            return say("No note has all these words.")
        if self.more:
            return plural(
                "The newest note; add a word to see others.",
                "The newest {n} notes; add a word to see others.",
                self.count,
            )
        return plural("{n} note.", "{n} notes.", self.count)

    def as_json(self) -> dict[str, Any]:
        """For scripts."""
        return {
            "words": self.words,
            "more": self.more,
            "notes": [
                {
                    "of": group.name,
                    "engine": line.hit.engine_id,
                    "vehicle": line.hit.vehicle_id,
                    "visit": line.hit.visit_id,
                    "day": None if line.hit.day is None else line.hit.day.isoformat(),
                    "source": line.hit.source,
                    "row": line.hit.row_id,
                    "about": line.hit.detail,
                    "text": line.hit.text,
                    "hits": [list(place) for place in line.hit.places],
                }
                for group in self.groups
                for line in group.lines
            ],
        }


def find(book: Book, words: str, most: int = MOST) -> Answer:
    """Notes that have all these words, of everything that stands in the book. Whatever is typed is a search."""
    found = book.search(words, most=most)
    groups: dict[tuple[str | None, str | None], list[Line]] = {}
    for hit in found.hits:
        key = (hit.engine_id, None if hit.engine_id else hit.vehicle_id)
        groups.setdefault(key, []).append(Line(hit, _what(hit), snippet(hit.text, hit.places)))
    return Answer(
        words,
        bool(phrases_of(words)),
        tuple(
            Group(lines[0].hit.engine or lines[0].hit.vehicle, engine, tuple(lines))
            for (engine, _), lines in groups.items()
        ),
        found.more,
    )


def _what(hit: Hit) -> str:
    match hit.source:
        case "visits":
            return say("on the visit")
        case "readings":
            valve, _, step = hit.detail.partition(" ")
            return say("with the reading of {valve}, {step}", valve=valve, step=step_word(step))
        case "visit_changes":
            return say("why the visit was changed")
        case "work":
            return say("with work on it")
        case "tests":
            return say("with a test")
        case "accepted_causes":
            return say("with a cause that was accepted")
        case "fitments":
            return say("when it was put in or taken out")
        case "instruments":
            return say("with the vehicle's meter")
        case "instrument_readings":
            return say("with a reading of the vehicle's meter")
        case "attachments":
            return say("under a photo of {valve}", valve=hit.detail) if hit.detail else say("under a photo")
        case _:
            return say("on the vehicle")


def snippet(text: str, places: Sequence[tuple[int, int]]) -> tuple[tuple[str, bool], ...]:
    """The part of a text around the first place, in pieces: (text, is it one of the places). Cut ends show as "…"."""
    flat = "".join(" " if char in "\t\r\n" else char for char in text)
    start = _begin(flat, places[0][0]) if places else 0
    end = _end(flat, start)
    pieces: list[tuple[str, bool]] = [("…", False)] if start > 0 else []
    at = start
    for here, there in places:
        if here < at or there > end:
            continue
        if here > at:
            pieces.append((flat[at:here], False))
        pieces.append((flat[here:there], True))
        at = there
    if at < end:
        pieces.append((flat[at:end], False))
    if end < len(flat):
        pieces.append(("…", False))
    return tuple(pieces)


def _begin(text: str, first: int) -> int:
    if first <= BEFORE or len(text) <= SNIPPET:
        return 0
    blank = text.find(" ", first - BEFORE, first)
    return blank + 1 if blank >= 0 else first - BEFORE


def _end(text: str, start: int) -> int:
    if len(text) - start <= SNIPPET:
        return len(text)
    blank = text.rfind(" ", start, start + SNIPPET)
    return blank if blank > start + BEFORE else start + SNIPPET
