"""Which language a request is answered in, and what the answer says it depends on."""

from __future__ import annotations

import dataclasses
import json

import pytest
from starlette.applications import Starlette
from tests.web.conftest import Client, book_routes

from coldlash.language import NAMES, PSEUDO
from coldlash.web.application import create_app
from coldlash.web.settings import Settings
from coldlash.web.templating import wanted


# Published: RFC 9110, 12.5.4 (its own example is the first) and 12.4.2: "0" means not acceptable.
@pytest.mark.parametrize(
    ("header", "tags"),
    [
        ("da, en-gb;q=0.8, en;q=0.7", ["da", "en-gb", "en"]),
        ("en;q=0.5,de", ["de", "en"]),
        ("en; q=0.5 , de ;q=0.9", ["de", "en"]),
        ("de;Q=0.1,en;q=0.2", ["en", "de"]),
        ("de;q=0,en;q=0.1", ["en"]),
        ("de;q=0.000", []),
        ("de;q=2,fr;q=nan,it;q=x,en", ["en"]),
        ("de,en", ["de", "en"]),
        ("", []),
        (";q=1,,", []),
    ],
)
def test_the_browsers_wishes_are_ranked_by_their_quality(header: str, tags: list[str]) -> None:
    assert wanted(header) == tags


@pytest.fixture
def house(settings: Settings) -> Client:
    return Client(create_app(dataclasses.replace(settings, languages=(*NAMES, PSEUDO)), [book_routes]))


@pytest.fixture
def usual(app: Starlette) -> Client:
    return Client(app)


def spoken(client: Client, accept: str = "", cookie: str = "", path: str = "/offline") -> str:
    client.cookies.pop("coldlash-language", None)
    if cookie:
        client.cookies["coldlash-language"] = cookie
    answer = client.get(path, [("accept-language", accept)] if accept else [])
    language = answer.header("content-language")
    assert f'<html lang="{language}"' in answer.text
    return language


def test_the_choice_comes_first_then_the_browser_then_english(usual: Client) -> None:
    assert spoken(usual) == "en"
    assert spoken(usual, "fr, it;q=0.5") == "en"
    assert spoken(usual, "fr, de-CH;q=0.5, en;q=0.4") == "de"
    assert spoken(usual, "de", "en") == "en"
    assert spoken(usual, "en", "de") == "de"
    assert spoken(usual, "de", "fr") == "de"
    assert spoken(usual, "de;q=0, en;q=0.1") == "en"


def test_the_language_for_tests_is_there_only_where_it_was_asked_for(usual: Client, house: Client) -> None:
    assert spoken(usual, PSEUDO, PSEUDO) == "en"
    assert spoken(house, "de", PSEUDO) == PSEUDO


def test_one_request_does_not_change_the_language_of_the_next(house: Client) -> None:
    assert spoken(house, "de") == "de"
    assert spoken(house, "en") == "en"
    assert spoken(house, "", PSEUDO) == PSEUDO
    assert spoken(house) == "en"


def test_pages_and_refusals_say_that_they_depend_on_the_language(house: Client, stranger: Client) -> None:
    pages = ("/offline", "/nothing", "/api/nothing", "/manifest.webmanifest")
    for answer in (*map(house.get, pages), stranger.get("/")):
        vary = {part.strip().lower() for part in answer.header("vary").split(",")}
        assert {"accept-language", "cookie"} <= vary
        assert answer.header("content-language") == "en"


def test_files_are_the_same_in_every_language_and_say_nothing_of_one(house: Client) -> None:
    path = house.get("/offline").text.split('rel="stylesheet" href="')[1].split('"')[0]
    for name in (path, path.replace("coldlash.css", "words/de.json")):
        answer = house.get(name, [("accept-language", "de")])
        assert answer.status == 200
        assert answer.header("content-language") == ""
        assert "cookie" not in answer.header("vary").lower()


def test_refusals_are_told_in_the_language_and_keep_their_kind_for_programs(house: Client) -> None:
    pseudo = [("cookie", f"coldlash-language={PSEUDO}")]
    json_wanted = [*pseudo, ("accept", "application/json")]
    for method, path, kind in (
        ("GET", "/api/none", "not_found"),
        ("POST", "/api/change", "form_out_of_date"),
    ):
        error = house.ask(method, path, json_wanted).json["error"]
        assert error["kind"] == kind
        assert error["message"].startswith("⟦")
        assert error["hint"].startswith("⟦")
    page = house.ask("GET", "/broken", pseudo, raises=RuntimeError)
    assert page.status == 500
    assert "⟦Something went wrong in coldlash itself; it is written in its log." in page.text


def test_the_manifest_is_in_the_language_of_who_installs_it(house: Client) -> None:
    pseudo = json.loads(house.get("/manifest.webmanifest", [("cookie", f"coldlash-language={PSEUDO}")]).body)
    english = json.loads(house.get("/manifest.webmanifest").body)
    assert english["lang"] == "en"
    assert pseudo["lang"] == PSEUDO
    assert pseudo["description"].startswith("⟦")
    assert {**pseudo, "lang": "", "description": ""} == {**english, "lang": "", "description": ""}


def test_the_scripts_words_of_every_language_are_kept_with_the_shell(house: Client) -> None:
    shell = house.get("/sw.js").text
    for tag in NAMES:
        assert tag == "en" or f"/words/{tag}.json" in shell
