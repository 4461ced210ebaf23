"""The page of an engine with 200 visits against a bare Starlette page of the same size, both over loopback.

python -m benchmarks.bench_pages [--quick]
"""

from __future__ import annotations

import asyncio
import gzip
import sys
import tempfile
import threading
import time
import urllib.request
from datetime import date, timedelta
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.responses import HTMLResponse
from starlette.routing import Route

from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.logbook.records import NewReading, NewVisit, PastVisit
from coldlash.web.book_app import book_app
from coldlash.web.serve import Serving

BAR_MS, BAR_RATIO, BAR_BYTES = 100.0, 5.0, 150_000


def filled(desk: Desk, visits: int) -> str:
    entry = desk.add_engine(load_engine("flat-four"), "Bench engine")
    _, engine = desk.engine(entry.name)
    past = []
    for number in range(visits):
        readings = tuple(
            NewReading(
                valve=valve,
                step="found",
                go_um=100 + 50 * ((number + i) % 2),
                nogo_um=150 + 50 * ((number + i) % 2),
            )
            for i, valve in enumerate(engine.valves)
        )
        day = date(1990, 1, 1) + timedelta(days=60 * number)
        new = NewVisit(day=day, distance_m=number * 1_000_000, engine_temp_mc=18_000, at=f"{day}T12:00:00Z")
        past.append(PastVisit(visit=new, readings=readings))
    desk.book.add_past_visits(entry.name, past)
    return entry.id


def best_ms(url: str, tries: int) -> tuple[float, float, bytes]:
    """First and best time in ms, and the body as it came (gzipped where offered)."""
    times, body = [], b""
    for _ in range(tries):
        request = urllib.request.Request(url, headers={"accept-encoding": "gzip"})
        start = time.perf_counter()
        with urllib.request.urlopen(request) as answer:
            body = answer.read()
        times.append((time.perf_counter() - start) * 1000)
    return times[0], sorted(times)[len(times) // 2], body


def main() -> int:
    quick = "--quick" in sys.argv[1:]
    visits, tries = (20, 5) if quick else (200, 40)
    with tempfile.TemporaryDirectory() as folder, Desk.open(f"{folder}/b.coldlash", create=True) as desk:
        engine = filled(desk, visits)
        with Serving(
            lambda settings: book_app(settings, desk), port=0, state_dir=Path(folder) / "state"
        ) as house:
            thread = threading.Thread(target=lambda: asyncio.run(house.run()))
            thread.start()
            first, ours, body = best_ms(f"{house.url}/engines/{engine}", tries)
            whole = gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body
            house.stop()
            thread.join()

        async def bare(_: object) -> HTMLResponse:
            return HTMLResponse(whole)

        server = uvicorn.Server(
            uvicorn.Config(Starlette(routes=[Route("/", bare)]), port=0, log_level="error")
        )
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        port = server.servers[0].sockets[0].getsockname()[1]
        _, reference, _ = best_ms(f"http://127.0.0.1:{port}/", tries)
        server.should_exit = True
        thread.join()
    print(
        f"engine page, {visits} visits: first {first:.1f} ms, then {ours:.2f} ms (median), {len(body)} bytes sent"
    )
    print(f"bare Starlette page of the same bytes: {reference:.2f} ms; ratio {ours / reference:.2f}")
    good = ours < BAR_MS and ours / reference < BAR_RATIO and len(body) < BAR_BYTES
    print(
        "within the bars"
        if good or quick
        else f"outside the bars ({BAR_MS} ms, {BAR_RATIO} times, {BAR_BYTES} bytes)"
    )
    return 0 if good or quick else 1


if __name__ == "__main__":
    sys.exit(main())
