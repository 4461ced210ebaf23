"""One engine: its plan, its valves over time, what it means, its visits; and one visit with all its corrections."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk.attaching import newest_first
from coldlash.desk.changed import changed
from coldlash.desk.desk import Desk
from coldlash.desk.pictures import engine_pictures, valve_pictures
from coldlash.desk.words import due_next, due_state, said
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.attachments import CAPTION_MAX, Attachment
from coldlash.logbook.records import STEPS, Visit
from coldlash.paper.svg import Drawing
from coldlash.web.problems import Problem
from coldlash.web.routes.common import Context, engine_of, form, kept_page, page, today
from coldlash.web.routes.photos import FEW, listed
from coldlash.web.templating import Pages

VISITS_SHOWN = 20


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/engines/..."""
    pages.environment.globals["picture"] = picture
    visit = form("visit_kept.html", _visit, _amend)
    return [
        Route("/engines/{engine}", kept_page("engine.html", _engine), methods=["GET"]),
        Route("/engines/{engine}/valves/{valve}", kept_page("valve.html", _valve), methods=["GET"]),
        Route("/engines/{engine}/visits", page("visits.html", _visits), methods=["GET"]),
        Route("/engines/{engine}/visits/{visit}", page("visit_kept.html", _visit), methods=["GET"]),
        Route("/engines/{engine}/visits/{visit}", visit, methods=["POST"]),
    ]


def picture(drawing: Drawing, ident: str) -> Markup:
    """A drawing as an element of the page."""
    return Markup(drawing.svg(ident))  # noqa: S704 - written by our own writer, which escapes every text


def _engine(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    pictures = engine_pictures(desk, entry, engine)
    row = next(row for row in desk.judged_shed(today()) if row.entry.id == entry.id)
    visits = desk.book.visits(entry.name)
    return {
        "entry": entry,
        "engine": engine,
        "plan": pictures.plan,
        "drifts": pictures.drifts,
        "causes": pictures.causes,
        "answer": desk.answer(entry.name) if visits else None,
        "state": due_state(row.due),
        "next": due_next(row.due, engine.service, desk.shown()),
        "vehicle": row.vehicle,
        "draft": row.draft,
        "visits": _listed(desk, visits, engine)[:VISITS_SHOWN],
        "count": len(visits),
        "valves": pictures.valves,
        "cold": pictures.cold,
        **_photos(desk.book.attachments(entry.id), entry.id),
    }


def _listed(desk: Desk, visits: Iterable[Visit], engine: Engine) -> list[dict[str, Any]]:
    shown = desk.shown()
    newest_first = sorted(visits, key=lambda visit: (visit.day, visit.distance_m), reverse=True)
    return [
        {
            "id": v.id,
            "day": v.day,
            "distance": shown.km(v.distance_m / 1000, engine.service),
            "by": v.by or "",
            "note": v.note,
        }
        for v in newest_first
    ]


def _visits(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    return {"entry": entry, "visits": _listed(desk, desk.book.visits(entry.name), engine)}


def _valve(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    try:
        valve = engine.valve(request.path_params["valve"])
    except InputError as error:
        raise Problem(404, str(error)) from error
    scale, history = valve_pictures(desk, entry, engine, valve, today())
    valves = list(engine.valves)
    at = valves.index(valve)
    return {
        "entry": entry,
        "valve": valve,
        "scale": scale,
        "history": history,
        "verdict": desk.valve_words(entry.name, valve),
        "before": valves[at - 1] if at else None,
        "after": valves[at + 1] if at + 1 < len(valves) else None,
        **_photos(desk.book.attachments(entry.id, valve=valve), entry.id, valve=str(valve)),
    }


def _visit(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    visit = _kept(desk, request, entry.id)
    shown = desk.shown()
    rows = [
        {
            "valve": str(valve),
            "step": step,
            "words": said(reading, shown),
            "spin": reading.spin,
            "note": reading.note,
            "older": [
                {"words": said(r, shown), "reason": after.reason}
                for r, after in _corrected(visit, valve, step)
            ],
        }
        for valve in engine.valves
        for step in STEPS
        if (reading := visit.reading(valve, step)) is not None
    ]
    temp = visit.engine_temp_mc
    return {
        "entry": entry,
        "visit": visit,
        "distance": shown.km(visit.distance_m / 1000, engine.service),
        "temperature": say("not known") if temp is None else shown.celsius(temp / 1000),
        "rows": rows,
        "changes": [(changed(change, shown, engine.service), change.reason) for change in visit.changes],
        "valves": [str(valve) for valve in engine.valves],
        "photos": listed(desk.book.attachments(entry.id, visit_id=visit.id)),
        "caption_max": CAPTION_MAX,
        "typed": {},
        "fault": "",
    }


def _photos(photos: Sequence[Attachment], engine_id: str, **place: str) -> Context:
    """The newest photos for a page without a form, how many there are, and where one is added."""
    add = urlencode({"engine": engine_id, **place})
    return {
        "photos": listed(newest_first(photos)[:FEW]),
        "photo_count": len(photos),
        "add_photo": f"/photos/add?{add}",
    }


def _corrected(visit: Visit, valve: Valve, step: Any) -> list[tuple[Any, Any]]:
    story = visit.story(valve, step)
    return list(pairwise(story))


def _kept(desk: Desk, request: Request, engine_id: str) -> Visit:
    try:
        visit = desk.book.visit(request.path_params["visit"])
    except InputError as error:
        raise Problem(404, str(error)) from error
    if visit.engine_id != engine_id:
        raise Problem(404, say("That visit is of another engine."))
    return visit


def _amend(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    visit = _kept(desk, request, entry.id)
    step = values.get("step", "")
    if step not in STEPS:
        raise InputError(say("step: {step!r} is not one of {steps}", step=step, steps=", ".join(STEPS)))
    desk.say(
        visit,
        engine.valve(values.get("valve", "")),
        next(each for each in STEPS if each == step),
        values.get("reading", ""),
        reason=values.get("reason", ""),
        correct=True,
    )
    return f"/engines/{entry.id}/visits/{visit.id}"
