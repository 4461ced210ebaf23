"""What the pages of the book share: the desk in a worker thread, today, and a form that says what was wrong with it."""

from __future__ import annotations

import gzip
import re
from collections import OrderedDict
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from coldlash.desk.desk import Desk
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Engine
from coldlash.errors import InputError
from coldlash.language import number, say
from coldlash.logbook.records import EngineEntry
from coldlash.units import parse_number
from coldlash.web.problems import Problem
from coldlash.web.templating import PAGE_CACHING, form_values, page_choices, render

T = TypeVar("T")
_GROUPED = re.compile(r"\s*[-+\u2212]?0*[1-9]\d*\.\d{3}\s*")
Context = dict[str, Any]
Work = Callable[[Desk, Request], Context]
Deed = Callable[[Desk, Request, Mapping[str, str]], str]


def desk_of(request: Request) -> Desk:
    """The open book's desk."""
    desk: Desk = request.app.state.desk
    return desk


def today() -> date:
    """The owner's own calendar day, not that of a time zone."""
    return date.today()  # noqa: DTZ011


def engine_of(desk: Desk, request: Request) -> tuple[EngineEntry, Engine]:
    """The engine a page is about. Raises Problem (404) when the book has none by that id."""
    try:
        return desk.engine(request.path_params["engine"])
    except InputError as error:
        raise Problem(404, str(error), say("Go back to the shed and choose one that is there.")) from error


def typed_number(text: str, what: str) -> float:
    """A number as a form sends it, with a point or a decimal comma. Where the language groups digits by points,
    "84.210" may mean two numbers and is refused, as "84,210" is everywhere. Raises InputError."""
    if _GROUPED.fullmatch(text) and number(1000, ",") == "1.000":
        whole, _, part = text.strip().partition(".")
        raise InputError(
            say(
                "{what}: {text!r} can be read as {large} or as {small}; write one of these",
                what=what,
                text=text.strip(),
                large=whole + part,
                small=f"{whole},{part}".rstrip("0").rstrip(","),
            )
        )
    return parse_number(text, what)


def page(template: str, work: Work) -> Callable[[Request], Any]:
    """An endpoint that shows ``template`` filled by ``work``, which runs in a worker thread."""

    async def endpoint(request: Request) -> Response:
        desk = desk_of(request)
        context = await run_in_threadpool(work, desk, request)
        return render(request, template, {"shown": await run_in_threadpool(desk.shown), **context})

    return endpoint


PAGES_KEPT = 200


def kept_page(template: str, work: Work) -> Callable[[Request], Any]:
    """The same for a page without a form: made again only when the book, the day or the visitor's choices differ.

    It is kept compressed as well, which is what takes the time on a page that is otherwise ready.
    """
    kept: OrderedDict[tuple[object, ...], tuple[bytes, bytes]] = OrderedDict()

    async def endpoint(request: Request) -> Response:
        desk = desk_of(request)
        # One short query that no writer can hold up; a worker thread would cost more than it.
        key = (request.url.path, desk.book.stamp(), today(), *page_choices(request))
        bodies = kept.get(key)
        if bodies is None:
            context = await run_in_threadpool(work, desk, request)
            fresh = render(request, template, {"shown": await run_in_threadpool(desk.shown), **context})
            bodies = bytes(fresh.body), gzip.compress(bytes(fresh.body), 6, mtime=0)
            kept[key] = bodies
            while len(kept) > PAGES_KEPT:
                kept.popitem(last=False)
        kept.move_to_end(key)
        plain, packed = bodies
        headers = {"cache-control": PAGE_CACHING, "vary": "Accept-Encoding"}
        if "gzip" in request.headers.get("accept-encoding", ""):
            return HTMLResponse(packed, headers={**headers, "content-encoding": "gzip"})
        return HTMLResponse(plain, headers=headers)

    return endpoint


def form(template: str, work: Work, deed: Deed) -> Callable[[Request], Any]:
    """An endpoint for a form's POST: ``deed`` does it and gives the address to go to.

    What the desk refuses is shown above the same form, with everything that was typed still in it.
    """

    async def endpoint(request: Request) -> Response:
        desk, values = desk_of(request), await form_values(request)
        try:
            return RedirectResponse(await run_in_threadpool(deed, desk, request, values), status_code=303)
        except InputError as error:
            context = await run_in_threadpool(work, desk, request)
            shown: Shown = await run_in_threadpool(desk.shown)
            told = {"fault": str(error), "typed": values, "shown": shown}
            return render(request, template, {**context, **told}, status_code=422, keep=False)

    return endpoint
