"""Photos and scanned pages: taken in, put to an engine, a visit or a valve, shown in small, rid of their place."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.attachments import Attachment
from coldlash.logbook.photos import FILE_MAX as FILE_MAX
from coldlash.logbook.photos import LONG_EDGE as LONG_EDGE
from coldlash.logbook.photos import SMALL_EDGE, small, take_in, tells_where
from coldlash.logbook.records import EngineEntry
from coldlash.logbook.store import Book

SMALL_KEPT = 300
"""How many small pictures are kept in memory; each has some 20 kB."""


def add_photo(
    book: Book,
    entry: EngineEntry,
    engine: Engine,
    data: bytes,
    *,
    name: str = "",
    caption: str = "",
    visit_id: str | None = None,
    valve: str | None = None,
    keep: bool = False,
    by: str | None = None,
    id: str | None = None,
) -> Attachment:
    """Put a photo or scan into the book, of the engine, of one of its visits, of a valve.

    Where it was taken and all else that the camera wrote is left out unless ``keep``. The same file at the same place
    again changes nothing. Raises InputError saying what is wrong with the file or the place.
    """
    of = engine.valve(valve) if valve else None
    taken = take_in(data, keep=keep)
    return book.add_attachment(
        entry.id, taken, visit_id=visit_id, valve=of, name=name, caption=caption, by=by, id=id
    )


def add_photos(
    book: Book,
    entry: EngineEntry,
    engine: Engine,
    files: Sequence[tuple[str, bytes]],
    *,
    caption: str = "",
    visit_id: str | None = None,
    valve: str | None = None,
    keep: bool = False,
    by: str | None = None,
) -> tuple[Attachment, ...]:
    """Several files (name, bytes) at once, all or none. Raises InputError naming the file at fault."""
    added = []
    with book.transaction():
        for name, data in files:
            try:
                added.append(
                    add_photo(
                        book, entry, engine, data, name=name, caption=caption, visit_id=visit_id, valve=valve,
                        keep=keep, by=by,
                    )
                )  # fmt: skip
            except InputError as error:
                raise InputError(f"{name}: {error}") from error
    return tuple(added)


def photos_of(
    book: Book, engine: str, *, visit_id: str | None = None, valve: str | None = None
) -> tuple[Attachment, ...]:
    """Photos of an engine (by name or id), of one of its visits, of one valve; the oldest first. Raises InputError."""
    of = Valve.parse(valve) if valve else None
    return book.attachments(engine, visit_id=visit_id, valve=of)


def still_tells_where(book: Book, photo: Attachment) -> bool:
    """Does a kept photo still say where it was taken? A PDF is not looked into."""
    if not photo.is_picture or photo.removed_at is not None:
        return False
    return tells_where(book.attachment_bytes(photo.id))


def take_place_out(book: Book, id: str) -> Attachment:
    """Put a photo in the place of one that says where it was taken, without that; the one that said it goes.

    Raises InputError for a PDF, and for one that was removed.
    """
    old = book.attachment(id)
    if not old.is_picture:
        raise InputError(say("this is a PDF; what it says of itself can't be taken out here"))
    taken = take_in(book.attachment_bytes(old.id))
    with book.transaction():
        new = book.add_attachment(
            old.engine_id,
            taken,
            visit_id=old.visit_id,
            valve=old.valve,
            name=old.name,
            caption=old.caption,
            by=old.by,
        )
        if new.id != old.id:
            book.remove_attachment(old.id)
    return new


def place_words(photo: Attachment) -> str:
    """What a photo is of, in a few words, for those who can't see it."""
    if photo.valve is not None:
        return (
            say("photo of {valve}", valve=photo.valve)
            if photo.is_picture
            else say("scan for {valve}", valve=photo.valve)
        )
    if photo.visit_id is not None:
        return say("photo of the visit") if photo.is_picture else say("scan of the visit")
    return say("photo of the engine") if photo.is_picture else say("scan for the engine")


class SmallPictures:
    """Pictures in small, made when first asked for and kept by their checksum. Safe to share between threads."""

    def __init__(self, most: int = SMALL_KEPT) -> None:
        self._most = most
        self._made: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def of(self, book: Book, photo: Attachment) -> bytes:
        """A JPEG. Raises InputError for a PDF, or a photo that was removed."""
        with self._lock:
            made = self._made.get(photo.sha256) if photo.removed_at is None else None
            if made is not None:
                self._made.move_to_end(photo.sha256)
                return made
        made = small(book.attachment_bytes(photo.id))
        with self._lock:
            self._made[photo.sha256] = made
            while len(self._made) > self._most:
                self._made.popitem(last=False)
        return made


def small_size(photo: Attachment) -> tuple[int, int]:
    """Width and height of a picture in small, pixels; (0, 0) for a PDF."""
    if photo.width is None or photo.height is None:
        return 0, 0
    scale = min(1.0, SMALL_EDGE / max(photo.width, photo.height))
    return max(1, round(photo.width * scale)), max(1, round(photo.height * scale))


def newest_first(photos: Sequence[Attachment]) -> list[Attachment]:
    """By when they were taken, else when they came into the book."""
    return sorted(photos, key=lambda photo: (photo.taken_at or photo.at, photo.id), reverse=True)
