"""The cells of one row, as their columns are understood: numbers, gaps, texts; what is wrong with them is noted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from coldlash.errors import Fault, InputError
from coldlash.language import say
from coldlash.logbook.logfile import THICKEST_UM, THINNEST_UM
from coldlash.logbook.records import NOTE_MAX, Feel, check_go_nogo, checked_name, checked_text
from coldlash.logbook.sheets.cells import Cell, shown
from coldlash.logbook.sheets.names import FEELS, GAP_ROLES, Role, plain_words
from coldlash.logbook.sheets.numbers import Typed, empty, pair, typed
from coldlash.logbook.sheets.understanding import UM_EACH, Understanding


class RowCells:
    """Reads the cells of ``row`` (its ``line`` in the file) and notes what is wrong with them in ``faults``.

    ``none_went`` counts gaps of 0.
    """

    def __init__(self, told: Understanding) -> None:
        self.told = told
        self.wide, self.gap_columns = told.wide, told.gap_columns
        self.faults: list[Fault] = []
        self.row: Sequence[Cell] = ()
        self.line = 0
        self.none_went = 0
        self.at: dict[Role, int] = {}
        for number, column in enumerate(told.columns):
            if column.role not in (*GAP_ROLES, "ignore"):
                self.at.setdefault(column.role, number)

    def cell(self, role: Role) -> Cell:
        """The row's cell of the column with a role; None = empty."""
        return self.cell_at(self.at.get(role))

    def cell_at(self, number: int | None) -> Cell:
        """The row's cell in a column; None = empty, or there is no such column."""
        if number is None or number >= len(self.row):
            return None
        cell = self.row[number]
        return None if empty(cell) else cell

    def fault(self, column: int | None, message: str) -> None:
        """Note a fault of the row, in a column."""
        self.faults.append(Fault(message, self.line, 0 if column is None else column + 1))

    def wrong(self, number: int | None, message: str) -> None:
        """A fault of a cell, with its column's name."""
        name = "" if number is None else self.told.name(number)
        self.fault(number, f"{name}: {message}" if name else message)

    def number(self, number: int, cell: Cell) -> Typed | None:
        """A cell as a number by its column's decimal mark, or a fault."""
        parsed = typed(cell)
        decimal = self.told.columns[number].decimal or "either"
        value = None if parsed is None else parsed.by(decimal)
        if parsed is None or value is None:
            if parsed is not None and parsed.both:
                self.wrong(
                    number,
                    say("{cell!r} can be read as {one:g} or as {other:g}; write one of these", cell=shown(cell),
                        one=parsed.point or 0.0, other=parsed.comma or 0.0),
                )  # fmt: skip
            else:
                self.wrong(number, say("{cell!r} is not a number here", cell=shown(cell)))
            return None
        return Typed(value, value, parsed.unit)

    def unit(self, number: int, parsed: Typed, known: Sequence[str]) -> str:
        """The unit beside a number, else its column's."""
        return parsed.unit if parsed.unit in known else self.told.columns[number].unit

    def text(self, role: Literal["note", "by"]) -> str:
        """A note or a name, or a fault; "" = none."""
        number = self.at.get(role)
        cell = self.cell_at(number)
        if cell is None:
            return ""
        try:
            if role == "note":
                return checked_text(shown(cell), role, NOTE_MAX)
            return checked_name(shown(cell), role)
        except InputError as error:
            self.fault(number, str(error))
            return ""

    def feel(self, role: Role, go: int | None) -> Feel | None:
        """How the blade that went (um) passed, or a fault."""
        number = self.at.get(role)
        cell = self.cell_at(number)
        if cell is None or self.wide:
            return None
        said = FEELS.get(plain_words(shown(cell)))
        if said is None:
            self.wrong(number, say("{cell!r} is not free or drag", cell=shown(cell)))
        elif not go:
            self.wrong(number, say("{cell!r} needs the blade that went", cell=shown(cell)))
        return "drag" if said == "drag" and go else "free" if said and go else None

    def single_found(self, columns: Mapping[Role, int]) -> int | None:
        """The one number for a gap found, um; None = there is none."""
        number = columns.get("found")
        cell = self.cell_at(number)
        if number is None or cell is None or pair(cell) or typed(cell) is None:
            return None
        return self.um(number, cell, quietly=True)

    def found(self, columns: Mapping[Role, int]) -> tuple[int | None, int | None]:
        """The blade that went and the one that did not, um, however they were written down."""
        number = columns.get("found")
        cell = self.cell_at(number)
        if number is None or cell is None:
            return self.go_nogo(columns, "found_go", "found_nogo")
        two = pair(cell)
        if two is not None:
            go, nogo = self.um(number, two[0]), self.um(number, two[1])
            return self._together(go, nogo, number)
        if isinstance(cell, str) and cell[:1] in ("<", ">"):
            um = self.um(number, cell[1:].lstrip("= "))
            if um is None:
                return None, None
            return self._together(0, um, number) if cell[0] == "<" else self._together(um, None, number)
        um = self.um(number, cell)
        return (None, None) if um is None else self._of_single(um, number)

    def _of_single(self, um: int, number: int) -> tuple[int | None, int | None]:
        blades = self.told.blades_um
        if um == 0:
            if not blades:
                self.wrong(number, say("no blade went: which was the thinnest that was tried?"))
                return None, None
            self.none_went += 1
            return 0, blades[0]
        if self.told.single != "felt":
            return um, None
        return (
            (
                max((blade for blade in blades if blade < um), default=0),
                min((blade for blade in blades if blade > um), default=None),
            )
            if blades
            else (um, None)
        )

    def go_nogo(self, columns: Mapping[Role, int], go: Role, nogo: Role) -> tuple[int | None, int | None]:
        """The same from two columns, um."""
        at = columns.get(go), columns.get(nogo)
        before = len(self.faults)
        values = self.blade(at[0]), self.blade(at[1])
        return (
            values
            if len(self.faults) > before
            else self._together(*values, at[0] if at[0] is not None else at[1])
        )

    def _together(
        self, go: int | None, nogo: int | None, number: int | None
    ) -> tuple[int | None, int | None]:
        try:
            check_go_nogo(go, nogo, "" if number is None else self.told.name(number))
        except InputError as error:
            self.fault(number, str(error))
            return None, None
        return go, nogo

    def blade(self, number: int | None) -> int | None:
        """A blade in a column, um; None = none, or a fault."""
        cell = self.cell_at(number)
        return None if number is None or cell is None else self.um(number, cell)

    def um(self, number: int, cell: Cell, *, quietly: bool = False) -> int | None:
        """A gap in micrometres, or a fault."""
        before = len(self.faults)
        parsed = self.number(number, cell)
        if parsed is None:
            if quietly:
                del self.faults[before:]
            return None
        unit = self.unit(number, parsed, tuple(UM_EACH))
        um = round((parsed.point or 0.0) * UM_EACH.get(unit, 1000.0))
        if um < 0:
            said = say("{cell!r} is less than nothing; if no blade went, write 0", cell=shown(cell))
        elif um > THICKEST_UM:
            said = say(
                "{cell!r} makes {mm:g} mm, thicker than any blade; is the unit right?",
                cell=shown(cell),
                mm=um / 1000,
            )
        elif 0 < um < THINNEST_UM or (um == 0 and parsed.point):
            said = say(
                "{cell!r} makes {mm:g} mm, thinner than any blade; is the unit right?",
                cell=shown(cell),
                mm=um / 1000,
            )
        else:
            return um
        if not quietly:
            self.wrong(number, said)
        return None
