"""One engine judged from its visits: trend, change, causes, forecast, next test and verdict, in one answer.

The one way in for pages, terminal and paper; everything in it comes from the modules named in its fields. Distances
km, gaps mm at 20 C, drift mm per 1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, table
from coldlash.wear import telling
from coldlash.wear.books import notes_of
from coldlash.wear.causes import (
    DEFAULT_CAUSES,
    Attribution,
    Cause,
    CauseSettings,
    accepted_jumps,
    attribute,
    settle_history,
)
from coldlash.wear.change import DEFAULT_CHANGE, Change, Changes, ChangeSettings, detect
from coldlash.wear.first import first_answers
from coldlash.wear.forecast import (
    LOOSE_RISK,
    TIGHT_RISK,
    USUAL_KM,
    Due,
    Recheck,
    all_risks,
    driving,
    due,
)
from coldlash.wear.forecast import recheck as when_to_look
from coldlash.wear.found import Found, found_history, jumps_found, with_found, without_twins
from coldlash.wear.next_test import NextTest, Result, next_tests, weigh_in
from coldlash.wear.record import VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings
from coldlash.wear.trend import Estimate, Shock, Trend, fit
from coldlash.wear.verdict import (
    SURE,
    TIGHTENING_KM,
    Facts,
    Finding,
    findings,
    found_settling,
    no_blade_went,
    stops,
    tightening,
    valve_finding,
)
from coldlash.wear.wording import MM_KM, Units, share

INVENTED = mark(
    "The figures these answers start from (drift, hands, blades, how often something happens, what a test tells) are "
    "invented starting points, not published rates."
)
MAKER_FIRST = mark("The maker's manual and local rules come first.")


@dataclass(frozen=True, slots=True)
class ValveAnswer:
    """One valve. ``gap`` now, as left; risks are None without such a limit in the engine file."""

    valve: Valve
    gap: Estimate
    drift: Estimate
    p_tight_by_next: float | None
    p_loose_by_next: float | None
    change: Change | None
    finding: Finding

    @property
    def verdict(self) -> str:
        """One sentence."""
        return self.finding.sentence


@dataclass(frozen=True)
class Assessment:
    """Everything there is to say of one engine.

    ``as_of_km``: the last visit, as written, None without visits. ``next_km``: distance the risks are for.
    ``recheck_km``: when to look again, from now; 0 = before it runs. ``findings``: most important first.
    ``reasons``: what was assumed and why causes move a gap the way they do, in sentences. ``due``: when that will
    be, None where the visits don't tell how it is driven. ``trend`` has accepted jumps in; ``changes.trend`` the
    changes too.
    """

    engine: Engine
    as_of_km: float | None
    next_km: float
    valves: tuple[ValveAnswer, ...]
    causes: tuple[Cause, ...]
    p_something: float
    next_tests: tuple[NextTest, ...]
    recheck_km: float
    recheck: Recheck
    due: Due | None
    findings: tuple[Finding, ...]
    reasons: tuple[str, ...]
    trend: Trend = field(repr=False)
    changes: Changes = field(repr=False)
    attribution: Attribution = field(repr=False)

    @property
    def do_not_run(self) -> bool:
        """True when a finding says not to run the engine."""
        return stops(self.findings)

    def of(self, valve: Valve) -> ValveAnswer:
        """The answer of one valve. Raises InputError if the engine has no such valve."""
        return self.valves[self.trend.index(valve)]

    def as_json(self) -> dict[str, object]:
        """The object of the contract's ``assess``: plain numbers, unrounded; None where there is nothing to tell."""
        return {
            "as_of_km": self.as_of_km,
            "valves": {str(a.valve): _valve_json(a) for a in self.valves},
            "causes": [_cause_json(c) for c in self.causes],
            "next_tests": [
                {"test": t.test, "where": [str(v) for v in t.where], "information_bits": t.bits}
                for t in self.next_tests
            ],
            "recheck_km": self.recheck_km,
            "reasons": list(self.reasons),
            "p_something": self.p_something,
            "do_not_run": self.do_not_run,
            "findings": [
                {
                    "grade": f.grade,
                    "valves": [str(v) for v in f.valves],
                    "sentence": f.sentence,
                    "why": list(f.why),
                }
                for f in self.findings
            ],
        }


def assess(
    engine: Engine,
    visits: Sequence[VisitRecord],
    coefficient: Coefficient | None = None,
    settings: TrendSettings = DEFAULTS,
    *,
    next_km: float | None = None,
    tight_risk: float = TIGHT_RISK,
    loose_risk: float = LOOSE_RISK,
    results: Sequence[Result] = (),
    found: Sequence[Found] = (),
    remarks: Sequence[str] = (),
    units: Units = MM_KM,
    change: ChangeSettings = DEFAULT_CHANGE,
    causes: CauseSettings = DEFAULT_CAUSES,
) -> Assessment:
    """Judge one engine from its visits (any number, also none).

    ``coefficient`` as for ``trend.fit``; ``next_km``: distance to the next check (None: the engine file's interval,
    else 5,000 km); risks the owner accepts until then; ``results`` of tests done, causes ``found`` by the owner;
    ``remarks``: sentences about either, for the reasons. Sentences speak in ``units``, figures always in mm and km.
    Raises InputError for readings, distances, risks or results that can't be.
    """
    usual = engine.service.every_km
    ahead = next_km if next_km is not None else usual or USUAL_KM
    if not (math.isfinite(ahead) and ahead > 0):
        raise InputError(say("a next check in {km} km; give more than 0 km", km=ahead))
    plain = fit(engine, visits, settings, coefficient)
    old = settle_history(plain, causes)
    past = found_history(plain, found, causes)
    old = (*old, *without_twins([shock for _, shock in past], old))
    readings = fit(engine, visits, settings, coefficient, old) if old else plain
    from_gaps = attribute(readings, causes)
    seen, told = _weighed(engine, from_gaps, results, found, {f for f, _ in past})
    mine = jumps_found(readings, seen, found)
    new = (*mine, *without_twins(accepted_jumps(readings, seen), mine))
    trend = fit(engine, visits, settings, coefficient, (*old, *new)) if new else readings
    changes = detect(trend, change)
    likely = changes.trend
    risk = all_risks(likely, ahead)
    interval = usual or ahead
    look = when_to_look(likely, interval, tight_risk, loose_risk, risk if interval == ahead else None)
    facts = Facts(
        engine,
        readings,
        likely,
        changes,
        seen,
        {a.valve: a for a in first_answers(engine, readings.book.visits, units)},
        risk,
        (tight_risk, loose_risk),
        look.km,
        ahead,
        tuple(results),
        tuple(found),
        units,
    )
    own = [valve_finding(facts, v) for v in engine.valves]
    said = findings(facts, own)
    km = look.km
    if any(tightening(facts, v) or no_blade_went(facts, v) for v in engine.valves) or found_settling(facts):
        km = min(km, TIGHTENING_KM)
    if stops(said):
        km = 0.0
    answers = tuple(
        ValveAnswer(v, likely.gap(v), likely.drift(v), *risk[v], changes.of_valve(v), f)
        for v, f in zip(engine.valves, own, strict=True)
    )
    return Assessment(
        engine,
        readings.as_of_km,
        ahead,
        answers,
        seen.causes,
        seen.p_something,
        next_tests(engine, seen, results),
        km,
        look,
        _due(visits, km),
        said,
        _reasons(readings, seen, old, new, said, units, (*told, *remarks)),
        trend,
        changes,
        seen,
    )


def _due(visits: Sequence[VisitRecord], km: float) -> Due | None:
    how = driving(visits)
    return None if how is None else due(km, max(v.day for v in visits), how)


def _weighed(
    engine: Engine, seen: Attribution, results: Sequence[Result], found: Sequence[Found], past: set[Found]
) -> tuple[Attribution, list[str]]:
    """``seen`` after results and finds, and a sentence on what each did to it."""
    told = []
    for result in results:
        before, seen = seen, weigh_in(engine, seen, result)
        if result.weighs:
            told.append(telling.of_result(engine, result, before, seen))
    for each in found:
        before, seen = seen, with_found(seen, (each,))
        told.append(telling.of_found(each, before, seen, each in past))
    return seen, told


def _reasons(
    trend: Trend,
    seen: Attribution,
    old: Sequence[Shock],
    new: Sequence[Shock],
    said: Sequence[Finding],
    units: Units,
    remarks: Sequence[str],
) -> tuple[str, ...]:
    visits = trend.book.visits
    out: list[str] = []
    if not visits:
        out.append(
            say("There is no visit to judge yet: everything below is only what was assumed beforehand.")
        )
    elif len(visits) == 1:
        out.append(say("There is one visit only: nothing can be said yet about which way a gap goes."))
    elif not any(bool(s.read.any()) for s in trend.sessions):
        out.append(
            say("No gap has been read in any visit: everything below is only what was assumed beforehand.")
        )
    unread = [v for v, on in zip(trend.valves, _ever_read(trend), strict=True) if not on]
    if unread and len(unread) < len(trend.valves):
        out.append(say("Never measured: {valves}.", valves=", ".join(map(str, unread))))
    book = trend.book
    out.extend(notes_of(book.visits, book.km, book.temp_known, trend.coefficient, units))
    for shock in old:
        out.append(
            say(
                "Something moved {valves} by about {size} before the visit of {day}; "
                "it is taken as a jump, not as drift.",
                valves=", ".join(str(v) for v in shock.loading),
                size=units.about(shock.mean),
                day=visits[shock.session].day,
            )
        )
    for shock in new:
        where = ", ".join(str(v) for v in shock.loading)
        out.append(
            say("The move of {valves} is taken as a jump: the forecast does not go on with it.", valves=where)
        )
    if seen.causes:
        out.append(
            say(
                "Chance that anything happened: {chance}; beforehand {before}. "
                "Chances of causes are given that something did.",
                chance=share(seen.p_something),
                before=share(seen.prior_something),
            )
        )
    out.extend(remarks)
    signs = dict.fromkeys(c.why for c in seen.causes[:3] if seen.p_something >= SURE and c.why)
    out.extend(signs)
    if any(f.grade in ("check now", "do not run") for f in said):
        out.append(
            say(
                "A receding seat and an early stretching valve look alike in the gaps: only a further test tells."
            )
        )
    out.append(table(INVENTED))
    out.append(table(MAKER_FIRST))
    return tuple(out)


def _ever_read(trend: Trend) -> list[bool]:
    shut = trend.book.found[3]
    return [bool((~shut[:, i]).any()) for i in range(len(trend.valves))]


def _estimate_json(e: Estimate) -> dict[str, float]:
    return {"mean": e.mean, "sd": e.sd, "p05": e.p05, "p95": e.p95}


def _valve_json(answer: ValveAnswer) -> dict[str, object]:
    change = answer.change
    return {
        "gap_mm": _estimate_json(answer.gap),
        "drift_mm_per_1000km": _estimate_json(answer.drift),
        "p_tight_by_next": answer.p_tight_by_next,
        "p_loose_by_next": answer.p_loose_by_next,
        "change": None
        if change is None
        else {
            "probability": change.probability,
            "since_km": change.since_km,
            "direction": change.direction,
        },
        "verdict": answer.verdict,
    }


def _cause_json(cause: Cause) -> dict[str, object]:
    return {
        "cause": cause.cause,
        "where": [str(v) for v in cause.where],
        "probability": cause.probability,
        "amount_mm": {"mean": cause.amount.mean, "sd": cause.amount.sd},
        "direction": cause.direction,
        "not_separable_from": list(cause.not_separable_from),
        "how": cause.how,
        "since_km": cause.since_km,
        "per_1000km_mm": None if cause.per_1000km is None else cause.per_1000km.mean,
        "why": cause.why,
    }
