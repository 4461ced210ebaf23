"""Checksums of a history."""

from __future__ import annotations

import hashlib

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.errors import InputError
from coldlash.paper.checksum import canonical, chain, find, grouped

keys = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=6)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=9)
contents = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@settings(max_examples=300, derandomize=True, deadline=None)
@given(contents)
def test_content_is_written_as_an_independent_writer_of_rfc_8785_writes_it(content):
    # independent software: PyPI rfc8785
    assert canonical(content) == rfc8785.dumps(content)


def test_each_checksum_is_sha_256_over_the_one_before_and_the_visit():
    # derived from the definition, with hashlib
    first = hashlib.sha256(b'{"toml":"x"}').digest()
    second = hashlib.sha256(first + b'{"day":"2026-05-31"}').digest()
    assert chain({"toml": "x"}, [{"day": "2026-05-31"}]) == (first.hex(), second.hex())


def test_a_change_in_one_visit_changes_its_checksum_and_all_after_it_and_none_before():
    visits = [{"n": i} for i in range(6)]
    before, after = chain("e", visits), chain("e", [*visits[:3], {"n": 99}, *visits[4:]])
    assert [a == b for a, b in zip(before, after, strict=True)] == [True] * 4 + [False] * 3


def test_a_printed_checksum_is_found_as_typed_from_paper():
    sums = chain("e", [{"n": i} for i in range(6)])
    assert find(sums, grouped(sums[4]).upper()) == 4
    assert find(sums, f" {sums[6][:8]} {sums[6][8:16]}") == 6
    assert find(sums, sums[0]) == 0
    assert find(sums, "0" * 16) is None


def test_grouped_digits_are_eight_and_eight():
    assert grouped("0123456789abcdef") == "01234567 89abcdef"


@pytest.mark.parametrize(
    ("printed", "message"),
    [
        ("12345g7812345678", "has other characters than 0 to 9 and a to f; copy it as printed"),
        ("1234567812345", "has 13 digits; give at least the first 16, at most all 64"),
        ("0" * 65, "has 65 digits"),
    ],
)
def test_what_is_no_checksum_is_refused(printed, message):
    with pytest.raises(InputError, match=message):
        find(chain("e", []), printed)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ({"a": [1.5]}, r"content\.a\[0\]: 1\.5 is no text, whole number"),
        ({"é": 1}, "the key 'é' is not plain ASCII text"),
        ({1: 2}, "the key 1 is not plain ASCII text"),
        (2**53, "is too large to be written the same everywhere"),
        ("\ud800", "has half a character"),
        (b"x", "is no text, whole number"),
    ],
)
def test_content_that_is_not_written_the_same_everywhere_is_refused(content, message):
    with pytest.raises(InputError, match=message):
        canonical(content)
