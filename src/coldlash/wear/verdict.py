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
from coldlash.wear import wording as say
from coldlash.wear.candidates import SESSION_OFFSET
from coldlash.wear.causes import Attribution, Cause
from coldlash.wear.change import WARN_AT, Change, Changes
from coldlash.wear.first import FirstAnswer
from coldlash.wear.interval import read
from coldlash.wear.next_test import Result
from coldlash.wear.trend import Trend

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
    "stud_pulled": "a stud is pulled",
    "pushrod_bent": "a pushrod is bent",
    "seat_dropped": "a seat has dropped",
}
BUILDER = "have a qualified engine builder look at it"

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
    the risks the owner accepts. ``within``: km by which each valve's risk says to look again.
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
    if _readings(facts, valve) == 0:
        sentence = (
            f"{valve} has not been measured yet: nothing is known of it. Measure it before it is touched."
        )
        return Finding("cannot tell", (valve,), sentence, ())
    why = _numbers(facts, valve)
    for look in (_stop, _tightening, _no_blade, _outside, _loosening, _risk, _perhaps, _few):
        said = look(facts, valve)
        if said is not None:
            grade, sentence, more = said
            return Finding(grade, (valve,), sentence, (*more, *why))
    drift = facts.trend.drift(valve)
    way = "tighter" if drift.mean < 0 else "looser"
    sentence = f"{valve} is steady: {say.mm(facts.trend.gap(valve).mean)}, {way} by about {say.rate(abs(drift.mean))}."
    return Finding("steady", (valve,), sentence, why)


_Said = tuple[Grade, str, tuple[str, ...]]


def _stop(facts: Facts, valve: Valve) -> _Said | None:
    for result in facts.results:
        for name in result.signs:
            if name in STOPPING_SIGNS and valve in result.where:
                return (
                    "do not run",
                    f"{valve}: {STOPPING_SIGNS[name]}. Do not run the engine; {BUILDER}.",
                    (f"Found by {result.test.replace('_', ' ')}.",),
                )
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
    if again and since is not None:
        reason = f"no blade goes again, {say.km(max(since, 0.0))} after it was set"
    elif first.change is not None and first.change.hi <= -SUDDEN_MM:
        reason = f"by the blades {say.mm(-first.change.hi)} or more tighter within {say.km(since or 0.0)}"
    elif probable >= SURE:
        driven = say.km(facts.readings.sessions[-1].driven_km)
        reason = f"about {say.mm(abs(moved))} tighter within {driven}"
    else:
        return None
    slip = facts.seen.p_misread.get(valve, 0.0)
    look_again = ""
    if slip > 0.2:
        look_again = " Measure it once more, cold: if the first reading was a slip, this falls away."
    more = (
        f"Chance that it got {say.mm(SUDDEN_MM)} or more tighter within the interval: {say.share(probable)}.",
        f"Chance that this reading was a slip: {say.share(slip)}.",
        say.sign(facts.engine, "seat_recession_or_stretch"),
    )
    return "do not run", f"{valve}: {reason}. Do not run the engine; {BUILDER}.{look_again}", more


def _tightening(facts: Facts, valve: Valve) -> _Said | None:
    if not tightening(facts, valve):
        return None
    cause = _named(facts, valve, "tighter")
    change = facts.changes.of_valve(valve)
    warned = change is not None and change.direction == "tighter" and change.probability > WARN_AT
    within = min(facts.within, TIGHTENING_KM)
    by = (
        f"check again within {say.km(within)}" if within > 0 else "set it and check again before it is driven"
    )
    if warned and change is not None:
        rate = max(-change.drift_now, 0.0)
        moved = f"{valve} has tightened {say.rate(rate)} since {_since(facts, change)}"
    elif cause is not None and cause.how == "jump":
        moved = f"{valve} is about {say.mm(cause.amount.mean)} tighter since {_day(facts, cause)}"
    elif cause is not None and cause.per_1000km is not None:
        rate = cause.per_1000km.mean
        moved = f"{valve} has tightened {say.rate(rate)} since {_day(facts, cause)}"
    else:
        rate = max(-facts.trend.drift(valve).mean, 0.0)
        moved = f"{valve} tightens {say.rate(rate)} and has for as long as it was measured"
    part, test, sign_of = say.PART["seat_recession"], "Leak-down now", "seat_recession_or_stretch"
    if cause is not None and cause.cause == "head_settling":
        part, sign_of = say.PART["head_settling"], "head_settling"
        test = "Check the head's nuts and leak-down now"
    more = [say.sign(facts.engine, sign_of)]
    if warned and change is not None:
        more.append(f"Chance that its drift changed: {say.share(change.probability)}.")
    if cause is not None:
        more.append(f"Chance of that cause: {say.share(facts.seen.probability_of(cause))}.")
    sentence = f"{moved}; {part}. {test}; {by}; if no blade goes then, don't run it."
    return "check now", sentence, tuple(more)


def _no_blade(facts: Facts, valve: Valve) -> _Said | None:
    if not no_blade_went(facts, valve):
        return None
    set_now = bool(facts.readings.book.adjusted[-1, facts.readings.index(valve)])
    within = say.km(max(min(facts.within, TIGHTENING_KM), 0.0))
    done = "It is set now" if set_now else "Set it before the engine runs"
    text = (
        f"{valve}: no blade went. {done}; check again within {within}; if no blade goes then, don't run it."
    )
    return "check now", text, (say.sign(facts.engine, "seat_recession_or_stretch"),)


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
        text = f"{valve} stands tighter than its {say.mm(limits.tight)}. Set it before the engine runs."
        return "check now", text, ()
    if limits.loose is not None and gap.mean > limits.loose:
        return "check now", f"{valve} stands looser than its {say.mm(limits.loose)}. Set it.", ()
    return None


def _loosening(facts: Facts, valve: Valve) -> _Said | None:
    change, cause = facts.changes.of_valve(valve), _named(facts, valve, "looser")
    warned = change is not None and change.direction == "looser" and change.probability > WARN_AT
    if warned and change is not None:
        rate = max(change.drift_now, 0.0)
        moved = f"{valve} has loosened {say.rate(rate)} since {_since(facts, change)}"
    elif cause is not None and cause.how == "jump":
        moved = f"{valve} is looser since {_day(facts, cause)}, about {say.mm(cause.amount.mean)} where it is most"
    elif cause is not None:
        moved = f"{valve} keeps getting looser"
    else:
        return None
    sudden = (
        cause is not None
        and cause.how == "jump"
        and len(cause.where) == 1
        and cause.amount.mean >= LOOK_INSIDE_MM
    )
    if sudden:
        sentence = (
            f"{moved}. So much at one valve at once can be a bent pushrod or a dropped seat: look before it runs; "
            "if it is one of these, don't run it."
        )
        return "check now", sentence, (say.sign(facts.engine, "valve_train_wear"),)
    if cause is None:
        return "watch", f"{moved}; wear or something coming loose. Listen, and look at nuts and faces.", ()
    more = (
        say.sign(facts.engine, cause.cause),
        f"Chance of that cause: {say.share(facts.seen.probability_of(cause))}.",
    )
    return ("check sooner", f"{moved}; {say.likely(facts.seen.probability_of(cause))} {_part(cause)}.", more)


def _risk(facts: Facts, valve: Valve) -> _Said | None:
    limits, (tight, loose) = facts.engine.gap(valve), facts.risk[valve]
    for p, allowed, limit, word in (
        (tight, facts.accepted[0], limits.tight, "tighter"),
        (loose, facts.accepted[1], limits.loose, "looser"),
    ):
        if p is not None and limit is not None and p > allowed:
            by = f"Check again within {say.km(facts.within)}" if facts.within > 0 else "Set it now"
            sentence = (
                f"{valve} may get {word} than its {say.mm(limit)} within {say.km(facts.next_km)} "
                f"({say.share(p)}). {by}."
            )
            return "check sooner", sentence, (f"A risk of {say.share(allowed)} is accepted.",)
    return None


def _perhaps(facts: Facts, valve: Valve) -> _Said | None:
    slip = facts.seen.p_misread.get(valve, 0.0)
    _, moved = sudden_tightening(facts.readings, valve)
    if slip >= 0.3 and moved >= LOOK_INSIDE_MM:
        sentence = (
            f"{valve} read about {say.mm(moved)} looser than it was left, perhaps a slip ({say.share(slip)}). Measure "
            "it again before it runs; if it reads the same, look at its pushrod and seat: bent or dropped, "
            "don't run it."
        )
        return "check now", sentence, (say.sign(facts.engine, "valve_train_wear"),)
    if slip >= 0.3:
        return (
            "watch",
            f"{valve} read oddly last time, perhaps a slip ({say.share(slip)}). Measure it again when it is cold.",
            (),
        )
    change = facts.changes.of_valve(valve)
    if change is None or change.probability <= SUSPECT:
        return None
    begun = "tighten" if change.direction == "tighter" else "loosen"
    sentence = (
        f"{valve} may have begun to {begun} ({say.share(change.probability)}) since {_since(facts, change)}: "
        "cannot tell yet, two more visits will."
    )
    return "cannot tell", sentence, ()


def _few(facts: Facts, valve: Valve) -> _Said | None:
    count = _readings(facts, valve)
    if count >= FEW_READINGS:
        return None
    readings = "one reading" if count == 1 else f"{count} readings"
    return (
        "cannot tell",
        f"{valve}: {readings} so far, too few to see which way it goes. Cannot tell yet, two more visits will.",
        (),
    )


# ---------------------------------------------------------------------------------------------- the engine


def engine_findings(facts: Facts) -> list[Finding]:
    """What concerns several valves: the likely cause, or the candidates; a session that is off; tests that stop it."""
    seen = facts.seen
    if not seen.causes:
        return []
    out = []
    off_by = seen.offset
    if abs(off_by.mean) >= OFFSET_MM and abs(off_by.mean) > 2.0 * off_by.sd and seen.p_something < SURE:
        way = "looser" if off_by.mean > 0 else "tighter"
        text = _offset(abs(off_by.mean), way)
        why: tuple[str, ...] = (say.span("Everything read is off by", off_by, "mm"),)
        out.append(Finding("watch", tuple(v for v in facts.engine.valves if _read_last(facts, v)), text, why))
    named = [c for c in seen.causes if seen.probability_of(c) >= SURE]
    big = [c for c in named if c.worth_a_verdict and c.cause != SESSION_OFFSET]
    off = [c for c in named if c.cause == SESSION_OFFSET]
    for cause in off:
        text = _offset(cause.amount.mean, cause.direction)
        out.append(Finding("watch", cause.where, text, _cause_why(facts, cause)))
    for cause in big:
        if len(cause.where) == 1:
            continue  # said with the valve itself
        text = (
            f"{say.valves(cause.where)} are about {say.mm(cause.amount.mean)} {cause.direction} since "
            f"{_day(facts, cause)}: {say.likely(seen.probability_of(cause))} {_part(cause)}. {_advice(cause)}"
        )
        out.append(Finding("check now", cause.where, text, _cause_why(facts, cause)))
    if not big and not off and seen.p_something >= SURE:
        names = [f"{_part(c)} ({say.valves(c.where)}, {say.share(c.probability)})" for c in seen.causes[:3]]
        text = (
            f"Something has moved ({say.share(seen.p_something)}), but too little or too unclearly to name a part. "
            f"Candidates: {'; '.join(names)}."
        )
        why = tuple(f"{c.name}: {w}" for c in seen.causes[:3] if (w := say.sign(facts.engine, c.cause)))
        out.append(Finding("cannot tell", (), text, why))
    return out


def _offset(size: float, way: str) -> str:
    return (
        f"Everything read last time is about {say.mm(size)} {way} than expected: an engine not cold, another hand or "
        "other blades. Measure again, cold, before anything else is concluded."
    )


def _read_last(facts: Facts, valve: Valve) -> bool:
    sessions = facts.readings.sessions
    return bool(sessions) and bool(sessions[-1].read[facts.readings.index(valve)])


def _advice(cause: Cause) -> str:
    if cause.cause == "head_lifting_or_stand_loose":
        return "Check stand nuts and studs before it runs on; a pulled stud: don't run it."
    if cause.cause == "head_settling":
        return (
            f"Check the head's nuts, leak-down now, and the gaps again within {say.km(TIGHTENING_KM)}; "
            "if no blade goes then, don't run it."
        )
    if cause.cause == "shared_lobe_wear":
        return "Measure the lobe's lift and look at the followers."
    return "Look at the part."


def _cause_why(facts: Facts, cause: Cause) -> tuple[str, ...]:
    seen = facts.seen
    why = [
        cause.why,
        f"Given that something happened, the chance of it is {say.share(cause.probability)}; that anything "
        f"happened, {say.share(seen.p_something)}.",
        f"Amount {cause.amount.mean:.3f} mm, sd {cause.amount.sd:.3f}, at the most affected valve.",
    ]
    if cause.not_separable_from:
        why.append(f"Gaps alone can't tell it from: {'; '.join(cause.not_separable_from)}.")
    return tuple(why)


def _part(cause: Cause) -> str:
    if cause.cause == SESSION_OFFSET:
        return "the whole session being off"
    words = [say.PART[v] for v in cause.variants if v in say.PART]
    if len(words) < 2:
        return words[0] if words else cause.cause.replace("_", " ")
    return f"{' or '.join(words)}, which gaps can't tell apart"


def _named(facts: Facts, valve: Valve, direction: str) -> Cause | None:
    """The likeliest cause that moves this valve that way and is sure and large enough to be named."""
    for cause in facts.seen.causes:
        if (
            valve in cause.where
            and cause.direction == direction
            and cause.cause != SESSION_OFFSET
            and cause.worth_a_verdict
            and facts.seen.probability_of(cause) >= SURE
        ):
            return cause
    return None


def _since(facts: Facts, change: Change) -> str:
    visits = facts.trend.book.visits
    return say.month(visits[max(change.onset_session - 1, 0)].day, visits[-1].day)


def _day(facts: Facts, cause: Cause) -> str:
    visits = facts.trend.book.visits
    if cause.how == "slope" and cause.since_km <= float(facts.trend.book.km[0]):
        return "the first visit in the book"
    return say.month(visits[max(cause.onset_session - 1, 0)].day, visits[-1].day)


def _readings(facts: Facts, valve: Valve) -> int:
    book, i = facts.readings.book, facts.readings.index(valve)
    return int(np.sum(~book.found[3][:, i])) if len(book.visits) else 0


def _numbers(facts: Facts, valve: Valve) -> tuple[str, ...]:
    trend, (tight, loose) = facts.trend, facts.risk[valve]
    why = [
        say.span("Gap as left, at 20 C:", trend.gap(valve), "mm"),
        say.span("Drift:", trend.drift(valve), "mm per 1,000 km"),
    ]
    limits = facts.engine.gap(valve)
    if tight is None:
        why.append("The engine file states no tight limit, so there is no risk of too tight to tell.")
    elif limits.tight is not None:
        why.append(
            f"Chance of tighter than {say.mm(limits.tight)} within {say.km(facts.next_km)}: {say.share(tight)}."
        )
    if loose is not None and limits.loose is not None:
        why.append(
            f"Chance of looser than {say.mm(limits.loose)} within {say.km(facts.next_km)}: {say.share(loose)}."
        )
    return tuple(why)
