"""A served book and a phone for the browser tests: both can be killed and started again where they were."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Playwright

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
]
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}


def chromium() -> str:
    """The browser's path; without one the test fails with the remedy, it is never skipped."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.fail(
            "no Chromium on this machine; install it (Debian: apt-get install chromium) and run again"
        )
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Served:
    """``coldlash serve`` in a process of its own, on one port whatever happens to it."""

    def __init__(self, book: Path, state: Path) -> None:
        self.book, self.state = book, state
        self.port = free_port()
        self.url = f"http://localhost:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None
        self.log = state.with_suffix(".log").open("ab")

    def start(self) -> Served:
        command = [
            sys.executable,
            "-m",
            "coldlash.cli.main",
            "serve",
            "--book",
            self.book,
            "--state",
            self.state,
        ]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [*map(str, command), "--port", str(self.port)], stdout=self.log, stderr=self.log, env=environment
        )
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            try:
                urllib.request.urlopen(f"{self.url}/health", timeout=1).read()
                return self
            except OSError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.05)
        raise AssertionError(
            f"the server did not start: {self.state.with_suffix('.log').read_text()[-2000:]}"
        )

    def kill(self) -> None:
        """As a power cut would: no goodbye."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None

    def close(self) -> None:
        self.kill()
        self.log.close()


class Phone:
    """Chromium with a profile on disk, emulating a phone with touch."""

    def __init__(self, playwright: Playwright, profile: Path) -> None:
        self._playwright, self._profile = playwright, profile
        self.context: BrowserContext | None = None
        self.complaints: list[str] = []

    def start(self) -> Phone:
        self.context = self._playwright.chromium.launch_persistent_context(
            str(self._profile), executable_path=chromium(), args=FLAGS, **PHONE
        )
        self.context.set_default_timeout(20_000)
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        return self

    def kill(self) -> None:
        """The browser dies with everything it had only in memory."""
        for pid in self._processes():
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        try:
            if self.context is not None:
                self.context.close()
        except Exception as error:
            # The connection to a killed browser ends in an error of one kind or another.
            self.complaints.append("") if "closed" in str(error) else None
        self.context = None
        for lock in self._profile.glob("Singleton*"):
            lock.unlink(missing_ok=True)

    def _processes(self) -> list[int]:
        found = []
        for entry in Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            try:
                words = (entry / "cmdline").read_bytes()
            except OSError:
                continue
            if f"--user-data-dir={self._profile}".encode() in words:
                found.append(int(entry.name))
        return found

    def close(self) -> None:
        if self.context is not None:
            self.context.close()
            self.context = None
