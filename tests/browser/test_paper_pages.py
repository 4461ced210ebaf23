"""Paper and calendar pages in a browser: accessible, small; from the strip's form to the PDF's bytes on a phone."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path

import pdfplumber
import pytest
from playwright.sync_api import expect, sync_playwright
from tests.browser.house import FLAGS, PHONE, Served, chromium
from tests.browser.test_pages import AXE, LOOKS, RUN
from tests.demos import demo_copy

from coldlash.desk.desk import Desk

POINTS_A_MM = 72 / 25.4


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("paper")
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


STRIP = "asked=1&diameter=175&thickness=0.1&height=16&turns=&mark=tdc&mark=half&timing=10&others=&paper=a4"


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_no_paper_page_has_an_accessibility_violation_or_runs_off(browser, served, van, look):
    # Independent software: axe-core. WCAG 2.2, 1.4.4 and 1.4.10: letters of 200 % without scrolling sideways.
    options, letters = LOOKS[look]
    context = browser.new_context(**options)
    page = context.new_page()
    found, wide = {}, {}
    for address in (
        f"{van}/print",
        f"{van}/print/strip",
        f"{van}/print/strip?{STRIP}",
        f"{van}/print/strip?{STRIP.replace('175', 'wide')}",
        f"{van}/print/report?paper=a4",
        f"{van}/print/check?checksum=0000000000000000",
        f"{served.url}/calendar",
    ):
        page.goto(address, wait_until="load")
        page.evaluate("(size) => document.documentElement.style.setProperty('font-size', size)", letters)
        page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        page.evaluate(AXE)
        if violations := page.evaluate(RUN):
            found[address] = violations
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if over > 1:
            wide[address] = over
    context.close()
    assert found == {}
    assert wide == {}


def test_on_a_phone_a_strip_goes_from_the_form_to_a_pdf_at_true_scale(browser, van):
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(van)
    page.get_by_role("link", name="a strip for the pulley").click()
    page.get_by_label("Diameter of the pulley, mm").fill("wide")
    page.get_by_role("button", name="Lay it out").click()
    expect(page.locator("#fault")).to_contain_text("is not a number")
    expect(page.get_by_label("Diameter of the pulley, mm")).to_have_value("wide")
    page.get_by_label("Diameter of the pulley, mm").fill("60")
    page.get_by_label("Static timing, degrees before TDC").fill("7,5")
    page.get_by_role("button", name="Lay it out").click()
    # Derived: pi x (60 + 0.1) = 188.81 mm round.
    expect(page.get_by_text("Once round: 188.8 mm.")).to_be_visible()
    with page.expect_download() as coming:
        page.get_by_role("link", name="Take the PDF").click()
    assert coming.value.suggested_filename == "strip-van-engine.pdf"
    content = Path(coming.value.path()).read_bytes()
    context.close()
    # Independent software: pdfplumber. The piece's outline is the strip and 10 mm of lap, at true scale.
    with pdfplumber.open(io.BytesIO(content)) as pdf:
        widths = [(rect["x1"] - rect["x0"]) / POINTS_A_MM for rect in pdf.pages[0].rects]
    assert any(abs(width - (188.81 + 10)) < 0.1 for width in widths), widths


def test_an_address_for_a_calendar_is_made_shown_once_and_revoked(browser, served):
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(f"{served.url}/calendar")
    page.get_by_label("Who has it").fill("Oona's phone")
    page.get_by_role("button", name="Make an address").click()
    address = page.locator("#address").inner_text()
    page.evaluate(AXE)
    assert page.evaluate(RUN) == []
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 1
    answer = context.request.get(address)
    assert answer.status == 200
    assert answer.text().startswith("BEGIN:VCALENDAR")
    page.goto(f"{served.url}/calendar")
    assert address not in page.content()
    page.get_by_role("button", name="Revoke Oona's phone").click()
    expect(page.get_by_text("none yet")).to_be_visible()
    assert context.request.get(address).status == 404
    context.close()
