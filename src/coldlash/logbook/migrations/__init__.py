"""The book's schema, version by version, and the one way to bring a book up to date.

All of it or nothing: one transaction from the first statement to the last. Foreign keys are off while tables are
rebuilt (switching them off inside a transaction does nothing, and with them on a rebuilt table has taken child
rows with it), and every reference is checked before the commit.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection

from coldlash.errors import BookError
from coldlash.language import say

HEAD = "0002"
"""The newest revision this coldlash knows. Kept here so that opening a current book need not load Alembic."""

FOLDER = Path(__file__).parent


def known_revisions(folder: Path = FOLDER) -> tuple[str, frozenset[str]]:
    """The newest revision and all of them, from the names of the files (0001_first_tables.py)."""
    if folder == FOLDER:
        return HEAD, frozenset(f"{number:04d}" for number in range(1, int(HEAD) + 1))
    names = sorted(file.name.partition("_")[0] for file in (folder / "versions").glob("[0-9]*.py"))
    return names[-1], frozenset(names)


def upgrade(connection: Connection, *, folder: Path = FOLDER, to: str = "head") -> None:
    """Run the migrations on a connection that is in a transaction (on SQLite with foreign keys off).

    The caller commits or rolls back. Raises BookError when references are broken afterwards.
    """
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)
    if connection.dialect.name != "sqlite":
        return  # a server checks each reference itself
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        tables = ", ".join(sorted({str(row[0]) for row in broken}))
        raise BookError(
            say(
                "{count} rows would point to nothing ({tables}); nothing was changed",
                count=len(broken),
                tables=tables,
            )
        )
