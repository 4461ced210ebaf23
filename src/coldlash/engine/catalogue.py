"""The generic engines that come with coldlash: their names and their engine files."""

from __future__ import annotations

import difflib
from importlib import resources

from coldlash.errors import InputError
from coldlash.language import say


def generic_names() -> tuple[str, ...]:
    """The names of the generic engines, in alphabetical order."""
    return tuple(
        sorted(
            entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml")
        )
    )


def generic_text(name: str) -> str:
    """The text of a generic engine's file, ready for ``engine.reader``. Raises InputError on another name."""
    names = generic_names()
    if name not in names:
        near = difflib.get_close_matches(name.lower()[:60], names, n=1)
        if near:
            raise InputError(
                say(
                    "{name!r} is no generic engine; did you mean {near}? there are: {names}",
                    name=name,
                    near=near[0],
                    names=", ".join(names),
                )
            )
        raise InputError(
            say("{name!r} is no generic engine; there are: {names}", name=name, names=", ".join(names))
        )
    return (_folder() / f"{name}.toml").read_text(encoding="utf-8")


def _folder() -> resources.abc.Traversable:
    return resources.files("coldlash.engine") / "generic"
