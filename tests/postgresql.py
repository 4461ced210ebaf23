"""Debian's PostgreSQL server for the tests and benchmarks: on a socket in a temporary folder, gone afterwards.

It answers nobody but this machine's own programs that can reach the folder. ``fsync`` is off: what is tested is
coldlash, not the disk. A machine without the server fails the tests and is told what to install.
"""

from __future__ import annotations

import ctypes
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

import psycopg

REMEDY = (
    "the tests of books on PostgreSQL need its server: apt-get install postgresql (Debian, Ubuntu), "
    "or put initdb and postgres on the PATH"
)
USER = "coldlash"
PREFIX = "coldlash-pg-"
OWNER = "owner"
"""The file that says which process a folder belongs to."""
DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG of prctl(2)


class NoServerError(RuntimeError):
    """There is no PostgreSQL server on this machine."""


def program(name: str) -> str:
    """The newest one that is installed. Raises NoServerError with the remedy."""
    found = sorted(
        Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: float(path.parts[4]), reverse=True
    )
    path = str(found[0]) if found else shutil.which(name)
    if path is None:
        raise NoServerError(f"{name} is not here; {REMEDY}")
    return path


class Server:
    """A server of our own; ``with Server() as server: server.new_database()``."""

    def __init__(self) -> None:
        initdb, postgres = program("initdb"), program("postgres")
        _clear_up_after_killed_tests()
        # A socket's path may be 107 bytes long, and pytest's own temporary folders are longer than that.
        self.folder = Path(tempfile.mkdtemp(prefix=PREFIX))
        (self.folder / OWNER).write_text(str(os.getpid()))
        self._count = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._log = self.folder / "log"
        self._as = _not_root()
        try:
            if self._as:
                os.chown(self.folder, self._as["user"], self._as["group"])
            data = self.folder / "data"
            where = ["-D", str(data), "-U", USER, "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8"]
            self._run(initdb, *where, "--no-sync", "--no-instructions")
            options = {
                "listen_addresses": "",
                "unix_socket_directories": str(self.folder),
                "fsync": "off",
                "full_page_writes": "off",
                "autovacuum": "off",
                "max_connections": "60",
                "max_wal_size": "256MB",
            }
            settings = [part for name, value in options.items() for part in ("-c", f"{name}={value}")]
            with self._log.open("wb") as log:
                self._process = subprocess.Popen(
                    [postgres, "-D", str(data), *settings],
                    stdout=log,
                    stderr=subprocess.STDOUT,
                    cwd=self.folder,
                    env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C.UTF-8"},
                    preexec_fn=_die_with_parent,
                    **self._as,
                )
            self._wait_until_it_answers()
        except BaseException:
            self.stop()
            raise

    def _run(self, *command: str) -> None:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, cwd=self.folder, **self._as
        )
        if done.returncode:
            raise NoServerError(f"{command[0]} failed: {done.stdout}{done.stderr}")

    def _wait_until_it_answers(self) -> None:
        end = time.monotonic() + 60
        while True:
            try:
                self.connect("postgres").close()
            except psycopg.OperationalError:
                if time.monotonic() > end or (self._process and self._process.poll() is not None):
                    raise NoServerError(f"PostgreSQL did not start: {self._log.read_text()}") from None
                time.sleep(0.02)
            else:
                return

    def connect(self, database: str, **more: Any) -> psycopg.Connection[Any]:
        """The driver's own connection, past coldlash."""
        return psycopg.connect(host=str(self.folder), user=USER, dbname=database, autocommit=True, **more)

    def url(self, database: str) -> str:
        """A database as coldlash is told of it."""
        return f"postgresql+psycopg://{USER}@/{database}?host={self.folder}"

    def new_database(self, template: str = "template0", more: str = "") -> str:
        """Make a database, empty or a copy of another one; returns its name."""
        self._count += 1
        name = f"book_{self._count}"
        with self.connect("postgres") as connection:
            connection.execute(f'CREATE DATABASE {name} TEMPLATE "{template}" {more}')
        return name

    def drop_database(self, name: str) -> None:
        """Take a database away, whoever is connected."""
        with self.connect("postgres") as connection:
            connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def stop(self) -> None:
        """End the server and take its files away."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGQUIT)  # at once; its files go anyway
            self._process.wait(timeout=60)
        shutil.rmtree(self.folder, ignore_errors=True)

    def __enter__(self) -> Server:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def _clear_up_after_killed_tests() -> None:
    """Tests that were killed took their server with them, but not its files."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        try:
            os.kill(int((folder / OWNER).read_text()), 0)
        except ProcessLookupError:
            shutil.rmtree(folder, ignore_errors=True)
        except (OSError, ValueError):  # not ours to judge
            continue


def _not_root() -> dict[str, Any]:
    """PostgreSQL refuses to run as root: then it runs as postgres, or as nobody."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
    raise NoServerError("PostgreSQL does not run as root, and there is no user postgres or nobody here")


def _die_with_parent() -> None:
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(DEATH_SIGNAL, signal.SIGQUIT)


class Database:
    """One database that is used again and again: much quicker than a new one for each test."""

    def __init__(self, server: Server) -> None:
        self.server = server
        self.name = server.new_database()
        self.url = server.url(self.name)
        self._reset = ""

    def remember(self) -> None:
        """What is in it now is what ``reset`` goes back to."""
        with self.server.connect(self.name) as db:
            tables = [
                row[0] for row in db.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
            ]
            numbered = [
                row[0]
                for row in db.execute(
                    "SELECT table_name FROM information_schema.columns "
                    "WHERE table_schema = 'public' AND column_name = 'seq'"
                )
            ]
            db.execute("CREATE SCHEMA remembered")
            steps = ["SET LOCAL session_replication_role = replica"]  # no triggers, no references
            for table in tables:
                db.execute(f"CREATE TABLE remembered.{table} AS SELECT * FROM {table}")
                steps.append(f"DELETE FROM {table}")
                steps.append(f"INSERT INTO {table} SELECT * FROM remembered.{table}")
            for table in numbered:
                steps.append(
                    f"SELECT setval(pg_get_serial_sequence('{table}', 'seq'), "
                    f"coalesce((SELECT max(seq) FROM {table}), 1), EXISTS (SELECT FROM {table}))"
                )
            self._reset = "; ".join(steps)

    def reset(self) -> None:
        """Back to what was remembered."""
        with self.server.connect(self.name) as db, db.transaction():
            db.execute("SET LOCAL lock_timeout = '10s'")
            db.execute(self._reset)
