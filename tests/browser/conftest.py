"""Real Chromium for the tests of the pages' own modules. A missing browser fails with its remedy (house.chromium)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, Playwright, sync_playwright
from tests.browser.fake_book import FakeBook
from tests.browser.house import FLAGS, chromium

# A name that only this browser resolves, to this machine: over plain HTTP it is no secure context.
NEIGHBOUR = "garage.local"


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    # One per module: other modules run their own, and there can be only one at a time.
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    flags = [flag for flag in FLAGS if not flag.startswith("--host-resolver-rules")]
    rules = f"MAP {NEIGHBOUR} 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1"
    started = playwright.chromium.launch(
        executable_path=chromium(), args=[*flags, f"--host-resolver-rules={rules}"]
    )
    yield started
    started.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page in a context of its own: nothing kept from another test."""
    context = browser.new_context()
    context.set_default_timeout(20_000)
    yield context.new_page()
    context.close()


@pytest.fixture
def fake_book() -> Iterator[FakeBook]:
    book = FakeBook()
    yield book
    book.die()
