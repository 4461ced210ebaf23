"""The language of the terminal: asked for on the command line, by COLDLASH_LANGUAGE, or set on the computer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldlash.errors import InputError
from coldlash.language import ENGLISH, NAMES, known, say, using

OPTION = "--language"
VARIABLE = "COLDLASH_LANGUAGE"
POSIX = ("LC_ALL", "LC_MESSAGES", "LANG")
"""In this order the first that is set decides (POSIX.1-2017, Base Definitions 8.2)."""


def language_of(argv: Sequence[str], environ: Mapping[str, str]) -> str:
    """The tag of the language to speak, found before the command line is parsed, so that parsing speaks it as well.

    Raises InputError for a language that isn't there, where coldlash itself was asked for it; what the computer is
    set to falls back to English.
    """
    computers = _of_computer(environ)
    asked = _option(argv)
    source = OPTION
    if asked is None:
        asked, source = environ.get(VARIABLE, "").strip() or None, VARIABLE
    if asked is None:
        return computers
    have = known(asked)
    if have is None:
        with using(computers):
            raise InputError(
                say(
                    "{source}: the language {asked!r} is not here; there are {tags}",
                    source=source,
                    asked=asked,
                    tags=", ".join(f"{tag} ({name})" for tag, name in NAMES.items()),
                )
            )
    return have


def _option(argv: Sequence[str]) -> str | None:
    """What stands behind the last --language before the command; None = nothing for argparse to accept."""
    asked = None
    words = iter(argv)
    for word in words:
        if word == OPTION:
            asked = next(words, None)
        elif word.startswith(f"{OPTION}="):
            asked = word.partition("=")[2]
        elif not word.startswith("-"):
            break
    return asked


def _of_computer(environ: Mapping[str, str]) -> str:
    setting = next((environ[name] for name in POSIX if environ.get(name)), "")
    return known(setting) or ENGLISH
