"""What this gap does, hot and cold, how long until it is cold: the physics of one engine, asked by a form."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.desk.cooling import air_from, cooldown, new_reading, taken_from
from coldlash.desk.desk import Desk
from coldlash.desk.gap_effect import asked_from, breathing_cost, gap_effect, has_lobes
from coldlash.desk.hot_cold import even_warmth, hot, own_even, own_hot, zone_fields, zones_from
from coldlash.desk.pack import blade_sets
from coldlash.engine.spec import KIND_WORD
from coldlash.errors import ConvergenceError, InputError
from coldlash.language import say
from coldlash.web.routes.common import Context, desk_of, engine_of
from coldlash.web.templating import Pages, render

Answer = Callable[[Desk, Request, Mapping[str, str], Context], Context]
Work = Callable[[Desk, Request, Mapping[str, str]], Context]


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/engines/{engine}/gap, /heat and /cooldown."""
    return [
        Route("/engines/{engine}/gap", question("gap.html", _gap_form, _gap), methods=["GET"]),
        Route("/engines/{engine}/heat", question("heat.html", _heat_form, _heat), methods=["GET"]),
        Route("/engines/{engine}/cooldown", cooldown_page, methods=["GET"]),
    ]


def question(template: str, work: Work, answer: Answer) -> Callable[[Request], Any]:
    """An endpoint for a form that only asks: ``work`` fills the form, ``answer`` adds the answer to what was asked.

    What the desk refuses is shown above the same form, with everything that was typed still in it.
    """

    def worked(desk: Desk, request: Request) -> tuple[Context, int]:
        typed = dict(request.query_params)
        context = {"shown": desk.shown(), "typed": typed, "fault": "", **work(desk, request, typed)}
        try:
            context.update(answer(desk, request, typed, context))
            return context, 200
        except (InputError, ConvergenceError) as error:
            return {**context, "fault": str(error)}, 422

    async def endpoint(request: Request) -> Response:
        context, status = await run_in_threadpool(worked, desk_of(request), request)
        return render(request, template, context, status_code=status)

    return endpoint


# ------------------------------------------------------------------------------------------------ gap


def _gap_form(desk: Desk, request: Request, _: Mapping[str, str]) -> Context:
    entry, engine = engine_of(desk, request)
    return {"entry": entry, "engine": engine, "has_lobes": has_lobes(engine), "effect": None, "cost": None}


def _gap(desk: Desk, _: Request, typed: Mapping[str, str], context: Context) -> Context:
    entry, engine, shown = context["entry"], context["engine"], context["shown"]
    if not context["has_lobes"]:
        return {}
    asked = asked_from(engine, desk.records(entry.name), typed, shown)
    filled = {
        "cylinder": str(asked.cylinder),
        "rpm": f"{asked.rpm:g}",
        **{KIND_WORD[kind]: shown.typed_mm(gap) for kind, gap in asked.gaps_mm.items()},
    }
    answered = {"effect": gap_effect(engine, asked, shown), "typed": {**filled, **typed}}
    if cost_of := typed.get("cost", ""):
        valve = engine.valve(cost_of)
        answered["cost"] = breathing_cost(engine, valve, asked.gaps_mm[valve.kind], asked.rpm, shown)
    return answered


# ------------------------------------------------------------------------------------------------ heat


def _heat_form(desk: Desk, request: Request, typed: Mapping[str, str]) -> Context:
    entry, engine = engine_of(desk, request)
    return {
        "entry": entry,
        "engine": engine,
        "zones": zone_fields(engine, typed, desk.shown()),
        "sets": [blades.name for blades in blade_sets(desk, entry.name)],
        "valves": [str(valve) for valve in engine.valves],
        "warmth": None,
        "hot": None,
        "own": None,
    }


def _heat(desk: Desk, _: Request, typed: Mapping[str, str], context: Context) -> Context:
    engine, shown = context["engine"], context["shown"]
    if not engine.stack:
        return {}
    # Into the context at once: a fault further down must not hide what is known.
    context["warmth"] = even_warmth(engine, shown)
    asked = typed.get("of", "")
    if all(zone.typed for zone in context["zones"]):
        context["hot"] = hot(engine, zones_from(context["zones"], shown), shown)
    elif asked in ("zones", "hot"):
        zones_from(context["zones"], shown)  # says which are missing
    if asked in ("even", "hot"):
        blades = desk.blade_set(typed.get("blades", ""))
        work = own_even if asked == "even" else own_hot
        return {"own": work(engine, typed, blades, shown)}
    return {}


# ------------------------------------------------------------------------------------------------ cooldown


async def cooldown_page(request: Request) -> Response:
    """The readings so far stand in the address, so a reload or a kept page still counts down to the same moment."""
    context, status, onward = await run_in_threadpool(_cooldown, desk_of(request), request)
    if onward:
        return RedirectResponse(onward, status_code=303)
    return render(request, "cooldown.html", context, status_code=status)


def _cooldown(desk: Desk, request: Request) -> tuple[Context, int, str]:
    entry, engine = engine_of(desk, request)
    query = request.query_params
    shown, now = desk.shown(), datetime.now(UTC)
    context: Context = {
        "entry": entry,
        "shown": shown,
        "typed": dict(query),
        "kept": query.getlist("r"),
        "air": query.get("air", ""),
        "answer": None,
        "fault": "",
        "now": now,
    }
    try:
        taken = taken_from(context["kept"])
        if query.get("temp", "").strip():
            fresh = new_reading(query["temp"], query.get("ago", ""), now, shown)
            air = air_from(context["air"], shown)
            cooldown(engine, air, sorted([*taken, fresh], key=lambda each: each.at), now, shown)
            kept = [("r", each.kept()) for each in sorted([*taken, fresh], key=lambda each: each.at)]
            return context, 303, f"{request.url.path}?{urlencode([('air', context['air']), *kept])}"
        if taken:
            context["answer"] = cooldown(engine, air_from(context["air"], shown), taken, now, shown)
        elif "temp" in query:
            raise InputError(say("engine temperature: is empty; give what the thermometer shows"))
    except (InputError, ConvergenceError) as error:
        return {**context, "fault": str(error)}, 422, ""
    return context, 200, ""
