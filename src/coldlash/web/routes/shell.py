"""What makes the pages a program that opens without a network: files, manifest, service worker, offline page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.language import current, say
from coldlash.web.problems import Problem
from coldlash.web.static_files import ASK_FIRST
from coldlash.web.templating import Pages, render

_ICON = re.compile(r"icons/icon(-maskable)?-(\d+)\.png")


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/static, /sw.js, /manifest.webmanifest, /offline, /health; and / leads to /devices until a router has it."""
    return [
        Route("/static/{version}/{name:path}", static_file, methods=["GET"]),
        Route("/sw.js", service_worker, methods=["GET"]),
        Route("/manifest.webmanifest", manifest, methods=["GET"]),
        Route("/favicon.ico", favicon, methods=["GET"]),
        Route("/offline", offline, methods=["GET"]),
        Route("/health", health, methods=["GET"]),
        Route("/", start, methods=["GET"]),
    ]


async def static_file(request: Request) -> Response:
    return _pages(request).static.answer(request)


async def service_worker(request: Request) -> Response:
    static = _pages(request).static
    shell = ["/offline", "/manifest.webmanifest", *static.urls()]
    head = f"const VERSION = {json.dumps(static.version)};\nconst SHELL = {json.dumps(shell)};\n"
    body = head.encode() + static.files["js/sw.js"].content
    # Browsers ask for it at every start; a different byte is a new version.
    return Response(body, media_type="text/javascript", headers={"cache-control": ASK_FIRST})


async def manifest(request: Request) -> Response:
    pages = _pages(request)
    icons = []
    for name in pages.static.files:
        match = _ICON.fullmatch(name)
        if match is not None:
            icon = {"src": pages.static.url(name), "sizes": f"{match[2]}x{match[2]}", "type": "image/png"}
            icons.append({**icon, "purpose": "maskable" if match[1] else "any"})
        elif name == "icons/icon.svg":
            icons.append({"src": pages.static.url(name), "sizes": "any", "type": "image/svg+xml"})
    content = {
        "id": "/",
        "name": pages.settings.title,
        "short_name": pages.settings.title,
        "description": say("Valve clearances: measured, set, kept and understood."),
        "lang": current(),
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#ffffff",
        "icons": icons,
    }
    return JSONResponse(content, media_type="application/manifest+json", headers={"cache-control": ASK_FIRST})


async def favicon(request: Request) -> Response:
    static = _pages(request).static
    for name in ("icons/favicon.ico", "icons/icon.svg", "icons/icon-192.png"):
        if name in static.files:
            return RedirectResponse(static.url(name), status_code=302)
    raise Problem(404, say("There is no icon here."))


async def offline(request: Request) -> Response:
    return render(request, "offline.html", headers={"cache-control": ASK_FIRST})


async def health(_: Request) -> Response:
    """Only that the pages are there: no version, no name, nothing out of the book."""
    return JSONResponse({"ok": True})


async def start(_: Request) -> Response:
    return RedirectResponse("/devices", status_code=303)


def _pages(request: Request) -> Pages:
    pages: Pages = request.app.state.pages
    return pages
