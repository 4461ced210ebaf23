"""Photos and scanned pages of engines, visits and valves: kept, listed, read, described, removed. A part of the book.

The bytes of a file stand once in the book, however many places show it. A removed photo's row stays; its bytes go as
soon as no other row needs them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, func, select

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import day_of, say
from coldlash.logbook import models as m
from coldlash.logbook.photos import ENDINGS, Taken
from coldlash.logbook.records import (
    NAME_MAX,
    checked_id,
    checked_name,
    checked_text,
    checked_time,
    new_id,
)
from coldlash.logbook.shed import Shelf, by_id, find

CAPTION_MAX = 500
"""The longest caption, characters."""
PER_VISIT = 60
"""How many photos one visit may have."""
PER_ENGINE = 300
"""How many photos an engine may have outside its visits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A photo or scan as the book keeps it, without its bytes. ``valve`` and ``visit_id`` say of what; both None = of
    the engine as a whole. ``width``, ``height``: pixels, None for a PDF. ``removed_at`` None = it is there.
    """

    id: str
    engine_id: str
    visit_id: str | None
    valve: Valve | None
    media_type: str
    name: str
    caption: str
    sha256: str
    size: int
    width: int | None
    height: int | None
    taken_at: str | None
    by: str | None
    at: str
    removed_at: str | None

    @property
    def is_picture(self) -> bool:
        """False for a PDF."""
        return self.media_type.startswith("image/")

    @property
    def file_name(self) -> str:
        """A name to save it under, with the ending that its kind has."""
        stem = PurePath(self.name).stem or f"photo-{self.id[:8]}"
        return stem + ENDINGS.get(self.media_type, "")


class Attachments(Shelf):
    """Photos and scans."""

    def add_attachment(
        self,
        engine: str,
        taken: Taken,
        *,
        visit_id: str | None = None,
        valve: Valve | None = None,
        name: str = "",
        caption: str = "",
        by: str | None = None,
        id: str | None = None,
        at: str | None = None,
    ) -> Attachment:
        """Keep a photo of an engine, one of its visits, a valve. The same bytes at the same place again: no change.

        Sent again with the same id it changes nothing, even if it was removed since. Raises InputError (another
        engine's visit, one that was discarded, too many), BookError.
        """
        given = None if id is None else checked_id(id, "photo id")
        values: dict[str, Any] = {
            "valve": None if valve is None else str(valve),
            "media_type": taken.media_type,
            "name": _plain_name(name),
            "caption": _caption(caption),
            "sha256": taken.sha256,
            "size": len(taken.data),
            "width": taken.width,
            "height": taken.height,
            "taken_at": None if taken.taken_at is None else checked_time(taken.taken_at, "taken_at"),
            "by": None if by is None else checked_name(by, "by"),
        }
        with self._file.writing() as connection:
            values["engine_id"] = find(connection, m.engines, engine, "engine")["id"]
            values["visit_id"] = (
                None if visit_id is None else _visit(connection, visit_id, values["engine_id"])
            )
            there = _there(connection, given, values)
            if there is not None:
                return _attachment(there)
            _check_room(connection, values)
            if _file_of(connection, taken.sha256) is None:
                connection.execute(
                    m.attachment_files.insert().values(
                        sha256=taken.sha256, size=len(taken.data), bytes=taken.data
                    )
                )
            values |= {
                "id": given or new_id(),
                "at": self._at(at),
                "file_sha256": taken.sha256,
                "removed_at": None,
            }
            connection.execute(m.attachments.insert().values(values))
            return _attachment(_row(connection, values["id"]))

    def attachments(
        self,
        engine: str | None = None,
        *,
        visit_id: str | None = None,
        valve: Valve | None = None,
        everything: bool = False,
    ) -> tuple[Attachment, ...]:
        """Photos of an engine (or of all), of one visit, of one valve (also those taken at visits), oldest first.

        ``everything``: those that were removed as well. Raises InputError, BookError.
        """
        table = m.attachments.c
        with self._file.reading() as connection:
            wanted: list[ColumnElement[bool]] = []
            if engine is not None:
                wanted.append(table.engine_id == find(connection, m.engines, engine, "engine")["id"])
            if visit_id is not None:
                wanted.append(table.visit_id == checked_id(visit_id, "visit id"))
            if valve is not None:
                wanted.append(table.valve == str(valve))
            if not everything:
                wanted.append(table.removed_at.is_(None))
            rows = connection.execute(
                select(m.attachments).where(*wanted).order_by(table.at, table.id)
            ).mappings()
            return tuple(_attachment(row) for row in rows)

    def attachment(self, id: str) -> Attachment:
        """One photo by id, removed or not. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return _attachment(_row(connection, id))

    def attachment_bytes(self, id: str) -> bytes:
        """The file itself. Raises InputError when it was removed, or when there is none."""
        with self._file.reading() as connection:
            row = _row(connection, id)
            if row["file_sha256"] is None:
                raise InputError(say("this photo was removed on {day}", day=day_of(row["removed_at"][:10])))
            found = _file_of(connection, row["file_sha256"], m.attachment_files.c.bytes)
            return bytes(found)

    def describe_attachment(self, id: str, caption: str) -> Attachment:
        """Give a photo another caption. Raises InputError, BookError."""
        text = _caption(caption)
        with self._file.writing() as connection:
            row = _row(connection, id)
            if row["removed_at"] is not None:
                raise InputError(say("this photo was removed on {day}", day=day_of(row["removed_at"][:10])))
            connection.execute(
                m.attachments.update().where(m.attachments.c.id == row["id"]).values(caption=text)
            )
            return _attachment(_row(connection, row["id"]))

    def remove_attachment(self, id: str, *, at: str | None = None) -> Attachment:
        """Take a photo out: its row stays, marked; its bytes go unless another photo has the same. Again: no change.

        Raises InputError, BookError.
        """
        with self._file.writing() as connection:
            row = _row(connection, id)
            if row["removed_at"] is None:
                gone = {"file_sha256": None, "removed_at": self._at(at)}
                connection.execute(m.attachments.update().where(m.attachments.c.id == row["id"]).values(gone))
                needed = (
                    select(m.attachments.c.id).where(m.attachments.c.file_sha256 == row["sha256"]).limit(1)
                )
                if connection.execute(needed).first() is None:
                    files = m.attachment_files
                    connection.execute(files.delete().where(files.c.sha256 == row["sha256"]))
            return _attachment(_row(connection, row["id"]))


def _plain_name(name: str) -> str:
    """The name a file came with, without folders (of either kind), one line, at most as long as names are."""
    last = name.replace("\\", "/").rpartition("/")[2]
    printable = "".join(c if c.isprintable() else " " for c in last).strip()
    return checked_text(printable[-NAME_MAX:], "photo: name", NAME_MAX)


def _caption(caption: str) -> str:
    return checked_text(caption, "photo: caption", CAPTION_MAX).strip()


def _visit(connection: Connection, visit_id: str, engine_id: str) -> str:
    row = by_id(connection, m.visits, checked_id(visit_id, "visit id"))
    if row is None:
        raise InputError(say("this book has no visit with the id {visit_id}", visit_id=visit_id))
    if row["engine_id"] != engine_id:
        raise InputError(
            say("the visit {visit_id} is another engine's; nothing was written", visit_id=visit_id)
        )
    if row["state"] == "discarded":
        raise InputError(say("the visit of {day} was put aside; it takes no photos", day=day_of(row["day"])))
    return str(row["id"])


def _place(values: dict[str, Any] | RowMapping) -> list[ColumnElement[bool]]:
    table = m.attachments.c
    return [table[name].is_not_distinct_from(values[name]) for name in ("engine_id", "visit_id", "valve")]


def _there(connection: Connection, id: str | None, values: dict[str, Any]) -> RowMapping | None:
    """The same photo at the same place, by its id or by its bytes."""
    table = m.attachments
    if id is not None:
        row = by_id(connection, table, id)
        if row is not None:
            if any(row[name] != values[name] for name in ("engine_id", "visit_id", "valve", "sha256")):
                raise InputError(
                    say(
                        "the id {id} already belongs to another photo; nothing was changed; make a new id",
                        id=id,
                    )
                )
            return row
    same = select(table).where(*_place(values), table.c.file_sha256 == values["sha256"])
    return connection.execute(same.order_by(table.c.at, table.c.id)).mappings().first()


def _check_room(connection: Connection, values: dict[str, Any]) -> None:
    table = m.attachments.c
    at_visit = values["visit_id"] is not None
    count = connection.execute(
        select(func.count()).where(
            table.engine_id == values["engine_id"],
            table.visit_id.is_not_distinct_from(values["visit_id"]),
            table.removed_at.is_(None),
        )
    ).scalar_one()
    if at_visit and count >= PER_VISIT:
        raise InputError(
            say("this visit has {count} photos, the most it may have; remove one first", count=count)
        )
    if not at_visit and count >= PER_ENGINE:
        raise InputError(
            say(
                "this engine has {count} photos outside its visits, the most it may have; remove one first",
                count=count,
            )
        )


def _file_of(connection: Connection, sha256: str, column: Any = m.attachment_files.c.size) -> Any:
    return connection.execute(select(column).where(m.attachment_files.c.sha256 == sha256)).scalar()


def _row(connection: Connection, id: str) -> RowMapping:
    row = by_id(connection, m.attachments, checked_id(id, "photo id"))
    if row is None:
        raise InputError(say("this book has no photo with the id {id}", id=id))
    return row


def _attachment(row: RowMapping) -> Attachment:
    values = {name: row[name] for name in Attachment.__dataclass_fields__}
    values["valve"] = None if row["valve"] is None else Valve.parse(row["valve"])
    return Attachment(**values)
