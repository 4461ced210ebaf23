"""The answered physics pages in a browser: accessible, by keyboard, small; the countdown live and without network."""

from __future__ import annotations

import re
import time
from datetime import date
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect, sync_playwright
from tests.browser.house import FLAGS, PHONE, Served, chromium
from tests.browser.test_pages import AXE, LOOKS, RUN, WIRE
from tests.demos import demo_copy

from coldlash.desk.desk import Desk


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("physics")
    book = demo_copy(folder / "book.coldlash", date(2026, 11, 1))
    house = Served(book, folder / "state").start()
    yield house
    house.close()


@pytest.fixture(scope="module")
def van(served):
    with Desk.open(str(served.book)) as desk:
        return f"{served.url}/engines/{desk.book.engine('Van engine').id}"


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        yield started
        started.close()


def answered(van):
    now = time.time() / 60
    days = "of=even&cold-temp=4&warm-temp=28&blades=metric&E1-cold=0.10/0.15&E1-warm=0.15/0.20"
    return {
        "gap": f"{van}/gap?cylinder=3&exhaust=0.40&intake=0.15&rpm=3000&cost=E3",
        "held open": f"{van}/gap?cylinder=3&exhaust=-0.05",
        "gap refused": f"{van}/gap?exhaust=15",
        "two days": f"{van}/heat?{days}",
        "heat refused": f"{van}/heat?of=zones&zone-head=warm",
        "one reading": f"{van}/cooldown?air=18&r={now:.2f}:92",
        "counting": f"{van}/cooldown?air=18&r={now - 45:.2f}:92&r={now:.2f}:61",
        "over": f"{van}/cooldown?air=18&r={now - 700:.2f}:92&r={now - 655:.2f}:61",
        "cold": f"{van}/cooldown?air=18&r={now:.2f}:19",
    }


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_no_answered_page_has_an_accessibility_violation_or_runs_off(browser, van, look):
    # Independent software: axe-core. WCAG 2.2, 1.4.4 and 1.4.10: letters of 200 % without scrolling sideways.
    options, letters = LOOKS[look]
    context = browser.new_context(**options)
    page = context.new_page()
    found, wide = {}, {}
    for name, address in answered(van).items():
        page.goto(address, wait_until="load")
        page.evaluate("(size) => document.documentElement.style.setProperty('font-size', size)", letters)
        page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        page.evaluate(AXE)
        if violations := page.evaluate(RUN):
            found[name] = violations
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if over > 1:
            wide[name] = over
    context.close()
    assert found == {}
    assert wide == {}


def test_answered_pages_are_small_ask_nobody_else_and_keep_to_the_policy(browser, served, van):
    context = browser.new_context(viewport={"width": 360, "height": 780}, service_workers="block")
    page = context.new_page()
    hosts, complaints, answers = set(), [], []
    page.on("request", lambda request: hosts.add(urlsplit(request.url).netloc))
    page.on("response", lambda answer: answers.append(answer))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if "Security Policy" in said.text else None)
    weight = {}
    for name, address in answered(van).items():
        answers.clear()
        page.goto(address, wait_until="networkidle")
        weight[name] = sum(answer.request.sizes()["responseBodySize"] for answer in answers)
    context.close()
    assert hosts == {f"localhost:{served.port}"}
    assert complaints == []
    assert 0 < max(weight.values()) < WIRE, weight


def test_a_figure_is_asked_why_by_keyboard(browser, van):
    context = browser.new_context(viewport={"width": 360, "height": 780})
    page = context.new_page()
    page.goto(f"{van}/gap")
    row = page.locator(".figures summary", has_text="Landing energy").first
    row.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("kinetic energy m v^2 / 2, the same mass on both sides").first).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.get_by_text("kinetic energy m v^2 / 2, the same mass on both sides").first).to_be_hidden()
    context.close()


def test_a_question_is_asked_by_keyboard_and_answered_in_place(browser, van):
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(f"{van}/gap")
    page.get_by_label("Exhaust gap, mm").fill("0.40")
    page.keyboard.press("Enter")
    expect(page.get_by_text(re.compile("E3 at 0.40.mm instead of 0.15.mm"))).to_be_visible()
    expect(page.get_by_label("Exhaust gap, mm")).to_have_value("0.40")
    context.close()


def take(page, temp, ago):
    page.get_by_label("Engine, °C").fill(temp)
    page.get_by_label("Minutes ago").fill(ago)
    page.get_by_role("button", name="Take this reading").click()


def seconds(text):
    parts = [int(part) for part in text.split(":")]
    return sum(part * 60**power for power, part in enumerate(reversed(parts)))


def test_two_readings_start_a_countdown_that_runs_and_ends_in_words(browser, van):
    context = browser.new_context(**PHONE)
    page = context.new_page()
    # The browser's clock is moved by hand; the moment itself comes from the book.
    page.clock.install(time=time.time())
    page.goto(f"{van}/cooldown")
    page.get_by_label("Air around it, °C").fill("18")
    take(page, "92", "45")
    expect(page.get_by_text("One reading: 92 °C")).to_be_visible()
    take(page, "61", "0")
    left = page.locator("#left")
    expect(left).to_have_text(re.compile(r"2:\d\d:\d\d"))
    before = seconds(left.inner_text())
    page.clock.fast_forward("01:00:00")
    page.wait_for_function("document.getElementById('left').textContent.startsWith('1:')")
    assert 3590 <= before - seconds(left.inner_text()) <= 3610
    page.clock.fast_forward("03:00:00")
    expect(page.get_by_text("By these readings it is cold enough now")).to_be_visible()
    expect(left).to_have_text("0:00")
    context.close()


def test_a_countdown_goes_on_without_network_and_is_found_again(browser, tmp_path):
    book = demo_copy(tmp_path / "book.coldlash", date(2026, 11, 1))
    house = Served(book, tmp_path / "state").start()
    with Desk.open(str(book)) as desk:
        engine = f"{house.url}/engines/{desk.book.engine('Van engine').id}"
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(f"{engine}/cooldown")
    page.evaluate("navigator.serviceWorker.ready")
    page.reload()
    page.get_by_label("Air around it, °C").fill("18")
    take(page, "92", "45")
    take(page, "61", "0")
    expect(page.locator("#left")).to_have_text(re.compile(r"2:\d\d:\d\d"))
    address = page.url
    page.reload()  # now by the worker, which keeps it
    house.kill()
    page.reload()
    expect(page.get_by_text("The book can’t be reached")).to_be_visible()
    expect(page.locator("#left")).to_have_text(re.compile(r"2:\d\d:\d\d"))
    page.goto(f"{engine}/cooldown")
    again = page.get_by_role("link", name="Go on with the countdown that was begun")
    expect(again).to_be_visible()
    again.click()
    expect(page.locator("#left")).to_have_text(re.compile(r"2:\d\d:\d\d"))
    assert page.url == address
    context.close()
    house.close()
