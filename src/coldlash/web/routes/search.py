"""Search in all notes."""

from __future__ import annotations

from collections.abc import Iterable

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.searching import find
from coldlash.language import mark, say
from coldlash.logbook.search import QUERY_MAX, Hit
from coldlash.web.routes.common import Context, page
from coldlash.web.templating import Pages


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/search."""
    pages.environment.globals.setdefault("say", say)
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
    match hit.source:
        case "work" | "tests" | "accepted_causes" if hit.visit_id is None or hit.source == "work":
            return f"{engine}/work" if hit.source == "work" else engine
        case "fitments":
            return f"{engine}/fit"
    return f"{engine}/visits/{hit.visit_id}" if hit.visit_id else engine
