"""The visit page, and the addresses its entries are sent to.

Every entry carries an id made on the device; the book takes the same entry twice as once. A reading that the book
already has another value for is answered with both (409), and the owner decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.pack import pack
from coldlash.desk.running import discard_visit
from coldlash.desk.shown import Shown
from coldlash.desk.words import due_json, visit_json
from coldlash.engine.spec import Valve
from coldlash.errors import InputError, ReadingConflictError
from coldlash.language import say
from coldlash.logbook.records import NewReading
from coldlash.web.api import accepted, conflict, entry_id, read_json
from coldlash.web.guard import visitor
from coldlash.web.templating import Pages, render

T = TypeVar("T")
Json = dict[str, Any]


def routes(pages: Pages, desk: Desk) -> Iterable[BaseRoute]:
    """/visit and /api."""
    pages.settings  # noqa: B018 - the signature every router has

    def use(work: Callable[[Desk, Request, Json], Json]) -> Callable[[Request], Any]:
        async def endpoint(request: Request) -> Response:
            entry = entry_id(request)
            body = await read_json(request)
            done = await run_in_threadpool(work, desk, request, body)
            return accepted(entry, done)

        return endpoint

    def show(work: Callable[[Desk, Request], Json]) -> Callable[[Request], Any]:
        async def endpoint(request: Request) -> Response:
            return JSONResponse(
                await run_in_threadpool(work, desk, request), headers={"cache-control": "no-store"}
            )

        return endpoint

    return [
        Route("/visit", visit_page, methods=["GET"]),
        Route("/api/shed", show(_shed), methods=["GET"]),
        Route("/api/engines/{engine}/pack", show(_pack), methods=["GET"]),
        Route("/api/visits/{visit}", show(_visit), methods=["GET"]),
        Route("/api/visits/{visit}/answer", show(_answer), methods=["GET"]),
        Route("/api/visits", use(_open), methods=["POST"]),
        Route("/api/visits/{visit}/readings", use(_reading), methods=["POST"]),
        Route("/api/visits/{visit}/note", use(_note), methods=["POST"]),
        Route("/api/visits/{visit}/plan", use(_plan), methods=["POST"]),
        Route("/api/visits/{visit}/close", use(_close), methods=["POST"]),
        Route("/api/visits/{visit}/discard", use(_discard), methods=["POST"]),
        Route("/engines/{engine}/visit", to_visit, methods=["GET"]),
    ]


async def visit_page(request: Request) -> Response:
    """One page for every visit: which one stands behind the #, so that one kept copy serves them all offline."""
    return render(request, "visit.html")


async def to_visit(request: Request) -> Response:
    return RedirectResponse(f"/visit#engine={request.path_params['engine']}", status_code=303)


def _shed(desk: Desk, _: Request) -> Json:
    # The owner's own calendar day is meant, not that of a time zone.
    today = date.today()  # noqa: DTZ011
    rows = desk.judged_shed(today)
    return {"on": today.isoformat(), "engines": [{"id": row.entry.id, **due_json(row)} for row in rows]}


def _pack(desk: Desk, request: Request) -> Json:
    entry, engine = desk.engine(request.path_params["engine"])
    return pack(desk, entry, engine, date.today())  # noqa: DTZ011


def _visit(desk: Desk, request: Request) -> Json:
    visit = desk.book.visit(request.path_params["visit"])
    return visit_json(visit, desk.book.engine(visit.engine_id).name)


def _answer(desk: Desk, request: Request) -> Json:
    visit = desk.book.visit(request.path_params["visit"])
    if visit.state != "closed":
        raise InputError(say("this visit is still open; its answer comes when it is closed"))
    name = desk.book.engine(visit.engine_id).name
    answer = desk.answer(name)
    return {"engine": name, "lines": answer.lines(), "answer": answer.as_json()}


def _open(desk: Desk, _: Request, body: Json) -> Json:
    given = _Body(body)
    visit = desk.start_visit(
        given.text("engine"),
        day=_day(given.text("day")),
        distance_km=given.number("distance_km"),
        meter=given.number("meter"),
        meter_explained=given.one_of("meter_explained", ("rolled over", "replaced", None)),
        engine_temp_c=_celsius(given),
        by=given.maybe_text("by"),
        blades_um=given.whole_numbers("blades_um"),
        plan=given.maybe_text("plan") or "",
        visit_id=given.text("visit"),
        engine_file_id=given.maybe_text("engine_file"),
        at=given.text("at"),
    )
    return {"visit": visit.id, "distance_km": visit.distance_m / 1000}


def _reading(desk: Desk, request: Request, body: Json) -> Json:
    given = _Body(body)
    visit_id = request.path_params["visit"]
    who = visitor(request)
    new = NewReading(
        id=entry_id(request),
        valve=Valve.parse(given.text("valve")),
        step=given.one_of("step", ("found", "set", "left")),
        go_um=given.whole("go_um"),
        nogo_um=given.whole("nogo_um"),
        blade_um=given.whole("blade_um"),
        feel=given.one_of("feel", ("free", "drag", None)),
        spin=given.one_of("spin", ("free", "stiff", "none", None)),
        note=given.maybe_text("note") or "",
        replaces=given.maybe_text("replaces"),
        reason=given.maybe_text("reason") or "",
        withdrawn=body.get("withdrawn") is True,
        device=who.device.name if who.device is not None else "this computer",
        at=given.text("at"),
    )
    try:
        kept = desk.write(visit_id, new)
    except ReadingConflictError as error:
        standing = next(r for r in desk.book.visit(visit_id).history if r.id == error.standing_id)
        theirs = {"id": standing.id, "words": standing.words, "by": standing.device or standing.by or ""}
        raise conflict(str(error), body, theirs) from error
    return {"reading": kept.id, "words": kept.words}


def _note(desk: Desk, request: Request, body: Json) -> Json:
    note = _Body(body).text("note")
    desk.book.change_visit(request.path_params["visit"], {"note": note}, id=entry_id(request))
    return {}


def _plan(desk: Desk, request: Request, body: Json) -> Json:
    visit = desk.book.visit(request.path_params["visit"])
    plan = _Body(body).text("plan")
    desk.check_plan(visit, plan)
    desk.book.change_visit(visit.id, {"plan": plan}, id=entry_id(request))
    return {}


def _close(desk: Desk, request: Request, body: Json) -> Json:
    closed = desk.book.close_visit(request.path_params["visit"], at=_Body(body).text("at"))
    return {"state": closed.state}


def _discard(desk: Desk, request: Request, body: Json) -> Json:
    reason = _Body(body).maybe_text("reason") or ""
    return {"state": discard_visit(desk.book, request.path_params["visit"], reason).state}


class _Body:
    """The fields of a JSON body, each checked for its kind. Every method raises InputError naming the field."""

    def __init__(self, values: Json) -> None:
        self._values = values

    def maybe_text(self, name: str) -> str | None:
        value = self._values.get(name)
        if value is not None and not isinstance(value, str):
            raise InputError(say("{name}: {value!r} is not text", name=name, value=value))
        return value

    def text(self, name: str) -> str:
        value = self.maybe_text(name)
        if not value:
            raise InputError(say("{name} is missing", name=name))
        return value

    def number(self, name: str) -> float | None:
        value = self._values.get(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(say("{name}: {value!r} is not a number", name=name, value=value))
        return float(value)

    def whole(self, name: str) -> int | None:
        value = self._values.get(name)
        if value is not None and type(value) is not int:
            raise InputError(
                say("{name}: {value!r} is not a whole number of micrometres", name=name, value=value)
            )
        return value

    def whole_numbers(self, name: str) -> tuple[int, ...] | None:
        value = self._values.get(name)
        if value is None:
            return None
        if not isinstance(value, list) or any(type(um) is not int for um in value):
            raise InputError(
                say("{name}: {value!r} is not a row of whole micrometres", name=name, value=value)
            )
        return tuple(value)

    def one_of(self, name: str, choices: tuple[T, ...]) -> T:
        value = self._values.get(name)
        for choice in choices:
            if value == choice:
                return choice
        raise InputError(
            say(
                "{name}: {value!r} is not one of {choices}",
                name=name,
                value=value,
                choices=", ".join(str(c) for c in choices if c is not None),
            )
        )


def _celsius(given: _Body) -> float | None:
    """The temperature as it was typed on the device, whose unit travels with it."""
    typed = given.number("engine_temp")
    unit = given.one_of("temperature", ("C", "F"))
    return None if typed is None else Shown(temperature="F" if unit == "F" else "C").to_celsius(typed)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(say("day: {text!r} is not a date; write it like 2026-05-31", text=text)) from None
