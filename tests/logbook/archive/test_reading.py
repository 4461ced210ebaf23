"""Archives that can't be used: each is said, and nothing is made."""

from __future__ import annotations

import hashlib
import json
import os
import random
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.logbook.shelf import content, found, full_book, open_book

from coldlash.errors import BookError, InputError
from coldlash.language import using
from coldlash.logbook.archive.reading import read_archive
from coldlash.logbook.archive.zipped import opened
from coldlash.logbook.migrations import HEAD

ENGINE = "engines/0001-delivery-van-engine.json"
READINGS = "readings/0001-delivery-van-engine.csv"
PHOTO = "photos/da8509555ad27dac0593c6952d947eff96058cb6e81376f852f54ef9caf7e652.jpg"
Files = dict[str, bytes]


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """The archive of a book with a row in every table."""
    place = tmp_path_factory.mktemp("whole")
    with open_book(full_book(place / "a.coldlash")) as book:
        book.write_archive(place / "a.zip")
    return place / "a.zip"


@pytest.fixture
def packed(whole, tmp_path):
    """Pack the archive anew, changed; by default with a manifest that agrees, so that only the change is wrong."""

    def pack(
        change: Callable[[Files], None], *, agreeing: bool = True, how: int = zipfile.ZIP_STORED
    ) -> Path:
        with zipfile.ZipFile(whole) as file:
            files = {name: file.read(name) for name in file.namelist()}
        change(files)
        if agreeing:
            manifest = json.loads(files.pop("manifest.json"))
            manifest["files"] = [
                {"name": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
                for name, data in files.items()
            ]
            files["manifest.json"] = json.dumps(manifest).encode()
        with zipfile.ZipFile(tmp_path / "changed.zip", "w", how) as file:
            for name, data in files.items():
                file.writestr(name, data)
        return tmp_path / "changed.zip"

    return pack


def refused(archive: Path, tmp_path: Path, match: str, kind: type[Exception] = InputError) -> None:
    with pytest.raises(kind, match=match):
        read_archive(archive, tmp_path / "new.coldlash")
    assert [name for name in os.listdir(tmp_path) if "coldlash" in name] == []


def edited(name: str, old: str, new: str) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        assert old.encode() in files[name]
        files[name] = files[name].replace(old.encode(), new.encode(), 1)

    return change


def rewritten(name: str, change: Callable[[Any], object]) -> Callable[[Files], None]:
    def alter(files: Files) -> None:
        said = json.loads(files[name])
        change(said)
        files[name] = json.dumps(said).encode()

    return alter


# --- the file ---------------------------------------------------------------------------------------------------


def test_the_same_archive_packed_anew_by_hand_is_taken(packed, tmp_path):
    read_archive(packed(lambda files: None), tmp_path / "new.coldlash")
    with open_book(tmp_path / "new.coldlash") as book, open_book(full_book(tmp_path / "a.coldlash")) as other:
        assert content(book) == content(other)


def test_an_archive_cut_short_anywhere_is_said_to_be_damaged(whole, tmp_path):
    data = whole.read_bytes()
    for size in (0, 1, 30, len(data) // 2, len(data) - 1):
        (tmp_path / "cut.zip").write_bytes(data[:size])
        refused(
            tmp_path / "cut.zip",
            tmp_path,
            r"is no archive, or it is damaged or cut short .*; nothing was made",
        )


def test_a_changed_byte_is_found_or_says_nothing_of_the_book(whole, tmp_path):
    data = whole.read_bytes()
    with open_book(full_book(tmp_path / "a.coldlash")) as book:
        expected = content(book)
    refusals = 0
    for number, at in enumerate(range(20, len(data), 1511)):
        (tmp_path / "bad.zip").write_bytes(data[:at] + bytes([data[at] ^ 0x20]) + data[at + 1 :])
        there = tmp_path / f"{number}.coldlash"
        try:
            read_archive(tmp_path / "bad.zip", there)
        except InputError as error:
            assert "nothing was made" in str(error)  # noqa: PT017
            assert not there.exists()
            refusals += 1
        else:  # a date or a right of a file, which the book knows nothing of
            with open_book(there) as book:
                assert content(book) == expected
    assert refusals > 30


def test_a_file_that_is_missing_or_a_folder_is_said(tmp_path):
    refused(tmp_path / "none.zip", tmp_path, r"none.zip: can't be read \(No such file or directory\)")
    refused(tmp_path, tmp_path, r"can't be read \(Is a directory\)")


def test_a_file_of_another_kind_is_said_to_be_none(tmp_path):
    (tmp_path / "photo.zip").write_bytes(b"\xff\xd8\xff" * 1000)
    refused(tmp_path / "photo.zip", tmp_path, "is no archive, or it is damaged")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as file:
        file.writestr("a.txt", "a")
    refused(
        tmp_path / "other.zip",
        tmp_path,
        "is no archive of coldlash; .* one is made by: coldlash archive write",
    )


@pytest.mark.parametrize(
    "change",
    [
        lambda said: said.update(format="other"),
        lambda said: said.update(format_version="1"),
        lambda said: said.update(format_version=0),
        lambda said: said.pop("format"),
    ],
)
def test_another_format_is_said_to_be_none(packed, tmp_path, change):
    refused(packed(rewritten("manifest.json", change)), tmp_path, "is no archive of coldlash")


@pytest.mark.parametrize("newer", [{"format_version": 2}, {"book_revision": "9999"}, {"book_revision": None}])
def test_an_archive_of_a_newer_coldlash_asks_for_an_update(packed, tmp_path, newer):
    refused(
        packed(rewritten("manifest.json", lambda said: said.update(newer))),
        tmp_path,
        f"newer coldlash .*this one reads format 1, book {HEAD}.*; nothing was made; update coldlash first",
    )


def test_a_compressed_entry_is_refused_before_anything_is_unpacked(packed, tmp_path):
    bomb = packed(lambda files: files.update({"README.txt": bytes(50_000_000)}), how=zipfile.ZIP_DEFLATED)
    assert bomb.stat().st_size < 200_000
    refused(
        bomb,
        tmp_path,
        r"README.txt is compressed or locked .*packed anew .*give the archive as coldlash wrote it",
    )


def test_entries_that_claim_more_than_the_file_has_are_refused(whole, tmp_path):
    # APPNOTE 4.3.12: compressed and uncompressed size stand at 20 and 24 of an entry in the central directory.
    data = bytearray(whole.read_bytes())
    at = data.index(b"PK\x01\x02")
    struct.pack_into("<II", data, at + 20, 2**31, 2**31)
    (tmp_path / "more.zip").write_bytes(data)
    refused(tmp_path / "more.zip", tmp_path, r"claims to hold more than its own \d+ bytes")


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt",
        "/etc/passwd",
        "a/../../b",
        "C:\\x",
        "a\\..\\b",
        "x/.hidden",
        "ü.txt",
        "a/b/c.txt",
        "dir/",
    ],
)
def test_a_path_that_leads_elsewhere_is_refused(packed, tmp_path, name):
    refused(
        packed(lambda files: files.update({name: b"x"})),
        tmp_path,
        "holds a file called .* which no archive of coldlash does; nothing was made",
    )
    assert not (tmp_path.parent / "evil.txt").exists()


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_stands_twice_is_refused(whole, tmp_path):
    (tmp_path / "twice.zip").write_bytes(whole.read_bytes())
    with zipfile.ZipFile(tmp_path / "twice.zip", "a") as file:
        file.writestr("README.txt", "other")
    refused(tmp_path / "twice.zip", tmp_path, "holds README.txt twice; nothing was made")


def test_nothing_in_the_list_of_files_can_bring_the_reader_down(whole, tmp_path):
    data = whole.read_bytes()
    start = data.index(b"PK\x01\x02")
    chance = random.Random(20_261_125)
    refusals = 0
    for _ in range(300):
        bad = bytearray(data)
        for _ in range(chance.randint(1, 5)):
            bad[chance.randrange(start, len(bad))] = chance.randrange(256)
        (tmp_path / "bad.zip").write_bytes(bad)
        try:
            with opened(tmp_path / "bad.zip") as archive:
                for name in archive.names:
                    archive.read(name)
        except InputError as error:
            assert "nothing was made" in str(error)  # noqa: PT017
            refusals += 1
    assert refusals > 200


# --- the manifest -----------------------------------------------------------------------------------------------


def test_an_altered_file_is_found_by_its_checksum(packed, tmp_path):
    change = edited(READINGS, "0.10", "0.11")
    refused(packed(change, agreeing=False), tmp_path, "csv is not what the manifest says; it was altered")


def test_a_file_too_many_or_too_few_is_found(packed, tmp_path):
    more = packed(lambda files: files.update({"extra.txt": b"x"}), agreeing=False)
    refused(more, tmp_path, "extra.txt is in the archive and not in its manifest")
    fewer = packed(lambda files: files.pop(PHOTO), agreeing=False)
    refused(fewer, tmp_path, "photos/.* is missing, though the manifest lists it")


@pytest.mark.parametrize(
    "text",
    [
        b"{",
        b"\xff",
        b"[]",
        b'{"format": 1, "format": 2}',
        b'{"x": 1.5}',
        b'{"x": NaN}',
        b"[" * 100_000,
    ],
)
def test_a_manifest_that_can_not_be_read_is_said(packed, tmp_path, text):
    broken = packed(lambda files: files.update({"manifest.json": text}), agreeing=False)
    refused(broken, tmp_path, r"damaged or cut short \(manifest.json: ")


@pytest.mark.parametrize(
    "change",
    [
        lambda said: said.pop("rows"),
        lambda said: said.update(rows={"visits": -1}),
        lambda said: said.update(rows=3),
        lambda said: said.update(files=[{"name": 1, "size": 1, "sha256": "x"}]),
        lambda said: said.update(files=[{"name": "README.txt"}]),
        lambda said: said.update(files=None),
    ],
)
def test_a_manifest_of_another_shape_is_said(packed, tmp_path, change):
    broken = packed(rewritten("manifest.json", change), agreeing=False)
    refused(broken, tmp_path, r"damaged or cut short \(manifest.json: ")


def test_wrong_counts_of_rows_are_found(packed, tmp_path):
    change = rewritten("manifest.json", lambda said: said["rows"].update(visits=7))
    refused(packed(change), tmp_path, "manifest.json: counts other rows than there are")


# --- the rows ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "change", "match"),
    [
        (ENGINE, lambda e: e.pop("created"), "engines 1: created is missing"),
        (ENGINE, lambda e: e.pop("visits"), "engines 1: visits is missing, or no list"),
        (ENGINE, lambda e: e.update(colour="red"), "engines 1: 'colour' is not known"),
        (ENGINE, lambda e: e.update(name=7), "engines 1: name is no text that a book can keep"),
        (ENGINE, lambda e: e.update(name="a\0b"), "engines 1: name is no text that a book can keep"),
        (ENGINE, lambda e: e.update(name="\ud800"), "engines 1: name is no text that a book can keep"),
        (ENGINE, lambda e: e.update(visits=[3]), "visits 1 is no JSON object"),
        (ENGINE, lambda e: e["visits"][0].update(distance_m="4"), "visits 1: distance_m is no whole number"),
        (ENGINE, lambda e: e["visits"][0].update(distance_m=True), "visits 1: distance_m is no whole number"),
        (
            ENGINE,
            lambda e: e["visits"][0].update(distance_m=2**64),
            "visits 1: distance_m is no whole number",
        ),
        (ENGINE, lambda e: e["visits"][0].update(distance_m=1.5), "holds 1.5, which is no whole number"),
        (ENGINE, lambda e: e["visits"][0].update(blades_um="[]"), "blades_um is no list of whole numbers"),
        (
            ENGINE,
            lambda e: e["visits"][0]["readings"][0].update(withdrawn=1),
            "withdrawn is neither true nor false",
        ),
        (ENGINE, lambda e: e["visits"][0]["visit_changes"][0].update(old="{"), "old is no JSON text"),
        (
            ENGINE,
            lambda e: e["visits"][0]["readings"][0].update(go_um=-1),
            r"readings: breaks a rule of the book",
        ),
        (
            ENGINE,
            lambda e: e["visits"][0].update(engine_file_id="0" * 36),
            "visits: breaks a rule of the book",
        ),
        (
            ENGINE,
            lambda e: e["visits"][0].update(day="2004-99-99"),
            "holds '2004-99-99', which can't be read",
        ),
        (
            ENGINE,
            lambda e: e["engine_files"][0].update(toml_file="x"),
            "names the file 'x', which is missing",
        ),
        (ENGINE, lambda e: e.update(attachments=[]), "manifest.json: counts other rows than there are"),
        ("book.json", lambda b: b.pop("imports"), "book.json: does not have the lists settings, blade_sets"),
        ("book.json", lambda b: b.update(settings={}), "book.json: settings is no list"),
        ("vehicles.json", lambda v: v["vehicles"][0].pop("id"), "vehicles 1: id is missing"),
    ],
)
def test_rows_that_no_book_can_hold_are_refused_whole(packed, tmp_path, name, change, match):
    refused(packed(rewritten(name, change)), tmp_path, f"{match}.*; nothing was made")


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda files: files.pop("book.json"), "book.json: is missing"),
        (lambda files: files.update({"vehicles.json": b"\xff"}), "vehicles.json: .*can't decode byte"),
        (lambda files: files.update({"vehicles.json": b"[]"}), "vehicles.json: is no JSON object"),
        (lambda files: files.update({ENGINE: b'{"id": ' + b"[" * 100_000}), "json: is nested too deeply"),
        (lambda files: files.update({"notes.txt": b"hello"}), "notes.txt: belongs to nothing in the book"),
        (
            lambda files: files.update({"engine_files/0001-delivery-van-engine-1.toml": b"a\0b"}),
            "toml: has a NUL byte",
        ),
        (
            lambda files: files.update({"engine_files/0001-delivery-van-engine-1.toml": b"\xff"}),
            "toml: .*can't decode byte",
        ),
        (lambda files: files.update({PHOTO: b"other"}), "a photo is not what it was"),
    ],
)
def test_files_that_do_not_belong_together_are_refused(packed, tmp_path, change, match):
    refused(packed(change), tmp_path, f"{match}.*; nothing was made")


def test_a_table_of_readings_that_disagrees_with_the_json_is_an_error(packed, tmp_path):
    refused(
        packed(edited(READINGS, "0.10", "0.11")),
        tmp_path,
        "csv: does not say what the engine's JSON file says; nothing was made",
    )


def test_what_the_new_book_would_say_otherwise_ends_it(packed, tmp_path):
    # The same rows, laid out in another way: an archive written again would not be the same bytes.
    other = rewritten(ENGINE, lambda said: None)
    refused(packed(other), tmp_path, "the new book does not say what the archive says", BookError)


# --- the new book -----------------------------------------------------------------------------------------------


def test_only_an_empty_book_is_filled(whole, path):
    with open_book(path) as book:
        before = content(book)
    with pytest.raises(
        BookError, match="is not empty; nothing was changed; give a new path or an empty database"
    ):
        read_archive(whole, path)
    with open_book(path) as book:
        assert content(book) == before


def test_an_empty_book_that_is_there_is_filled_and_goes_on_where_the_old_one_ended(
    whole, new_place, tmp_path
):
    there = new_place()
    open_book(there, create=True).close()
    read_archive(whole, there)
    with open_book(there) as book, open_book(full_book(tmp_path / "full.coldlash")) as old:
        assert content(book) == content(old)
        last = max(row.seq for visit in book.visits(state=None) for row in visit.history)
        (draft,) = book.draft_visits()
        assert book.record(draft.id, found("I2")).seq == last + 1
        assert book.search("rainy").hits == old.search("rainy").hits


def test_a_fault_leaves_an_empty_book_empty(packed, new_place):
    there = new_place()
    open_book(there, create=True).close()
    with pytest.raises(InputError, match="does not say what the engine's JSON file says"):
        read_archive(packed(edited(READINGS, "0.10", "0.11")), there)
    with open_book(there) as book:
        assert book.engines() == book.vehicles() == ()


def test_progress_counts_to_the_end_and_can_end_it(whole, tmp_path):
    seen: list[tuple[int, int, str]] = []
    read = read_archive(whole, tmp_path / "a.coldlash", progress=lambda *how: seen.append(how))
    assert [done for done, _, _ in seen] == sorted(done for done, _, _ in seen)
    assert seen[-1][0] == seen[-1][1] == 2 * sum(read.rows.values())  # taken in, then compared

    def stop(done: int, total: int, table: str) -> None:
        if done > total // 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read_archive(whole, tmp_path / "b.coldlash", progress=stop)
    assert not (tmp_path / "b.coldlash").exists()


def test_an_archive_read_in_another_language_is_the_same_book(whole, tmp_path):
    with using("de"):
        read_archive(whole, tmp_path / "new.coldlash")
        with open_book(tmp_path / "new.coldlash") as book:
            book.write_archive(tmp_path / "new.zip")
    assert (tmp_path / "new.zip").read_bytes() == whole.read_bytes()


def test_an_archive_of_every_released_version_can_be_read(tmp_path):
    # Regression: written once with each format and book revision, then kept. A new revision of the book makes this
    # fail until archives of the older ones can still be read (docs/archive.md, "Versions").
    kept = sorted((Path(__file__).parent / "kept").glob("*.zip"))
    assert [archive.stem for archive in kept] == [f"format-1-book-{HEAD}"]
    read_archive(kept[-1], tmp_path / "new.coldlash")
    with open_book(tmp_path / "new.coldlash") as book, open_book(full_book(tmp_path / "a.coldlash")) as other:
        assert content(book) == content(other)
