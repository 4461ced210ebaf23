"""How much the book holds of each engine: closed visits, readings and changes, each counted once, on both databases."""

from __future__ import annotations

from datetime import date

from tests.logbook.shelf import NAME, visit_on

from coldlash.engine.spec import Valve
from coldlash.logbook.lasting import Work
from coldlash.logbook.records import NewReading


def test_an_engine_without_a_closed_visit_has_not_grown(book):
    book.open_visit(NAME, visit_on("2024-05-04", 1000))
    assert book.growth() == {}


def test_closed_visits_their_readings_corrections_and_changes_count_one_each(book):
    engine = book.engine(NAME).id
    visit = book.open_visit(NAME, visit_on("2024-05-04", 1000))
    reading = book.record(visit.id, NewReading(valve=Valve("I", 1), step="found", go_um=100, nogo_um=150))
    book.close_visit(visit.id)
    count, at = book.growth()[engine]
    assert count == 2  # derived: one visit and one reading
    book.withdraw(reading.id, reason="wrong valve")
    more, later = book.growth()[engine]
    assert more == 3
    assert later >= at
    book.change_visit(visit.id, {"note": "cold"}, reason="forgotten")
    assert book.growth()[engine][0] == 4
    work = book.add_work(
        Work(engine_id=engine, part="seat", kind="ground", day=date(2024, 6, 1), valves=(Valve("E", 1),))
    )
    assert book.growth()[engine][0] == 5
    book.take_back_entry(Work, work.id, "not done")
    assert book.growth()[engine][0] == 6
    # Regression: the same as counting what is read in full.
    visits = book.visits(NAME)
    assert book.growth()[engine][0] == 2 + sum(1 + len(v.history) + len(v.changes) for v in visits)
