"""Numbers as people type them, and which mark is the decimal one."""

from __future__ import annotations

import pytest
from babel.numbers import NumberFormatError, parse_decimal
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.logbook.sheets.numbers import decimal_of, empty, pair, typed, typed_text


@pytest.mark.parametrize(
    ("text", "point", "comma", "unit"),
    [
        ("0,15", None, 0.15, ""),
        ("0.15", 0.15, None, ""),
        (",15", None, 0.15, ""),
        ("84,210", 84210.0, 84.21, ""),
        ("1.250,5", None, 1250.5, ""),
        ("84 210 km", 84210.0, 84210.0, "km"),
        ("84'210", 84210.0, 84210.0, ""),
        ("0.15 mm", 0.15, None, "mm"),
        ('.006"', 0.006, None, "in"),
        ("6 thou", 6.0, 6.0, "thou"),
        ("15 1/100 mm", None, None, None),
        ("65 °F", 65.0, 65.0, "F"),
        ("\u22125", -5.0, -5.0, ""),
    ],
)
def test_a_number_is_read_in_every_way_it_can_be(text, point, comma, unit):
    # derived: the decimal marks and grouping of English and German (CLDR)
    parsed = typed_text(text)
    if unit is None:
        assert parsed is None
    else:
        assert (parsed.point, parsed.comma, parsed.unit) == (point, comma, unit)


@pytest.mark.parametrize("text", ["x3", "0,1,5", "1 2", "12a", "5.", "--", "1e5", "0x10", "nan"])
def test_what_is_no_number_is_none(text):
    assert typed_text(text) is None


def test_cells_of_a_spreadsheet_are_numbers_as_they_are():
    assert typed(0.15).by(",") == typed(0.15).by(".") == 0.15
    assert typed(True) is None
    assert typed(float("inf")) is None
    assert typed(None) is None


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.from_regex(r"[0-9.,]{1,9}", fullmatch=True))
def test_a_decimal_comma_never_becomes_a_whole_number(text):
    # independent software: babel's strict rules, in both locales
    parsed = typed_text(text)
    for mark, locale in ((".", "en_US"), (",", "de_DE")):
        try:
            value = float(parse_decimal(text, locale=locale, strict=True))
        except NumberFormatError:
            value = None
        got = None if parsed is None else parsed.by(mark)
        assert got in (value, None)
    if parsed is not None and text.count(",") == 1 and len(text.partition(",")[2]) != 3 and "." not in text:
        assert parsed.point is None


@pytest.mark.parametrize(
    ("cells", "decimal"),
    [
        (["84,210", "5"], ""),
        (["84,210", "0,15"], ","),
        (["84,210", "1.5"], "."),
        (["0,15", "0.20"], "either"),
        (["15", "20"], "."),
        ([0.15, "84,210"], ""),
        (["0,10-0,15"], ","),
        (["<0,05", ">0,30"], ","),
        ([], "."),
    ],
)
def test_the_decimal_mark_is_decided_by_the_whole_column(cells, decimal):
    assert decimal_of(cells) == decimal


def test_where_both_marks_occur_a_cell_that_can_be_both_is_not_guessed():
    assert typed_text("0,15").by("either") == 0.15
    assert typed_text("84,210").by("either") is None
    assert typed_text("15").by("either") == 15.0


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("0.10-0.15", ("0.10", "0.15")),
        ("0,10 / 0,15", ("0,10", "0,15")),
        (".005 to .006", (".005", ".006")),
        ("0,10 bis 0,15", ("0,10", "0,15")),
        ("0.10–0.15", ("0.10", "0.15")),
        ("0.15", None),
        ("-0.15", None),
        ("2019-05-04", None),
        ("a-b", None),
    ],
)
def test_two_numbers_in_one_cell_are_a_pair(text, parts):
    assert pair(text) == parts
    assert pair(0.15) is None


def test_what_stands_for_nothing_is_empty():
    assert all(empty(cell) for cell in (None, "-", "–", "n/a", "k.A.", ""))
    assert not any(empty(cell) for cell in ("0", 0.0, False, "x"))
