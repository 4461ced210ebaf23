"""What is written once and lasts: checked when it is made, corrected by rows that replace, sent twice without harm."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest
from tests.logbook.shelf import NAME, NOON_TEXT, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.lasting import AcceptedCause, EngineTest, Fitment, Instrument, MeterReading, Work
from coldlash.logbook.records import new_id

DAY = date(2024, 5, 4)
ID = "00000000-0000-4000-8000-000000000001"


def bad(record, match, /, **values):
    with pytest.raises(InputError, match=match):
        record(**values)


def test_an_instrument_says_what_is_missing_or_wrong():
    good = {"vehicle_id": ID, "how": "replaced", "unit": "km", "day": DAY}
    Instrument(**good)
    bad(Instrument, "instrument: how", **good | {"how": "lost"})
    bad(Instrument, "instrument: unit", **good | {"unit": "furlong"})
    bad(Instrument, "instrument: digits", **good, digits=2)
    bad(Instrument, "give the day on which it was replaced", **good | {"day": None})
    bad(Instrument, "instrument: reading", **good, reading=-1)
    bad(Instrument, "last reading of the old one", **good, old_reading=-1)
    bad(Instrument, "the first one has none before it", **good | {"how": "first"}, old_reading=5)


def test_a_meter_reading_and_a_fitment_say_what_is_missing_or_wrong():
    bad(
        MeterReading,
        "meter reading: turned over",
        vehicle_id=ID,
        day=DAY,
        reading=1,
        unit="km",
        turned_over=-1,
    )
    bad(
        MeterReading,
        "visit id: 'x' is not a UUID",
        vehicle_id=ID,
        day=DAY,
        reading=1,
        unit="km",
        visit_id="x",
    )
    bad(Fitment, "give the day on which the engine was taken out", engine_id=ID)
    bad(
        Fitment,
        "give the meter's reading and its unit together",
        engine_id=ID,
        vehicle_id=ID,
        meter_reading=5,
    )
    bad(Fitment, "fitment: distance", engine_id=ID, vehicle_id=ID, distance_m=-5)


def test_work_tests_and_causes_say_what_is_missing_or_wrong():
    bad(Work, "work: kind", engine_id=ID, day=DAY, kind="kicked", part="seat")
    bad(Work, "work: part", engine_id=ID, day=DAY, kind="ground", part="wheel")
    bad(Work, "work: cylinder", engine_id=ID, day=DAY, kind="ground", part="seat", cylinders=(0,))
    bad(Work, "are not valves, like E3", engine_id=ID, day=DAY, kind="ground", part="seat", valves=("E3",))
    bad(Work, "work: distance", engine_id=ID, day=DAY, kind="ground", part="seat", distance_m=-1)
    bad(EngineTest, "test: kind: is empty", engine_id=ID, day=DAY, kind=" ")
    bad(EngineTest, "61 characters are too many; 60 is the most", engine_id=ID, day=DAY, kind="x" * 61)
    bad(EngineTest, "can't be kept as JSON", engine_id=ID, day=DAY, kind="compression", data={"a": math.nan})
    bad(AcceptedCause, "accepted cause: direction", engine_id=ID, day=DAY, cause="x", direction="up")
    bad(
        AcceptedCause,
        "accepted cause: amount",
        engine_id=ID,
        day=DAY,
        cause="x",
        direction="looser",
        amount_um=-1,
    )


def test_a_correction_needs_a_reason_and_a_withdrawal_something_to_take_back():
    bad(Work, "a correction needs a reason", engine_id=ID, day=DAY, kind="ground", part="seat", replaces=ID)
    bad(
        Work,
        "must name the entry it takes back",
        engine_id=ID,
        day=DAY,
        kind="ground",
        part="seat",
        withdrawn=True,
    )


@pytest.fixture
def engine(book):
    return book.engine(NAME)


def ground(engine, **more):
    return Work(engine_id=engine.id, day=DAY, kind="ground", part="seat", valves=(Valve("E", 3),), **more)


def test_everything_comes_out_as_it_went_in(book, engine):
    visit = book.open_visit(NAME, visit_on())
    common = {"note": "雨", "by": "Ann", "device": "phone", "id": new_id()}
    place = {"engine_id": engine.id, "visit_id": visit.id, "day": DAY, "distance_m": 5, "cylinders": (1, 2)}
    kept = book.add_work(Work(**place, **common, valves=(Valve("E", 3),), kind="ground", part="seat"))
    assert replace(kept, seq=0) == Work(
        **place, **common, valves=(Valve("E", 3),), kind="ground", part="seat", at=NOON_TEXT
    )
    data = {"E3": 12.5, "scale": "percent", "parts": [1, 2], "cold": True}
    test = book.add_test(EngineTest(**place, kind="leak_down", data=data, result="low"))
    assert (dict(test.data), test.result) == (data, "low")
    cause = book.accept_cause(
        AcceptedCause(**place, cause="shared_lobe_wear", direction="looser", amount_um=60)
    )
    assert book.accepted_causes(NAME) == (cause,)
    assert book.tests(NAME) == (test,)
    assert book.work() == book.work(NAME) == (kept,)


def test_sent_twice_it_stands_once_and_another_content_is_refused(book, engine):
    entry = ground(engine, id=new_id())
    assert book.add_work(entry) == book.add_work(entry)
    assert len(book.work(NAME, everything=True)) == 1
    with pytest.raises(
        InputError, match="already belongs to another work; nothing was changed; make a new id"
    ):
        book.add_work(replace(entry, note="other"))


def test_a_correction_stands_in_place_of_the_old_entry_which_stays_to_be_seen(book, engine):
    first = book.add_work(ground(engine))
    second = book.add_work(
        ground(engine, replaces=first.id, reason="it was the other seat", note="E3 after all")
    )
    assert book.work(NAME) == (second,)
    assert book.work(NAME, everything=True) == (first, second)
    with pytest.raises(
        InputError, match=r"was corrected already \(2024-05-04T12:00:00.000Z\); nothing was written"
    ):
        book.add_work(ground(engine, replaces=first.id, reason="again"))
    gone = book.take_back_entry(Work, second.id, "not this engine")
    assert gone.withdrawn
    assert book.work(NAME) == ()
    assert len(book.work(NAME, everything=True)) == 3


def test_only_what_is_there_and_the_engines_own_can_be_corrected(book, engine):
    other = book.add_engine("Other", "toml")
    first = book.add_work(ground(engine))
    with pytest.raises(InputError, match=f"there is no work {ID} to correct; nothing was written"):
        book.add_work(ground(engine, replaces=ID, reason="x"))
    with pytest.raises(InputError, match="that work is another engine's; nothing was written"):
        book.add_work(ground(other, replaces=first.id, reason="x"))
    with pytest.raises(InputError, match=f"this book has no work with the id {ID}"):
        book.take_back_entry(Work, ID, "x")


def test_work_at_a_visit_of_another_engine_is_refused(book, engine):
    other = book.add_engine("Other", "toml")
    visit = book.open_visit(NAME, visit_on())
    with pytest.raises(InputError, match=f"the visit {visit.id} is another engine's; nothing was written"):
        book.add_work(ground(other, visit_id=visit.id))
    with pytest.raises(InputError, match="this book has no engine"):
        book.add_work(replace(ground(engine), engine_id=ID))
