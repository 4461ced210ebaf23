"""Invented visits for tests of what is printed: from none at all to two hundred on sixteen valves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from math import inf
from random import Random

from tests.engines import flat_four, v8

from coldlash.bench.cautions import cautions_at
from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.bench.marks import describe_position, how_to_find
from coldlash.bench.stops import plan_stops
from coldlash.engine.spec import Engine, GapSpec
from coldlash.paper import checksum
from coldlash.paper.charts_history import Ahead, ValveHistory
from coldlash.paper.readings import Band, BandPoint, GapView
from coldlash.paper.report import Entry, Finding, ReportData, ReportVisit
from coldlash.paper.sheet import SheetData, SheetStop, SheetValve
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

DAY = date(2026, 5, 31)
NOTE = ("The lock-nut of this one had been left loose by somebody; cleaned, tightened to the maker's torque, measured "
        "again twice with the thin blades. See the photograph in the folder. 'Quotes' & <marks>, #5!")  # fmt: skip
LONG_NAME = (
    "Engine of the second harbour launch, the one with the repaired crankcase, bought with the boathouse in "
    "the year of the great storm and never renamed since; formerly spare number seven, now in daily use again"
)
SCRIPTS = "Лодка №3 – Αίγινα – 消防車 – מנוע – محرك – เครื่อง"
UNBROKEN = "Schleppschiffdieselersatzmaschinenventilspieleinstellblatt" * 3


def visits(engine: Engine, count: int, seed: int = 7, missing: float = 0.1) -> list[VisitRecord]:
    """Visits a year apart; a share of the readings is missing, some are one-sided, some drag."""
    random = Random(seed)
    result = []
    for number in range(count):
        valves = {}
        for valve in engine.valves:
            lo = round(random.choice([0.05, 0.10, 0.13, 0.15, 0.18, 0.20]), 2)
            found: GapInterval | None = GapInterval(lo, round(lo + 0.03, 2))
            draw = random.random()
            if draw < missing:
                found = None
            elif draw < missing + 0.03:
                found = GapInterval(-inf, 0.05)
            elif draw < missing + 0.06:
                found = GapInterval(0.4, inf)
            elif draw < missing + 0.1:
                found = GapInterval(lo, lo)
            adjusted = random.random() < 0.4
            left = GapInterval(0.13, 0.18) if adjusted and random.random() < 0.7 else None
            valves[valve] = ValveRecord(
                found, adjusted, 0.15 if adjusted else None, left, random.random() < 0.01
            )
        result.append(
            VisitRecord(
                date(1990, 3, 1) + timedelta(days=61 * number),
                1234.5 + 4321.0 * number,
                valves,
                None if random.random() < missing else 12.5,
                "Oona",
            )
        )
    return result


def report(
    engine: Engine, count: int, note: str = NOTE, vehicle: str = "Delivery van", **fields
) -> ReportData:
    """A report of ``count`` visits with everything in it that can be in one."""
    records = visits(engine, count)
    charts = tuple(
        ValveHistory(
            valve, engine.gap(valve), records,
            smoothed=(tuple(BandPoint(r.distance_km, Band(0.1, 0.2, 0.13, 0.17), r.day) for r in records),),
            forecast=tuple(BandPoint(records[-1].distance_km + km, Band(0.1, 0.2)) for km in (0, 5000)),
            ahead=(Ahead("due", records[-1].distance_km + 5000),),
        )
        for valve in engine.valves
    ) if count else ()  # fmt: skip
    given = {
        "engine": engine,
        "made_on": DAY,
        "visits": tuple(
            ReportVisit(r, note if i % 3 == 0 else "", (f"E1 found: {note}",) if i % 5 == 0 else (),
                        ("E1 found was 0.10 goes, 0.15 does not, is 0.15 goes (misread).",) if i == 1 else ())
            for i, r in enumerate(records)
        ),
        "sums": checksum.chain({"x": 1}, [{"i": i} for i in range(count)]),
        "vehicle": vehicle,
        "due": ("At 84 210 km, about 8 Sep 2026.", "By 15 Aug 2026 at the latest."),
        "findings": tuple(Finding((v,), f"Found 0.10 to 0.13 mm. {note}", i == 3) for i, v in enumerate(engine.valves)),
        "reasons": ("Blades give intervals.",),
        "next_tests": ("Leak-down on cylinder 3.",),
        "charts": charts,
        "views": {v: GapView(str(v), engine.gap(v), GapInterval(0.1, 0.15)) for v in engine.valves} if count else {},
        "done": (note, "Nineteen visits."),
        "unknown": ("What happened before.", note),
        "parts": (Entry(DAY, note, distance_km=1234.5),),
        "tests": (Entry(DAY, "Compression", note),),
    }  # fmt: skip
    return ReportData(**(given | fields))


def bare_report(engine: Engine) -> ReportData:
    """A report of an engine that was never looked at."""
    return ReportData(engine, DAY, (), checksum.chain({}, []))


def sheet(
    engine: Engine, *, filled: bool = False, plan_by: str = "fewest", note: str = NOTE, **fields
) -> SheetData:
    """A visit sheet with the stops of a plan; every line full when ``filled``."""
    plan = plan_stops(engine, plan_by)

    def line(entry) -> SheetValve:
        valve = entry.valve
        full = filled and valve.cylinder % 3 != 0
        return SheetValve(
            valve, GapInterval(0.10, 0.13), 0.15, date(2025, 8, 15), Band(0.08, 0.2, share=0.98),
            GapInterval(0.13, 0.15) if full else None, 0.15 if full else None,
            GapInterval(0.15, 0.18) if full else None, "free" if full else "", note if full else "",
        )  # fmt: skip

    stops = tuple(
        SheetStop(
            describe_position(engine, stop.crank_deg), "one full turn with the engine's rotation",
            "the TDC mark of cylinder 1 meets the pointer", how_to_find(engine, stop),
            "The crank may stand 140 degrees before to 135 after this.", tuple(line(v) for v in stop.valves),
        )
        for stop in plan.stops
    )  # fmt: skip
    given = {
        "engine": engine, "printed_on": DAY, "stops": stops, "ready": getting_ready(engine),
        "closing": closing_up(engine), "cautions": (*cautions_at("turn"), *cautions_at("measure"), *cautions_at("set")),
        "vehicle": "Delivery van", "filled": filled,
    }  # fmt: skip
    if filled:
        given |= {
            "day": DAY, "distance_km": 84210.4, "meter": "84210.4 km", "engine_temp_c": 14.5, "by": "Oona",
            "blades_mm": tuple(i / 100 for i in range(3, 41)), "note": note, "changes": (note,),
        }  # fmt: skip
    return SheetData(**(given | fields))


WIDE_GAPS = {"I": GapSpec(0.30, None, 0.50), "E": GapSpec(0.40, 0.22, None)}


def engines():
    """Ids and engines that strain a page: many valves, long names, unknown limits."""
    return {
        "flat-four": flat_four(name="Van engine"),
        "v8": replace(v8(name="Crane engine"), gaps=WIDE_GAPS),
        "long-name": flat_four(name=LONG_NAME),
        "scripts": flat_four(name=SCRIPTS),
        "unbroken": flat_four(name=UNBROKEN),
    }
