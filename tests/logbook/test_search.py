"""Search, on both databases: the same as a plain look through every note; only what stands; anything may be typed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text
from tests.logbook.shelf import ENGINE_TOML, NAME, found, open_book, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import BookError
from coldlash.logbook import models as m
from coldlash.logbook import search as under_test
from coldlash.logbook.lasting import AcceptedCause, EngineTest, Instrument, MeterReading, Work
from coldlash.logbook.photos import JPEG, Taken
from coldlash.logbook.search import folded, phrases_of, places, spelt, words_of

E3 = Valve("E", 3)
FIRST = date(2001, 1, 1)


def rows(book, words, most=10_000):
    return [(hit.source, hit.row_id) for hit in book.search(words, most=most).hits]


def texts(book, words):
    return [hit.text for hit in book.search(words).hits]


def note(book, words, days=0):
    """A closed-to-be visit with a note."""
    return book.open_visit(
        NAME, visit_on(day=(FIRST + timedelta(days=days)).isoformat(), km=days, note=words)
    )


def known_to_index(book):
    """Let the index know every note; the next search must find the same as before."""
    book._fill()


# --- the oracle: every note looked through, by the letter of the rules ----------------------------------------------

ALONE = (
    "CJK UNI",
    "CJK COMP",
    "HIRAGANA",
    "KATAKANA",
    "BOPOMOFO",
    "THAI",
    "LAO ",
    "KHMER",
    "MYANMAR",
    "TIBETAN",
)


def same(word: str) -> str:
    """Published: Unicode 15, 3.13, D146 (compatibility caseless match); then without U+0300 to U+036F, composed."""

    def nfkd(t):
        return unicodedata.normalize("NFKD", t)

    plain = nfkd(nfkd(unicodedata.normalize("NFD", word).casefold()).casefold())
    return unicodedata.normalize("NFC", "".join(c for c in plain if not 0x300 <= ord(c) <= 0x36F))[:64]


def _class(chars: Iterable[int]) -> str:
    """A class of a regular expression, in ranges."""
    ranges: list[list[int]] = []
    for code in chars:
        if ranges and ranges[-1][1] == code - 1:
            ranges[-1][1] = code
        else:
            ranges.append([code, code])
    return "".join(f"\\U{a:08x}-\\U{b:08x}" for a, b in ranges)


EVERY = [code for code in range(0x110000) if not 0xD800 <= code <= 0xDFFF]
LETTERS = [code for code in EVERY if unicodedata.category(chr(code))[0] in "LN"]
SPACELESS = {code for code in LETTERS if unicodedata.name(chr(code), "").startswith(ALONE)}
MARK = f"[{_class(c for c in EVERY if unicodedata.category(chr(c))[0] == 'M')}]*"
WORD = re.compile(
    f"[{_class(sorted(SPACELESS))}]{MARK}|(?:[{_class(c for c in LETTERS if c not in SPACELESS)}]{MARK})+"
)


def plain_words(note: str) -> list[str]:
    return [same(word) for word in WORD.findall(note)]


def has(note: str, query: str) -> bool:
    have = plain_words(note)
    asked = [plain_words(part) for part in query.split()]
    asked = [part for part in asked if part]
    if not asked:
        return False
    for number, part in enumerate(asked):
        last = number == len(asked) - 1
        windows = [have[i : i + len(part)] for i in range(len(have) - len(part) + 1)]
        if not any(
            window[:-1] == part[:-1] and (window[-1].startswith(part[-1]) if last else window[-1] == part[-1])
            for window in windows
        ):
            return False
    return True


TRICKY = "aAbBäÄéßſİıoOÖøоЁёйΣσςάαﬁ中文が\u3099か\u0301\u0308שׁกำ9٣½①Ⅳ한\u1112ا\u064e-/'\"*():&|!<>,. \t\n"
WORDS = st.one_of(
    st.text(st.sampled_from(TRICKY), max_size=12),
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=8),
    st.sampled_from(
        ["pitted", "Pitted seat", "lock-nut", "0.15 mm", "E3/E4", "föhn", "FOHN", "バルブ交換", "קר"]
    ),
)


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(
    notes=st.lists(WORDS, min_size=1, max_size=6),
    queries=st.lists(WORDS, min_size=1, max_size=4),
    fill=st.booleans(),
)
def test_what_is_found_is_what_a_plain_look_through_every_note_finds(book, notes, queries, fill):
    there = book.__dict__.setdefault("_of_this_test", [])
    for words in notes:
        there.append((note(book, words, days=len(there)).id, words))
    if fill:
        known_to_index(book)
    for query in [*queries, *(words[:3] for words in notes)]:
        expected = [("visits", id) for id, words in reversed(there) if has(words, query)]
        assert rows(book, query) == expected, query


def test_the_index_finds_the_same_as_looking_through(book):
    # Derived, by hand.
    said = [
        "Föhn, pitted seat",
        "the seat of E3/E4 at 0.15",
        "バルブ交換",
        "ШАЙБА",
        "don't",
        "Straße",
        "x" * 100,
    ]
    for days, words in enumerate(said):
        note(book, words, days)
    expected = {
        "fohn": [0], "FÖHN": [0], "seat": [1, 0], "sea": [1, 0], "sea pitted": [], "seat pitt": [0], "e4": [1],
        "E3/E4": [1], "e4 e3": [1], "E4/E3": [], "0.15": [1], "15": [1], "0.1": [1], "交換": [2], "換交": [],
        "バル": [2], "шайба": [3], "don't": [4], "dont": [], "t": [4, 1], "strasse": [5], "STRASSE": [5], "xxx": [6],
        "x" * 80: [6],
    }  # fmt: skip
    for _ in range(2):
        for query, which in expected.items():
            assert texts(book, query) == [said[i] for i in which], query
        known_to_index(book)


TYPED = [
    '"', "'", '""', "AND", "OR", "NOT", "NEAR", "a AND", "* OR *", "(", ")", "((", "seat*", "^seat", "text:seat",
    "-seat", "seat & ", "| seat", "!seat", "seat:*", "<->", "seat <-> ", "\\", "%", "_", ";", "--",
    "'; DROP TABLE visits; --", "\x00", "\ud800", "seat\x00", "\n\t", " ", "", "\ufffd", "🔧", "\u0301", "a" * 5000,
    "a " * 5000, "\u202eseat",
]  # fmt: skip


def test_whatever_is_typed_is_a_search_and_never_an_error(book):
    note(book, "the seat AND text NOT near")
    looked_through = {typed: texts(book, typed) for typed in TYPED}
    known_to_index(book)
    assert {typed: texts(book, typed) for typed in TYPED} == looked_through
    assert [typed for typed in TYPED if looked_through[typed]] == [
        "AND", "NOT", "NEAR", "seat*", "^seat", "-seat", "seat & ", "| seat", "!seat", "seat:*", "seat <-> ",
        "seat\x00", "\u202eseat",
    ]  # fmt: skip


def test_signs_of_a_query_language_mean_nothing(book):
    note(book, "the seat is pitted")
    for query in ('"seat"', "(seat)", "seat*", "-seat", "+seat", "seat & pitted", "!seat", "text:seat"):
        found_ = rows(book, query)
        assert bool(found_) is ("text" not in query), query


def test_only_what_stands_is_found(book):
    visit = note(book, "zebra on the visit")
    first = book.record(visit.id, found(note="zebra one"))
    second = book.record(visit.id, found(note="zebra two", replaces=first.id))
    entry = book.engine(NAME)
    boat = book.add_vehicle("Boat", note="zebra boat")
    at = {"engine_id": entry.id, "day": date(2020, 1, 1)}
    kept = {
        "work": book.add_work(Work(**at, kind="ground", part="seat", note="zebra work")),
        "tests": book.add_test(EngineTest(**at, kind="leak_down", note="zebra test")),
        "accepted_causes": book.accept_cause(
            AcceptedCause(**at, cause="head_settling", direction="tighter", note="zebra cause")
        ),
        "instruments": book.add_instrument(
            Instrument(vehicle_id=boat.id, how="replaced", unit="h", day=date(2020, 3, 3), note="zebra meter")
        ),
        "instrument_readings": book.note_reading(
            MeterReading(vehicle_id=boat.id, day=date(2020, 4, 4), reading=1, unit="h", note="zebra read")
        ),
    }
    book.fit_engine(NAME, "Boat", day=date(2020, 2, 2), note="zebra fitted")
    (kept["fitments"],) = (each for each in book.fitments(NAME) if each.note)
    photo = book.add_attachment(
        NAME,
        Taken(media_type=JPEG, data=b"x", width=1, height=1, taken_at=None),
        visit_id=visit.id,
        valve=E3,
        caption="zebra photo",
    )
    everything = {
        ("visits", visit.id), ("readings", second.id), ("vehicles", boat.id), ("attachments", photo.id),
        *((table, record.id) for table, record in kept.items()),
    }  # fmt: skip
    for _ in range(2):
        assert set(rows(book, "zebra")) == everything
        known_to_index(book)
    by_source = {hit.source: hit for hit in book.search("zebra").hits}
    assert by_source["readings"].detail == "E3 found"
    assert by_source["work"].detail == "seat ground"
    assert by_source["tests"].detail == "leak_down"
    assert by_source["attachments"].detail == "E3"
    assert by_source["vehicles"].day is None
    assert by_source["fitments"].day == date(2020, 2, 2)
    assert {hit.engine for hit in by_source.values() if hit.engine_id} == {NAME}
    assert {by_source[source].vehicle for source in ("vehicles", "instruments", "fitments")} == {"Boat"}
    assert [hit.source for hit in book.search("zebra").hits][-1] == "vehicles", "what has no day comes last"

    book.withdraw(second.id)
    book.remove_attachment(photo.id)
    book.take_back_entry(Work, kept["work"].id, "not done")
    assert set(rows(book, "zebra")) == everything - {
        ("readings", second.id), ("attachments", photo.id), ("work", kept["work"].id),
    }  # fmt: skip
    book.discard_visit(visit.id, reason="zebra reason")
    left = {source for source, _ in rows(book, "zebra")}
    assert left == {"vehicles", *kept} - {"work"}


def test_a_changed_note_is_found_by_its_new_words_only(book):
    visit = note(book, "the old words")
    known_to_index(book)
    book.change_visit(visit.id, {"note": "some new text"})
    for _ in range(2):
        assert rows(book, "old") == []
        assert rows(book, "new") == [("visits", visit.id)]
        known_to_index(book)
    book.close_visit(visit.id)
    book.change_visit(visit.id, {"note": ""}, reason="it was of another engine")
    assert rows(book, "new") == []
    assert [hit.detail for hit in book.search("another engine").hits] == ["note"]


def test_the_newest_come_first_and_the_rest_is_told_of(book):
    for days in (3, 1, 2):
        note(book, f"zebra {days}", days)
    assert texts(book, "zebra") == ["zebra 3", "zebra 2", "zebra 1"]
    few = book.search("zebra", most=2)
    assert ([hit.text for hit in few.hits], few.more) == (["zebra 3", "zebra 2"], True)
    assert not book.search("zebra", most=3).more


def test_where_the_words_stand_is_told(book):
    note(book, "Pitted: the pitted seat, pit")
    (hit,) = book.search("seat pit").hits
    assert [hit.text[a:b] for a, b in hit.places] == ["Pitted", "pitted", "seat", "pit"]
    assert hit.places == tuple(sorted(hit.places))


def test_notes_of_all_engines_are_searched(book):
    other = book.add_engine("Other", ENGINE_TOML)
    note(book, "zebra")
    book.open_visit("Other", visit_on(note="zebra"))
    assert [hit.engine for hit in book.search("zebra").hits] == ["Other", NAME]
    assert book.search("zebra").hits[0].engine_id == other.id


def fed(book) -> int:
    """How many notes the index knows."""
    with book._file.reading() as connection:
        if connection.dialect.name == "sqlite":
            return connection.execute(text("SELECT count(*) FROM search_words_docsize")).scalar_one()
        words = m.search_texts.c.source == under_test.WORDS_SOURCE
        return len(connection.execute(select(m.search_texts.c.seq).where(words)).all())


def test_the_index_is_filled_when_many_notes_are_new_to_it_and_only_then(book, monkeypatch):
    monkeypatch.setattr(under_test, "FILL_FROM", 5)
    monkeypatch.setattr(under_test, "FILL_AT_ONCE", 4)
    for days in range(5):
        note(book, f"zebra {days}", days)
    assert len(rows(book, "zebra")) == 5
    assert fed(book) == 0
    for days in range(5, 12):
        note(book, f"zebra {days}", days)
    assert len(rows(book, "zebra")) == 12
    assert fed(book) == 12
    note(book, "zebra 12", 12)
    assert len(rows(book, "zebra")) == 13
    assert fed(book) == 12
    assert book.check() == ()


def test_words_of_notes_that_are_gone_do_not_pile_up(book):
    visit = note(book, "zebra")
    for number in range(5):
        known_to_index(book)
        book.change_visit(visit.id, {"note": f"zebra {number}"})
    assert rows(book, "zebra") == [("visits", visit.id)]
    with book._file.reading() as connection:
        if connection.dialect.name == "postgresql":
            assert fed(book) <= 2


def test_search_works_while_somebody_else_writes_and_the_index_cannot_be_filled(path, monkeypatch):
    monkeypatch.setattr(under_test, "FILL_FROM", 1)
    with open_book(path, wait_s=0) as book, open_book(path) as writer:
        for days in range(3):
            note(book, f"zebra {days}", days)
        with writer.transaction():
            assert len(rows(book, "zebra")) == 3
            assert fed(book) == 0
            with pytest.raises(BookError):
                book._fill()
        assert len(rows(book, "zebra")) == 3
        assert fed(book) == 3


@given(words=WORDS, query=WORDS)
def test_words_are_those_of_the_letter_of_the_rules(words, query):
    assert [folded for _, _, folded in words_of(words)] == plain_words(words)
    if phrases_of(query):
        assert (places(words_of(words), phrases_of(query)) is not None) is has(words, query)


def test_words_are_runs_of_letters_and_digits_of_any_script():
    assert [w for _, _, w in words_of("The lock-nut's 0.15 mm (E3/E4)_x")] == [
        "the", "lock", "nut", "s", "0", "15", "mm", "e3", "e4", "x",
    ]  # fmt: skip
    assert [w for _, _, w in words_of("ὈΔΥΣΣΕΎΣ Ёлка Straße ﬁt")] == ["οδυσσευσ", "елка", "strasse", "fit"]
    assert [w for _, _, w in words_of("交換した กข")] == ["交", "換", "し", "た", "ก", "ข"]
    # Devanagari's vowel signs and the dots of Japanese are no accents: they make other letters.
    assert folded("कि") != folded("क")
    assert folded("が") == folded("か\u3099") != folded("か")
    assert phrases_of('say "lock-nut" & go') == [("say",), ("lock", "nut"), ("go",)]


@given(st.text(max_size=20), st.text(max_size=6))
def test_a_spelt_word_begins_with_the_spelling_of_its_beginning(word, rest):
    if "\ud800" <= max(word + rest, default="") <= "\udfff":
        return
    assert spelt(word + rest).startswith(spelt(word))
    assert set(spelt(word)) <= set("abcdefghijklmnop")
    assert (spelt(word) == spelt(rest)) == (word == rest)
