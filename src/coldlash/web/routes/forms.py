"""Forms: a new vehicle, engine, blade set, a new version of an engine file, a past visit from a notebook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from coldlash.bench.blades import STANDARD_SETS, Unit
from coldlash.desk.desk import Desk
from coldlash.desk.engines import engine_from_text
from coldlash.desk.pack import blade_sets
from coldlash.desk.past import PastRow, past_visit
from coldlash.engine.catalogue import generic_names
from coldlash.engine.spec import Valve
from coldlash.engine.template import new_engine_text
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.routes.common import Context, engine_of, form, page, today, typed_number
from coldlash.web.templating import Pages


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/new/... and the forms of one engine."""
    found: list[BaseRoute] = []
    for path, template, work, deed in (
        ("/new/vehicle", "new_vehicle.html", _nothing, _add_vehicle),
        ("/new/blades", "new_blades.html", _nothing, _add_blades),
        ("/new/engine", "new_engine.html", _start_engine, _add_engine),
        ("/engines/{engine}/file", "engine_file.html", _file, _new_file),
        ("/engines/{engine}/past", "past.html", _past, _add_past),
    ):
        found.append(Route(path, page(template, work), methods=["GET"]))
        found.append(Route(path, form(template, work, deed), methods=["POST"]))
    return found


def _nothing(_desk: Desk, _: Request) -> Context:
    return {"typed": {}, "fault": "", "standard": STANDARD_SETS}


def _add_vehicle(desk: Desk, _: Request, values: Mapping[str, str]) -> str:
    digits = values.get("digits", "").strip()
    if digits and not digits.isdecimal():
        raise InputError(
            say("digits: {digits!r} is not a whole number; count the digits the meter shows", digits=digits)
        )
    meter = values.get("meter", "km")
    desk.book.add_vehicle(
        values.get("name", ""),
        meter="h" if meter == "h" else "mile" if meter == "mile" else "km",
        meter_digits=int(digits) if digits else None,
        note=values.get("note", ""),
    )
    return "/"


def _add_blades(desk: Desk, _: Request, values: Mapping[str, str]) -> str:
    name = values.get("name", "").strip()
    if not name:
        raise InputError(say("name: is empty; give the set a name, like mine"))
    unit: Unit = "in" if values.get("unit") == "in" else "mm"
    desk.add_blade_set(name, values.get("blades", ""), unit, 2 if values.get("stacks") else 1)
    return "/"


def _start_engine(desk: Desk, request: Request) -> Context:
    like = request.query_params.get("like", "")
    text = new_engine_text("My engine", like) if like in generic_names() else ""
    vehicles = [vehicle.name for vehicle in desk.book.vehicles()]
    return {
        "names": generic_names(),
        "like": like,
        "text": text,
        "vehicles": vehicles,
        "typed": {},
        "fault": "",
    }


def _add_engine(desk: Desk, _: Request, values: Mapping[str, str]) -> str:
    loaded = engine_from_text(_lines(values.get("text", "")), say("the engine file"))
    entry = desk.add_engine(loaded, None, values.get("vehicle") or None)
    return f"/engines/{entry.id}"


def _file(desk: Desk, request: Request) -> Context:
    entry, _ = engine_of(desk, request)
    versions = [(f.version, f.since) for f in desk.book.engine_files(entry.name)]
    return {"entry": entry, "versions": versions, "typed": {}, "fault": ""}


def _new_file(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, _ = engine_of(desk, request)
    desk.new_engine_file(entry.name, engine_from_text(_lines(values.get("text", "")), say("the engine file")))
    return f"/engines/{entry.id}"


def _past(desk: Desk, request: Request) -> Context:
    entry, engine = engine_of(desk, request)
    return {
        "entry": entry,
        "valves": [str(valve) for valve in engine.valves],
        "sets": [blades.name for blades in blade_sets(desk, entry.name)],
        "day": today(),
        "unit": {"km": "km", "mi": "miles", "h": "hours"}[desk.shown().words(engine.service).distance_unit],
        "typed": {},
        "fault": "",
    }


def _add_past(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    entry, engine = engine_of(desk, request)
    shown = desk.shown()
    try:
        day = date.fromisoformat(values.get("day", ""))
    except ValueError:
        raise InputError(
            say("day: {day!r} is not a date; write it like 2019-05-31", day=values.get("day", ""))
        ) from None
    if day > today():
        raise InputError(say("day: {day} has not come yet; this form is for past visits", day=day))
    distance = typed_number(values.get("distance", ""), "distance")
    temp = values.get("temp", "").strip()
    past = past_visit(
        engine,
        desk.blade_set(values.get("blades", "")),
        day=day,
        distance_km=shown.words(engine.service).km(distance),
        engine_temp_c=shown.to_celsius(typed_number(temp, "temperature")) if temp else None,
        by=values.get("by", "").strip() or None,
        note=values.get("note", ""),
        rows={valve: _row(values, valve) for valve in engine.valves},
    )
    desk.book.add_past_visits(entry.name, (past,))
    return f"/engines/{entry.id}"


def _row(values: Mapping[str, str], valve: Valve) -> PastRow:
    said = (values.get(f"{valve}-{step}", "") for step in ("found", "set", "left", "note"))
    return PastRow(*said)


def _lines(text: str) -> str:
    """A textarea sends CRLF; an engine file keeps plain line ends."""
    return text.replace("\r\n", "\n")
