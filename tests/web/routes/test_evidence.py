"""The pages of tests done and causes found: asked from where they are suggested, written, corrected, refused."""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta

import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)
SINCE = (TODAY - timedelta(days=1)).isoformat()
NAME = "Van engine"


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
    return f"/engines/{desk.book.engine(NAME).id}"


def post(client, path, **values):
    return client.ask("POST", path, form={**values, "form_token": client.form_token(path)})


def leak_down(client, van, **more):
    path = f"{van}/tests?kind=leak_down&where=3"
    return post(client, path, **{"kind": "leak_down", "where": "3", "day": SINCE, **more})


def test_each_suggested_test_leads_to_its_form_filled_in(house, van):
    desk, client = house
    page = client.get(van).text
    assert "Write down what a test showed" in page
    links = re.findall(r'href="(/engines/[^"]+/tests\?kind=[^"]+)"', page)
    assert len(links) == len(desk.answer(NAME).next_tests())
    form = client.get(next(link for link in links if "leak_down" in link).replace("&amp;", "&")).text
    assert '<option value="3" selected>cylinder 3</option>' in form
    assert 'name="sign-leaks_at_exhaust"' in form
    assert "no more air escapes than should" in form


def test_a_result_is_written_counts_at_once_and_is_listed(house, van):
    desk, client = house
    before = client.get(van).text
    done = leak_down(
        client, van, **{"sign-leaks_at_exhaust": "y", "read": "12 %", "note": "hissed", "by": "Oona"}
    )
    assert (done.status, done.header("location")) == (303, f"{van}/tests")
    (kept,) = desk.tests(NAME)
    assert (kept.test.result, kept.test.data, kept.test.by) == ("leaks_at_exhaust", {"read": "12 %"}, "Oona")
    page = client.get(van).text
    assert page != before
    assert "Leak-down of cylinder 3 on " in page
    listed = client.get(f"{van}/tests").text
    assert "Leak-down of cylinder 3: air at the exhaust" in listed
    assert "It counts. By Oona. hissed" in listed


def test_a_test_is_corrected_and_taken_back_with_a_reason(house, van):
    desk, client = house
    leak_down(client, van, **{"sign-leaks_at_exhaust": "y"})
    (first,) = desk.tests(NAME)
    path = f"{van}/tests"
    assert post(client, path, correct=first.test.id, reason="", **{"sign-none": "y"}).status == 422
    assert (
        post(client, path, correct=first.test.id, reason="hose", note="n", **{"sign-none": "y"}).status == 303
    )
    (second,) = desk.tests(NAME)
    assert (second.test.result, second.test.note) == ("none", "n")
    assert "Leak-down of cylinder 3: no more air escapes than should" in client.get(path).text
    assert post(client, path, take_back=second.test.id, reason="never done").status == 303
    assert "none written down yet" in client.get(path).text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, "leak_down: say what it showed"),
        ({"sign-none": "y", "sign-leaks_at_intake": "y"}, "can&#39;t both be"),
        ({"sign-none": "y", "where": "9"}, "has no cylinder 9"),
        ({"sign-none": "y", "day": "2999-01-01"}, "has not come yet"),
        ({"sign-none": "y", "day": "May"}, "is not a date"),
        ({"sign-none": "y", "kind": "shake"}, "no test called"),
    ],
)
def test_a_result_that_cannot_be_is_refused_with_what_was_typed(house, van, change, says):
    desk, client = house
    refused = leak_down(client, van, note="kept words", **change)
    assert refused.status == 422
    assert says in refused.text
    assert "kept words" in refused.text
    assert desk.tests(NAME) == ()


def test_tests_of_the_whole_engine_ask_for_no_place(house, van):
    desk, client = house
    path = f"{van}/tests?kind=measure_again_cold"
    assert "At the engine." in client.get(path).text
    made = post(
        client, path, kind="measure_again_cold", where="", day=SINCE, **{"sign-back_as_expected": "y"}
    )
    assert made.status == 303
    assert desk.tests(NAME)[0].test.result == "back_as_expected"


def test_a_likely_cause_leads_to_this_was_it_filled_in(house, van):
    _, client = house
    page = client.get(van).text
    assert "This was it" in page
    link = re.search(r'href="(/engines/[^"]+/found\?cause=seat_recession_or_stretch[^"]+)"', page)
    assert link is not None
    form = client.get(link[1].replace("&amp;", "&")).text
    assert '<option value="seat_recession_or_stretch" selected>' in form
    assert re.search(r'name="where"[^>]*value="E3"', form)


def test_a_cause_is_written_corrected_and_taken_back(house, van):
    desk, client = house
    path = f"{van}/found"
    done = post(
        client,
        path,
        cause="seat_recession_or_stretch",
        where="E3",
        direction="",
        amount="0.07",
        day=SINCE,
        by="Oona",
    )
    assert (done.status, done.header("location")) == (303, path)
    (kept,) = desk.book.accepted_causes(NAME)
    assert (kept.direction, kept.amount_um) == ("tighter", 70)
    text = client.get(path).text
    assert "a receding seat or a stretching valve at E3" in text
    assert "It made gaps tighter. About 0.07 mm. By Oona." in text
    assert "Found on " in client.get(van).text
    assert post(client, path, correct=kept.id, amount="0.05", where="", reason="slip").status == 303
    (mended,) = desk.book.accepted_causes(NAME)
    assert (mended.amount_um, [str(v) for v in mended.valves]) == (50, ["E3"])
    assert post(client, path, take_back=mended.id, reason="").status == 422
    assert post(client, path, take_back=mended.id, reason="it was not").status == 303
    assert "none written down yet" in client.get(path).text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"direction": "looser"}, "does not make gaps looser"),
        ({"cause": "gremlins"}, "no cause called"),
        ({"amount": "wide"}, "amount"),
        ({"where": "E9"}, "has no valve E9"),
    ],
)
def test_a_cause_that_cannot_be_is_refused_with_what_was_typed(house, van, change, says):
    desk, client = house
    good = {"cause": "seat_recession_or_stretch", "where": "E3", "day": SINCE, "note": "kept words"}
    refused = post(client, f"{van}/found", **{**good, **change})
    assert refused.status == 422
    assert says in refused.text
    assert "kept words" in refused.text
    assert desk.book.accepted_causes(NAME) == ()


def test_an_engine_that_is_not_there_is_said(house):
    _, client = house
    assert client.get("/engines/nothing/tests").status == 404
    assert client.get("/engines/nothing/found").status == 404
