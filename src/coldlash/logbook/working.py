"""Work, tests and accepted causes of an engine: written, corrected, listed. A part of the book."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from sqlalchemy import ColumnElement, Connection

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook import lasting
from coldlash.logbook import models as m
from coldlash.logbook.lasting import AcceptedCause, AtEngine, EngineTest, Work
from coldlash.logbook.shed import Shelf, find
from coldlash.logbook.visit_rows import one_visit

Entry = TypeVar("Entry", Work, EngineTest, AcceptedCause)


class Working(Shelf):
    """Work, tests, accepted causes."""

    def work(self, engine: str | None = None, *, everything: bool = False) -> tuple[Work, ...]:
        """Work on an engine, or on all, by day. ``everything``: also what was corrected. Raises InputError."""
        return self._entries(Work, engine, everything)

    def tests(self, engine: str | None = None, *, everything: bool = False) -> tuple[EngineTest, ...]:
        """Tests of an engine, or of all, by day. Raises InputError."""
        return self._entries(EngineTest, engine, everything)

    def accepted_causes(
        self, engine: str | None = None, *, everything: bool = False
    ) -> tuple[AcceptedCause, ...]:
        """Causes that were accepted, by day. Raises InputError."""
        return self._entries(AcceptedCause, engine, everything)

    def _entries(self, kind: type[Entry], engine: str | None, everything: bool) -> tuple[Entry, ...]:
        table, _ = lasting.TABLES[kind]
        with self._file.reading() as connection:
            wanted: list[ColumnElement[bool]] = []
            if engine is not None:
                wanted.append(table.c.engine_id == find(connection, m.engines, engine, "engine")["id"])
            return lasting.standing(connection, kind, *wanted, everything=everything)

    def add_work(self, entry: Work) -> Work:
        """Write work done, or a correction of it. Sent again it changes nothing. Raises InputError, BookError."""
        return self._add(entry)

    def add_test(self, entry: EngineTest) -> EngineTest:
        """Write a test done, or a correction of it. Raises InputError, BookError."""
        return self._add(entry)

    def accept_cause(self, entry: AcceptedCause) -> AcceptedCause:
        """Write a cause the owner holds for found, or a correction of it. Raises InputError, BookError."""
        return self._add(entry)

    def _add(self, entry: Entry) -> Entry:
        with self._file.writing() as connection:
            self._check_place(connection, entry)
            return lasting.add(connection, entry, self._at(entry.at))

    def one_entry(self, kind: type[Entry], id: str) -> Entry:
        """Work, a test or an accepted cause by its id. Raises InputError."""
        with self._file.reading() as connection:
            return lasting.one(connection, kind, id)

    def take_back_entry(self, kind: type[Entry], id: str, reason: str) -> Entry:
        """Withdraw work, a test or an accepted cause by its id; it stays to be seen. Raises InputError, BookError."""
        with self._file.writing() as connection:
            old = lasting.one(connection, kind, id)
            return self._add(
                replace(old, id=None, at=None, seq=0, replaces=old.id, reason=reason, withdrawn=True)
            )

    def _check_place(self, connection: Connection, entry: AtEngine) -> None:
        find(connection, m.engines, entry.engine_id, "engine")
        if entry.visit_id is None:
            return
        if one_visit(connection, entry.visit_id).engine_id != entry.engine_id:
            raise InputError(
                say("the visit {visit_id} is another engine's; nothing was written", visit_id=entry.visit_id)
            )
