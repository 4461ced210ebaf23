"""What a spreadsheet or a CSV file is once it has been read: named sheets of rows of cells. Limits stand here too."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from coldlash.errors import InputError
from coldlash.language import say

Cell = str | float | bool | date | datetime | time | timedelta | None
"""None = empty. Text has no blanks around it. Numbers of a spreadsheet are floats, of a CSV file still text."""

FILE_BYTES_MAX = 32 * 2**20
UNPACKED_BYTES_MAX = 192 * 2**20
CELLS_MAX = 5_000_000
ROWS_MAX = 300_000
COLUMNS_MAX = 300

Watch = Callable[[str, int, int], None]
"""Called with what is done now ("reading", "understanding", "writing"), how many are done and how many there are.
What it raises ends the work, and nothing was kept."""


def nobody_watches(stage: str, done: int, of: int) -> None:
    """A ``Watch`` that looks away."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet. ``lines[i]`` is how the file counts ``rows[i]`` (from 1). Rows may differ in length.

    ``lost``: cells that hold something that can't be read, by (row index, column index; -1 = the row), and why.
    """

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    lines: tuple[int, ...]
    lost: Mapping[tuple[int, int], str] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """Cells in the longest row."""
        return max((len(row) for row in self.rows), default=0)


@dataclass(frozen=True, slots=True)
class Workbook:
    """A file that was read. ``kind``: "csv", "xlsx", "ods" or "xls"; ``notes``: what is worth knowing of that."""

    source: str
    kind: str
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...] = ()

    def sheet(self, name: str) -> Sheet:
        """A sheet by name. Raises InputError naming those there are."""
        for each in self.sheets:
            if each.name == name:
                return each
        have = ", ".join(repr(each.name) for each in self.sheets)
        raise InputError(
            say("{source} has no sheet {name!r}; it has {have}", source=self.source, name=name, have=have)
        )


def letters(column: int) -> str:
    """How spreadsheets call a column (0 = A, 26 = AA)."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def column_number(name: str) -> int:
    """The column that is called so (A = 0)."""
    number = 0
    for letter in name:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number - 1


def shown(cell: Cell) -> str:
    """A cell as a person reads it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ", "minutes")
    if isinstance(cell, float):
        return f"{cell:.10g}" if abs(cell) < 1e15 else repr(cell)
    return cell if isinstance(cell, str) else str(cell)
