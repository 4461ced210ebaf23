"""The drawings of an engine in the book, filled with what the book knows: plan, gap scales, histories, drifts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coldlash.desk.desk import Desk
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, say_in, table
from coldlash.logbook.due import Due, due
from coldlash.logbook.records import EngineEntry
from coldlash.paper.charts_bars import CauseRow, DriftRow, cause_ranking, drift_chart
from coldlash.paper.charts_history import Ahead, ValveHistory, history
from coldlash.paper.drawings_gap import gap_scale
from coldlash.paper.drawings_plan import engine_plan
from coldlash.paper.readings import Band, BandPoint, GapView, reading_short
from coldlash.paper.svg import Drawing
from coldlash.paper.words import Words
from coldlash.wear.assessment import Assessment
from coldlash.wear.forecast import fan
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.trend import Estimate, Trend
from coldlash.wear.verdict import SURE

Z90, Z50 = 1.6448536269514722, 0.6744897501960817
"""Two-sided 90 % and 50 % points of the normal law (exact to the digits given)."""
FAN_STEPS = 12


@dataclass(frozen=True, slots=True)
class EnginePictures:
    """One engine's drawings, its set gaps and each valve in a line of words, and what they were made from."""

    plan: Drawing
    cold: str
    valves: tuple[tuple[Valve, str], ...]
    drifts: Drawing | None
    causes: Drawing | None
    trend: Trend


def band(estimate: Estimate) -> Band:
    """An estimate as a soft band: 9 in 10, the core 1 in 2."""
    mean, sd = estimate.mean, estimate.sd
    return Band(mean - Z90 * sd, mean + Z90 * sd, mean - Z50 * sd, mean + Z50 * sd)


def gap_view(engine: Engine, valve: Valve, visits: Sequence[VisitRecord], trend: Trend | None) -> GapView:
    """What is drawn of one valve now: its last readings, and the band of its gap as left."""
    found: GapInterval | None = None
    left: GapInterval | None = None
    set_to: float | None = None
    blades: tuple[float, ...] = ()
    for visit in visits:
        record = visit.valves.get(valve)
        if record is None or (record.found is None and not record.adjusted):
            continue
        found, left, set_to = record.found, record.left, record.set_to if record.adjusted else None
        blades = visit.ladder_mm or blades
    known = band(trend.gap(valve)) if trend is not None and visits else None
    shown = tuple(mm for mm in blades if mm <= 0.5 or mm <= 2 * engine.gap(valve).cold)
    return GapView(str(valve), engine.gap(valve), found, known, left, set_to, shown)


def engine_pictures(
    desk: Desk, entry: EngineEntry, engine: Engine, *, width: float = 360.0
) -> EnginePictures:
    """The plan with every valve's state, and all drifts side by side."""
    visits = desk.records(entry.name)
    answer = desk.answer(entry.name)
    trend = answer.assessment.changes.trend
    words = desk.shown().words(engine.service)
    views = {valve: gap_view(engine, valve, visits, trend) for valve in engine.valves}
    rows = [DriftRow(valve, band(trend.drift(valve))) for valve in engine.valves] if len(visits) > 1 else []
    drifts = drift_chart(rows, words=words, width=width) if rows else None
    return EnginePictures(
        engine_plan(engine, views, words=words, width=width),
        words.with_unit(" / ".join(words.gap(engine.gaps[kind].cold) for kind in ("I", "E"))),
        tuple((valve, _now(view, words)) for valve, view in views.items()),
        drifts,
        _causes(answer.assessment, words, width),
        trend,
    )


def _now(view: GapView, words: Words) -> str:
    """One valve in a line: what the blades last said, and its gap now."""
    if view.found is None and view.expected is None:
        return words.say("not measured yet")
    found = words.say("found {gap}", gap=words.with_unit(reading_short(view.found, words)))
    if view.found is None:
        found = words.say("not measured last time")
    if view.expected is None:
        return found
    lo, hi = words.about(view.expected.lo), words.with_unit(words.about(view.expected.hi))
    return words.say("{found}; now likely {lo} to {hi}", found=found, lo=lo, hi=hi)


CAUSES_SHOWN = 3
CAUSE_WORDS = {
    "seat_recession_or_stretch": mark("seat sinking or valve stretching"),
    "valve_train_wear": mark("wear in the valve's own train"),
    "shared_lobe_wear": mark("the shared lobe and its lifters wearing"),
    "head_settling": mark("the head settling"),
    "head_lifting_or_stand_loose": mark("the head lifting or a rocker stand loose"),
    "session_offset": mark("the whole visit off: not cold, another hand"),
}


def _causes(assessment: Assessment, words: Words, width: float) -> Drawing | None:
    """The ranking, where it is likely enough that anything happened at all."""
    if assessment.p_something < SURE or not assessment.causes:
        return None
    rows = [
        CauseRow(
            table(CAUSE_WORDS.get(cause.cause, cause.cause.replace("_", " "))),
            ", ".join(map(str, cause.where)),
            cause.probability,
            (cause.amount.mean, cause.amount.sd),
            "tighter" if cause.direction == "tighter" else "looser",
            "; ".join(_plainly(other) for other in cause.not_separable_from),
        )
        for cause in assessment.causes[:CAUSES_SHOWN]
    ]
    return cause_ranking(rows, words=words, width=width)


def _plainly(text: str) -> str:
    for name, words in CAUSE_WORDS.items():
        text = text.replace(name, words)
    return text


def valve_pictures(
    desk: Desk, entry: EngineEntry, engine: Engine, valve: Valve, today: date, *, width: float = 360.0
) -> tuple[Drawing, Drawing]:
    """One valve: its gap scale now, and its history with hindsight and the fan to the next two services."""
    visits = desk.records(entry.name)
    trend = desk.answer(entry.name).assessment.trend
    words = desk.shown().words(engine.service)
    drawn = valve_history(engine, valve, visits, trend, today, desk.due(entry.name, today))
    scale = gap_scale(gap_view(engine, valve, visits, trend), words=words, width=width)
    return scale, history(drawn, words=words, width=width)


def valve_history(
    engine: Engine,
    valve: Valve,
    visits: Sequence[VisitRecord],
    trend: Trend,
    today: date,
    when: Due | None = None,
) -> ValveHistory:
    """One valve's history as it is drawn. ``when``: what is due, None = as the visits alone say.

    Raises InputError for a valve the engine does not have.
    """
    if valve not in engine.valves:
        raise InputError(
            say(
                "{name} has no valve {valve}; it has {valves}",
                name=engine.name,
                valve=valve,
                valves=", ".join(map(str, engine.valves)),
            )
        )
    runs: list[list[BandPoint]] = [[]]
    for point in trend.history(valve):
        runs[-1].append(BandPoint(point.distance_km, band(point.before_now), point.day))
        if point.set_to is not None or point.restart:
            runs.append([BandPoint(point.distance_km, band(point.after_now), point.day)])
    smoothed = tuple(tuple(run) for run in runs if len(run) > 1)
    ahead = _forecast(valve, visits, trend, when or due(engine.service, visits, today))
    return ValveHistory(valve, engine.gap(valve), visits, smoothed, *ahead)


def _forecast(
    valve: Valve, visits: Sequence[VisitRecord], trend: Trend, when: Due
) -> tuple[tuple[BandPoint, ...], tuple[Ahead, ...]]:
    if not visits:
        return (), ()
    last = visits[-1]
    step = (when.due_km or last.distance_km + 5000.0) - last.distance_km
    ahead = (
        Ahead(say_in("service of an engine", "next"), last.distance_km + step, when.projected),
        Ahead(say("the one after"), last.distance_km + 2 * step),
    )
    km = [2 * step * i / FAN_STEPS for i in range(FAN_STEPS + 1)]
    opened = fan(trend, valve, km)
    points = tuple(
        BandPoint(last.distance_km + at, band(Estimate(float(mean), float(sd))))
        for at, mean, sd in zip(km, opened.mean, opened.sd, strict=True)
    )
    return points, ahead
