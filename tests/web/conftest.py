"""A client that sends exactly what a test says, with nothing added, straight into the app; and an app to send it to."""

from __future__ import annotations

import asyncio
import json
import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from argon2 import PasswordHasher
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.web.api import accepted, conflict, entry_id, read_json
from coldlash.web.application import create_app
from coldlash.web.authority import Authority
from coldlash.web.pairing import Pairing
from coldlash.web.settings import LISTENER_KEY, LOOPBACK, SHARED, WEB_FOLDER, Settings, Site
from coldlash.web.templating import Pages, form_values, render

PHONE = "192.168.7.31"
SITE = "192.168.7.20"


@dataclass
class Answer:
    status: int
    headers: list[tuple[str, str]]
    body: bytes

    def header(self, name: str) -> str:
        return ", ".join(value for key, value in self.headers if key == name.lower())

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Client:
    """Sends requests to ``app`` as one peer on one listener; keeps the session cookie like a browser would."""

    app: Any
    listener: str = LOOPBACK
    peer: str | None = "127.0.0.1"
    scheme: str = "http"
    host: str = "localhost:8765"
    cookies: dict[str, str] = field(default_factory=dict)

    def ask(
        self,
        method: str,
        path: str,
        headers: Iterable[tuple[str, str]] = (),
        body: bytes | list[bytes] = b"",
        *,
        form: dict[str, str] | None = None,
        host: str | list[str] | None = "",
        raises: type[BaseException] | None = None,
    ) -> Answer:
        hosts = (
            [self.host] if host == "" else host if isinstance(host, list) else [] if host is None else [host]
        )
        sent = [("host", value) for value in hosts] + [(name.lower(), value) for name, value in headers]
        if self.cookies:
            sent.append(("cookie", "; ".join(f"{name}={value}" for name, value in self.cookies.items())))
        chunks = body if isinstance(body, list) else [body]
        if form is not None:
            chunks = [urlencode(form).encode()]
            sent.append(("content-type", "application/x-www-form-urlencoded"))
        if not isinstance(body, list) and any(chunks) and "content-length" not in dict(sent):
            sent.append(("content-length", str(len(chunks[0]))))
        route, _, query = path.partition("?")
        scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": method,
            "scheme": self.scheme,
            "path": route,
            "raw_path": route.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(name.encode(), value.encode("latin-1")) for name, value in sent],
            "client": (self.peer, 50_000) if self.peer else None,
            "server": ("127.0.0.1", 8765),
            LISTENER_KEY: self.listener,
        }
        answer = asyncio.run(_exchange(self.app, scope, chunks, raises))
        for name, value in answer.headers:
            if name == "set-cookie":
                cookie, _, content = value.partition(";")[0].partition("=")
                self.cookies[cookie] = content
        return answer

    def get(self, path: str, headers: Iterable[tuple[str, str]] = ()) -> Answer:
        return self.ask("GET", path, headers)

    def form_token(self, path: str) -> str:
        """The token in the first form of a page."""
        page = self.get(path).text
        return page.split('name="form_token" value="')[1].split('"')[0]


async def _exchange(
    app: Any, scope: dict[str, Any], chunks: list[bytes], raises: type[BaseException] | None
) -> Answer:
    messages = [
        {"type": "http.request", "body": chunk, "more_body": number < len(chunks) - 1}
        for number, chunk in enumerate(chunks)
    ]
    left = iter(messages)
    out: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return next(left, {"type": "http.disconnect"})

    async def send(message: dict[str, Any]) -> None:
        out.append(message)

    if raises is None:
        await app(scope, receive, send)
    else:
        with pytest.raises(raises):
            await app(scope, receive, send)
    start = next(message for message in out if message["type"] == "http.response.start")
    headers = [(name.decode(), value.decode("latin-1")) for name, value in start["headers"]]
    body = b"".join(message.get("body", b"") for message in out if message["type"] == "http.response.body")
    return Answer(start["status"], headers, body)


def book_routes(pages: Pages) -> list[BaseRoute]:
    """A stand-in for the pages of the book: something secret, something that changes, something that fails."""
    pages.navigation.insert(0, ("Shed", "/"))
    readings: list[str] = []

    async def secret(request: Request) -> Response:
        return JSONResponse({"gap": "0.15"})

    async def page(request: Request) -> Response:
        return render(request, "offline.html")

    async def change(request: Request) -> Response:
        if "form" in request.headers.get("content-type", ""):
            values = await form_values(request)
            readings.append(values["gap"])
            return JSONResponse({"readings": readings})
        entry = entry_id(request)
        readings.append((await read_json(request))["gap"])
        return accepted(entry, {"readings": readings})

    async def swallow(request: Request) -> Response:
        return JSONResponse({"bytes": len(await request.body())})

    async def clash(request: Request) -> Response:
        raise conflict("The book has a newer reading of E3.", "0.10", "0.15")

    async def broken(request: Request) -> Response:
        raise RuntimeError("the inside of /srv/secret")

    return [
        Route("/", page, methods=["GET"]),
        Route("/api/secret", secret, methods=["GET"]),
        Route("/api/change", change, methods=["POST", "DELETE"]),
        Route("/form", change, methods=["POST"]),
        Route("/api/swallow", swallow, methods=["POST"]),
        Route("/photos/add", swallow, methods=["POST"]),
        Route("/api/clash", clash, methods=["POST"]),
        Route("/api/broken", broken, methods=["GET"]),
        Route("/broken", broken, methods=["GET"]),
    ]


@dataclass
class Clock:
    """Seconds since 1970, moved by hand."""

    now: float = 1_750_000_000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pairing(tmp_path: Path, clock: Clock) -> Iterator[Pairing]:
    # The cheapest argon2 there is: what is tested here is not how long a hash takes.
    store = Pairing(tmp_path / "state", clock, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    yield store
    store.close()


@pytest.fixture
def static_dir(tmp_path: Path) -> Path:
    """The pages' own files, as a copy that a test may change."""
    return Path(shutil.copytree(WEB_FOLDER / "static", tmp_path / "static"))


@pytest.fixture
def settings(pairing: Pairing, tmp_path: Path, static_dir: Path) -> Settings:
    site = Site(frozenset({SITE, "garage.local"}), f"https://{SITE}:8766")
    limits = {"/": 1000, "/photos/": 5000}
    authority = Authority.open(tmp_path / "state")
    return Settings(
        pairing=pairing, site=site, authority=authority, body_limits=limits, static_dir=static_dir
    )


@pytest.fixture
def app(settings: Settings) -> Starlette:
    return create_app(settings, [book_routes])


@pytest.fixture
def machine(app: Starlette) -> Client:
    """The browser on the computer itself."""
    return Client(app)


@pytest.fixture
def stranger(app: Starlette) -> Client:
    """A phone on the local network that isn't paired."""
    return Client(app, SHARED, PHONE, "https", f"{SITE}:8766")


@pytest.fixture
def phone(app: Starlette, pairing: Pairing) -> Client:
    """A paired phone."""
    paired = pairing.pair(pairing.new_code().text, "Workshop phone", PHONE)
    return Client(app, SHARED, PHONE, "https", f"{SITE}:8766", {"__Host-coldlash": paired.token})


@pytest.fixture
def without() -> Callable[[Starlette, type], Starlette]:
    """The same app with one defence taken out, to see that its attack then succeeds."""

    def taken_out(app: Starlette, defence: type) -> Starlette:
        before = len(app.user_middleware)
        app.user_middleware = [entry for entry in app.user_middleware if entry.cls is not defence]
        app.middleware_stack = None
        assert len(app.user_middleware) == before - 1
        return app

    return taken_out
