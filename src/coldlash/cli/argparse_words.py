"""argparse's own words in the language of the moment: "usage", "options", what it says about a wrong command line.

argparse looks its words up through two functions of its module, which it took from gettext at import. They are
exchanged while a command line is read, and put back.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from coldlash.language import mark, plural, table

WORDS = frozenset(
    {
        mark("usage: "),
        mark("positional arguments"),
        mark("options"),
        mark("show this help message and exit"),
        mark("show program's version number and exit"),
        mark("%(prog)s: error: %(message)s\n"),
        mark("argument %(argument_name)s: %(message)s"),
        mark("the following arguments are required: %s"),
        mark("one of the arguments %s is required"),
        mark("unrecognized arguments: %s"),
        mark("not allowed with argument %s"),
        mark("ignored explicit argument %r"),
        mark("invalid choice: %(value)r (choose from %(choices)s)"),
        mark("invalid %(type)s value: %(value)r"),
        mark("expected one argument"),
        mark("expected at most one argument"),
        mark("expected at least one argument"),
        mark("ambiguous option: %(option)s could match %(matches)s"),
    }
)
"""What argparse may say to whoever types; what it says to programmers stays English."""


@contextmanager
def argparse_speaks() -> Iterator[None]:
    """Within the block argparse speaks the language of the moment."""
    module: Any = argparse
    before = module._, module.ngettext
    module._, module.ngettext = _said, _counted
    try:
        yield
    finally:
        module._, module.ngettext = before


def _said(text: str) -> str:
    return table(text) if text in WORDS else text


def _counted(one: str, many: str, n: int) -> str:
    if one == "expected %s argument":
        return plural("expected %s argument", "expected %s arguments", n)
    return one if n == 1 else many
