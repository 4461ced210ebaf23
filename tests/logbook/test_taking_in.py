"""Visits of a file into the book: all or nothing, none twice, stopped without a trace; in a file and on a server."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import date, timedelta
from itertools import islice

import pytest
from tests.logbook.shelf import ENGINE_TOML, FLAT_FOUR, NAME, content, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import FaultyFileError
from coldlash.logbook.logfile import LogRow, LogVisit
from coldlash.logbook.sheets.rows import SheetVisit
from coldlash.logbook.taking_in import Batch, compare, digest, rising_ids, take_in

SHA = digest(b"a file")
START = date(2001, 1, 1)


def visit(n: int, go: int = 100, **more) -> SheetVisit:
    rows = tuple(
        LogRow(valve=valve, found_go_um=go, found_nogo_um=go + 50, line=n * 10 + i)
        for i, valve in enumerate(FLAT_FOUR.valves)
    )
    log = LogVisit(day=START + timedelta(days=n), distance_m=n * 1000, rows=rows)
    return SheetVisit(log=log, **more)


def metered(n: int, km: int, explained: str = "") -> SheetVisit:
    one = visit(n)
    return SheetVisit(
        log=replace(one.log, distance_m=0), meter_reading=km * 1000, meter_unit="km", explained=explained
    )


def take(book, *visits: SheetVisit, engine: str = NAME, **more):
    batch = Batch(engine=engine, spec=FLAT_FOUR, visits=tuple(visits))
    return take_in(book, [batch], source="notebook.ods", sha256=SHA, how='{"kind":"sheet"}', **more)


def test_visits_are_added_as_one_import(book):
    done = take(book, visit(1), visit(2, note="rain"), by="Ann")
    assert (done.added, done.rows_added, done.already_there, done.notes) == (2, 16, 0, ())
    one, two = book.visits(NAME)
    assert done.visit_ids == (one.id, two.id)
    assert (one.state, two.note, len(one.readings)) == ("closed", "rain", 8)
    (entry,) = book.imports()
    assert (entry.id, entry.sha256, entry.by) == (done.import_id, SHA, "Ann")


def test_the_same_visits_twice_add_nothing(book):
    take(book, visit(1), visit(2))
    before = content(book)
    again = take(book, visit(1), visit(2))
    assert (again.added, again.already_there, again.rows_known, again.import_id) == (0, 2, 16, None)
    assert content(book) == before


def test_an_overlapping_file_adds_only_what_is_new(book):
    take(book, visit(1), visit(2))
    done = take(book, visit(2), visit(3))
    assert (done.added, done.already_there) == (1, 1)
    assert [entry.visits_added for entry in book.imports()] == [1, 2] or len(book.imports()) == 2


def test_other_readings_on_the_same_day_and_distance_are_faults_and_nothing_is_taken(book):
    take(book, visit(2))
    before = content(book)
    with pytest.raises(FaultyFileError, match="is in the book with other content") as caught:
        take(book, visit(1), visit(2, go=50))
    assert len(caught.value.faults) == 8
    assert content(book) == before


def test_several_engines_come_in_together_or_not_at_all(book):
    book.add_engine("Boat", ENGINE_TOML)
    boat = Batch(engine="Boat", spec=FLAT_FOUR, visits=(visit(1),))
    van = Batch(engine=NAME, spec=FLAT_FOUR, visits=(visit(1), visit(2)))
    done = take_in(book, [boat, van], source="f", sha256=SHA, how="{}")
    assert (done.added, book.imports()[0].engines) == (3, ("Boat", NAME))
    wrong = replace(boat, visits=(visit(1, go=50),))
    with pytest.raises(FaultyFileError):
        take_in(book, [replace(van, visits=(visit(3),)), wrong], source="f", sha256=SHA, how="{}")
    assert len(book.visits(NAME)) == 2


@pytest.mark.parametrize("at", ["comparing", "writing"])
def test_stopped_in_the_middle_leaves_nothing(book, monkeypatch, at):
    from coldlash.logbook import taking_in

    class StopError(Exception):
        pass

    def watch(stage: str, done: int, of: int) -> None:
        if stage == at and (done or at == "comparing"):
            raise StopError

    monkeypatch.setattr(taking_in, "AT_ONCE", 2)
    before = content(book)
    with pytest.raises(StopError):
        take(book, *(visit(n) for n in range(6)), watch=watch)
    assert content(book) == before
    assert take(book, visit(1)).added == 1


def test_progress_is_told_while_it_is_written(book, monkeypatch):
    from coldlash.logbook import taking_in

    monkeypatch.setattr(taking_in, "AT_ONCE", 2)
    told = []
    take(book, *(visit(n) for n in range(5)), watch=lambda *each: told.append(each))
    assert told == [("comparing", 0, 1), *(("writing", done, 5) for done in (0, 2, 4, 5))]


def test_a_meters_readings_make_the_engines_own_distance(book):
    done = take(book, metered(1, 99_000), metered(2, 99_900), metered(3, 200, "rolled over"))
    assert [v.distance_m for v in book.visits(NAME)] == [99_000_000, 99_900_000, 100_200_000]
    assert [v.meter_reading for v in book.visits(NAME)] == [99_000_000, 99_900_000, 200_000]
    assert take(book, metered(1, 99_000), metered(2, 99_900), metered(3, 200, "rolled over")).added == 0
    later = take(book, metered(3, 200), metered(4, 300))
    assert (later.added, later.already_there) == (1, 1)
    assert book.visits(NAME)[-1].distance_m == 100_300_000
    assert done.added == 3


def test_a_meter_that_went_back_is_a_fault_until_it_is_explained(book):
    with pytest.raises(
        FaultyFileError, match="line 20: the meter shows 190 km, but on 2001-01-02 it showed 99800"
    ):
        take(book, metered(1, 99_800), metered(2, 190))
    assert book.visits(NAME) == ()


def test_two_readings_that_make_one_visit_are_said(book):
    first = metered(1, 100)
    twin = replace(first, log=replace(first.log, rows=(LogRow(valve=Valve("E", 3), line=99),)))
    with pytest.raises(
        FaultyFileError,
        match="line 99: this makes a second visit on 2001-01-02 at 100 km, after that of row 10",
    ):
        take(book, first, twin)


def test_a_distance_that_falls_against_the_book_is_taken_and_said(book):
    take(book, visit(10))
    done = take(book, replace(visit(5), log=replace(visit(5).log, distance_m=60_000)))
    assert done.notes == (
        "together with the visits in the book the distance goes backwards: 10 km on 2001-01-11, but 60 km on "
        "2001-01-06; it counts as 0 km",
    )
    assert take(book, visit(20)).notes == ()


def test_an_open_visit_in_its_place_is_said(book):
    book.open_visit(NAME, visit_on("2001-01-02", 1))
    with pytest.raises(FaultyFileError, match="is still open in the book"):
        take(book, visit(1))


def test_comparing_writes_nothing(book):
    before = content(book)
    told = compare(book, Batch(engine=NAME, spec=FLAT_FOUR, visits=(visit(1),)))
    assert (len(told.fresh), told.known, told.faults) == (1, 0, ())
    assert content(book) == before


def test_ids_rise_and_are_uuids_of_their_time():
    # published: RFC 9562, 5.7: 48 bits of milliseconds since 1970, version 7, variant 10 (from memory);
    # 2024-05-04T12:00:00Z is 1714824000 s after 1970 (independent software: the standard library)
    ids = list(islice(rising_ids("2024-05-04T12:00:00.000Z"), 1000))
    assert ids == sorted(set(ids))
    parsed = [uuid.UUID(each) for each in ids]
    assert {(each.version, each.variant, each.int >> 80) for each in parsed} == {
        (7, uuid.RFC_4122, 1_714_824_000_000)
    }
