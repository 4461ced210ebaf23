"""Pages of further tests and of causes found: written down, corrected, taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk.desk import Desk
from coldlash.desk.tests_done import (
    CauseFound,
    TestDone,
    add_cause,
    add_test,
    cause_words,
    causes_of,
    causes_on,
    correct_cause,
    correct_test,
    kind_called,
    kinds,
    places_of_test,
    take_back_cause,
    take_back_test,
)
from coldlash.desk.work import parts_asked
from coldlash.engine.spec import Engine
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.routes.common import Context, engine_of, form, page, today
from coldlash.web.templating import Pages

SIGN = "sign-"
"""What the names of the boxes for a test's outcomes begin with."""


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/engines/.../tests and .../found."""
    found: list[BaseRoute] = []
    for path, template, work, deed in (
        ("/engines/{engine}/tests", "tests_done.html", _tests, _write_test),
        ("/engines/{engine}/found", "found.html", _causes, _write_cause),
    ):
        found.append(Route(path, page(template, work), methods=["GET"]))
        found.append(Route(path, form(template, work, deed), methods=["POST"]))
    return found


# --- tests ------------------------------------------------------------------------------------------------------


def _tests(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    asked = request.query_params.get("kind", "")
    kind = next((each for each in kinds() if each.name == asked), None)
    return {
        "entry": entry,
        "rows": [_test_row(done) for done in reversed(desk.tests(entry.name))],
        "kinds": kinds(),
        "kind": kind,
        "places": places_of_test(engine, kind.name) if kind else (),
        "where": request.query_params.get("where", ""),
        "day": today(),
        "typed": {},
        "fault": "",
    }


def _test_row(done: TestDone) -> dict[str, Any]:
    kind = kind_called(done.test.kind)
    return {
        "id": done.test.id,
        "day": done.test.day,
        "words": done.words,
        "ended": done.ended,
        "note": done.test.note,
        "by": done.test.by,
        "outcomes": kind.outcomes if kind else (),
        "signs": done.test.result.split("+"),
    }


def _write_test(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    signs = tuple(name.removeprefix(SIGN) for name in values if name.startswith(SIGN))
    if values.get("take_back"):
        take_back_test(desk.book, values["take_back"], values.get("reason", ""))
    elif values.get("correct"):
        correct_test(
            desk.book,
            engine,
            values["correct"],
            values.get("reason", ""),
            outcomes=signs,
            note=values.get("note"),
        )
    else:
        valves, cylinders = parts_asked(values.get("where", ""), engine)
        add_test(
            desk.book,
            entry,
            engine,
            values.get("kind", ""),
            signs,
            day=_day(values),
            valves=valves,
            cylinders=cylinders,
            data={"read": values["read"].strip()} if values.get("read", "").strip() else {},
            note=values.get("note", ""),
            by=values.get("by", "").strip() or None,
        )
    return f"/engines/{entry.id}/tests"


# --- causes -----------------------------------------------------------------------------------------------------


def _causes(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    return {
        "entry": entry,
        "rows": [_cause_row(desk, found, engine) for found in reversed(causes_on(desk.book, entry, engine))],
        "causes": [(name, cause_words(name)) for name in causes_of(engine)],
        "cause": request.query_params.get("cause", ""),
        "where": request.query_params.get("where", ""),
        "unit": desk.unit(),
        "day": today(),
        "typed": {},
        "fault": "",
    }


def _cause_row(desk: Desk, found: CauseFound, engine: Engine) -> dict[str, Any]:
    cause = found.cause
    amount = (
        None if cause.amount_um is None else desk.shown().units(engine.service).mm(cause.amount_um / 1000)
    )
    return {
        "id": cause.id,
        "day": cause.day,
        "words": found.words,
        "tighter": cause.direction == "tighter",
        "amount": amount,
        "note": cause.note,
        "by": cause.by,
    }


def _write_cause(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    if values.get("take_back"):
        take_back_cause(desk.book, values["take_back"], values.get("reason", ""))
        return f"/engines/{entry.id}/found"
    typed = values.get("amount", "").strip()
    amount = desk.shown().to_mm(typed, say("amount")) if typed else None
    valves, cylinders = parts_asked(values.get("where", ""), engine)
    if values.get("correct"):
        correct_cause(
            desk.book,
            engine,
            values["correct"],
            values.get("reason", ""),
            valves=valves,
            cylinders=cylinders,
            amount_mm=amount,
        )
    else:
        add_cause(
            desk.book,
            entry,
            engine,
            values.get("cause", ""),
            values.get("direction") or None,
            day=_day(values),
            valves=valves,
            cylinders=cylinders,
            amount_mm=amount,
            note=values.get("note", ""),
            by=values.get("by", "").strip() or None,
        )
    return f"/engines/{entry.id}/found"


def _day(values: Mapping[str, str]) -> date:
    text = values.get("day", "").strip()
    if not text:
        return today()
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(say("day: {text!r} is not a date; write it like 2019-05-31", text=text)) from None
    if day > today():
        raise InputError(say("day: {day} has not come yet", day=day))
    return day
