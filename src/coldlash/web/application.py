"""The app: defences, files, the pages for trust and pairing, and a place where routers are hung in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

import coldlash
from coldlash.errors import ColdlashError
from coldlash.web.guard import DEFENCES
from coldlash.web.problems import respond
from coldlash.web.routes import devices, shell, trust
from coldlash.web.settings import Settings
from coldlash.web.speaking import Speaking
from coldlash.web.static_files import StaticTree
from coldlash.web.templating import Pages, templates_digest

# A router module gives its routes for one app. Through ``pages`` it sees the settings, and may put helpers into the
# template environment and entries into the navigation.
RouterFactory = Callable[[Pages], Iterable[BaseRoute]]


def create_app(settings: Settings, routers: Sequence[RouterFactory] = ()) -> Starlette:
    """The pages as an ASGI app. ``routers``: the factories of the pages of the book, asked in order.

    Routes see ``request.app.state.settings`` and ``.pages``. Errors of coldlash.errors and problems.Problem raised
    in a route become a page or JSON. Raises InputError if the files of the pages are missing.
    """
    static = StaticTree(settings.static_dir, templates_digest() + coldlash.__version__.encode())
    pages = Pages(settings, static)
    routes: list[BaseRoute] = []
    for factory in (*routers, devices.routes, trust.routes, shell.routes):
        routes.extend(factory(pages))
    app = Starlette(
        routes=routes,
        middleware=[
            Middleware(Speaking, settings=settings),
            *(Middleware(defence, settings=settings) for defence in DEFENCES),
            Middleware(GZipMiddleware, minimum_size=1000, compresslevel=6),
        ],
        exception_handlers={ColdlashError: _answer, HTTPException: _answer},
    )
    app.router.redirect_slashes = False  # one address for one page
    app.state.settings = settings
    app.state.pages = pages
    return app


def _answer(request: Request, error: Exception) -> Response:
    return respond(request, error)
