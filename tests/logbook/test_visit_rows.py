"""How visits are fetched: a fixed number of queries, however many visits."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import event
from tests.logbook.shelf import FLAT_FOUR, NAME, found, visit_on

from coldlash.logbook.records import NewVisit, PastVisit


@pytest.mark.parametrize("count", [1, 120])
def test_visits_come_in_four_queries_however_many_there_are(book, count):
    start = visit_on("2000-01-01", 0)
    book.add_past_visits(
        NAME,
        [
            PastVisit(
                visit=NewVisit(day=start.day + timedelta(days=n), distance_m=n * 1000),
                readings=tuple(found(str(valve)) for valve in FLAT_FOUR.valves),
            )
            for n in range(count)
        ],
    )
    statements: list[str] = []
    event.listen(book._file.engine, "before_cursor_execute", lambda *args: statements.append(args[2]))
    visits = book.visits(NAME)
    assert len(visits) == count
    assert all(len(visit.readings) == 8 for visit in visits)
    selects = [statement for statement in statements if statement.startswith("SELECT")]
    assert len(selects) == 4  # the engine's id, visits, readings, changes
