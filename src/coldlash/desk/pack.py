"""Everything one engine's visit needs on a phone, in one piece, so that it can be carried out with no network.

Words, drawings, expected ranges and screw turns are worked out here and travel ready-made: the page chooses among
them and does no arithmetic of its own. Lengths are whole micrometres; a drawing is a tree of [name, attributes,
children], which a page builds without reading markup.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from xml.etree import ElementTree

from coldlash.bench.blades import STANDARD_SETS, BladeSet
from coldlash.bench.cautions import CAUTIONS, MAKER_FIRST
from coldlash.bench.checklists import Checklist, closing_up, getting_ready
from coldlash.bench.screw import screw_turn
from coldlash.bench.stops import By, Turn
from coldlash.desk.bench import PlannedStops, plan_for
from coldlash.desk.desk import Desk, MeterNow
from coldlash.desk.visit import QUESTION, last_words, plan_text
from coldlash.engine.spec import Engine, Valve
from coldlash.language import mark, plural, say, table
from coldlash.logbook.records import EngineEntry
from coldlash.paper.drawings_pulley import pulley_face
from coldlash.paper.drawings_ring import cycle_ring
from coldlash.wear.record import VisitRecord
from coldlash.wear.trend import Expectation, expect_next, fit

PACK_FORMAT = 1
DISTANCES_KM = (0, 250, 500, 1000, 1500, 2000, 3000, 4000, 5000, 6000, 8000, 10000, 15000, 20000)
"""Distances since the last visit for which expected ranges travel along; the page takes the nearest."""
RUNGS_APART = 3
"""A no-go blade at most this many rungs above the go blade has its screw turn ready."""

Json = dict[str, Any]


def pack(desk: Desk, entry: EngineEntry, engine: Engine, today: date) -> Json:
    """The pack of one engine, as of ``today``."""
    earlier = desk.records(entry.name)
    sets = blade_sets(desk, entry.name)
    meter = desk.meter_of(entry.name)
    return {
        "format": PACK_FORMAT,
        "engine": {"id": entry.id, "name": entry.name, "file": entry.file.id, "cylinders": engine.cylinders},
        "day": today.isoformat(),
        "unit": desk.unit(),
        "temperature": desk.shown().temperature,
        "meter": {
            "unit": meter.unit,
            "last": meter.last,
            "last_day": None if meter.last_day is None else meter.last_day.isoformat(),
            "last_km": earlier[-1].distance_km if earlier else None,
        },
        "maker_first": table(MAKER_FIRST),
        "cautions": _cautions(),
        "ready": _checklist(getting_ready(engine)),
        "closing": _checklist(closing_up(engine)),
        "blade_sets": [_blade_set(blades, engine) for blades in sets],
        "plans": [_plan(engine, by, turn) for by, turn in _PLANS],
        "valves": {str(valve): _valve(engine, valve, earlier, desk) for valve in engine.valves},
        "expected": _expected(desk, engine, earlier, meter),
        "words": {name: table(text) for name, text in _WORDS.items()},
    }


_PLANS: tuple[tuple[By, Turn], ...] = (
    ("fewest", "with"),
    ("cylinder", "with"),
    ("cylinder", "against"),
)

_WORDS = {
    "goes": mark("{go} goes, {nogo} does not"),
    "thickest": mark("{go} goes, no thicker one tried"),
    "none": mark("no blade goes, not even {nogo}"),
    "drag": mark("drag on {go}"),
    "skipped": mark("not measured"),
    "question": QUESTION,
}


def blade_sets(desk: Desk, engine_name: str) -> list[BladeSet]:
    """The set used at the last visit first, then the owner's, then the standard ones of the owner's unit."""
    own = [BladeSet(kept.name, kept.unit, kept.blades_um, kept.stacks_of) for kept in desk.book.blade_sets()]
    unit = desk.unit()
    sets = [*own, *(blades for blades in STANDARD_SETS.values() if blades.unit == unit)]
    visits = desk.book.visits(engine_name)
    last = visits[-1].blades_um if visits else ()
    return sorted(sets, key=lambda blades: tuple(rung.um for rung in blades.ladder()) != last)


def _cautions() -> dict[str, list[str]]:
    steps: dict[str, list[str]] = {}
    for caution in CAUTIONS:
        steps.setdefault(caution.step, []).append(table(caution.text))
    return steps


def _checklist(checklist: Checklist) -> Json:
    return {
        "title": checklist.title,
        "items": [{"key": item.key, "text": item.text} for item in checklist.items],
        "cautions": [caution.text for caution in checklist.cautions],
    }


def _blade_set(blades: BladeSet, engine: Engine) -> Json:
    rungs = [rung.um for rung in blades.ladder()]
    return {
        "name": blades.name,
        "unit": blades.unit,
        "rungs": [{"um": um, "label": blades.show(um)} for um in rungs],
        "screw": {kind: _screw_words(engine, kind, rungs) for kind in ("I", "E")},
    }


def _screw_words(engine: Engine, kind: str, rungs: Sequence[int]) -> dict[str, str]:
    """ "go-nogo" (um) to the screw's turn in words, from the middle of the interval; "go-go" = drag."""
    if engine.linkage.screw_pitch_mm is None:
        return {}
    cold = engine.gaps["I" if kind == "I" else "E"].cold
    words: dict[str, str] = {}
    for i, go in enumerate(rungs):
        words[f"{go}-{go}"] = screw_turn(engine.linkage, go / 1000, cold).words
        for nogo in rungs[i + 1 : i + 1 + RUNGS_APART]:
            words[f"{go}-{nogo}"] = screw_turn(engine.linkage, (go + nogo) / 2000, cold).words
    return words


def _plan(engine: Engine, by: By, turn: Turn) -> Json:
    planned = plan_for(engine, by, turn)
    return {
        "by": by,
        "turn": turn,
        "text": plan_text(by, turn, None, 30.0),
        "name": _plan_name(planned, by, turn),
        "stops": [
            {
                "position": words.position,
                "turn": words.turn,
                "mark": words.mark,
                "find": list(words.find),
                "room": words.room,
                "valves": [str(entry.valve) for entry in words.stop.valves],
                "pulley": tree(pulley_face(engine, words.stop).svg(f"pulley-{by}-{turn}-{number}")),
                "ring": tree(cycle_ring(engine, words.stop).svg(f"ring-{by}-{turn}-{number}")),
            }
            for number, words in enumerate(planned.words(), 1)
        ],
        "unreachable": [str(valve) for valve in planned.plan.unreachable],
    }


def _plan_name(planned: PlannedStops, by: By, turn: Turn) -> str:
    count = len(planned.plan.stops)
    if by == "fewest":
        return plural(
            "{n} stop, the fewest, turning with rotation",
            "{n} stops, the fewest, turning with rotation",
            count,
        )
    if turn == "with":
        return say("one cylinder at a time, turning with rotation")
    return say("one cylinder at a time, turning against rotation")


def _valve(engine: Engine, valve: Valve, earlier: Sequence[VisitRecord], desk: Desk) -> Json:
    limits = engine.gap(valve)
    return {
        "word": say("intake valve of cylinder {cylinder}", cylinder=valve.cylinder)
        if valve.kind == "I"
        else say("exhaust valve of cylinder {cylinder}", cylinder=valve.cylinder),
        "cold_um": round(limits.cold * 1000),
        "cold": desk.show_mm(limits.cold),
        "last": last_words(valve, earlier),
    }


def _expected(desk: Desk, engine: Engine, earlier: Sequence[VisitRecord], meter: MeterNow) -> Json | None:
    if not earlier:
        return None
    trend = fit(engine, earlier, desk.learnt(), desk.coefficient(engine))
    ranges: dict[str, list[Json]] = {str(valve): [] for valve in engine.valves}
    for km in DISTANCES_KM:
        for valve, expectation in expect_next(trend, float(km)).items():
            ranges[str(valve)].append(expected_json(desk, expectation))
    since = earlier[-1].distance_km
    showing = None if meter.last is None else [meter.last + km / meter.km_each for km in DISTANCES_KM]
    return {"km": [since + km for km in DISTANCES_KM], "meter": showing, "valves": ranges}


def expected_json(desk: Desk, expectation: Expectation) -> Json:
    """One expected range: its ends for comparing (um) and in words."""
    return {
        "lo_um": round(expectation.lo * 1000),
        "hi_um": round(expectation.hi * 1000),
        "low": desk.show_mm(max(expectation.lo, 0.0)),
        "high": desk.show_mm(expectation.hi),
    }


def tree(svg: str) -> list[Any]:
    """An SVG text of ours as [name, attributes, children]; children are trees or text."""
    # Our own drawings only: nothing from outside is ever parsed here.
    return _branch(ElementTree.fromstring(svg))  # noqa: S314


def _branch(element: ElementTree.Element) -> list[Any]:
    children: list[Any] = []
    if element.text and element.text.strip():
        children.append(element.text)
    for child in element:
        children.append(_branch(child))
        if child.tail and child.tail.strip():
            children.append(child.tail)
    name = element.tag.rpartition("}")[2]
    return [name, _attributes(element.attrib), children]


def _attributes(attributes: Mapping[str, str]) -> dict[str, str]:
    return {name.rpartition("}")[2]: value for name, value in attributes.items()}
