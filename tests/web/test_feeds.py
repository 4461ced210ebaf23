"""The list of calendar addresses: what is kept of them, and what is refused."""

from __future__ import annotations

import hashlib
import sqlite3
import stat

import pytest

from coldlash.errors import InputError
from coldlash.web.feeds import MISSES, MISSES_SECONDS, Feeds, Misses


class Clock:
    now = 1_000_000.0

    def __call__(self):
        return self.now


@pytest.fixture
def feeds(tmp_path):
    return Feeds(tmp_path / "state", Clock())


def test_only_a_hash_of_the_token_is_kept_in_a_private_file(feeds, tmp_path):
    made = feeds.new("Oona's phone", tag="de", alarm_days=(1, 14, 1))
    file = tmp_path / "state" / "feeds.sqlite3"
    kept = file.read_bytes()
    assert made.token.encode() not in kept
    # Published: FIPS 180-4; 43 letters of base64url are 256 bits (RFC 4648).
    assert hashlib.sha256(made.token.encode()).hexdigest().encode() in kept
    assert len(made.token) == 43
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert made.address("https://shed.local:8766/") == f"https://shed.local:8766/calendar/{made.token}.ics"
    assert (made.feed.language, made.feed.alarm_days) == ("de", (14, 1))


def test_a_feed_is_found_by_its_token_until_it_is_revoked_and_says_when_it_was_fetched(feeds):
    made = feeds.new("kitchen")
    assert feeds.feeds()[0].fetched_at is None
    assert feeds.fetched(made.token) == made.feed
    assert feeds.feeds()[0].fetched_at == Clock.now
    assert feeds.fetched("A" * 43) is None
    assert feeds.fetched("") is None
    assert feeds.revoke("kitchen").id == made.feed.id
    assert feeds.fetched(made.token) is None
    assert feeds.feeds() == []


def test_another_process_sees_the_same_list(feeds, tmp_path):
    made = feeds.new("kitchen")
    assert Feeds(tmp_path / "state").fetched(made.token).name == "kitchen"


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"name": " \n"}, "the calendar has no name; write who or what has it"),
        ({"name": "kitchen"}, "a calendar 'kitchen' is there already; revoke it first"),
        ({"name": "x", "tag": "tlh"}, "the language 'tlh' is not here"),
        ({"name": "x", "alarm_days": (-1,)}, "reminders: give whole days before, 0 to 365"),
    ],
)
def test_what_can_not_be_made_is_refused(feeds, given, message):
    feeds.new("kitchen")
    with pytest.raises(InputError, match=message):
        feeds.new(**given)


def test_there_is_a_most(feeds, monkeypatch):
    monkeypatch.setattr("coldlash.web.feeds.MOST", 1)
    feeds.new("one")
    with pytest.raises(InputError, match="there are 1 calendars already; revoke one first"):
        feeds.new("two")


def test_revoking_what_is_not_there_says_so(feeds):
    with pytest.raises(InputError, match="there is no calendar 'x'; it may have been revoked already"):
        feeds.revoke("x")


def test_a_damaged_list_and_one_of_a_newer_program_are_told_plainly(feeds, tmp_path):
    feeds.new("one")
    file = tmp_path / "state" / "feeds.sqlite3"
    db = sqlite3.connect(file)
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(InputError, match="was written by a newer coldlash; use that one"):
        feeds.feeds()
    file.write_bytes(b"nothing like a database, long enough to be looked at" * 99)
    with pytest.raises(InputError, match=r"can't be used .*; remove that file and make the calendars again"):
        feeds.feeds()


def test_misses_are_counted_by_device_and_forgotten_after_a_while():
    clock = Clock()
    misses = Misses(clock)
    for _ in range(MISSES):
        assert misses.wait("192.168.7.9") == 0
        misses.count("192.168.7.9")
    assert misses.wait("192.168.7.9") == MISSES_SECONDS
    assert misses.wait("192.168.7.10") == 0
    clock.now += MISSES_SECONDS
    assert misses.wait("192.168.7.9") == 0
