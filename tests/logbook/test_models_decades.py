"""The rules of the tables that came with schema 2, tried with plain SQL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from tests.logbook.shelf import NOON_TEXT
from tests.logbook.test_models import ENGINE, FILE, READING, VEHICLE, VISIT, insert, uid

ONLY_FILES = True

LASTING = {
    "id": uid(100),
    "note": "",
    "by": None,
    "device": None,
    "replaces": None,
    "reason": "",
    "withdrawn": 0,
    "at": NOON_TEXT,
}
AT_ENGINE = LASTING | {
    "engine_id": uid(1),
    "visit_id": uid(3),
    "day": "2024-05-04",
    "distance_m": 84_210_000,
    "cylinders": "[1]",
    "valves": '["E3"]',
}
ROWS: dict[str, dict[str, object]] = {
    "instruments": LASTING
    | {
        "vehicle_id": uid(5),
        "how": "replaced",
        "unit": "km",
        "digits": 5,
        "day": "2024-05-04",
        "reading": 0,
        "old_reading": 5,
    },
    "instrument_readings": LASTING
    | {
        "vehicle_id": uid(5),
        "visit_id": uid(3),
        "day": "2024-05-04",
        "reading": 5,
        "unit": "km",
        "turned_over": 1,
    },
    "fitments": LASTING
    | {
        "engine_id": uid(1),
        "vehicle_id": uid(5),
        "day": "2024-05-04",
        "meter_reading": 5,
        "meter_unit": "km",
        "distance_m": 0,
    },
    "work": AT_ENGINE | {"kind": "ground", "part": "seat"},
    "tests": AT_ENGINE | {"kind": "leak_down", "data": "{}", "result": ""},
    "accepted_causes": AT_ENGINE | {"cause": "shared_lobe_wear", "direction": "looser", "amount_um": 60},
    "attachment_files": {"sha256": "a" * 64, "size": 3, "bytes": b"abc"},
    "attachments": {
        "id": uid(100),
        "engine_id": uid(1),
        "visit_id": uid(3),
        "valve": "E3",
        "media_type": "image/jpeg",
        "name": "a.jpg",
        "caption": "seat",
        "sha256": "b" * 64,
        "size": 1,
        "width": 4,
        "height": 3,
        "taken_at": None,
        "by": None,
        "at": NOON_TEXT,
        "file_sha256": "b" * 64,
        "removed_at": None,
    },
    "imports": {
        "id": uid(100),
        "source": "log.csv",
        "sha256": "a" * 64,
        "how": "{}",
        "visits_added": 1,
        "rows_added": 8,
        "by": None,
        "at": NOON_TEXT,
        "undone_at": None,
        "undone_reason": "",
    },
    "import_visits": {"visit_id": uid(3), "import_id": uid(90)},
    "applied_requests": {"key": "k", "sha256": "a" * 64, "answer": "{}", "device": None, "at": NOON_TEXT},
    "engine_facts": {"engine_file_id": uid(2), "facts": "{}"},
}
BEFORE = {
    "imports": ROWS["imports"] | {"id": uid(90)},
    "attachment_files": {"sha256": "b" * 64, "size": 1, "bytes": b"b"},
}


@pytest.fixture
def db(path: Path) -> Iterator[sqlite3.Connection]:
    """The tables with one engine, vehicle, visit, reading, import and photo."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        for table, row in (
            ("vehicles", VEHICLE),
            ("engines", ENGINE),
            ("engine_files", FILE),
            ("visits", VISIT),
            ("readings", READING),
            *BEFORE.items(),
        ):
            insert(connection, table, row)
        yield connection


@pytest.mark.parametrize("table", sorted(ROWS))
def test_the_database_takes_a_row_with_every_field_used(db, table):
    insert(db, table, ROWS[table])
    assert db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 1 + (table in BEFORE)


COMMON = [
    ({"id": "x"}, "ck_{}_id"),
    ({"at": "noon"}, "ck_{}_at"),
    ({"withdrawn": 1}, "ck_{}_withdrawn"),
    ({"withdrawn": 2, "replaces": uid(100)}, "ck_{}_withdrawn"),
    ({"replaces": uid(99)}, "FOREIGN KEY"),
]
PLACED = [
    ({"day": "4 May 2024"}, "ck_{}_day"),
    ({"distance_m": -1}, "ck_{}_distance_m"),
    ({"engine_id": uid(99)}, "FOREIGN KEY"),
    ({"visit_id": uid(99)}, "FOREIGN KEY"),
]
OWN = {
    "instruments": [
        ({"how": "lost"}, "ck_instruments_how"),
        ({"unit": "furlong"}, "ck_instruments_unit"),
        ({"digits": 2}, "ck_instruments_digits"),
        ({"day": "x"}, "ck_instruments_day"),
        ({"day": None}, "ck_instruments_only_the_first_has_no_day"),
        ({"reading": -1}, "ck_instruments_reading"),
        ({"old_reading": -1}, "ck_instruments_old_reading"),
        ({"how": "first"}, "ck_instruments_old_reading"),
        ({"vehicle_id": uid(99)}, "FOREIGN KEY"),
    ],
    "instrument_readings": [
        ({"day": "x"}, "ck_instrument_readings_day"),
        ({"reading": -1}, "ck_instrument_readings_reading"),
        ({"unit": "furlong"}, "ck_instrument_readings_unit"),
        ({"turned_over": 100}, "ck_instrument_readings_turned_over"),
        ({"vehicle_id": uid(99)}, "FOREIGN KEY"),
    ],
    "fitments": [
        ({"day": "x"}, "ck_fitments_day"),
        ({"day": None, "vehicle_id": None}, "ck_fitments_taken_out_on_a_day"),
        ({"meter_reading": None}, "ck_fitments_meter"),
        ({"meter_unit": "furlong"}, "ck_fitments_meter_unit"),
        ({"distance_m": -1}, "ck_fitments_distance_m"),
        ({"engine_id": uid(99)}, "FOREIGN KEY"),
    ],
    "work": [*PLACED, ({"kind": "kicked"}, "ck_work_kind"), ({"part": "wheel"}, "ck_work_part")],
    "tests": [*PLACED, ({"kind": ""}, "ck_tests_kind"), ({"result": "x" * 61}, "ck_tests_result")],
    "accepted_causes": [
        *PLACED,
        ({"cause": ""}, "ck_accepted_causes_cause"),
        ({"direction": "up"}, "ck_accepted_causes_direction"),
        ({"amount_um": 20_001}, "ck_accepted_causes_amount_um"),
    ],
}
# Spelled out, so that the test that looks for untried rules finds them: "ck_instruments_id" "ck_instruments_at"
# "ck_instruments_withdrawn" "ck_instrument_readings_id" "ck_instrument_readings_at" "ck_instrument_readings_withdrawn"
# "ck_fitments_id" "ck_fitments_at" "ck_fitments_withdrawn" "ck_work_id" "ck_work_at" "ck_work_withdrawn" "ck_work_day"
# "ck_work_distance_m" "ck_tests_id" "ck_tests_at" "ck_tests_withdrawn" "ck_tests_day" "ck_tests_distance_m"
# "ck_accepted_causes_id" "ck_accepted_causes_at" "ck_accepted_causes_withdrawn" "ck_accepted_causes_day"
# "ck_accepted_causes_distance_m"
PLAIN = {
    "attachment_files": [
        ({"sha256": "a"}, "ck_attachment_files_sha256"),
        ({"size": 4}, "ck_attachment_files_size"),
    ],
    "attachments": [
        ({"id": "x"}, "ck_attachments_id"),
        ({"media_type": "x"}, "ck_attachments_media_type"),
        ({"name": "x" * 201}, "ck_attachments_name"),
        ({"sha256": "x", "file_sha256": None, "removed_at": NOON_TEXT}, "ck_attachments_sha256"),
        ({"size": -1}, "ck_attachments_size"),
        ({"width": None}, "ck_attachments_shape"),
        ({"width": 0}, "ck_attachments_shape"),
        ({"sha256": "c" * 64}, "ck_attachments_file_sha256"),
        ({"removed_at": NOON_TEXT}, "ck_attachments_removed"),
        ({"file_sha256": None}, "ck_attachments_removed"),
        ({"removed_at": "noon", "file_sha256": None}, "ck_attachments_removed_at"),
        ({"taken_at": "noon"}, "ck_attachments_taken_at"),
        ({"at": "noon"}, "ck_attachments_at"),
        ({"sha256": "c" * 64, "file_sha256": "c" * 64}, "FOREIGN KEY"),
        ({"engine_id": uid(99)}, "FOREIGN KEY"),
    ],
    "imports": [
        ({"id": "x"}, "ck_imports_id"),
        ({"source": ""}, "ck_imports_source"),
        ({"sha256": "x"}, "ck_imports_sha256"),
        ({"visits_added": -1}, "ck_imports_added"),
        ({"at": "noon"}, "ck_imports_at"),
        ({"undone_at": "noon"}, "ck_imports_undone_at"),
    ],
    "import_visits": [({"visit_id": uid(99)}, "FOREIGN KEY"), ({"import_id": uid(99)}, "FOREIGN KEY")],
    "applied_requests": [
        ({"key": ""}, "ck_applied_requests_key"),
        ({"sha256": "x"}, "ck_applied_requests_sha256"),
        ({"at": "noon"}, "ck_applied_requests_at"),
    ],
    "engine_facts": [({"engine_file_id": uid(99)}, "FOREIGN KEY")],
}
BAD = [(table, change, rule.format(table)) for table in OWN for change, rule in (*COMMON, *OWN[table])]
BAD += [(table, change, rule) for table in PLAIN for change, rule in PLAIN[table]]


@pytest.mark.parametrize(("table", "change", "rule"), BAD)
def test_the_database_refuses_a_row_that_breaks_a_rule(db, table, change, rule):
    with pytest.raises(sqlite3.IntegrityError, match=rule):
        insert(db, table, ROWS[table] | change)


@pytest.mark.parametrize("table", sorted(OWN))
def test_an_entry_can_be_replaced_once(db, table):
    insert(db, table, ROWS[table])
    insert(db, table, ROWS[table] | {"id": uid(101), "replaces": uid(100)})
    with pytest.raises(sqlite3.IntegrityError, match=rf"{table}\.replaces"):
        insert(db, table, ROWS[table] | {"id": uid(102), "replaces": uid(100)})


@pytest.mark.parametrize("table", sorted(OWN))
@pytest.mark.parametrize("sql", ["UPDATE {} SET note = 'x'", "UPDATE {} SET withdrawn = 0", "DELETE FROM {}"])
def test_what_lasts_is_never_altered_or_deleted(db, table, sql):
    insert(db, table, ROWS[table])
    with pytest.raises(sqlite3.IntegrityError, match=f"rows of {table} are only ever added"):
        db.execute(sql.format(table))


# --- notes that can be searched ---


def texts(db: sqlite3.Connection) -> list[tuple]:
    return db.execute(
        "SELECT source, row_id, engine_id, visit_id, vehicle_id, text FROM search_texts ORDER BY seq"
    ).fetchall()


@pytest.mark.parametrize("table", sorted(OWN))
def test_a_note_and_a_reason_are_searchable_as_soon_as_they_are_written(db, table):
    insert(db, table, ROWS[table] | {"note": "pitted", "reason": "seen later", "replaces": None})
    ((source, row_id, engine, visit, vehicle, text),) = texts(db)
    row = ROWS[table]
    assert (source, row_id, text) == (table, uid(100), "pitted seen later")
    assert (engine, visit, vehicle) == (row.get("engine_id"), row.get("visit_id"), row.get("vehicle_id"))


def test_notes_of_visits_readings_and_changes_are_searchable(db):
    insert(db, "visits", VISIT | {"id": uid(4), "distance_m": 1, "note": "rain"})
    insert(db, "readings", READING | {"id": uid(11), "valve": "E4", "note": "sooty"})
    change = {"id": uid(20), "visit_id": uid(3), "field": "note", "old": '""', "new": '"x"', "by": None}
    insert(db, "visit_changes", change | {"reason": "typed late", "at": NOON_TEXT})
    assert texts(db) == [
        ("visits", uid(4), uid(1), uid(4), None, "rain"),
        ("readings", uid(11), uid(1), uid(3), None, "sooty"),
        ("visit_changes", uid(20), uid(1), uid(3), None, "typed late"),
    ]


def test_a_changed_note_takes_the_place_of_the_old_one_at_the_end(db):
    db.execute("UPDATE vehicles SET note = 'grey'")
    insert(db, "attachments", ROWS["attachments"])
    db.execute("UPDATE visits SET note = 'rain'")
    db.execute("UPDATE visits SET note = 'hail'")
    assert [(row[0], row[5]) for row in texts(db)] == [
        ("vehicles", "grey"),
        ("attachments", "seat a.jpg"),
        ("visits", "hail"),
    ]
    db.execute("UPDATE visits SET note = ''")
    db.execute("UPDATE attachments SET file_sha256 = NULL, removed_at = ?", (NOON_TEXT,))
    assert [row[0] for row in texts(db)] == ["vehicles"]


def test_the_index_of_words_finds_what_was_fed_to_it_whatever_its_accents(db):
    # published: sqlite.org/fts5.html, external content tables and the tokenizer option remove_diacritics
    db.execute("UPDATE visits SET note = 'Föhn, sehr warm'")
    db.execute("INSERT INTO search_words (rowid, text) SELECT seq, text FROM search_texts")
    found = db.execute("SELECT rowid FROM search_words WHERE search_words MATCH 'fohn'").fetchall()
    assert found == db.execute("SELECT seq FROM search_texts").fetchall()
