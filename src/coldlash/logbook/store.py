"""The book: one file that keeps vehicles, engines, visits and readings for decades.

    with Book.open("shed.coldlash", create=True, now=lambda: datetime.now(UTC)) as book:
        van = book.add_vehicle("Delivery van", meter="km", meter_digits=5)
        engine = book.add_engine("Van engine", toml_text, vehicle="Delivery van")
        visit = book.open_visit("Van engine", NewVisit(day=date(2024, 5, 4), distance_m=84_210_000))
        first = book.record(visit.id, NewReading(valve=Valve("E", 3), step="found", go_um=100, nogo_um=150))
        book.record(visit.id, NewReading(valve=Valve("E", 3), step="found", go_um=50, nogo_um=100,
                                         replaces=first.id))                  # corrected in the draft
        book.close_visit(visit.id)
        book.amend(visit.id, NewReading(..., replaces=..., reason="read the wrong blade"))

What there is (records in ``logbook.records`` and ``logbook.lasting``, parts in ``logbook.shed``, ``logbook.fleet``,
``logbook.working`` and ``logbook.visiting``):

- ``Book.open(path_or_url, create=, wait_s=, on_wait=, now=)``, ``close``, ``check``, ``transaction``, ``stamp``,
  ``name``, ``backup``, ``last_backup``, ``write_archive``
- settings: ``settings``, ``set_setting``
- vehicles: ``vehicles``, ``vehicle``, ``add_vehicle``, ``rename_vehicle``
- engines: ``engines``, ``engine``, ``add_engine``, ``rename_engine``, ``new_engine_file``, ``engine_files``
- vehicles over the years (``logbook.fleet``): ``metered``, ``add_instrument``, ``note_reading``, ``fit_engine``,
  ``fitments``, ``running``, ``vehicle_running``, ``reckoned``, ``correct``, ``take_back``
- work and tests (``logbook.working``): ``work``, ``add_work``, ``tests``, ``add_test``, ``accepted_causes``,
  ``accept_cause``, ``one_entry``, ``take_back_entry``
- worked out once from engine files (``logbook.facts``): ``engine_facts``, ``keep_engine_facts``
- how much there is of each engine (``logbook.growth``): ``growth``
- blades: ``blade_sets``, ``blade_set``, ``add_blade_set``
- visits: ``open_visit``, ``set_place``, ``change_visit``, ``close_visit``, ``discard_visit``, ``visit``,
  ``visits``, ``recent_visits``, ``draft_visits``, ``add_past_visits``
- readings: ``record``, ``amend``, ``withdraw``
- photos (``logbook.attachments``): ``add_attachment``, ``attachments``, ``attachment``, ``attachment_bytes``,
  ``describe_attachment``, ``remove_attachment``
- notes of all kinds (``logbook.search``): ``search``
- files taken in (``logbook.imports``): ``imports``, ``import_entry``, ``note_import``, ``touched_since``,
  ``undo_import``

Units: micrometres, metres, thousandths of a degree Celsius, all integers; times ISO-8601 UTC text given by the
caller or by ``now``. Engines and vehicles are meant by name or id. Ids may be made by the caller: the same id
with the same content changes nothing, with other content it is an InputError. Errors: InputError for what was
given, BookError for the book itself, ReadingConflictError (a BookError) for two readings of one valve and step.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from coldlash.logbook import models as m
from coldlash.logbook.attachments import Attachments
from coldlash.logbook.backup import KEEP, BackupMade, backups_of, default_folder, make_backup, utc_now
from coldlash.logbook.copying import Progress
from coldlash.logbook.facts import Facts
from coldlash.logbook.fleet import Fleet
from coldlash.logbook.growth import Growth
from coldlash.logbook.imports import Imports
from coldlash.logbook.opening import open_kept
from coldlash.logbook.search import Searching
from coldlash.logbook.visiting import Visiting
from coldlash.logbook.working import Working

if TYPE_CHECKING:
    from coldlash.logbook.archive.writing import ArchiveMade


class Book(Fleet, Working, Visiting, Imports, Attachments, Searching, Facts, Growth):
    """An open book. Safe to share between threads; close it, or use it in a ``with``."""

    @classmethod
    def open(
        cls,
        path_or_url: str | os.PathLike[str],
        *,
        create: bool = False,
        wait_s: float = 5.0,
        on_wait: Callable[[], None] | None = None,
        now: Callable[[], datetime] | None = None,
    ) -> Book:
        """Open a book by path, ``sqlite:///path`` or ``postgresql+psycopg://user@host/database``.

        With ``create`` make it if it is missing.

        An older book is brought up to date first, all or nothing. ``wait_s``: how many seconds to wait for another
        writer; ``on_wait`` is called once when the waiting is noticeable (after half a second). ``now``: the clock
        (an aware datetime) for times the caller leaves out; without it each call needs its ``at``.
        Raises BookError when the book can't be opened; the file then stands as it was. Raises InputError.
        """
        return cls(open_kept(path_or_url, create=create, wait_s=wait_s, on_wait=on_wait), now)

    @property
    def path(self) -> Path:
        """The book's file. Raises BookError for a book on a server."""
        return self._file.path

    @property
    def name(self) -> str:
        """How messages call the book: its path, or its address without anything secret."""
        return self._file.name

    @contextmanager
    def transaction(self) -> Iterator[Book]:
        """Everything written inside stands together or not at all; other writers wait meanwhile.

        Holds for the calling thread. Raises BookError.
        """
        with self._file.writing():
            yield self

    def stamp(self) -> tuple[object, ...]:
        """Something that differs once anything that can be asked of the book has changed; one short query.

        Rows are only added (their highest number says whether any came), but for a visit's state and place, photos,
        names and settings; of these their number and newest note, or all that there is.
        """
        counted = [
            *(select(func.max(table.c.seq)).scalar_subquery() for table in m.KEPT_FOREVER),
            select(func.count()).select_from(m.engine_files).scalar_subquery(),
            select(func.count()).select_from(m.blade_sets).scalar_subquery(),
            select(func.count(m.attachments.c.file_sha256)).scalar_subquery(),
            select(func.count()).select_from(m.attachments).scalar_subquery(),
            select(func.count())
            .select_from(m.attachments)
            .where(m.attachments.c.caption != "")
            .scalar_subquery(),
            # A changed caption is a new note of the photo.
            select(func.max(m.search_texts.c.seq))
            .where(m.search_texts.c.source == "attachments")
            .scalar_subquery(),
        ]
        visits = select(func.count(), func.count().filter(m.visits.c.state != "draft")).select_from(m.visits)
        with self._file.reading() as connection:
            counts = (*connection.execute(select(*counted)).one(), *connection.execute(visits).one())
            engines = connection.execute(
                select(m.engines.c.name, m.engines.c.vehicle_id).order_by(m.engines.c.id)
            )
            vehicles = connection.execute(select(m.vehicles.c.name).order_by(m.vehicles.c.id))
            settings = connection.execute(
                select(m.settings.c.key, m.settings.c.value).order_by(m.settings.c.key)
            )
            return (*counts, *engines, *vehicles, *settings)

    def backup(
        self,
        folder: Path | None = None,
        *,
        keep: int = KEEP,
        now: Callable[[], datetime] = utc_now,
        progress: Progress | None = None,
    ) -> BackupMade:
        """Back up the book as it is now into ``folder`` (default: ``backups`` beside it), keeping the last ``keep``.

        Raises BookError (nothing was made), InputError. See ``logbook.backup``.
        """
        return make_backup(self._file, folder, keep=keep, now=now, progress=progress)

    def write_archive(self, to: str | os.PathLike[str], *, progress: Progress | None = None) -> ArchiveMade:
        """Write everything in the book into a new file that can be read without coldlash. See ``logbook.archive``.

        Raises BookError (nothing was made).
        """
        from coldlash.logbook.archive.writing import write_archive  # only needed here, and not light

        return write_archive(self._file, to, progress=progress)

    def last_backup(self, folder: Path | None = None) -> datetime | None:
        """When the last backup there was made (UTC), or None. Raises BookError."""
        there = backups_of(self._file, default_folder(self._file) if folder is None else folder)
        return there[-1].made if there else None

    def check(self) -> tuple[str, ...]:
        """Read the whole book and list what is wrong with it; empty = sound. Raises BookError if unreadable."""
        return self._file.check()

    def close(self) -> None:
        """Close the book. Raises BookError."""
        self._file.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
