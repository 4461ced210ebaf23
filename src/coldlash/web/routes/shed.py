"""The shed: every engine, what is due, what is open; and the owner's settings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.shown import SETTINGS
from coldlash.desk.words import due_because, due_next, due_state
from coldlash.errors import InputError
from coldlash.language import NAMES, known, mark, say
from coldlash.web.guard import COOKIE_SECONDS
from coldlash.web.routes.common import Context, form, kept_page, page, today
from coldlash.web.templating import LANGUAGE_COOKIE, Pages, form_values


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/, /settings and /language."""
    pages.navigation.insert(0, (mark("Shed"), "/"))
    pages.navigation.append((mark("Settings"), "/settings"))
    return [
        Route("/", kept_page("shed.html", _shed), methods=["GET"]),
        Route("/settings", page("settings.html", _settings), methods=["GET"]),
        Route("/settings", form("settings.html", _settings, _choose), methods=["POST"]),
        Route("/language", _choose_language, methods=["POST"]),
    ]


def _shed(desk: Desk, _: Request) -> Context:
    shown = desk.shown()
    rows = [
        {
            "id": row.entry.id,
            "name": row.entry.name,
            "vehicle": row.vehicle,
            "state": due_state(row.due),
            "because": due_because(row.due),
            "headline": row.headline,
            "urgent": row.due.state in ("due", "never checked"),
            "next": due_next(row.due, row.engine.service, shown),
            "last": row.due.last_day,
            "draft": None if row.draft is None else {"id": row.draft.id, "day": row.draft.day},
        }
        for row in desk.judged_shed(today())
    ]
    return {"rows": rows, "day": today()}


def _settings(_desk: Desk, request: Request) -> Context:
    chosen = known(request.cookies.get(LANGUAGE_COOKIE, ""))
    here = request.app.state.pages.settings.languages
    names = {tag: name for tag, name in NAMES.items() if tag in here}
    return {"choices": SETTINGS, "typed": {}, "fault": "", "languages": names, "chosen_language": chosen}


async def _choose_language(request: Request) -> Response:
    """The owner's choice on this device, in a cookie; "" = as the browser asks."""
    wanted = (await form_values(request)).get("language", "")
    if wanted and wanted not in request.app.state.pages.settings.languages:
        raise InputError(say("There are no pages in {language!r} here.", language=wanted))
    answer = RedirectResponse("/settings", status_code=303)
    age = COOKIE_SECONDS if wanted else 0
    answer.set_cookie(
        LANGUAGE_COOKIE,
        wanted,
        max_age=age,
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="lax",
    )
    return answer


def _choose(desk: Desk, _: Request, values: Mapping[str, str]) -> str:
    desk.choose_units({key: values[key] for key in SETTINGS if key in values})
    return "/settings"
