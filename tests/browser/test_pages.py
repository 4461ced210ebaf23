"""Every page in a real browser: accessible, day and night, phone and desktop, large letters; nothing from elsewhere."""

from __future__ import annotations

import uuid
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import sync_playwright
from tests.browser.house import FLAGS, PHONE, Served, chromium
from tests.demos import demo_copy

from coldlash.desk.desk import Desk

AXE = (Path(__file__).parent / "assets" / "axe.min.js").read_text(encoding="utf-8")
# Independent software: axe-core's own rules of WCAG 2.2 A and AA and its best practices.
RUN = """() => axe.run(document, {resultTypes: ['violations']}).then((result) => result.violations.map(
  (found) => [found.id, found.help, found.nodes.map((node) => node.html.slice(0, 120))]))"""
WIRE = 150_000


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    book = demo_copy(folder / "book.coldlash", date(2026, 11, 1))
    house = Served(book, folder / "state").start()
    yield house
    house.close()


@pytest.fixture(scope="module")
def addresses(served):
    with Desk.open(str(served.book)) as desk:
        van = desk.book.engine("Van engine").id
        tender = desk.book.engine("Tender engine").id
        pump = desk.book.engine("Pump engine").id
        vehicle = desk.book.vehicle("Delivery van").id
        visit = desk.book.visits("Van engine")[-1].id
    return {
        "shed": "/",
        "settings": "/settings",
        "engine": f"/engines/{van}",
        "six cylinders": f"/engines/{tender}",
        "hours": f"/engines/{pump}",
        "valve": f"/engines/{van}/valves/E3",
        "visits": f"/engines/{van}/visits",
        "visit kept": f"/engines/{van}/visits/{visit}",
        "file": f"/engines/{van}/file",
        "past": f"/engines/{van}/past",
        "gap": f"/engines/{van}/gap",
        "heat": f"/engines/{van}/heat",
        "cooldown": f"/engines/{van}/cooldown",
        "work": f"/engines/{van}/work",
        "photos": f"/engines/{van}/photos",
        "add a photo": f"/photos/add?engine={van}&valve=E3",
        "search": "/search?words=in",
        "tests done": f"/engines/{van}/tests",
        "a test's result": f"/engines/{van}/tests?kind=stand_nuts_and_studs&where=3",
        "what was found": f"/engines/{van}/found?cause=seat_recession_or_stretch&where=E3",
        "where it sits": f"/engines/{van}/fit",
        "odometer": f"/vehicles/{vehicle}/odometer",
        "new vehicle": "/new/vehicle",
        "new blades": "/new/blades",
        "new engine": "/new/engine",
        "new engine text": "/new/engine?like=v8",
        "devices": "/devices",
        "visit": f"/visit#engine={van}",
        "offline": "/offline",
        "nothing there": f"/engines/{uuid.uuid4()}",
    }


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        yield started
        started.close()


DESKTOP = {"viewport": {"width": 1280, "height": 900}}
LOOKS = {
    "phone by day": ({**PHONE, "color_scheme": "light"}, "100%"),
    "phone by night, large letters": ({**PHONE, "color_scheme": "dark"}, "200%"),
    "desktop by day, large letters": ({**DESKTOP, "color_scheme": "light"}, "200%"),
    "desktop by night": ({**DESKTOP, "color_scheme": "dark"}, "100%"),
}


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_no_page_has_an_accessibility_violation(browser, served, addresses, look):
    options, letters = LOOKS[look]
    context = browser.new_context(**options)
    page = context.new_page()
    found = {}
    for name, address in addresses.items():
        page.goto(f"{served.url}{address}", wait_until="load")
        if address.startswith("/visit"):
            page.wait_for_selector("html[data-booted='true']")
        page.evaluate("(size) => document.documentElement.style.setProperty('font-size', size)", letters)
        page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        page.evaluate(AXE)
        violations = page.evaluate(RUN)
        if violations:
            found[name] = violations
    context.close()
    assert found == {}


def test_the_screens_of_a_visit_have_no_accessibility_violation_by_night_on_a_phone(
    browser, served, addresses
):
    context = browser.new_context(**PHONE, color_scheme="dark")
    page = context.new_page()
    page.goto(f"{served.url}{addresses['visit']}")
    page.wait_for_selector("html[data-booted='true']")
    page.fill("#meter", "37500")
    found = {}

    def look(name):
        page.evaluate(AXE)
        violations = page.evaluate(RUN)
        if violations:
            found[name] = violations

    page.get_by_role("button", name="Ready: open the visit").tap()
    look("plan")
    page.get_by_role("button", name="To the engine").tap()
    look("stop")
    page.get_by_role("button", name="It is there").tap()
    look("found")
    page.get_by_role("button", name="No blade goes").tap()
    look("again")
    page.get_by_role("button", name="It read the same").tap()
    look("set")
    page.get_by_role("button", name="Set on 0.15 mm").tap()
    look("left")
    page.get_by_role("link", name="Close up").tap()
    look("closing")
    page.get_by_role("button", name="Close the visit").tap()
    look("meaning")
    context.close()
    assert found == {}


def test_at_twice_the_letter_size_nothing_runs_off_a_phone(browser, served, addresses):
    # WCAG 2.2, 1.4.4 and 1.4.10: 200 % text without loss and without scrolling sideways.
    context = browser.new_context(**PHONE)
    page = context.new_page()
    wide = {}
    for name, address in addresses.items():
        page.goto(f"{served.url}{address}", wait_until="load")
        if address.startswith("/visit"):
            page.wait_for_selector("html[data-booted='true']")
        page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if over > 1:
            wide[name] = over
    context.close()
    assert wide == {}


def test_no_page_asks_another_host_breaks_its_policy_or_is_heavy(browser, served, addresses):
    context = browser.new_context(viewport={"width": 1280, "height": 900}, service_workers="block")
    page = context.new_page()
    hosts, complaints, weight, answers = set(), [], {}, []
    page.on("response", lambda answer: answers.append(answer))
    page.on("request", lambda request: hosts.add(urlsplit(request.url).netloc))
    page.on(
        "console",
        lambda said: complaints.append(said.text) if "Content Security Policy" in said.text else None,
    )
    page.on("pageerror", lambda error: complaints.append(str(error)))
    for name, address in addresses.items():
        answers.clear()
        page.goto(f"{served.url}{address}", wait_until="networkidle")
        weight[name] = sum(
            answer.request.sizes()["responseBodySize"]
            for answer in answers
            if answer.ok and "/api/" not in answer.url
        )
    context.close()
    assert hosts == {f"localhost:{served.port}"}
    assert complaints == []
    # The first page brings stylesheet, letters and scripts along; the others find them kept.
    assert 20_000 < max(weight.values()) < WIRE, weight


def test_the_shed_keeps_what_a_visit_needs_for_a_day_without_network(browser, served):
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(f"{served.url}/")
    page.wait_for_selector("html[data-kept='3']")
    context.close()
