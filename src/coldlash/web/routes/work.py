"""Pages of an engine's life: work on it, the vehicles it was in, and what a vehicle's meter showed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.desk import running
from coldlash.desk.desk import Desk
from coldlash.desk.work import PART_WORDS, WORK_WORDS, add_work, parts_asked, take_back_work, work_on
from coldlash.errors import InputError, MeterWentBackError
from coldlash.language import number, say
from coldlash.logbook.lasting import PARTS
from coldlash.logbook.records import Meter
from coldlash.web.problems import Problem
from coldlash.web.routes.common import Context, engine_of, form, page, today, typed_number
from coldlash.web.templating import Pages

UNITS: dict[str, Meter] = {"km": "km", "mile": "mile", "h": "h"}


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/engines/.../work and .../fit, /vehicles/.../odometer."""
    found: list[BaseRoute] = []
    for path, template, work, deed in (
        ("/engines/{engine}/work", "work.html", _work, _add_work),
        ("/engines/{engine}/fit", "fit.html", _fit, _move),
        ("/vehicles/{vehicle}/odometer", "odometer.html", _odometer, _note),
    ):
        found.append(Route(path, page(template, work), methods=["GET"]))
        found.append(Route(path, form(template, work, deed), methods=["POST"]))
    return found


# --- work -------------------------------------------------------------------------------------------------------


def _work(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    shown = desk.shown()
    rows = []
    for done in reversed(work_on(desk.book, entry, engine)):
        metres = done.work.distance_m
        rows.append(
            {
                "id": done.work.id,
                "day": done.work.day,
                "words": done.words,
                "means": done.means,
                "note": done.work.note,
                "by": done.work.by,
                "at": "" if metres is None else shown.km(metres / 1000, engine.service),
            }
        )
    drafts = desk.book.draft_visits(entry.name)
    closed = desk.book.visits(entry.name)
    visits = [(visit.id, say("the open visit of {day}", day=visit.day)) for visit in drafts]
    visits += [(visit.id, say("the visit of {day}", day=visit.day)) for visit in reversed(closed[-5:])]
    return {
        "entry": entry,
        "rows": rows,
        "parts": {part: PART_WORDS[part] for part in PARTS},
        "kinds": WORK_WORDS,
        "visits": visits,
        "day": today(),
        "typed": {},
        "fault": "",
    }


def _add_work(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    if values.get("take_back"):
        take_back_work(desk.book, values["take_back"], values.get("reason", ""))
    else:
        valves, cylinders = parts_asked(values.get("where", ""), engine)
        add_work(
            desk.book,
            entry,
            engine,
            values.get("part", ""),
            values.get("kind", ""),
            day=_day(values),
            visit_id=values.get("visit") or None,
            valves=valves,
            cylinders=cylinders,
            note=values.get("note", ""),
            by=values.get("by", "").strip() or None,
        )
    return f"/engines/{entry.id}/work"


# --- vehicles and meters ----------------------------------------------------------------------------------------


def _fit(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    vehicles = {vehicle.id: vehicle.name for vehicle in desk.book.vehicles()}
    told = running.metering(desk.book, entry.name, engine).reckoning
    return {
        "entry": entry,
        "now": vehicles.get(entry.vehicle_id or "", ""),
        "now_id": entry.vehicle_id,
        "run": desk.shown().km(told.distance_m / 1000, engine.service),
        "stays": [
            {"day": stay.day, "words": running.reading_words(stay, vehicles), "note": stay.note}
            for stay in running.stays(desk.book, entry.name)
        ],
        "questions": running.question_words(told.questions),
        "vehicles": vehicles,
        "day": today(),
        "typed": {},
        "fault": "",
    }


def _move(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    try:
        running.fit(
            desk.book,
            entry.name,
            engine,
            values.get("vehicle") or None,
            _day(values),
            meter=_number(values, "meter"),
            note=values.get("note", ""),
            by=values.get("by", "").strip() or None,
        )
    except MeterWentBackError as error:
        raise InputError(
            say("{error}. Write that down of the vehicle's meter first, or correct the reading", error=error)
        ) from None
    return f"/engines/{entry.id}/fit"


def _odometer(desk: Desk, request: Request) -> Context:
    name = _vehicle(desk, request)
    now = running.odometer(desk.book, name)
    entries = [(i.day, running.reading_words(i), i.note) for i in now.instruments]
    entries += [(r.day, running.reading_words(r), r.note) for r in now.readings]
    shown = now.reckoning.reading
    return {
        "vehicle": name,
        "vehicle_id": request.path_params["vehicle"],
        "unit": now.unit,
        "shows": None if shown is None else number(shown / 1000, "g"),
        "entries": sorted(entries, key=lambda each: each[0] or date.min, reverse=True),
        "questions": running.question_words(now.questions),
        "day": today(),
        "typed": {},
        "fault": "",
    }


def _note(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    name, what = _vehicle(desk, request), values.get("what", "showed")
    reading, day = _number(values, "reading"), _day(values)
    words, by = values.get("note", ""), values.get("by", "").strip() or None
    if what in ("replaced", "repaired"):
        digits = values.get("digits", "").strip()
        if digits and not digits.isdecimal():
            raise InputError(
                say(
                    "digits: {digits!r} is not a whole number; count the digits the meter shows",
                    digits=digits,
                )
            )
        running.change_instrument(
            desk.book, name, what, day, reading=reading, old_reading=_number(values, "old"),
            unit=UNITS.get(values.get("unit", "")), digits=int(digits) if digits else None,
            note=words, by=by,
        )  # fmt: skip
    else:
        if reading is None:
            raise InputError(say("reading: is empty; type what the meter shows"))
        try:
            running.note_odometer(
                desk.book, name, reading, day, rolled_over=what == "rolled over", note=words, by=by
            )
        except MeterWentBackError as error:
            raise InputError(
                say("{error}. Choose which below, or correct the reading", error=error)
            ) from None
    return f"/vehicles/{request.path_params['vehicle']}/odometer"


def _vehicle(desk: Desk, request: Request) -> str:
    try:
        return desk.book.vehicle(request.path_params["vehicle"]).name
    except InputError as error:
        raise Problem(404, str(error), say("Go back to the shed and choose one that is there.")) from error


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


def _number(values: Mapping[str, str], name: str) -> float | None:
    text = values.get(name, "").strip()
    return typed_number(text, name) if text else None
