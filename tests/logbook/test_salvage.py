"""A damaged book: recognised, left alone, and as much as possible of it saved, with a list of what was lost."""

from __future__ import annotations

import random
import re
import sqlite3
import uuid
from collections.abc import Callable
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest
from tests.logbook.shelf import NOON, content, full_book, open_book

from coldlash.engine.spec import Valve
from coldlash.errors import BookError
from coldlash.logbook.bookfile import BookFile
from coldlash.logbook.pages import Pages
from coldlash.logbook.records import NewReading, NewVisit, PastVisit
from coldlash.logbook.salvage import Salvaged, salvage
from coldlash.logbook.store import Book

PAGE = 4096
BOOKS = Path(__file__).parent / "books"
ENGINE = "Delivery van engine"


@pytest.fixture(scope="session")
def whole(tmp_path_factory) -> bytes:
    """The bytes of a book with one of everything, and forty visits."""
    path = full_book(tmp_path_factory.mktemp("whole") / "whole.coldlash")
    with open_book(path) as book:
        rng = random.Random(1961)  # every byte the same each time, or the damage would fall elsewhere
        valves = [Valve(kind, cylinder) for cylinder in range(1, 5) for kind in ("I", "E")]
        visits = [
            PastVisit(
                visit=NewVisit(
                    day=date(2007, 1, 1) + timedelta(days=90 * n),
                    distance_m=10**8 + n * 10**6,
                    note=f"visit {n}",
                    id=str(uuid.UUID(int=rng.getrandbits(128), version=4)),
                ),
                readings=tuple(
                    NewReading(
                        valve=valve,
                        step="found",
                        go_um=100,
                        nogo_um=150,
                        note="gut " * (n % 9),
                        id=str(uuid.UUID(int=rng.getrandbits(128), version=4)),
                    )
                    for valve in valves
                ),
            )
            for n in range(40)
        ]
        book.add_past_visits(ENGINE, visits)
    return path.read_bytes()


@pytest.fixture
def damaged(tmp_path, whole) -> Callable[[bytes], Path]:
    """A file with these bytes."""

    def write(data: bytes) -> Path:
        path = tmp_path / "damaged.coldlash"
        path.write_bytes(data)
        return path

    return write


def rows_of(path: Path) -> dict[str, dict[str, tuple[object, ...]]]:
    """Every row by table and id (or the whole row)."""
    with closing(sqlite3.connect(path)) as db:
        return {
            table: {
                str(row[1] if "seq" in names else row[0]): row for row in db.execute(f"SELECT * FROM {table}")
            }
            for table in sorted(salvaged_tables(db))
            for names in [[column[1] for column in db.execute(f"PRAGMA table_info({table})")]]
        }


def salvaged_tables(db: sqlite3.Connection) -> list[str]:
    from coldlash.logbook.copying import NOT_COPIED
    from coldlash.logbook.models import metadata

    return [name for name in metadata.tables if name not in NOT_COPIED]


def missing_numbers(lost: tuple[str, ...], table: str) -> set[int]:
    """The row numbers that the list says could not be found."""
    numbers: set[int] = set()
    for text in lost:
        match = re.fullmatch(rf"{table}: \d+ could not be found \(numbers? (\d+)(?: to (\d+))?\)", text)
        if match:
            numbers |= set(range(int(match[1]), int(match[2] or match[1]) + 1))
    return numbers


def saved(path: Path, to: Path) -> Salvaged:
    before = path.read_bytes()
    done = salvage(path, to, now=lambda: NOON)
    assert path.read_bytes() == before  # only read
    with open_book(to) as book:
        assert book.check() == ()
    assert [file.name for file in to.parent.iterdir() if file.name.startswith(".")] == []
    return done


# --- recognised and left alone ---


@pytest.mark.parametrize("seed", range(12))
def test_a_book_with_a_page_of_rubbish_is_never_opened_for_writing(damaged, whole, seed):
    rng = random.Random(seed)
    data = bytearray(whole)
    page = rng.randrange(1, len(data) // PAGE)
    data[page * PAGE : page * PAGE + PAGE] = rng.randbytes(PAGE)
    path = damaged(bytes(data))
    with pytest.raises(BookError, match=r"damaged \(.*coldlash salvage"):
        open_book(path)
    assert path.read_bytes() == bytes(data)
    assert [file.name for file in path.parent.iterdir()] == [path.name]


# --- saved ---


def test_of_a_sound_book_everything_is_saved_and_nothing_listed(damaged, whole, tmp_path):
    path = damaged(whole)
    done = saved(path, tmp_path / "new.coldlash")
    assert done.lost == ()
    with open_book(path) as one, open_book(done.book) as other:
        assert content(one) == content(other)
        assert sum(done.rows.values()) == sum(len(rows) for rows in rows_of(path).values())


@pytest.mark.parametrize("version", sorted(BOOKS.glob("v*.sql")), ids=lambda path: path.stem)
def test_a_book_of_an_older_version_is_saved_and_brought_up_to_date(tmp_path, version):
    old = tmp_path / "old.coldlash"
    with closing(sqlite3.connect(old)) as db:
        db.executescript(version.read_text(encoding="utf-8"))
    done = saved(old, tmp_path / "new.coldlash")
    assert done.lost == ()
    with open_book(done.book) as book:
        assert len(book.visits()) == 2


def flip(count: int) -> Callable[[bytearray, random.Random], None]:
    def damage(data: bytearray, rng: random.Random) -> None:
        for _ in range(count):
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)

    return damage


def rubbish(count: int, size: int) -> Callable[[bytearray, random.Random], None]:
    def damage(data: bytearray, rng: random.Random) -> None:
        for _ in range(count):
            at = rng.randrange(len(data) - size)
            data[at : at + size] = rng.randbytes(size)

    return damage


def zeros(data: bytearray, rng: random.Random) -> None:
    at = rng.randrange(PAGE, len(data) - 4 * PAGE) // PAGE * PAGE
    data[at : at + 4 * PAGE] = bytes(4 * PAGE)


def cut(data: bytearray, rng: random.Random) -> None:
    del data[rng.randrange(len(data) // 2, len(data)) :]


DAMAGE = {
    "bits": flip(3),
    "many bits": flip(60),
    "a sector": rubbish(1, 512),
    "sectors": rubbish(6, 512),
    "zeros": zeros,
    "cut": cut,
}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kind", DAMAGE)
def test_whatever_is_damaged_the_rest_is_saved_and_what_is_missing_is_listed(
    damaged, whole, tmp_path, kind, seed
):
    data = bytearray(whole)
    DAMAGE[kind](data, random.Random(seed))
    original = tmp_path / "original.coldlash"
    original.write_bytes(whole)
    done = saved(damaged(bytes(data)), tmp_path / "new.coldlash")
    before, after = rows_of(original), rows_of(done.book)
    text = "\n".join(done.lost)
    gone = missing_numbers(done.lost, "readings")
    for id, row in before["readings"].items():
        kept = after["readings"].get(id)
        if kept is None:
            # Found gone by its number, or listed with what it says; a damaged row has another id than it had.
            same_number = any(other[0] == row[0] for other in after["readings"].values())
            assert row[0] in gone or id in text or same_number or str(row[0]) in text or "readings" in text, (
                id
            )
        elif kept != row:
            assert sum(a != b for a, b in zip(kept, row, strict=True)) <= 2  # damaged within, or set right
    # Nothing is invented: all but what stands in for something lost was in the book.
    unknown = set(after["readings"]) - set(before["readings"])
    assert len(unknown) <= (60 if "bits" in kind else 0)
    if kind == "bits":
        assert len(after["readings"]) >= len(before["readings"]) - 3 * 8  # a visit's go with it
        assert len(after["visits"]) >= len(before["visits"]) - 3
    if kind == "a sector":
        assert len(after["readings"]) >= len(before["readings"]) - 12


def test_without_its_first_page_the_rest_is_known_by_its_shape(damaged, whole, tmp_path):
    original = tmp_path / "original.coldlash"
    original.write_bytes(whole)
    done = saved(damaged(bytes(PAGE) + whole[PAGE:]), tmp_path / "new.coldlash")
    before, after = rows_of(original), rows_of(done.book)
    for table in (
        "vehicles",
        "engines",
        "engine_files",
        "visits",
        "readings",
        "visit_changes",
        "work",
        "fitments",
    ):
        assert after[table] == before[table], table
    assert sum(len(rows) for rows in after.values()) >= sum(len(rows) for rows in before.values()) - 3


def test_a_table_that_says_it_continues_on_a_page_that_cannot_be_is_read_as_far_as_it_goes(
    damaged, whole, tmp_path
):
    root = Pages(whole, PAGE).table(1)
    first = next(row.values[3] for row in root.rows if row.values[1] == "readings")
    assert isinstance(first, int)
    data = bytearray(whole)
    at = (first - 1) * PAGE
    assert data[at] == 5  # published: sqlite.org/fileformat2.html, 1.6: an interior page of a table
    data[at + 8 : at + 12] = bytes(4)  # its last page is now number 0
    done = saved(damaged(bytes(data)), tmp_path / "new.coldlash")
    assert done.rows["readings"] == 330


def test_a_log_beside_the_damaged_book_is_read_too(tmp_path):
    with open_book(tmp_path / "a.coldlash", create=True) as book:
        book.add_vehicle("Van")
        for name in ("a.coldlash", "a.coldlash-wal"):
            (tmp_path / name.replace("a.", "b.")).write_bytes((tmp_path / name).read_bytes())
    done = salvage(tmp_path / "b.coldlash", tmp_path / "c.coldlash")
    assert done.rows["vehicles"] == 1


# --- set right ---


def altered(whole: bytes, tmp_path: Path, *statements: str) -> Path:
    """The book after these statements, past its rules."""
    path = tmp_path / "damaged.coldlash"
    path.write_bytes(whole)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA ignore_check_constraints = ON")
        for name in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name[0]}")
        for statement in statements:
            db.execute(statement)
    return path


def opened(done: Salvaged) -> Book:
    return open_book(done.book)


def test_an_engine_whose_file_is_lost_gets_another_version_of_it(whole, tmp_path):
    path = altered(whole, tmp_path, "DELETE FROM engine_files WHERE version = 1")
    done = saved(path, tmp_path / "new.coldlash")
    assert (
        "engine_files: a version of the file of Delivery van engine is lost; another version stands in"
        in str(done.lost)
    )
    with opened(done) as book:
        assert {file.toml for file in book.engine_files(ENGINE)} == {book.engine(ENGINE).file.toml}
        assert len(book.visits(ENGINE)) == 42


def test_an_engine_with_no_file_left_says_so_and_takes_one_again(whole, tmp_path):
    done = saved(altered(whole, tmp_path, "DELETE FROM engine_files"), tmp_path / "new.coldlash")
    assert "give it again: coldlash add engine FILE --name NAME --again" in str(done.lost)
    with opened(done) as book:
        assert "was lost" in book.engine(ENGINE).file.toml
        book.new_engine_file(ENGINE, "name = 'x'")
        assert len(book.visits(ENGINE)) == 42


def test_a_lost_engine_is_made_again_from_what_refers_to_it(whole, tmp_path):
    done = saved(altered(whole, tmp_path, "DELETE FROM engines"), tmp_path / "new.coldlash")
    assert "the name of an engine is lost; it is now called Salvaged engine" in str(done.lost)
    with opened(done) as book:
        (engine,) = book.engines()
        assert len(book.visits(engine.id)) == 42


def test_readings_of_a_lost_visit_are_listed_with_what_they_say(whole, tmp_path):
    done = saved(
        altered(whole, tmp_path, "DELETE FROM visits WHERE note = 'visit 7'"), tmp_path / "new.coldlash"
    )
    told = [text for text in done.lost if text.startswith("readings: ")]
    assert len(told) == 8
    assert all(
        "what it belongs to in visits is lost" in text and "go_um 100, nogo_um 150" in text for text in told
    )
    assert "visits: 1 could not be found" in str(done.lost)


def test_a_correction_whose_predecessor_is_lost_stands_for_itself(whole, tmp_path):
    path = altered(
        whole,
        tmp_path,
        "DELETE FROM readings WHERE id IN (SELECT replaces FROM readings WHERE withdrawn = 0)",
    )
    done = saved(path, tmp_path / "new.coldlash")
    assert re.search(r"readings: what .* corrected is lost", str(done.lost))
    with opened(done) as book:
        first = book.visits(ENGINE)[0]
        (standing,) = [r for r in first.readings.values() if str(r.valve) == "E3" and r.step == "found"]
        assert (standing.go_um, standing.replaces) == (100, None)


def test_a_link_over_a_lost_correction_leads_to_the_one_before(whole, tmp_path):
    middle = "SELECT id FROM readings WHERE note = 'read twice'"
    done = saved(
        altered(whole, tmp_path, f"DELETE FROM readings WHERE id IN ({middle})"), tmp_path / "new.coldlash"
    )
    with opened(done) as book:
        chain = [r for r in book.visits(ENGINE)[0].history if str(r.valve) == "E3" and r.step == "found"]
        assert [r.replaces for r in chain] == [None, chain[0].id]


def test_a_reference_with_a_damaged_letter_is_set_right(whole, tmp_path):
    path = altered(
        whole,
        tmp_path,
        "UPDATE readings SET visit_id = 'X' || substr(visit_id, 2) WHERE seq = 20",
        "UPDATE visits SET id = substr(id, 1, 35) || 'z' WHERE note = 'visit 9'",
    )
    done = saved(path, tmp_path / "new.coldlash")
    assert any(text.startswith("readings: a damaged reference was set right") for text in done.lost)
    assert any(text.startswith("visits: the id of a row was damaged and set right") for text in done.lost)
    with opened(done) as book:
        assert all(len(visit.readings) == 8 for visit in book.visits(ENGINE)[2:])


def test_a_lost_picture_leaves_its_entry_and_an_altered_one_is_left_out(whole, tmp_path):
    done = saved(
        altered(whole, tmp_path, "UPDATE attachment_files SET bytes = x'000000'"), tmp_path / "new.coldlash"
    )
    assert "a photo is not what it was and was left out" in str(done.lost)
    assert re.search(r"attachments: the picture .* is lost; its entry stays", str(done.lost))


def test_what_the_book_could_not_read_is_left_empty_or_out(whole, tmp_path):
    path = altered(
        whole,
        tmp_path,
        "UPDATE visits SET blades_um = '[50,' WHERE note = 'visit 1'",
        "UPDATE visits SET day = '2024-19-39' WHERE note = 'visit 2'",
        "UPDATE engine_files SET tables = '{' WHERE version = 2",
        "UPDATE engine_files SET toml = 'name = ' WHERE version = 1",
        "UPDATE vehicles SET meter = 'mi' WHERE name LIKE 'Lief%'",
        "UPDATE engines SET vehicle_id = '00000000-1111-4111-8111-000000000099'",
    )
    done = saved(path, tmp_path / "new.coldlash")
    said = "\n".join(done.lost)
    assert "blades_um could not be read, left empty" in said
    assert "'2024-19-39' is no day" in said
    assert "its lobe tables could not be read, left out" in said
    assert "version 1 of the file of Delivery van engine can't be read" in said
    assert re.search(r"vehicles: .*ck_vehicles_meter", said)
    assert "referred to one of vehicles that is lost" in said


# --- refused ---


def test_a_book_is_never_saved_over_another(damaged, whole, tmp_path):
    with pytest.raises(BookError, match="is there already; nothing was changed; choose another name"):
        salvage(damaged(whole), tmp_path / "damaged.coldlash")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "is empty; nothing can be saved from it"),
        (b"date,distance_km\n" * 900, "nothing of a book could be found in this file; nothing was made"),
        (random.Random(1).randbytes(50_000), "nothing of a book could be found in this file"),
    ],
)
def test_what_holds_nothing_of_a_book_is_said(damaged, tmp_path, data, message):
    with pytest.raises(BookError, match=message):
        salvage(damaged(data), tmp_path / "new.coldlash")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["damaged.coldlash"]


def test_a_database_of_another_program_is_refused(tmp_path):
    with closing(sqlite3.connect(tmp_path / "other.db")) as db:
        db.execute("PRAGMA application_id = 5")
        db.execute("CREATE TABLE engines (id)")
    with pytest.raises(BookError, match="is a database of another program; nothing was made"):
        salvage(tmp_path / "other.db", tmp_path / "new.coldlash")


def test_a_book_of_a_newer_coldlash_is_refused(whole, tmp_path):
    path = altered(whole, tmp_path, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(
        BookError, match="this book was made by a newer coldlash; nothing was made; update coldlash"
    ):
        salvage(path, tmp_path / "new.coldlash")


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(
        BookError, match=r"can't be read \(No such file or directory\); check it and its perm"
    ):
        salvage(tmp_path / "none", tmp_path / "new.coldlash")


def test_what_would_not_make_a_sound_book_is_not_made(damaged, whole, tmp_path, monkeypatch):
    path = damaged(whole)
    monkeypatch.setattr(BookFile, "check", lambda _: ("a page is broken",))
    with pytest.raises(
        BookError, match=r"what was saved does not make a sound book \(a page is broken\); nothing was"
    ):
        salvage(path, tmp_path / "new.coldlash")
    assert not (tmp_path / "new.coldlash").exists()
