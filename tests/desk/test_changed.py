"""A changed field of a visit in words: in the owner's units, in the language of the moment, never a raw number."""

from __future__ import annotations

from datetime import date

import pytest

from coldlash.desk.changed import FIELDS, Changed, changed
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Service
from coldlash.language import using
from coldlash.logbook.records import VISIT_FIELDS, FieldValue, VisitChange

MM = Shown()
INCH = Shown("in", "mile", "F")


def change(field: str, old: FieldValue, new: FieldValue) -> VisitChange:
    return VisitChange(
        id="i",
        seq=1,
        visit_id="v",
        field=field,
        old=old,
        new=new,
        reason="",
        by=None,
        at="2026-01-02T03:04:05.000Z",
    )


@pytest.mark.parametrize(
    ("field", "old", "new", "shown", "expected"),
    [
        ("distance_m", 77_900_000, 78_000_000, MM, ("the distance", "77,900 km", "78,000 km")),
        # 1 mile is 1.609344 km (exact by definition).
        ("distance_m", 1_609_344, 16_093_440, INCH, ("the distance", "1,000 miles", "10,000 miles")),
        ("engine_temp_mc", 12_000, None, MM, ("the engine temperature", "12 °C", "nothing")),
        # 20 C is 68 F (exact by definition).
        ("air_temp_mc", None, 20_000, INCH, ("the air temperature", "nothing", "68 °F")),
        ("meter_reading", 84_210_500, 84_210_000, MM, ("the meter reading", "84210.5", "84210")),
        ("day", date(2026, 3, 9), date(2026, 3, 10), MM, ("the day", "2026-03-09", "2026-03-10")),
        ("blades_um", (50, 100), (), MM, ("the blades", "0.05 mm, 0.10 mm", "nothing")),
        ("by", "Oona", "Bram", MM, ("whose hands", "Oona", "Bram")),
        ("state", "closed", "discarded", MM, ("the visit", "closed", "put aside")),
        ("hereafter", "a", "b", MM, ("hereafter", "a", "b")),
    ],
)
def test_a_change_is_told_as_an_owner_reads_it(field, old, new, shown, expected) -> None:
    assert changed(change(field, old, new), shown) == Changed(*expected)


def test_a_pump_s_distance_is_told_in_hours() -> None:
    service = Service(meter="h", km_per_h=50)
    assert changed(change("distance_m", 5_000_000, 6_000_000), MM, service)[1:] == ("100 h", "120 h")


def test_german_has_its_own_words_days_and_marks() -> None:
    with using("de"):
        assert changed(change("day", date(2026, 3, 9), None), MM) == ("der Tag", "09.03.2026", "nichts")
        assert changed(change("meter_reading", 1500, 2000), MM)[1:] == ("1,5", "2")


def test_every_field_that_can_be_changed_has_a_name() -> None:
    assert set(VISIT_FIELDS) <= set(FIELDS)
