"""The archive's file: a ZIP whose bytes depend on nothing but what is in it, and one read without trusting it.

Entries are stored, not compressed, with one time (1980-01-01, the first a ZIP can say): compressed bytes would differ
between builds of the compressor. It also means that no entry can unfold into more than the file itself has.
"""

from __future__ import annotations

import hashlib
import re
import struct
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO

from coldlash.errors import InputError
from coldlash.language import say

FIRST_TIME = (1980, 1, 1, 0, 0, 0)
UNIX, REGULAR_FILE = 3, 0o100644
MANIFEST_NAME = "manifest.json"
UNREADABLE = (
    zipfile.BadZipFile,
    OSError,  # a place before the file's beginning
    EOFError,
    NotImplementedError,  # a later version of the format
    RuntimeError,  # locked with a password
    ValueError,  # a name that is no text
    struct.error,
)
"""What Python's reader says of a damaged file."""
_SAFE = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]*(/[A-Za-z0-9_-][A-Za-z0-9._-]*)?")


@dataclass(frozen=True, slots=True)
class Entry:
    """One file in an archive. ``size`` in bytes."""

    name: str
    size: int
    sha256: str


class Writer:
    """Puts files into an archive, in the order given, and remembers what it put there."""

    def __init__(self, file: IO[bytes]) -> None:
        self.entries: list[Entry] = []
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_STORED)

    def add(self, name: str, data: bytes) -> None:
        """One more file. Raises OSError."""
        info = zipfile.ZipInfo(name, FIRST_TIME)
        info.create_system = UNIX
        info.external_attr = REGULAR_FILE << 16
        self._zip.writestr(info, data, zipfile.ZIP_STORED)
        self.entries.append(Entry(name, len(data), hashlib.sha256(data).hexdigest()))

    def close(self) -> None:
        """Write the table of contents. Raises OSError."""
        self._zip.close()

    def __enter__(self) -> Writer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is None:
                self.close()
        finally:
            self._zip.fp = None  # after a fault it must not try to write into the closed file again


class Archive:
    """An archive that is open: nothing in it is trusted."""

    def __init__(self, name: str, file: zipfile.ZipFile) -> None:
        self.name = name
        self._zip = file
        self._infos = {info.filename: info for info in file.infolist()}

    @property
    def names(self) -> tuple[str, ...]:
        """The files in it, in order."""
        return tuple(self._infos)

    def read(self, name: str) -> bytes:
        """The bytes of a file in it. Raises InputError when they are damaged."""
        try:
            return self._zip.read(self._infos[name])
        except UNREADABLE as error:
            raise damaged(self.name, f"{name}: {error}") from error


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """An archive whose list of files can be used: plain names, none twice, nothing compressed or locked.

    Raises InputError.
    """
    try:
        stream = path.open("rb")
    except OSError as error:
        raise InputError(
            say("{path}: can't be read ({reason}); nothing was made", path=path, reason=error.strerror)
        ) from error
    with stream:
        try:
            file = zipfile.ZipFile(stream)
        except UNREADABLE as error:
            raise damaged(str(path), str(error)) from error
        with file:
            _look_over(str(path), file, path.stat().st_size)
            yield Archive(str(path), file)


def damaged(path: str, reason: str) -> InputError:
    """The error for a file that is no whole archive."""
    return InputError(
        say(
            "{path}: this is no archive, or it is damaged or cut short ({reason}); nothing was made; "
            "take another copy of it",
            path=path,
            reason=reason,
        )
    )


def _look_over(path: str, file: zipfile.ZipFile, size: int) -> None:
    seen: set[str] = set()
    total = 0
    for info in file.infolist():
        name = info.orig_filename
        if not _SAFE.fullmatch(name) or name != info.filename:
            raise InputError(
                say(
                    "{path}: holds a file called {name!r}, which no archive of coldlash does; nothing was made",
                    path=path,
                    name=name,
                )
            )
        if name in seen:
            raise InputError(say("{path}: holds {name} twice; nothing was made", path=path, name=name))
        if info.compress_type != zipfile.ZIP_STORED or info.flag_bits & 1:
            raise InputError(
                say(
                    "{path}: {name} is compressed or locked with a password, so this file was packed anew by another "
                    "program; nothing was made; give the archive as coldlash wrote it",
                    path=path,
                    name=name,
                )
            )
        seen.add(name)
        total += info.file_size
        if info.file_size != info.compress_size or total > size:
            raise InputError(
                say(
                    "{path}: claims to hold more than its own {size} bytes; nothing was made; "
                    "take another copy of it",
                    path=path,
                    size=size,
                )
            )
