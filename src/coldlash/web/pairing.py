"""Which devices may use the pages: pairing codes, paired devices and their sessions, wrong tries.

Kept in one small SQLite file (mode 0600) in the state folder, never in the book. Codes are stored as argon2id
hashes because they are short enough to type; session tokens hold 256 random bits, so a SHA-256 of them is enough.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.authority import make_private_folder

CODE_SECONDS = 300
CODE_LENGTH = 10  # of 32 letters: 50 bits
CODE_TRIES = 20  # wrong tries, from anywhere, after which every open code is withdrawn
OPEN_CODES = 3  # the oldest is withdrawn when one more is made
ADDRESS_TRIES = 5  # wrong tries from one address before it has to wait
LOCKOUT_SECONDS = 900
SESSION_IDLE_SECONDS = 400 * 86_400  # an engine may be serviced once a year; browsers keep a cookie 400 days
SEEN_EVERY_SECONDS = 60
NAME_LENGTH = 60

_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford's base 32: no I, L, O, U
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
_SCHEMA_VERSION = 1
_SCHEMA = """
CREATE TABLE secrets (name TEXT PRIMARY KEY, value BLOB NOT NULL) STRICT;
CREATE TABLE codes (
    id INTEGER PRIMARY KEY, hash TEXT NOT NULL, made_at REAL NOT NULL, expires_at REAL NOT NULL,
    wrong_tries INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE devices (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, session_hash TEXT NOT NULL UNIQUE, paired_at REAL NOT NULL,
    last_seen_at REAL NOT NULL
) STRICT;
CREATE TABLE tries (
    address TEXT PRIMARY KEY, count INTEGER NOT NULL, since REAL NOT NULL, locked_until REAL NOT NULL
) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Device:
    """A paired device. Times are seconds since 1970 (UTC)."""

    id: str
    name: str
    paired_at: float
    last_seen_at: float


@dataclass(frozen=True, slots=True)
class Code:
    """A pairing code, readable only at this moment. ``text`` like K7Q2M-9XW4T; ``expires_at`` seconds since 1970."""

    text: str
    expires_at: float


@dataclass(frozen=True, slots=True)
class Paired:
    """A device just paired and the session token for its cookie, shown to nobody else and not stored."""

    device: Device
    token: str


class PairingRefusedError(InputError):
    """The code was not accepted. ``retry_after`` > 0: this address has to wait so many seconds."""

    def __init__(self, message: str, retry_after: int = 0) -> None:
        super().__init__(message)
        self.retry_after = retry_after


class Pairing:
    """The store of codes, devices and sessions in ``state_dir``/devices.sqlite3. Safe to use from several threads
    and from several processes (a second one may make a code for a server that is running)."""

    def __init__(
        self, state_dir: Path, clock: Callable[[], float] = time.time, hasher: PasswordHasher | None = None
    ) -> None:
        """Open or make the store. Raises InputError if it can't be made, is damaged or from a newer coldlash."""
        self._file = state_dir / "devices.sqlite3"
        self._clock = clock
        # OWASP password storage cheat sheet, argon2id: 19 MiB, 2 passes, 1 lane.
        self._hasher = hasher or PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
        self._lock = threading.RLock()
        try:
            make_private_folder(state_dir)
            os.close(os.open(self._file, os.O_RDWR | os.O_CREAT, 0o600))
            self._file.chmod(0o600)
        except OSError as error:
            raise InputError(
                say(
                    "the list of paired devices {file} can't be opened ({strerror}); give coldlash a "
                    "state folder that it may write to",
                    file=self._file,
                    strerror=error.strerror,
                )
            ) from error
        self._db = sqlite3.connect(self._file, timeout=10, isolation_level=None, check_same_thread=False)
        try:
            self._secret = self._prepare()
        except sqlite3.DatabaseError as error:
            self._db.close()
            raise InputError(
                say(
                    "the list of paired devices {file} can't be read ({error}); remove that file and "
                    "pair the devices again, the book is not touched",
                    file=self._file,
                    error=error,
                )
            ) from error
        except InputError:
            self._db.close()
            raise

    @property
    def state_dir(self) -> Path:
        """The private folder it is in."""
        return self._file.parent

    def close(self) -> None:
        """Close the store."""
        with self._lock:
            self._db.close()

    def new_code(self) -> Code:
        """A fresh code, good once and for CODE_SECONDS. Lockouts of addresses stay."""
        letters = "".join(secrets.choice(_LETTERS) for _ in range(CODE_LENGTH))
        now = self._clock()
        hashed = self._hasher.hash(letters)
        with self._write() as db:
            db.execute("DELETE FROM codes WHERE expires_at <= ?", (now,))
            db.execute(
                "DELETE FROM codes WHERE id NOT IN (SELECT id FROM codes ORDER BY made_at DESC, id DESC "
                "LIMIT ?)",
                (OPEN_CODES - 1,),
            )
            db.execute(
                "INSERT INTO codes (hash, made_at, expires_at) VALUES (?, ?, ?)",
                (hashed, now, now + CODE_SECONDS),
            )
        half = CODE_LENGTH // 2
        return Code(f"{letters[:half]}-{letters[half:]}", now + CODE_SECONDS)

    def pair(self, code: str, name: str, address: str) -> Paired:
        """Pair the device at ``address`` by ``code``; the code is used up. ``name`` is what the list shows.

        Raises PairingRefusedError: wrong, used or expired code, or too many wrong tries; InputError: no name.
        """
        shown = tidy_name(name)
        given = _normal_code(code)
        now = self._clock()
        # Counted before the comparison, so that parallel guesses can't outrun the count.
        self._count_try(address, now)
        with self._lock:
            candidates = self._db.execute(
                "SELECT id, hash FROM codes WHERE expires_at > ? ORDER BY id", (now,)
            ).fetchall()
        matching = [row_id for row_id, hashed in candidates if self._matches(hashed, given)]
        token = secrets.token_urlsafe(32)
        device = Device(secrets.token_hex(4), shown, now, now)
        with self._write() as db:
            taken = any(
                db.execute("DELETE FROM codes WHERE id = ? AND expires_at > ?", (row_id, now)).rowcount
                for row_id in matching
            )
            if taken:
                db.execute("DELETE FROM tries WHERE address = ?", (address,))
                db.execute(
                    "INSERT INTO devices (id, name, session_hash, paired_at, last_seen_at) VALUES (?, ?, "
                    "?, ?, ?)",
                    (device.id, device.name, _hash(token), now, now),
                )
            else:
                db.execute("UPDATE codes SET wrong_tries = wrong_tries + 1")
                db.execute("DELETE FROM codes WHERE wrong_tries >= ?", (CODE_TRIES,))
        if not taken:
            raise PairingRefusedError(
                say(
                    "this code is not open: it was mistyped, already used, or is older than five "
                    "minutes; show a new one on the computer and use it within five minutes"
                )
            )
        return Paired(device, token)

    def device_for(self, token: str | None) -> Device | None:
        """The device whose session ``token`` is, or None. Notes that it was seen (at most once a minute)."""
        if token is None or not _TOKEN.fullmatch(token):
            return None
        hashed = _hash(token)
        now = self._clock()
        with self._lock:
            row = self._db.execute(
                "SELECT id, name, paired_at, last_seen_at, session_hash FROM devices WHERE session_hash = ?",
                (hashed,),
            ).fetchone()
        if row is None or not hmac.compare_digest(row[4], hashed):
            return None
        device = Device(*row[:4])
        if now - device.last_seen_at > SESSION_IDLE_SECONDS:
            self.cut_off(device.id)
            return None
        if now - device.last_seen_at >= SEEN_EVERY_SECONDS:
            # Being seen is worth noting, not worth failing a reading for when the disk is full or busy.
            with suppress(InputError), self._write() as db:
                db.execute("UPDATE devices SET last_seen_at = ? WHERE id = ?", (now, device.id))
        return device

    def devices(self) -> list[Device]:
        """All paired devices, the last seen first."""
        with self._lock:
            rows = self._db.execute(
                "SELECT id, name, paired_at, last_seen_at FROM devices ORDER BY last_seen_at DESC, name"
            ).fetchall()
        return [Device(*row) for row in rows]

    def rename(self, device_id: str, name: str) -> None:
        """Give a device another name. Raises InputError: no such device, no name."""
        shown = tidy_name(name)
        with self._write() as db:
            if not db.execute("UPDATE devices SET name = ? WHERE id = ?", (shown, device_id)).rowcount:
                raise InputError(_no_device(device_id))

    def cut_off(self, device_id: str) -> None:
        """End a device's session for good. Raises InputError: no such device."""
        with self._write() as db:
            if not db.execute("DELETE FROM devices WHERE id = ?", (device_id,)).rowcount:
                raise InputError(_no_device(device_id))

    def form_token(self, cookie: str) -> str:
        """A token for forms sent by the browser that holds ``cookie``; different each time, so that compressed pages
        don't leak it (BREACH)."""
        mac = self._mac(cookie)
        pad = secrets.token_bytes(len(mac))
        return (pad + bytes(a ^ b for a, b in zip(pad, mac, strict=True))).hex()

    def form_token_fits(self, cookie: str, token: str) -> bool:
        """True if ``token`` came from ``form_token(cookie)``."""
        try:
            raw = bytes.fromhex(token)
        except ValueError:
            return False
        half = len(raw) // 2
        mac = bytes(a ^ b for a, b in zip(raw[:half], raw[half:], strict=False))
        return hmac.compare_digest(mac, self._mac(cookie))

    def _mac(self, cookie: str) -> bytes:
        return hmac.digest(self._secret, cookie.encode(), "sha256")

    def _count_try(self, address: str, now: float) -> None:
        with self._write() as db:
            db.execute(
                "DELETE FROM tries WHERE locked_until <= ? AND since <= ?", (now, now - LOCKOUT_SECONDS)
            )
            row = db.execute("SELECT count, locked_until FROM tries WHERE address = ?", (address,)).fetchone()
            count, locked_until = row or (0, 0.0)
            if locked_until <= now:
                count += 1
                locked_until = now + LOCKOUT_SECONDS if count >= ADDRESS_TRIES else 0.0
                db.execute(
                    "INSERT INTO tries VALUES (?, ?, ?, ?) ON CONFLICT (address) DO UPDATE SET "
                    "count = excluded.count, locked_until = excluded.locked_until",
                    (address, count, now, locked_until),
                )
                return
        wait = max(1, round(locked_until - now))
        raise PairingRefusedError(
            say(
                "too many wrong codes from this device; wait {minutes} minutes, then use a new code",
                minutes=-(-wait // 60),
            ),
            wait,
        )

    def _matches(self, hashed: str, given: str) -> bool:
        try:
            return self._hasher.verify(hashed, given)
        except (VerificationError, InvalidHashError):
            return False

    def _prepare(self) -> bytes:
        with self._write() as db:
            version = db.execute("PRAGMA user_version").fetchone()[0]
            if version > _SCHEMA_VERSION:
                raise InputError(
                    say(
                        "the list of paired devices {file} was written by a newer coldlash; use that "
                        "one, or another state folder",
                        file=self._file,
                    )
                )
            if version == 0:
                for statement in filter(str.strip, _SCHEMA.split(";")):
                    db.execute(statement)
                db.execute("INSERT INTO secrets VALUES ('forms', ?)", (secrets.token_bytes(32),))
                db.execute(f"PRAGMA user_version = {_SCHEMA_VERSION}")
            secret: bytes = db.execute("SELECT value FROM secrets WHERE name = 'forms'").fetchone()[0]
            return secret

    @contextmanager
    def _told_plainly(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            raise InputError(
                say(
                    "the list of paired devices {file} can't be written ({error}); free some space on "
                    "the disk, or give coldlash a state folder that it may write to",
                    file=self._file,
                    error=error,
                )
            ) from error

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with self._lock, self._told_plainly():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise


def new_token() -> str:
    """A random value for a session cookie (256 bits)."""
    return secrets.token_urlsafe(32)


def is_token(value: str) -> bool:
    """True if ``value`` has the shape of a session cookie of ours."""
    return _TOKEN.fullmatch(value) is not None


def tidy_name(name: str) -> str:
    """A device's name as shown: one line, single spaces, NAME_LENGTH at most. Raises InputError if nothing is left."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:NAME_LENGTH]
    if not shown:
        raise InputError(say("the device has no name; give it one you will recognise, like Workshop phone"))
    return shown


def _normal_code(code: str) -> str:
    letters = "".join(c for c in code[:100].upper() if c.isalnum())
    return letters.translate(_READ_AS)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _no_device(device_id: str) -> str:
    return say(
        "no paired device has the mark {device_id!r}; it may have been cut off already", device_id=device_id
    )
