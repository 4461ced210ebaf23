"""Vehicles over the years: instruments, readings, which engine was in which."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from tests.logbook.shelf import NAME, visit_on

from coldlash.errors import InputError
from coldlash.logbook.lasting import Fitment, Instrument, MeterReading
from coldlash.logbook.records import new_id

DAY = date(2024, 5, 4)
ID = "00000000-0000-4000-8000-000000000001"


@pytest.fixture
def van(book):
    vehicle = book.add_vehicle("Van", meter="km", meter_digits=5)
    book.fit_engine(NAME, "Van")
    return vehicle


def closed(book, engine, day, km, meter=None, unit="km"):
    shown = None if meter is None else round(meter * 1000)
    new = visit_on(day, km, meter_reading=shown, meter_unit=None if meter is None else unit)
    return book.close_visit(book.open_visit(engine, new).id)


def test_an_engine_fitted_before_its_first_visit_was_there_since_before_the_book(book, van):
    (fitment,) = book.fitments(NAME)
    assert (fitment.vehicle_id, fitment.day) == (van.id, None)
    new = book.add_engine("Second", "toml", vehicle="Van")
    assert [f.day for f in book.fitments("Second")] == [None]
    assert new.vehicle_id == van.id


def test_an_engine_moved_later_is_moved_on_a_day(book, van):
    book.add_vehicle("Boat", meter="h")
    closed(book, NAME, "2024-01-01", 50_000, 50_000)
    assert (
        book.fit_engine(
            NAME, None, day=date(2024, 2, 1), meter_reading=50_300_000, meter_unit="km"
        ).vehicle_id
        is None
    )
    assert book.fit_engine(NAME, "Boat").vehicle_id == book.vehicle("Boat").id
    assert [f.day for f in book.fitments(NAME)] == [None, date(2024, 2, 1), DAY]
    assert book.reckoned(NAME).distance_m == 50_300_000


def test_fitting_it_where_it_is_changes_nothing_and_the_same_id_twice_writes_once(book, van):
    book.fit_engine(NAME, "Van", day=DAY)
    assert len(book.fitments(NAME)) == 1
    book.add_vehicle("Boat")
    id = new_id()
    for _ in range(2):
        book.fit_engine(NAME, "Boat", day=DAY, id=id)
    assert len(book.fitments(NAME)) == 2


def test_a_move_before_the_last_one_is_a_correction(book, van):
    book.add_vehicle("Boat")
    book.fit_engine(NAME, None, day=DAY)
    with pytest.raises(
        InputError, match="was moved on 2024-05-04 already; an earlier move is a correction of that"
    ):
        book.fit_engine(NAME, "Boat", day=date(2024, 1, 1))


def test_a_corrected_move_decides_where_the_engine_is(book, van):
    boat = book.add_vehicle("Boat")
    book.fit_engine(NAME, None, day=DAY)
    (_, out) = book.fitments(NAME)
    into = replace(
        out, vehicle_id=boat.id, id=None, at=None, seq=0, replaces=out.id, reason="it went into the boat"
    )
    book.correct(into)
    assert book.engine(NAME).vehicle_id == boat.id
    book.take_back(Fitment, book.fitments(NAME)[-1].id, "it never left")
    assert book.engine(NAME).vehicle_id == van.id
    assert len(book.fitments(NAME, everything=True)) == 4
    with pytest.raises(InputError, match="a correction must name the entry it replaces"):
        book.correct(out)


def test_what_is_written_of_a_vehicle_needs_the_vehicle(book):
    with pytest.raises(InputError, match="this book has no vehicle"):
        book.add_instrument(Instrument(vehicle_id=ID, how="replaced", unit="km", day=DAY))
    with pytest.raises(InputError, match="this book has no vehicle"):
        book.note_reading(MeterReading(vehicle_id=ID, day=DAY, reading=1, unit="km"))


def test_a_note_may_explain_a_visit_that_is_there(book, van):
    with pytest.raises(InputError, match=f"no visit with the id {ID}"):
        book.note_reading(MeterReading(vehicle_id=van.id, day=DAY, reading=1, unit="km", visit_id=ID))


def test_the_engines_own_distance_comes_from_visits_notes_and_instruments(book, van):
    closed(book, NAME, "2023-01-01", 99_800, 99_800)
    book.note_reading(
        MeterReading(vehicle_id=van.id, day=date(2023, 6, 1), reading=150_000, unit="km", turned_over=1)
    )
    assert book.reckoned(NAME).distance_m == 100_150_000
    book.add_instrument(
        Instrument(
            vehicle_id=van.id,
            how="replaced",
            unit="mile",
            digits=6,
            day=date(2023, 8, 1),
            old_reading=250_000,
            reading=0,
        )
    )
    told = book.reckoned(NAME)
    assert (told.distance_m, told.unit, told.digits) == (100_250_000, "mile", 6)
    closed(book, NAME, "2024-01-01", 101_000, 400, "mile")
    assert book.reckoned(NAME).distance_at(500_000) == 101_160_934
    assert book.metered("Van").instruments[0].unit == "mile"


def test_an_engine_counted_in_hours_has_its_own_meter_where_the_vehicle_has_none(book, van):
    closed(book, NAME, "2023-01-01", 1000, 20, "h")
    told = book.reckoned(NAME, hours=True, km_per_h=50.0)
    assert told.distance_at(30_000) == 1_500_000


def test_a_vehicle_that_counts_hours_counts_them_for_an_engine_that_does_not_say(book):
    book.add_vehicle("Boat", meter="h")
    book.fit_engine(NAME, "Boat")
    closed(book, NAME, "2023-01-01", 1000, 20, "h")
    assert book.reckoned(NAME, km_per_h=10.0).distance_at(30_000) == 1_100_000


def test_a_vehicle_may_have_an_hour_meter_beside_its_odometer(book, van):
    book.add_instrument(
        Instrument(vehicle_id=van.id, how="first", unit="h", digits=4, day=date(2023, 1, 1), reading=0)
    )
    closed(book, NAME, "2023-02-01", 1000, 20, "h")
    told = book.reckoned(NAME, hours=True, km_per_h=10.0)
    assert (told.unit, told.digits, told.distance_at(30_000)) == ("h", 4, 1_100_000)


def test_a_vehicles_own_story_holds_the_readings_of_every_engine_that_was_in_it(book, van):
    book.add_engine("Second", "toml")
    closed(book, NAME, "2023-01-01", 10_000, 50_000)
    book.fit_engine(NAME, None, day=date(2023, 2, 1))
    book.fit_engine("Second", "Van", day=date(2023, 2, 1))
    closed(book, "Second", "2023-03-01", 5, 50_900)
    closed(book, NAME, "2023-04-01", 10_010, 7)
    shown = [event.reading for event in book.vehicle_running("Van") if hasattr(event, "turned_over")]
    assert shown == [50_000_000, 50_900_000]
    assert book.reckoned(NAME).distance_m == 10_010_000


def test_facts_of_engine_files_are_kept_once(book):
    file = book.engine(NAME).file.id
    assert book.engine_facts() == {}
    book.keep_engine_facts({file: '{"a":1}'})
    book.keep_engine_facts({file: '{"a":2}'})
    assert book.engine_facts() == {file: '{"a":1}'}
