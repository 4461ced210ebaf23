"""The pages of import in a browser: accessible, on a phone and without scripts; a file is taken in and out again."""

from __future__ import annotations

import shutil
from datetime import date

import pytest
from playwright.sync_api import expect, sync_playwright
from tests.browser.house import FLAGS, Served, chromium
from tests.browser.test_pages import AXE, RUN
from tests.demos import demo_copy
from tests.logbook.sheets.written import as_xlsx

from coldlash.desk.desk import Desk

SHEET = [
    ["Date", "Odometer", "Valve", "Gap", "Set to", "Remarks"],
    ["4/5/1999", 1000, "E3", 0.15, 0.20, "rough"],
    ["5/6/2000", 2000, "E3", "abc", None, None],
    ["oil changed", None, None, None, None, None],
]
PHONE = {"viewport": {"width": 390, "height": 844}}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("import") / "book.coldlash", date(2026, 11, 1))


@pytest.fixture
def served(made, tmp_path):
    book = shutil.copy(made, tmp_path / "book.coldlash")
    house = Served(book, tmp_path / "state").start()
    yield house
    house.close()


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        yield started
        started.close()


def checked(page) -> None:
    # Independent software: axe-core; WCAG 2.2, 1.4.10 (no scrolling sideways) and 2.5.8 with the house's 44 px.
    page.evaluate(AXE)
    assert page.evaluate(RUN) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 1
    small = page.evaluate(
        "[...document.querySelectorAll('main button, main select, main input:not([type=hidden]):not([type=checkbox])')]"
        ".filter((part) => part.getBoundingClientRect().height < 44).map((part) => part.outerHTML.slice(0, 80))"
    )
    assert small == []


@pytest.mark.parametrize("scripts", [True, False])
def test_a_sheet_is_taken_in_and_out_again_on_a_phone(browser, served, tmp_path, scripts):
    files = {}
    for name, rows in (("bad", SHEET), ("good", [row for row in SHEET if row[3] != "abc"])):
        files[name] = tmp_path / f"{name}.xlsx"
        files[name].write_bytes(as_xlsx(rows))
    context = browser.new_context(**PHONE, java_script_enabled=scripts, service_workers="block")
    context.set_default_timeout(20_000)
    page = context.new_page()
    look = checked if scripts else lambda _: None  # axe is a script itself
    page.goto(f"{served.url}/import")
    look(page)
    page.get_by_label("File").set_input_files(files["bad"])
    page.get_by_label("Engine").select_option(label="Van engine")
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("heading", name="What must be told first")).to_be_visible()
    look(page)
    page.get_by_role("button", name="Put this file away").click()

    page.get_by_label("File").set_input_files(files["good"])
    page.get_by_label("Engine").select_option(label="Van engine")
    page.get_by_role("button", name="Look at it").click()
    page.get_by_label("One number for a gap found is").select_option("felt")
    page.get_by_label("The distance is").select_option("own")
    page.get_by_role("group", name="A Date").get_by_label("Order").select_option("dmy")
    for column, unit in (("B Odometer", "km"), ("D Gap", "mm"), ("E Set to", "mm")):
        page.get_by_role("group", name=column).get_by_label("In", exact=True).select_option(unit)
    page.get_by_role("button", name="Look again").click()
    expect(page.get_by_text("1 visit would be added.")).to_be_visible()
    look(page)
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("1 visit added.")).to_be_visible()
    look(page)
    page.get_by_role("link", name="Look at it, or take it out again").click()
    look(page)
    page.get_by_label("Why").fill("a trial")
    page.get_by_role("button", name="Take it out").click()
    expect(page.get_by_text("Undone on")).to_be_visible()
    context.close()
    with Desk.open(str(served.book)) as desk:
        assert [entry.undone_reason for entry in desk.book.imports()] == ["a trial"]


def test_the_page_of_progress_follows_the_work_by_itself(browser, served, tmp_path):
    # 20,000 rows take a few seconds: the page shows that it is busy, and then what it found.
    rows = [["Date", "km", "Valve", "Gap mm"]]
    rows += [
        [date(1950 + n // 300, 1 + n % 12, 1 + n // 12 % 25), n, f"I{1 + n % 4}", 0.15] for n in range(20_000)
    ]
    path = tmp_path / "long.xlsx"
    path.write_bytes(as_xlsx(rows))
    context = browser.new_context(**PHONE, service_workers="block")
    context.set_default_timeout(60_000)
    page = context.new_page()
    page.goto(f"{served.url}/import")
    page.get_by_label("File").set_input_files(path)
    page.get_by_label("Engine").select_option(label="Van engine")
    page.get_by_role("button", name="Look at it").click()
    busy = page.locator("#progress")
    if busy.count():
        checked(page)
    expect(page.get_by_role("heading", name="How it is understood")).to_be_visible(timeout=60_000)
    context.close()
