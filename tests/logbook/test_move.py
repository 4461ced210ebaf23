"""A book moved from a file to a server and back: equal, or not done at all."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text as sql
from tests.logbook.shelf import NAME, content, found, full_book, open_book, visit_on

from coldlash.errors import BookError
from coldlash.logbook.copying import plain_tables
from coldlash.logbook.models import metadata
from coldlash.logbook.move import move


@pytest.fixture
def full(tmp_path):
    """A book with a row in every table."""
    return full_book(tmp_path / "full.coldlash")


def test_from_a_file_to_another_place_and_back_every_table_is_equal(full, new_place, tmp_path):
    there = new_place()
    seen: list[tuple[int, int, str]] = []
    moved = move(full, there, progress=lambda *how: seen.append(how))
    back = move(there, tmp_path / "back.coldlash")
    assert moved.rows == back.rows
    assert all(count > 0 for count in moved.rows.values())  # the book has one of everything
    assert seen[-1][0] == seen[-1][1] == sum(moved.rows.values())
    with open_book(full) as one, open_book(there) as other, open_book(tmp_path / "back.coldlash") as again:
        assert content(one) == content(other) == content(again)
        assert one.visits(state=None) == other.visits(state=None) == again.visits(state=None)
        assert one.check() == other.check() == again.check() == ()
    assert sorted(file.name for file in tmp_path.iterdir() if file.name.startswith(".")) == []


def test_what_follows_from_the_rest_is_made_again(full, new_place):
    there = new_place()
    move(full, there)
    notes = sql("SELECT source, row_id, engine_id, visit_id, vehicle_id, text FROM search_texts")
    with open_book(full) as one, open_book(there) as other:
        with one._file.reading() as here:
            expected = sorted(map(str, here.execute(notes)))
        with other._file.reading() as connection:
            assert sorted(map(str, connection.execute(notes))) == expected
            assert expected


def test_the_moved_book_goes_on_where_the_old_one_ended(full, new_place):
    there = new_place()
    move(full, there)
    with open_book(there) as book:
        last = max(row.seq for visit in book.visits(state=None) for row in visit.history)
        (draft,) = book.draft_visits()
        assert book.record(draft.id, found("I2")).seq == last + 1


def test_text_of_any_script_and_whole_numbers_of_any_size_arrive(new_place, tmp_path):
    note = "Öl, 油, نفط, 🛢, e\u0301, '; DROP TABLE visits; --\n\t\\x00 %s :a"
    with open_book(tmp_path / "a.coldlash", create=True) as book:
        book.add_vehicle("車 'n'", note=note)
        book.set_setting("biggest", str(2**63 - 1))
    there = new_place()
    move(tmp_path / "a.coldlash", there)
    with open_book(there) as book:
        assert book.vehicle("車 'n'").note == note
        assert book.settings()["biggest"] == str(2**63 - 1)


def test_only_an_empty_book_is_moved_into(full, path):
    with pytest.raises(
        BookError, match="is not empty; nothing was changed; give a new path or an empty database"
    ):
        move(full, path)
    with open_book(path) as book:
        assert [engine.name for engine in book.engines()] == [NAME]


def test_an_empty_book_that_is_there_already_is_filled(full, new_place):
    there = new_place()
    open_book(there, create=True).close()
    move(full, there)
    with open_book(full) as one, open_book(there) as other:
        assert content(one) == content(other)


def test_a_book_is_not_moved_onto_itself(path):
    with pytest.raises(BookError, match="is the book itself; nothing was changed; give another place"):
        move(path, path)


def test_a_move_that_fails_half_way_leaves_nothing(full, new_place):
    there = new_place()

    def stop(done: int, total: int, table: str) -> None:
        if done > total // 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        move(full, there, progress=stop)
    if isinstance(there, Path):
        assert not there.exists()
        assert list(there.parent.glob(".*")) == []
    else:
        with open_book(there) as book:
            assert book.vehicles() == ()
    move(full, there)  # and can be done again


def test_a_copy_that_is_not_equal_is_undone(full, new_place, monkeypatch):
    from coldlash.logbook import copying

    monkeypatch.setattr(copying, "digest", lambda *_: "other")
    with pytest.raises(
        BookError, match=r"the copy of \w+ is not the same as what was copied; nothing was changed"
    ):
        move(full, new_place())


def test_nobody_writes_into_a_book_that_is_being_moved(path, tmp_path):
    said: list[str] = []

    def write(*_: object) -> None:
        with open_book(path, wait_s=0.0) as book:
            try:
                book.add_vehicle("Van")
            except BookError as error:
                said.append(str(error))

    with open_book(path) as book:
        book.open_visit(NAME, visit_on())
    move(path, tmp_path / "moved.coldlash", progress=write)
    assert len(said) >= 3
    assert all("another coldlash is writing to this book" in text for text in said)


def test_a_missing_folder_and_a_missing_book_are_said(full, tmp_path):
    with pytest.raises(
        BookError, match=r"the folder .* does not exist; make it first or choose another place"
    ):
        move(full, tmp_path / "nowhere" / "a.coldlash")
    with pytest.raises(BookError, match="there is no book at"):
        move(tmp_path / "none.coldlash", tmp_path / "b.coldlash")
    assert not (tmp_path / "b.coldlash").exists()


def test_every_table_is_copied_or_can_be_worked_out(full):
    with open_book(full) as book, book._file.reading() as connection:
        copied = [table.name for table in plain_tables(connection)]
    assert set(metadata.tables) - set(copied) == {"engine_facts", "search_texts"}
    assert copied.index("visits") < copied.index("readings")
