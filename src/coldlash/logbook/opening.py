"""A book by path or address: a file of SQLite, or a database on a PostgreSQL server."""

from __future__ import annotations

import os
from collections.abc import Callable

from coldlash.logbook.bookfile import file_of, open_file
from coldlash.logbook.keeping import Kept

SERVER_SCHEMES = ("postgresql", "postgresql+psycopg", "postgres")


def is_server(path_or_url: str | os.PathLike[str]) -> bool:
    """True for the address of a database on a server."""
    scheme, mark, _ = os.fspath(path_or_url).partition("://")
    return bool(mark) and scheme in SERVER_SCHEMES


def is_there(path_or_url: str | os.PathLike[str]) -> bool:
    """Is something at that path, or in that database? Raises BookError when that can't be seen."""
    if is_server(path_or_url):
        from coldlash.logbook.postgres import is_in_use

        return is_in_use(os.fspath(path_or_url))
    return os.path.lexists(file_of(path_or_url))


def shown_name(path_or_url: str | os.PathLike[str]) -> str:
    """A path or address as it may be printed: without anything secret. Raises BookError."""
    if is_server(path_or_url):
        from coldlash.logbook.postgres import server_url, shown

        return shown(server_url(os.fspath(path_or_url)))
    return str(file_of(path_or_url))


def open_kept(
    path_or_url: str | os.PathLike[str],
    *,
    create: bool = False,
    wait_s: float = 5.0,
    on_wait: Callable[[], None] | None = None,
) -> Kept:
    """Open a book whatever keeps it, bringing an older one up to date; with ``create`` make a missing one.

    Before an older one is changed a backup is made of it. Raises BookError, InputError.
    """
    if is_server(path_or_url):
        from coldlash.logbook.postgres import open_server

        return open_server(
            os.fspath(path_or_url),
            create=create,
            wait_s=wait_s,
            on_wait=on_wait,
            before_update=_keep_a_copy,
        )
    return open_file(
        file_of(path_or_url), create=create, wait_s=wait_s, on_wait=on_wait, before_update=_keep_a_copy
    )


def _keep_a_copy(old: Kept, revision: str) -> None:
    from coldlash.logbook.backup import backup_before_update

    backup_before_update(old, revision)
