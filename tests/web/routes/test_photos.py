"""The pages of photos: taken in by form and outbox, sent back sealed, described, removed; what is refused."""

from __future__ import annotations

import shutil
import uuid
from datetime import date
from io import BytesIO

import pytest
from PIL import Image
from tests.demos import demo_copy
from tests.web.conftest import PHONE, SITE, Client

from coldlash.desk.desk import Desk
from coldlash.engine.spec import Valve
from coldlash.web.book_app import book_app
from coldlash.web.guard import SEALED, SECURITY_HEADERS
from coldlash.web.pairing import Pairing
from coldlash.web.settings import MEGABYTE, SHARED, Settings, Site

PDF_FILE = b"%PDF-1.4\n1 0 obj <</OpenAction <</S/JavaScript/JS(app.alert(1))>>>> endobj\n%%EOF\n"
BOUNDARY = "----of-this-test"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", date(2026, 11, 1))


@pytest.fixture
def house(made, tmp_path):
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(shutil.copy(made, tmp_path / "book.coldlash"))) as desk:
        site = Site(frozenset({SITE}), f"https://{SITE}:8766")
        yield desk, Client(book_app(Settings(pairing, site), desk)), pairing
    pairing.close()


@pytest.fixture
def desk(house):
    return house[0]


@pytest.fixture
def client(house):
    return house[1]


@pytest.fixture
def engine(desk):
    return desk.book.engine("Van engine").id


@pytest.fixture
def visit(desk):
    return desk.book.visits("Van engine")[-1].id


def picture(kind="JPEG", size=(64, 48), colour="red", exif=None) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, kind, **({} if exif is None else {"exif": exif}))
    return out.getvalue()


def with_place() -> bytes:
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (54.0, 10.0, 0.0)
    return picture(exif=exif)


def multipart(fields, files) -> bytes:
    """A form with files, by RFC 7578."""
    parts = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{n}"\r\n\r\n{v}\r\n'.encode()
        for n, v in fields.items()
    ]
    for name, data in files:
        head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
        parts.append(f"{head}Content-Type: application/octet-stream\r\n\r\n".encode() + data + b"\r\n")
    return b"".join(parts) + f"--{BOUNDARY}--\r\n".encode()


def add(client, page, *files, **fields):
    body = multipart({"form_token": client.form_token(page), **fields}, files)
    return client.ask(
        "POST", "/photos/add", [("content-type", f"multipart/form-data; boundary={BOUNDARY}")], body
    )


def send(client, address, data, id=None):
    headers = [
        ("x-coldlash", "1"),
        ("idempotency-key", id or str(uuid.uuid4())),
        ("accept", "application/json"),
    ]
    return client.ask("POST", address, headers, data)


def change(client, photo, **fields):
    page = f"/photos/{photo}"
    return client.ask("POST", page, form={"form_token": client.form_token(page), **fields})


def test_a_photo_is_added_on_the_page_of_a_visit_and_seen_on_those_of_visit_valve_and_engine(
    desk, client, engine, visit
):
    page = f"/engines/{engine}/visits/{visit}"
    before = {path: client.get(path).text for path in (f"/engines/{engine}", f"/engines/{engine}/valves/E3")}
    assert all("/small" not in text for text in before.values())
    answer = add(
        client, page, ("seat.jpg", picture()), engine=engine, visit=visit, valve="E3", caption="pitted <b>"
    )
    assert (answer.status, answer.header("location")) == (303, f"{page}#photos")
    (kept,) = desk.book.attachments(visit_id=visit)
    assert (kept.valve, kept.caption, kept.name, kept.by) == (Valve("E", 3), "pitted <b>", "seat.jpg", None)
    for path in (page, *before):
        text = client.get(path).text
        assert f'src="/photos/{kept.id}/small"' in text
        assert 'width="64" height="48"' in text
        assert "pitted &lt;b&gt;" in text
    assert f"/photos/{kept.id}" not in client.get(f"/engines/{engine}/valves/I1").text
    assert f"/photos/{kept.id}" in client.get(f"/engines/{engine}/photos").text


def test_a_photo_of_a_valve_or_the_engine_is_added_on_a_page_of_its_own(desk, client, engine):
    page = f"/photos/add?engine={engine}&valve=I2"
    assert "<option selected>I2</option>" in client.get(page).text
    answer = add(client, page, ("a.png", picture("PNG")), engine=engine, visit="", valve="I2")
    assert answer.header("location") == f"/engines/{engine}/valves/I2#photos"
    answer = add(client, page, ("a.png", picture("PNG")), ("b.webp", picture("WEBP")), engine=engine)
    assert answer.header("location") == f"/engines/{engine}/photos"
    assert [photo.media_type for photo in desk.book.attachments(engine)] == [
        "image/png",
        "image/png",
        "image/webp",
    ]
    assert add(client, page, ("again.png", picture("PNG")), engine=engine).status == 303
    assert len(desk.book.attachments(engine)) == 3, "the same file at the same place adds nothing"


def test_what_is_wrong_with_a_file_is_said_with_what_was_typed_and_the_others_are_kept(
    desk, client, engine, visit
):
    page = f"/engines/{engine}/visits/{visit}"
    broken = picture()[:200]
    answer = add(client, page, ("good.jpg", picture()), ("bad.jpg", broken), ("x.heic", b"\0\0\0\x18ftypheic1234"),
                 engine=engine, visit=visit, caption="typed words", keep="as it is")  # fmt: skip
    assert answer.status == 422
    assert "bad.jpg: this picture is damaged or cut short (200 bytes arrived)" in answer.text
    assert "x.heic: this is a HEIC photo" in answer.text
    assert 'value="typed words"' in answer.text
    assert 'value="as it is" checked' in answer.text
    assert [photo.name for photo in desk.book.attachments(visit_id=visit)] == ["good.jpg"]
    nothing = add(client, page, engine=engine, visit=visit)
    assert (nothing.status, "no photo was chosen; choose one" in nothing.text) == (422, True)


def test_a_photo_is_put_only_to_what_there_is(desk, client, engine, visit):
    other = desk.book.engine("Pump engine").id
    page = f"/photos/add?engine={engine}"
    nowhere = str(uuid.uuid4())
    for fields, says in (
        ({"engine": nowhere}, "this book has no engine"),
        ({"engine": engine, "visit": nowhere}, "this book has no visit"),
        ({"engine": other, "visit": visit}, "That visit is of another engine."),
        ({"engine": engine, "valve": "E9"}, "has no valve E9"),
    ):
        answer = add(client, page, ("a.jpg", picture()), **fields)
        assert (answer.status, says in answer.text) == (404, True)
        assert client.get("/photos/add?" + "&".join(f"{k}={v}" for k, v in fields.items())).status == 404
    assert desk.book.attachments() == ()


def test_where_it_was_taken_is_left_out_unless_the_file_is_kept_as_it_is_and_can_be_taken_out_later(
    desk, client, engine
):
    page, source = f"/photos/add?engine={engine}", with_place()
    add(client, page, ("plain.jpg", source), engine=engine)
    (plain,) = desk.book.attachments(engine)
    # Independent of the writer: no APP1 segment (ITU-T T.81, B.1.1.3), where Exif and XMP would stand.
    assert b"Exif" not in desk.book.attachment_bytes(plain.id)
    assert b"\xff\xe1" not in desk.book.attachment_bytes(plain.id)[:200]
    assert "still says where it was taken" not in client.get(f"/photos/{plain.id}").text
    add(client, page, ("whole.jpg", source), engine=engine, valve="E1", keep="as it is")
    (whole,) = desk.book.attachments(engine, valve=Valve("E", 1))
    assert client.get(f"/photos/{whole.id}/file").body == source
    assert "still says where it was taken" in client.get(f"/photos/{whole.id}").text
    answer = change(client, whole.id, do="place out")
    (freed,) = desk.book.attachments(engine, valve=Valve("E", 1))
    assert answer.header("location") == f"/photos/{freed.id}"
    assert freed.id != whole.id
    assert b"Exif" not in desk.book.attachment_bytes(freed.id)
    assert client.get(f"/photos/{whole.id}").status == 404


def test_a_picture_is_sent_sealed_and_asked_for_again_each_time(desk, client, engine):
    add(client, f"/photos/add?engine={engine}", ("a.png", picture("PNG")), engine=engine)
    (kept,) = desk.book.attachments(engine)
    whole = client.get(f"/photos/{kept.id}/file")
    assert (whole.status, whole.header("content-type")) == (200, "image/png")
    assert whole.body == desk.book.attachment_bytes(kept.id)
    assert whole.header("content-security-policy") == SEALED
    assert whole.header("x-content-type-options") == "nosniff"
    assert whole.header("cache-control") == "private, no-cache"
    again = client.get(f"/photos/{kept.id}/file", [("if-none-match", whole.header("etag"))])
    assert (again.status, again.body) == (304, b"")
    small = client.get(f"/photos/{kept.id}/small")
    assert (small.header("content-type"), small.header("content-security-policy")) == ("image/jpeg", SEALED)
    assert Image.open(BytesIO(small.body)).size == (64, 48)
    assert client.get(f"/photos/{kept.id}/small").body == small.body
    assert (
        client.get(f"/photos/{kept.id}").header("content-security-policy")
        == SECURITY_HEADERS["content-security-policy"]
    )


def test_a_pdf_is_sent_byte_by_byte_to_be_saved_never_to_be_shown(desk, client, engine):
    add(client, f"/photos/add?engine={engine}", ("Seite ä/../1.html", PDF_FILE), engine=engine)
    (kept,) = desk.book.attachments(engine)
    sent = client.get(f"/photos/{kept.id}/file")
    assert (sent.body, sent.header("content-type")) == (PDF_FILE, "application/pdf")
    assert sent.header("content-disposition").startswith("attachment; filename*=UTF-8''1.pdf")
    assert sent.header("content-security-policy") == SEALED
    assert sent.header("x-content-type-options") == "nosniff"
    assert client.get(f"/photos/{kept.id}/small").status == 404
    page = client.get(f"/photos/{kept.id}").text
    assert "Save the PDF" in page
    assert "<img" not in page
    assert "PDF: " in client.get(f"/engines/{engine}/photos").text


def test_words_are_changed_and_a_photo_is_removed_for_good(desk, client, engine, visit):
    page = f"/engines/{engine}/visits/{visit}"
    add(client, page, ("a.jpg", picture()), engine=engine, visit=visit)
    (kept,) = desk.book.attachments(visit_id=visit)
    assert (
        change(client, kept.id, do="describe", caption="the nut").header("location") == f"/photos/{kept.id}"
    )
    assert "the nut" in client.get(page).text
    refused = change(client, kept.id, do="describe", caption="x" * 501)
    assert refused.status == 422
    assert "501 characters are too many" in refused.text
    odd = change(client, kept.id, do="dance")
    assert (odd.status, "is nothing that can be done with a photo" in odd.text) == (422, True)
    assert change(client, kept.id, do="remove").header("location") == page
    for path in (f"/photos/{kept.id}", f"/photos/{kept.id}/file", f"/photos/{kept.id}/small"):
        gone = client.get(path)
        assert (gone.status, "This photo was removed on" in gone.text) == (404, True)
    assert "/small" not in client.get(page).text
    assert client.get(f"/photos/{uuid.uuid4()}").status == 404


def test_the_outbox_of_a_phone_sends_a_photo_once_however_often_it_tries(house, visit):
    desk, client, pairing = house
    token = pairing.pair(pairing.new_code().text, "Workshop phone", PHONE).token
    phone = Client(client.app, SHARED, PHONE, "https", f"{SITE}:8766", {"__Host-coldlash": token})
    id, address = str(uuid.uuid4()), f"/api/photos?visit={visit}&valve=E3&name=rocker.jpg"
    first = send(phone, address, picture(), id)
    assert (first.status, first.json) == (200, {"photo": id, "entry": id})
    assert send(phone, address, picture(), id).json == first.json
    (kept,) = desk.book.attachments(visit_id=visit)
    assert (kept.id, kept.name, kept.valve, kept.by) == (id, "rocker.jpg", Valve("E", 3), "Workshop phone")
    bad = send(phone, address, picture()[:100])
    assert (bad.status, bad.json["error"]["kind"]) == (422, "bad_input")
    assert "damaged or cut short" in bad.json["error"]["message"]
    assert send(phone, f"/api/photos?visit={uuid.uuid4()}", picture()).status == 422
    stranger = Client(client.app, SHARED, PHONE, "https", f"{SITE}:8766")
    assert send(stranger, address, picture()).status == 401
    assert stranger.get(f"/photos/{id}/file").status == 401
    assert len(desk.book.attachments()) == 1


def test_only_the_two_addresses_of_photos_take_large_bodies(client, engine, visit):
    page = f"/photos/add?engine={engine}"
    large = b"\xff\xd8\xff" + bytes(2 * MEGABYTE)
    assert add(client, page, ("a.jpg", large), engine=engine).status == 422, "looked at"
    assert send(client, f"/api/photos?visit={visit}", large).status == 422
    assert send(client, f"/api/photos?visit={visit}", bytes(25 * MEGABYTE + 1)).status == 413
    too_large = add(client, page, ("a.jpg", bytes(26 * MEGABYTE)), engine=engine)
    assert too_large.status == 413
    for path in ("/photos/0000", f"/engines/{engine}/past", "/api/visits", "/photos"):
        assert send(client, path, large).status == 413


def test_a_form_without_its_token_adds_nothing(desk, client, engine):
    body = multipart({"engine": engine}, [("a.jpg", picture())])
    answer = client.ask(
        "POST", "/photos/add", [("content-type", f"multipart/form-data; boundary={BOUNDARY}")], body
    )
    assert answer.status == 403
    assert desk.book.attachments() == ()
