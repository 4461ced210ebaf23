"""What search shows of a note: the part around the words, cut between words, nothing lost within it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from coldlash.desk.searching import BEFORE, SNIPPET, snippet
from coldlash.logbook.search import phrases_of, places, words_of


def shown(text, query):
    return snippet(text, places(words_of(text), phrases_of(query)) or ())


def test_a_short_note_is_shown_whole_with_its_words_marked():
    assert shown("The pitted seat,\nagain pitted", "pitted") == (
        ("The ", False), ("pitted", True), (" seat, again ", False), ("pitted", True),
    )  # fmt: skip


def test_a_long_note_is_cut_between_words_around_the_first_one():
    text = "before " * 40 + "zebra " + "after " * 60 + "zebra"
    pieces = shown(text, "zebra")
    assert pieces[0] == pieces[-1] == ("…", False)
    assert [piece for piece, marked in pieces if marked] == ["zebra"]
    middle = "".join(piece for piece, _ in pieces[1:-1])
    assert set(middle.split()) == {"before", "zebra", "after"}, "no word is cut"
    assert len(middle) <= SNIPPET
    assert middle.index("zebra") <= BEFORE


def test_a_note_without_blanks_is_cut_all_the_same():
    text = "-" * 400 + "zebra" + "-" * 400
    assert ("zebra", True) in shown(text, "zebra")
    assert sum(len(piece) for piece, _ in shown(text, "zebra")) <= SNIPPET + 2


@given(st.text(max_size=400), st.text(max_size=5))
def test_what_is_shown_stands_in_the_note_as_it_is(text, query):
    pieces = shown(text, query)
    flat = "".join(" " if char in "\t\r\n" else char for char in text)
    body = [piece for piece in pieces if piece != ("…", False)]
    assert "".join(piece for piece, _ in body) in flat
