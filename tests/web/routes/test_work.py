"""The pages of work, fitments and meters: shown, written, refused with what was typed."""

from __future__ import annotations

import shutil
from datetime import date, timedelta

import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.desk.running import odometer
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)
EARLIER = (TODAY - timedelta(days=20)).isoformat()


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", TODAY)


@pytest.fixture
def house(made, tmp_path):
    book = shutil.copy(made, tmp_path / "book.coldlash")
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


@pytest.fixture
def van(house):
    desk, _ = house
    return f"/engines/{desk.book.engine('Van engine').id}"


def post(client, path, **values):
    return client.ask("POST", path, form={**values, "form_token": client.form_token(path)})


@pytest.fixture
def office(house):
    desk, _ = house
    return f"/vehicles/{desk.book.vehicle('Delivery van').id}/odometer"


def test_work_is_shown_with_what_it_means_written_and_taken_back(house, van):
    desk, client = house
    text = client.get(f"{van}/work").text
    assert "camshaft replaced" in text
    assert "every lobe is another one" in text
    done = post(
        client,
        f"{van}/work",
        part="seat",
        kind="ground",
        where="E3",
        visit="",
        day=EARLIER,
        note="pitted",
    )
    assert (done.status, done.header("location")) == (303, f"{van}/work")
    (made,) = [w for w in desk.book.work("Van engine") if w.part == "seat"]
    assert "seat ground, E3" in client.get(f"{van}/work").text
    assert post(client, f"{van}/work", take_back=made.id, reason="").status == 422
    assert post(client, f"{van}/work", take_back=made.id, reason="mistake").status == 303
    assert "seat ground" not in client.get(f"{van}/work").text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"where": "E9"}, "has no valve E9"),
        ({"part": "wheel"}, "part: &#39;wheel&#39; is not"),
        ({"day": "2999-01-01"}, "has not come yet"),
        ({"day": "May"}, "is not a date"),
        ({"visit": "x"}, "is not a UUID"),
    ],
)
def test_work_that_cannot_be_is_refused_with_what_was_typed(house, van, change, says):
    desk, client = house
    before = len(desk.book.work("Van engine"))
    good = {
        "part": "seat",
        "kind": "ground",
        "where": "E3",
        "visit": "",
        "day": EARLIER,
        "note": "kept words",
    }
    refused = post(client, f"{van}/work", **{**good, **change})
    assert refused.status == 422
    assert says in refused.text
    assert "kept words" in refused.text
    assert len(desk.book.work("Van engine")) == before


def test_an_engine_is_taken_out_and_put_into_another_vehicle(house, van):
    desk, client = house
    assert "It is in Delivery van." in client.get(f"{van}/fit").text
    shown = odometer(desk.book, "Delivery van").reckoning.reading / 1000
    refused = post(client, f"{van}/fit", vehicle="", day="", meter=str(shown - 10))
    assert refused.status == 422
    assert "Write that down of the vehicle&#39;s meter first" in refused.text
    assert post(client, f"{van}/fit", vehicle="", day="", meter=str(shown + 10)).status == 303
    assert "It is in no vehicle." in client.get(f"{van}/fit").text
    tender = desk.book.vehicle("Fire tender").id
    assert post(client, f"{van}/fit", vehicle=tender, day="", meter="29300").status == 303
    assert "in Fire tender, the meter showing 29300 km" in client.get(f"{van}/fit").text


def test_a_vehicles_meter_tells_its_story_and_takes_notes(house, office):
    desk, client = house
    text = client.get(office).text
    assert "first one, counts km, 5 digits" in text
    assert "rolled over" in text
    shown = odometer(desk.book, "Delivery van").reckoning.reading / 1000
    refused = post(client, office, reading=str(shown - 100), day="", what="showed", note="kept words")
    assert refused.status == 422
    assert "Choose which below, or correct the reading" in refused.text
    assert "kept words" in refused.text
    assert post(client, office, reading=str(shown + 5), day="", what="showed").status == 303
    assert (
        post(
            client, office, reading="3", day="", what="replaced", old=str(shown + 9), unit="mile", digits="6"
        ).status
        == 303
    )
    told = odometer(desk.book, "Delivery van")
    assert (told.unit, told.digits, told.reckoning.reading) == ("mile", 6, 3000)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"reading": "", "what": "showed"}, "type what the meter shows"),
        ({"reading": "x", "what": "showed"}, "reading"),
        ({"reading": "1", "what": "replaced", "digits": "five"}, "is not a whole number"),
    ],
)
def test_a_note_of_a_meter_says_what_it_needs(house, office, typed, says):
    _, client = house
    refused = post(client, office, day="", **typed)
    assert refused.status == 422
    assert says in refused.text


def test_an_unknown_vehicle_is_not_found(house):
    _, client = house
    assert client.get("/vehicles/nothing/odometer").status == 404
