"""The addresses of a visit: what the page sends is in the book once, in order, and said no to with a reason."""

from __future__ import annotations

import gzip
import json
import uuid
from datetime import date

import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings

AT = "2026-11-01T10:00:00Z"


@pytest.fixture
def house(tmp_path):
    book = demo_copy(tmp_path / "book.coldlash", date(2026, 11, 1))
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


def send(client, path, body, entry=None):
    entry = entry or str(uuid.uuid4())
    headers = [("content-type", "application/json"), ("x-coldlash", "1"), ("idempotency-key", entry)]
    return client.ask("POST", path, headers, json.dumps(body).encode())


def opening(desk, visit, **more):
    engine = desk.book.engine("Van engine")
    body = {
        "visit": visit, "engine": engine.id, "engine_file": engine.file.id, "day": "2026-11-01", "meter": 80000,
        "engine_temp": 12.5, "temperature": "C", "by": "Oona", "blades_um": [50, 100, 150, 200], "plan": "", "at": AT,
    }  # fmt: skip
    return {**body, **more}


def found(valve="E3", go=100, nogo=150, **more):
    values = {"valve": valve, "step": "found", "go_um": go, "nogo_um": nogo, "blade_um": None, "feel": None}
    return {**values, "spin": None, "note": "", "replaces": None, "withdrawn": False, "at": AT, **more}


@pytest.fixture
def opened(house):
    desk, client = house
    visit = str(uuid.uuid4())
    assert send(client, "/api/visits", opening(desk, visit)).status == 200
    return desk, client, visit


def test_a_visit_opened_twice_with_the_same_id_is_open_once(house):
    desk, client = house
    visit, entry = str(uuid.uuid4()), str(uuid.uuid4())
    for _ in range(2):
        answer = send(client, "/api/visits", opening(desk, visit), entry)
        assert (answer.status, answer.json["entry"]) == (200, entry)
    (draft,) = desk.book.draft_visits("Van engine")
    assert (draft.id, draft.engine_temp_mc, draft.by, draft.meter_reading) == (
        visit,
        12500,
        "Oona",
        80_000_000,
    )


def test_a_temperature_typed_in_fahrenheit_is_kept_in_celsius(house):
    desk, client = house
    visit = str(uuid.uuid4())
    body = opening(desk, visit, engine_temp=50, temperature="F")
    assert send(client, "/api/visits", body).status == 200
    assert desk.book.visit(visit).engine_temp_mc == 10_000  # exact: 50 F is 10 C


def test_a_reading_sent_twice_is_written_once(opened):
    desk, client, visit = opened
    entry = str(uuid.uuid4())
    for _ in range(3):
        assert send(client, f"/api/visits/{visit}/readings", found(), entry).status == 200
    (reading,) = desk.book.visit(visit).history
    assert (reading.id, reading.go_um, reading.device) == (entry, 100, "this computer")


def test_a_reading_the_book_has_another_value_for_is_answered_with_both(opened):
    desk, client, visit = opened
    send(client, f"/api/visits/{visit}/readings", found())
    answer = send(client, f"/api/visits/{visit}/readings", found(go=50, nogo=100))
    assert answer.status == 409
    standing = desk.book.visit(visit).history[0]
    assert answer.json["theirs"]["id"] == standing.id
    assert answer.json["theirs"]["words"] == "0.10 mm goes, 0.15 mm does not"
    assert answer.json["mine"]["go_um"] == 50
    again = send(client, f"/api/visits/{visit}/readings", found(go=50, nogo=100, replaces=standing.id))
    assert again.status == 200


def test_a_closed_visit_takes_a_correction_only_with_its_reason(opened):
    desk, client, visit = opened
    entry = str(uuid.uuid4())
    send(client, f"/api/visits/{visit}/readings", found(), entry)
    for _ in range(2):
        assert send(client, f"/api/visits/{visit}/close", {"at": AT}).json["state"] == "closed"
    assert send(client, f"/api/visits/{visit}/readings", found(), entry).status == 200
    refused = send(client, f"/api/visits/{visit}/readings", found(go=50, nogo=100, replaces=entry))
    assert refused.status == 422
    assert "reason" in refused.json["error"]["message"]
    taken = send(
        client, f"/api/visits/{visit}/readings", found(go=50, nogo=100, replaces=entry, reason="wrong blade")
    )
    assert taken.status == 200
    assert [r.go_um for r in desk.book.visit(visit).history] == [100, 50]


def test_note_plan_and_discarding_reach_the_book(opened):
    desk, client, visit = opened
    assert send(client, f"/api/visits/{visit}/note", {"note": "weeps"}).status == 200
    plan = json.dumps({"by": "cylinder", "turn": "against", "marks": None, "margin_deg": 30})
    assert send(client, f"/api/visits/{visit}/plan", {"plan": plan}).status == 200
    kept = desk.book.visit(visit)
    assert (kept.note, kept.plan) == ("weeps", plan)
    assert (
        send(client, f"/api/visits/{visit}/discard", {"reason": "wrong engine"}).json["state"] == "discarded"
    )


@pytest.mark.parametrize(
    ("path", "change", "says"),
    [
        ("readings", {"valve": "E9"}, "E9"),
        ("readings", {"valve": "X"}, "is not a valve"),
        ("readings", {"valve": None}, "valve is missing"),
        ("readings", {"go_um": 1.5}, "whole number of micrometres"),
        ("readings", {"go_um": True}, "whole number of micrometres"),
        ("readings", {"go_um": 200}, "must be the thicker one"),
        ("readings", {"step": "guess"}, "is not one of found, set, left"),
        ("readings", {"feel": 7}, "is not one of free, drag"),
        ("readings", {"at": "yesterday"}, "is not a time"),
        ("readings", {"note": 3}, "is not text"),
        ("plan", {"plan": "nonsense"}, "is not a plan of stops"),
        ("plan", {"plan": "7"}, "is not a plan of stops"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_nothing_is_written(opened, path, change, says):
    desk, client, visit = opened
    answer = send(client, f"/api/visits/{visit}/{path}", {**found(), **change})
    assert answer.status == 422
    assert says in answer.json["error"]["message"]
    assert desk.book.visit(visit).history == ()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"day": "soon"}, "is not a date"),
        ({"meter": "80000"}, "is not a number"),
        ({"meter": 5}, "one of the two is mistyped"),
        ({"meter_explained": "stolen"}, "is not one of rolled over, replaced"),
        ({"meter": None}, "one of the two"),
        ({"blades_um": [1, "x"]}, "row of whole micrometres"),
        ({"engine": "Bus"}, "Bus"),
        ({"temperature": "K"}, "is not one of C, F"),
        ({"visit": "7"}, "is not a UUID"),
    ],
)
def test_a_visit_that_cannot_be_opened_says_why(house, change, says):
    desk, client = house
    answer = send(client, "/api/visits", {**opening(desk, str(uuid.uuid4())), **change})
    assert answer.status == 422
    assert says in answer.json["error"]["message"]
    assert desk.book.draft_visits() == ()


def test_a_meter_that_went_back_is_answered_with_the_explanations_there_are(house):
    desk, client = house
    body = {**opening(desk, str(uuid.uuid4())), "meter": 5, "distance_km": None}
    answer = send(client, "/api/visits", body)
    assert answer.status == 422
    assert answer.json["error"]["kind"] == "meter_went_back"
    offers = {offer["how"]: offer for offer in answer.json["explanations"]}
    assert set(offers) == {"rolled over", "replaced", "mistyped"}
    assert offers["mistyped"]["distance_km"] is None
    told = send(client, "/api/visits", {**body, "meter_explained": "replaced"})
    assert told.status == 200
    assert told.json["distance_km"] == pytest.approx(offers["replaced"]["distance_km"])


def test_the_pack_holds_the_whole_visit_and_stays_small(house):
    desk, client = house
    answer = client.get(f"/api/engines/{desk.book.engine('Van engine').id}/pack")
    pack = answer.json
    assert {plan["by"] + plan["turn"] for plan in pack["plans"]} == {
        "fewestwith",
        "cylinderwith",
        "cylinderagainst",
    }
    assert set(pack["valves"]) == {"I1", "E1", "I2", "E2", "I3", "E3", "I4", "E4"}
    assert pack["blade_sets"][0]["name"] == "workshop fine"
    assert pack["plans"][0]["stops"][0]["pulley"][0] == "svg"
    assert len(pack["expected"]["meter"]) == len(pack["expected"]["km"])
    assert any("battery" in text for text in pack["cautions"]["ready"])
    assert len(gzip.compress(answer.body)) < 150_000


def test_the_shed_a_visit_and_its_answer_can_be_asked_for(opened):
    _desk, client, visit = opened
    shed = client.get("/api/shed").json
    assert {row["engine"] for row in shed["engines"]} == {"Van engine", "Pump engine", "Tender engine"}
    assert client.get(f"/api/visits/{visit}").json["state"] == "draft"
    assert client.get(f"/api/visits/{visit}/answer").status == 422
    send(client, f"/api/visits/{visit}/readings", found())
    send(client, f"/api/visits/{visit}/close", {"at": AT})
    assert client.get(f"/api/visits/{visit}/answer").json["engine"] == "Van engine"
    assert client.get(f"/api/visits/{uuid.uuid4()}").status in (404, 422)


def test_the_visit_page_is_one_page_for_all_and_leads_there_from_the_engine(house):
    _desk, client = house
    assert 'id="visit"' in client.get("/visit").text
    moved = client.get("/engines/abc/visit")
    assert (moved.status, moved.header("location")) == (303, "/visit#engine=abc")
