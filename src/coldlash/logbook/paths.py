"""Where the book lives when nobody says otherwise."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from coldlash.errors import BookError
from coldlash.language import say

BOOK_VARIABLE = "COLDLASH_BOOK"
BOOK_NAME = "book.coldlash"


def default_book(
    environ: Mapping[str, str] = os.environ, platform: str = sys.platform, *, make_folder: bool = False
) -> str:
    """The path (or URL) of the owner's book: ``COLDLASH_BOOK`` if set, else a file in the user's data folder.

    ``make_folder``: make that data folder if it is missing (never the one in ``COLDLASH_BOOK``: it may be mistyped).
    Raises BookError when it can't be made.

    Linux and others: ``$XDG_DATA_HOME/coldlash/book.coldlash``, by default under ``~/.local/share``.
    macOS: ``~/Library/Application Support/coldlash``. Windows: ``%LOCALAPPDATA%\\coldlash``.
    """
    given = environ.get(BOOK_VARIABLE, "").strip()
    if given:
        return given
    folder = data_folder(environ, platform)
    if make_folder:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BookError(
                say(
                    "{folder}: can't be made ({reason}); set {variable}",
                    folder=folder,
                    reason=error.strerror,
                    variable=BOOK_VARIABLE,
                )
            ) from error
    return str(folder / BOOK_NAME)


def data_folder(environ: Mapping[str, str] = os.environ, platform: str = sys.platform) -> Path:
    """The user's data folder for coldlash; it may be missing still."""
    home = Path(environ.get("HOME") or environ.get("USERPROFILE") or Path.home())
    if platform == "win32":
        folder = Path(environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        xdg = environ.get("XDG_DATA_HOME", "")
        # The XDG base directory specification says a relative path here is to be ignored.
        folder = Path(xdg) if Path(xdg).is_absolute() else home / ".local" / "share"
    return folder / "coldlash"
