"""Serving for real: sockets, TLS handshakes, signals, what is printed."""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import io
import os
import pty
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from coldlash.errors import InputError
from coldlash.web import serve as module
from coldlash.web.application import create_app
from coldlash.web.authority import Authority
from coldlash.web.network import Surroundings
from coldlash.web.serve import Serving, qr_text, serve
from coldlash.web.settings import Settings
from coldlash.web.templating import Pages

NEAR = "127.0.0.2"  # a local address of its own that every Linux machine answers on
PROGRAM = """
import sys
from pathlib import Path
from coldlash.web import serve as module
from coldlash.web.application import create_app
from coldlash.web.network import Surroundings

def here():
    return Surroundings(("127.0.0.2",), ("garage.local",))

module.Serving.__init__.__kwdefaults__["surroundings"] = here
share = "share" in sys.argv
module.serve(create_app, port=0, share=share, plain_http="plain" in sys.argv, state_dir=Path(sys.argv[1]))
"""


def around() -> Surroundings:
    return Surroundings((NEAR,), ("garage.local",))


@contextlib.contextmanager
def running(factory: Callable[[Settings], Any], state: Path, **options: Any) -> Iterator[Serving]:
    house = Serving(factory, port=0, state_dir=state, **{"surroundings": around, **options})
    thread = threading.Thread(target=lambda: asyncio.run(house.run()))
    thread.start()
    try:
        yield house
    finally:
        house.stop()
        thread.join(30)
        house.close()
        assert not thread.is_alive()


def get(
    connection: http.client.HTTPConnection, path: str, headers: dict[str, str] | None = None
) -> tuple[int, bytes, http.client.HTTPMessage]:
    connection.request("GET", path, headers=headers or {})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, body, answer.headers


def trusting(state: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=state / "authority" / "authority.pem")


def read_blocks(text: str) -> list[str]:
    """What an independent reader (zxing-cpp) sees in half blocks: a full block is light, a blank dark."""
    rows = []
    for line in text.splitlines():
        rows.append([255 if c in "█▀" else 0 for c in line])
        rows.append([255 if c in "█▄" else 0 for c in line])
    width = max(map(len, rows))
    picture = np.array([row + [255] * (width - len(row)) for row in rows], np.uint8)
    return [found.text for found in zxingcpp.read_barcodes(np.kron(picture, np.ones((6, 6), np.uint8)))]


# --- this computer ---


def test_by_default_nobody_but_this_computer_is_served(tmp_path: Path):
    with running(create_app, tmp_path) as house:
        assert house.share_port == 0
        assert [listener.sock.getsockname()[0] for listener in house._listeners] == ["127.0.0.1"]
        status, _, headers = get(http.client.HTTPConnection("127.0.0.1", house.port), "/devices")
        assert status == 200
        assert "server" not in headers
        assert not (tmp_path / "authority").exists()


def test_a_header_that_claims_another_origin_is_not_believed(tmp_path: Path):
    seen: list[object] = []

    async def who(request: Request) -> Response:
        seen.append(request.client)
        return PlainTextResponse("")

    with running(lambda s: create_app(s, [lambda _: [Route("/health", who)]]), tmp_path) as house:
        get(http.client.HTTPConnection("127.0.0.1", house.port), "/health", {"X-Forwarded-For": "10.9.9.9"})
    assert str(seen[0]).count("10.9.9.9") == 0


def test_a_request_under_way_is_finished_when_the_server_stops(tmp_path: Path):
    begun = threading.Event()
    stop_asked = threading.Event()

    async def slow(_: Request) -> Response:
        begun.set()
        while not stop_asked.is_set():
            await asyncio.sleep(0.01)
        return PlainTextResponse("finished")

    def factory(settings: Settings) -> Any:
        return create_app(settings, [lambda pages: [Route("/slow", slow)]])

    answers: list[bytes] = []
    with running(factory, tmp_path) as house:
        connection = http.client.HTTPConnection("127.0.0.1", house.port)
        asker = threading.Thread(target=lambda: answers.append(get(connection, "/slow")[1]))
        asker.start()
        assert begun.wait(20)
        house.stop()
        stop_asked.set()
        asker.join(20)
    assert answers == [b"finished"]


def test_stopping_before_running_ends_at_once(tmp_path: Path):
    with Serving(create_app, port=0, state_dir=tmp_path) as house:
        house.stop()
        asyncio.run(house.run())


# --- the local network ---


def test_a_phone_that_trusts_the_authority_reaches_the_shared_pages_over_tls(tmp_path: Path):
    with running(create_app, tmp_path, share=True) as house:
        assert house.site.shared_url == f"https://{NEAR}:{house.share_port}"
        assert house.site.other_urls == (f"https://garage.local:{house.share_port}",)
        connection = http.client.HTTPSConnection(NEAR, house.share_port, context=trusting(tmp_path))
        status, body, headers = get(connection, "/pair")
        assert (status, b"Pair this device" in body) == (200, True)
        assert headers["set-cookie"].startswith("__Host-coldlash=")
        assert (
            get(http.client.HTTPSConnection(NEAR, house.share_port, context=trusting(tmp_path)), "/")[0]
            == 401
        )
        with pytest.raises(ssl.SSLCertVerificationError):
            get(
                http.client.HTTPSConnection(NEAR, house.share_port, context=ssl.create_default_context()), "/"
            )


def test_the_shared_listener_doesnt_speak_plain_http(tmp_path: Path):
    with (
        running(create_app, tmp_path, share=True) as house,
        pytest.raises((http.client.HTTPException, OSError)),
    ):
        get(http.client.HTTPConnection(NEAR, house.share_port), "/pair")


def test_the_loopback_listener_answers_no_request_for_the_shared_names(tmp_path: Path):
    with running(create_app, tmp_path, share=True) as house:
        connection = http.client.HTTPConnection("127.0.0.1", house.port)
        assert get(connection, "/devices", {"Host": "garage.local"})[0] == 421


def test_when_the_address_changes_new_connections_get_a_certificate_for_it(tmp_path: Path):
    places = [Surroundings((NEAR,), ()), Surroundings(("127.0.0.3",), ("garage.local",))]
    with running(create_app, tmp_path, share=True, surroundings=lambda: places[0]) as house:
        with pytest.raises(ssl.SSLCertVerificationError):
            get(
                http.client.HTTPSConnection("127.0.0.3", house.share_port, context=trusting(tmp_path)),
                "/pair",
            )
        places.pop(0)
        house.refresh()
        assert house.site.shared_url == f"https://127.0.0.3:{house.share_port}"
        moved = http.client.HTTPSConnection("127.0.0.3", house.share_port, context=trusting(tmp_path))
        assert get(moved, "/pair")[0] == 200
        left = http.client.HTTPSConnection(NEAR, house.share_port, context=trusting(tmp_path))
        left._context.check_hostname = False  # type: ignore[attr-defined]
        assert get(left, "/pair")[0] == 421


def test_a_network_that_is_gone_for_a_while_changes_nothing(tmp_path: Path, caplog):
    answers: list[Any] = [around()]

    def look() -> Surroundings:
        if not answers:
            raise InputError("this machine has no address on a local network")
        return answers.pop()

    with running(create_app, tmp_path, share=True, surroundings=look) as house:
        before = house.site.shared_url
        house.refresh()
        assert house.site.shared_url == before
    assert "looking at the network again: this machine has no address" in caplog.text


def test_the_watch_looks_again_by_itself(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(module, "WATCH_SECONDS", 0.01)
    looked = threading.Event()
    calls: list[int] = []

    def look() -> Surroundings:
        calls.append(1)
        if len(calls) > 3:
            looked.set()
        return around()

    with running(create_app, tmp_path, share=True, surroundings=look):
        assert looked.wait(20)


def test_plain_http_is_served_only_when_asked_and_its_cookie_is_marked_as_such(tmp_path: Path):
    with running(create_app, tmp_path, share=True, plain_http=True) as house:
        assert house.site.shared_url == f"http://{NEAR}:{house.share_port}"
        status, body, headers = get(http.client.HTTPConnection(NEAR, house.share_port), "/pair")
        assert (status, b"Anyone on this network can read" in body) == (200, True)
        assert headers["set-cookie"].startswith("coldlash=")
        assert house.authority is None


# --- what can go wrong at the start ---


def test_a_port_in_use_is_told_with_what_to_do(tmp_path: Path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=rf"port {port} on 127.0.0.1 is in use .*choose another port"):
            Serving(create_app, port=port, state_dir=tmp_path)
        with pytest.raises(InputError, match=rf"port {port} on 0.0.0.0 is in use"):
            Serving(create_app, port=0, share=True, share_port=port, state_dir=tmp_path, surroundings=around)


def test_a_port_that_does_not_exist_is_told(tmp_path: Path):
    with pytest.raises(InputError, match="port 70000 doesn't exist; ports go from 1 to 65535"):
        Serving(create_app, port=70_000, state_dir=tmp_path)


@pytest.mark.parametrize(
    ("error", "text"),
    [
        (PermissionError(13, "Permission denied"), "is reserved for the system; choose one above 1023"),
        (OSError(99, "Cannot assign requested address"), "this machine has no address 127.0.0.1"),
        (OSError(12, "Cannot allocate memory"), "can't be opened .Cannot allocate memory."),
    ],
)
def test_a_port_that_cannot_be_opened_is_told(tmp_path: Path, monkeypatch, error, text):
    class Refusing(socket.socket):
        def bind(self, address: Any) -> None:
            raise error

    monkeypatch.setattr(module.socket, "socket", Refusing)
    with pytest.raises(InputError, match=text):
        Serving(create_app, port=80, state_dir=tmp_path)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.7.20", "garage.local", ""])
def test_another_host_than_loopback_is_refused(tmp_path: Path, host):
    with pytest.raises(InputError, match=r"is not a loopback address; .*--share"):
        Serving(create_app, host, 0, state_dir=tmp_path)


def test_plain_http_without_sharing_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match="plain HTTP was asked for without sharing"):
        Serving(create_app, port=0, plain_http=True, state_dir=tmp_path)


def test_a_start_that_fails_leaves_the_port_free(tmp_path: Path):
    ports: list[int] = []

    def failing(settings: Settings) -> Any:
        raise InputError("no book")

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        ports.append(free.getsockname()[1])
    with pytest.raises(InputError, match="no book"):
        Serving(failing, port=ports[0], state_dir=tmp_path)
    Serving(create_app, port=ports[0], state_dir=tmp_path).close()


def test_without_a_local_network_sharing_is_refused(tmp_path: Path):
    def nowhere() -> Surroundings:
        raise InputError("this machine has no address on a local network")

    with pytest.raises(InputError, match="no address on a local network"):
        Serving(create_app, port=0, share=True, state_dir=tmp_path, surroundings=nowhere)


# --- the whole program ---


@contextlib.contextmanager
def program(state: Path, *words: str, stdin: int | None = None) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", PROGRAM, str(state), *words],
        stdin=subprocess.DEVNULL if stdin is None else stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def read_until(process: subprocess.Popen[str], words: str) -> str:
    assert process.stdout is not None
    text = ""
    for line in process.stdout:
        text += line
        if words in line:
            return text
    assert process.stderr is not None
    raise AssertionError(f"{words!r} never came; there was: {text}\n{process.stderr.read()}")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_the_program_prints_where_it_is_and_stops_cleanly_on_a_signal(tmp_path: Path, number):
    with program(tmp_path) as process:
        text = read_until(process, "Ctrl+C stops it.")
        port = int(re.findall(r"coldlash is at http://localhost:(\d+) on this computer", text)[0])
        assert get(http.client.HTTPConnection("127.0.0.1", port), "/health")[1] == b'{"ok":true}'
        assert "local network" not in text
        process.send_signal(number)
        out, err = process.communicate(timeout=30)
        assert (process.returncode, err) == (0, "")
        assert "Stopped. What the devices hold is sent when coldlash serves again." in out


def test_sharing_prints_address_fingerprint_and_a_code_that_a_camera_reads(tmp_path: Path):
    with program(tmp_path, "share") as process:
        text = read_until(process, "Ctrl+C stops it.")
        url = re.findall(
            r"On the local network: (https://127\.0\.0\.2:\d+)\n  also https://garage\.local", text
        )[0]
        fingerprint = "".join(re.findall(r"must be\n((?:  .*\n){2})", text)[0].split())
        assert fingerprint == Authority.open(tmp_path).fingerprint
        code = re.findall(r"type ([0-9A-Z]{5}-[0-9A-Z]{5})", text)[0]
        picture = "\n".join(line for line in text.splitlines() if set(line) & set("█▀▄"))
        # independent software: zxing-cpp
        assert read_blocks(picture) == [f"{url}/pair#{code}"]
        assert "What is lost" not in text


def test_sharing_over_plain_http_says_what_is_lost(tmp_path: Path):
    with program(tmp_path, "share", "plain") as process:
        text = read_until(process, "Ctrl+C stops it.")
    for lost in ("without encryption", "copy a\ndevice's session", "without a network", "can't install"):
        assert lost in text
    assert "fingerprint" not in text


def test_enter_shows_another_code(tmp_path: Path):
    ours, theirs = pty.openpty()
    with program(tmp_path, "share", stdin=theirs) as process:
        first = read_until(process, "Ctrl+C stops it.")
        assert "For another code press Enter here, or open http://localhost" in first
        os.write(ours, b"\n")
        second = read_until(process, "For another code press Enter")
        codes = re.findall(r"type ([0-9A-Z]{5}-[0-9A-Z]{5})", first + second)
        assert len(set(codes)) == 2
    os.close(ours)
    os.close(theirs)


def test_a_terminal_without_these_characters_gets_the_code_in_letters_alone(tmp_path: Path, monkeypatch):
    assert qr_text("https://garage.local", "ascii") == ""
    assert qr_text("https://garage.local", None) == ""
    assert "█" in qr_text("https://garage.local", "utf-8")

    async def at_once(self: Serving, on_enter: object = None) -> None:
        return None

    monkeypatch.setattr(Serving, "run", at_once)
    monkeypatch.setitem(Serving.__init__.__kwdefaults__, "surroundings", around)
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii")
    serve(create_app, port=0, share=True, state_dir=tmp_path, out=out)
    assert re.search(r"type [0-9A-Z]{5}-[0-9A-Z]{5}\n", raw.getvalue().decode())


def test_the_pages_helper_of_a_router_is_used_by_the_served_app(tmp_path: Path):
    def routes(pages: Pages) -> list[Route]:
        async def own(_: Request) -> Response:
            return PlainTextResponse(pages.settings.title)

        return [Route("/own", own)]

    with running(lambda settings: create_app(settings, [routes]), tmp_path) as house:
        assert get(http.client.HTTPConnection("127.0.0.1", house.port), "/own")[1] == b"coldlash"
