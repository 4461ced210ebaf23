"""A phone paired over HTTPS, then in airplane mode: the pages open, a whole visit is carried out, and is sent later."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import threading
from contextlib import contextmanager
from datetime import date

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import sync_playwright
from tests.browser.house import FLAGS, PHONE, chromium
from tests.demos import demo_copy

from coldlash.desk.desk import Desk
from coldlash.web.book_app import book_app
from coldlash.web.network import Surroundings
from coldlash.web.serve import Serving

NAME = "workshop.local"


@contextmanager
def shared(desk, state):
    """The book served over HTTPS under a name that only this test's browser resolves, to this machine."""
    house = Serving(
        lambda settings: book_app(settings, desk), port=0, share=True, share_port=0, state_dir=state,
        surroundings=lambda: Surroundings(("192.168.7.20",), ("workshop", NAME)),
    )  # fmt: skip
    thread = threading.Thread(target=lambda: asyncio.run(house.run()))
    thread.start()
    try:
        yield house
    finally:
        house.stop()
        thread.join(20)
        house.close()


def spki_pins(state) -> str:
    """What tells this browser to trust the authority, as a phone does once its certificate is installed there."""
    pins = []
    for path in sorted(state.rglob("*.pem")):
        data = path.read_bytes()
        if b"BEGIN CERTIFICATE" in data:
            for certificate in x509.load_pem_x509_certificates(data):
                key = certificate.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
                pins.append(base64.b64encode(hashlib.sha256(key).digest()).decode())
    return ",".join(dict.fromkeys(pins))


@pytest.mark.timeout(180)
def test_a_visit_is_opened_and_carried_out_in_airplane_mode_and_sent_afterwards(tmp_path):
    book = demo_copy(tmp_path / "book.coldlash", date(2026, 11, 1))
    state = tmp_path / "state"
    with Desk.open(str(book)) as desk, shared(desk, state) as house, sync_playwright() as playwright:
        engine = desk.book.engine("Van engine").id
        code = house.pairing.new_code()
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path / "profile"), executable_path=chromium(),
            args=[
                *[flag for flag in FLAGS if not flag.startswith("--host-resolver")],
                f"--host-resolver-rules=MAP {NAME} 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
                f"--ignore-certificate-errors-spki-list={spki_pins(state)}",
            ],
            **PHONE,
        )  # fmt: skip
        context.set_default_timeout(20_000)
        page = context.pages[0] if context.pages else context.new_page()
        url = f"https://{NAME}:{house.share_port}"
        page.goto(f"{url}/pair#{code.text}")
        page.fill("#code", code.text)
        page.fill("#name", "Workshop phone")
        page.get_by_role("button", name="Pair this device").tap()
        page.wait_for_url(lambda address: "/pair" not in address)
        # Seen once with a network: the pages and the engine's pack are then on the phone.
        page.goto(f"{url}/visit#engine={engine}", wait_until="load")
        page.wait_for_selector("html[data-booted='true']")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.reload()
        page.wait_for_selector("html[data-booted='true']")

        context.set_offline(True)
        page.reload()
        page.wait_for_selector("html[data-booted='true']")
        assert "can’t be reached" in page.inner_text("main")
        page.fill("#meter", "40000")
        page.get_by_role("button", name="Ready: open the visit").tap()
        page.get_by_role("button", name="To the engine").tap()
        page.get_by_role("button", name="It is there").tap()
        taken = 0
        for _ in range(40):
            if page.get_by_role("button", name="Close the visit").count():
                break
            there = page.get_by_role("button", name="It is there")
            if there.count():
                there.tap()
                continue
            ask = page.locator("[data-ask]").get_attribute("data-ask")
            if ask == "found":
                page.locator("[data-um='150']").tap()
                taken += 1
            elif ask == "again":
                page.get_by_role("button", name="It read the same").tap()
            else:
                page.get_by_role("button", name="Left alone").tap()
        assert taken == 8
        page.get_by_role("button", name="Close the visit").tap()
        page.wait_for_selector("#saved[data-state='saved']", state="attached")
        assert "not yet in the book" in page.inner_text("#saved")
        visit_id = page.evaluate("new URLSearchParams(location.hash.slice(1)).get('visit')")
        page.reload()
        page.wait_for_selector("html[data-booted='true']")
        assert desk.book.draft_visits() == ()

        context.set_offline(False)
        page.reload()
        page.wait_for_selector("#saved[data-state='sent']", state="attached", timeout=60_000)
        kept = desk.book.visit(visit_id)
        assert kept.state == "closed"
        assert len(kept.history) == 8
        assert {r.device for r in kept.history} == {"Workshop phone"}
        page.wait_for_selector("text=as of 78,760 km")
        context.close()
