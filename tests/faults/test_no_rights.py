"""Folders and files one may not write or read: a clear message, nothing changed.

Permission bits do not bind root, so a process of its own gives up its rights first.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.faults.writers import use_without_rights

NOBODY = 65534


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder anybody can reach; pytest's own is closed to others."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def said(start, path: Path, *, create: bool = False) -> str:
    process, ours = start(use_without_rights, str(path), create, NOBODY)
    answer: str = ours.recv()
    process.join()
    return answer


def state(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


@pytest.mark.parametrize(
    ("folder_mode", "file_mode", "message"),
    [
        (0o555, 0o444, "nothing was changed; check"),
        (0o555, 0o666, "nothing was changed; check"),
        (
            0o777,
            0o444,
            "the book or its folder can't be written to; nothing was changed; check its permissions",
        ),
        (0o755, 0o000, "can't be read (Permission denied); check its permissions"),
    ],
)
def test_a_book_one_may_not_write_is_said_and_left_alone(
    start, path, folder, folder_mode, file_mode, message
):
    book = Path(shutil.copy(path, folder / "book.coldlash"))
    before = state(folder)
    book.chmod(file_mode)
    folder.chmod(folder_mode)
    answer = said(start, book)
    folder.chmod(0o755)
    book.chmod(0o644)
    assert message in answer
    assert state(folder)["book.coldlash"] == before["book.coldlash"]


def test_a_book_cannot_be_made_in_a_folder_one_may_not_write(start, folder):
    folder.chmod(0o555)
    answer = said(start, folder / "new.coldlash", create=True)
    assert "the book can't be opened; nothing was made; check the folder and its permissions" in answer
    assert state(folder) == {}


def test_a_folder_one_may_not_enter_is_said(start, path, folder):
    inner = folder / "inner"
    inner.mkdir()
    shutil.copy(path, inner / "book.coldlash")
    inner.chmod(0o000)
    answer = said(start, inner / "book.coldlash")
    inner.chmod(0o755)
    assert "inner/book.coldlash: can't be reached (Permission denied)" in answer


def test_these_tests_do_bind_the_process_that_opens_the_book(start, folder, path):
    """Where the rights are there, the same process writes."""
    book = Path(shutil.copy(path, folder / "book.coldlash"))
    book.chmod(0o666)
    folder.chmod(0o777)
    assert said(start, book) == "written"
    assert os.stat(book).st_size > 0
