"""Dates as people type them. Their order is decided over a whole column: 4/5/2019 alone may be April or May."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Literal

from coldlash.logbook.sheets.cells import Cell

Order = Literal["ymd", "dmy", "mdy"]
ORDERS: tuple[Order, ...] = ("ymd", "dmy", "mdy")

EPOCH = date(1899, 12, 30)
"""Day 0 of spreadsheets' serial dates (their day 1 is 1900-01-01; from 1900-03-01 on this holds: common practice)."""
SERIAL_MIN, SERIAL_MAX = 1_000, 110_000  # 1902 to 2201
FIRST_YEAR, LAST_YEAR = 1880, 2200

_MONTHS = (
    ("jan", "jän"), ("feb",), ("mar", "mär", "mrz", "maer"), ("apr",), ("may", "mai"), ("jun",), ("jul",), ("aug",),
    ("sep",), ("oct", "okt"), ("nov",), ("dec", "dez"),
)  # fmt: skip
_MONTH = {name: number for number, names in enumerate(_MONTHS, 1) for name in names}
_TIME = r"(?:[ T,]+\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?(?:\s*(?:am|pm|uhr|z))?)?"
_NUMBERS = re.compile(
    rf"(\d{{1,4}})\s*[./\-\s]\s*(\d{{1,2}})\s*[./\-\s]\s*(\d{{1,4}})\.?{_TIME}", re.IGNORECASE
)
_PACKED = re.compile(r"(\d{4})(\d\d)(\d\d)")
_NAMED_DMY = re.compile(
    rf"(\d{{1,2}})(?:st|nd|rd|th|\.)?[\s\-./]*([^\W\d_]+)\.?[\s\-.,/]*(\d{{2,4}}){_TIME}", re.IGNORECASE
)
_NAMED_MDY = re.compile(
    rf"([^\W\d_]+)\.?[\s\-]*(\d{{1,2}})(?:st|nd|rd|th)?[\s,]+(\d{{2,4}}){_TIME}", re.IGNORECASE
)
_WEEKDAY = re.compile(
    r"(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-zä]*\.?,?\s+(?=\d|\w+\s+\d)", re.IGNORECASE
)


def sure_day(cell: Cell) -> date | None:
    """A cell that is a date in one way only, whatever its column says: a date cell, or a month with its name."""
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    return None


@lru_cache(maxsize=65_536)
def readings(text: str, this_year: int) -> dict[str, date]:
    """The days a text can mean, by order; empty = no date. Of two-digit years the last one up to ``this_year``."""
    text = _WEEKDAY.sub("", text.strip(), count=1)
    for pattern, order in ((_NAMED_DMY, (0, 1, 2)), (_NAMED_MDY, (1, 0, 2))):
        named = pattern.fullmatch(text)
        if named is not None:
            parts = named.groups()
            month = _MONTH.get(parts[order[1]].lower()[:3], 0)
            found = _day(parts[2], month, int(parts[order[0]]), this_year)
            if month:
                return dict.fromkeys(ORDERS, found) if found else {}
    packed = _PACKED.fullmatch(text)
    if packed is not None:
        found = _day(packed[1], int(packed[2]), int(packed[3]), this_year)
        return {"ymd": found} if found else {}
    numbers = _NUMBERS.fullmatch(text)
    if numbers is None:
        return {}
    one, two, three = numbers.groups()
    days: dict[str, date | None] = {}
    dotted = "." in text[: numbers.end(2)]
    if len(three) <= 2 and (len(one) == 4 or (len(one) == 2 and not dotted)):
        days["ymd"] = _day(one, int(two), int(three), this_year)
    if len(one) <= 2 and len(three) in (2, 4):
        days["dmy"] = _day(three, int(two), int(one), this_year)
        # No locale of the world writes the month first between dots (CLDR).
        if not dotted:
            days["mdy"] = _day(three, int(one), int(two), this_year)
    return {order: day for order, day in days.items() if day is not None}


def _day(year: str, month: int, day: int, this_year: int) -> date | None:
    number = int(year)
    if len(year) == 2:
        number += this_year // 100 * 100
        if number > this_year:
            number -= 100
    elif len(year) != 4:
        return None
    try:
        return date(number, month, day)
    except ValueError:
        return None


def serial_day(cell: Cell) -> date | None:
    """A spreadsheet's serial date (44000 or 44000.5), whether the cell is a number or a text."""
    if isinstance(cell, str):
        if re.fullmatch(r"\d{4,6}(?:\.\d+)?", cell) is None or _PACKED.fullmatch(cell):
            return None
        cell = float(cell)
    if not isinstance(cell, float) or not SERIAL_MIN <= cell <= SERIAL_MAX:
        return None
    return EPOCH + timedelta(days=int(cell))


def day_of(cell: Cell, order: str, this_year: int) -> date | None:
    """The day a cell means where ``order`` holds; None = it is no date so."""
    sure = sure_day(cell)
    if sure is not None:
        return sure
    if isinstance(cell, str):
        found = readings(cell, this_year)
        if found:
            return found.get(order) or (
                next(iter(found.values())) if order == "" and len(set(found.values())) == 1 else None
            )
    return serial_day(cell)


def like_a_day(cell: Cell, this_year: int) -> bool:
    """True when a cell can be a date in some way (a bare number is none)."""
    return sure_day(cell) is not None or (isinstance(cell, str) and bool(readings(cell, this_year)))


def order_of(cells: Sequence[Cell], this_year: int) -> str:
    """The order of a column of dates, "" where it can't be told.

    Told only if some cell can be read in that order alone, none in another order alone; or if it makes no difference.
    """
    alone = dict.fromkeys(ORDERS, 0)
    fits = dict.fromkeys(ORDERS, 0)
    differs = False
    for cell in cells:
        if not isinstance(cell, str):
            continue
        found = readings(cell, this_year)
        for order in found:
            fits[next(o for o in ORDERS if o == order)] += 1
        if len(found) == 1:
            alone[next(o for o in ORDERS if o in found)] += 1
        differs = differs or len(set(found.values())) > 1
    sure = [order for order in ORDERS if alone[order]]
    if len(sure) == 1:
        return sure[0]
    if sure:
        # Some can be one order only, some another only: if nearly all agree, the others are faults to be shown.
        best = max(sure, key=lambda order: alone[order])
        rest = sum(alone.values()) - alone[best]
        return best if alone[best] >= 20 * rest and fits[best] >= max(fits.values()) else ""
    return "" if differs else max(ORDERS, key=lambda order: fits[order])
