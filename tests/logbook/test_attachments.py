"""Photos in the book, on both databases: once each, listed by place, described, removed with their bytes."""

from __future__ import annotations

import hashlib
import uuid
from datetime import date

import pytest
from sqlalchemy import func, select
from tests.logbook.shelf import ENGINE_TOML, NAME, NOON_TEXT, open_book, visit_on

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook import attachments as under_test
from coldlash.logbook import models as m
from coldlash.logbook.photos import JPEG, PDF, Taken

E3, I1 = Valve("E", 3), Valve("I", 1)


def taken(content: bytes = b"pixels", **more) -> Taken:
    values = {"media_type": JPEG, "data": content, "width": 40, "height": 30, "taken_at": None, **more}
    return Taken(**values)


def count(book, table) -> int:
    with book._file.reading() as connection:
        return connection.execute(select(func.count()).select_from(table)).scalar_one()


@pytest.fixture
def visit(book):
    return book.open_visit(NAME, visit_on())


def test_a_photo_is_kept_with_its_place_and_read_back_byte_by_byte(book, visit):
    kept = book.add_attachment(
        NAME,
        taken(bytes(range(256)), taken_at="2024-05-04T07:30:00Z"),
        visit_id=visit.id,
        valve=E3,
        name="C:\\photos\\/seat\n.jpg",
        caption="  the seat ",
        by="Ann",
    )
    assert book.attachment(kept.id) == kept
    assert book.attachment_bytes(kept.id) == bytes(range(256))
    assert (kept.visit_id, kept.valve, kept.name, kept.caption) == (visit.id, E3, "seat .jpg", "the seat")
    assert (kept.size, kept.width, kept.height, kept.by) == (256, 40, 30, "Ann")
    assert (kept.taken_at, kept.at, kept.removed_at) == ("2024-05-04T07:30:00.000Z", NOON_TEXT, None)
    # Independent software: Python's hashlib (FIPS 180-4).
    assert kept.sha256 == hashlib.sha256(bytes(range(256))).hexdigest()
    assert kept.is_picture
    assert kept.file_name == "seat .jpg"
    assert book.check() == ()


def test_a_file_name_has_the_ending_of_what_the_file_is(book):
    pdf = book.add_attachment(NAME, taken(media_type=PDF, width=None, height=None), name="page.exe")
    assert (pdf.file_name, pdf.is_picture) == ("page.pdf", False)
    nameless = book.add_attachment(NAME, taken(b"other"))
    assert nameless.file_name == f"photo-{nameless.id[:8]}.jpg"
    long = book.add_attachment(NAME, taken(b"long"), name="x" * 300 + ".jpg")
    assert long.name == "x" * 196 + ".jpg"


def test_photos_are_listed_by_engine_visit_and_valve(book, visit):
    book.add_engine("Other", ENGINE_TOML)
    of_engine = book.add_attachment(NAME, taken(b"1"), at="2024-05-01T00:00:00Z")
    of_visit = book.add_attachment(NAME, taken(b"2"), visit_id=visit.id, at="2024-05-02T00:00:00Z")
    of_valve = book.add_attachment(NAME, taken(b"3"), valve=E3, at="2024-05-03T00:00:00Z")
    of_both = book.add_attachment(NAME, taken(b"4"), visit_id=visit.id, valve=E3, at="2024-05-04T00:00:00Z")
    of_other = book.add_attachment("Other", taken(b"5"))
    assert book.attachments(NAME) == (of_engine, of_visit, of_valve, of_both)
    assert book.attachments(visit_id=visit.id) == (of_visit, of_both)
    assert book.attachments(NAME, valve=E3) == (of_valve, of_both)
    assert book.attachments(NAME, valve=I1) == ()
    assert of_other in book.attachments()


def test_the_same_bytes_at_the_same_place_add_nothing(book, visit):
    first = book.add_attachment(NAME, taken(), visit_id=visit.id, caption="first")
    assert book.add_attachment(NAME, taken(), visit_id=visit.id, caption="again", name="b.jpg") == first
    elsewhere = book.add_attachment(NAME, taken(), visit_id=visit.id, valve=E3)
    assert elsewhere.id != first.id
    assert (count(book, m.attachments), count(book, m.attachment_files)) == (2, 1)


def test_a_photo_sent_again_with_its_id_changes_nothing_even_after_it_was_removed(book, visit):
    id = str(uuid.uuid4())
    first = book.add_attachment(NAME, taken(), visit_id=visit.id, id=id)
    assert book.add_attachment(NAME, taken(), visit_id=visit.id, id=id) == first
    gone = book.remove_attachment(id)
    assert book.add_attachment(NAME, taken(), visit_id=visit.id, id=id) == gone
    with pytest.raises(
        InputError, match=f"the id {id} already belongs to another photo; nothing was changed"
    ):
        book.add_attachment(NAME, taken(b"others"), visit_id=visit.id, id=id)
    with pytest.raises(InputError, match="already belongs to another photo"):
        book.add_attachment(NAME, taken(), id=id)
    # The owner may put a removed photo in again, as a new one.
    assert book.add_attachment(NAME, taken(), visit_id=visit.id).id != id


def test_a_removed_photo_leaves_a_line_and_no_bytes(book, visit):
    kept = book.add_attachment(NAME, taken(), visit_id=visit.id, caption="seat")
    other = book.add_attachment(NAME, taken(), visit_id=visit.id, valve=E3)
    gone = book.remove_attachment(kept.id)
    assert gone.removed_at == NOON_TEXT
    assert book.attachments(NAME) == (other,)
    assert book.attachments(NAME, everything=True) == tuple(
        sorted((gone, other), key=lambda photo: (photo.at, photo.id))
    )
    assert book.attachment_bytes(other.id) == b"pixels", "the other still needs them"
    with pytest.raises(InputError, match="this photo was removed on 2024-05-04"):
        book.attachment_bytes(kept.id)
    with pytest.raises(InputError, match="this photo was removed on 2024-05-04"):
        book.describe_attachment(kept.id, "x")
    assert book.remove_attachment(kept.id) == gone, "again: no change"
    book.remove_attachment(other.id)
    assert count(book, m.attachment_files) == 0
    assert count(book, m.attachments) == 2
    assert book.check() == ()


def test_a_caption_is_changed_and_the_stamp_says_so_each_time(book):
    stamps = [book.stamp()]
    kept = book.add_attachment(NAME, taken())
    stamps.append(book.stamp())
    for caption in ("first", "second", "", "second"):
        assert book.describe_attachment(kept.id, caption).caption == caption
        stamps.append(book.stamp())
    book.remove_attachment(kept.id)
    stamps.append(book.stamp())
    # With the caption taken out again the book is as it was after the adding, and may say so.
    assert stamps[4] == stamps[1]
    assert len(set(stamps)) == len(stamps) - 1


def test_what_cannot_be_kept_is_refused_and_nothing_is_written(book, visit, monkeypatch):
    book.add_engine("Other", ENGINE_TOML)
    strange = book.open_visit("Other", visit_on(day="2023-01-01"))
    gone = book.open_visit(NAME, visit_on(day="2023-02-02"))
    book.discard_visit(gone.id)
    nowhere = str(uuid.uuid4())
    refused = [
        ({"visit_id": strange.id}, "another engine's; nothing was written"),
        ({"visit_id": gone.id}, "the visit of 2023-02-02 was put aside; it takes no photos"),
        ({"visit_id": nowhere}, f"no visit with the id {nowhere}"),
        ({"caption": "x" * 501}, "photo: caption: 501 characters are too many; 500 is the most"),
        ({"caption": "a\x00b"}, "a character that can't be kept"),
        ({"by": " "}, "by: is empty"),
        ({"id": "x"}, "photo id: 'x' is not a UUID"),
    ]
    for given, says in refused:
        with pytest.raises(InputError, match=says):
            book.add_attachment(NAME, taken(), **given)
    with pytest.raises(InputError, match="has no engine 'Nobody'"):
        book.add_attachment("Nobody", taken())
    with pytest.raises(InputError, match=f"this book has no photo with the id {nowhere}"):
        book.attachment(nowhere)
    assert (count(book, m.attachments), count(book, m.attachment_files)) == (0, 0)


def test_a_visit_and_an_engine_take_so_many_photos_and_no_more(book, visit, monkeypatch):
    monkeypatch.setattr(under_test, "PER_VISIT", 2)
    monkeypatch.setattr(under_test, "PER_ENGINE", 1)
    first = book.add_attachment(NAME, taken(b"1"), visit_id=visit.id)
    book.add_attachment(NAME, taken(b"2"), visit_id=visit.id, valve=E3)
    with pytest.raises(InputError, match="this visit has 2 photos, the most it may have; remove one first"):
        book.add_attachment(NAME, taken(b"3"), visit_id=visit.id)
    book.remove_attachment(first.id)
    book.add_attachment(NAME, taken(b"3"), visit_id=visit.id)
    book.add_attachment(NAME, taken(b"4"), valve=E3)
    with pytest.raises(InputError, match="this engine has 1 photos outside its visits, the most"):
        book.add_attachment(NAME, taken(b"5"))


def test_photos_survive_closing_and_opening(path):
    with open_book(path) as book:
        kept = book.add_attachment(NAME, taken(bytes(100_000)))
    with open_book(path) as book:
        assert book.attachment_bytes(kept.id) == bytes(100_000)
        assert date.fromisoformat(kept.at[:10]) == date(2024, 5, 4)
