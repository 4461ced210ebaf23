"""Each request is answered in the language of who asks: their own choice, else the browser's, else English."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from coldlash.language import using
from coldlash.web.settings import Settings
from coldlash.web.templating import language_of


class Speaking:
    """Sets the language for everything further in, and says in the answer what it depends on (RFC 9110, 12.5.5)."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        language = language_of(Request(scope), self.settings.languages)

        async def send_told(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                kind = headers.get("content-type", "").partition(";")[0]
                fixed = scope["path"].startswith("/static/")
                if not fixed and (kind == "text/html" or kind.endswith("json")):
                    headers.add_vary_header("Accept-Language")
                    headers.add_vary_header("Cookie")
                    headers["content-language"] = language
            await send(message)

        with using(language):
            await self.app(scope, receive, send_told)
