"""Every key and value of a TOML text is found at its line and column, and syntax faults are said in plain words."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.engine.toml_lines import UNREAD, Place, read_toml

# Written by hand after the TOML 1.0 specification; places counted by eye.
SAMPLE = '''\
# comment
title = "a # no comment"   # one
[table]
"quoted key".'x' = 'lit'
site . "b.c" = 1

[table.sub]
long = """
text ""with"" quotes
""""
list = [
  1, # one
  [2, 3],  # two
  { a = 4, b.c = [5] },
]
[[part]]
name = "\\u00e9 \\" ]"
[part.inner]
deep = true
[[part]]
name = 'second'
'''


def test_places_in_a_text_with_every_kind_of_statement():
    file = read_toml(SAMPLE)
    assert file.data == tomllib.loads(SAMPLE)
    assert file.faults == ()
    keys = {
        ("title",): (2, 1),
        ("table",): (3, 1),
        ("table", "quoted key"): (4, 1),
        ("table", "quoted key", "x"): (4, 14),
        ("table", "site", "b.c"): (5, 8),
        ("table", "sub"): (7, 1),
        ("table", "sub", "long"): (8, 1),
        ("table", "sub", "list"): (11, 1),
        ("table", "sub", "list", 2, "a"): (14, 5),
        ("table", "sub", "list", 2, "b", "c"): (14, 14),
        ("part",): (16, 1),
        ("part", 0): (16, 1),
        ("part", 0, "name"): (17, 1),
        ("part", 0, "inner", "deep"): (19, 1),
        ("part", 1): (20, 1),
        ("part", 1, "name"): (21, 1),
    }
    assert {path: (file.keys[path].line, file.keys[path].column) for path in keys} == keys
    values = {
        ("title",): (2, 9),
        ("table", "quoted key", "x"): (4, 20),
        ("table", "sub", "long"): (8, 8),
        ("table", "sub", "list", 0): (12, 3),
        ("table", "sub", "list", 1, 1): (13, 7),
        ("table", "sub", "list", 2, "b", "c", 0): (14, 19),
        ("part", 0, "inner", "deep"): (19, 8),
        ("part", 1, "name"): (21, 8),
    }
    assert {path: (file.values[path].line, file.values[path].column) for path in values} == values


ATOMS = ("7", "-3", "1.5e3", "true", "1979-05-27", '"a]#b"', "'a\"]#'", '"\\"="', '""', "''", '"""x\n#y\n"""')
VALUES = st.recursive(st.sampled_from(ATOMS), lambda inner: st.lists(inner, max_size=3), max_leaves=6)


class Writer:
    """Writes TOML and notes where each value begins: the oracle of the next test."""

    def __init__(self) -> None:
        self.text = ""
        self.values: dict[tuple, Place] = {}

    def here(self) -> Place:
        return Place(self.text.count("\n") + 1, len(self.text) - self.text.rfind("\n"))

    def value(self, path: tuple, value: str | list, blank: str) -> None:
        self.values[path] = self.here()
        if isinstance(value, str):
            self.text += value
            return
        self.text += "["
        for index, item in enumerate(value):
            self.text += blank
            self.value((*path, index), item, blank)
            self.text += " , "
        self.text += f"{blank}]"


@settings(max_examples=150, derandomize=True, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(("[t]", "[[a]]")), st.lists(VALUES, max_size=3)), max_size=6),
    st.sampled_from(("", " ", "\n", "\n # ] , \n", "\t")),
)
def test_values_are_found_where_a_writer_put_them(sections, blank):
    writer = Writer()
    parts = 0
    for number, (head, values) in enumerate(sections):
        if head == "[[a]]":
            base: tuple = ("a", parts)
            parts += 1
        else:
            base = (f"t{number}",)
            head = f"[ t{number} ]"
        writer.text += f"{head} # x\n"
        for index, value in enumerate(values):
            writer.text += f"  k{index}\t= "
            writer.value((*base, f"k{index}"), value, blank)
            writer.text += " # end\n"
    file = read_toml(writer.text)
    assert file.faults == ()
    assert file.data == tomllib.loads(writer.text)
    assert {path: file.values[path] for path in writer.values} == writer.values


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("a = clockwise", 1, "'clockwise' is text and needs quotes: \"clockwise\""),
        ('a = clockwise"', 1, '\'clockwise"\' is text and needs quotes: "clockwise"'),
        ("x = 1\na = 0,15 # mm", 2, "'0,15' is written with a comma; numbers take a point: 0.15"),
        ("a = .15", 1, "'.15' needs a figure before the point: 0.15"),
        ("a = 5.", 1, "'5.' needs a figure after the point: 5.0"),
        ("a = 015", 1, "'015' starts with a nought; write it without"),
        ("a = 0.15 mm", 1, "'0.15 mm': write the bare number, here 0.15; the unit stands in the key's name"),
        ("a = 10°", 1, "'10°': write the bare number, here 10"),
        ("a = True", 1, "'True' is written in small letters: true"),
        ("a = “x”", 1, "'“x”' stands in curly quotes; use the plain ones: \"x\""),
        ("a =", 1, "'a' has no value after the ="),
        ("a = # later", 1, "'a' has no value after the ="),
        ('a = "x\nb = 1', 1, "text is not closed: its second quote is missing"),
        ("[t\na = 1", 1, "'[t': the name of a table needs its closing ]"),
        ("[[t]\na = 1", 1, "'[[t]': the name of a table needs its closing ]]"),
        ("just words", 1, "'just words' is neither key = value, nor [table], nor a # comment"),
        ("= 1", 1, "'= 1' is neither key = value, nor [table], nor a # comment"),
        ("a = 1\nb = 2\na = 3", 3, "'a' stands in the file twice; keep one of them"),
        ("[t]\nb = 2\n[t]", 3, "'t' stands in the file twice; keep one of them"),
        ("a = 1\nb = [1,\n 2\nc = 3", 4, "a list is not closed: it starts in line 2 and needs its ]"),
        ("a = 1\rb = 2", 1, "a line ends in an old-style carriage return; save the file"),
        ('a = "\\q"', 1, "this can't be read as TOML (unescaped '\\' in a string)"),
        ("a = 1 \x00", 1, "'1 \\x00' is no single value: write a number,"),
        ("a = 1 # \x00", 1, "the character '\\x00' has no place here; delete it"),
        ('"a\x01b" = 1', 1, "the character '\\x01' has no place here; delete it"),
        (
            "a = 180 degrees",
            1,
            "'180 degrees' is no single value: write a number, text in quotes or a list in [ ]",
        ),
        ("a = (1, 2)", 1, "'(1, 2)' is no single value: write a number, text in quotes or a list in [ ]"),
        ('a = """x', 1, "text is not closed: its closing quotes are missing"),
        ("a = 'x", 1, "text is not closed: its closing quotes are missing"),
        ("a = {b = 1, 2}", 1, "a table in { } is not well written; write its keys under a [table]"),
        ("a = " + "[" * 9000, 0, "lists or tables stand inside each other too deep to be read"),
        ("a = " + "9" * 9000, 0, "a number has thousands of digits; write it like 0.15"),
    ],
)
def test_a_text_that_is_no_toml_is_explained_with_its_line(text, line, said):
    faults = read_toml(text).faults
    assert len(faults) == 1
    assert said in faults[0].message
    assert faults[0].line == line


def test_faults_behind_a_faulty_line_are_found_too_and_the_rest_is_read():
    file = read_toml("a = x\nb = 1\na = 2\n[t]\nc = 0,1\nd = 2\nc = 5\n")
    assert [(f.line, f.message.split(";")[0]) for f in file.faults] == [
        (1, "'x' is text and needs quotes: \"x\""),
        (3, "'a' stands in the file twice"),
        (5, "'0,1' is written with a comma"),
        (7, "'c' stands in the file twice"),
    ]
    assert file.data == {"a": UNREAD, "b": 1, "t": {"c": UNREAD, "d": 2}}


def test_a_list_left_open_stops_the_reading():
    assert read_toml("a = [x\nb = 1\n").data is None


def test_not_more_than_fifty_syntax_faults_are_listed():
    assert len(read_toml("\n".join(f"k{i} = x" for i in range(80))).faults) == 50


def test_a_text_far_too_large_is_refused_before_it_is_parsed():
    faults = read_toml("# x\n" * 30_000).faults
    assert [f.message for f in faults] == [
        "the file has 120000 characters; an engine file has a few thousand: is it the right one?"
    ]
    long = read_toml("a = 1\n" + "a." * 6000 + "b = 1\n").faults
    assert [(f.line, f.message) for f in long] == [
        (2, "this line has 12005 characters; at most 10000 can be read")
    ]


def test_nesting_that_only_the_locator_cannot_follow_is_refused_too(monkeypatch):
    def give_up(self):
        raise RecursionError

    monkeypatch.setattr("coldlash.engine.toml_lines._Scanner.run", give_up)
    assert [f.message for f in read_toml("a = [[1]]").faults] == [
        "lists or tables stand inside each other too deep to be read"
    ]
