"""A file of rows, whatever wrote it: CSV, XLSX, ODS or XLS, as named sheets of cells. docs/import.md."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from pathlib import PurePath
from typing import Any

from coldlash.errors import ColdlashError, Fault, FaultyFileError, InputError
from coldlash.language import say
from coldlash.logbook.sheets.cells import (
    COLUMNS_MAX,
    FILE_BYTES_MAX,
    ROWS_MAX,
    Cell,
    Sheet,
    Watch,
    Workbook,
    nobody_watches,
)
from coldlash.logbook.sheets.text import WATCH_EVERY, read_text
from coldlash.logbook.sheets.unpacking import check_ods, check_reach, check_xlsx, unpacked_parts

ZIP = b"PK\x03\x04"
OLE = bytes.fromhex("d0cf11e0a1b11ae1")


def read_workbook(data: bytes, source: str, watch: Watch = nobody_watches) -> Workbook:
    """Read a file by what it is, not by its name. ``source`` names it in messages.

    Raises InputError for one that is too large or locked, FaultyFileError for one that can't be read.
    """
    if len(data) > FILE_BYTES_MAX:
        raise InputError(
            say(
                "{source}: {size:.0f} MB are too many; {most} MB are the most. Copy the rows that matter into a new "
                "sheet",
                source=source, size=len(data) / 2**20, most=FILE_BYTES_MAX // 2**20,
            )
        )  # fmt: skip
    watch("reading", 0, 0)
    if data.startswith(ZIP):
        return _packed(data, source, watch)
    if data.startswith(OLE):
        return _opened(data, source, "xls", {}, watch)
    sheet, notes = read_text(data, source, watch)
    return Workbook(
        source, "csv", (Sheet(PurePath(source).name, sheet.rows, sheet.lines, sheet.lost),), notes
    )


def _packed(data: bytes, source: str, watch: Watch) -> Workbook:
    parts = unpacked_parts(data, source)
    if "xl/workbook.xml" in parts:
        import zipfile

        try:
            lost = check_xlsx(parts, source)
        except zipfile.BadZipFile as error:
            raise _unreadable(source, error) from None
        return _opened(data, source, "xlsx", lost, watch)
    if "content.xml" in parts:
        check_ods(parts, source)
        return _opened(data, source, "ods", {}, watch)
    raise FaultyFileError(
        source, [Fault(say("is a packed file, but no spreadsheet; CSV, XLSX, ODS and XLS can be read"))]
    )


def _unreadable(source: str, error: BaseException) -> FaultyFileError:
    return FaultyFileError(
        source,
        [Fault(say("can't be read as a spreadsheet ({error}); save it again, or as CSV, and try once more",
                   error=str(error).splitlines()[0] if str(error) else type(error).__name__))],
    )  # fmt: skip


def _opened(
    data: bytes, source: str, kind: str, lost: dict[str, dict[tuple[int, int], str]], watch: Watch
) -> Workbook:
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(BytesIO(data))
        sheets = []
        for about in book.sheets_metadata:
            if about.typ != python_calamine.SheetTypeEnum.WorkSheet:
                continue
            sheet = _sheet(book.get_sheet_by_name(about.name), source, lost.get(about.name, {}), watch)
            if sheet.rows:
                sheets.append(sheet)
    except ColdlashError:
        raise
    except python_calamine.CalamineError as error:
        raise _unreadable(source, error) from None
    if not sheets:
        raise FaultyFileError(source, [Fault(say("is empty; there is nothing to read"))])
    return Workbook(source, kind, tuple(sheets))


def _sheet(read: Any, source: str, lost: dict[tuple[int, int], str], watch: Watch) -> Sheet:
    if read.start is None:
        return Sheet(read.name, (), ())
    height, width = read.end[0] + 1, read.end[1] + 1
    check_reach(height, width, read.name, source)
    if width > COLUMNS_MAX or height > ROWS_MAX:
        raise InputError(
            say(
                "{source}: the sheet {sheet!r} has {rows} rows and {columns} columns; {most_rows} and {most_columns} "
                "are the most",
                source=source, sheet=read.name, rows=height, columns=width, most_rows=ROWS_MAX,
                most_columns=COLUMNS_MAX,
            )
        )  # fmt: skip
    rows: list[list[Cell]] = []
    for number, row in enumerate(read.to_python(skip_empty_area=False)):
        cells = [_cell(cell) for cell in row]
        while cells and cells[-1] is None:
            cells.pop()
        rows.append(cells)
        if number % WATCH_EVERY == WATCH_EVERY - 1:
            watch("reading", number + 1, height)
    for (top, left), (bottom, right) in read.merged_cell_ranges or ():
        _spread(rows, top, left, min(bottom, height - 1), min(right, width - 1))
    while rows and not rows[-1]:
        rows.pop()
    return Sheet(read.name, tuple(map(tuple, rows)), tuple(range(1, len(rows) + 1)), lost)


def _spread(rows: list[list[Cell]], top: int, left: int, bottom: int, right: int) -> None:
    """Cells that were merged all hold what stands in the first one."""
    if top >= len(rows) or left >= len(rows[top]) or rows[top][left] is None:
        return
    value = rows[top][left]
    for row in range(top, min(bottom, len(rows) - 1) + 1):
        if len(rows[row]) <= right:
            rows[row] += [None] * (right + 1 - len(rows[row]))
        for column in range(left, right + 1):
            if rows[row][column] is None:
                rows[row][column] = value


def _cell(value: Any) -> Cell:
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, bool | float | datetime):
        return value
    if isinstance(value, int):
        return float(value)
    cell: Cell = value
    return cell
