"""The page of search: one box, results by engine with the words marked; nothing typed breaks it."""

from __future__ import annotations

import shutil
from datetime import date
from urllib.parse import quote

import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.logbook.lasting import EngineTest, Work
from coldlash.logbook.records import NewVisit
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", date(2026, 11, 1))


@pytest.fixture
def house(made, tmp_path):
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(shutil.copy(made, tmp_path / "book.coldlash"))) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


def ask(client, words):
    return client.get(f"/search?words={quote(words)}")


def test_search_is_in_the_navigation_and_begins_empty(house):
    _, client = house
    assert '<a href="/search">Search</a>' in client.get("/").text
    page = client.get("/search")
    assert page.status == 200
    assert 'role="search"' in page.text
    assert "note" not in page.text.split("</form>")[1].split("</main>")[0]


def test_notes_are_shown_by_engine_with_the_words_marked_and_a_way_to_them(house):
    desk, client = house
    van, pump = desk.book.engine("Van engine"), desk.book.engine("Pump engine")
    boat = desk.book.add_vehicle("Ferry", note="zebra <ferry>")
    visit = desk.book.open_visit(
        "Pump engine", NewVisit(day=date(2026, 1, 2), distance_m=1, note="A Zebra & <b>more</b>")
    )
    desk.book.add_work(
        Work(engine_id=van.id, day=date(2026, 1, 3), kind="ground", part="seat", note="zebra stripes")
    )
    desk.book.add_test(
        EngineTest(engine_id=van.id, day=date(2025, 1, 3), kind="leak_down", note="zebra hiss")
    )
    text = ask(client, "zebra").text
    assert "4 notes." in text
    assert (
        text.index("<h2>Van engine</h2>") < text.index("<h2>Pump engine</h2>") < text.index("<h2>Ferry</h2>")
    )
    assert "A <mark>Zebra</mark> &amp; &lt;b&gt;more&lt;/b&gt;" in text
    assert f'<a href="/engines/{van.id}/work">2026-01-03, with work on it</a>' in text
    assert f'<a href="/engines/{pump.id}/visits/{visit.id}">2026-01-02, on the visit</a>' in text
    assert f'<a href="/vehicles/{boat.id}/odometer">on the vehicle</a>' in text
    assert f'<a href="/engines/{van.id}/tests">2025-01-03, with a test</a>' in text
    assert client.get(f"/engines/{van.id}/tests").status == 200
    for link in (
        f"/engines/{van.id}/work",
        f"/engines/{pump.id}/visits/{visit.id}",
        f"/vehicles/{boat.id}/odometer",
    ):
        assert client.get(link).status == 200
    assert "No note has all these words." in ask(client, "zebra unicorn").text


@pytest.mark.parametrize(
    "typed", ['"', "' OR 1=1 --", "<script>alert(1)</script>", "*", "\x00", "a" * 3000, "%ff"]
)
def test_nothing_that_is_typed_is_an_error_or_comes_back_as_markup(house, typed):
    _, client = house
    answer = ask(client, typed)
    assert answer.status == 200
    assert "<script>alert" not in answer.text
    assert client.get("/search?words=%ff%fe").status == 200
