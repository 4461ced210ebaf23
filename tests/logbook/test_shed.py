"""What stands in the shed: settings, vehicles, engines, blades."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.logbook.shelf import ENGINE_TOML, NAME, NOON_TEXT, open_book, visit_on

from coldlash.errors import InputError
from coldlash.logbook.records import NAME_MAX, name_key
from coldlash.logbook.store import Book

ONE = "00000000-0000-4000-8000-000000000001"
TWO = "00000000-0000-4000-8000-000000000002"


# --- settings ---


def test_settings_are_kept_changed_and_taken_out(book):
    book.set_setting("gap_unit", "in")
    book.set_setting("temperature", "C")
    book.set_setting("gap_unit", "mm")
    assert book.settings() == {"gap_unit": "mm", "temperature": "C"}
    book.set_setting("gap_unit", None)
    book.set_setting("never there", None)
    assert book.settings() == {"temperature": "C"}


@pytest.mark.parametrize(
    ("key", "value", "message"), [("", "x", "setting: is empty"), ("a", 5, "setting a: 5 is not")]
)
def test_a_setting_that_cannot_be_kept_is_refused(book, key, value, message):
    with pytest.raises(InputError, match=message):
        book.set_setting(key, value)


# --- vehicles ---


def test_vehicles_are_found_by_name_in_any_case_or_by_id(book):
    van = book.add_vehicle("Delivery van", meter="mile", meter_digits=5, note="grey")
    pump = book.add_vehicle("Bilge pump", meter="h")
    assert book.vehicle("delivery VAN") == book.vehicle(van.id) == van
    assert book.vehicles() == (pump, van)
    assert (van.meter, van.meter_digits, van.note) == ("mile", 5, "grey")


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"meter": "furlong"}, "meter: 'furlong' is not one of km, mile, h"),
        ({"meter_digits": 2}, "meter digits: 2 digits is outside 3 to 9"),
        ({"note": None}, "note: None is not text"),
        ({"id": "x"}, "vehicle id: 'x' is not a UUID"),
    ],
)
def test_a_vehicle_refuses_what_cannot_be_meant(book, more, message):
    with pytest.raises(InputError, match=message):
        book.add_vehicle("Van", **more)
    assert book.vehicles() == ()


def test_what_is_not_in_the_book_is_named_with_what_is(book):
    with pytest.raises(InputError, match="this book has no vehicle 'Van'; it has none yet"):
        book.vehicle("Van")
    book.add_vehicle("Tender")
    book.add_vehicle("Pump")
    with pytest.raises(InputError, match="this book has no vehicle 'Van'; it has Pump, Tender"):
        book.vehicle("Van")
    with pytest.raises(InputError, match=f"this book has no engine 'Van'; it has {NAME}"):
        book.engine("Van")
    with pytest.raises(InputError, match="this book has no blade set 'Box'; it has none yet"):
        book.blade_set("Box")


def test_names_are_unique_whatever_their_case(book):
    book.add_vehicle("Van")
    book.add_vehicle("Tender")
    with pytest.raises(InputError, match="this book already has a vehicle 'Van'; choose another name"):
        book.add_vehicle("VAN")
    with pytest.raises(InputError, match="this book already has a vehicle 'Van'; choose another name"):
        book.rename_vehicle("Tender", " van ")
    with pytest.raises(InputError, match=f"this book already has an engine '{NAME}'; choose another name"):
        book.add_engine(NAME.upper(), ENGINE_TOML)


def test_a_vehicle_may_change_the_case_of_its_own_name(book):
    book.add_vehicle("van")
    assert book.rename_vehicle("van", "Van").name == "Van"
    assert book.rename_vehicle("VAN", "Delivery van").name == "Delivery van"
    assert [vehicle.name for vehicle in book.vehicles()] == ["Delivery van"]


@settings(
    max_examples=30,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.text(min_size=1, max_size=NAME_MAX))
def test_a_name_in_any_script_comes_back_as_it_was_or_is_refused(book: Book, name: str):
    try:
        kept = book.add_vehicle(name)
    except InputError:
        return
    assert name_key(kept.name) == name_key(kept.name.strip())
    assert book.vehicle(name) == book.vehicle(kept.name) == kept


# --- sent again ---


def test_the_same_id_with_the_same_content_changes_nothing(book):
    first = book.add_vehicle("Van", meter_digits=5, id=ONE)
    assert book.add_vehicle("Van", meter_digits=5, id=ONE.upper()) == first
    box = book.add_blade_set("Box", (50, 100), id=ONE)
    assert book.add_blade_set("Box", (50, 100), id=ONE) == box
    engine = book.add_engine("Pump", ENGINE_TOML, {"a.csv": "0,0"}, vehicle="Van", id=ONE)
    assert book.add_engine("Pump", ENGINE_TOML, {"a.csv": "0,0"}, vehicle="Van", id=ONE) == engine
    file = book.new_engine_file("Pump", ENGINE_TOML + "#", id=TWO)
    assert book.new_engine_file("Pump", ENGINE_TOML + "#", id=TWO) == file
    assert len(book.engine_files("Pump")) == 2
    assert len(book.vehicles()) == len(book.blade_sets()) == 1


@pytest.mark.parametrize(
    ("again", "message"),
    [
        (
            lambda b: b.add_vehicle("Tender", id=ONE),
            f"the id {ONE} already belongs to vehicle 'Van'",
        ),
        (lambda b: b.add_blade_set("Box", (50,), id=ONE), "already belongs to blade set 'Box'"),
        (lambda b: b.add_engine("Pump", "other", id=ONE), "already belongs to engine 'Pump'"),
        (
            lambda b: b.new_engine_file("Pump", "other", id=TWO),
            "already belongs to version 2 of an engine file",
        ),
    ],
)
def test_the_same_id_with_other_content_is_refused(book, again, message):
    book.add_vehicle("Van", id=ONE)
    book.add_blade_set("Box", (50, 100), id=ONE)
    book.add_engine("Pump", ENGINE_TOML, id=ONE)
    book.new_engine_file("Pump", ENGINE_TOML + "#", id=TWO)
    with pytest.raises(
        InputError, match=f"{message}.*, with other content; nothing was changed; make a new id"
    ):
        again(book)


# --- engines and their files ---


def test_an_engine_keeps_its_file_and_lobe_tables_word_for_word(book):
    toml = 'name = "Пожарная 車"\r\n# comment\n'
    entry = book.add_engine("Tender", toml, {"b.csv": "0,0\n", "a.csv": "é"}, at="2020-01-01T00:00:00Z")
    assert entry == book.engine("tender") == book.engine(entry.id)
    assert (entry.file.toml, dict(entry.file.tables)) == (toml, {"a.csv": "é", "b.csv": "0,0\n"})
    assert (entry.file.version, entry.created, entry.file.since) == (1, *["2020-01-01T00:00:00.000Z"] * 2)


def test_a_visit_remembers_the_engine_file_it_was_made_with(book):
    first = book.engine(NAME).file
    visit = book.open_visit(NAME, visit_on())
    second = book.new_engine_file(NAME, ENGINE_TOML + "\n# ground lobes\n")
    assert (second.version, book.engine(NAME).file) == (2, second)
    assert book.visit(visit.id).engine_file_id == first.id
    assert book.open_visit(NAME, visit_on(km=85_000)).engine_file_id == second.id
    assert book.open_visit(NAME, visit_on(km=86_000, engine_file_id=first.id)).engine_file_id == first.id
    assert book.engine_files(NAME) == (first, second)


def test_the_same_file_again_makes_no_new_version(book):
    before = book.engine(NAME).file
    assert book.new_engine_file(NAME, ENGINE_TOML) == before
    assert book.engine_files(NAME) == (before,)


def test_a_file_of_another_engine_is_refused_for_a_visit(book):
    other = book.add_engine("Pump", ENGINE_TOML).file.id
    with pytest.raises(InputError, match=f"engine file id: '{other}' is not a version of this engine's file"):
        book.open_visit(NAME, visit_on(engine_file_id=other))


def test_an_engine_moves_between_vehicles(book):
    van, tender = book.add_vehicle("Van"), book.add_vehicle("Tender")
    assert book.add_engine("Spare", ENGINE_TOML, vehicle="van").vehicle_id == van.id
    assert book.fit_engine("Spare", "Tender").vehicle_id == tender.id
    assert book.fit_engine("Spare", None).vehicle_id is None
    with pytest.raises(InputError, match="this book has no vehicle 'Boat'"):
        book.fit_engine("Spare", "Boat")


def test_an_engine_is_renamed_with_all_it_has(book):
    visit = book.open_visit(NAME, visit_on())
    entry = book.rename_engine(NAME, "Old van")
    assert book.engine("Old van") == entry
    assert book.visits("old van", None) == (book.visit(visit.id),)


@pytest.mark.parametrize(
    ("toml", "tables", "message"),
    [
        (5, None, "engine file: 5 is not text"),
        ("a\0", None, "engine file: has a character that can't be kept"),
        ("", {"a.csv": "\0"}, "lobe table a.csv: has a character"),
        ("", {"x" * 201: ""}, "lobe table name: 201 characters are too many"),
    ],
)
def test_a_file_that_cannot_be_kept_is_refused(book, toml, tables, message):
    with pytest.raises(InputError, match=message):
        book.add_engine("Pump", toml, tables)


def test_without_a_clock_a_time_must_be_given(path):
    with Book.open(path) as book:
        with pytest.raises(InputError, match="at: no time was given and this book has no clock; give one"):
            book.add_engine("Pump", ENGINE_TOML)
        assert book.add_engine("Pump", ENGINE_TOML, at=NOON_TEXT).created == NOON_TEXT


def test_engines_come_by_name_each_with_its_current_file(book):
    book.add_engine("b", "1")
    book.add_engine("A", "2")
    book.new_engine_file("b", "3")
    assert [(e.name, e.file.toml, e.file.version) for e in book.engines()] == [
        ("A", "2", 1),
        ("b", "3", 2),
        (NAME, ENGINE_TOML, 1),
    ]


# --- blades ---


def test_blade_sets_are_kept_in_micrometres_with_the_unit_on_them(book, path):
    book.add_blade_set("Zöllig", (38, 51, 152), unit="in", stacks_of=2)
    book.add_blade_set("Box", [50, 100])
    with open_book(path) as again:
        box, inches = again.blade_sets()
    assert (box.name, box.unit, box.blades_um, box.stacks_of) == ("Box", "mm", (50, 100), 1)
    assert (inches.unit, inches.blades_um, inches.stacks_of) == ("in", (38, 51, 152), 2)


@pytest.mark.parametrize(
    ("blades", "more", "message"),
    [
        ((), {}, "blade set 'Box': has no blades; give at least one"),
        ((100, 50), {}, "blades must rise"),
        ((50,), {"unit": "cm"}, "unit: 'cm' is not one of mm, in"),
        ((50,), {"stacks_of": 3}, "stacks of: 3 blades is outside 1 to 2"),
    ],
)
def test_a_blade_set_that_cannot_be_meant_is_refused(book, blades, more, message):
    with pytest.raises(InputError, match=message):
        book.add_blade_set("Box", blades, **more)
