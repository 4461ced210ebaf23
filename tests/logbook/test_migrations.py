"""The schema, version by version: all or nothing, and exactly the tables that the models say."""

from __future__ import annotations

import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import create_engine
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable
from tests.logbook.shelf import NAME, open_book

from coldlash.engine.spec import Valve
from coldlash.errors import BookError
from coldlash.logbook.bookfile import open_file
from coldlash.logbook.migrations import FOLDER, HEAD
from coldlash.logbook.models import metadata

ONLY_FILES = True

BOOKS = Path(__file__).parent / "books"


def schema(db: sqlite3.Connection) -> dict[str, list[str]]:
    """Every table and index, its clauses sorted: the order of constraints says nothing."""
    rows = db.execute(
        "SELECT name, sql FROM sqlite_master WHERE type IN ('table', 'index') AND sql IS NOT NULL "
        "AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'search_words%' AND name <> 'alembic_version'"
    )
    return {
        name: sorted(re.sub(r"\s+", " ", line).strip(" ,") for line in sql.split("\n")) for name, sql in rows
    }


def test_the_migrations_make_exactly_the_tables_of_the_models(path):
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        metadata.create_all(connection)
        expected = schema(connection.connection.dbapi_connection)
    engine.dispose()
    with closing(sqlite3.connect(path)) as db:
        assert schema(db) == expected


def test_the_models_are_also_valid_on_postgresql_at_least_in_their_types():
    # The types each table names are ones that PostgreSQL has (published: its manual, chapter 8).
    for table in metadata.tables.values():
        text = str(CreateTable(table).compile(dialect=postgresql.dialect()))
        kinds = {
            line.split()[1].strip(",")
            for line in text.split("\n")
            if re.match(r"\t\"?[a-z_]+\"? [A-Z]+", line)
        }
        assert kinds <= {"TEXT", "BIGINT", "BIGSERIAL", "BYTEA", "CHECK"} | {"KEY"}, table.name


def test_the_newest_revision_named_in_code_is_the_newest_file():
    files = sorted(file.name for file in (FOLDER / "versions").glob("[0-9]*.py"))
    assert files[-1].startswith(f"{HEAD}_")
    assert [file[:4] for file in files] == [f"{number:04d}" for number in range(1, len(files) + 1)]


def test_a_current_book_opens_without_loading_the_migration_tool(path):
    code = (
        "import sys; from coldlash.logbook.store import Book; b = Book.open(sys.argv[1]); b.engines(); b.close(); "
        "sys.exit('alembic' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode == 0


# --- going forward ---

NEXT = f"{int(HEAD) + 1:04d}"
BAD = "raise ValueError('a mistake in the migration')"


def newer(tmp_path: Path, body: str) -> Path:
    """The migrations with one more, as a later coldlash would have them."""
    folder = tmp_path / "migrations"
    shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / f"{NEXT}_more.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\nfrom coldlash.logbook.columns import Words\n"
        f"revision = '{NEXT}'\ndown_revision = '{HEAD}'\nbranch_labels = None\ndepends_on = None\n\n"
        f"def upgrade():\n    {body}\n"
    )
    return folder


ADD_COLUMN = (
    "with op.batch_alter_table('vehicles', recreate='always', table_kwargs={'sqlite_strict': True}) as batch:\n"
    "        batch.add_column(sa.Column('colour', Words))"
)


@pytest.fixture
def used(path: Path) -> Path:
    """A book with a vehicle that an engine refers to."""
    with open_book(path) as book:
        book.add_vehicle("Van")
        book.fit_engine(NAME, "Van")
    return path


def test_rebuilding_a_table_that_others_refer_to_keeps_every_row(used, tmp_path):
    open_file(used, migrations=newer(tmp_path, ADD_COLUMN)).close()
    with closing(sqlite3.connect(used)) as db:
        assert db.execute("SELECT version_num FROM alembic_version").fetchall() == [(NEXT,)]
        assert db.execute(
            "SELECT v.name, v.colour, e.name FROM engines e JOIN vehicles v ON v.id = vehicle_id"
        ).fetchall()
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            f"{ADD_COLUMN}\n    {BAD}",
            r"bringing the book up to date failed \(a mistake in the migration\); the old book stands",
        ),
        (
            'op.execute("DELETE FROM vehicles")',
            r"2 rows would point to nothing \(engines, fitments\); nothing was changed",
        ),
        (
            f"{ADD_COLUMN}\n    op.execute('SELECT nonsense')",
            "the book could not be used .*no such column: nonsense",
        ),
    ],
)
def test_a_failed_migration_leaves_the_old_book_whole(used, tmp_path, body, message):
    with closing(sqlite3.connect(used)) as db:
        before = "\n".join(db.iterdump())
    with pytest.raises(BookError, match=message):
        open_file(used, migrations=newer(tmp_path, body))
    with closing(sqlite3.connect(used)) as db:
        assert "\n".join(db.iterdump()) == before
    with open_book(used) as book:
        assert book.engine(NAME).vehicle_id == book.vehicle("Van").id
        assert book.check() == ()


def test_a_book_from_a_newer_coldlash_is_refused_and_untouched(used, tmp_path):
    open_file(used, migrations=newer(tmp_path, ADD_COLUMN)).close()
    before = used.read_bytes()
    with pytest.raises(BookError, match="was made by a newer coldlash; nothing was changed; update coldlash"):
        open_book(used)
    assert used.read_bytes() == before
    assert list(used.parent.glob("book.coldlash-*")) == []


# --- released books ---


def test_there_is_a_book_of_every_released_version():
    assert sorted(file.stem for file in BOOKS.glob("v*.sql")) == [f"v{n}" for n in range(1, int(HEAD) + 1)]


def old_book(tmp_path: Path, version: int) -> Path:
    path = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(path)) as db:
        db.executescript((BOOKS / f"v{version}.sql").read_text(encoding="utf-8"))
    return path


@pytest.mark.parametrize("version", range(1, int(HEAD) + 1))
def test_a_book_of_a_released_version_opens_with_everything_in_it(tmp_path, version):
    with open_book(old_book(tmp_path, version)) as book:
        assert book.check() == ()
        assert book.settings() == {"gap_unit": "mm"}
        vehicle = book.vehicle("Lieferwagen 車")
        assert (vehicle.meter, vehicle.meter_digits, vehicle.note) == ("mile", 5, "grey")
        (engine,) = book.engines()
        assert (engine.name, engine.file.version) == ("Delivery van engine", 2)
        assert dict(engine.file.tables) == {"lobe.csv": "0,0\n10,0.1\n"}
        assert book.blade_set("Box").blades_um == (50, 100, 150, 200)
        first, second = book.visits(engine.id)
        assert first.engine_file_id == book.engine_files(engine.id)[0].id
        assert (first.distance_m, first.engine_temp_mc, first.meter_unit) == (84_210_000, 18_500, "mile")
        assert len(first.history) == 8
        assert len(first.readings) == 4
        assert [change.field for change in first.changes] == ["note"]
        assert second.readings
        assert len(book.draft_visits()) == 1
        assert len(book.visits(state="discarded")) == 1
        assert book.fitments(engine.id)[0].vehicle_id == vehicle.id
        assert book.fitments(engine.id)[0].day is None


@pytest.mark.parametrize("version", range(1, int(HEAD) + 1))
def test_notes_of_an_older_book_are_searchable_once_it_is_brought_up_to_date(tmp_path, version):
    path = old_book(tmp_path, version)
    open_book(path).close()
    with closing(sqlite3.connect(path)) as db:
        texts = {(row[0], row[1]) for row in db.execute("SELECT source, text FROM search_texts")}
    assert {
        ("vehicles", "grey"),
        ("visits", "rainy; 雨"),
        ("readings", "read twice"),
        ("readings", "the first was right"),
        ("visit_changes", "remembered later"),
    } <= texts


def test_a_book_of_version_2_opens_with_its_vehicles_work_and_photos(tmp_path):
    path = old_book(tmp_path, 2)
    with open_book(path) as book:
        engine, boat, van = (
            book.engine("Delivery van engine"),
            book.vehicle("Boat"),
            book.vehicle("Lieferwagen 車"),
        )
        assert engine.vehicle_id == boat.id
        (fitted,) = book.fitments(engine.id)[1:]
        assert (fitted.day, fitted.meter_reading, fitted.meter_unit) == (date(2007, 1, 1), 5_500, "h")
        metered = book.metered(van.id)
        assert [(i.how, i.unit, i.digits, i.old_reading) for i in metered.instruments] == [
            ("replaced", "km", 6, 99_999_000)
        ]
        assert [(r.reading, r.turned_over, r.reason) for r in metered.readings] == [(110_000, 1, "misread")]
        (work,) = book.work(engine.id)
        assert (work.kind, work.part, work.valves, work.note) == (
            "ground",
            "seat",
            (Valve("E", 3),),
            "pitted; 錆",
        )
        assert len(book.work(engine.id, everything=True)) == 3
        (test,) = book.tests(engine.id)
        assert (test.kind, dict(test.data), test.result) == ("leak_down", {"percent": 12.5}, "low")
        (cause,) = book.accepted_causes(engine.id)
        assert (cause.cause, cause.direction, cause.amount_um) == ("seat_recession_or_stretch", "tighter", 60)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT bytes FROM attachment_files").fetchall() == [(b"\x00\xffa",)]
        assert db.execute("SELECT caption, valve FROM attachments").fetchall() == [("der Sitz", "E3")]
        assert db.execute("SELECT source, visits_added FROM imports").fetchall() == [("old.csv", 1)]
        for table in ("import_visits", "applied_requests", "engine_facts"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchall() == [(1,)]
