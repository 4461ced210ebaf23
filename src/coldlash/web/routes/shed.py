"""The shed: every engine, what is due, what is open; and the owner's settings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.shown import SETTINGS
from coldlash.desk.words import due_because, due_next, due_state
from coldlash.web.routes.common import Context, form, kept_page, page, today
from coldlash.web.templating import Pages


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/ and /settings."""
    pages.navigation.insert(0, ("Shed", "/"))
    pages.navigation.append(("Settings", "/settings"))
    return [
        Route("/", kept_page("shed.html", _shed), methods=["GET"]),
        Route("/settings", page("settings.html", _settings), methods=["GET"]),
        Route("/settings", form("settings.html", _settings, _choose), methods=["POST"]),
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


def _settings(_desk: Desk, _: Request) -> Context:
    return {"choices": SETTINGS, "typed": {}, "fault": ""}


def _choose(desk: Desk, _: Request, values: Mapping[str, str]) -> str:
    desk.choose_units({key: values[key] for key in SETTINGS if key in values})
    return "/settings"
