"""The store of what was last seen, ids, theme and wake lock, in real Chromium."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page
from tests.browser.conftest import NEIGHBOUR
from tests.browser.fake_book import FakeBook


def open_store(page: Page, book: FakeBook) -> None:
    page.goto(book.url)
    page.evaluate(
        """async () => {
          window.m = await import("/js/store.js");
          window.store = await m.openStore();
        }"""
    )


FETCH = "store.fetch('shed', 'all', '/api/shed', { timeoutMs: 500 })"


def test_what_comes_from_the_book_says_so_and_is_kept(page, fake_book):
    fake_book.gets["/api/shed"] = (200, {"engines": ["Launch engine"]})
    open_store(page, fake_book)
    got = page.evaluate(FETCH)
    assert (got["value"], got["from"]) == ({"engines": ["Launch engine"]}, "book")
    kept = page.evaluate("store.recall('shed', 'all')")
    assert (kept["value"], kept["from"], kept["fetchedAt"]) == (got["value"], "this device", got["fetchedAt"])


def test_what_is_kept_is_handed_out_with_its_age_and_never_as_fresh(page, fake_book):
    open_store(page, fake_book)
    page.evaluate("store.keep('shed', 'all', { engines: [] }, Date.now() - 7_200_000)")
    fake_book.die()
    got = page.evaluate(FETCH)
    assert (got["value"], got["from"]) == ({"engines": []}, "this device")
    assert page.evaluate("(ms) => m.ageInWords(ms)", got["ageMs"]) == "2 hours ago"


@pytest.mark.parametrize("status", [500, 503])
def test_a_book_in_trouble_is_like_one_out_of_reach(page, fake_book, status):
    open_store(page, fake_book)
    page.evaluate("store.keep('shed', 'all', 1)")
    fake_book.gets["/api/shed"] = (status, {"error": {"message": "no"}})
    assert page.evaluate(FETCH)["from"] == "this device"


def test_an_answer_that_is_no_json_is_like_none(page, fake_book):
    open_store(page, fake_book)
    page.evaluate("store.keep('shed', 'all', 1)")
    # No such address in the fake book: it answers with a page, as a guest network's gateway does.
    assert page.evaluate(FETCH)["from"] == "this device"


def test_a_no_from_the_book_is_passed_on_and_the_kept_piece_stays(page, fake_book):
    open_store(page, fake_book)
    page.evaluate("store.keep('shed', 'all', 1)")
    fake_book.gets["/api/shed"] = (404, {"error": {"kind": "not_found", "message": "no such engine"}})
    said = page.evaluate(f"{FETCH}.catch((e) => [e.message, e.status, e.error.kind])")
    assert said == ["no such engine", 404, "not_found"]
    assert page.evaluate("store.recall('shed', 'all')")["value"] == 1


def test_what_neither_has_is_an_error_that_says_so(page, fake_book):
    open_store(page, fake_book)
    fake_book.die()
    said = page.evaluate(f"{FETCH}.catch((error) => error.message)")
    assert said == "The book can’t be reached, and this was never kept on this device."


def test_pieces_of_one_kind_are_recalled_together_and_forgotten_on_request(page, fake_book):
    open_store(page, fake_book)
    page.evaluate(
        """async () => {
          await store.keep("visit", "b", 2);
          await store.keep("visit", "a", 1);
          await store.keep("visits", "c", 3);
          await store.keep("shed", "all", 4);
        }"""
    )
    found = page.evaluate("store.recallAll('visit')")
    assert [(each["id"], each["value"]) for each in found] == [("a", 1), ("b", 2)]
    page.evaluate("store.forget()")
    assert page.evaluate("store.recall('visit', 'a')") is None


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (0, "now"),
        (1, "1 minute ago"),
        (59, "59 minutes ago"),
        (60, "1 hour ago"),
        (47 * 60, "47 hours ago"),
        (48 * 60, "2 days ago"),
        (400 * 1440, "400 days ago"),
    ],
)
def test_an_age_is_told_in_words(page, fake_book, minutes, words):
    open_store(page, fake_book)
    assert page.evaluate("(minutes) => m.ageInWords(minutes * 60_000)", minutes) == words


def test_ids_are_random_uuids_with_and_without_the_browsers_own(page, fake_book):
    # published: RFC 9562, 5.4: version 4 in the 13th, variant 8..b in the 17th hexadecimal digit
    pattern = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
    for url in (fake_book.url, fake_book.url.replace("localhost", NEIGHBOUR)):
        page.goto(url)
        ids = page.evaluate(
            """async () => {
              const { newId } = await import("/js/ids.js");
              const plain = { getRandomValues: (bytes) => crypto.getRandomValues(bytes) };
              return [...Array(200)].map((_, i) => (i % 2 ? newId() : newId(plain)));
            }"""
        )
        assert len(set(ids)) == 200
        assert all(pattern.fullmatch(each) for each in ids)


def test_the_screen_is_kept_awake_while_wanted_and_again_when_the_page_comes_back(page, fake_book):
    page.goto(fake_book.url)
    told = page.evaluate(
        """async () => {
          const locks = [];
          const request = async () => {
            const lock = new EventTarget();
            lock.release = async () => lock.dispatchEvent(new Event("release"));
            locks.push(lock);
            return lock;
          };
          Object.defineProperty(navigator, "wakeLock", { value: { request }, configurable: true });
          const { keepAwake } = await import("/js/wakelock.js");
          const told = [];
          const turn = () => new Promise((resolve) => setTimeout(resolve, 0));
          const awake = keepAwake((held) => told.push(held));
          await turn();
          told.push(awake.held());
          await locks[0].release();              // the system takes it, as when the page is hidden
          document.dispatchEvent(new Event("visibilitychange"));
          await turn();
          await awake.release();
          document.dispatchEvent(new Event("visibilitychange"));
          await turn();
          return [told, locks.length, awake.held()];
        }"""
    )
    assert told == [[True, True, False, True, False], 2, False]


def test_a_browser_that_refuses_to_stay_awake_is_told_to_the_page(page, fake_book):
    page.goto(fake_book.url)
    told = page.evaluate(
        """async () => {
          const request = async () => { throw new DOMException("low battery", "NotAllowedError"); };
          Object.defineProperty(navigator, "wakeLock", { value: { request }, configurable: true });
          const { keepAwake } = await import("/js/wakelock.js");
          return new Promise((resolve) => keepAwake(resolve));
        }"""
    )
    assert told is False


def test_without_a_secure_page_there_is_no_wake_lock_and_no_error(page, fake_book):
    page.goto(fake_book.url.replace("localhost", NEIGHBOUR))
    held = page.evaluate("import('/js/wakelock.js').then(({ keepAwake }) => keepAwake().held())")
    assert held is False
