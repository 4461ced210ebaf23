"""Meters from the desk: why one shows less, notes of vehicles, engines that move."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from coldlash.desk import running
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.errors import InputError, MeterWentBackError

VAN = "Van engine"


@pytest.fixture
def desk(tmp_path):
    clock = datetime(2026, 5, 1, 9, tzinfo=UTC)
    with Desk.open(str(tmp_path / "b.coldlash"), create=True, now=lambda: clock) as opened:
        opened.book.add_vehicle("Van", meter_digits=5)
        opened.book.add_vehicle("Boat", meter="h")
        opened.add_engine(load_engine("flat-four"), VAN, "Van")
        visit(opened, 99_800, date(2024, 5, 1))
        yield opened


def visit(desk, meter, day, **more):
    opened = desk.start_visit(VAN, day=day, meter=meter, **more)
    return desk.book.close_visit(opened.id)


def test_a_meter_that_went_back_opens_nothing_until_somebody_says_why(desk):
    with pytest.raises(
        MeterWentBackError, match="rolled over past 99999 km, which makes 100190 km in all"
    ) as raised:
        desk.start_visit(VAN, day=date(2025, 5, 1), meter=190)
    assert [offer.how for offer in raised.value.explanations] == ["rolled over", "replaced", "mistyped"]
    assert desk.book.draft_visits() == ()


@pytest.mark.parametrize(("explained", "km"), [("rolled over", 100_190), ("replaced", 99_990)])
def test_an_explained_meter_is_written_down_and_counts_on(desk, explained, km):
    opened = visit(desk, 190, date(2025, 5, 1), meter_explained=explained)
    assert opened.distance_m == km * 1000
    metered = desk.book.metered("Van")
    assert [r.turned_over for r in metered.readings] == ([1] if explained == "rolled over" else [])
    assert [(i.how, i.digits) for i in metered.instruments] == (
        [] if explained == "rolled over" else [("replaced", 5)]
    )
    assert visit(desk, 1190, date(2026, 5, 1)).distance_m == (km + 1000) * 1000
    assert running.odometer(desk.book, "Van").questions == ()


@pytest.mark.parametrize("explained", ["rolled over", "replaced"])
def test_putting_the_visit_aside_takes_the_explanation_back(desk, explained):
    opened = desk.start_visit(VAN, day=date(2025, 5, 1), meter=190, meter_explained=explained)
    running.discard_visit(desk.book, opened.id, "typed by mistake")
    metered = desk.book.metered("Van")
    assert (metered.readings, metered.instruments) == ((), ())
    assert visit(desk, 99_900, date(2025, 5, 1)).distance_m == 99_900_000


def test_without_a_vehicle_the_explanation_stands_in_the_visits_note(desk):
    desk.add_engine(load_engine("flat-twin"), "Loose")
    first = desk.start_visit("Loose", day=date(2024, 5, 1), meter=900)
    desk.book.close_visit(first.id)
    opened = desk.start_visit(
        "Loose", day=date(2025, 5, 1), meter=40, meter_explained="rolled over", note="rain"
    )
    assert opened.note == "rain The meter rolled over."
    assert opened.distance_m == 1_040_000
    again = desk.start_visit("Loose", day=date(2025, 6, 1), meter=30, meter_explained="replaced")
    assert again.note == "The meter was replaced."


def test_an_explanation_needs_a_reading(desk):
    with pytest.raises(InputError, match="only a reading of the meter can be explained; give it"):
        desk.start_visit(VAN, day=date(2025, 5, 1), distance_km=100_000, meter_explained="replaced")
    opened = desk.start_visit(VAN, day=date(2025, 5, 1), distance_km=100_000)
    with pytest.raises(InputError, match="only a reading of the meter can be explained; this visit has none"):
        running.explain_visit(desk.book, opened, "replaced", None)


def test_an_old_notebook_is_typed_in_by_the_meter_of_its_day(desk):
    assert visit(desk, 91_000, date(2023, 5, 1)).distance_m == 91_000_000
    with pytest.raises(MeterWentBackError, match="later, on 2023-05-01, the engine had run 91000 km, less"):
        desk.start_visit(VAN, day=date(2022, 5, 1), meter=95_000)


def test_a_note_of_the_odometer_between_visits_counts_at_the_next(desk):
    running.note_odometer(desk.book, "Van", 250, date(2024, 9, 1), rolled_over=True)
    with pytest.raises(MeterWentBackError, match="on 2024-09-01 it showed 250"):
        running.note_odometer(desk.book, "Van", 100, date(2024, 10, 1))
    assert visit(desk, 1250, date(2025, 5, 1)).distance_m == 101_250_000
    told = running.odometer(desk.book, "Van")
    assert (told.reckoning.reading, told.unit, told.digits) == (1_250_000, "km", 5)


def test_an_instrument_is_replaced_repaired_or_another_kind(desk):
    made = running.change_instrument(
        desk.book, "Van", "replaced", date(2024, 9, 1), reading=10, old_reading=99_900, unit="mile"
    )
    assert (made.unit, made.digits, made.old_reading) == ("mile", 5, 99_900_000)
    assert visit(desk, 110, date(2025, 5, 1)).distance_m == 99_900_000 + 160_934
    running.change_instrument(desk.book, "Van", "repaired", date(2025, 6, 1), reading=3000)
    assert visit(desk, 3100, date(2025, 7, 1)).distance_m == 99_900_000 + 321_869
    running.change_instrument(desk.book, "Van", "first", date(2025, 6, 1), unit="h", reading=0)
    assert running.odometer(desk.book, "Van", "h").unit == "h"
    for how, unit, said in (
        ("first", "h", "Van has one already, which counts h; was it replaced"),
        ("lost", "km", "an instrument is replaced, repaired or the first, not 'lost'"),
    ):
        with pytest.raises(InputError, match=said):
            running.change_instrument(desk.book, "Van", how, date(2025, 8, 1), unit=unit)
    with pytest.raises(InputError, match="Boat has no such instrument yet; write down its first one"):
        running.change_instrument(desk.book, "Boat", "replaced", date(2025, 8, 1), unit="km")
    with pytest.raises(InputError, match="Boat has no odometer in this book"):
        running.odometer(desk.book, "Boat", "km")


def test_the_last_reading_of_an_old_instrument_must_fit_what_it_showed(desk):
    with pytest.raises(MeterWentBackError, match="shows 99000 km, but on 2024-05-01 it showed 99800"):
        running.change_instrument(desk.book, "Van", "replaced", date(2024, 9, 1), old_reading=99_000)


@pytest.mark.parametrize("reading", [-1.0, 1e7])
def test_a_meter_shows_a_number_that_a_meter_can_show(desk, reading):
    with pytest.raises(InputError, match="a meter shows 0 or more, less than 10 million"):
        running.note_odometer(desk.book, "Van", reading, date(2024, 9, 1))


def test_an_engine_takes_its_distance_into_another_vehicle(desk):
    _, engine = desk.engine(VAN)
    with pytest.raises(MeterWentBackError, match="shows 99000 km"):
        running.fit(desk.book, VAN, engine, None, date(2024, 8, 1), meter=99_000)
    running.fit(desk.book, VAN, engine, None, date(2024, 8, 1), meter=99_900)
    assert (
        running.fit(desk.book, VAN, engine, "Boat", date(2024, 9, 1), meter=12).vehicle_id
        == desk.book.vehicle("Boat").id
    )
    assert desk.meter_unit(VAN) == "h"
    assert visit(desk, 14, date(2025, 5, 1)).distance_m == 99_900_000 + 2 * 50_000
    assert [running.reading_words(f, {}) for f in running.stays(desk.book, VAN)] == [
        "in another vehicle",
        "taken out, the meter showing 99900 km",
        "in another vehicle, the meter showing 12 h",
    ]


def test_meters_are_said_in_words(desk):
    running.note_odometer(desk.book, "Van", 250, date(2024, 9, 1), rolled_over=True)
    running.change_instrument(
        desk.book, "Van", "replaced", date(2024, 10, 1), reading=0, old_reading=300, digits=6
    )
    told = running.odometer(desk.book, "Van")
    assert [running.reading_words(i) for i in told.instruments] == [
        "first one, counts km, 5 digits",
        "another one, counts km, 6 digits, began at 0; the one before showed 300",
    ]
    assert running.reading_words(told.readings[0]) == "showed 250 km, rolled over"
    assert running.question_words(told.questions) == ()
