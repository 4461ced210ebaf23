"""coldlash photo and coldlash search: all files or none, listed, saved byte by byte, removed, found."""

from io import BytesIO

import pytest
from PIL import Image

PDF = b"%PDF-1.4\n1 0 obj <</Type/Catalog>> endobj\n%%EOF\n"


def picture(kind="PNG", colour="red", exif=None):
    out = BytesIO()
    Image.new("RGB", (60, 40), colour).save(out, kind, **({} if exif is None else {"exif": exif}))
    return out.getvalue()


@pytest.fixture
def van(cli, tmp_path):
    """An engine with one closed visit, and files beside it."""
    assert cli("add", "engine", "flat-four", "--name", "E").code == 0
    assert cli("visit", "start", "E", "--distance", "5000", "--date", "2024-01-01").code == 0
    assert cli("visit", "close", "--engine", "E").code == 0
    (tmp_path / "red.png").write_bytes(picture())
    (tmp_path / "blue.png").write_bytes(picture(colour="blue"))
    (tmp_path / "page.pdf").write_bytes(PDF)
    (tmp_path / "bad.jpg").write_bytes(picture("JPEG")[:100])
    return cli


def test_photos_are_added_listed_and_saved(van, tmp_path):
    added = van(
        "photo", "add", "red.png", "page.pdf", "--visit", "--valve", "e3", "--caption", "the seat", "--json"
    ).json
    first, second = added["photos"]
    assert (first["valve"], first["caption"], first["width"], first["name"]) == (
        "E3",
        "the seat",
        60,
        "red.png",
    )
    assert (second["type"], second["width"], second["visit"]) == ("application/pdf", None, first["visit"])
    assert van("photo", "add", "blue.png").code == 0
    assert [p["name"] for p in van("photo", "list", "--json").json["photos"]].count("blue.png") == 1
    assert len(van("photo", "list", "--visit", first["visit"], "--json").json["photos"]) == 2
    assert len(van("photo", "list", "--valve", "E3", "--json").json["photos"]) == 2
    listed = van("photo", "list", "E").out
    assert "photo of E3: the seat" in listed
    assert "scan for E3: the seat" in listed
    assert "photo of the engine: blue.png" in listed
    assert "There is no such photo of E." in van("photo", "list", "--valve", "I1").out
    done = van("photo", "save", second["photo"], "out.pdf")
    assert done.out == "Saved as out.pdf.\n"
    assert (tmp_path / "out.pdf").read_bytes() == PDF
    again = van("photo", "save", second["photo"], "out.pdf")
    assert (again.code, "out.pdf is there already; nothing was changed" in again.err) == (2, True)
    (tmp_path / "red.png").unlink()
    assert van("photo", "save", first["photo"], "--json").json["file"] == "red.png"
    assert Image.open(tmp_path / "red.png").getpixel((5, 5)) == (255, 0, 0)


def test_of_several_files_all_are_taken_or_none(van):
    told = van("photo", "add", "red.png", "bad.jpg")
    assert told.code == 2
    assert "bad.jpg: this picture is damaged or cut short (100 bytes arrived); send it again" in told.err
    assert van("photo", "list", "--json").json["photos"] == []


def test_a_photo_gets_other_words_and_is_removed_for_good(van):
    id = van("photo", "add", "red.png", "--json").json["photos"][0]["photo"]
    assert "photo of the engine: the left nut" in van("photo", "caption", id, "the left nut").out
    assert van("photo", "caption", id, "", "--json").json["caption"] == ""
    assert van("photo", "remove", id).out.startswith("Removed. A line that there was one stays")
    assert van("photo", "remove", id, "--json").json["removed_at"] is not None
    told = van("photo", "save", id)
    assert (told.code, "this photo was removed on" in told.err) == (2, True)


def test_where_it_was_taken_stays_only_if_asked_and_can_be_taken_out(van, tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    (tmp_path / "place.jpg").write_bytes(picture("JPEG", exif=exif))
    plain = van("photo", "add", "place.jpg", "--json").json["photos"][0]
    whole = van("photo", "add", "place.jpg", "--keep", "--json").json["photos"][0]
    assert whole["bytes"] == (tmp_path / "place.jpg").stat().st_size
    van("photo", "save", plain["photo"], "plain.jpg")
    van("photo", "save", whole["photo"], "whole.jpg")
    # Independent of the writer: the segment's own header, Exif 2.32, 4.7.2.
    assert b"Exif\0\0" not in (tmp_path / "plain.jpg").read_bytes()
    assert b"Exif\0\0" in (tmp_path / "whole.jpg").read_bytes()
    freed = van("photo", "place-out", whole["photo"], "--json").json
    assert freed["sha256"] == plain["sha256"]
    assert [p["photo"] for p in van("photo", "list", "--json").json["photos"]] == [plain["photo"]]
    pdf = van("photo", "add", "page.pdf", "--json").json["photos"][0]
    told = van("photo", "place-out", pdf["photo"])
    assert (told.code, "this is a PDF; what it says of itself can't be taken out here" in told.err) == (
        2,
        True,
    )


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("add", "none.png"), "none.png: No such file"),
        (("add", "red.png", "--engine", "Nobody"), "has no engine 'Nobody'"),
        (("add", "red.png", "--valve", "E9"), "has no valve E9"),
        (("add", "red.png", "--visit", "x"), "is not a UUID"),
        (("list", "--valve", "E9"), "has no valve E9"),
        (("remove", "x"), "photo id: 'x' is not a UUID"),
    ],
)
def test_photo_says_what_is_wrong_and_writes_nothing(van, arguments, says):
    told = van("photo", *arguments)
    assert told.code == 2
    assert says in told.err
    assert van("photo", "list", "--json").json["photos"] == []


def test_notes_are_searched_with_the_words_in_brackets(van):
    van(
        "work",
        "add",
        "seat",
        "ground",
        "--at",
        "E3",
        "--on",
        "2024-06-01",
        "--note",
        "Pitted, like the other",
    )
    van("photo", "add", "red.png", "--caption", "pitted seat")
    told = van("search", "pitt")
    assert told.code == 0
    assert "E\n" in told.out
    assert "2024-06-01  with work on it: [Pitted], like the other" in told.out
    assert "under a photo: [pitted] seat red.png" in told.out
    assert told.out.endswith("2 notes.\n")
    found = van("search", "pitted", "other", "--json").json
    (note,) = found["notes"]
    assert (note["of"], note["source"], note["about"], note["day"]) == (
        "E",
        "work",
        "seat ground",
        "2024-06-01",
    )
    assert [note["text"][a:b] for a, b in note["hits"]] == ["Pitted", "other"]
    assert van("search", "zebra").out == "No note has all these words.\n"
    assert van("search", "pitted", "--most", "1").out.endswith("The newest note; add a word to see others.\n")
    assert van("search", '"*', "OR").code == 0
    told = van("search", "a", "--most", "0")
    assert (told.code, "--most: 0 is not a whole number from 1 to 10000" in told.err) == (2, True)
