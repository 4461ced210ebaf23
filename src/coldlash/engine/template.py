"""A new engine file in the owner's name, from a generic engine, with every figure still to be corrected."""

from __future__ import annotations

from coldlash.engine.catalogue import generic_text
from coldlash.engine.fields import fit_to_print
from coldlash.engine.reader import LONGEST_NAME, read_engine
from coldlash.engine.toml_lines import read_toml
from coldlash.errors import InputError
from coldlash.language import mark, say, table

_HEAD = mark(
    "{name}: engine file for coldlash, started from the generic {layout}.\n"
    "\n"
    "Every figure below is typical and none is yours yet. Go through them with the maker's manual and the engine\n"
    'at hand; replace "typical, from memory" by where your figure comes from. What a key means, its unit and its\n'
    "range stand in docs/engine-file.md. What you don't know, leave out: coldlash says what it then can't answer.\n"
    "Lengths are mm (1 in = 25.4 mm; 0.006 in = 0.152 mm), angles crank degrees, gaps with the engine cold."
)


def new_engine_text(name: str, layout: str) -> str:
    """The text of an engine file named ``name`` that starts from the generic engine ``layout``.

    It reads back without faults. Raises InputError for a name that can't be used or an unknown layout.
    """
    shown = name.strip()
    if not shown:
        raise InputError(say("the new engine has no name; give it one, like Launch engine"))
    if len(shown) > LONGEST_NAME:
        raise InputError(
            say(
                "the name has {count} characters; at most {longest_name} fit: shorten it",
                count=len(shown),
                longest_name=LONGEST_NAME,
            )
        )
    if not fit_to_print(shown):
        raise InputError(
            say(
                "the name {shown!r} holds a line break or a control character; use one line of text",
                shown=shown,
            )
        )
    lines = generic_text(layout).splitlines()
    at = read_toml("\n".join(lines)).keys[("name",)].line - 1
    lines[at] = f"name = {toml_text(shown)}"
    body = lines[next(i for i, line in enumerate(lines) if not line.startswith("#")) :]
    head = table(_HEAD, name=shown, layout=layout).splitlines()
    text = "\n".join([*(f"# {line}".rstrip() for line in head), *body]) + "\n"
    read_engine(text, say("new engine file for {shown}", shown=shown))
    return text


def toml_text(text: str) -> str:
    """A text as a TOML string: in plain quotes, with what has to be escaped escaped (TOML 1.0, basic strings)."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
