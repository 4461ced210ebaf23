"""Files that were taken in: each is written down with how it was understood, and can be undone as a whole.

Undoing deletes nothing: the import's visits are discarded and stay in the book, marked. A part of the book.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, Connection, RowMapping, Table, func, or_, select

from coldlash.errors import InputError
from coldlash.language import plural, say
from coldlash.logbook import models as m
from coldlash.logbook.records import NOTE_MAX, checked_id, checked_name, checked_text, new_id, plain
from coldlash.logbook.shed import Shelf
from coldlash.logbook.visit_rows import field_text

SOURCE_MAX = 1000
AT_ONCE = 1000
"""Rows written with one statement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportEntry:
    """One file taken in. ``how``: JSON of how it was understood; ``engines``: the names of those it has visits of;
    ``undone_at`` None = it stands; ``first_day``, ``last_day`` of its visits.
    """

    id: str
    source: str
    sha256: str
    how: str
    visits_added: int
    rows_added: int
    by: str | None
    at: str
    undone_at: str | None
    undone_reason: str
    engines: tuple[str, ...] = ()
    first_day: date | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """A visit of an import that something was added to since: ``what`` in words."""

    visit_id: str
    engine: str
    day: date
    distance_m: int
    what: tuple[str, ...]

    @property
    def words(self) -> str:
        """In a sentence."""
        return say(
            "{engine}, {day} at {distance} km: {what}",
            engine=self.engine, day=self.day, distance=plain(self.distance_m), what=", ".join(self.what),
        )  # fmt: skip


class ImportTouchedError(InputError):
    """An import can't be undone without being asked again: somebody has added to its visits since."""

    def __init__(self, entry: ImportEntry, touched: Sequence[Touched]) -> None:
        self.entry = entry
        self.touched = tuple(touched)
        head = plural(
            "{source}: something was added to {n} of its visits since; nothing was undone. Undone all the same, the "
            "visits are put aside with what was added",
            "{source}: something was added to {n} of its visits since; nothing was undone. Undone all the same, the "
            "visits are put aside with what was added",
            len(touched), source=entry.source,
        )  # fmt: skip
        super().__init__("\n".join([head, *(f"  {each.words}" for each in touched)]))


class Imports(Shelf):
    """Imports: written down, listed, undone."""

    def imports(self) -> tuple[ImportEntry, ...]:
        """Every file that was taken in, the last one first, undone ones too."""
        with self._file.reading() as connection:
            return _entries(connection)

    def import_entry(self, import_id: str) -> ImportEntry:
        """One import by its id. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return _one(connection, import_id)

    def note_import(
        self,
        visit_ids: Sequence[str],
        *,
        source: str,
        sha256: str,
        how: str,
        rows: int,
        by: str | None = None,
        at: str | None = None,
    ) -> ImportEntry:
        """Write down that these visits came with a file. Raises InputError, BookError."""
        entry = new_id()
        with self._file.writing() as connection:
            connection.execute(
                m.imports.insert().values(
                    id=entry,
                    source=checked_text(source, "source", SOURCE_MAX),
                    sha256=sha256,
                    how=how,
                    visits_added=len(visit_ids),
                    rows_added=rows,
                    by=None if by is None else checked_name(by, "by"),
                    at=self._at(at),
                    undone_at=None,
                    undone_reason="",
                )
            )
            for start in range(0, len(visit_ids), AT_ONCE):
                connection.execute(
                    m.import_visits.insert(),
                    [{"visit_id": each, "import_id": entry} for each in visit_ids[start : start + AT_ONCE]],
                )
            return _one(connection, entry)

    def touched_since(self, import_id: str) -> tuple[Touched, ...]:
        """The visits of an import that somebody has corrected or added to since, by day. Raises InputError."""
        with self._file.reading() as connection:
            return _touched(connection, _one(connection, import_id))

    def undo_import(
        self,
        import_id: str,
        *,
        reason: str,
        by: str | None = None,
        at: str | None = None,
        anyway: bool = False,
    ) -> ImportEntry:
        """Discard every visit that came with an import, at once. One that was undone already stays as it is.

        Raises ImportTouchedError when somebody has added to its visits since, unless ``anyway``; InputError without a
        reason or where there is no such import; BookError.
        """
        why = checked_text(reason, "reason", NOTE_MAX).strip()
        if not why:
            raise InputError(say("say why the import is undone"))
        with self._file.writing() as connection:
            entry = _one(connection, import_id)
            if entry.undone_at is not None:
                return entry
            touched = _touched(connection, entry)
            if touched and not anyway:
                raise ImportTouchedError(entry, touched)
            when = self._at(at)
            standing = _of_import(entry.id) & (m.visits.c.state != "discarded")
            visits = connection.execute(select(m.visits.c.id, m.visits.c.state).where(standing)).all()
            who = None if by is None else checked_name(by, "by")
            for start in range(0, len(visits), AT_ONCE):
                some = visits[start : start + AT_ONCE]
                connection.execute(
                    m.visits.update().where(m.visits.c.id.in_([v.id for v in some])).values(state="discarded")
                )
                connection.execute(
                    m.visit_changes.insert(),
                    [
                        {
                            "id": new_id(),
                            "visit_id": v.id,
                            "field": "state",
                            "old": field_text(v.state),
                            "new": field_text("discarded"),
                            "reason": why,
                            "by": who,
                            "at": when,
                        }
                        for v in some
                    ],
                )
            connection.execute(
                m.imports.update().where(m.imports.c.id == entry.id).values(undone_at=when, undone_reason=why)
            )
            return _one(connection, entry.id)


def _of_import(import_id: str) -> ColumnElement[bool]:
    return m.visits.c.id.in_(
        select(m.import_visits.c.visit_id).where(m.import_visits.c.import_id == import_id)
    )


def _one(connection: Connection, import_id: str) -> ImportEntry:
    found = _entries(connection, m.imports.c.id == checked_id(import_id, "import id"))
    if not found:
        raise InputError(say("this book has no import with the id {id}", id=import_id))
    return found[0]


def _entries(connection: Connection, *wanted: ColumnElement[bool]) -> tuple[ImportEntry, ...]:
    rows = connection.execute(
        select(m.imports).where(*wanted).order_by(m.imports.c.at.desc(), m.imports.c.id)
    ).mappings()
    about = (
        select(
            m.import_visits.c.import_id,
            m.engines.c.name,
            func.min(m.visits.c.day).label("first"),
            func.max(m.visits.c.day).label("last"),
        )
        .join(m.imports, m.imports.c.id == m.import_visits.c.import_id)
        .join(m.visits, m.visits.c.id == m.import_visits.c.visit_id)
        .join(m.engines, m.engines.c.id == m.visits.c.engine_id)
        .where(*wanted)
        .group_by(m.import_visits.c.import_id, m.engines.c.name)
        .order_by(m.engines.c.name)
    )
    spans: dict[str, list[tuple[str, str, str]]] = {}
    for import_id, name, first, last in connection.execute(about):
        spans.setdefault(import_id, []).append((name, first, last))
    return tuple(_entry(row, spans.get(row["id"], [])) for row in rows)


def _entry(row: RowMapping, spans: Sequence[tuple[str, str, str]]) -> ImportEntry:
    return ImportEntry(
        **row,
        engines=tuple(name for name, _, _ in spans),
        first_day=date.fromisoformat(min(first for _, first, _ in spans)) if spans else None,
        last_day=date.fromisoformat(max(last for _, _, last in spans)) if spans else None,
    )


def _touched(connection: Connection, entry: ImportEntry) -> tuple[Touched, ...]:
    """What was added since; what came with the import itself has its time."""
    found: dict[str, list[str]] = {}

    def count(table: Table, said: Callable[[int], str], *wanted: ColumnElement[bool]) -> None:
        rows = connection.execute(
            select(table.c.visit_id, func.count())
            .join(m.import_visits, m.import_visits.c.visit_id == table.c.visit_id)
            .where(m.import_visits.c.import_id == entry.id, *wanted)
            .group_by(table.c.visit_id)
        )
        for visit_id, n in rows:
            found.setdefault(visit_id, []).append(said(n))

    r, c, a, i = m.readings, m.visit_changes, m.attachments, m.instrument_readings
    count(
        r,
        lambda n: plural("{n} reading corrected or added", "{n} readings corrected or added", n),
        or_(r.c.replaces.is_not(None), r.c.reason != ""),
    )
    count(c, lambda n: plural("{n} change of the visit", "{n} changes of the visit", n), c.c.field != "state")
    work, tests, causes = m.work, m.tests, m.accepted_causes
    count(work, lambda n: plural("{n} entry of work", "{n} entries of work", n), *_standing(work))
    count(tests, lambda n: plural("{n} test", "{n} tests", n), *_standing(tests))
    count(causes, lambda n: plural("{n} accepted cause", "{n} accepted causes", n), *_standing(causes))
    count(a, lambda n: plural("{n} photo", "{n} photos", n), a.c.removed_at.is_(None))
    count(
        i,
        lambda n: plural("{n} note of the meter", "{n} notes of the meter", n),
        i.c.at != entry.at,
        *_standing(i),
    )
    if not found:
        return ()
    visits = connection.execute(
        select(m.visits.c.id, m.engines.c.name, m.visits.c.day, m.visits.c.distance_m)
        .join(m.engines, m.engines.c.id == m.visits.c.engine_id)
        .where(_of_import(entry.id) & (m.visits.c.state != "discarded"))
        .order_by(m.engines.c.name, m.visits.c.day, m.visits.c.distance_m)
    )
    return tuple(
        Touched(
            visit_id=id, engine=name, day=date.fromisoformat(day), distance_m=distance, what=tuple(found[id])
        )
        for id, name, day, distance in visits
        if id in found
    )


def _standing(table: Table) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    later = table.alias("later")
    return table.c.withdrawn == False, ~select(later.c.id).where(later.c.replaces == table.c.id).exists()  # noqa: E712
