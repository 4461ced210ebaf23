"""Visits and readings: nothing that was written is ever lost, altered or doubled."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.logbook.shelf import ENGINE_TOML, NAME, NOON_TEXT, found, open_book, reading, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import BookError, InputError, ReadingConflictError
from coldlash.logbook.records import VISIT_FIELDS, NewReading, PastVisit, new_id
from coldlash.logbook.store import Book

ONE = "00000000-0000-4000-8000-000000000001"
TWO = "00000000-0000-4000-8000-000000000002"
THREE = "00000000-0000-4000-8000-000000000003"
NOWHERE = "00000000-0000-4000-8000-000000000099"
E3 = Valve("E", 3)
LABEL = r"the visit of 2024-05-04 at 84210 km"


@pytest.fixture
def visit_id(book: Book) -> str:
    """An open visit."""
    return book.open_visit(NAME, visit_on()).id


# --- opening, closing, discarding ---


def test_a_visit_keeps_everything_it_was_opened_with(book, path):
    new = visit_on(
        km=84_210.5,
        engine_temp_mc=18_500,
        air_temp_mc=-2_000,
        meter_reading=52_325_500,
        meter_unit="mile",
        by="Ann",
        blades_um=(50, 100, 150),
        plan='{"by":"fewest"}',
        place="ready",
        note="regen 雨",
        id=ONE,
        at="2024-05-04T10:00:00+02:00",
    )
    opened = book.open_visit(NAME, new)
    with open_book(path) as again:
        assert again.visit(ONE) == opened
    for name in VISIT_FIELDS:
        if name != "engine_file_id":
            assert getattr(opened, name) == getattr(new, name)
    assert (opened.state, opened.place, opened.opened_at) == ("draft", "ready", "2024-05-04T08:00:00.000Z")
    assert (opened.closed_at, opened.readings, opened.history, opened.changes) == (None, {}, (), ())


def test_the_place_in_a_draft_is_kept_for_coming_back(book, visit_id, path):
    book.set_place(visit_id, '{"stop":2,"valve":"E3"}')
    with open_book(path) as again:
        assert again.draft_visits(NAME)[0].place == '{"stop":2,"valve":"E3"}'
        assert again.draft_visits() == again.draft_visits(NAME)
    book.close_visit(visit_id)
    with pytest.raises(InputError, match=f"{LABEL} is closed; only a draft has a place to come back to"):
        book.set_place(visit_id, "x")


@pytest.mark.parametrize("call", ["visit", "close_visit", "discard_visit"])
def test_an_unknown_visit_is_said(book, call):
    with pytest.raises(InputError, match=f"this book has no visit with the id {NOWHERE}"):
        getattr(book, call)(NOWHERE)


def test_an_unknown_visit_is_said_when_writing_in_it_too(book):
    message = f"this book has no visit with the id {NOWHERE}"
    with pytest.raises(InputError, match=message):
        book.record(NOWHERE, found())
    with pytest.raises(InputError, match=message):
        book.set_place(NOWHERE, "x")
    with pytest.raises(InputError, match=message):
        book.change_visit(NOWHERE, {"note": "x"})
    with pytest.raises(InputError, match=f"this book has no reading with the id {NOWHERE}"):
        book.withdraw(NOWHERE)
    with pytest.raises(InputError, match="visit id: 'x' is not a UUID"):
        book.visit("x")


def test_a_day_and_a_distance_make_one_visit(book, visit_id):
    message = "this engine already has a visit on 2024-05-04 at 84210 km; a day and a distance make one visit"
    with pytest.raises(InputError, match=message):
        book.open_visit(NAME, visit_on())
    other = book.open_visit(NAME, visit_on(km=84_211))
    with pytest.raises(InputError, match=message):
        book.change_visit(other.id, {"distance_m": 84_210_000})
    book.add_engine("Pump", ENGINE_TOML)
    book.open_visit("Pump", visit_on())  # another engine may
    book.discard_visit(visit_id)
    book.open_visit(NAME, visit_on())  # and so may this one, once the other is discarded


def test_visits_come_by_day_and_distance_whenever_they_were_written(book):
    for day, km in (
        ("2024-05-04", 84_210),
        ("2001-02-03", 20_000),
        ("2024-05-04", 84_200),
        ("2001-02-03", 30_000),
    ):
        book.close_visit(book.open_visit(NAME, visit_on(day, km)).id)
    assert [(v.day.isoformat(), v.distance_m // 1000) for v in book.visits(NAME)] == [
        ("2001-02-03", 20_000),
        ("2001-02-03", 30_000),
        ("2024-05-04", 84_200),
        ("2024-05-04", 84_210),
    ]


def test_visits_are_listed_by_state_and_engine(book, visit_id):
    book.add_engine("Pump", ENGINE_TOML)
    closed = book.close_visit(book.open_visit("Pump", visit_on()).id)
    gone = book.discard_visit(book.open_visit("Pump", visit_on(km=1)).id)
    assert book.visits() == (closed,)
    assert book.visits(NAME) == ()
    assert book.visits("Pump", None) == (gone, closed)
    assert book.visits(state="discarded") == (gone,)
    assert [visit.id for visit in book.draft_visits()] == [visit_id]
    with pytest.raises(InputError, match="state: 'open' is not one of draft, closed, discarded"):
        book.visits(state="open")


def test_closing_twice_keeps_the_first_time(book, visit_id):
    first = book.close_visit(visit_id, at="2024-05-04T11:00:00Z")
    assert (first.state, first.closed_at) == ("closed", "2024-05-04T11:00:00.000Z")
    assert book.close_visit(visit_id, at="2024-06-04T11:00:00Z") == first


def test_a_discarded_visit_stays_in_the_book_and_takes_nothing_more(book, visit_id):
    book.record(visit_id, found())
    gone = book.discard_visit(visit_id, by="Ann")
    assert (gone.state, gone.history[0].go_um) == ("discarded", 100)
    (change,) = gone.changes
    assert (change.field, change.old, change.new, change.by) == ("state", "draft", "discarded", "Ann")
    assert book.discard_visit(visit_id) == gone
    with pytest.raises(InputError, match=f"{LABEL} was discarded; it can't be closed"):
        book.close_visit(visit_id)
    with pytest.raises(InputError, match=f"{LABEL} was discarded; nothing can be changed in it"):
        book.change_visit(visit_id, {"note": "x"})
    with pytest.raises(InputError, match=f"{LABEL} was discarded; E4 found was not written"):
        book.record(visit_id, found("E4"))


def test_discarding_a_closed_visit_needs_a_reason(book, visit_id):
    book.close_visit(visit_id)
    with pytest.raises(InputError, match=f"{LABEL} is closed; a change needs a reason"):
        book.discard_visit(visit_id, reason="  ")
    gone = book.discard_visit(visit_id, reason="typed for the wrong engine")
    assert gone.changes[-1].reason == "typed for the wrong engine"
    assert gone.closed_at == NOON_TEXT


# --- readings in a draft ---


def test_readings_come_back_by_valve_and_step(book, visit_id, path):
    said = [
        book.record(
            visit_id, found(feel="drag", spin="free", note="é", by="Ann", device="phone", at=NOON_TEXT)
        ),
        book.record(visit_id, reading("E3", "set", blade_um=150, feel="drag")),
        book.record(visit_id, reading("E3", "left", go_um=150, nogo_um=200)),
        book.record(visit_id, found("I1", 0, 50)),
        book.record(visit_id, found("I2", None, None, note="nut seized")),
    ]
    with open_book(path) as again:
        visit = again.visit(visit_id)
    assert visit.history == tuple(said)
    assert visit.valves == (Valve("I", 1), Valve("I", 2), E3)
    assert visit.readings == {(r.valve, r.step): r for r in said}
    assert visit.reading(E3, "left") == said[2]
    assert visit.reading(Valve("E", 4), "found") is None
    assert [r.measured for r in said] == [True, False, True, True, False]
    assert said[0].words == "drag on 0.10 mm, 0.15 mm does not go"
    assert [r.seq for r in said] == sorted(r.seq for r in said)


def test_a_correction_replaces_and_the_old_value_stays_visible(book, visit_id):
    first = book.record(visit_id, found())
    second = book.record(visit_id, found(go=50, nogo=100, replaces=first.id))
    third = book.record(visit_id, found(go=150, nogo=200, replaces=second.id, reason="read the wrong blade"))
    visit = book.visit(visit_id)
    assert visit.reading(E3, "found") == third
    assert visit.story(E3, "found") == (first, second, third)
    assert third.reason == "read the wrong blade"
    assert visit.as_first_written().reading(E3, "found") == first


def test_a_second_reading_that_replaces_nothing_is_a_conflict_that_names_both(book, visit_id):
    first = book.record(visit_id, found(by="Ann", device="phone"))
    with pytest.raises(ReadingConflictError) as caught:
        book.record(visit_id, found(go=50, nogo=100, by="Ben", device="tablet"))
    error = caught.value
    assert str(error) == (
        "the visit of 2024-05-04 at 84210 km, E3 found: the book has 0.10 mm goes, 0.15 mm does not "
        f"(Ann, phone, {NOON_TEXT}), offered was 0.05 mm goes, 0.10 mm does not (Ben, tablet); nothing was written; "
        "look at both and correct the one that stands, if it is the wrong one"
    )
    assert (error.valve, error.step, error.standing_id, error.exit_code) == ("E3", "found", first.id, 2)
    assert book.visit(visit_id).history == (first,)


def test_a_correction_of_a_reading_that_was_corrected_meanwhile_is_a_conflict(book, visit_id):
    first = book.record(visit_id, found())
    second = book.record(visit_id, found(go=50, nogo=100, replaces=first.id))
    with pytest.raises(
        ReadingConflictError, match=r"the book has 0\.05 mm goes.*offered was 0\.20 mm goes"
    ) as caught:
        book.record(visit_id, found(go=200, nogo=250, replaces=first.id))
    assert caught.value.standing_id == second.id


def test_an_unsigned_conflict_says_so(book, visit_id):
    book.record(visit_id, found())
    with pytest.raises(
        ReadingConflictError, match=r"offered was withdrawn \(unsigned\)|offered was .* \(unsigned\)"
    ):
        book.record(visit_id, found(go=50, nogo=100))


def test_a_correction_of_nothing_is_refused(book, visit_id):
    message = f"{LABEL}, E3 found: there is no reading {NOWHERE} to correct; nothing was written"
    with pytest.raises(InputError, match=message):
        book.record(visit_id, found(replaces=NOWHERE))
    book.record(visit_id, found())
    with pytest.raises(InputError, match=message):
        book.record(visit_id, found(replaces=NOWHERE))


def test_a_correction_stays_with_its_valve_and_step(book, visit_id):
    first = book.record(visit_id, found())
    with pytest.raises(InputError, match=f"E4 found: there is no reading {first.id} to correct"):
        book.record(visit_id, found("E4", replaces=first.id))
    with pytest.raises(InputError, match=f"E3 left: there is no reading {first.id} to correct"):
        book.record(visit_id, reading("E3", "left", go_um=50, replaces=first.id))


def test_a_reason_belongs_to_a_correction(book, visit_id):
    with pytest.raises(
        InputError, match="E3 found: a reason belongs to a correction; name the reading it replaces"
    ):
        book.record(visit_id, found(reason="because"))


def test_an_amendment_needs_no_open_visit(book, visit_id):
    with pytest.raises(
        InputError, match=f"{LABEL} is still open; write E3 found in it, no amendment is needed"
    ):
        book.amend(visit_id, found(reason="because"))


# --- taking back ---


def test_a_withdrawn_reading_no_longer_stands_but_stays_visible(book, visit_id):
    first = book.record(visit_id, found())
    gone = book.withdraw(first.id, by="Ann", device="phone")
    visit = book.visit(visit_id)
    assert visit.readings == {}
    assert visit.valves == ()
    assert visit.story(E3, "found") == (first, gone)
    assert (gone.withdrawn, gone.replaces, gone.by, gone.device) == (True, first.id, "Ann", "phone")


def test_after_a_withdrawal_a_new_reading_may_be_written(book, visit_id):
    first = book.record(visit_id, found())
    gone = book.withdraw(first.id)
    again = book.record(visit_id, found(go=50, nogo=100, id=ONE))
    assert again.replaces == gone.id
    assert book.record(visit_id, found(go=50, nogo=100, id=ONE)) == again  # sent again
    assert book.visit(visit_id).reading(E3, "found") == again


def test_what_was_withdrawn_or_replaced_cannot_be_withdrawn_again(book, visit_id):
    first = book.record(visit_id, found())
    second = book.record(visit_id, found(go=50, nogo=100, replaces=first.id))
    with pytest.raises(ReadingConflictError, match=r"the book has 0\.05 mm goes.*offered was withdrawn"):
        book.withdraw(first.id)
    book.withdraw(second.id)
    with pytest.raises(ReadingConflictError, match="the book has withdrawn"):
        book.withdraw(second.id)


def test_a_withdrawal_sent_again_changes_nothing(book, visit_id):
    first = book.record(visit_id, found())
    gone = book.withdraw(first.id, id=ONE)
    assert book.withdraw(first.id, id=ONE) == gone
    assert len(book.visit(visit_id).history) == 2


# --- sent again ---


def test_the_same_reading_sent_again_changes_nothing_even_after_closing(book, visit_id):
    new = found(id=ONE, at="2024-05-04T10:00:00Z", by="Ann")
    first = book.record(visit_id, new)
    assert book.record(visit_id, new) == first
    book.record(visit_id, found(go=50, nogo=100, replaces=ONE))
    assert book.record(visit_id, new) == first
    book.close_visit(visit_id)
    assert book.record(visit_id, new) == first
    assert len(book.visit(visit_id).history) == 2


@pytest.mark.parametrize(
    "other",
    [
        found(go=50, id=ONE),
        found("E4", id=ONE),
        found(id=ONE, by="Ben"),
        found(id=ONE, note="x"),
        found(id=ONE, at="2024-05-04T10:00:01Z"),
        found(id=ONE, replaces=TWO),
    ],
)
def test_the_same_id_with_another_reading_is_refused(book, visit_id, other):
    book.record(visit_id, found(id=ONE))
    with pytest.raises(
        InputError, match=rf"the id {ONE} already belongs to a reading \(E3 found: 0\.10 mm goes"
    ):
        book.record(visit_id, other)
    assert len(book.visit(visit_id).history) == 1


def test_the_same_reading_in_another_visit_is_refused(book, visit_id):
    book.record(visit_id, found(id=ONE))
    other = book.open_visit(NAME, visit_on(km=1)).id
    with pytest.raises(InputError, match=f"the id {ONE} already belongs to a reading"):
        book.record(other, found(id=ONE))


def test_the_same_visit_sent_again_changes_nothing_even_after_changes(book):
    new = visit_on(id=ONE, note="first", at="2024-05-04T10:00:00Z")
    first = book.open_visit(NAME, new)
    assert book.open_visit(NAME, new) == first
    book.change_visit(ONE, {"note": "second", "day": date(2024, 5, 5)})
    book.close_visit(ONE)
    assert book.open_visit(NAME, new) == book.visit(ONE)
    assert len(book.visits(NAME, None)) == 1


@pytest.mark.parametrize(
    "more",
    [
        {"note": "other"},
        {"km": 1},
        {"at": "2024-05-04T10:00:00Z"},
        {"blades_um": (50,)},
        {"engine_file_id": TWO},
    ],
)
def test_the_same_id_with_another_visit_is_refused(book, more):
    book.open_visit(NAME, visit_on(id=ONE))
    with pytest.raises(InputError, match=f"the id {ONE} already belongs to {LABEL}, with other content"):
        book.open_visit(NAME, visit_on(id=ONE, **more))
    book.add_engine("Pump", ENGINE_TOML)
    with pytest.raises(InputError, match=f"the id {ONE} already belongs to {LABEL}, with other content"):
        book.open_visit("Pump", visit_on(id=ONE))


# --- a closed visit ---


def test_a_closed_visit_takes_amendments_with_a_reason_only(book, visit_id):
    first = book.record(visit_id, found())
    book.close_visit(visit_id)
    with pytest.raises(
        InputError, match=f"{LABEL} is closed; E3 found was not written; correct it by an amendment"
    ):
        book.record(visit_id, found(replaces=first.id, reason="because"))
    with pytest.raises(InputError, match=f"{LABEL} is closed; the amendment of E3 found needs a reason"):
        book.amend(visit_id, found(go=50, replaces=first.id, reason="  "))
    with pytest.raises(InputError, match="the amendment of E3 found needs a reason"):
        book.withdraw(first.id)
    with pytest.raises(ReadingConflictError):
        book.amend(visit_id, found(go=50, reason="did not see the first"))
    second = book.amend(visit_id, found(go=50, replaces=first.id, reason="photo shows 0.05"))
    visit = book.visit(visit_id)
    assert visit.story(E3, "found") == (first, second)
    assert visit.reading(E3, "found") == second
    assert visit.state == "closed"


def test_a_closed_visit_can_be_completed(book, visit_id):
    book.close_visit(visit_id)
    late = book.amend(visit_id, found("I4", reason="found on the back of the sheet"))
    visit = book.visit(visit_id)
    assert visit.reading(Valve("I", 4), "found") == late
    assert visit.as_first_written().readings == {}


def test_a_reading_of_a_closed_visit_can_be_withdrawn_with_a_reason(book, visit_id):
    first = book.record(visit_id, found())
    book.close_visit(visit_id)
    book.withdraw(first.id, reason="was E4")
    visit = book.visit(visit_id)
    assert visit.reading(E3, "found") is None
    assert visit.as_first_written().reading(E3, "found") == first


# --- fields of a visit ---


def test_every_change_of_a_visits_fields_keeps_the_old_value(book, visit_id):
    changes = {
        "day": date(2024, 5, 3),
        "distance_m": 84_000_000,
        "engine_temp_mc": 20_000,
        "air_temp_mc": None,
        "meter_reading": 84_000_000,
        "meter_unit": "km",
        "by": "Ann",
        "blades_um": (50, 100),
        "plan": "{}",
        "note": "雨",
    }
    before = book.visit(visit_id)
    after = book.change_visit(visit_id, changes, by="Ann")
    for name, value in changes.items():
        assert getattr(after, name) == value
    assert {change.field: (change.old, change.new) for change in after.changes} == {
        name: (getattr(before, name), value)
        for name, value in changes.items()
        if value != getattr(before, name)
    }
    assert all(change.at == NOON_TEXT and change.by == "Ann" for change in after.changes)
    first = after.as_first_written()
    assert {name: getattr(first, name) for name in VISIT_FIELDS} == {
        name: getattr(before, name) for name in VISIT_FIELDS
    }


def test_a_change_to_what_it_is_already_leaves_no_trace(book, visit_id):
    assert book.change_visit(visit_id, {"note": ""}).changes == ()
    assert book.change_visit(visit_id, {}).changes == ()


def test_a_closed_visits_fields_change_with_a_reason_only(book, visit_id):
    book.close_visit(visit_id)
    with pytest.raises(InputError, match=f"{LABEL} is closed; a change needs a reason"):
        book.change_visit(visit_id, {"engine_temp_mc": 20_000})
    after = book.change_visit(visit_id, {"engine_temp_mc": 20_000}, reason="thermometer read late")
    assert after.engine_temp_mc == 20_000
    assert after.changes[0].reason == "thermometer read late"


def test_a_change_made_in_ignorance_of_another_is_refused(book, visit_id):
    book.change_visit(visit_id, {"note": "Ann's"})
    with pytest.raises(BookError, match=f"{LABEL}: note is now Ann's, not empty; it was changed elsewhere"):
        book.change_visit(visit_id, {"note": "Ben's"}, was={"note": ""})
    assert book.change_visit(visit_id, {"note": "Ben's"}, was={"note": "Ann's"}).note == "Ben's"


def test_a_change_sent_again_changes_nothing(book, visit_id):
    first = book.change_visit(visit_id, {"note": "a", "by": "Ann"}, id=ONE)
    book.change_visit(visit_id, {"note": "b"})
    again = book.change_visit(visit_id, {"note": "a", "by": "Ann"}, id=ONE)
    assert again.note == "b"
    assert len(again.changes) == len(first.changes) + 1
    with pytest.raises(InputError, match=f"the id {ONE} already belongs to a change of this visit"):
        book.change_visit(visit_id, {"note": "c"}, id=ONE)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"colour": "red"}, "a visit has no field 'colour' to change"),
        ({"state": "closed"}, "a visit has no field 'state' to change"),
        ({"distance_m": -1}, "distance: -1 m is outside"),
        ({"meter_unit": "km"}, "meter: give the reading and its unit together, or neither"),
        ({"engine_file_id": NOWHERE}, "is not a version of this engine's file"),
        ({"engine_file_id": None}, "engine file id: None is not a version of this engine's file"),
    ],
)
def test_a_change_that_cannot_be_meant_is_refused_whole(book, visit_id, changes, message):
    with pytest.raises(InputError, match=message):
        book.change_visit(visit_id, {"note": "x"} | changes)
    assert book.visit(visit_id).note == ""


def test_a_visit_can_be_moved_to_a_later_version_of_its_engines_file(book, visit_id):
    later = book.new_engine_file(NAME, ENGINE_TOML + "#").id
    assert book.change_visit(visit_id, {"engine_file_id": later}).engine_file_id == later


# --- whole visits at once ---


def past(km: float, *readings: NewReading, **more: object) -> PastVisit:
    return PastVisit(visit=visit_on("2010-01-01", km, **more), readings=readings)


def test_past_visits_come_in_closed_all_or_none(book):
    ids = book.add_past_visits(NAME, [past(1, found(), reading("E3", "set", blade_um=150)), past(2)])
    one, two = book.visits(NAME)
    assert (one.id, two.id) == ids
    assert (one.state, one.closed_at, len(one.history)) == ("closed", NOON_TEXT, 2)
    with pytest.raises(InputError, match="already has a visit on 2010-01-01 at 2 km"):
        book.add_past_visits(NAME, [past(3), past(2)])
    with pytest.raises(InputError, match="already has a visit on 2010-01-01 at 4 km"):
        book.add_past_visits(NAME, [past(4), past(4)])
    assert len(book.visits(NAME, None)) == 2
    assert book.add_past_visits(NAME, []) == ()


def test_past_visits_keep_their_own_times(book):
    new = PastVisit(
        visit=visit_on(at="2010-01-01T10:00:00Z"),
        readings=(found(at="2010-01-01T10:30:00Z"), found("E4")),
        closed_at="2010-01-01T11:00:00Z",
    )
    book.add_past_visits(NAME, [new], at="2020-01-01T00:00:00Z")
    (visit,) = book.visits(NAME)
    assert visit.opened_at == visit.history[1].at == "2010-01-01T10:00:00.000Z"
    assert visit.history[0].at == "2010-01-01T10:30:00.000Z"
    assert visit.closed_at == "2010-01-01T11:00:00.000Z"


def test_past_visits_sent_again_change_nothing(book):
    new = [past(1, found(id=THREE), id=ONE), past(2, found("E4"), id=TWO)]
    assert book.add_past_visits(NAME, new) == (ONE, TWO) == book.add_past_visits(NAME, new)
    assert len(book.visits(NAME)) == 2
    for other in (past(1, found(go=50, id=THREE), id=ONE), past(1, id=ONE), past(1, found(id=TWO), id=ONE)):
        with pytest.raises(
            InputError, match=f"the id {ONE} already belongs to the visit of 2010-01-01 at 1 km"
        ):
            book.add_past_visits(NAME, [other])


def test_two_past_visits_with_one_id_are_refused(book):
    with pytest.raises(
        InputError, match="two of these visits have the same id; nothing was added; make a new id"
    ):
        book.add_past_visits(NAME, [past(1, id=ONE), past(2, id=ONE)])
    assert book.visits(NAME, None) == ()


def test_a_past_visit_names_a_version_of_its_own_engines_file(book):
    first = book.engine(NAME).file.id
    book.new_engine_file(NAME, ENGINE_TOML + "#")
    book.add_past_visits(NAME, [past(1, engine_file_id=first), past(2)])
    assert [v.engine_file_id for v in book.visits(NAME)] == [f.id for f in book.engine_files(NAME)]
    with pytest.raises(InputError, match="is not a version of this engine's file"):
        book.add_past_visits(NAME, [past(3, engine_file_id=NOWHERE)])


# --- the order of things ---


def test_the_books_order_does_not_hang_on_clocks(path):
    moments = iter([datetime(2024, 5, 4, hour, tzinfo=UTC) for hour in (12, 11, 3, 2, 1)])
    with Book.open(path, now=lambda: next(moments)) as book:
        visit = book.open_visit(NAME, visit_on()).id
        first = book.record(visit, found())
        second = book.record(visit, found(go=50, replaces=first.id))
        third = book.record(visit, found(go=150, nogo=200, replaces=second.id))
        assert first.at > second.at > third.at
        assert book.visit(visit).story(E3, "found") == (first, second, third)
        assert book.visit(visit).reading(E3, "found") == third


VALVES = st.sampled_from(["I1", "E1", "I2", "E3"])
STEPS = st.sampled_from(["found", "set", "left"])
ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(["new", "correct", "stale", "withdraw", "again"]), VALVES, STEPS, st.integers(1, 500)
    ),
    max_size=25,
)


@settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(ACTIONS)
def test_whatever_is_done_in_a_draft_exactly_the_last_accepted_value_stands(book, actions):
    """Against a dictionary as oracle: what stands, and that every accepted row is still there."""
    visit = book.open_visit(NAME, visit_on()).id
    standing: dict[tuple[str, str], str] = {}
    written: list[str] = []
    sent: list[NewReading] = []
    value: dict[str, int] = {}

    def make(valve: str, step: str, um: int, **more: object) -> NewReading:
        return reading(valve, step, **({"blade_um": um} if step == "set" else {"go_um": um}), **more)

    for what, valve, step, um in actions:
        key = (valve, step)
        if what == "again" and sent:
            before = len(book.visit(visit).history)
            book.record(visit, sent[um % len(sent)])
            assert len(book.visit(visit).history) == before
        elif what == "withdraw" and key in standing:
            gone = book.withdraw(standing.pop(key))
            written.append(gone.id)
        elif what == "correct" and key in standing:
            kept = book.record(visit, make(valve, step, um, replaces=standing[key]))
            standing[key], value[kept.id] = kept.id, um
            written.append(kept.id)
        elif what in ("new", "stale"):
            new = make(valve, step, um, id=new_id())
            if key in standing:
                with pytest.raises(ReadingConflictError):
                    book.record(visit, new)
            else:
                kept = book.record(visit, new)
                standing[key], value[kept.id] = kept.id, um
                written.append(kept.id)
                sent.append(new)
    kept_visit = book.visit(visit)
    assert {(str(v), s): r.id for (v, s), r in kept_visit.readings.items()} == standing
    assert [r.id for r in kept_visit.history] == written
    assert all((r.blade_um or r.go_um) == value[r.id] for r in kept_visit.history if not r.withdrawn)
    book.discard_visit(visit)


def test_recent_visits_are_the_last_closed_ones_of_each_engine_and_every_draft(book):
    book.add_engine("Second", "toml")
    for engine, days in ((NAME, ("2021-01-01", "2022-01-01", "2023-01-01")), ("Second", ("2020-01-01",))):
        for number, day in enumerate(days):
            book.close_visit(book.open_visit(engine, visit_on(day, 100 + number)).id)
    draft = book.open_visit("Second", visit_on("2019-01-01", 5))
    book.discard_visit(book.open_visit(NAME, visit_on("2024-01-01", 900)).id)
    heads = {
        engine.name: [h for h in book.recent_visits(2) if h.engine_id == engine.id]
        for engine in book.engines()
    }
    assert [(h.day.year, h.state, h.count) for h in heads[NAME]] == [(2022, "closed", 3), (2023, "closed", 3)]
    assert [(h.day.year, h.state, h.count) for h in heads["Second"]] == [
        (2019, "draft", 1),
        (2020, "closed", 1),
    ]
    assert heads["Second"][0].id == draft.id
    assert book.recent_visits(0) == (heads["Second"][0],)
