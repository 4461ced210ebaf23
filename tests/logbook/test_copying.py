"""Files built beside their place: whole, or not there; never in the place of another."""

from __future__ import annotations

import os
import stat

import pytest

from coldlash.errors import BookError
from coldlash.logbook import copying
from coldlash.logbook.copying import put_when_whole, refuse_existing


def test_a_file_appears_only_when_it_is_whole(tmp_path):
    target = tmp_path / "new"
    with put_when_whole(target) as building:
        building.write_text("half")
        assert not target.exists()
        building.write_text("whole")
    assert target.read_text() == "whole"
    assert list(tmp_path.iterdir()) == [target]


def test_what_fails_leaves_nothing(tmp_path):
    def fail() -> None:
        with put_when_whole(tmp_path / "new") as building:
            building.write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("links", [True, False])
def test_what_came_there_meanwhile_is_not_replaced(tmp_path, monkeypatch, links):
    if not links:  # a file system without hard links

        def refuse(*_: object) -> None:
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr(os, "link", refuse)
    target = tmp_path / "new"

    def build() -> None:
        with put_when_whole(target) as building:
            building.write_text("mine")
            target.write_text("theirs")

    with pytest.raises(BookError, match="new is there already; nothing was changed; choose another name"):
        build()
    assert target.read_text() == "theirs"
    target.unlink()
    with put_when_whole(target) as building:
        building.write_text("mine")
    assert target.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [target]


def test_a_place_that_is_taken_or_has_no_folder_is_refused_before_anything_is_done(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(BookError, match="link is there already; nothing was changed"):
        refuse_existing(tmp_path / "link")
    with pytest.raises(
        BookError, match=r"the folder .*none does not exist; make it first or choose another place"
    ):
        refuse_existing(tmp_path / "none" / "new")
    with pytest.raises(BookError, match=r"can't be reached \(File name too long\)"):
        refuse_existing(tmp_path / ("x" * 300) / "y")


def test_a_disk_that_refuses_is_said(tmp_path, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(copying, "sync_folder", full)

    def build() -> None:
        with put_when_whole(tmp_path / "new") as building:
            building.write_text("x")

    with pytest.raises(BookError, match="new: No space left on device; nothing was made; check the folder"):
        build()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("number", "passes"), [(22, True), (5, False)])
def test_a_file_system_that_knows_no_sync_of_folders_is_no_fault(tmp_path, monkeypatch, number, passes):
    real = os.fsync

    def refuse(opened: int) -> None:
        if stat.S_ISDIR(os.fstat(opened).st_mode):
            raise OSError(number, os.strerror(number))
        real(opened)

    monkeypatch.setattr(os, "fsync", refuse)
    if passes:
        with put_when_whole(tmp_path / "new") as building:
            building.write_text("x")
        assert (tmp_path / "new").read_text() == "x"
        return

    def build() -> None:
        with put_when_whole(tmp_path / "new") as building:
            building.write_text("x")

    with pytest.raises(BookError, match="Input/output error; nothing was made; check the folder"):
        build()
    assert list(tmp_path.iterdir()) == []
