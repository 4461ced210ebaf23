"""The addresses under which calendars fetch what is due: who has one, and how to take it back.

Kept in a small SQLite file (mode 0600) in the state folder beside the paired devices, never in the book: a backup that
is brought back must not bring back an address that was revoked. The token in an address holds 256 random bits and
stands nowhere; kept is its SHA-256.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from coldlash import language
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.authority import make_private_folder
from coldlash.web.pairing import SEEN_EVERY_SECONDS, is_token

MOST = 50
NAME_LENGTH = 60
MISSES, MISSES_SECONDS = 30, 900
"""So many fetches of addresses that don't exist, from one device, are answered in so long a time."""
_SCHEMA_VERSION = 1
_SCHEMA = """
CREATE TABLE feeds (
    id TEXT PRIMARY KEY, name TEXT NOT NULL UNIQUE, token_hash TEXT NOT NULL UNIQUE, language TEXT NOT NULL,
    alarm_days TEXT NOT NULL, made_at REAL NOT NULL, fetched_at REAL
) STRICT
"""
_COLUMNS = "id, name, language, alarm_days, made_at, fetched_at"


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar that may be fetched. Times: seconds since 1970 (UTC); ``fetched_at`` None = never yet.

    ``language``: the one it is written in; ``alarm_days``: whole days before, () = without reminders.
    """

    id: str
    name: str
    language: str
    alarm_days: tuple[int, ...]
    made_at: float
    fetched_at: float | None


@dataclass(frozen=True, slots=True)
class NewFeed:
    """A feed just made, and its token: this once, it is not stored."""

    feed: Feed
    token: str

    def address(self, base: str) -> str:
        """Where a calendar program fetches it, below the address of the pages."""
        return f"{base.rstrip('/')}/calendar/{self.token}.ics"


class Feeds:
    """The list in ``state_dir``/feeds.sqlite3. Safe to use from several threads and processes."""

    def __init__(self, state_dir: Path, clock: Callable[[], float] = time.time) -> None:
        self._folder = state_dir
        self._file = state_dir / "feeds.sqlite3"
        self._clock = clock

    def feeds(self) -> list[Feed]:
        """All of them by name. Raises InputError when the list can't be read."""
        with self._open() as db:
            rows = db.execute(f"SELECT {_COLUMNS} FROM feeds ORDER BY name").fetchall()  # noqa: S608 - our own names
        return [_feed(row) for row in rows]

    def new(self, name: str, *, tag: str = language.ENGLISH, alarm_days: Sequence[int] = (14, 1)) -> NewFeed:
        """Make an address. ``name``: who has it; ``tag``: the language it is written in.

        Raises InputError: no name, one that is taken, a language that isn't there, alarms not 0 to 365 days before,
        too many.
        """
        shown = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:NAME_LENGTH]
        if not shown:
            raise InputError(say("the calendar has no name; write who or what has it, like Oona's phone"))
        if language.known(tag) is None:
            raise InputError(say("the language {tag!r} is not here", tag=tag))
        days = tuple(sorted(set(alarm_days), reverse=True))
        if any(isinstance(day, bool) or not isinstance(day, int) or not 0 <= day <= 365 for day in days):
            raise InputError(say("reminders: give whole days before, 0 to 365"))
        token = secrets.token_urlsafe(32)
        feed = Feed(secrets.token_hex(4), shown, tag, days, self._clock(), None)
        with self._open(write=True) as db:
            if db.execute("SELECT 1 FROM feeds WHERE name = ?", (shown,)).fetchone():
                raise InputError(
                    say(
                        "a calendar {name!r} is there already; revoke it first, or choose another name",
                        name=shown,
                    )
                )
            if db.execute("SELECT count(*) FROM feeds").fetchone()[0] >= MOST:
                raise InputError(say("there are {most} calendars already; revoke one first", most=MOST))
            db.execute(
                "INSERT INTO feeds VALUES (?, ?, ?, ?, ?, ?, NULL)",
                (feed.id, shown, _hash(token), tag, json.dumps(days), feed.made_at),
            )
        return NewFeed(feed, token)

    def revoke(self, wanted: str) -> Feed:
        """End an address for good, by its id or name. Raises InputError: no such one."""
        with self._open(write=True) as db:
            row = db.execute(
                f"DELETE FROM feeds WHERE id = ? OR name = ? RETURNING {_COLUMNS}",  # noqa: S608 - our own names
                (wanted, wanted),
            ).fetchone()
        if row is None:
            raise InputError(
                say("there is no calendar {wanted!r}; it may have been revoked already", wanted=wanted)
            )
        return _feed(row)

    def fetched(self, token: str) -> Feed | None:
        """The feed whose token this is, or None; notes that it was fetched (at most once a minute)."""
        if not is_token(token) or not self._file.exists():
            return None
        hashed, now = _hash(token), self._clock()
        with self._open() as db:
            row = db.execute(
                f"SELECT {_COLUMNS}, token_hash FROM feeds WHERE token_hash = ?",  # noqa: S608 - our own names
                (hashed,),
            ).fetchone()
        if row is None or not hmac.compare_digest(row[-1], hashed):
            return None
        feed = _feed(row[:-1])
        if feed.fetched_at is None or now - feed.fetched_at >= SEEN_EVERY_SECONDS:
            # Worth noting, not worth failing for when the disk is full or busy.
            with suppress(InputError), self._open(write=True) as db:
                db.execute("UPDATE feeds SET fetched_at = ? WHERE id = ?", (now, feed.id))
        return feed

    @contextmanager
    def _open(self, *, write: bool = False) -> Iterator[sqlite3.Connection]:
        try:
            make_private_folder(self._folder)
            os.close(os.open(self._file, os.O_RDWR | os.O_CREAT, 0o600))
            self._file.chmod(0o600)
            with closing(sqlite3.connect(self._file, timeout=10, isolation_level=None)) as db:
                self._prepare(db)
                if write:
                    db.execute("BEGIN IMMEDIATE")
                yield db
                if write:
                    db.execute("COMMIT")
        except (sqlite3.Error, OSError) as error:
            raise InputError(
                say(
                    "the list of calendars {file} can't be used ({error}); remove that file and make the calendars "
                    "again, the book is not touched",
                    file=self._file,
                    error=error,
                )
            ) from error

    def _prepare(self, db: sqlite3.Connection) -> None:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if version > _SCHEMA_VERSION:
            raise InputError(
                say(
                    "the list of calendars {file} was written by a newer coldlash; use that one, or another state "
                    "folder",
                    file=self._file,
                )
            )
        if version == 0:
            db.execute("BEGIN IMMEDIATE")
            if db.execute("PRAGMA user_version").fetchone()[0] == 0:
                db.execute(_SCHEMA)
                db.execute(f"PRAGMA user_version = {_SCHEMA_VERSION}")
            db.execute("COMMIT")


class Misses:
    """Counts, by the device's address, fetches of what isn't there. In memory: a restart forgives."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._since: dict[str, tuple[float, int]] = {}
        self._lock = threading.Lock()

    def wait(self, address: str) -> int:
        """Seconds this address has to wait; 0 = it may ask."""
        now = self._clock()
        with self._lock:
            since, count = self._since.get(address, (now, 0))
        left = since + MISSES_SECONDS - now
        return max(1, round(left)) if count >= MISSES and left > 0 else 0

    def count(self, address: str) -> None:
        """It asked for something that isn't there."""
        now = self._clock()
        with self._lock:
            self._since = {a: kept for a, kept in self._since.items() if now - kept[0] < MISSES_SECONDS}
            since, count = self._since.get(address, (now, 0))
            self._since[address] = since, count + 1


def _feed(row: Sequence[object]) -> Feed:
    id, name, tag, days, made_at, fetched_at = row
    return Feed(
        str(id), str(name), str(tag), tuple(json.loads(str(days))), float(str(made_at)),
        None if fetched_at is None else float(str(fetched_at)),
    )  # fmt: skip


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
