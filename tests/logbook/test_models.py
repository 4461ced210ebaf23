"""The rules that stand in the database itself: nothing may get round them, not even plain SQL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from tests.logbook.shelf import NOON_TEXT

from coldlash.logbook.models import APPLICATION_ID, metadata

ONLY_FILES = True


def uid(number: int) -> str:
    return f"00000000-0000-4000-8000-{number:012d}"


READING = {
    "id": uid(10),
    "visit_id": uid(3),
    "valve": "E3",
    "step": "found",
    "go_um": 100,
    "nogo_um": 150,
    "blade_um": None,
    "feel": None,
    "spin": None,
    "note": "",
    "by": None,
    "device": None,
    "replaces": None,
    "reason": "",
    "withdrawn": 0,
    "at": NOON_TEXT,
}
VISIT = {
    "id": uid(3),
    "engine_id": uid(1),
    "engine_file_id": uid(2),
    "day": "2024-05-04",
    "distance_m": 84_210_000,
    "engine_temp_mc": None,
    "air_temp_mc": None,
    "meter_reading": None,
    "meter_unit": None,
    "by": None,
    "blades_um": "[]",
    "plan": "",
    "place": "",
    "note": "",
    "state": "draft",
    "opened_at": NOON_TEXT,
    "closed_at": None,
}
ENGINE = {"id": uid(1), "name": "A", "name_key": "a", "vehicle_id": None, "created": NOON_TEXT}
FILE = {
    "id": uid(2),
    "engine_id": uid(1),
    "version": 1,
    "toml": "",
    "tables": "{}",
    "since": NOON_TEXT,
}
VEHICLE = {"id": uid(5), "name": "V", "name_key": "v", "meter": "km", "meter_digits": 5, "note": ""}
BLADES = {"id": uid(6), "name": "B", "name_key": "b", "unit": "mm", "blades_um": "[50]", "stacks_of": 1}


def insert(db: sqlite3.Connection, table: str, row: dict[str, object]) -> None:
    names = ", ".join(f'"{name}"' for name in row)
    db.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))


@pytest.fixture
def db(path: Path) -> Iterator[sqlite3.Connection]:
    """The tables with one engine, one file, one draft visit, one reading."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        for table, row in (
            ("engines", ENGINE),
            ("engine_files", FILE),
            ("visits", VISIT),
            ("readings", READING),
        ):
            insert(connection, table, row)
        yield connection


def test_every_table_is_strict_and_the_file_is_marked_as_a_book(db):
    # published: sqlite.org/pragma.html, table_list has the column "strict"
    strict = {row[1]: row[5] for row in db.execute("PRAGMA table_list")}
    assert {name: strict[name] for name in metadata.tables} == dict.fromkeys(metadata.tables, 1)
    assert db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID


@pytest.mark.parametrize("column", ["distance_m", "meter_reading"])
def test_a_strict_table_takes_no_fraction_for_a_whole_number(db, column):
    with pytest.raises(sqlite3.IntegrityError, match="cannot store REAL value in INTEGER column"):
        db.execute(f"UPDATE visits SET {column} = 0.5")


BAD_READINGS = [
    ({"id": "short"}, "ck_readings_id"),
    ({"id": uid(10)}, "readings.id"),
    ({"valve": "X3"}, "ck_readings_valve"),
    ({"valve": "E0"}, "ck_readings_valve"),
    ({"valve": "E"}, "ck_readings_valve"),
    ({"valve": "E1x"}, "ck_readings_valve"),
    ({"valve": "E123"}, "ck_readings_valve"),
    ({"step": "before"}, "ck_readings_step"),
    ({"go_um": -1}, "ck_readings_go_um"),
    ({"go_um": 20_001, "nogo_um": None}, "ck_readings_go_um"),
    ({"nogo_um": 0}, "ck_readings_nogo_um"),
    ({"nogo_um": 20_001}, "ck_readings_nogo_um"),
    ({"go_um": None}, "ck_readings_nogo_needs_go"),
    ({"go_um": 0, "nogo_um": None}, "ck_readings_none_went_needs_nogo"),
    ({"go_um": 150}, "ck_readings_go_below_nogo"),
    ({"go_um": 200}, "ck_readings_go_below_nogo"),
    ({"step": "set"}, "ck_readings_set_has_one_blade"),
    ({"step": "set", "go_um": None, "nogo_um": None, "blade_um": 20_001}, "ck_readings_blade_um"),
    ({"blade_um": 150}, "ck_readings_blade_only_for_set"),
    ({"feel": "tight"}, "ck_readings_feel"),
    ({"feel": "drag", "go_um": None, "nogo_um": None}, "ck_readings_feel_needs_go"),
    ({"feel": "drag", "go_um": 0}, "ck_readings_feel_needs_go"),
    ({"spin": "fast"}, "ck_readings_spin"),
    ({"withdrawn": 2}, "ck_readings_withdrawn"),
    ({"withdrawn": 1}, "ck_readings_withdrawal_has_no_values"),
    ({"withdrawn": 1, "go_um": None, "nogo_um": None}, "ck_readings_withdrawal_has_no_values"),
    ({"at": "2024-05-04"}, "ck_readings_at"),
    ({"note": None}, "NOT NULL constraint failed: readings.note"),
    ({"visit_id": uid(99)}, "FOREIGN KEY constraint failed"),
    ({"replaces": uid(99)}, "FOREIGN KEY constraint failed"),
    ({"replaces": uid(10), "valve": "E4"}, "FOREIGN KEY constraint failed"),
    ({"replaces": uid(10), "step": "left"}, "FOREIGN KEY constraint failed"),
    ({"valve": "E3"}, "readings.visit_id, readings.valve, readings.step"),
]


@pytest.mark.parametrize(("change", "rule"), BAD_READINGS)
def test_the_database_refuses_a_reading_that_breaks_a_rule(db, change, rule):
    row = READING | {"id": uid(11), "valve": "E4"} | change
    with pytest.raises(sqlite3.IntegrityError, match=rule):
        insert(db, "readings", row)


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"go_um": 0},
        {"nogo_um": None},
        {"go_um": None, "nogo_um": None},
        {"feel": "drag", "nogo_um": None},
        {"step": "set", "go_um": None, "nogo_um": None, "blade_um": 0, "feel": "drag"},
        {"step": "set", "go_um": None, "nogo_um": None, "spin": "none"},
        {"valve": "I16"},
    ],
)
def test_the_database_takes_every_reading_that_can_be_meant(db, change):
    insert(db, "readings", READING | {"id": uid(11), "valve": "E4"} | change)
    assert db.execute("SELECT count(*) FROM readings").fetchone()[0] == 2


def test_a_reading_can_be_replaced_once(db):
    insert(db, "readings", READING | {"id": uid(11), "replaces": uid(10)})
    with pytest.raises(sqlite3.IntegrityError, match=r"readings\.replaces"):
        insert(db, "readings", READING | {"id": uid(12), "replaces": uid(10)})


@pytest.mark.parametrize("table", ["readings", "visit_changes"])
@pytest.mark.parametrize("sql", ["UPDATE {} SET note = 'x'", "UPDATE {} SET reason = 'x'", "DELETE FROM {}"])
def test_readings_and_changes_are_never_altered_or_deleted(db, table, sql):
    if table == "visit_changes":
        sql = sql.replace("note", "field")
        insert(
            db,
            table,
            {
                "id": uid(20),
                "visit_id": uid(3),
                "field": "note",
                "old": '""',
                "new": '"x"',
                "reason": "",
                "by": None,
                "at": NOON_TEXT,
            },
        )
    with pytest.raises(sqlite3.IntegrityError, match=f"rows of {table} are only ever added"):
        db.execute(sql.format(table))


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"id": "x"}, "ck_visits_id"),
        ({"day": "4 May 2024"}, "ck_visits_day"),
        ({"distance_m": -1}, "ck_visits_distance_m"),
        ({"engine_temp_mc": 400_001}, "ck_visits_engine_temp_mc"),
        ({"air_temp_mc": -60_001}, "ck_visits_air_temp_mc"),
        ({"meter_reading": 5}, "ck_visits_meter"),
        ({"meter_unit": "km"}, "ck_visits_meter"),
        ({"meter_reading": -5, "meter_unit": "km"}, "ck_visits_meter"),
        ({"meter_reading": 5, "meter_unit": "furlong"}, "ck_visits_meter_unit"),
        ({"state": "lost"}, "ck_visits_state"),
        ({"opened_at": "noon"}, "ck_visits_opened_at"),
        ({"state": "closed", "closed_at": "noon"}, "ck_visits_closed_at"),
        ({"state": "closed"}, "ck_visits_closed"),
        ({"closed_at": NOON_TEXT}, "ck_visits_closed"),
        ({"engine_file_id": uid(99)}, "FOREIGN KEY constraint failed"),
        ({"engine_id": uid(99)}, "FOREIGN KEY constraint failed"),
        ({"distance_m": 84_210_000}, "visits.engine_id, visits.day, visits.distance_m"),
    ],
)
def test_the_database_refuses_a_visit_that_breaks_a_rule(db, change, rule):
    with pytest.raises(sqlite3.IntegrityError, match=rule):
        insert(db, "visits", VISIT | {"id": uid(4), "distance_m": 1} | change)


def test_a_discarded_visit_makes_room_for_another_on_its_day_and_distance(db):
    db.execute("UPDATE visits SET state = 'discarded'")
    insert(db, "visits", VISIT | {"id": uid(4)})
    assert db.execute("SELECT count(*) FROM visits").fetchone()[0] == 2


@pytest.mark.parametrize(
    ("table", "row", "rule"),
    [
        ("engines", ENGINE | {"id": "x", "name_key": "x"}, "ck_engines_id"),
        ("engines", ENGINE | {"id": uid(7), "name": "", "name_key": "x"}, "ck_engines_name"),
        ("engines", ENGINE | {"id": uid(7), "name_key": "x", "created": "now"}, "ck_engines_created"),
        ("engines", ENGINE | {"id": uid(7)}, "engines.name_key"),
        ("engines", ENGINE | {"id": uid(7), "name_key": "x", "vehicle_id": uid(99)}, "FOREIGN KEY"),
        ("engine_files", FILE | {"id": uid(7), "version": 0}, "ck_engine_files_version"),
        ("engine_files", FILE | {"id": uid(7)}, "engine_files.engine_id, engine_files.version"),
        ("engine_files", FILE | {"id": "x", "version": 2}, "ck_engine_files_id"),
        ("engine_files", FILE | {"id": uid(7), "version": 2, "since": "x"}, "ck_engine_files_since"),
        ("engine_files", FILE | {"id": uid(7), "engine_id": uid(99)}, "FOREIGN KEY"),
        ("vehicles", VEHICLE | {"id": "x"}, "ck_vehicles_id"),
        ("vehicles", VEHICLE | {"name": "x" * 201}, "ck_vehicles_name"),
        ("vehicles", VEHICLE | {"meter": "mi"}, "ck_vehicles_meter"),
        ("vehicles", VEHICLE | {"meter_digits": 2}, "ck_vehicles_meter_digits"),
        ("blade_sets", BLADES | {"id": "x"}, "ck_blade_sets_id"),
        ("blade_sets", BLADES | {"name": ""}, "ck_blade_sets_name"),
        ("blade_sets", BLADES | {"unit": "cm"}, "ck_blade_sets_unit"),
        ("blade_sets", BLADES | {"stacks_of": 3}, "ck_blade_sets_stacks_of"),
        ("settings", {"key": "a", "value": None}, "NOT NULL"),
    ],
)
def test_the_database_refuses_other_rows_that_break_a_rule(db, table, row, rule):
    with pytest.raises(sqlite3.IntegrityError, match=rule):
        insert(db, table, row)


def test_every_named_check_of_the_tables_is_tried_here_or_with_those_of_schema_2(db):
    named = {
        constraint.name
        for table in metadata.tables.values()
        for constraint in table.constraints
        if str(constraint.name).startswith("ck_")
    }
    files = (Path(__file__), Path(__file__).with_name("test_models_decades.py"))
    text = "".join(file.read_text(encoding="utf-8") for file in files)
    untried = {name for name in named if f'"{name}"' not in text}
    assert untried == set()
    for change, rule in (({"id": "x"}, "ck_visit_changes_id"), ({"at": "x"}, "ck_visit_changes_at")):
        row = {"id": uid(20), "visit_id": uid(3), "field": "note", "old": "1", "new": "2", "reason": ""}
        with pytest.raises(sqlite3.IntegrityError, match=rule):
            insert(db, "visit_changes", row | {"by": None, "at": NOON_TEXT} | change)
