"""Photos in a real browser: taken in a visit without a network and sent later; added, shown, removed by the pages."""

from __future__ import annotations

from datetime import date
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import sync_playwright
from tests.browser.house import Phone, Served
from tests.browser.test_pages import AXE, RUN
from tests.demos import demo_copy

from coldlash.desk.desk import Desk


def jpeg(colour: str = "red") -> bytes:
    out = BytesIO()
    Image.new("RGB", (640, 480), colour).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("photos") / "book.coldlash", date(2026, 11, 1))


@pytest.fixture(scope="module")
def served(book):
    house = Served(book, book.parent / "state").start()
    yield house
    house.close()


@pytest.fixture(scope="module")
def phone(tmp_path_factory):
    with sync_playwright() as playwright:
        started = Phone(playwright, tmp_path_factory.mktemp("phone")).start()
        yield started
        started.close()


@pytest.mark.timeout(180)
def test_a_photo_taken_without_a_network_survives_a_reload_and_is_sent_when_the_book_answers(
    book, served, phone
):
    with Desk.open(str(book)) as desk:
        engine = desk.book.engine("Van engine").id
    page = phone.page
    page.goto(f"{served.url}/visit#engine={engine}", wait_until="load")
    page.wait_for_selector("html[data-booted='true']")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.wait_for_selector("html[data-booted='true']")
    phone.context.set_offline(True)
    page.fill("#meter", "40000")
    page.get_by_role("button", name="Ready: open the visit").tap()
    page.get_by_role("link", name="Close up").tap()
    page.set_input_files(
        "#photo",
        [
            {"name": "rocker.jpg", "mimeType": "image/jpeg", "buffer": jpeg()},
            {"name": "phone.heic", "mimeType": "image/heic", "buffer": b"x" * 100},
        ],
    )
    page.wait_for_selector("[data-photo]")
    assert "rocker.jpg: saved on this device, not yet in the book" in page.inner_text("main")
    assert "phone.heic is a HEIC photo" in page.inner_text("main")
    page.wait_for_selector("#saved[data-state='saved']", state="attached")
    visit = page.evaluate("new URLSearchParams(location.hash.slice(1)).get('visit')")
    page.reload()
    page.wait_for_selector("html[data-booted='true']")
    assert "rocker.jpg: saved on this device" in page.inner_text("main")
    phone.context.set_offline(False)
    page.reload()
    page.wait_for_selector("#saved[data-state='sent']", state="attached", timeout=60_000)
    page.wait_for_selector("text=rocker.jpg: in the book")
    with Desk.open(str(book)) as desk:
        (kept,) = desk.book.attachments(visit_id=visit)
        assert (kept.name, kept.width, kept.height, kept.media_type) == ("rocker.jpg", 640, 480, "image/jpeg")
        assert desk.book.visit(visit).state == "draft"
    assert phone.complaints == []


@pytest.mark.timeout(180)
def test_a_photo_is_added_looked_at_found_and_removed_on_accessible_pages(book, served, phone):
    with Desk.open(str(book)) as desk:
        engine = desk.book.engine("Van engine").id
        visit = desk.book.visits("Van engine")[-1].id
    page = phone.page
    page.goto(f"{served.url}/engines/{engine}/visits/{visit}")
    page.get_by_text("Add a photo or a scanned page").tap()
    page.set_input_files(
        "#photo-file", {"name": "seat.jpg", "mimeType": "image/jpeg", "buffer": jpeg("blue")}
    )
    page.select_option("#photo-valve", "E3")
    page.fill("#photo-caption", "the zebra-striped seat")
    page.get_by_role("button", name="Add it").tap()
    page.wait_for_selector("ul.photos img")
    # Decoded by the browser: it is a picture, and ours to show under the policy of the pages.
    assert decoded_width(page, "ul.photos img") == 480
    accessible(page)
    page.get_by_role("link", name="the zebra-striped seat").tap()
    assert decoded_width(page, "img.photo") == 640
    accessible(page)
    page.locator("img.photo").tap()
    page.wait_for_url("**/file")
    assert decoded_width(page, "img") == 640, "shown by itself, under the policy for what was sent in"
    page.go_back()
    page.goto(f"{served.url}/search?words=zebra")
    assert page.inner_text("mark") == "zebra"
    accessible(page)
    page.get_by_role("link", name="under a photo of E3").tap()
    page.get_by_text("Remove it", exact=True).tap()
    page.get_by_role("button", name="Remove it for good").tap()
    page.wait_for_url(f"**/visits/{visit}")
    assert page.locator("ul.photos").count() == 0
    page.goto(f"{served.url}/search?words=zebra")
    assert "No note has all these words." in page.inner_text("main")
    page.goto(f"{served.url}/photos/add?engine={engine}&valve=E3")
    accessible(page)
    assert phone.complaints == []


def decoded_width(page, which):
    image = page.locator(which)
    image.scroll_into_view_if_needed()
    return image.evaluate("(img) => img.decode().then(() => img.naturalWidth)")


def accessible(page):
    """Nothing that axe-core complains of, and nothing wider than the phone."""
    page.evaluate(AXE)
    assert page.evaluate(RUN) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        "[...document.querySelectorAll('main button, main .button, main summary, ul.photos a, ul.found a')]"
        ".filter((e) => e.offsetParent !== null && e.getBoundingClientRect().height < 44).map((e) => e.outerHTML)"
    )
    assert small == []
