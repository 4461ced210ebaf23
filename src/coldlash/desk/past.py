"""A past visit written down by hand: a grid of what a notebook says, taken whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from coldlash.bench.blades import BladeSet, parse_reading, parse_thickness
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.records import NewReading, NewVisit, PastVisit, Step
from coldlash.logbook.telling import step_word
from coldlash.units import m_from_km


@dataclass(frozen=True, slots=True)
class PastRow:
    """What the notebook says of one valve, in the shorthand of the bench; empty = nothing said."""

    found: str = ""
    set: str = ""
    left: str = ""
    note: str = ""


def past_visit(
    engine: Engine,
    blades: BladeSet,
    *,
    day: date,
    distance_km: float,
    engine_temp_c: float | None,
    by: str | None,
    note: str,
    rows: Mapping[Valve, PastRow],
) -> PastVisit:
    """Read the grid. ``set`` "y" means the cold gap. Raises InputError naming every fault with its valve."""
    faults: list[str] = []
    readings: list[NewReading] = []

    def add(valve: Valve, step: Step, text: str, words: str = "") -> None:
        try:
            if step == "set":
                cold = round(engine.gap(valve).cold * 1000)
                um = cold if text.strip().lower() == "y" else parse_thickness(text, blades.unit, "set")
                readings.append(NewReading(valve=valve, step="set", blade_um=um))
                return
            said = parse_reading(text, blades)
            readings.append(
                NewReading(
                    valve=valve, step=step, go_um=said.go_um, nogo_um=said.nogo_um, feel=said.feel, note=words
                )
            )
        except InputError as error:
            faults.append(say("{valve} {step}: {error}", valve=valve, step=step_word(step), error=error))

    for valve, row in rows.items():
        if row.found.strip() or row.note.strip():
            add(valve, "found", row.found.strip() or "?", row.note.strip())
        if row.set.strip():
            add(valve, "set", row.set)
        if row.left.strip():
            add(valve, "left", row.left)
    if not readings and not faults:
        faults.append(say("nothing is written for any valve: write at least one"))
    if faults:
        raise InputError("\n".join(faults))
    visit = NewVisit(
        day=day,
        distance_m=m_from_km(distance_km),
        engine_temp_mc=None if engine_temp_c is None else round(engine_temp_c * 1000),
        by=by,
        blades_um=tuple(rung.um for rung in blades.ladder()),
        note=note,
    )
    return PastVisit(visit=visit, readings=tuple(readings))
