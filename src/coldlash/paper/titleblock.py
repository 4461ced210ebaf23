"""The title block at the foot of every sheet, and the moment a document is made at."""

from __future__ import annotations

from calendar import timegm
from collections.abc import Sequence
from datetime import date

from coldlash.paper.fitting import MM_PER_PT, fit_size
from coldlash.paper.textwidth import text_width
from coldlash.paper.words import Words

TITLE_ROOM_MM = (62.0, 5.4)
"""Room for the title: what is left beside the widest cells, two lines of a small size."""
TITLE_PT, LEAST_PT = 7.5, 3.0
CELLS_ROOM_MM = 118.0
"""What the narrowest sheet (A4, margins of 14 mm) leaves for the cells and the page beside the title's room."""
VALUE_PT, LABEL_PT, INSET_PT = 7.5, 6.0, 10.0


def title_block(title: str, cells: Sequence[tuple[str, str]], words: Words) -> dict[str, object]:
    """What the template's title block needs: the title, and the sheet's own cells (label, value), one at least.

    A long title is set smaller, and so are cells that are wider than in English, so that the block stays within the
    foot of the sheet.
    """
    page = (words.say("page"), words.say("{now} of {all}", now="99", all="99"))
    widths = [
        max(text_width(label, LABEL_PT), text_width(value, VALUE_PT, 400)) for label, value in (*cells, page)
    ]
    room = CELLS_ROOM_MM / MM_PER_PT - INSET_PT * len(widths)
    return {
        "scale": min(1.0, room / sum(widths)),
        "title_pt": fit_size(title, TITLE_ROOM_MM, TITLE_PT, LEAST_PT, 600),
        "title_label": words.say("sheet"),
        "sheet_label": words.say("page"),
        "sheet_of": words.say("{now} of {all}", now="{now}", all="{all}"),
        "cells": [list(cell) for cell in cells],
    }


def stamp(day: date | None) -> int:
    """Midnight UTC of this day, seconds since 1970: the PDF's date of creation. None or before 1970 = 0."""
    return 0 if day is None else max(0, timegm(day.timetuple()))
