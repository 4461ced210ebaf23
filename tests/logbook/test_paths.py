"""Where the book lives by default."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldlash.errors import BookError
from coldlash.logbook.paths import default_book


def test_the_variable_decides_when_it_is_set():
    assert (
        default_book({"COLDLASH_BOOK": "/shed/a.coldlash", "HOME": "/home/ann"}, "linux")
        == "/shed/a.coldlash"
    )


@pytest.mark.parametrize(
    ("environ", "platform", "expected"),
    [
        # published: XDG Base Directory Specification: default $HOME/.local/share, relative values ignored
        ({"HOME": "/home/ann"}, "linux", "/home/ann/.local/share/coldlash/book.coldlash"),
        ({"HOME": "/home/ann", "XDG_DATA_HOME": "/data"}, "linux", "/data/coldlash/book.coldlash"),
        (
            {"HOME": "/home/ann", "XDG_DATA_HOME": "data"},
            "linux",
            "/home/ann/.local/share/coldlash/book.coldlash",
        ),
        ({"HOME": "/Users/a"}, "darwin", "/Users/a/Library/Application Support/coldlash/book.coldlash"),
        ({"HOME": "/u", "LOCALAPPDATA": "/u/Local"}, "win32", "/u/Local/coldlash/book.coldlash"),
        ({"USERPROFILE": "/u"}, "win32", "/u/AppData/Local/coldlash/book.coldlash"),
    ],
)
def test_each_system_has_its_own_data_folder(environ, platform, expected):
    assert default_book(environ, platform) == str(Path(expected))


def test_the_default_folder_is_made_on_request_only(tmp_path):
    environ = {"HOME": str(tmp_path)}
    there = Path(default_book(environ, "linux"))
    assert not there.parent.exists()
    assert Path(default_book(environ, "linux", make_folder=True)) == there
    assert there.parent.is_dir()


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / ".local").write_text("a file in the way")
    with pytest.raises(BookError, match=r"\.local/share/coldlash: can't be made .*; set COLDLASH_BOOK"):
        default_book({"HOME": str(tmp_path)}, "linux", make_folder=True)
