"""Serving the pages: to this computer alone, or also to the local network over HTTPS of our own authority."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import signal
import socket
import ssl
import sys
import threading
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import segno
import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send

from coldlash.errors import InputError
from coldlash.language import mark, say, table
from coldlash.web.authority import Authority
from coldlash.web.network import Surroundings, is_loopback, look_around
from coldlash.web.pairing import Code, Pairing
from coldlash.web.routes.devices import pairing_url
from coldlash.web.settings import LISTENER_KEY, LOOPBACK, SHARED, Settings, Site

DEFAULT_PORT = 8765
GRACE_SECONDS = 5
WATCH_SECONDS = 60
# Bounds the memory that a careless or hostile neighbour can take: more connections at a time get a 503.
MOST_CONNECTIONS = 200

WHAT_PLAIN_HTTP_LOSES = mark(
    "Served without encryption, as asked. What is lost: anyone on this network can read what is sent, "
    "copy a\ndevice's session and act in its name; phones can't keep the pages for use without a "
    "network, can't install\nthem, and can't keep the screen awake or listen. For a network that only "
    "you use."
)

AppFactory = Callable[[Settings], ASGIApp]
logger = logging.getLogger("coldlash.web")


def serve(
    app_factory: AppFactory,
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    share: bool = False,
    plain_http: bool = False,
    *,
    state_dir: Path,
    share_port: int | None = None,
    out: TextIO | None = None,
) -> None:
    """Serve until Ctrl+C or SIGTERM, then stop gracefully: requests under way are finished, new ones refused.

    The computer itself is served on ``host`` (a loopback address) and ``port`` over plain HTTP. With ``share`` the
    local network is served too, over HTTPS on ``share_port`` (default: port + 1), or over plain HTTP if
    ``plain_http``. Port 0 takes any free one. Addresses, fingerprint and a pairing code are written to ``out``
    (default: standard output); when standard input is a terminal, Enter shows a new code.
    ``app_factory`` gets the Settings and gives the app. Raises InputError if a port is taken or not allowed, if
    ``host`` isn't a loopback address, or if there is no local network to share on.
    """
    out = out if out is not None else sys.stdout
    with Serving(
        app_factory, host, port, share, plain_http, state_dir=state_dir, share_port=share_port
    ) as house:
        _announce(house, out)
        asyncio.run(house.run(on_enter=lambda: _show_code(house, out) if share else None))
        out.write(say("Stopped. What the devices hold is sent when coldlash serves again.\n"))
        out.flush()


@dataclass(frozen=True, slots=True)
class _Listener:
    sock: socket.socket
    kind: str
    context: ssl.SSLContext | None


class Serving:
    """The servers of one app: made ready in the constructor (sockets bound, app built), run by ``run``."""

    def __init__(
        self,
        app_factory: AppFactory,
        host: str = "127.0.0.1",
        port: int = DEFAULT_PORT,
        share: bool = False,
        plain_http: bool = False,
        *,
        state_dir: Path,
        share_port: int | None = None,
        surroundings: Callable[[], Surroundings] = look_around,
    ) -> None:
        """As ``serve``; ``surroundings`` tells the machine's addresses. Raises InputError as ``serve`` does."""
        if not (is_loopback(host) or host == "localhost"):
            raise InputError(
                say(
                    "host {host!r} is not a loopback address; this computer itself is served on "
                    "127.0.0.1, and the local network with share (--share)",
                    host=host,
                )
            )
        if plain_http and not share:
            raise InputError(
                say(
                    "plain HTTP was asked for without sharing; this computer itself is always served "
                    "over plain HTTP, leave it out or add share (--share)"
                )
            )
        self._look_around = surroundings
        self._stopping: Callable[[], None] | None = None
        self._stop_asked = False
        self._to_close = contextlib.ExitStack()
        with self._to_close:
            self.pairing = Pairing(state_dir)
            self._to_close.callback(self.pairing.close)
            self.site = Site()
            self.authority: Authority | None = None
            self._context: ssl.SSLContext | None = None
            listeners = [_Listener(self._bind(host, port), LOOPBACK, None)]
            self.port: int = listeners[0].sock.getsockname()[1]
            self.url = f"http://localhost:{self.port}"
            self._scheme = "http" if plain_http else "https"
            self._state_dir = state_dir
            self.share_port = 0
            if share:
                around = surroundings()
                wanted = share_port if share_port is not None else (port + 1 if port else 0)
                # All interfaces: addresses come and go with the Wi-Fi. Who may connect is the guard's affair.
                sock = self._bind("0.0.0.0", wanted)  # noqa: S104
                self.share_port = sock.getsockname()[1]
                if not plain_http:
                    self._certify(around)
                self._settle(around)
                listeners.append(_Listener(sock, SHARED, self._context))
            self._listeners = listeners
            self.settings = Settings(pairing=self.pairing, site=self.site, authority=self.authority)
            self.app = app_factory(self.settings)
            self._to_close = self._to_close.pop_all()

    def __enter__(self) -> Serving:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close sockets and the store of devices. After ``run`` has ended, or instead of it."""
        self._to_close.close()

    async def run(self, on_enter: Callable[[], None] | None = None) -> None:
        """Serve until ``stop`` or, in the main thread, SIGINT or SIGTERM."""
        loop = asyncio.get_running_loop()
        servers = [
            self._server(listener, lifespan="on" if number == 0 else "off")
            for number, listener in enumerate(self._listeners)
        ]

        def stop_all() -> None:
            for server in servers:
                server.force_exit = server.should_exit  # a second Ctrl+C doesn't wait
                server.should_exit = True

        def stop_from_anywhere() -> None:
            loop.call_soon_threadsafe(stop_all)

        self._stopping = stop_from_anywhere
        if self._stop_asked:
            stop_all()
        with _signals(loop, stop_all), _enter_key(loop, on_enter):
            watch = asyncio.create_task(self._watch())
            try:
                await asyncio.gather(
                    *(
                        server.serve([listener.sock])
                        for server, listener in zip(servers, self._listeners, strict=True)
                    )
                )
            finally:
                self._stopping = None
                watch.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await watch

    def stop(self) -> None:
        """Ask the servers to stop; from any thread."""
        self._stop_asked = True
        stopping = self._stopping
        if stopping is not None:
            stopping()

    def refresh(self) -> None:
        """Look at the addresses and the certificate's life again; new connections get what is found."""
        try:
            around = self._look_around()
            if self._scheme == "https":
                self._certify(around)
            self._settle(around)
        except InputError as error:
            # The Wi-Fi may be back in a minute; what was served goes on.
            logger.warning("looking at the network again: %s", error)

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(WATCH_SECONDS)
            if self.share_port:
                await asyncio.to_thread(self.refresh)

    def _certify(self, around: Surroundings) -> None:
        authority = Authority.open(self._state_dir, next(iter(around.names[1:]), ""))
        server = authority.server_certificate(around.hosts)
        if self._context is None:
            self.authority = authority
            self._context = authority.tls_context(server)
        else:
            self._context.load_cert_chain(server.file)  # for new connections

    def _settle(self, around: Surroundings) -> None:
        urls = [f"{self._scheme}://{host}:{self.share_port}" for host in (*around.addresses, *around.names)]
        self.site.shared_hosts = around.hosts
        self.site.shared_url, self.site.other_urls = urls[0], tuple(urls[1:])

    def _bind(self, host: str, port: int) -> socket.socket:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        sock = socket.socket(family, socket.SOCK_STREAM)
        self._to_close.callback(sock.close)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port))
            sock.listen(128)
        except (OSError, OverflowError) as error:
            raise InputError(_bind_fault(host, port, error)) from error
        sock.setblocking(False)
        return sock

    def _server(self, listener: _Listener, lifespan: str) -> uvicorn.Server:
        context = listener.context
        config = uvicorn.Config(
            _marked(self.app, listener.kind),
            lifespan="on" if lifespan == "on" else "off",
            http="h11",
            ws="none",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,  # nobody stands between: a header that says so is not believed
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=GRACE_SECONDS,
            ssl_context_factory=None if context is None else lambda _config, _default: context,
        )
        return _QuietServer(config)


class _QuietServer(uvicorn.Server):
    """Signals are handled once for all servers, in Serving.run."""

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        yield


def _marked(app: ASGIApp, kind: str) -> ASGIApp:
    async def marked(scope: Scope, receive: Receive, send: Send) -> None:
        scope[LISTENER_KEY] = kind
        await app(scope, receive, send)

    return marked


@contextlib.contextmanager
def _signals(loop: asyncio.AbstractEventLoop, stop: Callable[[], None]) -> Generator[None, None, None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop)
    try:
        yield
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.remove_signal_handler(number)


@contextlib.contextmanager
def _enter_key(
    loop: asyncio.AbstractEventLoop, on_enter: Callable[[], None] | None
) -> Generator[None, None, None]:
    if on_enter is None or threading.current_thread() is not threading.main_thread() or not _has_terminal():
        yield
        return

    def pressed() -> None:
        if sys.stdin.readline():
            on_enter()
        else:
            loop.remove_reader(sys.stdin)  # the terminal was closed

    loop.add_reader(sys.stdin, pressed)
    try:
        yield
    finally:
        loop.remove_reader(sys.stdin)


def _has_terminal() -> bool:
    return sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty()


def _announce(house: Serving, out: TextIO) -> None:
    out.write(say("coldlash is at {url} on this computer.\n", url=house.url))
    if house.site.shared_url:
        others = "".join(say("\n  also {url}", url=url) for url in house.site.other_urls)
        out.write(
            say(
                "On the local network: {shared_url}{others}\n",
                shared_url=house.site.shared_url,
                others=others,
            )
        )
        if house.authority is not None:
            out.write(
                say(
                    "The first time, let a phone trust this workshop's certificate; the steps are at\n  "
                    "{shared_url}/trust\nIts SHA-256 fingerprint must be\n{two_lines}\n",
                    shared_url=house.site.shared_url,
                    two_lines=_two_lines(house.authority.fingerprint),
                )
            )
        else:
            out.write(table(WHAT_PLAIN_HTTP_LOSES) + "\n")
        _show_code(house, out)
    out.write(say("Ctrl+C stops it.\n"))
    out.flush()


def _show_code(house: Serving, out: TextIO) -> None:
    code = house.pairing.new_code()
    out.write(
        say(
            "\nTo pair one device, within five minutes: {code_words}\n",
            code_words=_code_words(house.site.shared_url, code),
        )
    )
    picture = qr_text(pairing_url(house.site.shared_url, code), out.encoding)
    # White on black whatever the terminal's own colours are: many cameras don't read an inverted code.
    out.write(f"\x1b[97;40m{picture}\x1b[0m" if out.isatty() else picture)
    if _has_terminal():
        out.write(
            say(
                "For another code press Enter here, or open {url}/devices on this computer.\n",
                url=house.url,
            )
        )
    else:
        out.write(say("For another code open {url}/devices on this computer.\n", url=house.url))


def _code_words(url: str, code: Code) -> str:
    return say("scan this, or open {url}/pair and type {text}", url=url, text=code.text)


def qr_text(text: str, encoding: str | None) -> str:
    """A QR code for a terminal, in half blocks; empty if ``encoding`` hasn't these characters."""
    import io

    drawn = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(out=drawn, border=2, compact=True)
    picture = drawn.getvalue()
    try:
        picture.encode(encoding or "ascii")
    except UnicodeEncodeError:
        return ""
    return picture


def _two_lines(fingerprint: str) -> str:
    pairs: Sequence[str] = fingerprint.split(":")
    half = len(pairs) // 2
    return f"  {':'.join(pairs[:half])}:\n  {':'.join(pairs[half:])}"


def _bind_fault(host: str, port: int, error: OSError | OverflowError) -> str:
    if isinstance(error, OverflowError):
        return say(
            "port {port} doesn't exist; ports go from 1 to 65535, {default_port} is the usual one",
            port=port,
            default_port=DEFAULT_PORT,
        )
    if error.errno == errno.EADDRINUSE:
        return say(
            "port {port} on {host} is in use by another program, perhaps by a coldlash that is still "
            "running; stop that one, or choose another port",
            port=port,
            host=host,
        )
    if error.errno == errno.EACCES:
        return say(
            "port {port} on {host} is reserved for the system; choose one above 1023", port=port, host=host
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return say("this machine has no address {host}; use 127.0.0.1", host=host)
    return say(
        "port {port} on {host} can't be opened ({strerror}); choose another port",
        port=port,
        host=host,
        strerror=error.strerror,
    )
