"""Everything in one file, downloaded from the settings."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from tests.demos import demo_copy
from tests.web.conftest import PHONE, Client

from coldlash.desk.desk import Desk
from coldlash.errors import BookError
from coldlash.logbook.archive.reading import read_archive
from coldlash.logbook.store import Book
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import SHARED, Settings

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", TODAY)


class Patient:
    """The app, as a browser uses it that stays until everything has come."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        async def staying() -> Any:
            message = await receive()
            if message["type"] == "http.disconnect":
                await asyncio.Event().wait()
            return message

        await self.app(scope, staying, send)


@pytest.fixture
def house(made, tmp_path, monkeypatch):
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "scratch"))
    book = shutil.copy(made, tmp_path / "book.coldlash")
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(Patient(book_app(Settings(pairing), desk)))
    pairing.close()


def left(tmp_path: Path) -> list[str]:
    return [path.name for path in (tmp_path / "scratch").iterdir()]


def test_the_settings_offer_everything_in_one_file(house):
    _, client = house
    page = client.get("/settings").text
    assert '<a class="button" href="/archive" download>Download everything</a>' in page


def test_the_download_is_the_archive_and_leaves_nothing_behind(house, tmp_path):
    desk, client = house
    answer = client.get("/archive")
    assert answer.status == 200
    assert answer.header("content-type") == "application/zip"
    assert answer.header("content-disposition") == f'attachment; filename="book-{TODAY.isoformat()}.zip"'
    assert answer.header("cache-control") == "no-store"
    assert left(tmp_path) == []
    (tmp_path / "got.zip").write_bytes(answer.body)
    assert zipfile.is_zipfile(tmp_path / "got.zip")
    read_archive(tmp_path / "got.zip", tmp_path / "new.coldlash")
    desk.book.write_archive(tmp_path / "own.zip")
    assert (tmp_path / "own.zip").read_bytes() == answer.body
    assert client.get("/archive").body == answer.body  # and can be asked for again


def test_a_browser_that_goes_away_leaves_nothing_behind_and_blocks_nobody(house, tmp_path):
    _, client = house
    gone = Client(client.app.app).get("/archive")  # without patience: it is gone as soon as it has asked
    whole = client.get("/archive")
    assert whole.status == 200
    assert len(gone.body) < len(whole.body)
    assert left(tmp_path) == []


def test_a_device_that_is_not_paired_gets_nothing(house):
    _, client = house
    stranger = Client(client.app, listener=SHARED, peer=PHONE)
    answer = stranger.get("/archive")
    assert answer.status in (401, 403, 421)
    assert b"PK" not in answer.body[:2]


def test_a_fault_while_writing_is_said_and_the_next_download_works(house, tmp_path, monkeypatch):
    _, client = house
    with monkeypatch.context() as patch:

        def full(*_: object, **__: object) -> None:
            raise BookError("the disk is full; make room and try again")

        patch.setattr(Book, "write_archive", full)
        answer = client.get("/archive")
        assert answer.status == 503
        assert "the disk is full" in answer.text
    assert left(tmp_path) == []
    assert client.get("/archive").status == 200


def test_only_one_download_of_everything_at_a_time(house, monkeypatch):
    _, client = house
    inside = []
    writing = Book.write_archive

    def slow(self, to, **how):
        if not inside:
            inside.append(None)
            inside[0] = Client(client.app).get("/archive")
        return writing(self, to, **how)

    monkeypatch.setattr(Book, "write_archive", slow)
    assert client.get("/archive").status == 200
    assert inside[0].status == 503
    assert "Another device is downloading everything just now" in inside[0].text
