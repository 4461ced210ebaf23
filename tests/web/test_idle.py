"""A server without a terminal stops when nobody asks, and not while somebody does."""

import asyncio
import signal
import threading

from coldlash.web.idle import stopping_when_idle


async def answer(scope, receive, send):
    await send({"type": "http.response.start", "status": 200, "headers": []})


def test_without_a_limit_the_app_is_left_alone():
    assert stopping_when_idle(answer, None) is answer


def test_it_stops_the_process_politely_when_nobody_has_asked(monkeypatch):
    stopped, sent = threading.Event(), []
    monkeypatch.setattr("coldlash.web.idle.os.kill", lambda pid, sig: (sent.append(sig), stopped.set()))
    app = stopping_when_idle(answer, 0.05)
    replies = []

    async def keep(message):
        replies.append(message["type"])

    asyncio.run(app({"type": "http"}, None, keep))
    assert stopped.wait(10)
    assert sent == [signal.SIGINT]
    assert replies == ["http.response.start"]
