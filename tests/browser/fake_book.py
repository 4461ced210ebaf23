"""A book's server as the outbox sees it, that fails in every way a garage knows, by a seeded plan."""

from __future__ import annotations

import contextlib
import json
import random
import socket
import struct
import threading
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from coldlash.web.settings import WEB_FOLDER

STATIC = WEB_FOLDER / "static"
BLANK = b"<!doctype html><html lang=en><title>blank</title><body></body></html>"

# What can happen to one request. Dropped: the connection is reset before or after the book wrote it down.
MISHAPS = ("drop", "write-then-drop", "busy", "fault", "portal", "portal-json", "hang", "cut-short")


@dataclass
class FakeBook:
    """Keeps what it accepted in ``journal`` [(stream, value, id)], each id once, whatever is sent how often."""

    rng: random.Random | None = None
    chance: float = 0.0
    journal: list[tuple[str, Any, str]] = field(default_factory=list)
    seen: list[dict[str, str]] = field(default_factory=list)
    answers: dict[str, list[tuple[int, dict[str, Any], dict[str, str]]]] = field(default_factory=dict)
    mishaps: dict[str, int] = field(default_factory=dict)
    gets: dict[str, tuple[int, Any]] = field(default_factory=dict)
    port: int = 0
    blobs: list[bytes] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._lock = threading.Lock()
        self._server: _Server | None = None
        self._let_go = threading.Event()
        self.start()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        self._let_go.clear()
        self._server = _Server(("127.0.0.1", self.port), _Handler)
        self._server.book = self
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def die(self) -> None:
        """Gone, with every connection; what it wrote down stays. Nothing more is written after this returns."""
        server, self._server = self._server, None
        if server is not None:
            self._let_go.set()
            server.shutdown()
            server.server_close()
            with self._lock:
                server.alive = False
            server.hang_up()

    def stream(self, name: str) -> list[Any]:
        return [value for stream, value, _ in self.journal if stream == name]

    def write_down(self, server: _Server, stream: str, value: Any, entry: str) -> None:
        with self._lock:
            if not server.alive:
                raise ConnectionAbortedError("died before it wrote this down")
            if entry not in [known for _, _, known in self.journal]:
                self.journal.append((stream, value, entry))

    def next_mishap(self) -> str | None:
        with self._lock:
            if self.rng is None or self.rng.random() >= self.chance:
                return None
            kind = self.rng.choice(MISHAPS)
            self.mishaps[kind] = self.mishaps.get(kind, 0) + 1
            return kind


class _Server(ThreadingHTTPServer):
    allow_reuse_address = True
    daemon_threads = True
    book: FakeBook

    def __init__(self, *arguments: Any) -> None:
        self.alive = True
        self._open: list[socket.socket] = []
        super().__init__(*arguments)

    def get_request(self) -> tuple[socket.socket, Any]:
        connection, address = super().get_request()
        self._open.append(connection)
        return connection, address

    def hang_up(self) -> None:
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def handle_error(self, *_: object) -> None:
        """Connections that end early are what this server is for."""


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Server

    def log_message(self, *_: object) -> None:
        pass

    def do_GET(self) -> None:
        path = self.path.partition("?")[0]
        if path in self.server.book.gets:
            status, value = self.server.book.gets[path]
            self._answer(status, json.dumps(value).encode(), "application/json")
            return
        file = STATIC / path.lstrip("/")
        if path.startswith("/js/") and ".." not in path and file.is_file():
            self._answer(200, file.read_bytes(), "text/javascript")
        else:
            self._answer(200, BLANK, "text/html")

    def do_POST(self) -> None:
        book = self.server.book
        raw = self.rfile.read(int(self.headers["content-length"]))
        entry = self.headers["idempotency-key"]
        stream = self.path.split("/")[2]
        if self.headers["content-type"] == "application/json":
            value = json.loads(raw).get("value")
        else:
            book.blobs.append(raw)
            value = self.headers["content-type"]
        book.seen.append(
            {"path": self.path, "entry": entry, **{k.lower(): v for k, v in self.headers.items()}}
        )
        scripted = book.answers.get(entry) or book.answers.get(str(value))
        if scripted:
            status, content, headers = scripted.pop(0)
            self._answer(status, json.dumps(content).encode(), "application/json", headers)
            return
        mishap = book.next_mishap()
        written = json.dumps({"entry": entry}).encode()
        match mishap:
            case None:
                book.write_down(self.server, stream, value, entry)
                self._answer(200, written, "application/json")
            case "drop":
                self._reset()
            case "write-then-drop":
                book.write_down(self.server, stream, value, entry)
                self._reset()
            case "busy":
                content = json.dumps({"error": {"kind": "book", "message": "busy", "hint": ""}}).encode()
                self._answer(503, content, "application/json")
            case "fault":
                content = json.dumps({"error": {"kind": "our_fault", "message": "no", "hint": ""}}).encode()
                self._answer(500, content, "application/json")
            case "portal":
                self._answer(200, b"<p>Welcome to the guest Wi-Fi. Please log in.", "text/html")
            case "portal-json":
                self._answer(200, b'{"ok": true}', "application/json")
            case "hang":
                book.write_down(self.server, stream, value, entry)
                book._let_go.wait(20)
                self._reset()
            case "cut-short":
                book.write_down(self.server, stream, value, entry)
                self.wfile.write(
                    b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{"
                )
                self._reset()

    def _answer(self, status: int, body: bytes, kind: str, headers: dict[str, str] | None = None) -> None:
        body = b"" if status == 204 else body
        self.send_response(status)
        for name, value in {
            "content-type": kind,
            "content-length": str(len(body)),
            **(headers or {}),
        }.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def _reset(self) -> None:
        # Linger 0: the peer sees a reset, as when the machine went away.
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self.close_connection = True
        self.connection.close()
