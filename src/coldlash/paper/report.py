"""The report of an engine: what is due, what the readings say and why, charts, every visit, what is not known.

One document for the owner's folder and for the next owner. Its last page carries checksums, so that a printed
copy can be compared with the book. Here: the data, and what the template ``report`` needs; all words included.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from coldlash import language
from coldlash.bench.cautions import MAKER_FIRST
from coldlash.engine.spec import KIND_WORD, Engine, Valve
from coldlash.errors import InputError
from coldlash.paper.charts_history import ValveHistory, history
from coldlash.paper.checksum import SHORT, grouped
from coldlash.paper.drawings_plan import engine_plan
from coldlash.paper.readings import GapView, reading_short
from coldlash.paper.svg import Drawing
from coldlash.paper.tape import Paper
from coldlash.paper.tape_page import TURNS
from coldlash.paper.titleblock import stamp, title_block
from coldlash.paper.typesetting import Printed, typeset
from coldlash.paper.words import ENGLISH, NO_BREAK, Words
from coldlash.wear.record import ValveRecord, VisitRecord

VALVES_BESIDE = 8
Progress = Callable[[int, int, str], None]
"""Called with (done, of, what is being done)."""


@dataclass(frozen=True, slots=True)
class ReportVisit:
    """One visit: its readings, its note, notes of single readings, what was corrected later (sentences)."""

    record: VisitRecord
    note: str = ""
    notes: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence or more about these valves. ``stop``: the engine is not to be run."""

    valves: tuple[Valve, ...]
    text: str
    stop: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """Something on a day: a part that was fitted, a test and its result. ``distance_km`` None = not known."""

    day: date
    what: str
    result: str = ""
    distance_km: float | None = None


@dataclass(frozen=True, slots=True)
class ReportData:
    """A report. ``visits`` oldest first. ``sums``: checksums of the engine and after each visit (``checksum.chain``).

    ``due``, ``reasons``, ``next_tests``: sentences. ``charts``: a history a valve. ``views``: what the plan shows.
    ``done``, ``unknown``: for the next owner, sentences. ``parts``, ``tests``: empty = none written down.
    """

    engine: Engine
    made_on: date
    visits: tuple[ReportVisit, ...]
    sums: tuple[str, ...]
    vehicle: str = ""
    due: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    reasons: tuple[str, ...] = ()
    next_tests: tuple[str, ...] = ()
    charts: tuple[ValveHistory, ...] = ()
    views: Mapping[Valve, GapView] = field(default_factory=dict)
    done: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    parts: tuple[Entry, ...] = ()
    tests: tuple[Entry, ...] = ()


def print_report(
    report: ReportData, *, paper: Paper = "a4", words: Words = ENGLISH, progress: Progress | None = None
) -> Printed:
    """The PDF. Raises InputError when the checksums don't belong to the visits, PaperError."""
    data, pictures = report_data(report, words, progress)
    steps = len(report.charts) + 2
    if progress is not None:
        progress(steps - 1, steps, words.say("typesetting"))
    printed = typeset("report", {**data, "paper": paper}, pictures, timestamp=stamp(report.made_on))
    if progress is not None:
        progress(steps, steps, words.say("done"))
    return printed


def report_data(
    report: ReportData, words: Words = ENGLISH, progress: Progress | None = None
) -> tuple[dict[str, object], dict[str, bytes]]:
    """What the template needs: all text, and the pictures by file name. Raises InputError."""
    if len(report.sums) != len(report.visits) + 1:
        raise InputError(
            language.say(
                "report: {sums} checksums for {visits} visits; there is one for the engine and one after each visit",
                sums=len(report.sums),
                visits=len(report.visits),
            )
        )
    say, engine = words.say, report.engine
    drawings: dict[str, Drawing] = {"plan.svg": engine_plan(engine, dict(report.views), words=words)}
    for number, chart in enumerate(report.charts):
        if progress is not None:
            progress(number, len(report.charts) + 2, say("chart of {valve}", valve=chart.valve))
        drawings[f"{chart.valve}.svg"] = history(chart, words=words)
    title = say("Report, {name}", name=engine.name)
    data: dict[str, object] = {
        "title": title,
        "lang": language.current(),
        "vehicle": say("in {vehicle}", vehicle=report.vehicle) if report.vehicle else "",
        "facts": _facts(report, words),
        "plan": _picture("plan.svg", drawings["plan.svg"]),
        "due": {"title": say("Due next"), "lines": list(report.due) or [say("Nothing is known of it yet.")]},
        "verdict": _verdict(report, words),
        "parts": _entries(
            say("Parts fitted and work done"), report.parts, say("No part is written down as fitted."), words
        ),
        "tests": _entries(say("Other tests"), report.tests, say("No other test is written down."), words),
        "charts": {
            "title": say("How the gaps went"),
            "words": say(
                "One chart a valve, all visits. The figures behind them stand in the table of visits below."
            ),
            "pictures": [_picture(f"{c.valve}.svg", drawings[f"{c.valve}.svg"]) for c in report.charts],
        },
        "history": _history(report, words),
        "notes": _notes(report, words),
        "handover": _handover(report, words),
        "sums": _sums(report, words),
        "maker": say(MAKER_FIRST),
        "block": title_block(
            title,
            [
                (say("visits"), str(len(report.visits))),
                (say("checksum"), report.sums[-1][:SHORT]),
                (say("made on"), words.day(report.made_on)),
            ],
            words,
        ),
    }
    return data, {name: drawing.document() for name, drawing in drawings.items()}


def _picture(name: str, drawing: Drawing) -> dict[str, str]:
    return {"file": name, "alt": f"{drawing.title}. {drawing.desc}", "title": drawing.title}


def _facts(report: ReportData, words: Words) -> list[list[str]]:
    engine, say = report.engine, words.say
    facts = [
        [say("cylinders"), str(engine.cylinders)],
        [say("firing order"), "-".join(map(str, engine.firing_order))],
        [say("turns, facing the pulley"), say(TURNS[engine.turns])],
    ]
    for kind, spec in engine.gaps.items():
        tight, loose = (say("not known") if mm is None else words.gap(mm) for mm in (spec.tight, spec.loose))
        facts.append(
            [
                say("{kind} gap, cold", kind=say(KIND_WORD[kind])),
                say(
                    "{set} {unit} (limits {tight} to {loose})",
                    set=words.gap(spec.cold),
                    unit=words.gap_unit,
                    tight=tight,
                    loose=loose,
                ),
            ]
        )
    every = [
        words.distance(engine.service.every_km) if engine.service.every_km is not None else "",
        say("{n} months", n=f"{engine.service.every_months:g}")
        if engine.service.every_months is not None
        else "",
    ]
    if all(every):
        stated = say("{distance} or {months}", distance=every[0], months=every[1])
    else:
        stated = "".join(every) or say("not stated in its file")
    facts.append([say("check every"), stated])
    if report.visits:
        last = report.visits[-1].record
        facts.append([say("last visit"), f"{words.day(last.day)}, {words.distance(last.distance_km)}"])
    return facts


def _verdict(report: ReportData, words: Words) -> dict[str, object]:
    say = words.say
    return {
        "title": say("What the readings say"),
        "findings": [
            {"valves": ", ".join(map(str, f.valves)), "text": f.text, "stop": f.stop} for f in report.findings
        ],
        "nothing": say("There is no visit to judge yet."),
        "reasons_title": say("What this rests on"),
        "reasons": list(report.reasons),
        "tests_title": say("What would tell more"),
        "tests": list(report.next_tests),
    }


def _entries(title: str, entries: Sequence[Entry], nothing: str, words: Words) -> dict[str, object]:
    rows = [
        [
            words.day(entry.day),
            "" if entry.distance_km is None else words.distance(entry.distance_km),
            entry.what,
            entry.result,
        ]
        for entry in entries
    ]
    head = [words.say("day"), words.say("distance"), words.say("what"), words.say("result")]
    return {"title": title, "head": head, "rows": rows, "nothing": nothing}


def _history(report: ReportData, words: Words) -> dict[str, object]:
    """The table behind the charts, up to eight valves beside each other."""
    say, valves = words.say, report.engine.valves
    tables = []
    for start in range(0, len(valves), VALVES_BESIDE):
        beside = valves[start : start + VALVES_BESIDE]
        rows = [
            [
                str(number),
                words.day(visit.record.day),
                words.grouped(words.distance_value(visit.record.distance_km)),
                "–" if visit.record.engine_temp_c is None else words.number(visit.record.engine_temp_c, 0),
                *(_cell(visit.record.valves.get(valve), words) for valve in beside),
            ]
            for number, visit in enumerate(report.visits, 1)
        ]
        head = ["", say("day"), words.distance_unit, "°C", *map(str, beside)]
        tables.append({"head": head, "rows": rows})
    return {
        "title": say("Every visit"),
        "words": say(
            "Gaps in {unit}: first what was found between two blades, then → the blade it was set on, then what was "
            "read after the lock-nut. A dash: not measured. ↺: a part was replaced or worked on, it starts afresh.",
            unit=words.gap_unit,
        ),
        "tables": tables,
        "nothing": say("No visit is written down yet."),
        "any": bool(report.visits),
    }


def _cell(record: ValveRecord | None, words: Words) -> str:
    if record is None:
        return "–"
    parts = [reading_short(record.found, words) if record.found is not None else "–"]
    if record.afresh:
        parts.append("↺")
    if record.set_to is not None:
        parts.append(f"→{NO_BREAK}{words.gap(record.set_to)}")
    if record.left is not None:
        parts.append(reading_short(record.left, words))
    return "\n".join(parts)


def _notes(report: ReportData, words: Words) -> dict[str, object]:
    say = words.say
    groups = []
    for number, visit in enumerate(report.visits, 1):
        lines = [visit.note] if visit.note else []
        lines += visit.notes
        lines += [say("Corrected: {what}", what=text) for text in visit.changes]
        by = say("by {name}", name=visit.record.by) if visit.record.by else ""
        if lines:
            day = words.day(visit.record.day)
            groups.append({"head": say("{n}: {day}", n=number, day=day), "by": by, "lines": lines})
    return {"title": say("Notes and corrections"), "groups": groups}


def _handover(report: ReportData, words: Words) -> dict[str, object]:
    say = words.say
    return {
        "title": say("For the next owner"),
        "done_title": say("What was done"),
        "done": list(report.done) or [say("Nothing is written down.")],
        "unknown_title": say("What is not known"),
        "unknown": list(report.unknown) or [say("Nothing that this book should hold is missing.")],
    }


def _sums(report: ReportData, words: Words) -> dict[str, object]:
    say = words.say
    rows = [["0", say("the engine's file"), "", report.sums[0][:SHORT]]]
    for number, (visit, checksum) in enumerate(zip(report.visits, report.sums[1:], strict=True), 1):
        rows.append(
            [
                str(number),
                words.day(visit.record.day),
                words.distance(visit.record.distance_km),
                f"{checksum[:8]} {checksum[8:SHORT]}",
            ]
        )
    rows[0][3] = f"{report.sums[0][:8]} {report.sums[0][8:SHORT]}"
    return {
        "title": say("Is this copy what the book says?"),
        "words": say(
            "Each checksum stands for the engine's file and every visit up to its line, corrections included. A book "
            "that gives the same one holds exactly this history up to there. Compare with: "
            "coldlash print check --engine NAME CHECKSUM"
        ),
        "whole_label": say("After the last visit, in full (SHA-256)"),
        "whole": grouped(report.sums[-1]),
        "head": ["", say("after"), say("distance"), say("first {n} digits", n=SHORT)],
        "rows": rows,
    }
