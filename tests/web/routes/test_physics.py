"""What this gap does, hot and cold, until it is cold: asked and answered through the pages."""

from __future__ import annotations

from datetime import UTC, date, datetime
from urllib.parse import parse_qs, urlsplit

import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("physics")
    book = demo_copy(folder / "book.coldlash", date(2026, 11, 1))
    pairing = Pairing(folder / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


@pytest.fixture
def client(house):
    return house[1]


def address(house, engine="Van engine"):
    return f"/engines/{house[0].book.engine(engine).id}"


@pytest.fixture
def van(house):
    return address(house)


def test_what_this_gap_does_begins_with_the_valve_farthest_off_as_last_found(client, van):
    text = client.get(f"{van}/gap").text
    assert "<option selected>3</option>" in text  # the demo's exhaust 3 tightens
    assert "as last found" in text
    assert "Lift of E3 and I3" in text
    assert text.count("<svg") == text.count("The same as a table") == 3


def test_every_figure_of_the_page_opens_to_its_formula_inputs_source_and_limits(client, van):
    text = client.get(f"{van}/gap").text
    assert text.count("<b>How</b>") == text.count("<b>Source</b>") == text.count("<b>Holds</b>") > 15


def test_breathing_is_worked_out_when_asked_for(client, van):
    assert "takes in" not in client.get(f"{van}/gap").text
    text = client.get(f"{van}/gap?cylinder=3&exhaust=0.40&cost=E3").text
    assert "E3 at 0.40\xa0mm instead of 0.15\xa0mm: at 3000 rpm the cylinder takes in" in text
    assert "Compression test" in text


def test_a_gap_that_can_not_be_keeps_what_was_typed(client, van):
    answer = client.get(f"{van}/gap?cylinder=3&exhaust=15")
    assert answer.status == 422
    assert "a gap is below 5 mm" in answer.text
    assert 'value="15"' in answer.text
    assert client.get(f"{van}/gap?cost=E9").status == 422


def test_an_engine_without_a_lobe_is_told_what_its_file_needs(house, client):
    answer = client.get(f"{address(house, 'Tender engine')}/gap")
    assert answer.status == 200
    assert "[lobe.intake]" in answer.text
    assert f"{address(house, 'Tender engine')}/file" in answer.text


def test_hot_and_cold_shows_garage_trap_and_warm_gap(client, van):
    text = client.get(f"{van}/heat").text
    for words in (
        "In the garage",
        "Half cooled is the trap",
        "Warm gap",
        "What each zone does to the exhaust gap",
    ):
        assert words in text
    assert text.count("<svg") == text.count("The same as a table") == 2


def test_the_owners_own_zones_are_worked_out_and_faults_keep_them(client, van):
    hotter = client.get(f"{van}/heat?of=zones&zone-exhaust_valve=600").text
    assert "exhaust valve, 600 °C" in hotter
    refused = client.get(f"{van}/heat?of=zones&zone-head=warm")
    assert refused.status == 422
    assert "head: &#39;warm&#39; is not a number" in refused.text
    assert 'value="warm"' in refused.text
    missing = client.get(f"{van}/heat?of=zones&zone-head=")
    assert missing.status == 422
    assert "head: &#39;&#39; is not a number" in missing.text


def test_two_days_give_the_engines_own_figure(client, van):
    query = "of=even&cold-temp=4&warm-temp=28&blades=metric&E1-cold=0.10/0.15&E1-warm=0.15/0.20"
    text = client.get(f"{van}/heat?{query}").text
    assert "As measured" in text
    assert "This is worked out, not kept" in text
    refused = client.get(f"{van}/heat?{query}&I1-cold=plank")
    assert refused.status == 422
    assert "I1 cold: " in refused.text
    assert 'value="plank"' in refused.text
    assert client.get(f"{van}/heat?of=even&blades=nobodys").status == 422


def test_cold_and_hot_are_compared(client, van):
    query = "of=hot&cold-temp=20&blades=metric&E1-cold=0.15/0.20&E1-hot=0.10/0.15"
    assert "Measured change" in client.get(f"{van}/heat?{query}").text


def test_an_engine_without_a_stack_is_told_what_its_file_needs(house, client):
    text = client.get(f"{address(house, 'Pump engine')}/heat").text
    assert "[[stack]]" in text


def test_a_reading_moves_into_the_address_so_that_a_reload_counts_on(client, van):
    first = client.get(f"{van}/cooldown?air=18&temp=92&ago=45")
    assert first.status == 303
    kept = parse_qs(urlsplit(first.header("location")).query)
    assert kept["air"] == ["18"]
    assert len(kept["r"]) == 1
    page = client.get(first.header("location"))
    assert "One reading: 92 °C" in page.text
    second = client.get(f"{first.header('location')}&temp=61&ago=0").header("location")
    text = client.get(second).text
    until = datetime.fromisoformat(text.split('data-until="')[1].split('"')[0])
    # Newton's law by hand: tau = 45 / ln(74 / 43) = 82.9 min; to 6.3 K (this engine's stack) about 159 min
    assert 150 < (until - datetime.now(UTC)).total_seconds() / 60 < 165
    assert client.get(second).text.split('data-until="')[1].split('"')[0] == until.isoformat()
    assert "How it cools" in text


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("air=18&temp=", "engine temperature: is empty"),
        ("air=&temp=92", "give the temperature of the air"),
        ("air=18&temp=warm", "engine temperature: &#39;warm&#39; is not a number"),
        ("air=18&r=nonsense", "is not one that this page made"),
        ("air=18&r=29000000:61&temp=92", "more than a day apart"),
    ],
)
def test_readings_that_can_not_be_are_refused_and_stay_in_the_form(client, van, query, words):
    answer = client.get(f"{van}/cooldown?{query}")
    assert answer.status == 422
    assert words in answer.text


def test_an_engine_as_cold_as_the_air_is_ready(client, van):
    onward = client.get(f"{van}/cooldown?air=18&temp=19").header("location")
    assert "It is cold enough now." in client.get(onward).text


def test_an_engine_the_book_does_not_have_is_not_found(client):
    for page in ("gap", "heat", "cooldown"):
        assert client.get(f"/engines/nothing/{page}").status == 404
