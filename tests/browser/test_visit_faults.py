"""Nothing lost, nothing doubled, order kept: visits at the engine while server, browser and network die at random."""

from __future__ import annotations

import random
import time
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright
from tests.browser.house import Phone, Served
from tests.demos import demo_copy

from coldlash.desk.desk import Desk

UNTIL = date(2026, 11, 1)
BLADES = [80, 100, 130, 150, 180, 200]
FULL, TENTH = 500, 50


@dataclass
class Said:
    """What was tapped and what the page then called saved on the device."""

    visits: dict[str, list[tuple[str, str, object]]] = field(default_factory=dict)


class Driver:
    """Somebody with a phone at the engine, and bad luck."""

    def __init__(self, served: Served, phone: Phone, rng: random.Random, engine: str) -> None:
        self.served, self.phone, self.rng, self.engine = served, phone, rng, engine
        self.said = Said()
        self.visit = ""
        self.faults: dict[str, int] = {"server": 0, "browser": 0, "network": 0}
        self.meter = 37_000

    @property
    def page(self):
        return self.phone.page

    def open_page(self, address: str) -> None:
        for attempt in range(5):
            try:
                self.page.goto(f"{self.served.url}{address}", wait_until="commit")
                self.page.wait_for_selector("html[data-booted='true']", timeout=15_000)
                return
            except Exception:
                if attempt == 4:
                    raise
                time.sleep(0.3)

    def saved(self) -> None:
        """Waits until the page says that everything so far is on this device."""
        self.page.wait_for_selector("#saved[data-state='saved'], #saved[data-state='sent']", state="attached")

    def begin(self) -> None:
        self.open_page(f"/visit?{self.meter}#engine={self.engine}")
        self.meter += 500
        self.page.fill("#meter", str(self.meter))
        day = UNTIL + timedelta(days=len(self.said.visits))
        self.page.fill("#day", day.isoformat())
        self.page.get_by_role("button", name="Ready: open the visit").tap()
        self.page.wait_for_selector("h1:has-text('The stops')")
        self.saved()
        self.visit = self.page.evaluate("new URLSearchParams(location.hash.slice(1)).get('visit')")
        self.said.visits[self.visit] = []
        self.page.get_by_role("button", name="To the engine").tap()

    def note(self, valve: str, step: str, value: object) -> None:
        self.saved()
        self.said.visits[self.visit].append((valve, step, value))

    def bad_luck(self) -> None:
        if self.rng.random() > 0.25:
            return
        kind = self.rng.choice(["server", "browser", "network"])
        self.faults[kind] += 1
        if kind == "server":
            if self.served.process is None:
                self.served.start()
            else:
                self.served.kill()
        elif kind == "network":
            self.phone.context.set_offline(self.rng.random() < 0.6)
        else:
            self.phone.kill()
            if self.served.process is None:
                self.served.start()
            self.phone.start()
            self.open_page(f"/visit?again#visit={self.visit}")

    def one_reading(self) -> bool:
        """Answers what the page asks now; True when that was a reading."""
        page = self.page
        asked = page.locator("[data-ask]")
        # A slow page has nothing to answer for a moment; without waiting the turns would be used up on nothing.
        page.wait_for_selector(
            "[data-ask], button:has-text('It is there'), button:has-text('To the engine'), "
            "button:has-text('Close the visit')"
        )
        if asked.count() == 0:
            there = page.get_by_role("button", name="It is there").or_(
                page.get_by_role("button", name="To the engine")
            )
            if there.count() > 0:
                there.first.tap()
            return False
        valve, ask = asked.get_attribute("data-valve"), asked.get_attribute("data-ask")
        if ask == "found":
            um = self.rng.choice(BLADES)
            page.locator(f"[data-um='{um}']").tap()
            self.note(valve, "found", um)
            return True
        if ask == "again":
            page.get_by_role("button", name="It read the same").tap()
            return self.one_reading()
        if ask == "set":
            if self.rng.random() < 0.5:
                page.get_by_role("button", name="Left alone").tap()
                self.saved()
                return False
            page.get_by_role("button", name="Set on 0.15 mm").tap()
            self.note(valve, "set", 150)
            return True
        if ask == "left":
            page.locator("[data-um='150']").tap()
            self.note(valve, "left", 150)
            return True
        page.get_by_role("button", name="Next").tap()
        return False

    def finish(self) -> None:
        page = self.page
        if page.get_by_role("button", name="Close the visit").count() == 0:
            self.open_page(f"/visit?end#visit={self.visit}")
            page = self.page
        page.get_by_role("button", name="Close the visit").tap()
        self.saved()

    def calm(self) -> None:
        """Everything works again; waits until nothing is left on the device."""
        self.phone.context.set_offline(False)
        if self.served.process is None:
            self.served.start()
        self.open_page(f"/visit?calm#visit={self.visit}")
        settled = "#saved[data-state='sent'], #saved[data-state='parked']"
        self.page.wait_for_selector(settled, state="attached", timeout=120_000)
        assert self.page.locator("[data-parked]").count() == 0, self.page.inner_text("#parked")


def in_the_book(book: Path, visit_id: str) -> tuple[str, list[tuple[str, str, object]]]:
    with Desk.open(str(book)) as desk:
        visit = desk.book.visit(visit_id)
        rows = [(str(r.valve), r.step, r.blade_um if r.step == "set" else r.go_um) for r in visit.history]
        return visit.state, rows


def carry_out(tmp_path: Path, wanted: int, seed: int) -> Driver:
    book = demo_copy(tmp_path / "book.coldlash", UNTIL)
    with Desk.open(str(book)) as desk:
        engine = desk.book.engine("Van engine").id
    served = Served(book, tmp_path / "state").start()
    with sync_playwright() as playwright:
        phone = Phone(playwright, tmp_path / "profile").start()
        driver = Driver(served, phone, random.Random(seed), engine)
        try:
            readings = 0
            while readings < wanted:
                driver.phone.context.set_offline(False)
                if served.process is None:
                    served.start()
                driver.begin()
                for _ in range(200):
                    if driver.page.get_by_role("button", name="Close the visit").count():
                        break
                    readings += driver.one_reading()
                    driver.bad_luck()
                driver.finish()
                print(f"{readings} of {wanted} readings, faults {driver.faults}", flush=True)
            driver.calm()
            for visit, said in driver.said.visits.items():
                state, kept = in_the_book(book, visit)
                assert kept == said, f"visit {visit}"
                assert state == "closed"
            assert not [text for text in phone.complaints if text]
        finally:
            phone.close()
            served.close()
    return driver


@pytest.mark.timeout(600)
def test_a_tenth_of_the_readings_survive_dying_servers_browsers_and_networks(tmp_path):
    driver = carry_out(tmp_path, TENTH, seed=4)
    assert all(count > 0 for count in driver.faults.values())


@pytest.mark.soak
def test_all_readings_survive_dying_servers_browsers_and_networks(tmp_path):
    driver = carry_out(tmp_path, FULL, seed=11)
    assert all(count > 0 for count in driver.faults.values())
