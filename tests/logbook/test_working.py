"""Tests and causes found in the book, in a file and on a server: written, corrected, withdrawn, one by its id."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from tests.logbook.shelf import NAME, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.lasting import AcceptedCause, EngineTest
from coldlash.logbook.records import new_id

DAY = date(2024, 5, 4)


def leak_down(book, **more):
    entry = book.engine(NAME)
    good = {
        "engine_id": entry.id,
        "day": DAY,
        "kind": "leak_down",
        "cylinders": (3,),
        "result": "leaks_at_exhaust",
    }
    return EngineTest(**good | more)


def loose_stand(book, **more):
    entry = book.engine(NAME)
    good = {"engine_id": entry.id, "day": DAY, "cause": "stand_loose", "direction": "looser", "amount_um": 80}
    return AcceptedCause(**good | more)


def test_a_test_comes_back_as_it_was_written(book):
    kept = book.add_test(leak_down(book, data={"loss": 12.5, "where": "exhaust"}, note="hissed", by="Oona"))
    assert book.tests(NAME) == (kept,)
    assert book.one_entry(EngineTest, kept.id) == kept
    assert (kept.data, kept.note, kept.by) == ({"loss": 12.5, "where": "exhaust"}, "hissed", "Oona")


def test_a_cause_found_comes_back_as_it_was_written(book):
    kept = book.accept_cause(loose_stand(book, valves=(Valve("I", 1), Valve("E", 1))))
    assert book.accepted_causes(NAME) == (kept,)
    assert book.one_entry(AcceptedCause, kept.id) == kept
    assert kept.amount_um == 80


def test_a_correction_stands_in_its_place_and_the_old_one_stays_to_be_seen(book):
    first = book.add_test(leak_down(book))
    second = book.add_test(
        replace(first, id=None, at=None, seq=0, result="none", replaces=first.id, reason="the hose leaked")
    )
    assert book.tests(NAME) == (second,)
    assert book.tests(NAME, everything=True) == (first, second)
    gone = book.take_back_entry(EngineTest, second.id, "never done")
    assert book.tests(NAME) == ()
    assert gone.withdrawn
    with pytest.raises(InputError, match="was corrected already"):
        book.take_back_entry(EngineTest, second.id, "again")


def test_sent_twice_it_is_kept_once(book):
    one = loose_stand(book, id=new_id())
    assert book.accept_cause(one) == book.accept_cause(one)
    assert len(book.accepted_causes(NAME, everything=True)) == 1


@pytest.mark.parametrize("write", ["test", "cause"])
def test_whatever_is_asked_of_the_book_is_known_to_have_changed(book, write):
    before = book.stamp()
    if write == "test":
        kept = book.add_test(leak_down(book))
        after = book.stamp()
        book.take_back_entry(EngineTest, kept.id, "slip")
    else:
        kept = book.accept_cause(loose_stand(book))
        after = book.stamp()
        book.take_back_entry(AcceptedCause, kept.id, "slip")
    assert len({before, after, book.stamp()}) == 3


def test_another_engines_visit_is_refused(book):
    other = book.add_engine("Other", book.engine(NAME).file.toml)
    visit = book.open_visit("Other", visit_on())
    with pytest.raises(InputError, match="is another engine's; nothing was written"):
        book.add_test(leak_down(book, visit_id=visit.id))
    with pytest.raises(InputError, match="is another engine's; nothing was written"):
        book.accept_cause(loose_stand(book, visit_id=visit.id))
    assert book.tests(other.name) == ()


def test_an_id_that_is_not_there_is_said(book):
    missing = new_id()
    with pytest.raises(InputError, match=f"this book has no test with the id {missing}"):
        book.one_entry(EngineTest, missing)
    with pytest.raises(InputError, match=f"this book has no accepted cause with the id {missing}"):
        book.take_back_entry(AcceptedCause, missing, "why")
