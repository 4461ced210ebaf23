"""What was worked out from engine files once, so that a large shed need not read every file again. A part of the book.

Nothing is lost if it is missing; it is worked out again.
"""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import select

from coldlash.logbook import models as m
from coldlash.logbook.records import PLAN_MAX, checked_text
from coldlash.logbook.shed import Shelf


class Facts(Shelf):
    """Facts of engine files."""

    def engine_facts(self) -> dict[str, str]:
        """Facts (JSON text) by engine file id, of those files that have some."""
        with self._file.reading() as connection:
            rows = connection.execute(select(m.engine_facts.c.engine_file_id, m.engine_facts.c.facts)).all()
            return {row.engine_file_id: row.facts for row in rows}

    def keep_engine_facts(self, facts: Mapping[str, str]) -> None:
        """Keep facts by engine file id; those a file has already stay. Raises InputError, BookError."""
        with self._file.writing() as connection:
            there = set(connection.execute(select(m.engine_facts.c.engine_file_id)).scalars())
            new = [
                {"engine_file_id": id, "facts": checked_text(text, "facts", PLAN_MAX)}
                for id, text in facts.items()
                if id not in there
            ]
            if new:
                connection.execute(m.engine_facts.insert(), new)
