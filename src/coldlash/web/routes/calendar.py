"""What is due in a calendar: the feed that calendar programs fetch, and the page where its addresses are made."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Iterable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash import language
from coldlash.desk.desk import Desk
from coldlash.desk.printing import due_calendar
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.feeds import Feed, Feeds, Misses, NewFeed
from coldlash.web.guard import visitor
from coldlash.web.problems import Problem
from coldlash.web.routes.common import desk_of, today
from coldlash.web.routes.devices import qr_svg
from coldlash.web.settings import Settings
from coldlash.web.templating import Pages, form_values, render

MEDIA_TYPE = "text/calendar; charset=utf-8"
CACHING = "private, max-age=0, must-revalidate"
ALARM_DAYS = (14, 1)
KEPT = 50


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/calendar, and the one address that works without pairing."""
    kept = _Kept(Feeds(pages.settings.pairing.state_dir))

    async def feed(request: Request) -> Response:
        return await kept.answer(request)

    async def show(request: Request) -> Response:
        return await _page(request, kept.feeds)

    async def make(request: Request) -> Response:
        values = await form_values(request)
        tag = values.get("language", "")
        if tag not in pages.settings.languages:
            tag = language.current()
        alarms = ALARM_DAYS if values.get("alarms") else ()
        try:
            made = await run_in_threadpool(
                lambda: kept.feeds.new(values.get("name", ""), tag=tag, alarm_days=alarms)
            )
        except InputError as error:
            return await _page(request, kept.feeds, fault=str(error), typed=values)
        # Made once now, so that engine files nobody has looked at yet are read before the first fetch.
        await run_in_threadpool(kept.content, desk_of(request), made.feed, base_of(request))
        return await _page(request, kept.feeds, made=made)

    async def revoke(request: Request) -> Response:
        await run_in_threadpool(kept.feeds.revoke, request.path_params["feed"])
        return RedirectResponse("/calendar", status_code=303)

    return [
        Route("/calendar", show, methods=["GET"]),
        Route("/calendar", make, methods=["POST"]),
        Route("/calendar/due.ics", _file, methods=["GET"]),
        Route("/calendar/{token}.ics", feed, methods=["GET"]),
        Route("/calendar/{feed}/revoke", revoke, methods=["POST"]),
    ]


async def _page(
    request: Request,
    feeds: Feeds,
    *,
    made: NewFeed | None = None,
    fault: str = "",
    typed: dict[str, str] | None = None,
) -> Response:
    address = made.address(base_of(request)) if made is not None else ""
    settings: Settings = request.app.state.settings
    context = {
        "feeds": await run_in_threadpool(feeds.feeds),
        "made": made,
        "address": address,
        "picture": qr_svg(address, say("QR code for the calendar’s address")) if address else "",
        "languages": {tag: name for tag, name in language.NAMES.items() if tag in settings.languages},
        "shared_url": settings.site.shared_url,
        "fault": fault,
        "typed": typed,
    }
    # A page with a key on it is never kept.
    return render(request, "calendar.html", context, status_code=422 if fault else 200, keep=False)


async def _file(request: Request) -> Response:
    """The same once, for a device that is paired: a file to open."""
    desk = desk_of(request)
    content, _ = await run_in_threadpool(
        due_calendar, desk, today(), address=base_of(request), alarm_days=ALARM_DAYS
    )
    headers = {"cache-control": "no-store", "content-disposition": 'attachment; filename="due.ics"'}
    return Response(content, headers=headers, media_type=MEDIA_TYPE)


def base_of(request: Request) -> str:
    """The address of the pages, as another device can use it where they are shared; the guard knows the host."""
    settings: Settings = request.app.state.settings
    return settings.site.shared_url or f"{request.url.scheme}://{request.url.netloc}"


class _Kept:
    """Feeds with the bytes last served, which stay until the book or the day changes."""

    def __init__(self, feeds: Feeds) -> None:
        self.feeds = feeds
        self._misses = Misses()
        self._bodies: OrderedDict[str, tuple[object, bytes, str]] = OrderedDict()

    async def answer(self, request: Request) -> Response:
        address = request.client.host if request.client else ""
        wait = self._misses.wait(address)
        if wait:
            raise Problem(
                429,
                say("This device asked for too many calendars that are not here."),
                say("Wait {minutes} minutes.", minutes=-(-wait // 60)),
                headers={"retry-after": str(wait)},
            )
        feed = await run_in_threadpool(self.feeds.fetched, request.path_params["token"])
        if feed is None:
            if not visitor(request).may_enter:
                self._misses.count(address)
            raise Problem(404, say("There is no such page here."))
        content, etag = await run_in_threadpool(self.content, desk_of(request), feed, base_of(request))
        headers = {"etag": etag, "cache-control": CACHING}
        if etag_fits(request.headers.get("if-none-match", ""), etag):
            return Response(status_code=304, headers=headers)
        headers["content-disposition"] = 'inline; filename="due.ics"'
        return Response(content, headers=headers, media_type=MEDIA_TYPE)

    def content(self, desk: Desk, feed: Feed, base: str) -> tuple[bytes, str]:
        """The bytes of a feed and their ETag."""
        key = (desk.book.stamp(), today(), base)
        there = self._bodies.get(feed.id)
        if there is not None and there[0] == key:
            return there[1:]
        with language.using(feed.language):
            content, _ = due_calendar(desk, today(), address=base, alarm_days=feed.alarm_days)
        # Weak: it may be sent compressed (RFC 9110, 8.8.3).
        etag = f'W/"{hashlib.sha256(content).hexdigest()[:32]}"'
        self._bodies[feed.id] = key, content, etag
        while len(self._bodies) > KEPT:
            self._bodies.popitem(last=False)
        return content, etag


def etag_fits(header: str, etag: str) -> bool:
    """Whether If-None-Match names this ETag, compared weakly (RFC 9110, 13.1.2)."""
    given = [part.strip().removeprefix("W/") for part in header.split(",")]
    return "*" in given or etag.removeprefix("W/") in given
