"""What the owner should do, in plain sentences, most important first, each with the numbers behind it.

The lines are those of the trade (common practice; the maker first). Do not run: no blade goes again soon after being
set; 0.10 mm or more tighter within one interval; a pulled stud; a dropped seat; a bent pushrod. Slower tightening:
leak-down now, check again by the distance the risk threshold gives, at most 1,500 km, and if no blade goes then don't
run it. Nothing here ever suggests driving on past these lines. Gaps in mm at 20 C, drift in mm per 1000 km.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coldlash.engine.spec import Engine, Valve
from coldlash.language import mark, plural, say, table
from coldlash.wear import telling, wording
from coldlash.wear.candidates import SESSION_OFFSET
from coldlash.wear.causes import Attribution, Cause
from coldlash.wear.change import WARN_AT, Change, Changes
from coldlash.wear.first import FirstAnswer
from coldlash.wear.found import Found, matching
from coldlash.wear.interval import read
from coldlash.wear.next_test import Result, place_of, test_called
from coldlash.wear.trend import Trend
from coldlash.wear.wording import MM_KM, Units

TIGHTENING_KM = 1500.0
"""Never further than this to the next check while a valve tightens (common practice)."""
SUDDEN_MM = 0.10
"""Tightening within one interval from which an engine is not run (common practice)."""
WIDE_MM = 0.10
"""sd of a reading before it is seen, where a gap moved at once."""
MOVED_AT_ONCE = 0.05
"""Chance beforehand that a gap moved at once (judgement, on the careful side)."""
SURE = 0.5
"""A cause is named in a verdict when it is at least this probable, together with that anything happened."""
SUSPECT = 0.5
"""A change of drift is worth a word from here, a warning only from ``change.WARN_AT``."""
FAST = 0.008
"""mm per 1000 km: tightening surely faster than this is a warning even if it was always so (judgement)."""
FEW_READINGS = 3
OFFSET_MM = 0.03
"""A session off by this much is worth measuring again (judgement)."""
LOOK_INSIDE_MM = 0.15
"""One valve suddenly looser by this: look at pushrod and seat (judgement)."""
STOPPING_SIGNS = {
    "stud_pulled": mark("a stud is pulled"),
    "pushrod_bent": mark("a pushrod is bent"),
    "seat_dropped": mark("a seat has dropped"),
}
"""Signs of a test that stop the engine, whatever the gaps say."""

Grade = Literal["do not run", "check now", "check sooner", "watch", "cannot tell", "steady"]
GRADES: tuple[Grade, ...] = ("do not run", "check now", "check sooner", "watch", "cannot tell", "steady")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to say: how urgent (``grade``), of which valves (none: the whole engine), and the numbers (``why``)."""

    grade: Grade
    valves: tuple[Valve, ...]
    sentence: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """What the verdicts are drawn from.

    ``readings``: the trend as the readings alone give it; ``trend`` with accepted jumps in; ``changes`` on that;
    ``first``: comparison by intervals. ``risk``: (tight, loose) within ``next_km``, None without a limit; ``accepted``
    the risks the owner accepts. ``within``: km by which each valve's risk says to look again. ``results`` of tests and
    causes ``found`` as ``assess`` takes them; sentences speak in ``units``.
    """

    engine: Engine
    readings: Trend
    trend: Trend
    changes: Changes
    seen: Attribution
    first: Mapping[Valve, FirstAnswer]
    risk: Mapping[Valve, tuple[float | None, float | None]]
    accepted: tuple[float, float]
    within: float
    next_km: float
    results: tuple[Result, ...] = ()
    found: tuple[Found, ...] = ()
    units: Units = MM_KM


def sudden_tightening(trend: Trend, valve: Valve) -> tuple[float, float]:
    """Probability that ``valve`` got ``SUDDEN_MM`` or more tighter within the last interval, and the likely move, mm.

    Its last reading, taken as sound, against the gap it was left at: under the trend's own prediction, and, with
    chance ``MOVED_AT_ONCE``, under one widened to ``WIDE_MM``. (0, 0) where the last visit did not measure it,
    nothing was driven, or a part was replaced then.
    """
    from scipy.special import ndtr

    if len(trend.sessions) < 2:
        return 0.0, 0.0
    session, i = trend.sessions[-1], trend.index(valve)
    fresh = trend.book.restart[-1, i] or trend.book.renewed[-1, i]
    if not session.read[i] or session.driven_km <= 0 or fresh:
        return 0.0, 0.0
    h, own = trend.hyper, float(session.reading_cov[i, i])
    before = session.reading_mean[i]
    var = np.array([own, max(own, WIDE_MM**2)])
    got = read(
        np.full(2, before),
        var,
        np.full(2, session.lo[i]),
        np.full(2, session.hi[i]),
        h.feel[0],
        h.drag[0],
        np.zeros(2),
        np.full(2, -math.inf),
        np.zeros(2),
    )
    drift = float(trend.traces[-1].predicted.m[0, trend.layout.V + i])
    moved = got.mean - before + drift * session.driven_km / 1000.0
    far = ndtr((-SUDDEN_MM - moved) / np.sqrt(got.var + own))
    weight = np.array([1.0 - MOVED_AT_ONCE, MOVED_AT_ONCE]) * np.exp(got.log_z - got.log_z.max())
    weight /= weight.sum()
    return float(weight @ far), float(weight @ moved)


def tightening(facts: Facts, valve: Valve) -> bool:
    """Is there a warning that this valve tightens?"""
    change = facts.changes.of_valve(valve)
    if change is not None and change.direction == "tighter" and change.probability > WARN_AT:
        return True
    if _named(facts, valve, "tighter") is not None:
        return True
    return len(facts.trend.traces) >= FEW_READINGS and facts.trend.drift(valve).p95 < -FAST


def findings(facts: Facts, own: Sequence[Finding] | None = None) -> tuple[Finding, ...]:
    """Everything there is to say, most important first: of each valve one (``own``), and of the engine as a whole."""
    if own is None:
        own = [valve_finding(facts, valve) for valve in facts.engine.valves]
    whole = engine_findings(facts)
    told = {v for f in whole if f.grade == "check now" for v in f.valves}
    kept = [f for f in own if not (f.valves[0] in told and f.grade in ("check now", "check sooner"))]
    return tuple(sorted([*whole, *kept], key=lambda f: GRADES.index(f.grade)))


def stops(found: Sequence[Finding]) -> bool:
    """Does any of them say not to run the engine?"""
    return any(f.grade == "do not run" for f in found)


# ---------------------------------------------------------------------------------------------- one valve


def valve_finding(facts: Facts, valve: Valve) -> Finding:
    """The one sentence of a valve."""
    stopped = _stopped(facts, valve)
    if stopped is not None:
        return stopped
    if _readings(facts, valve) == 0:
        sentence = say(
            "{valve} has not been measured yet: nothing is known of it. Measure it before it is touched.",
            valve=valve,
        )
        return Finding("cannot tell", (valve,), sentence, ())
    why = _numbers(facts, valve)
    for look in (_stop, _tightening, _no_blade, _outside, _loosening, _risk, _perhaps, _few):
        said = look(facts, valve)
        if said is not None:
            grade, sentence, more = said
            return Finding(grade, (valve,), sentence, (*more, *why))
    drift = facts.trend.drift(valve)
    gap, rate = facts.units.mm(facts.trend.gap(valve).mean), facts.units.rate(abs(drift.mean))
    if drift.mean < 0:
        sentence = say("{valve} is steady: {gap}, tighter by about {rate}.", valve=valve, gap=gap, rate=rate)
    else:
        sentence = say("{valve} is steady: {gap}, looser by about {rate}.", valve=valve, gap=gap, rate=rate)
    return Finding("steady", (valve,), sentence, why)


_Said = tuple[Grade, str, tuple[str, ...]]


def _stopped(facts: Facts, valve: Valve) -> Finding | None:
    """What a test showed that stops the engine, measured or not."""
    why = _numbers(facts, valve) if _readings(facts, valve) else ()
    for result in facts.results:
        for name in result.signs:
            if name in STOPPING_SIGNS and valve in result.where:
                sentence = say(
                    "{valve}: {sign}. Do not run the engine; have a qualified engine builder look at it.",
                    valve=valve,
                    sign=table(STOPPING_SIGNS[name]),
                )
                return Finding("do not run", (valve,), sentence, (_found_by(result), *why))
    return None


def _stop(facts: Facts, valve: Valve) -> _Said | None:
    first = facts.first[valve]
    now = facts.trend.as_of_km
    current = first.found is not None and first.found_at_km == now and bool(facts.readings.sessions)
    if not current or facts.readings.book.restart[-1, facts.readings.index(valve)]:
        return None
    probable, moved = sudden_tightening(facts.readings, valve)
    since = first.since_km
    again = (
        first.found is not None
        and math.isinf(first.found.lo)
        and first.before is not None
        and first.before.source != "found and left alone"
        and first.before.gap.lo > 0
    )
    units = facts.units
    if again and since is not None:
        reason = say("no blade goes again, {distance} after it was set", distance=units.km(max(since, 0.0)))
    elif first.change is not None and first.change.hi <= -SUDDEN_MM:
        reason = say(
            "by the blades {size} or more tighter within {distance}",
            size=units.mm(-first.change.hi),
            distance=units.km(since or 0.0),
        )
    elif probable >= SURE:
        driven = units.km(facts.readings.sessions[-1].driven_km)
        reason = say("about {size} tighter within {distance}", size=units.mm(abs(moved)), distance=driven)
    else:
        return None
    slip = facts.seen.p_misread.get(valve, 0.0)
    if slip > 0.2:
        sentence = say(
            "{valve}: {reason}. Do not run the engine; have a qualified engine builder look at it. Measure it once "
            "more, cold: if the first reading was a slip, this falls away.",
            valve=valve,
            reason=reason,
        )
    else:
        sentence = say(
            "{valve}: {reason}. Do not run the engine; have a qualified engine builder look at it.",
            valve=valve,
            reason=reason,
        )
    more = (
        say(
            "Chance that it got {size} or more tighter within the interval: {chance}.",
            size=units.mm(SUDDEN_MM),
            chance=wording.share(probable),
        ),
        say("Chance that this reading was a slip: {chance}.", chance=wording.share(slip)),
        wording.sign(facts.engine, "seat_recession_or_stretch"),
    )
    return "do not run", sentence, more


_FOUND_BY = {
    "stand_nuts_and_studs": mark("Found by stand nuts and studs."),
    "look_inside": mark("Found by look inside."),
}
_FOUND_BY_ON = {
    "stand_nuts_and_studs": mark("Found by stand nuts and studs on {day}."),
    "look_inside": mark("Found by look inside on {day}."),
}
"""The tests that have a stopping sign."""


def _found_by(result: Result) -> str:
    if result.day is None:
        return table(_FOUND_BY[result.test])
    return table(_FOUND_BY_ON[result.test], day=result.day)


def _tightening(facts: Facts, valve: Valve) -> _Said | None:
    if not tightening(facts, valve):
        return None
    cause = _named(facts, valve, "tighter")
    change = facts.changes.of_valve(valve)
    warned = change is not None and change.direction == "tighter" and change.probability > WARN_AT
    within = min(facts.within, TIGHTENING_KM)
    if within > 0:
        by = say("check again within {distance}", distance=facts.units.km(within))
    else:
        by = say("set it and check again before it is driven")
    rate = facts.units.rate
    if warned and change is not None:
        moved = say(
            "{valve} has tightened {rate} since {when}",
            valve=valve,
            rate=rate(max(-change.drift_now, 0.0)),
            when=_since(facts, change),
        )
    elif cause is not None and cause.how == "jump":
        moved = say(
            "{valve} is about {size} tighter since {when}",
            valve=valve,
            size=facts.units.mm(cause.amount.mean),
            when=_day(facts, cause),
        )
    elif cause is not None and cause.per_1000km is not None:
        moved = say(
            "{valve} has tightened {rate} since {when}",
            valve=valve,
            rate=rate(cause.per_1000km.mean),
            when=_day(facts, cause),
        )
    else:
        moved = say(
            "{valve} tightens {rate} and has for as long as it was measured",
            valve=valve,
            rate=rate(max(-facts.trend.drift(valve).mean, 0.0)),
        )
    part, sign_of = wording.part("seat_recession"), "seat_recession_or_stretch"
    test = _leak_down(facts, valve) or say("Leak-down now")
    if cause is not None and cause.cause == "head_settling":
        part, sign_of = wording.part("head_settling"), "head_settling"
        test = say("Check the head's nuts and leak-down now")
    more = [wording.sign(facts.engine, sign_of)]
    if warned and change is not None:
        more.append(say("Chance that its drift changed: {chance}.", chance=wording.share(change.probability)))
    if cause is not None:
        chance = wording.share(facts.seen.probability_of(cause))
        more.append(say("Chance of that cause: {chance}.", chance=chance))
        more.extend(_found_words(facts, cause))
    sentence = say(
        "{moved}; {part}. {test}; {by}; if no blade goes then, don't run it.",
        moved=moved,
        part=part,
        test=test,
        by=by,
    )
    return "check now", sentence, tuple(more)


def _leak_down(facts: Facts, valve: Valve) -> str | None:
    """What the leak-down of its cylinder showed, if one was done that still speaks; None = do one."""
    test = test_called("leak_down")
    for result in reversed(facts.results):
        if (
            result.test != test.name
            or not result.weighs
            or valve not in place_of(facts.engine, test, result.where)
        ):
            continue
        words = telling.result_words(facts.engine, result)
        if ("leaks_at_exhaust" if valve.kind == "E" else "leaks_at_intake") in result.signs:
            return say("{result}. Have the valve and its seat looked at", result=words)
        return words
    return None


def _no_blade(facts: Facts, valve: Valve) -> _Said | None:
    if not no_blade_went(facts, valve):
        return None
    set_now = bool(facts.readings.book.adjusted[-1, facts.readings.index(valve)])
    within = facts.units.km(max(min(facts.within, TIGHTENING_KM), 0.0))
    if set_now:
        text = say(
            "{valve}: no blade went. It is set now; check again within {distance}; if no blade goes then, don't run "
            "it.",
            valve=valve,
            distance=within,
        )
    else:
        text = say(
            "{valve}: no blade went. Set it before the engine runs; check again within {distance}; if no blade goes "
            "then, don't run it.",
            valve=valve,
            distance=within,
        )
    return "check now", text, (wording.sign(facts.engine, "seat_recession_or_stretch"),)


def no_blade_went(facts: Facts, valve: Valve) -> bool:
    """Did no blade go at this valve at the last visit (and no part was replaced then)?"""
    trend = facts.readings
    if not trend.sessions:
        return False
    session, i = trend.sessions[-1], trend.index(valve)
    return bool(session.read[i] and math.isinf(session.lo[i]) and not trend.book.restart[-1, i])


def _outside(facts: Facts, valve: Valve) -> _Said | None:
    limits, gap = facts.engine.gap(valve), facts.trend.gap(valve)
    if limits.tight is not None and gap.mean < limits.tight:
        text = say(
            "{valve} stands tighter than its {limit}. Set it before the engine runs.",
            valve=valve,
            limit=facts.units.limit(limits.tight),
        )
        return "check now", text, ()
    if limits.loose is not None and gap.mean > limits.loose:
        limit = facts.units.limit(limits.loose)
        return (
            "check now",
            say("{valve} stands looser than its {limit}. Set it.", valve=valve, limit=limit),
            (),
        )
    return None


def _loosening(facts: Facts, valve: Valve) -> _Said | None:
    change, cause = facts.changes.of_valve(valve), _named(facts, valve, "looser")
    warned = change is not None and change.direction == "looser" and change.probability > WARN_AT
    if warned and change is not None:
        rate = facts.units.rate(max(change.drift_now, 0.0))
        when = _since(facts, change)
        moved = say("{valve} has loosened {rate} since {when}", valve=valve, rate=rate, when=when)
    elif cause is not None and cause.how == "jump":
        moved = say(
            "{valve} is looser since {when}, about {size} where it is most",
            valve=valve,
            when=_day(facts, cause),
            size=facts.units.mm(cause.amount.mean),
        )
    elif cause is not None:
        moved = say("{valve} keeps getting looser", valve=valve)
    else:
        return None
    sudden = (
        cause is not None
        and cause.how == "jump"
        and len(cause.where) == 1
        and cause.amount.mean >= LOOK_INSIDE_MM
    )
    if sudden:
        sentence = say(
            "{moved}. So much at one valve at once can be a bent pushrod or a dropped seat: look before it runs; "
            "if it is one of these, don't run it.",
            moved=moved,
        )
        return "check now", sentence, (wording.sign(facts.engine, "valve_train_wear"),)
    if cause is None:
        text = say(
            "{moved}; wear or something coming loose. Listen, and look at nuts and faces.", moved=moved
        )
        return "watch", text, ()
    probability = facts.seen.probability_of(cause)
    more = (
        wording.sign(facts.engine, cause.cause),
        say("Chance of that cause: {chance}.", chance=wording.share(probability)),
    )
    found = _found(facts, cause)
    if found is not None:
        text = say(
            "{moved}: {part}, as found on {day}.", moved=moved, part=telling.part(cause), day=found.day
        )
        return "watch", text, more
    text = say(
        "{moved}; {likely} {part}.", moved=moved, likely=wording.likely(probability), part=telling.part(cause)
    )
    return "check sooner", text, more


def _risk(facts: Facts, valve: Valve) -> _Said | None:
    limits, (tight, loose) = facts.engine.gap(valve), facts.risk[valve]
    units = facts.units
    for p, allowed, limit, tighter in (
        (tight, facts.accepted[0], limits.tight, True),
        (loose, facts.accepted[1], limits.loose, False),
    ):
        if p is not None and limit is not None and p > allowed:
            if facts.within > 0:
                by = say("Check again within {distance}.", distance=units.km(facts.within))
            else:
                by = say("Set it now.")
            parts = {
                "valve": valve,
                "limit": units.limit(limit),
                "distance": units.km(facts.next_km),
                "chance": wording.share(p),
                "by": by,
            }
            if tighter:
                sentence = say(
                    "{valve} may get tighter than its {limit} within {distance} ({chance}). {by}", **parts
                )
            else:
                sentence = say(
                    "{valve} may get looser than its {limit} within {distance} ({chance}). {by}", **parts
                )
            return (
                "check sooner",
                sentence,
                (say("A risk of {chance} is accepted.", chance=wording.share(allowed)),),
            )
    return None


def _perhaps(facts: Facts, valve: Valve) -> _Said | None:
    slip = facts.seen.p_misread.get(valve, 0.0)
    _, moved = sudden_tightening(facts.readings, valve)
    if slip >= 0.3 and moved >= LOOK_INSIDE_MM:
        sentence = say(
            "{valve} read about {size} looser than it was left, perhaps a slip ({chance}). Measure "
            "it again before it runs; if it reads the same, look at its pushrod and seat: bent or dropped, "
            "don't run it.",
            valve=valve,
            size=facts.units.mm(moved),
            chance=wording.share(slip),
        )
        return "check now", sentence, (wording.sign(facts.engine, "valve_train_wear"),)
    if slip >= 0.3:
        text = say(
            "{valve} read oddly last time, perhaps a slip ({chance}). Measure it again when it is cold.",
            valve=valve,
            chance=wording.share(slip),
        )
        return "watch", text, ()
    change = facts.changes.of_valve(valve)
    if change is None or change.probability <= SUSPECT:
        return None
    chance, since = wording.share(change.probability), _since(facts, change)
    if change.direction == "tighter":
        sentence = say(
            "{valve} may have begun to tighten ({chance}) since {when}: cannot tell yet, two more visits will.",
            valve=valve,
            chance=chance,
            when=since,
        )
    else:
        sentence = say(
            "{valve} may have begun to loosen ({chance}) since {when}: cannot tell yet, two more visits will.",
            valve=valve,
            chance=chance,
            when=since,
        )
    return "cannot tell", sentence, ()


def _few(facts: Facts, valve: Valve) -> _Said | None:
    count = _readings(facts, valve)
    if count >= FEW_READINGS:
        return None
    text = plural(
        "{valve}: one reading so far, too few to see which way it goes. Cannot tell yet, two more visits will.",
        "{valve}: {n} readings so far, too few to see which way it goes. Cannot tell yet, two more visits will.",
        count,
        valve=valve,
    )
    return "cannot tell", text, ()


# ---------------------------------------------------------------------------------------------- the engine


def engine_findings(facts: Facts) -> list[Finding]:
    """What concerns several valves: the likely cause, or the candidates; a session that is off; tests that stop it."""
    seen = facts.seen
    if not seen.causes:
        return []
    out = []
    off_by, units, soon = seen.offset, facts.units, facts.units.km(TIGHTENING_KM)
    if abs(off_by.mean) >= OFFSET_MM and abs(off_by.mean) > 2.0 * off_by.sd and seen.p_something < SURE:
        text = telling.offset(units, abs(off_by.mean), "looser" if off_by.mean > 0 else "tighter")
        why: tuple[str, ...] = (facts.units.gap_span(say("Everything read is off by"), off_by),)
        out.append(Finding("watch", tuple(v for v in facts.engine.valves if _read_last(facts, v)), text, why))
    named = [c for c in seen.causes if seen.probability_of(c) >= SURE]
    big = [c for c in named if c.worth_a_verdict and c.cause != SESSION_OFFSET]
    off = [c for c in named if c.cause == SESSION_OFFSET]
    for cause in off:
        text = telling.offset(units, cause.amount.mean, cause.direction)
        out.append(Finding("watch", cause.where, text, _cause_why(facts, cause)))
    for cause in big:
        if len(cause.where) == 1:
            continue  # said with the valve itself
        found, probability = _found(facts, cause), seen.probability_of(cause)
        grade: Grade = "check now"
        if found is not None and found.mended and cause.direction == "looser":
            grade = "watch"
        elif found is not None and cause.cause != "head_lifting_or_stand_loose":
            grade = "check sooner"
        out.append(
            Finding(
                grade,
                cause.where,
                telling.several(units, cause, found, _day(facts, cause), probability, soon),
                _cause_why(facts, cause),
            )
        )
    if not big and not off and seen.p_something >= SURE:
        names = [
            f"{telling.part(c)} ({wording.valves(c.where)}, {wording.share(c.probability)})"
            for c in seen.causes[:3]
        ]
        text = say(
            "Something has moved ({chance}), but too little or too unclearly to name a part. Candidates: {names}.",
            chance=wording.share(seen.p_something),
            names="; ".join(names),
        )
        why = tuple(
            f"{wording.coded(c.name)}: {w}"
            for c in seen.causes[:3]
            if (w := wording.sign(facts.engine, c.cause))
        )
        out.append(Finding("cannot tell", (), text, why))
    return out


def found_settling(facts: Facts) -> bool:
    """Is a settled head, found by the owner, what moved the gaps? Then they are looked at again soon."""
    seen = facts.seen
    return any(
        c.cause == "head_settling"
        and c.worth_a_verdict
        and seen.probability_of(c) >= SURE
        and _found(facts, c) is not None
        for c in seen.causes
    )


def _read_last(facts: Facts, valve: Valve) -> bool:
    sessions = facts.readings.sessions
    return bool(sessions) and bool(sessions[-1].read[facts.readings.index(valve)])


def _cause_why(facts: Facts, cause: Cause) -> tuple[str, ...]:
    seen = facts.seen
    why = [
        cause.why,
        say(
            "Given that something happened, the chance of it is {chance}; that anything happened, {anything}.",
            chance=wording.share(cause.probability),
            anything=wording.share(seen.p_something),
        ),
        facts.units.amount(cause.amount),
    ]
    if cause.not_separable_from:
        why.append(
            say(
                "Gaps alone can't tell it from: {others}.",
                others="; ".join(map(wording.coded, cause.not_separable_from)),
            )
        )
    return (*why, *_found_words(facts, cause))


def _found(facts: Facts, cause: Cause) -> Found | None:
    """What the owner found that is this cause, None = nothing was."""
    return next((f for f in facts.found if matching(f, cause)), None)


def _found_words(facts: Facts, cause: Cause) -> tuple[str, ...]:
    found = _found(facts, cause)
    if found is None:
        return ()
    return (say("Found on {day}: {cause}.", day=found.day, cause=wording.cause(found.cause)),)


def _named(facts: Facts, valve: Valve, direction: str) -> Cause | None:
    """The likeliest cause that moves this valve that way and is sure and large enough to be named.

    Not one at several valves that the owner found: that is said once, of the engine.
    """
    for cause in facts.seen.causes:
        if (
            valve in cause.where
            and cause.direction == direction
            and cause.cause != SESSION_OFFSET
            and cause.worth_a_verdict
            and facts.seen.probability_of(cause) >= SURE
            and not (len(cause.where) > 1 and _found(facts, cause) is not None)
        ):
            return cause
    return None


def _since(facts: Facts, change: Change) -> str:
    visits = facts.trend.book.visits
    return wording.month(visits[max(change.onset_session - 1, 0)].day, visits[-1].day)


def _day(facts: Facts, cause: Cause) -> str:
    visits = facts.trend.book.visits
    if cause.how == "slope" and cause.since_km <= float(facts.trend.book.km[0]):
        return say("the first visit in the book")
    return wording.month(visits[max(cause.onset_session - 1, 0)].day, visits[-1].day)


def _readings(facts: Facts, valve: Valve) -> int:
    book, i = facts.readings.book, facts.readings.index(valve)
    return int(np.sum(~book.found[3][:, i])) if len(book.visits) else 0


def _numbers(facts: Facts, valve: Valve) -> tuple[str, ...]:
    trend, (tight, loose) = facts.trend, facts.risk[valve]
    units = facts.units
    why = [
        units.gap_span(say("Gap as left, at 20 C:"), trend.gap(valve)),
        units.rate_span(say("Drift:"), trend.drift(valve)),
    ]
    limits, far = facts.engine.gap(valve), units.km(facts.next_km)
    if tight is None:
        why.append(say("The engine file states no tight limit, so there is no risk of too tight to tell."))
    elif limits.tight is not None:
        why.append(
            say(
                "Chance of tighter than {limit} within {distance}: {chance}.",
                limit=units.limit(limits.tight),
                distance=far,
                chance=wording.share(tight),
            )
        )
    if loose is not None and limits.loose is not None:
        why.append(
            say(
                "Chance of looser than {limit} within {distance}: {chance}.",
                limit=units.limit(limits.loose),
                distance=far,
                chance=wording.share(loose),
            )
        )
    return tuple(why)
