"""Search in every note of the book: which words a text has, how they are found, what still stands.

What a word is, and when two words are the same, is decided here and not by the databases, so that both find the same: a
word is a run of letters and digits of any script; case and the accents of Latin, Greek and Cyrillic letters do not
count. Scripts written without spaces (Chinese, Japanese, Thai and their like) are taken letter by letter. Each word
goes into the database's own index of words spelt in the letters a to p, which every text search takes as they are.

On SQLite the index is the FTS5 table ``search_words``. On PostgreSQL it is the text search index over
``search_texts``, where the spelt words stand in rows of their own (source ``words``, row_id = the seq they are of).
Both are filled by who searches, from where the last one stopped; the few notes after that are looked through one by
one.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ARRAY,
    CTE,
    BigInteger,
    ColumnElement,
    Connection,
    Select,
    Table,
    and_,
    cast,
    column,
    func,
    insert,
    literal,
    literal_column,
    null,
    select,
    table,
    text,
    union_all,
)

from coldlash.errors import BookError
from coldlash.logbook import models as m
from coldlash.logbook.columns import Flag, Whole, Words
from coldlash.logbook.shed import Shelf

QUERY_MAX = 500
"""The longest search, characters."""
WORDS_MAX = 20
"""The most words of a search; those after are not looked at."""
WORD_CUT = 64
"""Words are told apart by their first 64 letters."""
FILL_FROM = 200
"""With more notes than this unknown to the index, it is filled first."""
FILL_AT_ONCE = 5000
LOOKED_THROUGH_MAX = 20_000
WORDS_SOURCE = "words"

_HEX_AS_LETTERS = str.maketrans("0123456789abcdef", "abcdefghijklmnop")
_ACCENTS = range(0x0300, 0x0370)
_NO_SPACES = (
    "CJK UNIFIED", "CJK COMPATIBILITY IDEOGRAPH", "HIRAGANA", "KATAKANA", "BOPOMOFO", "THAI ", "LAO ", "KHMER ",
    "MYANMAR ", "TIBETAN ",
)  # fmt: skip

Phrase = tuple[str, ...]


# --- words ------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def _kind(char: str) -> str:
    """ "w" part of a word, "1" a word by itself, "m" a mark on what stands before it, "" none of these."""
    category = unicodedata.category(char)
    if category[0] == "M":
        return "m"
    if category[0] not in "LN":
        return ""
    return "1" if unicodedata.name(char, "").startswith(_NO_SPACES) else "w"


@lru_cache(maxsize=65536)
def folded(word: str) -> str:
    """What makes two words the same: case, width and accents of Latin, Greek and Cyrillic letters gone."""
    if word.isascii():
        return word.lower()[:WORD_CUT]
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", word).casefold())
    bare = "".join(c for c in plain if ord(c) not in _ACCENTS)
    return unicodedata.normalize("NFC", bare)[:WORD_CUT]


def words_of(text: str) -> list[tuple[int, int, str]]:
    """The words of a text: where each begins and ends, and its folded form."""
    found: list[tuple[int, int, str]] = []
    start, single = -1, False
    for place, char in enumerate(text):
        kind = _kind(char)
        if kind == "m" and start >= 0:
            continue
        if start >= 0 and (kind != "w" or single):
            found.append((start, place, folded(text[start:place])))
            start = -1
        if kind in ("w", "1") and start < 0:
            start, single = place, kind == "1"
    if start >= 0:
        found.append((start, len(text), folded(text[start:])))
    return [each for each in found if each[2]]


def phrases_of(query: str) -> list[Phrase]:
    """What is searched for: for each thing typed between blanks, the words that must stand one after the other.

    Signs that are no part of a word (quotes, brackets, stars) mean nothing.
    """
    phrases = [tuple(word for _, _, word in words_of(part)) for part in query[:QUERY_MAX].split()]
    return [phrase for phrase in phrases if phrase][:WORDS_MAX]


def places(found: Sequence[tuple[int, int, str]], phrases: Sequence[Phrase]) -> list[tuple[int, int]] | None:
    """Where in a text the phrases stand, in order; None when one of them is not there. Of the last phrase the last word
    need only be the beginning of a word."""
    hits: set[tuple[int, int]] = set()
    for number, phrase in enumerate(phrases):
        beginning = number == len(phrases) - 1
        at = [
            i
            for i in range(len(found) - len(phrase) + 1)
            if all(found[i + k][2] == word for k, word in enumerate(phrase[:-1]))
            and _fits(found[i + len(phrase) - 1][2], phrase[-1], beginning)
        ]
        if not at:
            return None
        hits |= {found[i + k][:2] for i in at for k in range(len(phrase))}
    return sorted(hits)


def _fits(word: str, wanted: str, beginning: bool) -> bool:
    return word.startswith(wanted) if beginning else word == wanted


def spelt(word: str) -> str:
    """A folded word in the letters a to p: two for each byte of its UTF-8, so that beginnings stay beginnings."""
    return word.encode("utf-8").hex().translate(_HEX_AS_LETTERS)


def _spelt_text(text: str) -> str:
    return " ".join(spelt(word) for _, _, word in words_of(text))


# --- what is found ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """A note that stands and has all the words. ``source`` is its table, ``detail`` what the row is about ("E3 found",
    "seat ground"), ``text`` the note, ``places`` where in it the words stand. ``engine`` and ``vehicle``: their names.
    """

    source: str
    row_id: str
    engine_id: str | None
    engine: str
    vehicle_id: str | None
    vehicle: str
    visit_id: str | None
    day: date | None
    detail: str
    text: str
    places: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Found:
    """Hits, newest first; ``more`` = there are older ones."""

    hits: tuple[Hit, ...]
    more: bool


class Searching(Shelf):
    """Search."""

    def search(self, query: str, *, most: int = 50) -> Found:
        """Notes that have all the words typed, newest first, at most ``most``; of the last word a beginning will do.

        Only what stands: nothing that was corrected, withdrawn, removed or discarded. Whatever is typed is a search; of
        one longer than ``QUERY_MAX`` the rest is not looked at. Raises BookError.
        """
        phrases = phrases_of(query)
        if not phrases:
            return Found((), False)
        with self._file.reading() as connection:
            unknown = _unknown(connection)
        if unknown > FILL_FROM:
            # Where nobody may write, or somebody else does just now, all unknown notes are looked through.
            with suppress(BookError):
                self._fill()
        with self._file.reading() as connection:
            rows = _standing(connection, phrases, most + 1)
            engines = _names(connection, m.engines, {row.engine_id for row in rows[:most]})
            vehicles = _names(connection, m.vehicles, {row.vehicle_id for row in rows[:most]})
        hits = tuple(_hit(row, phrases, engines, vehicles) for row in rows[:most])
        return Found(hits, len(rows) > most)

    def _fill(self) -> None:
        with self._file.writing() as connection:
            _forget_stale(connection)
            rows = _unindexed(connection)
            for start in range(0, len(rows), FILL_AT_ONCE):
                _add_words(connection, rows[start : start + FILL_AT_ONCE])
            if connection.dialect.name == "postgresql":
                # Or the server, which has not seen so many words before, plans as if there were few.
                connection.execute(text("ANALYZE search_texts"))


def _names(connection: Connection, of: Table, ids: set[str | None]) -> dict[str | None, str]:
    if not ids - {None}:
        return {}
    rows = connection.execute(select(of.c.id, of.c.name).where(of.c.id.in_(ids - {None})))
    return {row.id: row.name for row in rows}


def _hit(
    row: Any, phrases: Sequence[Phrase], engines: dict[str | None, str], vehicles: dict[str | None, str]
) -> Hit:
    at = places(words_of(row.text), phrases) or ()
    return Hit(
        source=row.source,
        row_id=row.row_id,
        engine_id=row.engine_id,
        engine=engines.get(row.engine_id, ""),
        vehicle_id=row.vehicle_id,
        vehicle=vehicles.get(row.vehicle_id, ""),
        visit_id=row.visit_id,
        day=date.fromisoformat(row.day[:10]) if row.day else None,
        detail=row.detail,
        text=row.text,
        places=tuple(at),
    )


# --- the index --------------------------------------------------------------------------------------------------


def _last(connection: Connection) -> int:
    """All notes up to this seq are known to the index.

    On PostgreSQL that is the seq of the newest row of words: who filled it knew every note there was before it.
    """
    if connection.dialect.name == "sqlite":
        return int(connection.execute(text("SELECT max(id) FROM search_words_docsize")).scalar() or 0)
    rows = m.search_texts.c
    newest = select(rows.seq).where(rows.source == WORDS_SOURCE).order_by(rows.row_id.desc()).limit(1)
    return int(connection.execute(newest).scalar() or 0)


def _after(connection: Connection) -> ColumnElement[bool]:
    notes = m.search_texts.c
    return and_(notes.seq > _last(connection), notes.source != WORDS_SOURCE)


def _unknown(connection: Connection) -> int:
    some = select(m.search_texts.c.seq).where(_after(connection)).limit(FILL_FROM + 1).subquery()
    return int(connection.execute(select(func.count()).select_from(some)).scalar_one())


def _unindexed(connection: Connection) -> Sequence[Any]:
    notes = m.search_texts.c
    wanted = select(notes.seq, notes.text).where(_after(connection)).order_by(notes.seq)
    return connection.execute(wanted).all()


def _add_words(connection: Connection, rows: Sequence[Any]) -> None:
    if connection.dialect.name == "sqlite":
        connection.execute(
            text("INSERT INTO search_words (rowid, text) VALUES (:seq, :text)"),
            [{"seq": row.seq, "text": _spelt_text(row.text)} for row in rows],
        )
        return
    spelt_rows = [
        {"source": WORDS_SOURCE, "row_id": f"{row.seq:019d}", "text": _spelt_text(row.text)} for row in rows
    ]
    connection.execute(insert(m.search_texts), spelt_rows)


def _forget_stale(connection: Connection) -> None:
    """PostgreSQL: words of notes that are no longer there. SQLite's index drops them when its rows are joined."""
    if connection.dialect.name == "sqlite":
        return
    words, notes = m.search_texts, m.search_texts.alias("notes")
    there = select(notes.c.seq).where(notes.c.seq == cast(words.c.row_id, Whole)).exists()
    # All but the newest: by it the next one knows where this one stopped.
    newest = select(func.max(words.c.row_id)).where(words.c.source == WORDS_SOURCE).scalar_subquery()
    connection.execute(words.delete().where(words.c.source == WORDS_SOURCE, ~there, words.c.row_id != newest))


def _indexed(connection: Connection, phrases: Sequence[Phrase]) -> ColumnElement[bool]:
    """The notes that have the words, by the index."""
    notes, last = m.search_texts, len(phrases) - 1
    typed = [[spelt(word) for word in phrase] for phrase in phrases]
    if connection.dialect.name == "sqlite":
        query = " AND ".join(
            f'"{" ".join(phrase)}"' + (" *" if number == last else "") for number, phrase in enumerate(typed)
        )
        words = table("search_words", column("rowid", Whole))
        return notes.c.seq.in_(select(words.c.rowid).where(literal_column("search_words").op("MATCH")(query)))
    query = " & ".join(
        f"({' <-> '.join(phrase)}{':*' if number == last else ''})" for number, phrase in enumerate(typed)
    )
    rows = m.search_texts.alias("spelt")
    simple: ColumnElement[Any] = literal_column("'simple'")
    matches = func.to_tsvector(simple, rows.c.text).op("@@")(func.to_tsquery(simple, query))
    return notes.c.seq.in_(select(cast(rows.c.row_id, Whole)).where(rows.c.source == WORDS_SOURCE, matches))


def _looked_through(connection: Connection, phrases: Sequence[Phrase]) -> list[int]:
    """The seq of those notes that have the words and are not yet in the index, the newest of very many."""
    rows = _unindexed(connection)
    return [row.seq for row in rows if places(words_of(row.text), phrases) is not None][-LOOKED_THROUGH_MAX:]


def _one_of(connection: Connection, seqs: Sequence[int]) -> ColumnElement[bool]:
    """Is a note one of these? As one parameter: a statement takes only so many."""
    if connection.dialect.name == "sqlite":
        each = func.json_each(json.dumps(list(seqs))).table_valued("value")
        return m.search_texts.c.seq.in_(select(each.c.value))
    return m.search_texts.c.seq.in_(select(func.unnest(cast(list(seqs), ARRAY(BigInteger)))))


# --- what stands ------------------------------------------------------------------------------------------------


def _standing(connection: Connection, phrases: Sequence[Phrase], most: int) -> Sequence[Any]:
    """The notes that have the words and stand, newest first."""
    notes = m.search_texts
    has_words = _indexed(connection, phrases) | _one_of(connection, _looked_through(connection, phrases))
    names = ("seq", "source", "row_id", "engine_id", "visit_id", "vehicle_id", "text")
    hits = (
        select(*(notes.c[name] for name in names))
        .where(has_words, notes.c.source != WORDS_SOURCE)
        .cte("hits")
    )
    if connection.dialect.name == "postgresql":
        hits = hits.prefix_with("MATERIALIZED", dialect="postgresql")
    together = union_all(*_branches(hits)).subquery()
    ordered = select(together).order_by(together.c.day.desc(), together.c.seq.desc()).limit(most)
    return connection.execute(ordered).all()


def _branches(hits: CTE) -> Iterator[Select[Any]]:
    """For each table with notes: its day, what the row is about, and whether it stands."""
    visits, nothing = m.visits, cast(literal(""), Words)
    stands = visits.c.state != "discarded"

    def branch(source: Table, day: Any, detail: Any) -> Select[Any]:
        return (
            select(
                hits, cast(func.coalesce(day, ""), Words).label("day"), cast(detail, Words).label("detail")
            )
            .join(source, source.c.id == hits.c.row_id)
            .where(hits.c.source == source.name)
        )

    yield branch(visits, visits.c.day, nothing).where(stands)
    for source, detail in (
        (m.readings, m.readings.c.valve + " " + m.readings.c.step),
        (m.visit_changes, m.visit_changes.c.field),
    ):
        there = (
            branch(source, visits.c.day, detail).join(visits, visits.c.id == source.c.visit_id).where(stands)
        )
        yield _uncorrected(there, source)
    photos = m.attachments
    yield (
        branch(
            photos,
            func.coalesce(visits.c.day, photos.c.taken_at, photos.c.at),
            func.coalesce(photos.c.valve, ""),
        )
        .outerjoin(visits, visits.c.id == photos.c.visit_id)
        .where(photos.c.removed_at.is_(None), visits.c.id.is_(None) | stands)
    )
    for source, detail in (
        (m.work, m.work.c.part + " " + m.work.c.kind),
        (m.tests, m.tests.c.kind),
        (m.accepted_causes, m.accepted_causes.c.cause),
        (m.fitments, nothing),
        (m.instruments, m.instruments.c.how),
        (m.instrument_readings, nothing),
    ):
        yield _uncorrected(branch(source, source.c.day, detail), source)
    yield branch(m.vehicles, null(), nothing)


def _uncorrected(found: Select[Any], source: Table) -> Select[Any]:
    """Only rows that nothing corrects or takes back."""
    if "replaces" not in source.c:
        return found
    newer = source.alias("newer")
    corrected = select(newer.c.id).where(newer.c.replaces == source.c.id).exists()
    return found.where(source.c.withdrawn == literal(False, Flag), ~corrected)
