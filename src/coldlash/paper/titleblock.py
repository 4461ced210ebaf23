"""The title block at the foot of every sheet, and the moment a document is made at."""

from __future__ import annotations

from calendar import timegm
from collections.abc import Sequence
from datetime import date

from coldlash.paper.fitting import fit_size
from coldlash.paper.words import Words

TITLE_ROOM_MM = (62.0, 5.4)
"""Room for the title: what is left beside the widest cells, two lines of a small size."""
TITLE_PT, LEAST_PT = 7.5, 3.0


def title_block(title: str, cells: Sequence[tuple[str, str]], words: Words) -> dict[str, object]:
    """What the template's title block needs: the title, and the sheet's own cells (label, value), one at least.

    A long title is set smaller, so that the block stays within the foot of the sheet.
    """
    return {
        "title_pt": fit_size(title, TITLE_ROOM_MM, TITLE_PT, LEAST_PT, 600),
        "title_label": words.say("sheet"),
        "sheet_label": words.say("page"),
        "sheet_of": words.say("{now} of {all}", now="{now}", all="{all}"),
        "cells": [list(cell) for cell in cells],
    }


def stamp(day: date | None) -> int:
    """Midnight UTC of this day, seconds since 1970: the PDF's date of creation. None or before 1970 = 0."""
    return 0 if day is None else max(0, timegm(day.timetuple()))
