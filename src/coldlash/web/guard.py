"""The defences of the pages, one class each, outermost first in ``DEFENCES``. docs/security.md tells what each is for.

Each is a plain ASGI middleware, so that one can be taken out in a test to see that its attack then succeeds.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from coldlash.language import say
from coldlash.web.network import is_local, is_loopback
from coldlash.web.pairing import Device, Pairing, is_token, new_token
from coldlash.web.problems import Problem, respond
from coldlash.web.settings import LISTENER_KEY, LOOPBACK, MEGABYTE, SHARED, Settings

CSP = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",  # blob: for the preview of a photo that is still on the phone
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "require-trusted-types-for 'script'",
        "trusted-types coldlash",  # the one policy, in register.js, only for the service worker's address
    )
)
SECURITY_HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not no-referrer: with that, browsers send "Origin: null" with the forms of our own pages (Fetch, 3.2),
    # and the check of the origin would lose its sight. To other sites same-origin sends nothing either.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-embedder-policy": "require-corp",
    "permissions-policy": "microphone=(self), screen-wake-lock=(self), camera=(), geolocation=(), "
    "payment=(), "
    "usb=(), serial=(), bluetooth=(), midi=(), display-capture=(), browsing-topics=()",
}
REQUEST_HEADER = (
    "x-coldlash"  # any value; another site can't send it without asking first, and is always refused
)
# For bytes that somebody sent in: a photo, a PDF. Whatever is in them, nothing runs and nothing is loaded.
SEALED = "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
FORM_FIELD = "form_token"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
COOKIE_SECONDS = 400 * 86_400

# Open to devices that aren't paired: how to trust and pair, the shell of the pages, nothing out of the book.
OPEN_PATHS = frozenset(
    {"/pair", "/trust", "/health", "/offline", "/sw.js", "/manifest.webmanifest", "/favicon.ico"}
)
OPEN_PREFIXES = ("/static/", "/trust/")
# Calendar programs have no cookie: the token in the path is their key (web.feeds). GET only.
FEED_PATH = re.compile(r"/calendar/[A-Za-z0-9_-]{43}\.ics")

_VISITOR_KEY = "coldlash.visitor"
_FORWARDING = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
_HOST = re.compile(r"(\[[0-9a-fA-F:.]+\]|[A-Za-z0-9.-]+)(?::(\d{1,5}))?")


@dataclass(slots=True)
class Visitor:
    """Who sends a request: ``device`` if paired; ``at_machine`` on the loopback page of the machine itself."""

    pairing: Pairing
    cookie: str
    device: Device | None
    at_machine: bool
    send_cookie: bool = False

    @property
    def may_enter(self) -> bool:
        """True if this visitor may see the book."""
        return self.at_machine or self.device is not None

    def form_token(self) -> str:
        """A token for the forms of a page; makes sure that the browser has a cookie to go with it."""
        self.send_cookie = True
        return self.pairing.form_token(self.cookie)

    def becomes(self, device: Device, token: str) -> None:
        """From this answer on the browser is ``device``: its cookie is replaced (no session fixation)."""
        self.device, self.cookie, self.send_cookie = device, token, True


def visitor(request: Request) -> Visitor:
    """The visitor of a request that went through the guard."""
    found: Visitor = request.scope[_VISITOR_KEY]
    return found


def at_machine_only(request: Request) -> None:
    """Raises Problem unless the request comes from the machine's own loopback page."""
    if not visitor(request).at_machine:
        raise Problem(
            403,
            say("This can only be done at the computer that keeps the book."),
            say("Open the address that starts with http://localhost there."),
        )


def cookie_name(scheme: str) -> str:
    """``__Host-`` binds the cookie to HTTPS, this host and the whole site (RFC 6265bis); plain HTTP can't have it."""
    return "__Host-coldlash" if scheme == "https" else "coldlash"


class Defence:
    """What all have in common: the app behind it and the settings."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings


class SecurityHeaders(Defence):
    """Every answer carries the headers that keep a browser from doing more than the pages need."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                sealed = headers.get("content-security-policy") == SEALED
                for name, value in SECURITY_HEADERS.items():
                    headers[name] = value
                if sealed:  # the one policy of a route's own that counts: it is the stricter one
                    headers["content-security-policy"] = SEALED
                headers.setdefault("cache-control", "no-store")
            await send(message)

        try:
            await self.app(scope, receive, send_guarded)
        except Exception as error:
            # Answered here and not further out, so that even this answer has the headers; then raised for the log.
            if not started:
                await respond(Request(scope), error)(scope, receive, send_guarded)
            raise


class KnownHost(Defence):
    """Only requests addressed to this machine by a name of its own: a foreign name that was made to point here
    (DNS rebinding) is sent away."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        hosts = Headers(scope=scope).getlist("host")
        known = self.settings.site.hosts(scope.get(LISTENER_KEY, SHARED))
        if len(hosts) == 1 and host_of(hosts[0]) in known:
            await self.app(scope, receive, send)
            return
        await _refuse(
            Problem(
                421,
                say("This address isn't one of this machine's own names."),
                say("Use the address that coldlash printed when it was started."),
            ),
            scope,
            receive,
            send,
        )


class Neighbours(Defence):
    """On the shared listener, only peers on the local network: never an address of the internet."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        client = scope.get("client")
        if scope["type"] == "lifespan" or (client and is_local(client[0])):
            await self.app(scope, receive, send)
            return
        await _refuse(
            Problem(
                403,
                say("coldlash answers only on its own local network."),
                say("Join the Wi-Fi or cable network of the workshop."),
            ),
            scope,
            receive,
            send,
        )


class BodyLimit(Defence):
    """No request body larger than the limit for its path, whether its length is announced or not."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        super().__init__(app, settings)
        self._limits = sorted(settings.body_limits.items(), key=lambda item: -len(item[0]))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = next((size for prefix, size in self._limits if scope["path"].startswith(prefix)), MEGABYTE)
        too_large = Problem(
            413,
            say(
                "What was sent is larger than {megabyte:g} MB, the most that is taken here.",
                megabyte=limit / MEGABYTE,
            ),
            say("Send it in smaller parts."),
        )
        announced = Headers(scope=scope).get("content-length", "0")
        if not announced.isdecimal() or int(announced) > limit:
            await _refuse(too_large, scope, receive, send)
            return
        taken = 0
        started = False

        async def receive_limited() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > limit:
                    raise too_large
            return message

        async def send_watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive_limited, send_watched)
        except Problem as problem:
            if problem is not too_large or started:
                raise
            await _refuse(problem, scope, receive, send)


class WhoIsIt(Defence):
    """Finds the visitor by the session cookie, or by the loopback listener, and sets the cookie with its flags."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        name = cookie_name(scope["scheme"])
        cookie = _cookie(headers.getlist("cookie"), name)
        client = scope.get("client")
        who = Visitor(
            pairing=self.settings.pairing,
            cookie=cookie or new_token(),
            device=self.settings.pairing.device_for(cookie) if cookie else None,
            # A forwarding header means that a proxy or tunnel stands between: then it isn't the machine itself.
            at_machine=scope.get(LISTENER_KEY) == LOOPBACK
            and client is not None
            and is_loopback(client[0])
            and not any(header in headers for header in _FORWARDING),
        )
        scope[_VISITOR_KEY] = who

        async def send_with_cookie(message: Message) -> None:
            if message["type"] == "http.response.start" and who.send_cookie:
                parts = [
                    f"{name}={who.cookie}",
                    "Path=/",
                    f"Max-Age={COOKIE_SECONDS}",
                    "HttpOnly",
                    # Lax, not Strict: a link in the owner's calendar must open an engine's page. Nothing that changes
                    # anything is a GET, and every change passes OwnPagesOnly as well.
                    "SameSite=Lax",
                ]
                if scope["scheme"] == "https":
                    parts.append("Secure")
                MutableHeaders(scope=message).append("set-cookie", "; ".join(parts))
            await send(message)

        await self.app(scope, receive, send_with_cookie)


class PairedOnly(Defence):
    """Nothing out of the book for a device that isn't paired."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        path = scope["path"]
        who: Visitor | None = scope.get(_VISITOR_KEY)
        fed = scope.get("method") == "GET" and FEED_PATH.fullmatch(path)
        if path in OPEN_PATHS or path.startswith(OPEN_PREFIXES) or fed or (who is not None and who.may_enter):
            await self.app(scope, receive, send)
            return
        await _refuse(
            Problem(
                401,
                say("This device isn't paired with the book, or was cut off."),
                say(
                    "Pair it with a code from the computer. What is kept on this device stays here until "
                    "then."
                ),
            ),
            scope,
            receive,
            send,
        )


class OwnPagesOnly(Defence):
    """Only our own pages may act (CSRF): where the browser says another site sent it, it is refused; and whatever
    changes something must also carry the request header or the token of a form of ours."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if not _sent_by_us(scope, headers):
            await _refuse(_another_site(), scope, receive, send)
            return
        if scope.get("method", "GET") in SAFE_METHODS or headers.get(REQUEST_HEADER):
            await self.app(scope, receive, send)
            return
        replay = _Replay(receive)
        if not await _carries_form_token(scope, headers, replay):
            await _refuse(_no_token(), scope, receive, send)
            return
        await self.app(scope, replay.again(), send)


# Outermost first. Headers come before everything so that refusals have them too.
DEFENCES = (SecurityHeaders, KnownHost, Neighbours, BodyLimit, WhoIsIt, PairedOnly, OwnPagesOnly)


def _another_site() -> Problem:
    return Problem(
        403,
        say("This came from another site, not from a page of coldlash."),
        say("Open the page here and do it there."),
        kind="another_site",
    )


def _no_token() -> Problem:
    return Problem(
        403,
        say("This form is out of date or isn't from this page."),
        say(
            "Load the page again and send it once more. A program sends the header X-Coldlash with every "
            "change."
        ),
        kind="form_out_of_date",
    )


def host_of(header: str) -> str | None:
    """The lower-case host name or address in a Host header (IPv6 without brackets), or None if it is malformed."""
    match = _HOST.fullmatch(header.strip())
    if match is None:
        return None
    return match[1].strip("[]").rstrip(".").lower()


def _sent_by_us(scope: Scope, headers: Headers) -> bool:
    safe = scope.get("method", "GET") in SAFE_METHODS and scope["type"] == "http"
    fetch_site = headers.get("sec-fetch-site")
    origin = headers.get("origin")
    if safe:
        if fetch_site in (None, "same-origin", "none"):
            return True
        # Another site may link to a page, and nothing else: no frame, image, script or reading by program.
        return headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
    if fetch_site is not None and fetch_site != "same-origin":
        return False
    if origin is not None:
        parts = urlsplit(origin)
        return (
            parts.scheme == scope["scheme"].replace("ws", "http")
            and parts.netloc.lower() == headers.get("host", "").lower()
        )
    return True


class _Replay:
    """Reads a request's body once and gives it again to whoever comes next."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._seen: list[Message] = []

    async def first(self) -> Message:
        message = await self._receive()
        self._seen.append(message)
        return message

    def again(self) -> Receive:
        left = iter(self._seen)

        async def receive() -> Message:
            message = next(left, None)
            return message if message is not None else await self._receive()

        return receive


async def _carries_form_token(scope: Scope, headers: Headers, replay: _Replay) -> bool:
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in ("application/x-www-form-urlencoded", "multipart/form-data"):
        return False
    request = Request(scope, replay.first)
    try:
        async with request.form(max_fields=1000, max_files=50) as form:
            token = form.get(FORM_FIELD)
    except HTTPException:  # not a form, whatever its content type says
        return False
    who: Visitor | None = scope.get(_VISITOR_KEY)
    if who is None or not isinstance(token, str):
        return False
    return who.pairing.form_token_fits(who.cookie, token)


def _cookie(headers: list[str], name: str) -> str | None:
    for header in headers:
        try:
            morsel = SimpleCookie(header).get(name)
        except CookieError:
            continue
        if morsel is not None and is_token(morsel.value):
            return morsel.value
    return None


async def _refuse(problem: Problem, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    await respond(Request(scope), problem)(scope, receive, send)
