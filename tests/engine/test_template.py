"""A new engine file reads back without faults, with the owner's name in it, whatever the name."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.reader import read_engine
from coldlash.engine.template import new_engine_text, toml_text
from coldlash.errors import InputError


@pytest.mark.parametrize("layout", generic_names())
def test_a_new_file_is_the_generic_engine_with_the_owners_name(layout):
    text = new_engine_text("Launch engine", layout)
    generic = read_engine(generic_text(layout), layout)
    assert read_engine(text, "new") == replace(generic, name="Launch engine")
    assert text.startswith(f"# Launch engine: engine file for coldlash, started from the generic {layout}.\n")
    assert "typical, from memory" in text
    assert max(len(line) for line in text.splitlines()) <= 120


@pytest.mark.parametrize(
    "name", ['the "Old" one', "back\\slash \\n", "O'Neill", "Ωμέγα", "발전기 2", "🚒", " spaced ", "# = ["]
)
def test_a_name_with_quotes_or_in_any_script_comes_back_whole(name):
    assert read_engine(new_engine_text(name, "single"), "new").name == name.strip()


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.text(max_size=85))
def test_any_name_is_taken_whole_or_refused(name):
    try:
        text = new_engine_text(name, "single")
    except InputError as error:
        text = ""
        refused = str(error)
    if text:
        assert read_engine(text, "new").name == name.strip()
    else:
        assert "name" in refused


@settings(max_examples=200, derandomize=True, deadline=None)
@given(st.text(st.characters(exclude_categories=("Cc", "Cs"))))
def test_text_in_toml_quotes_is_read_back_by_a_toml_parser(text):
    # independent software: Python's tomllib
    assert tomllib.loads(f"a = {toml_text(text)}") == {"a": text}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("  ", "the new engine has no name; give it one, like Launch engine"),
        ("x" * 81, "the name has 81 characters; at most 80 fit: shorten it"),
        ("two\nlines", "holds a line break or a control character; use one line of text"),
    ],
)
def test_a_name_that_cannot_be_used_is_refused(name, said):
    with pytest.raises(InputError, match=said):
        new_engine_text(name, "flat-four")


def test_an_unknown_layout_is_refused_with_the_ones_there_are():
    with pytest.raises(InputError, match="'flat-five' is no generic engine; did you mean flat-"):
        new_engine_text("x", "flat-five")
