"""Stopping by itself when nobody has asked for anything for a while: for a start without a terminal."""

from __future__ import annotations

import os
import signal
import threading
import time

from starlette.types import ASGIApp, Receive, Scope, Send


def stopping_when_idle(app: ASGIApp, idle_s: float | None) -> ASGIApp:
    """``app``, which stops its process politely after ``idle_s`` seconds without a request; None = never."""
    if idle_s is None:
        return app
    wait = idle_s
    last = [time.monotonic()]

    async def counted(scope: Scope, receive: Receive, send: Send) -> None:
        last[0] = time.monotonic()
        try:
            await app(scope, receive, send)
        finally:
            last[0] = time.monotonic()

    def watch() -> None:
        while (left := last[0] + wait - time.monotonic()) > 0:
            time.sleep(left)
        # The server ends as it does on Ctrl+C: requests under way are finished.
        os.kill(os.getpid(), signal.SIGINT)

    threading.Thread(target=watch, daemon=True).start()
    return counted
