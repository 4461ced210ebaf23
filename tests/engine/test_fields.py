"""Fields read one by one: what is absent, wrong or fine, and where the fault is put."""

from __future__ import annotations

import pytest

from coldlash.engine.fields import Notebook, Table, fit_to_print, kind_of, nearest, plain, shown, written
from coldlash.engine.toml_lines import read_toml


def table_of(text: str, *known: str) -> Table:
    """The top of a TOML text, with the keys that are known."""
    file = read_toml(text)
    assert file.data is not None
    return Table(Notebook(file), (), file.data, known, lambda path, key: None)


def said(table: Table) -> list[tuple[int, int, str]]:
    """Line, column and message of the faults noted so far."""
    return [(f.line, f.column, f.message) for f in table.notebook.faults]


def test_an_absent_field_is_none_and_a_fault_only_where_required():
    table = table_of("[t]\nx = 1\n", "t", "y")
    assert table.number("y", "a size", 0, 1) is None
    assert said(table) == []
    inner = table.table("t", "a table", ("x", "y"))
    assert inner is not None
    assert inner.number("y", "a size", 0, 1, required=True) is None
    assert said(table) == [(2 - 1, 1, "t.y is missing; it needs a size")]


def test_a_fault_at_the_top_has_no_line():
    table = table_of("", "y")
    table.text("y", "a word", required=True)
    assert said(table) == [(0, 0, "y is missing; it needs a word")]


def test_limits_are_allowed_unless_the_lower_one_is_excluded():
    table = table_of("a = 0\nb = 1\nc = 0\n", "a", "b", "c")
    assert table.number("a", "a size", 0, 1) == 0.0
    assert table.number("b", "a size", 0, 1) == 1.0
    assert table.number("c", "a size", 0, 1, above=True) is None
    assert said(table) == [(3, 5, "c is 0; it needs a size, more than 0 and at most 1")]


def test_a_whole_number_has_no_decimal_point_and_a_range():
    table = table_of(f"a = 3\nb = 3.5\nc = 9\nd = {10**50}", "a", "b", "c", "d")
    assert table.whole("a", "a count", 1, 8) == 3
    assert [table.whole(key, "a count", 1, 8) for key in "bcd"] == [None] * 3
    assert said(table) == [
        (2, 5, "b is the number 3.5; it needs a count, a whole number"),
        (3, 5, "c is 9; it needs a count, 1 to 8"),
        (4, 5, "d is with more than 40 figures; it needs a count, 1 to 8"),
    ]


def test_what_should_be_a_table_or_tables_is_said():
    table = table_of("t = 5\np = 'x'\nq = [1]\nr = {}\n", "t", "p", "q", "r")
    assert table.table("t", "the thing", ()) is None
    assert [list(table.tables(key, ())) for key in "pqr"] == [[], [], []]
    assert [m for _, _, m in said(table)] == [
        "t is the number 5; it needs the thing, under [t]",
        'p is the text "x"; it needs one [[p]] for each part',
        "q holds the number 1; it needs one [[q]] for each part",
        "r is a table; it needs one [[r]] for each part",
    ]


def test_a_value_already_reported_is_passed_over():
    table = table_of("a = x\nb = x\nc = x\nd = x\ne = x\nf = x", *"abcdef")
    assert table.number("a", "a size", 0, 1, required=True) is None
    assert table.text("b", "a word", required=True) is None
    assert table.list_of("c", "things", required=True) is None
    assert table.table("d", "the thing", (), required=True) is None
    assert list(table.tables("e", ())) == []
    assert table.choice("f", ("x", "y"), required=True) is None
    assert len(said(table)) == 6  # the six syntax faults, no more


def test_a_word_is_never_taken_for_another_only_suggested():
    table = table_of("a = 'cw'\nb = 'yes'", "a", "b")
    assert table.choice("a", ("clockwise", "yes"), means={"cw": "clockwise"}) is None
    assert table.choice("b", ("clockwise", "yes")) == "yes"
    assert said(table)[0][2] == 'a is "cw"; it needs one of "clockwise", "yes"; did you mean "clockwise"?'


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (True, "true, a yes-or-no value"),
        ("", "an empty text"),
        ([], "an empty list"),
        ([1], "a list"),
        ({}, "a table"),
        (0xFFFF**40, "the number with more than 40 figures"),
        (1.5, "the number 1.5"),
    ],
)
def test_every_kind_of_value_is_named_in_words(value, words):
    assert kind_of(value) == words


def test_what_is_shown_is_short_and_printable():
    assert shown("a\nb\ud800") == '"a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}"'
    assert len(shown("x" * 500)) <= 41
    assert shown("x" * 500).endswith('..."')
    assert plain(0.1 + 0.2) == "0.3"


def test_paths_are_written_as_the_owner_counts():
    assert written(("gap_mm", "intake", "cold")) == "gap_mm.intake.cold"
    assert written(("stack", 0, "part")) == "stack 1.part"
    assert written(("heads", 1, 2)) == "heads 2, item 3"
    assert written(("a b",)) == '"a b"'


def test_the_nearest_key_is_near_or_none():
    assert nearest("tigth", ("tight", "cold")) == "tight"
    assert nearest("zzz", ("tight", "cold")) is None


def test_joiners_are_fit_to_print_and_control_characters_are_not():
    assert fit_to_print("نمی\u200cشود")
    assert not any(map(fit_to_print, ("a\nb", "a\u2028b", "\ud800", "\u202e", "\x7f")))
