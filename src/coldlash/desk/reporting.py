"""The report of an engine gathered from the book: verdict, charts, visits, what is not known, checksums."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace
from datetime import date
from itertools import pairwise

from coldlash.desk.answer import Answer
from coldlash.desk.desk import Desk
from coldlash.desk.printing import step_word, vehicle_of, visit_changes, words_of
from coldlash.desk.shown import Shown
from coldlash.desk.tests_done import causes_on
from coldlash.desk.work import work_on
from coldlash.engine.spec import Engine, Service, Valve
from coldlash.language import mark, plural, say, table
from coldlash.logbook.due import Due
from coldlash.logbook.lasting import AtEngine
from coldlash.logbook.records import STEPS, EngineEntry, EngineFile, Visit
from coldlash.paper import checksum
from coldlash.paper.charts_history import Ahead, ValveHistory
from coldlash.paper.readings import Band, BandPoint, GapView
from coldlash.paper.report import Entry, Finding, ReportData, ReportVisit
from coldlash.paper.words import Words
from coldlash.wear.forecast import fan
from coldlash.wear.record import ValveRecord, VisitRecord
from coldlash.wear.trend import Estimate, Trend, fit
from coldlash.wear.verdict import Finding as Judged

LEAST_FOR_BAND = 3
"""Visits from which on the charts carry the likely gap: with fewer it is mostly what was assumed (judgement)."""
LONG_PAUSE = 2.0
"""A pause between visits longer than this many intervals is said to be one (judgement)."""
Z50 = 0.6744897501960817
NO_LIMIT = {
    ("I", "both"): mark("The tight and loose limit of the intake gap: not in its file."),
    ("I", "tight"): mark("The tight limit of the intake gap: not in its file."),
    ("I", "loose"): mark("The loose limit of the intake gap: not in its file."),
    ("E", "both"): mark("The tight and loose limit of the exhaust gap: not in its file."),
    ("E", "tight"): mark("The tight limit of the exhaust gap: not in its file."),
    ("E", "loose"): mark("The loose limit of the exhaust gap: not in its file."),
}


def report_of(desk: Desk, name: str, today: date) -> ReportData:
    """Everything the report of an engine says. Raises InputError, BookError."""
    entry, kept = desk.engine(name)
    engine = replace(kept, name=entry.name)
    visits = desk.book.visits(entry.name)
    records = desk.records(entry.name)
    when = desk.judged_due(entry.name, today)
    words = words_of(desk, engine)
    answer = desk.answer(entry.name)
    trend = (
        fit(engine, records, desk.learnt(), desk.coefficient(engine))
        if len(records) >= LEAST_FOR_BAND
        else None
    )
    return ReportData(
        engine=engine,
        made_on=today,
        visits=tuple(
            _visit(visit, record, desk.shown(), engine.service)
            for visit, record in zip(visits, records, strict=True)
        ),
        sums=sums_of(desk, entry.name),
        vehicle=vehicle_of(desk, entry),
        due=_due(when, words),
        findings=_findings(answer, words),
        reasons=answer.assessment.reasons,
        next_tests=answer.next_tests(),
        charts=tuple(_chart(engine, valve, records, trend, when) for valve in engine.valves)
        if records
        else (),
        views={valve: _view(engine, valve, records) for valve in engine.valves},
        done=_done(engine, records, words),
        unknown=_unknown(engine, records, {done.test.kind for done in desk.tests(name)}, words),
        parts=_parts(desk, entry, engine),
        tests=_tests(desk, name, engine),
    )


# ------------------------------------------------------------------------------------- checksums


def sums_of(desk: Desk, name: str) -> tuple[str, ...]:
    """Checksums of an engine's file and after each closed visit (``paper.checksum``)."""
    entry = desk.book.engine(name)
    files = {file.id: file for file in desk.book.engine_files(entry.name)}
    first = files[min(files, key=lambda i: files[i].version)]
    return checksum.chain(
        _file(first), [_content(visit, files[visit.engine_file_id]) for visit in desk.book.visits(entry.name)]
    )


def check_sum(desk: Desk, name: str, printed: str) -> tuple[int | None, int]:
    """After which closed visit the book gave this checksum (None = never), and how many visits it has.

    Raises InputError.
    """
    sums = sums_of(desk, name)
    return checksum.find(sums, printed), len(sums) - 1


def _file(file: EngineFile) -> dict[str, object]:
    return {"toml": file.toml, "tables": [[name, text] for name, text in sorted(file.tables.items())]}


def _content(visit: Visit, file: EngineFile) -> dict[str, object]:
    """A visit as the checksum sees it: everything that was ever written in it, nothing of how the book keeps it."""
    return {
        "day": visit.day.isoformat(),
        "distance_m": visit.distance_m,
        "engine_temp_mc": visit.engine_temp_mc,
        "air_temp_mc": visit.air_temp_mc,
        "meter_reading": visit.meter_reading,
        "meter_unit": visit.meter_unit,
        "by": visit.by,
        "blades_um": list(visit.blades_um),
        "note": visit.note,
        "engine_file": file.version,
        "engine": _file(file) if file.version > 1 else None,
        "readings": [
            {
                "valve": str(r.valve),
                "step": r.step,
                "go_um": r.go_um,
                "nogo_um": r.nogo_um,
                "blade_um": r.blade_um,
                "feel": r.feel,
                "spin": r.spin,
                "note": r.note,
                "by": r.by,
                "reason": r.reason,
                "corrects": r.replaces is not None,
                "withdrawn": r.withdrawn,
            }
            for r in visit.history
        ],
        "changes": [
            {"field": c.field, "old": str(c.old), "new": str(c.new), "reason": c.reason}
            for c in visit.changes
        ],
    }


# ------------------------------------------------------------------------------------- the pieces


def _visit(visit: Visit, record: VisitRecord, shown: Shown, service: Service) -> ReportVisit:
    notes = tuple(
        say("{valve} {step}: {note}", valve=valve, step=step_word(step), note=reading.note)
        for valve in visit.valves
        for step in STEPS
        if (reading := visit.reading(valve, step)) is not None and reading.note
    )
    return ReportVisit(record, visit.note, notes, visit_changes(visit, shown, service))


def _due(due: Due, words: Words) -> tuple[str, ...]:
    if due.last_day is None:
        return (say("Never checked: measure once to begin."),)
    said = []
    if due.due_km is not None:
        said.append(_at(due, words.distance(due.due_km), words))
    if due.due_day is not None:
        said.append(say("By {day} at the latest.", day=words.day(due.due_day)))
    if due.early:
        said.append(say("An early check, because of the work done at the last visit."))
    return tuple(said)


def _at(due: Due, distance: str, words: Words) -> str:
    spread = due.soonest is not None and due.latest is not None and due.soonest != due.latest
    soonest = "" if due.soonest is None else words.day(due.soonest)
    latest = "" if due.latest is None else words.day(due.latest)
    if due.projected is None:
        if spread:
            return say(
                "At {distance} ({soonest} to {latest}).", distance=distance, soonest=soonest, latest=latest
            )
        return say("At {distance}.", distance=distance)
    day = words.day(due.projected)
    if spread:
        return say(
            "At {distance}, about {day} ({soonest} to {latest}).",
            distance=distance,
            day=day,
            soonest=soonest,
            latest=latest,
        )
    return say("At {distance}, about {day}.", distance=distance, day=day)


def _findings(answer: Answer, words: Words) -> tuple[Finding, ...]:
    """What needs doing first, with its numbers; valves that are steady are named together."""
    if answer.as_of_km is None:
        return ()
    found = [Finding(f.valves, _with_why(f), f.grade == "do not run") for f in answer.urgent]
    steady = tuple(valve for finding in answer.steady for valve in finding.valves)
    if steady:
        gaps = ", ".join(f"{valve} {words.about(answer.assessment.of(valve).gap.mean)}" for valve in steady)
        text = say(
            "Steady: nothing in the readings asks for more. Likely gaps as left, {unit}: {gaps}.",
            unit=words.gap_unit,
            gaps=gaps,
        )
        found.append(Finding(steady, text))
    return (*found, Finding((), answer.recheck_words(), answer.assessment.do_not_run))


def _with_why(finding: Judged) -> str:
    return " ".join((finding.sentence, *finding.why))


def _last_record(records: Sequence[VisitRecord], valve: Valve) -> ValveRecord | None:
    return next(
        (v for r in reversed(records) if (v := r.valves.get(valve)) is not None and v.found is not None), None
    )


def _view(engine: Engine, valve: Valve, records: Sequence[VisitRecord]) -> GapView:
    record = _last_record(records, valve)
    spec = engine.gap(valve)
    if record is None:
        return GapView(str(valve), spec)
    return GapView(str(valve), spec, record.found, None, record.left, record.set_to)


def _chart(
    engine: Engine, valve: Valve, records: Sequence[VisitRecord], trend: Trend | None, when: Due
) -> ValveHistory:
    smoothed: tuple[tuple[BandPoint, ...], ...] = ()
    forecast: tuple[BandPoint, ...] = ()
    ahead: tuple[Ahead, ...] = ()
    last = records[-1]
    due_km = when.due_km
    if trend is not None:
        smoothed = _runs(trend, valve)
    if due_km is not None and due_km > last.distance_km:
        ahead = (Ahead(say("due"), due_km, when.projected),)
        if trend is not None:
            far = [0.0, (due_km - last.distance_km) / 2, due_km - last.distance_km]
            ends = fan(trend, valve, far)
            forecast = tuple(
                BandPoint(last.distance_km + km, _band(Estimate(float(mean), float(sd))))
                for km, mean, sd in zip(far, ends.mean, ends.sd, strict=True)
            )
    return ValveHistory(valve, engine.gap(valve), records, smoothed, forecast, ahead)


def _band(estimate: Estimate) -> Band:
    half = Z50 * estimate.sd
    return Band(estimate.p05, estimate.p95, estimate.mean - half, estimate.mean + half)


def _runs(trend: Trend, valve: Valve) -> tuple[tuple[BandPoint, ...], ...]:
    """The likely gap over time, a new run wherever it was set or started afresh."""
    runs: list[list[BandPoint]] = [[]]
    for point in trend.history(valve):
        runs[-1].append(BandPoint(point.distance_km, _band(point.before_now), point.day))
        if point.set_to is not None or point.restart:
            runs.append([BandPoint(point.distance_km, _band(point.after_now), point.day)])
    return tuple(tuple(run) for run in runs)


def _parts(desk: Desk, entry: EngineEntry, engine: Engine) -> tuple[Entry, ...]:
    """Work and parts, by day: what was done, and whose gaps start afresh with it."""
    return tuple(
        Entry(done.work.day, done.words, done.means, _km(done.work))
        for done in sorted(work_on(desk.book, entry, engine), key=lambda done: done.work.day)
    )


def _tests(desk: Desk, name: str, engine: Engine) -> tuple[Entry, ...]:
    """Tests other than gaps, and causes that were found, by day."""
    entries = []
    for done in desk.tests(name):
        result = done.outcome
        if done.ended:
            result = say("{outcome}. No longer counts: {why}", outcome=done.outcome, why=done.ended)
        entries.append(Entry(done.test.day, done.title, result, _km(done.test)))
    units = desk.shown().units(engine.service)
    for found in causes_on(desk.book, desk.book.engine(name), engine):
        cause = found.cause
        if cause.amount_um is not None:
            size = units.mm(cause.amount_um / 1000)
            if cause.direction == "tighter":
                moved = say("gaps {size} tighter", size=size)
            else:
                moved = say("gaps {size} looser", size=size)
        else:
            moved = say("gaps tighter") if cause.direction == "tighter" else say("gaps looser")
        entries.append(Entry(cause.day, say("Found: {cause}", cause=found.words), moved, _km(cause)))
    return tuple(sorted(entries, key=lambda entry: entry.day))


def _km(entry: AtEngine) -> float | None:
    return None if entry.distance_m is None else entry.distance_m / 1000


def _done(engine: Engine, records: Sequence[VisitRecord], words: Words) -> tuple[str, ...]:
    if not records:
        return ()
    first, last = records[0], records[-1]
    count = len(records)
    said = [
        plural(
            "{n} visit written down, from {first} ({first_at}) to {last} ({last_at}).",
            "{n} visits written down, from {first} ({first_at}) to {last} ({last_at}).",
            count,
            first=words.day(first.day),
            first_at=words.distance(first.distance_km),
            last=words.day(last.day),
            last_at=words.distance(last.distance_km),
        )
    ]
    whole = sum(
        all((v := r.valves.get(valve)) is not None and v.found is not None for valve in engine.valves)
        for r in records
    )
    said.append(
        say("Every valve was measured before it was touched at {whole} of {count}.", whole=whole, count=count)
    )
    adjusted = sorted(valve for valve, v in last.valves.items() if v.adjusted)
    if len(adjusted) == len(engine.valves):
        said.append(say("At the last visit every gap was set again."))
    elif adjusted:
        said.append(
            say(
                "At the last visit {valves} set again, the others left alone.",
                valves=", ".join(map(str, adjusted)),
            )
        )
    else:
        said.append(say("At the last visit no gap had to be set."))
    return tuple(said)


def _unknown(
    engine: Engine, records: Sequence[VisitRecord], tested: Set[str], words: Words
) -> tuple[str, ...]:
    said = []
    never = [valve for valve in engine.valves if _last_record(records, valve) is None]
    if records and never:
        said.append(say("Never measured: {valves}.", valves=", ".join(map(str, never))))
    if not records:
        said.append(say("What the gaps are: nothing has been measured."))
    elif records[0].distance_km > 0:
        said.append(
            say(
                "What happened before {distance}, where this book begins.",
                distance=words.distance(records[0].distance_km),
            )
        )
    no_temp = sum(r.engine_temp_c is None for r in records)
    if no_temp:
        said.append(say("The engine's temperature at {n} of {count} visits.", n=no_temp, count=len(records)))
    months = engine.service.every_months
    if months is not None:
        for a, b in pairwise(records):
            if (b.day - a.day).days > LONG_PAUSE * months * 30.44:
                said.append(
                    say(
                        "Anything between {first} and {last}: no visit.",
                        first=words.day(a.day),
                        last=words.day(b.day),
                    )
                )
    for kind, spec in engine.gaps.items():
        if spec.tight is None or spec.loose is None:
            side = "both" if spec.tight is None and spec.loose is None else (
                "tight" if spec.tight is None else "loose")  # fmt: skip
            said.append(table(NO_LIMIT[kind, side]))
    if not tested & {"compression", "leak_down"}:
        said.append(say("Compression and leak-down: this book holds none."))
    elif "compression" not in tested:
        said.append(say("Compression: this book holds none."))
    elif "leak_down" not in tested:
        said.append(say("Leak-down: this book holds none."))
    said.append(say("Lift and the noses of the cam: gaps don't show them."))
    return tuple(said)
