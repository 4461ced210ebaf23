"""Search in all notes."""

from __future__ import annotations

from collections.abc import Iterable

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.searching import find
from coldlash.language import mark
from coldlash.logbook.search import QUERY_MAX, Hit
from coldlash.web.routes.common import Context, page
from coldlash.web.templating import Pages

OWN_PAGES = {"work": "work", "tests": "tests", "accepted_causes": "found", "fitments": "fit"}
"""Tables whose rows stand on a page of their own, and what it is called."""


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/search."""
    pages.navigation.insert(1, (mark("Search"), "/search"))
    return [Route("/search", page("search.html", _search), methods=["GET"])]


def _search(desk: Desk, request: Request) -> Context:
    answer = find(desk.book, request.query_params.get("words", "")[:QUERY_MAX])
    links = {line.hit: _link(line.hit) for group in answer.groups for line in group.lines}
    return {"answer": answer, "links": links}


def _link(hit: Hit) -> str:
    """The page where a note stands."""
    if hit.source == "attachments":
        return f"/photos/{hit.row_id}"
    if hit.engine_id is None:
        return f"/vehicles/{hit.vehicle_id}/odometer"
    engine = f"/engines/{hit.engine_id}"
    if hit.source in OWN_PAGES:
        return f"{engine}/{OWN_PAGES[hit.source]}"
    return f"{engine}/visits/{hit.visit_id}" if hit.visit_id else engine
