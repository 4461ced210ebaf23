"""Causes in sentences: one at several valves, a session that is off, what a result or a find did. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from coldlash.engine.spec import Engine, Valve
from coldlash.language import say, table
from coldlash.wear import wording
from coldlash.wear.candidates import SESSION_OFFSET
from coldlash.wear.causes import Attribution, Cause
from coldlash.wear.found import Found, matching
from coldlash.wear.next_test import Place, Result, Test, place_of, test_called
from coldlash.wear.wording import Units, share

LEAST_MOVE = 0.02
"""A cause's chance that moved by less is not worth a word (judgement)."""


def place_words(place: Place, where: Sequence[Valve]) -> str:
    """Where a test is done, in words: "cylinder 3", "the lobe of E1 and E3", "the engine"."""
    if place == "cylinder" and where:
        return say("cylinder {number}", number=where[0].cylinder)
    if place == "lobe" and where:
        return say("the lobe of {valves}", valves=wording.valves(where))
    return say("the engine")


def outcome_words(test: Test, signs: Sequence[str]) -> str:
    """What a test showed, in words."""
    shown = [table(sign.says) for sign in test.signs if sign.name in signs]
    return ", ".join(shown) if shown else table(test.clean)


def result_words(engine: Engine, result: Result) -> str:
    """A result with its place and day: "Leak-down of cylinder 3 on 2026-03-02: air at the exhaust"."""
    test = test_called(result.test)
    parts = {
        "test": table(test.called),
        "where": place_words(test.place, place_of(engine, test, result.where)),
        "outcome": outcome_words(test, result.signs),
    }
    if result.day is None:
        return say("{test} of {where}: {outcome}", **parts)
    return say("{test} of {where} on {day}: {outcome}", **parts, day=result.day)


def of_result(engine: Engine, result: Result, before: Attribution, after: Attribution) -> str:
    """What a result did to the cause it moved most."""
    words = result_words(engine, result)
    moved = [(_chance(after, c) - before.probability_of(c), c) for c in before.causes]
    if not moved:
        return say("{result}. Nothing is suspected that it could speak for or against.", result=words)
    by, cause = max(moved, key=lambda each: (abs(each[0]), each[1].name))
    if abs(by) < LEAST_MOVE:
        return say("{result}; that changes next to nothing of what is suspected.", result=words)
    parts = {
        "result": words,
        "cause": wording.cause(cause.cause),
        "valves": wording.valves(cause.where),
        "before": share(before.probability_of(cause)),
        "now": share(_chance(after, cause)),
    }
    if by < 0:
        return say("{result}; that speaks against {cause} at {valves} ({before} before, {now} now).", **parts)
    return say("{result}; that speaks for {cause} at {valves} ({before} before, {now} now).", **parts)


def found_title(found: Found) -> str:
    """What was found, where and when: "Found on 2026-03-02 at I1 and E1: a loose rocker stand"."""
    if not found.where:
        return say("Found on {day}: {cause}", day=found.day, cause=wording.cause(found.cause))
    return say(
        "Found on {day} at {valves}: {cause}",
        day=found.day,
        valves=wording.valves(found.where),
        cause=wording.cause(found.cause),
    )


def of_found(found: Found, before: Attribution, after: Attribution, settled: bool) -> str:
    """What a cause found did to the chance of it; ``settled``: it is in the trend as a jump already."""
    mine = [c for c in after.causes if matching(found, c)]
    if settled:
        return say("{found}. It is taken as a jump, not as drift.", found=found_title(found))
    if not mine:
        return say(
            "{found}. The last readings show nothing of it, so it changes nothing.", found=found_title(found)
        )
    cause = mine[0]
    return say(
        "{found}. It is weighed in like a test ({before} before, {now} now).",
        found=found_title(found),
        before=share(_chance(before, cause)),
        now=share(after.probability_of(cause)),
    )


def several(units: Units, cause: Cause, found: Found | None, when: str, probability: float, soon: str) -> str:
    """One cause at several valves, in a sentence or two. ``when`` it began; ``soon``: the distance to look again by."""
    parts = {
        "valves": wording.valves(cause.where),
        "size": units.mm(cause.amount.mean),
        "when": when,
        "part": part(cause),
    }
    tighter = cause.direction == "tighter"
    if found is None:
        more = {
            **parts,
            "likely": wording.likely(probability),
            "advice": advice(cause, soon),
        }
        if tighter:
            return say("{valves} are about {size} tighter since {when}: {likely} {part}. {advice}", **more)
        return say("{valves} are about {size} looser since {when}: {likely} {part}. {advice}", **more)
    if tighter:
        return say(
            "{valves} are about {size} tighter since {when}: {part}, as found on {day}. Check the gaps again within "
            "{distance}; if no blade goes then, don't run it.",
            **parts,
            day=found.day,
            distance=soon,
        )
    if found.mended:
        return say(
            "{valves} are about {size} looser since {when}: {part}, as found on {day} and worked on since. Measure "
            "again to see that it is over.",
            **parts,
            day=found.day,
        )
    if cause.cause == "head_lifting_or_stand_loose":
        return say(
            "{valves} are about {size} looser since {when}: {part}, as found on {day}. Put it right before it runs on "
            "and write it down as work; a pulled stud: don't run it.",
            **parts,
            day=found.day,
        )
    return say(
        "{valves} are about {size} looser since {when}: {part}, as found on {day}. {advice}",
        **parts,
        day=found.day,
        advice=advice(cause, soon),
    )


def offset(units: Units, size: float, way: str) -> str:
    """A session that is off by ``size`` mm, in two sentences."""
    said = units.mm(size)
    if way == "looser":
        return say(
            "Everything read last time is about {size} looser than expected: an engine not cold, another hand or "
            "other blades. Measure again, cold, before anything else is concluded.",
            size=said,
        )
    return say(
        "Everything read last time is about {size} tighter than expected: an engine not cold, another hand or "
        "other blades. Measure again, cold, before anything else is concluded.",
        size=said,
    )


def advice(cause: Cause, soon: str) -> str:
    """What to do about a cause at several valves, in a sentence."""
    if cause.cause == "head_lifting_or_stand_loose":
        return say("Check stand nuts and studs before it runs on; a pulled stud: don't run it.")
    if cause.cause == "head_settling":
        return say(
            "Check the head's nuts, leak-down now, and the gaps again within {distance}; "
            "if no blade goes then, don't run it.",
            distance=soon,
        )
    if cause.cause == "shared_lobe_wear":
        return say("Measure the lobe's lift and look at the followers.")
    return say("Look at the part.")


def part(cause: Cause) -> str:
    """What may be behind a cause, in words."""
    if cause.cause == SESSION_OFFSET:
        return say("the whole session being off")
    words = [wording.part(v) for v in cause.variants if v in wording.PART]
    if len(words) < 2:
        return words[0] if words else cause.cause.replace("_", " ")
    return say("{causes}, which gaps can't tell apart", causes=say(" or ").join(words))


def _chance(seen: Attribution, cause: Cause) -> float:
    """The chance of the same cause, at the same place, in ``seen``."""
    same = (c for c in seen.causes if c.cause == cause.cause and c.where == cause.where)
    return next((seen.probability_of(c) for c in same), 0.0)
