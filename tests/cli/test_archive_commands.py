"""archive write and archive read from the terminal."""

from __future__ import annotations

import zipfile

import pytest


@pytest.fixture
def shed(cli):
    assert cli("add", "vehicle", "Van").code == 0
    assert cli("add", "engine", "flat-four", "--name", "Van engine").code == 0
    return cli


def test_a_book_goes_into_one_file_and_comes_back_the_same(shed, tmp_path):
    done = shed("archive", "write", "all.zip")
    assert done.out.startswith("Everything is in all.zip (")
    assert "1 vehicles, 1 engines, 0 visits, 0 readings.\nREADME.txt in it says how to read it" in done.out
    read = shed("archive", "read", "all.zip", "--to", "new.coldlash")
    assert read.out == (
        "new.coldlash holds all of it: 1 vehicles, 1 engines, 0 visits, 0 readings. It was read back, and says the "
        "same as the archive.\n"
    )
    assert shed("archive", "write", "again.zip", "--book", "new.coldlash").code == 0
    assert (tmp_path / "all.zip").read_bytes() == (tmp_path / "again.zip").read_bytes()
    assert zipfile.is_zipfile(tmp_path / "all.zip")
    assert "Van engine" in shed("book", "show", "--book", "new.coldlash").out


def test_scripts_get_rows_and_places(shed, tmp_path):
    made = shed("archive", "write", "all.zip", "--json").json
    assert set(made) == {"archive", "bytes", "rows"}
    assert (made["archive"], made["bytes"]) == ("all.zip", (tmp_path / "all.zip").stat().st_size)
    assert made["rows"]["engines"] == 1
    read = shed("archive", "read", "all.zip", "--to", "new.coldlash", "--json").json
    assert read == {"book": "new.coldlash", "rows": dict(sorted(made["rows"].items()))}


def test_what_can_not_be_done_is_said_with_exit_code_2(shed, tmp_path):
    assert shed("archive", "write", "all.zip").code == 0
    for arguments, said in (
        (("write", "all.zip"), "all.zip is there already; nothing was changed; choose another name"),
        (("read", "all.zip", "--to", "book.coldlash"), "is not empty; nothing was changed; give a new path"),
        (("read", "none.zip", "--to", "new.coldlash"), "none.zip: can't be read"),
        (("read", "book.coldlash", "--to", "new.coldlash"), "is no archive, or it is damaged"),
    ):
        done = shed("archive", *arguments)
        assert (done.code, done.out) == (2, "")
        assert said in done.err
    assert not (tmp_path / "new.coldlash").exists()
