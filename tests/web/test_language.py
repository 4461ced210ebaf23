"""The pages in the language of who asks; and that no text of theirs was left out of the catalogue."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import lxml.html
import pytest
from tests.demos import demo_copy
from tests.untold import outside, untold
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.language import PSEUDO
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.settings import Settings

GERMAN = [("accept-language", "de-AT,de;q=0.8,en;q=0.5")]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", date(2026, 11, 1))


@pytest.fixture(scope="module")
def desk(demo: Path) -> Iterator[Desk]:
    with Desk.open(str(demo)) as desk:
        yield desk


@pytest.fixture
def house(desk: Desk, tmp_path: Path) -> Iterator[Client]:
    pairing = Pairing(tmp_path / "state")
    yield Client(book_app(Settings(pairing, languages=("en", "de", PSEUDO)), desk))
    pairing.close()


def test_the_browsers_language_is_spoken_and_said_in_the_headers(house: Client) -> None:
    page = house.get("/settings", GERMAN)
    assert '<html lang="de"' in page.text
    assert "Einstellungen" in page.text
    assert page.header("content-language") == "de"
    assert {"Accept-Language", "Cookie"} <= {part.strip() for part in page.header("vary").split(",")}


def test_the_owners_choice_comes_before_the_browsers(house: Client) -> None:
    form = {"language": "en", "form_token": house.form_token("/settings")}
    assert house.ask("POST", "/language", form=form).status == 303
    assert '<html lang="en"' in house.get("/", GERMAN).text
    form = {"language": "", "form_token": house.form_token("/settings")}
    house.ask("POST", "/language", form=form)
    house.cookies.pop("coldlash-language", None)
    assert '<html lang="de"' in house.get("/", GERMAN).text


def test_the_choice_is_marked_and_each_language_stands_in_its_own_name(house: Client) -> None:
    page = lxml.html.fromstring(house.get("/settings", [("cookie", "coldlash-language=de")]).text)
    names = {button.get("value"): button for button in page.xpath("//form[@action='/language']//button")}
    assert names["de"].text_content() == "Deutsch"
    assert names["de"].get("aria-pressed") == "true"
    assert names["en"].text_content() == "English"
    assert names["en"].get("aria-pressed") is None
    assert PSEUDO not in names


def test_a_language_that_is_not_there_is_refused(house: Client) -> None:
    form = {"language": "fr", "form_token": house.form_token("/settings")}
    answer = house.ask("POST", "/language", form=form)
    assert answer.status == 422
    assert "There are no pages in &#39;fr&#39; here." in answer.text
    assert "coldlash-language" not in house.cookies


def test_a_page_kept_in_one_language_is_not_shown_in_another(house: Client) -> None:
    english, german, again = house.get("/"), house.get("/", GERMAN), house.get("/")
    assert "Begin a visit" in english.text
    assert "Begin a visit" not in german.text
    assert "Prüfung" in german.text
    assert again.text == english.text


def test_days_and_numbers_are_the_languages_own(house: Client, desk: Desk) -> None:
    engine = desk.book.engine("Van engine").id
    page = house.get(f"/engines/{engine}", GERMAN).text
    last = desk.book.visits(engine)[-1].day
    assert f"{last:%d.%m.%Y}" in page
    assert last.isoformat() not in lxml.html.fromstring(page).text_content()
    assert "0,15" in page
    assert "0.15" not in lxml.html.fromstring(page).text_content()


def test_problems_are_told_in_the_language_and_keep_their_kind(house: Client) -> None:
    answer = house.get("/api/nothing", [*GERMAN, ("accept", "application/json")])
    assert answer.status == 404
    assert answer.json["error"]["kind"] == "not_found"
    assert answer.json["error"]["message"] == "Eine solche Seite gibt es hier nicht."


# Names, notes and people of the demo's book, and the engine files, are the owner's own words.
def _data(desk: Desk) -> set[str]:
    # The names of the standard blade sets are typed as options on the terminal: the same in every language.
    data = {
        "metric-fine",
        "metric",
        "workshop fine",
        "workshop",
        "inch",
        "Letter",  # the paper's own name
        "Van engine",
        "Pump engine",
        "Tender engine",
        "Delivery van",
        "Harbour pump",
        "Fire tender",
    }
    for entry in desk.book.engines():
        for visit in desk.book.visits(entry.id):
            data |= {visit.by or "", visit.note, *(reading.note for reading in visit.readings.values())}
        for row in desk.book.work(entry.id):
            data |= {row.note, row.by or ""}
    return {text for text in data if text}


SHOWN = ("title", "aria-label", "placeholder", "alt", "content")
NOT_TEXT = ("script", "style", "code", "textarea")


def _lines(page: lxml.html.HtmlElement) -> list[str]:
    """The page's texts in order, one a line. A sentence with a link in it takes several; its ⟦ ⟧ span them."""
    lines = []

    def walk(element: lxml.html.HtmlElement) -> None:
        if isinstance(element.tag, str):
            lines.extend(element.get(name) or "" for name in SHOWN if element.tag != "meta")
            # A fingerprint or checksum is figures.
            if element.tag not in NOT_TEXT and element.get("class") != "fingerprint":
                lines.append(element.text or "")
                for child in element:
                    walk(child)
        lines.append(element.tail or "")

    walk(page)
    return outside("\n".join(" ".join(line.split()) for line in lines)).split("\n")


# Addresses that no page of the demo links to: each refused or answered in words of its own.
OTHERS = [
    "/devices", "/trust", "/pair", "/offline", "/no-such-page", "/visit", "/new/vehicle", "/search?words=oil",
    "/engines/00000000-0000-4000-8000-000000000000",
]  # fmt: skip


def test_every_text_of_every_page_went_through_the_catalogue(house: Client, desk: Desk) -> None:
    data = _data(desk)
    asked = [("cookie", f"coldlash-language={PSEUDO}")]
    seen: dict[str, str] = {}
    waiting = ["/", *OTHERS]
    found: dict[str, set[str]] = {}
    while waiting:
        path = waiting.pop(0)
        # One of each kind is enough: the same page of another engine, valve or visit has the same texts.
        parts = path.partition("?")[0].split("/")
        kind = path if path in OTHERS else "/".join(_kind(part) for part in parts)
        if kind in seen:
            continue
        answer = house.get(path, asked)
        if not answer.header("content-type").startswith("text/html"):
            continue
        seen[kind] = path
        page = lxml.html.fromstring(answer.text)
        for text in _lines(page):
            if untold(text, data):
                found.setdefault(text[:160], set()).add(kind)
        for link in page.xpath("//a/@href"):
            if link.startswith("/") and "#" not in link:
                waiting.append(link)
    assert len(seen) > 20, seen
    assert not found, "\n".join(f"{sorted(kinds)[0]}: {text}" for text, kinds in sorted(found.items()))


# What people may get wrong: the form's page and a value it refuses.
REFUSED = [
    ("/new/vehicle", {"name": ""}),
    ("/new/vehicle", {"name": "Cart", "digits": "six"}),
    ("/new/blades", {"name": ""}),
    ("/new/blades", {"name": "mine", "blades": "0.05 thick"}),
    ("/new/engine", {"text": "cylinders = many"}),
    ("/engines/{engine}/past", {"day": "yesterday"}),
    ("/engines/{engine}/past", {"day": "2999-01-01"}),
    ("/engines/{engine}/past", {"day": "2020-01-01", "distance": "far"}),
    ("/engines/{engine}/past", {"day": "2020-01-01", "distance": "84.210"}),
    ("/engines/{engine}/work", {"part": "pushrod", "kind": "replaced", "where": "E99"}),
    ("/engines/{engine}/work", {"take_back": "no such id", "reason": ""}),
    ("/engines/{engine}/fit", {"meter": "lots"}),
    ("/vehicles/{vehicle}/odometer", {"reading": ""}),
    ("/vehicles/{vehicle}/odometer", {"reading": "1", "day": "2026-01-01"}),
    ("/settings", {"gap_unit": "yard"}),
]


@pytest.mark.parametrize(("path", "values"), REFUSED)
def test_what_a_form_refuses_is_told_in_the_language(
    house: Client, desk: Desk, path: str, values: dict[str, str]
) -> None:
    engine, vehicle = desk.book.engine("Van engine").id, desk.book.vehicle("Delivery van").id
    path = path.format(engine=engine, vehicle=vehicle)
    house.cookies["coldlash-language"] = PSEUDO
    # The engine's form shows its token only after a choice.
    token = house.form_token("/new/vehicle")
    answer = house.ask("POST", path, form={**values, "form_token": token})
    assert answer.status == 422
    page = lxml.html.fromstring(answer.text)
    fault = " ".join(each.text_content() for each in page.xpath("//*[@role='alert']"))
    assert fault.strip()
    names = {"name", "digits", "blades", "distance", "where", "reason", "meter", "reading", "day", "text"}
    assert untold(fault, _data(desk) | names | set(values.values()) | set(values)) == []


def _kind(part: str) -> str:
    if len(part) == 36 and part.count("-") == 4:
        return "ID"
    return "VALVE" if part[:1] in "IE" and part[1:].isdecimal() else part
