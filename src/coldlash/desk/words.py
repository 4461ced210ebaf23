"""What the desk's answers look like in words and as data, the same for every face."""

from __future__ import annotations

from coldlash.bench.blades import show_um
from coldlash.desk.changed import changed
from coldlash.desk.desk import ShedRow
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Service, Valve
from coldlash.language import mark, say, table
from coldlash.logbook.due import Due
from coldlash.logbook.records import STEPS, Reading, Step, Visit, reading_words
from coldlash.logbook.telling import step_word

_STATE = {
    "due": mark("due"),
    "soon": mark("due soon"),
    "not yet": mark("not due yet"),
    "never checked": mark("never checked"),
}


def due_state(due: Due) -> str:
    """How urgent, in words."""
    return table(_STATE[due.state])


_BECAUSE = {
    "verdict": mark("because of what the readings say"),
    "distance": mark("because of distance"),
    "months": mark("because of months"),
    "early check": mark("because of early check"),
}


def due_because(due: Due) -> str:
    """What makes it due, in words; empty where nothing does yet."""
    if due.state in ("never checked", "not yet"):
        return ""
    if due.by in _BECAUSE:
        return table(_BECAUSE[due.by])
    return say("because of {what}", what=due.by)


def due_next(due: Due, service: Service, shown: Shown) -> str:
    """When the next check is, in words: the day that comes first, and the distance."""
    if due.state == "never checked":
        return say("measure it once to begin")
    parts = []
    if due.projected is not None:
        if due.soonest is not None and due.latest is not None and due.soonest != due.latest:
            parts.append(
                say(
                    "about {day} ({soonest} to {latest})",
                    day=due.projected,
                    soonest=due.soonest,
                    latest=due.latest,
                )
            )
        else:
            parts.append(say("about {day}", day=due.projected))
    if due.due_km is not None:
        parts.append(say("at {distance}", distance=shown.km(due.due_km, service)))
    if due.due_day is not None:
        parts.append(say("by {day} at the latest", day=due.due_day))
    return ", ".join(parts) or say("no interval is known")


def due_lines(row: ShedRow, shown: Shown) -> list[str]:
    """One engine of the shed: its state, and below it the last check and the next."""
    due, service = row.due, row.engine.service
    name = row.entry.name
    if row.vehicle:
        name = say("{engine} ({vehicle})", engine=name, vehicle=row.vehicle)
    because = due_because(due)
    if because:
        lines = [say("{engine}: {state}, {because}", engine=name, state=due_state(due), because=because)]
    else:
        lines = [say("{engine}: {state}", engine=name, state=due_state(due))]
    if row.headline:
        lines.append(say("  now   {headline}", headline=row.headline))
    if due.last_day is not None and due.last_km is not None:
        last = shown.km(due.last_km, service)
        lines.append(say("  last  {day} at {distance}", day=due.last_day, distance=last))
    lines.append(say("  next  {when}", when=due_next(due, service, shown)))
    if row.draft is not None:
        lines.append(
            say(
                "  open  a visit of {day} is open; go on: coldlash visit guide {engine!r}",
                day=row.draft.day,
                engine=row.entry.name,
            )
        )
    return lines


def due_json(row: ShedRow) -> dict[str, object]:
    """One engine of the shed as data."""
    due = row.due

    def day(value: object) -> str | None:
        return None if value is None else str(value)

    return {
        "engine": row.entry.name,
        "vehicle": row.vehicle,
        "state": due.state,
        "by": due.by,
        "last_day": day(due.last_day),
        "last_km": due.last_km,
        "due_km": due.due_km,
        "due_day": day(due.due_day),
        "projected_day": day(due.projected),
        "soonest_day": day(due.soonest),
        "latest_day": day(due.latest),
        "visits": row.visits,
        "headline": row.headline or None,
        "open_visit": None if row.draft is None else row.draft.id,
    }


def said(reading: Reading, shown: Shown) -> str:
    """What the blades said, in the owner's unit."""
    return reading_words(reading, lambda um: show_um(um, shown.gap))


def visit_lines(visit: Visit, engine_name: str, shown: Shown) -> list[str]:
    """A visit as text: what stands, and below each line what it corrected."""
    distance = shown.km(visit.distance_m / 1000)
    head = say(
        "{engine}, {day}, {distance}, {state}",
        engine=engine_name,
        day=visit.day,
        distance=distance,
        state=table(_VISIT[visit.state]),
    )
    lines = [head, "  " + ", ".join(_details(visit, shown))]
    if visit.note:
        lines.append(f"  {visit.note}")
    for valve in visit.valves:
        for step in STEPS:
            lines += _reading_lines(visit, valve, step, shown)
    for change in visit.changes:
        parts = changed(change, shown)._asdict()
        if change.reason:
            lines.append(
                say("  {field} was {old}, is now {new}, because: {reason}", **parts, reason=change.reason)
            )
        else:
            lines.append(say("  {field} was {old}, is now {new}", **parts))
    return lines


_VISIT = {"draft": mark("open"), "closed": mark("closed"), "discarded": mark("put aside")}


def _details(visit: Visit, shown: Shown) -> list[str]:
    details = []
    if visit.meter_reading is not None:
        details.append(
            say("meter {reading:g} {unit}", reading=visit.meter_reading / 1000, unit=visit.meter_unit)
        )
    temp = visit.engine_temp_mc
    if temp is None:
        details.append(say("engine temperature not known"))
    else:
        details.append(say("engine at {temperature}", temperature=shown.celsius(temp / 1000)))
    if visit.by:
        details.append(say("by {name}", name=visit.by))
    return details


def _reading_lines(visit: Visit, valve: Valve, step: Step, shown: Shown) -> list[str]:
    reading = visit.reading(valve, step)
    if reading is None:
        return []
    words = said(reading, shown)
    if reading.spin == "free":
        words = say("{reading}, pushrod spins free", reading=words)
    elif reading.spin == "stiff":
        words = say("{reading}, pushrod spins stiff", reading=words)
    elif reading.spin == "none":
        words = say("{reading}, pushrod spins none", reading=words)
    note = f"  ({reading.note})" if reading.note else ""
    lines = [f"  {valve} {step_word(step):5}  {words}{note}"]
    for older in visit.story(valve, step)[:-1]:
        was = said(older, shown)
        if reading.reason:
            lines.append(
                say("           was: {reading}, because: {reason}", reading=was, reason=reading.reason)
            )
        else:
            lines.append(say("           was: {reading}", reading=was))
    return lines


def visit_json(visit: Visit, engine_name: str) -> dict[str, object]:
    """A visit as data, history included."""
    return {
        "visit": visit.id,
        "engine": engine_name,
        "engine_id": visit.engine_id,
        "engine_file": visit.engine_file_id,
        "blades_um": list(visit.blades_um),
        "plan": visit.plan,
        "day": visit.day.isoformat(),
        "distance_km": visit.distance_m / 1000,
        "engine_temp_c": None if visit.engine_temp_mc is None else visit.engine_temp_mc / 1000,
        "state": visit.state,
        "by": visit.by,
        "note": visit.note,
        "readings": [_reading_json(reading) for reading in visit.readings.values()],
        "history": [_reading_json(reading) for reading in visit.history],
        "changes": [
            {"field": c.field, "old": str(c.old), "new": str(c.new), "reason": c.reason, "at": c.at}
            for c in visit.changes
        ],
    }


def _reading_json(reading: Reading) -> dict[str, object]:
    return {
        "id": reading.id,
        "valve": str(reading.valve),
        "step": reading.step,
        "go_um": reading.go_um,
        "nogo_um": reading.nogo_um,
        "blade_um": reading.blade_um,
        "feel": reading.feel,
        "spin": reading.spin,
        "note": reading.note,
        "replaces": reading.replaces,
        "reason": reading.reason,
        "withdrawn": reading.withdrawn,
        "words": reading.words,
        "device": reading.device,
        "at": reading.at,
    }
