"""Imports written down, listed and undone as a whole, in a file and on a server."""

from __future__ import annotations

import json
from datetime import date

import pytest
from tests.logbook.shelf import FLAT_FOUR, NAME, NOON_TEXT, found, reading, visit_on

from coldlash.errors import InputError
from coldlash.logbook.exchange import import_log
from coldlash.logbook.imports import ImportTouchedError
from coldlash.logbook.lasting import AcceptedCause, EngineTest, Work
from coldlash.logbook.logfile import HEADER

LOG = f"{HEADER}\n2001-02-03,20000,18.5,I1,0.10,0.15,yes,0.15,\n2002-02-03,25000,,E3,0.5,,no,,\n"


def taken(book, text: str = LOG):
    result = import_log(book, NAME, FLAT_FOUR, text, "old notebook.csv")
    return result.visit_ids, book.imports()[0]


def test_a_log_file_taken_in_is_written_down_with_its_visits(book):
    ids, entry = taken(book)
    assert (entry.source, entry.visits_added, entry.rows_added) == ("old notebook.csv", 2, 2)
    assert (entry.engines, entry.first_day, entry.last_day) == ((NAME,), date(2001, 2, 3), date(2002, 2, 3))
    assert (entry.at, entry.undone_at, entry.by) == (NOON_TEXT, None, None)
    assert json.loads(entry.how) == {"kind": "log"}
    assert len(entry.sha256) == 64
    assert book.import_entry(entry.id) == entry
    assert len(ids) == 2


def test_a_file_that_adds_nothing_is_not_written_down(book):
    taken(book)
    taken(book)
    assert len(book.imports()) == 1


def test_an_import_is_undone_whole_and_its_visits_stay_marked(book):
    ids, entry = taken(book)
    other = book.open_visit(NAME, visit_on())
    gone = book.undo_import(entry.id, reason="the wrong engine", by="Ann")
    assert (gone.undone_at, gone.undone_reason) == (NOON_TEXT, "the wrong engine")
    assert book.visits(NAME) == ()
    kept = [book.visit(visit_id) for visit_id in ids]
    assert [visit.state for visit in kept] == ["discarded", "discarded"]
    (change,) = kept[0].changes
    assert (change.field, change.old, change.new) == ("state", "closed", "discarded")
    assert (change.reason, change.by) == ("the wrong engine", "Ann")
    assert book.visit(other.id).state == "draft"
    assert book.check() == ()


def test_undoing_twice_changes_nothing(book):
    _, entry = taken(book)
    gone = book.undo_import(entry.id, reason="one")
    assert book.undo_import(entry.id, reason="two") == gone


def test_an_undone_file_can_be_taken_in_again(book):
    _, entry = taken(book)
    book.undo_import(entry.id, reason="to see")
    result = import_log(book, NAME, FLAT_FOUR, LOG, "old notebook.csv")
    assert (result.added, len(book.imports()), len(book.visits(NAME))) == (2, 2, 2)


def test_a_visit_that_was_discarded_by_hand_stays_so(book):
    ids, entry = taken(book)
    book.discard_visit(ids[0], reason="another engine's")
    book.undo_import(entry.id, reason="all")
    assert [change.reason for change in book.visit(ids[0]).changes] == ["another engine's"]


def touch(book, ids, what: str) -> str:
    one = book.visit(ids[0])
    at = {"engine_id": one.engine_id, "visit_id": one.id, "day": one.day}
    if what == "corrected":
        first = one.reading(found("I1").valve, "found")
        book.amend(one.id, found("I1", 50, 100, replaces=first.id, reason="photo says so"))
        return "1 reading corrected or added"
    if what == "completed":
        book.amend(one.id, reading("E1", "found", go_um=100, nogo_um=150, reason="forgotten"))
        book.amend(one.id, reading("E2", "found", go_um=100, nogo_um=150, reason="forgotten"))
        return "2 readings corrected or added"
    if what == "changed":
        book.change_visit(one.id, {"note": "rain"}, reason="remembered")
        return "1 change of the visit"
    if what == "work":
        book.add_work(Work(**at, kind="ground", part="seat"))
        return "1 entry of work"
    if what == "test":
        book.add_test(EngineTest(**at, kind="leak_down"))
        return "1 test"
    book.accept_cause(AcceptedCause(**at, cause="head_settling", direction="tighter"))
    return "1 accepted cause"


@pytest.mark.parametrize("what", ["corrected", "completed", "changed", "work", "test", "cause"])
def test_what_somebody_added_since_is_not_put_aside_without_being_asked(book, what):
    ids, entry = taken(book)
    words = touch(book, ids, what)
    with pytest.raises(
        ImportTouchedError, match="something was added to 1 of its visits since; nothing was undone"
    ) as caught:
        book.undo_import(entry.id, reason="the wrong engine")
    (touched,) = caught.value.touched
    assert touched.what == (words,)
    assert f"{NAME}, 2001-02-03 at 20000 km: {words}" in str(caught.value)
    assert len(book.visits(NAME)) == 2
    assert book.undo_import(entry.id, reason="all the same", anyway=True).undone_at == NOON_TEXT
    assert book.visits(NAME) == ()


def test_what_was_taken_back_since_does_not_count(book):
    ids, entry = taken(book)
    one = book.visit(ids[0])
    kept = book.add_work(
        Work(engine_id=one.engine_id, visit_id=one.id, day=one.day, kind="ground", part="seat")
    )
    book.take_back_entry(Work, kept.id, "another engine's")
    assert book.touched_since(entry.id) == ()
    assert book.undo_import(entry.id, reason="all").undone_at is not None


def test_undoing_says_what_it_needs(book):
    _, entry = taken(book)
    with pytest.raises(InputError, match="say why the import is undone"):
        book.undo_import(entry.id, reason=" ")
    with pytest.raises(InputError, match="this book has no import with the id"):
        book.undo_import("3f2b8a52-1c5e-4e0e-9a51-0d8f6c1b7a10", reason="x")
    with pytest.raises(InputError, match="import id: 'x' is not a UUID"):
        book.import_entry("x")


def test_no_imports_are_none(book):
    assert book.imports() == ()
