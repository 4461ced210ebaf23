"""A changed field of a visit as an owner reads it: what it is called, what it said before, what it says since."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from coldlash.bench.blades import show_um
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Service
from coldlash.language import day, mark, say, say_in, table
from coldlash.logbook.records import FieldValue, VisitChange
from coldlash.logbook.telling import told

FIELDS = {
    "day": mark("the day"),
    "distance_m": mark("the distance"),
    "engine_temp_mc": mark("the engine temperature"),
    "air_temp_mc": mark("the air temperature"),
    "meter_reading": mark("the meter reading"),
    "meter_unit": mark("the meter’s unit"),
    "by": mark("whose hands"),
    "blades_um": mark("the blades"),
    "plan": mark("the plan"),
    "note": mark("the note"),
    "engine_file_id": mark("the engine file"),
    "state": mark("the visit"),
}


class Changed(NamedTuple):
    """All in words, in the owner's units."""

    field: str
    old: str
    new: str


def changed(change: VisitChange, shown: Shown, service: Service | None = None) -> Changed:
    """What was changed. ``service`` tells whether this engine counts hours."""
    what = table(FIELDS[change.field]) if change.field in FIELDS else change.field

    def words(value: FieldValue) -> str:
        return _words(change.field, value, shown, service)

    return Changed(what, words(change.old), words(change.new))


def _words(field: str, value: FieldValue, shown: Shown, service: Service | None) -> str:
    if value is None or value in ("", ()):
        return say("nothing")
    if isinstance(value, date):
        return day(value)
    if isinstance(value, tuple):
        return ", ".join(show_um(um, shown.gap) for um in value)
    if isinstance(value, int):
        if field == "distance_m":
            return shown.km(value / 1000, service)
        if field in ("engine_temp_mc", "air_temp_mc"):
            return shown.celsius(value / 1000)
        return told(value)
    if field == "state":
        return _STATES.get(value, lambda: value)()
    return value


_STATES = {
    "draft": lambda: say_in("state of a visit", "open"),
    "closed": lambda: say_in("state of a visit", "closed"),
    "discarded": lambda: say_in("state of a visit", "put aside"),
}
