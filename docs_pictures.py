"""Take the pictures of README and docs: the demo book on a phone, in the browser of the tests. Run by ./run docs."""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from coldlash.demo.fill import make_demo
from coldlash.desk.desk import Desk

HERE = Path(__file__).resolve().parent
FOLDER = HERE / "docs" / "pictures"
NAMES = ("shed", "engine", "valve", "stop", "found", "question", "set")


def main() -> int:
    """Write every picture anew."""
    sys.path.insert(0, str(HERE))
    from tests.browser.house import FLAGS, Served, chromium

    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        book = make_demo(f"{scratch}/demo.coldlash", date(2026, 11, 1))
        with Desk.open(str(book)) as desk:
            van = desk.book.engine("Van engine").id
        served = Served(book, Path(scratch) / "state").start()
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        context = browser.new_context(
            viewport={"width": 390, "height": 780}, device_scale_factor=1.5, has_touch=True, is_mobile=True,
            color_scheme="light",
        )  # fmt: skip
        page = context.new_page()
        page.clock.set_fixed_time("2026-11-01T10:00:00")
        try:
            _walk(page, served.url, van)
        finally:
            browser.close()
            served.close()
    return 0


def _walk(page: Page, url: str, van: str) -> None:
    page.goto(f"{url}/")
    _take(page, "shed")
    page.goto(f"{url}/engines/{van}")
    _take(page, "engine")
    page.goto(f"{url}/engines/{van}/valves/E3")
    _take(page, "valve")
    page.goto(f"{url}/visit#engine={van}")
    page.wait_for_selector("html[data-booted='true']")
    page.fill("#meter", "39100")
    page.get_by_role("button", name="Ready: open the visit").tap()
    page.get_by_role("button", name="To the engine").tap()
    _take(page, "stop")
    page.get_by_role("button", name="It is there").tap()
    _take(page, "found")
    page.get_by_role("button", name="No blade goes").tap()
    _take(page, "question")
    page.get_by_role("button", name="Measure once more").tap()
    page.locator("[data-um='130']").tap()
    _take(page, "set")


def _take(page: Page, name: str) -> None:
    page.wait_for_timeout(400)
    picture = Image.open(BytesIO(page.screenshot()))
    picture.convert("RGB").quantize(64).save(FOLDER / f"{name}.png", optimize=True)


if __name__ == "__main__":
    sys.exit(main())
