"""Small pictures are made once; what a photo is of is said in words."""

from __future__ import annotations

from io import BytesIO

import pytest
from PIL import Image

from coldlash.desk import attaching
from coldlash.desk.attaching import (
    SmallPictures,
    add_photo,
    newest_first,
    place_words,
    small_size,
    still_tells_where,
)
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.errors import InputError


@pytest.fixture
def desk(tmp_path):
    with Desk.open(str(tmp_path / "book.coldlash"), create=True) as opened:
        opened.add_engine(load_engine("flat-four"), "Van")
        yield opened


def picture(size=(60, 40), colour="red") -> bytes:
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, "PNG")
    return out.getvalue()


def put(desk, data, **more):
    entry, engine = desk.engine("Van")
    return add_photo(desk.book, entry, engine, data, **more)


def test_a_small_picture_is_made_once_and_the_oldest_goes(desk, monkeypatch):
    made = []
    monkeypatch.setattr(attaching, "small", lambda data: made.append(data) or b"small%d" % len(made))
    one, two, three = (put(desk, picture(colour=colour)) for colour in ("red", "green", "blue"))
    shown = SmallPictures(most=2)
    assert [shown.of(desk.book, photo) for photo in (one, one, two, one, three, one, two)] == [
        b"small1", b"small1", b"small2", b"small1", b"small3", b"small1", b"small4",
    ]  # fmt: skip
    desk.book.remove_attachment(one.id)
    with pytest.raises(InputError, match="was removed"):
        shown.of(desk.book, desk.book.attachment(one.id))


def test_the_size_in_small_is_that_of_the_small_picture(desk):
    for size in ((2000, 1000), (300, 900), (60, 40), (2000, 1)):
        photo = put(desk, picture(size))
        assert Image.open(BytesIO(SmallPictures().of(desk.book, photo))).size == small_size(photo)
    pdf = put(desk, b"%PDF-1.4\n%%EOF\n")
    assert small_size(pdf) == (0, 0)
    assert not still_tells_where(desk.book, pdf)


def test_what_a_photo_is_of_is_said(desk):
    assert place_words(put(desk, picture())) == "photo of the engine"
    assert place_words(put(desk, picture(), valve="e3")) == "photo of E3"
    assert place_words(put(desk, b"%PDF-1.4\n%%EOF\n", valve="E3")) == "scan for E3"
    with pytest.raises(InputError, match="has no valve E9"):
        put(desk, picture(), valve="E9")


def test_photos_are_shown_by_when_they_were_taken_the_newest_first(desk):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003], exif.get_ifd(0x8769)[0x9011] = "1999:05:04 09:30:00", "+00:00"
    out = BytesIO()
    Image.new("RGB", (9, 9)).save(out, "JPEG", exif=exif)
    new, old = put(desk, picture()), put(desk, out.getvalue())
    assert newest_first([old, new]) == newest_first([new, old]) == [new, old]
