"""Rows out of the pages of a SQLite file without SQLite: for a file that it refuses to read.

Written after the published format of the file (sqlite.org/fileformat2.html): b-tree pages, cells, overflow chains,
records. Nothing read is trusted: whatever does not fit is passed over and counted, and no loop follows a page twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

TABLE_LEAF, TABLE_INTERIOR, INDEX_LEAF, INDEX_INTERIOR = 13, 5, 10, 2
HEADER_BYTES = 100

Value = int | float | str | bytes | None


class BrokenError(Exception):
    """This is not what it should be; caught where the next row is tried."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row as its page holds it: its number and its values in the order of the table's columns."""

    rowid: int
    values: tuple[Value, ...]


@dataclass(slots=True)
class Found:
    """What was read by following a table from its root: its rows, pages that are broken, rows that are."""

    rows: list[Row] = field(default_factory=list)
    broken_pages: set[int] = field(default_factory=set)
    broken_rows: int = 0


class Pages:
    """The pages of a file, numbered from 1. ``seen``: every page that belongs to something that was read."""

    def __init__(self, data: bytes | memoryview, size: int, reserved: int = 0) -> None:
        self._data = data
        self.size = size
        self.usable = size - reserved
        self.count = (len(data) + size - 1) // size
        self.seen: set[int] = set()

    def page(self, number: int) -> bytes:
        """One page, filled up with zeros where the file was cut short. Raises BrokenError when there is none."""
        if not 1 <= number <= self.count:
            raise BrokenError(number)
        return bytes(self._data[(number - 1) * self.size : number * self.size]).ljust(self.size, b"\0")

    def kind(self, number: int) -> int:
        """The type byte of a b-tree page; anything for other pages."""
        return self.page(number)[HEADER_BYTES if number == 1 else 0]

    # --- following a table ----------------------------------------------------------------------------------

    def table(self, root: int) -> Found:
        """Every row that can be read of the table with that root."""
        found = Found()
        waiting = [root]
        while waiting:
            number = waiting.pop()
            if number in self.seen:
                continue
            self.seen.add(number)
            try:
                kind = self.kind(number)
                if kind == TABLE_INTERIOR:
                    waiting += reversed(self._children(number))
                elif kind == TABLE_LEAF:
                    self._leaf(number, found)
                else:
                    found.broken_pages.add(number)
            except BrokenError:
                found.broken_pages.add(number)
        self.seen = {number for number in self.seen if 1 <= number <= self.count}
        return found

    def skip_index(self, root: int) -> None:
        """Mark the pages of an index as known; they hold nothing of their own."""
        waiting = [root]
        while waiting:
            number = waiting.pop()
            try:
                kind = self.kind(number)
                if number in self.seen or kind not in (INDEX_LEAF, INDEX_INTERIOR):
                    continue
                self.seen.add(number)
                if kind == INDEX_INTERIOR:
                    waiting += self._children(number)
            except BrokenError:
                continue

    def _children(self, number: int) -> list[int]:
        page = self.page(number)
        start = HEADER_BYTES if number == 1 else 0
        offsets = self._pointers(page, start, 12)
        children = [int.from_bytes(page[at : at + 4], "big") for at in offsets]
        return [*children, int.from_bytes(page[start + 8 : start + 12], "big")]

    def _leaf(self, number: int, found: Found) -> None:
        page = self.page(number)
        whole = True
        for offset in self._pointers(page, HEADER_BYTES if number == 1 else 0, 8):
            try:
                found.rows.append(self.cell(page, offset))
            except BrokenError:
                found.broken_rows += 1
                whole = False
        if not whole:
            found.broken_pages.add(number)

    def _pointers(self, page: bytes, start: int, header: int) -> list[int]:
        count = int.from_bytes(page[start + 3 : start + 5], "big")
        first = start + header
        if first + 2 * count > self.usable:
            raise BrokenError(count)
        offsets = [int.from_bytes(page[at : at + 2], "big") for at in range(first, first + 2 * count, 2)]
        if any(not first + 2 * count <= offset < self.usable for offset in offsets):
            raise BrokenError(offsets)
        return offsets

    # --- rows -----------------------------------------------------------------------------------------------

    def cell(self, page: bytes, offset: int) -> Row:
        """The row whose cell begins there. Raises BrokenError."""
        length, offset = varint(page, offset)
        rowid, offset = varint(page, offset)
        if not 1 <= length <= self.count * self.size:
            raise BrokenError(length)
        most = self.usable - 35
        local = length
        if length > most:
            least = (self.usable - 12) * 32 // 255 - 23
            local = least + (length - least) % (self.usable - 4)
            local = local if local <= most else least
        if offset + local > self.usable:
            raise BrokenError(offset)
        payload = page[offset : offset + local]
        if local < length:
            check_head(payload, length)
            payload += self._overflow(
                int.from_bytes(page[offset + local : offset + local + 4], "big"), length - local
            )
        return Row(rowid - 2**64 if rowid >= 2**63 else rowid, record(payload))

    def _overflow(self, number: int, length: int) -> bytes:
        parts: list[bytes] = []
        visited: set[int] = set()
        while length > 0:
            if number in visited:
                raise BrokenError(number)
            visited.add(number)
            page = self.page(number)
            parts.append(page[4 : min(self.usable, 4 + length)])
            length -= len(parts[-1])
            number = int.from_bytes(page[:4], "big")
        if number != 0:  # the last page of a chain says that it is the last
            raise BrokenError(number)
        self.seen |= visited
        return b"".join(parts)

    # --- pages that nothing leads to ----------------------------------------------------------------------------

    def forget_free(self) -> None:
        """Mark the pages that the file says are free: what stands there was deleted or moved elsewhere."""
        trunk = int.from_bytes(self.page(1)[32:36], "big")
        visited: set[int] = set()
        while trunk and trunk not in visited:
            visited.add(trunk)
            try:
                page = self.page(trunk)
            except BrokenError:
                return
            count = int.from_bytes(page[4:8], "big")
            if count > self.usable // 4 - 2:
                return
            free = {int.from_bytes(page[at : at + 4], "big") for at in range(8, 8 + 4 * count, 4)}
            if any(not 1 < number <= self.count for number in free):
                return
            self.seen |= free | {trunk}
            trunk = int.from_bytes(page[:4], "big")

    def orphans(self) -> Iterator[int]:
        """The pages that nothing led to and that are no part of an index."""
        for number in range(1, self.count + 1):
            if number not in self.seen and self.kind(number) not in (
                INDEX_LEAF,
                INDEX_INTERIOR,
                TABLE_INTERIOR,
            ):
                yield number

    def rows_in(self, number: int, fits: Callable[[Row], bool]) -> list[Row]:
        """The rows of one page: as its header says, or, where that is broken, wherever a row that fits begins."""
        page = self.page(number)
        if self.kind(number) == TABLE_LEAF:
            found = Found()
            try:
                self._leaf(number, found)
            except BrokenError:
                found.broken_pages.add(number)
            if not found.broken_pages:
                return [row for row in found.rows if fits(row)]
        rows = []
        for offset in range(self.usable - 4):
            try:
                row = self.cell(page, offset)
            except BrokenError:
                continue
            if fits(row):
                rows.append(row)
        return rows


def varint(data: bytes, offset: int) -> tuple[int, int]:
    """A number of 1 to 9 bytes, and where it ends. Raises BrokenError."""
    value = 0
    for index in range(9):
        if offset >= len(data):
            raise BrokenError(offset)
        byte = data[offset]
        offset += 1
        if index == 8:
            return value << 8 | byte, offset
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, offset
    raise BrokenError(offset)  # pragma: no cover  (the ninth byte always ends it)


def sizes(data: bytes, whole: int) -> tuple[list[int], int]:
    """The serial types of a record and where its values begin. Raises BrokenError unless they add up to ``whole``."""
    head, offset = varint(data, 0)
    if not 1 < head <= min(len(data), 4096):
        raise BrokenError(head)
    kinds = []
    total = head
    while offset < head:
        kind, offset = varint(data, offset)
        kinds.append(kind)
        total += _size(kind)
    if offset != head or total != whole:
        raise BrokenError(total)
    return kinds, head


def check_head(data: bytes, whole: int) -> None:
    """Raises BrokenError when a record can't be ``whole`` bytes long: before an overflow chain is followed."""
    sizes(data, whole)


def _size(kind: int) -> int:
    if kind >= 12:
        return (kind - 12) // 2
    if kind in (10, 11):
        raise BrokenError(kind)
    return (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)[kind]


def record(data: bytes) -> tuple[Value, ...]:
    """The values of a record. Raises BrokenError."""
    kinds, offset = sizes(data, len(data))
    values: list[Value] = []
    for kind in kinds:
        part = data[offset : offset + _size(kind)]
        offset += len(part)
        if kind == 0:
            values.append(None)
        elif kind <= 6:
            values.append(int.from_bytes(part, "big", signed=True))
        elif kind == 7:
            raise BrokenError(kind)  # no table of a book holds fractions
        elif kind in (8, 9):
            values.append(kind - 8)
        elif kind % 2 == 0:
            values.append(part)
        else:
            try:
                values.append(part.decode("utf-8"))
            except UnicodeDecodeError:
                raise BrokenError(kind) from None
    return tuple(values)
