"""The outbox in real Chromium, against a server that drops, dies, hangs and lies, and with the browser killed."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Playwright
from tests.browser.conftest import NEIGHBOUR
from tests.browser.fake_book import MISHAPS, FakeBook
from tests.browser.house import Phone

QUICK = "{ firstRetryMs: 10, lastRetryMs: 40 }"
# Little patience, so that a server that hangs is left soon; a slow machine then sends more often, which does no harm.
HASTY = "{ timeoutMs: 300, firstRetryMs: 10, lastRetryMs: 40 }"


def open_outbox(page: Page, url: str, options: str = QUICK, start: bool = True) -> None:
    page.goto(url)
    page.evaluate(
        f"""async () => {{
          const m = await import("/js/outbox.js");
          window.m = m;
          window.outbox = await m.openOutbox({options});
          window.heard = {{ sent: [], parked: [] }};
          for (const kind of ["sent", "parked"]) {{
            outbox.addEventListener(kind, (event) => heard[kind].push(event.detail));
          }}
          {"outbox.start();" if start else ""}
        }}"""
    )


def add(page: Page, stream: str, value: Any, about: str | None = None, entry: str | None = None) -> str:
    found: str = page.evaluate(
        """async ([stream, value, about, id]) => (await outbox.add({
          stream, about, url: `/visits/${stream}/readings`, body: { value }, ...(id ? { id } : {}),
        })).id""",
        [stream, value, about, entry],
    )
    return found


def summary(page: Page) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate("outbox.summary()")
    return found


def until(page: Page, condition: str) -> None:
    """Waits until `condition` holds for the summary s; a page that never gets there fails with what it had."""
    page.evaluate(
        f"""async () => {{
          const end = Date.now() + 20_000;
          for (;;) {{
            const s = await outbox.summary();
            if ({condition}) return;
            if (Date.now() > end) throw new Error("never: " + JSON.stringify(s));
            await new Promise((resolve) => setTimeout(resolve, 10));
          }}
        }}"""
    )


def empty(page: Page) -> None:
    until(page, "s.waiting === 0 && s.sending === null")


def refusal(status: int, kind: str, **more: Any) -> tuple[int, dict[str, Any], dict[str, str]]:
    return status, {"error": {"kind": kind, "message": f"{kind}!", "hint": ""}, **more}, {}


# --- sent in order, once ---


def test_entries_are_sent_in_the_order_they_were_made_with_their_ids_and_the_request_header(page, fake_book):
    open_outbox(page, fake_book.url)
    ids = [add(page, "visit", number) for number in range(12)]
    empty(page)
    assert fake_book.stream("visit") == list(range(12))
    assert [sent["idempotency-key"] for sent in fake_book.seen] == ids
    assert {sent["x-coldlash"] for sent in fake_book.seen} == {"1"}
    assert [entry["entry"]["id"] for entry in page.evaluate("heard.sent")] == ids
    assert page.evaluate("outbox.entries()") == []
    assert summary(page)["lastSentAt"] is not None


def test_the_same_entry_offered_twice_is_one_entry(page, fake_book):
    fake_book.die()
    open_outbox_later(page, fake_book)
    entry = "2f1f5c3e-6d1c-4c59-9b0e-0d6f3f7f1a11"
    assert add(page, "visit", 1, entry=entry) == add(page, "visit", 1, entry=entry) == entry
    assert len(page.evaluate("outbox.entries()")) == 1


def open_outbox_later(page: Page, book: FakeBook) -> None:
    """An outbox whose server dies once the page is loaded."""
    book.start() if book._server is None else None
    open_outbox(page, book.url)
    book.die()


def test_a_photo_is_sent_as_it_is(page, fake_book):
    open_outbox(page, fake_book.url)
    page.evaluate(
        """() => outbox.add({ stream: "visit", url: "/visits/visit/photos",
                              body: new Blob([new Uint8Array([1, 2, 255])], { type: "image/jpeg" }) })"""
    )
    empty(page)
    assert fake_book.blobs == [b"\x01\x02\xff"]
    assert fake_book.stream("visit") == ["image/jpeg"]


def test_whatever_server_and_browser_do_nothing_is_lost_doubled_or_out_of_order(
    playwright: Playwright, fake_book: FakeBook, tmp_path: Path
):
    rng = random.Random(3)
    fake_book.rng, fake_book.chance = random.Random(4), 0.5
    phone = Phone(playwright, tmp_path / "profile").start()
    said: dict[str, list[int]] = {"van": [], "pump": [], "tender": []}
    kills = deaths = 0
    try:
        open_outbox(phone.page, fake_book.url, HASTY)
        for value in range(60):
            stream = rng.choice(sorted(said))
            add(phone.page, stream, value, rng.choice([None, "I1", "E3"]))
            said[stream].append(value)  # add() has resolved: from here on it may not be lost
            luck = rng.random()
            if luck < 0.06:
                phone.kill()
                kills += 1
                if fake_book._server is None:
                    fake_book.start()
                phone.start()
                open_outbox(phone.page, fake_book.url, HASTY)
            elif luck < 0.16:
                deaths += 1
                fake_book.die() if fake_book._server is not None else fake_book.start()
        if fake_book._server is None:
            fake_book.start()
        empty(phone.page)
    finally:
        phone.close()
    assert {stream: fake_book.stream(stream) for stream in said} == said
    assert len({entry for _, _, entry in fake_book.journal}) == 60
    assert kills >= 1
    assert deaths >= 2
    assert set(fake_book.mishaps) == set(MISHAPS)
    doubled = len(fake_book.seen) - len({sent["entry"] for sent in fake_book.seen})
    assert doubled > 10  # so the ids were needed


def test_an_entry_is_on_the_disk_when_the_page_calls_it_saved(
    playwright: Playwright, fake_book: FakeBook, tmp_path: Path
):
    phone = Phone(playwright, tmp_path / "profile").start()
    try:
        open_outbox(phone.page, fake_book.url)
        fake_book.die()
        ids = [add(phone.page, "visit", number) for number in range(5)]
        phone.kill()
        fake_book.start()
        phone.start()
        open_outbox(phone.page, fake_book.url, start=False)
        assert [entry["id"] for entry in phone.page.evaluate("outbox.entries('visit')")] == ids
        phone.page.evaluate("outbox.start()")
        empty(phone.page)
    finally:
        phone.close()
    assert fake_book.stream("visit") == [0, 1, 2, 3, 4]


def test_two_open_pages_send_each_entry_once_and_in_order(page, fake_book):
    open_outbox(page, fake_book.url)
    second = page.context.new_page()
    open_outbox(second, fake_book.url)
    for value in range(0, 20, 2):
        add(page, "visit", value)
        add(second, "visit", value + 1)
    empty(page)
    empty(second)
    assert fake_book.stream("visit") == list(range(20))
    # One of them holds the lock: nothing was even sent twice.
    assert len(fake_book.seen) == 20


def test_over_plain_http_it_works_without_what_only_secure_pages_have(page, fake_book):
    open_outbox(page, fake_book.url.replace("localhost", NEIGHBOUR))
    assert page.evaluate("[isSecureContext, typeof crypto.randomUUID, typeof navigator.locks]") == [
        False,
        "undefined",
        "undefined",
    ]
    for value in range(5):
        add(page, "visit", value)
    empty(page)
    assert fake_book.stream("visit") == list(range(5))


# --- what doesn't count as sent ---


@pytest.mark.parametrize(
    "answer",
    [
        (200, {"ok": True}, {}),
        (200, {"entry": "00000000-0000-4000-8000-000000000000"}, {}),
        (302, {}, {"location": "/"}),
        (307, {}, {"location": "/visits/elsewhere/readings"}),
        (204, {}, {}),
        (404, {}, {}),
        (429, {"error": {"kind": "slow"}}, {}),
        (503, {"error": {"kind": "book"}}, {}),
        (500, {"error": {"kind": "our_fault"}}, {}),
        (421, {"error": {"kind": "wrong_host"}}, {}),
    ],
)
def test_an_answer_that_is_not_the_books_own_yes_leaves_the_entry_here_and_it_is_sent_again(
    page, fake_book, answer
):
    fake_book.answers["7"] = [answer, answer]
    open_outbox(page, fake_book.url)
    entry = add(page, "visit", 7)
    empty(page)
    assert fake_book.journal == [("visit", 7, entry)]
    assert len(fake_book.seen) == 3


def test_a_rest_that_ends_between_two_looks_at_the_clock_is_not_waited_for_by_nobody(page, fake_book):
    fault = refusal(500, "our_fault")
    fake_book.answers["1"] = [fault] * 40
    # Regression: a clock that moves on at every look, as it does on a busy phone.
    page.add_init_script("{ const real = Date.now; let ahead = 0; Date.now = () => real() + (ahead += 5); }")
    open_outbox(page, fake_book.url, "{ firstRetryMs: 10, lastRetryMs: 10 }")
    add(page, "visit", 1)
    empty(page)
    assert len(fake_book.seen) == 41


def test_a_fault_on_one_visit_does_not_hold_up_another(page, fake_book):
    fault = refusal(500, "our_fault")
    fake_book.answers["1"] = [fault] * 1000
    open_outbox(page, fake_book.url)
    add(page, "broken", 1)
    add(page, "broken", 2)
    add(page, "sound", 3)
    until(page, "s.waiting === 2")
    assert fake_book.journal[0][:2] == ("sound", 3)
    fake_book.answers.clear()
    empty(page)
    assert fake_book.stream("broken") == [1, 2]


def test_what_the_browser_says_about_the_network_is_not_believed(page, fake_book):
    page.add_init_script("Object.defineProperty(navigator, 'onLine', { get: () => false })")
    open_outbox(page, fake_book.url)
    add(page, "visit", 1)
    empty(page)
    assert fake_book.stream("visit") == [1]


def test_the_pauses_between_tries_double_up_to_a_minute(page, fake_book):
    # derived: 1 s doubled each time, at most 60 s, here with the random part at its full length
    open_outbox(page, fake_book.url, "{ fetch: () => Promise.reject(new Error('gone')) }", start=False)
    add(page, "visit", 1)
    pauses = page.evaluate(
        """async () => {
          Math.random = () => 1;
          const pauses = [];
          const original = window.setTimeout;
          const enough = new Promise((resolve) => {
            window.setTimeout = (work, ms) => {
              if (ms === 10_000) return original(() => {}, 0);   // the patience with one request
              pauses.push(ms);
              if (pauses.length === 9) { outbox.stop(); resolve(); return 0; }
              return original(work, 0);
            };
          });
          outbox.start();
          await enough;
          window.setTimeout = original;
          return pauses;
        }"""
    )
    assert pauses == [1000, 2000, 4000, 8000, 16000, 32000, 60000, 60000, 60000]


def test_a_server_that_says_when_is_not_asked_earlier(page, fake_book):
    fake_book.answers["1"] = [(503, {"error": {"kind": "book"}}, {"retry-after": "3600"})] * 5
    open_outbox(page, fake_book.url)
    add(page, "visit", 1)
    until(page, "s.nextTryAt !== null && s.link === 'unreached'")
    assert page.evaluate("outbox.summary().then((s) => s.nextTryAt - Date.now() > 3_000_000)")


# --- decisions ---


def test_a_conflict_is_parked_with_both_values_and_only_its_own_valve_waits(page, fake_book):
    fake_book.answers["0.10"] = [refusal(409, "conflict", mine="0.10", theirs={"go": "0.15", "by": "tablet"})]
    open_outbox(page, fake_book.url)
    parked = add(page, "visit", "0.10", "E3")
    add(page, "visit", "later on E3", "E3")
    add(page, "visit", "I1 goes on", "I1")
    add(page, "visit", "close", None)
    add(page, "visit", "after the close", "I2")
    add(page, "other", "another visit")
    until(page, "s.parked.length === 1 && s.waiting === 3")
    assert [value for _, value, _ in fake_book.journal] == ["I1 goes on", "another visit"]
    (entry,) = summary(page)["parked"]
    assert (entry["id"], entry["state"]) == (parked, "conflict")
    assert entry["body"] == {"value": "0.10"}
    assert (entry["note"]["mine"], entry["note"]["theirs"]) == ("0.10", {"go": "0.15", "by": "tablet"})
    assert page.evaluate("heard.parked.length") == 1
    # Mine holds: sent again in its old place, as a new entry that says what it replaces.
    renewed = page.evaluate("([id, body]) => outbox.settle(id, body)", [parked, {"value": "0.10 after all"}])
    assert renewed["id"] != parked
    empty(page)
    assert fake_book.stream("visit") == [
        "I1 goes on",
        "0.10 after all",
        "later on E3",
        "close",
        "after the close",
    ]


def test_a_conflict_may_be_dropped_and_the_book_keeps_its_own(page, fake_book):
    fake_book.answers["1"] = [refusal(409, "conflict")]
    open_outbox(page, fake_book.url)
    parked = add(page, "visit", 1, "E3")
    add(page, "visit", 2, "E3")
    until(page, "s.parked.length === 1")
    assert page.evaluate("(id) => outbox.settle(id)", parked) is None
    empty(page)
    assert fake_book.stream("visit") == [2]


def test_a_parked_entry_outlives_the_page_and_only_a_parked_one_can_be_settled(page, fake_book):
    fake_book.answers["1"] = [refusal(422, "bad_input")]
    open_outbox(page, fake_book.url)
    parked = add(page, "visit", 1, "E3")
    until(page, "s.parked.length === 1")
    waiting = add(page, "visit", 2, "E3")
    open_outbox(page, fake_book.url)
    (entry,) = summary(page)["parked"]
    assert (entry["id"], entry["state"], entry["note"]["message"]) == (parked, "refused", "bad_input!")
    refused = page.evaluate("(id) => outbox.settle(id).catch((error) => error.message)", waiting)
    assert "is not waiting for a decision" in refused


def test_a_device_that_was_cut_off_keeps_its_entries_and_sends_them_once_paired_again(page, fake_book):
    fake_book.answers["1"] = [refusal(401, "not_paired")] * 3
    open_outbox(page, fake_book.url, "{ firstRetryMs: 3_600_000 }")
    add(page, "visit", 1)
    until(page, "s.link === 'unpaired'")
    assert page.evaluate("outbox.summary().then((s) => m.describe(s))") == (
        "1 entry is saved on this device, not yet in the book. "
        "This device isn’t paired with the book. Pair it again, then they are sent."
    )
    fake_book.answers.clear()
    page.evaluate("outbox.kick()")
    empty(page)
    assert fake_book.stream("visit") == [1]
    assert page.evaluate("outbox.summary().then((s) => m.describe(s))") == "Everything is in the book."


def test_what_cannot_be_saved_is_not_called_saved(page, fake_book):
    fake_book.die()
    open_outbox_later(page, fake_book)
    failed = page.evaluate(
        """async () => {
          IDBObjectStore.prototype.add = function () { throw new DOMException("full", "QuotaExceededError"); };
          return outbox.add({ stream: "visit", url: "/x", body: {} }).then(() => "saved", (error) => error.name);
        }"""
    )
    assert failed == "QuotaExceededError"
    assert page.evaluate("outbox.entries()") == []


def test_stopping_keeps_what_is_here_and_sends_nothing(page, fake_book):
    open_outbox(page, fake_book.url)
    page.evaluate("outbox.stop()")
    add(page, "visit", 1)
    page.evaluate("outbox.kick()")
    assert (summary(page)["waiting"], fake_book.seen) == (1, [])


# --- the rule of order by itself ---


@pytest.mark.parametrize(
    ("entries", "first"),
    [
        ([], None),
        ([("E3", "waiting"), ("I1", "waiting")], 0),
        ([("E3", "conflict"), ("E3", "waiting"), ("I1", "waiting")], 2),
        ([("E3", "refused"), (None, "waiting"), ("I1", "waiting")], None),
        ([(None, "conflict"), ("E3", "waiting")], None),
        ([("E3", "conflict"), ("E3", "waiting"), ("E3", "waiting")], None),
        ([(None, "waiting"), ("E3", "conflict")], 0),
    ],
)
def test_what_is_parked_holds_back_its_own_subject_and_the_whole_visit(page, fake_book, entries, first):
    open_outbox(page, fake_book.url, start=False)
    given = [{"about": about, "state": state, "seq": seq} for seq, (about, state) in enumerate(entries)]
    assert page.evaluate("(entries) => m.nextSendable(entries)?.seq ?? null", given) == first


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ({"waiting": 0}, "Everything is in the book."),
        ({"waiting": 3, "link": "reached"}, "3 entries are saved on this device, not yet in the book."),
        (
            {"waiting": 1, "link": "unreached"},
            "1 entry is saved on this device, not yet in the book. "
            "The book can’t be reached. It is tried again by itself.",
        ),
        ({"waiting": 0, "parked": [1, 2]}, "2 entries need your decision."),
    ],
)
def test_the_page_says_plainly_what_is_saved_where(page, fake_book, state, words):
    open_outbox(page, fake_book.url, start=False)
    given = {"parked": [], "link": "unknown", **state}
    assert page.evaluate("(state) => m.describe(state)", given) == words
