"""What the desk's answers look like in words and as data, the same for every face."""

from __future__ import annotations

from coldlash.bench.blades import show_um
from coldlash.desk.desk import ShedRow
from coldlash.desk.shown import Shown
from coldlash.engine.spec import Service
from coldlash.logbook.due import Due
from coldlash.logbook.records import STEPS, Reading, Visit, reading_words

_STATE = {"due": "due", "soon": "due soon", "not yet": "not due yet", "never checked": "never checked"}


def due_state(due: Due) -> str:
    """How urgent, in words."""
    return _STATE[due.state]


_BECAUSE = {"verdict": "what the readings say"}


def due_because(due: Due) -> str:
    """What makes it due, in words; empty where nothing does yet."""
    if due.state in ("never checked", "not yet"):
        return ""
    return f"because of {_BECAUSE.get(due.by, due.by)}"


def due_next(due: Due, service: Service, shown: Shown) -> str:
    """When the next check is, in words: the day that comes first, and the distance."""
    if due.state == "never checked":
        return "measure it once to begin"
    parts = []
    if due.projected is not None:
        span = ""
        if due.soonest is not None and due.latest is not None and due.soonest != due.latest:
            span = f" ({due.soonest} to {due.latest})"
        parts.append(f"about {due.projected}{span}")
    if due.due_km is not None:
        parts.append(f"at {shown.km(due.due_km, service)}")
    if due.due_day is not None:
        parts.append(f"by {due.due_day} at the latest")
    return ", ".join(parts) or "no interval is known"


def due_lines(row: ShedRow, shown: Shown) -> list[str]:
    """One engine of the shed: its state, and below it the last check and the next."""
    due, service = row.due, row.engine.service
    where = f" ({row.vehicle})" if row.vehicle else ""
    because = due_because(due)
    lines = [f"{row.entry.name}{where}: {due_state(due)}" + (f", {because}" if because else "")]
    if row.headline:
        lines.append(f"  now   {row.headline}")
    if due.last_day is not None and due.last_km is not None:
        lines.append(f"  last  {due.last_day} at {shown.km(due.last_km, service)}")
    lines.append(f"  next  {due_next(due, service, shown)}")
    if row.draft is not None:
        lines.append(
            f"  open  a visit of {row.draft.day} is open; go on: coldlash visit guide {row.entry.name!r}"
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
    state = {"draft": "open", "closed": "closed", "discarded": "put aside"}[visit.state]
    head = f"{engine_name}, {visit.day}, {shown.km(visit.distance_m / 1000)}, {state}"
    lines = [head]
    details = []
    if visit.meter_reading is not None:
        details.append(f"meter {visit.meter_reading / 1000:g} {visit.meter_unit}")
    temp = visit.engine_temp_mc
    details.append(
        "engine temperature not known" if temp is None else f"engine at {shown.celsius(temp / 1000)}"
    )
    if visit.by:
        details.append(f"by {visit.by}")
    lines.append("  " + ", ".join(details))
    if visit.note:
        lines.append(f"  {visit.note}")
    for valve in visit.valves:
        for step in STEPS:
            reading = visit.reading(valve, step)
            if reading is None:
                continue
            extra = f", pushrod spins {reading.spin}" if reading.spin else ""
            note = f"  ({reading.note})" if reading.note else ""
            lines.append(f"  {valve} {step:5}  {said(reading, shown)}{extra}{note}")
            for older in visit.story(valve, step)[:-1]:
                why = f", because: {reading.reason}" if reading.reason else ""
                lines.append(f"           was: {said(older, shown)}{why}")
    for change in visit.changes:
        why = f", because: {change.reason}" if change.reason else ""
        lines.append(f"  {change.field} was {change.old}, is now {change.new}{why}")
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
