"""The answer to "what do the readings say": from a log file or from the book, for pages and terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from coldlash.desk.engines import load_engine, read_text_file
from coldlash.desk.learning import learnt_from
from coldlash.desk.tests_done import Evidence, cause_words, typed_place
from coldlash.engine.heat import temperature_coefficient
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import mark, say, table
from coldlash.logbook.exchange import parse_log, to_records
from coldlash.wear import assessment
from coldlash.wear.assessment import Assessment
from coldlash.wear.first import FirstAnswer, first_answers, say_gap
from coldlash.wear.next_test import NONE, NextTest, Result, check_signs, place_of, test_called
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings
from coldlash.wear.verdict import SURE, Finding
from coldlash.wear.wording import MM_KM, Units
from coldlash.wear.wording import valves as wording_valves

NOTHING_KNOWN = Evidence()

TEST_WORDS = {
    "leak_down": mark("leak-down"),
    "compression": mark("compression"),
    "stand_nuts_and_studs": mark("rocker stand nuts and studs"),
    "lobe_lift": mark("lobe lift, measured"),
    "measure_again_cold": mark("measure again, cold"),
    "listen": mark("listen"),
}
CAUSES_NAMED = 3
"""Causes that are offered to be written down as found."""
LEAST_BITS = 0.02
"""A further test that tells less than this is not worth naming (judgement)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What is known of an engine after its last visit: the model's answer, and the bare comparison of intervals."""

    engine: Engine
    assessment: Assessment
    compared: tuple[FirstAnswer, ...]
    units: Units = MM_KM
    """The owner's, for sentences; figures as data are mm and km always."""

    @property
    def as_of_km(self) -> float | None:
        """Distance of the last visit."""
        return self.assessment.as_of_km

    @property
    def urgent(self) -> tuple[Finding, ...]:
        """What is not simply steady, most important first."""
        return tuple(finding for finding in self.assessment.findings if finding.grade != "steady")

    @property
    def steady(self) -> tuple[Finding, ...]:
        """What is steady."""
        return tuple(finding for finding in self.assessment.findings if finding.grade == "steady")

    def next_tests(self) -> tuple[str, ...]:
        """Further tests worth their effort, best first, in words."""
        return tuple(
            say("{test} at {valves}", test=name_of_test(test.test), valves=", ".join(map(str, test.where)))
            for test in self.worthwhile()
        )

    def worthwhile(self) -> tuple[NextTest, ...]:
        """Further tests worth their effort, best first."""
        return tuple(test for test in self.assessment.next_tests if test.bits >= LEAST_BITS)

    def test_links(self) -> tuple[tuple[str, str, str], ...]:
        """The same as (words, kind, place as typed), to write down what they show."""
        return tuple(
            (words, test.test, typed_place(self.engine, test.test, test.where))
            for words, test in zip(self.next_tests(), self.worthwhile(), strict=True)
        )

    def cause_links(self) -> tuple[tuple[str, str, str], ...]:
        """Causes that may be found to be it, as (words, cause, place as typed): those even odds or better say."""
        seen = self.assessment.attribution
        if seen.p_something < SURE:
            return ()
        return tuple(
            (
                say("{cause} at {valves}", cause=cause_words(c.cause), valves=wording_valves(c.where)),
                c.cause,
                " ".join(map(str, c.where)),
            )
            for c in self.assessment.causes[:CAUSES_NAMED]
        )

    def recheck_words(self) -> str:
        """When to look again, in words."""
        if self.assessment.do_not_run:
            return say("Look again before it runs.")
        until, far = self.assessment.due, self.units.km(self.assessment.recheck_km)
        if until is None:
            return say("Check again within {distance} from the last visit.", distance=far)
        return say(
            "Check again within {distance} from the last visit, likely about {day}.",
            distance=far,
            day=until.middle,
        )

    def of(self, valve: Valve) -> tuple[str, ...]:
        """One valve in sentences: the verdict, then the comparison behind it."""
        compared = next(answer for answer in self.compared if answer.valve == valve)
        return self.assessment.of(valve).verdict, compared.verdict

    def as_json(self) -> dict[str, object]:
        """The contract's object, with the comparison of intervals beside the model's figures of each valve."""
        data = self.assessment.as_json()
        valves = data["valves"]
        if isinstance(valves, dict):
            data["valves"] = {
                str(each.valve): {**valves[str(each.valve)], "compared": _compared_json(each, self.units)}
                for each in self.compared
            }
        return data

    def lines(self) -> list[str]:
        """The answer as text: what needs doing first."""
        if self.as_of_km is None and not self.assessment.do_not_run:
            return [say("{engine}: no visits yet", engine=self.engine.name), "", *self.assessment.reasons]
        if self.as_of_km is None:
            lines = [say("{engine}: no visits yet", engine=self.engine.name), ""]
        else:
            as_of = self.units.km(self.as_of_km)
            lines = [say("{engine}: as of {distance}", engine=self.engine.name, distance=as_of), ""]
        for finding in self.urgent:
            lines.append(finding.sentence)
            lines += [say("  why   {reason}", reason=why) for why in finding.why]
        if self.steady:
            lines += ["", *(finding.sentence for finding in self.steady)]
        lines += ["", self.recheck_words()]
        tests = self.next_tests()
        if tests:
            lines.append(say("What would tell more: {tests}.", tests="; ".join(tests)))
        return [*lines, "", *self.assessment.reasons]


def _interval_json(gap: GapInterval | None) -> Mapping[str, float] | None:
    return None if gap is None else {"lo": gap.lo, "hi": gap.hi}


def _compared_json(answer: FirstAnswer, units: Units) -> dict[str, object]:
    before = answer.before
    return {
        "found_mm": _interval_json(answer.found),
        "found_words": None if answer.found is None else say_gap(answer.found, units),
        "found_at_km": answer.found_at_km,
        "before_mm": None if before is None else _interval_json(before.gap),
        "before_source": None if before is None else before.source,
        "since_km": answer.since_km,
        "change_mm": _interval_json(answer.change),
        "direction": answer.direction,
        "limits": answer.standing,
        "side": answer.side,
        "do_not_run": answer.do_not_run,
        "words": answer.verdict,
    }


def coefficient_of(engine: Engine) -> Coefficient | None:
    """Gap change per K by kind (mean, sd), from the engine's stack; None without one."""
    found = temperature_coefficient(engine)
    return None if found is None else {kind: (each.value, each.sd) for kind, each in found.items()}


def assess(
    engine: Engine,
    visits: Sequence[VisitRecord],
    coefficient: Coefficient | None = None,
    next_km: float | None = None,
    settings: TrendSettings = DEFAULTS,
    *,
    known: Evidence = NOTHING_KNOWN,
    units: Units = MM_KM,
) -> Answer:
    """Judge an engine from its visits, in the order they happened, by the owner's figures. Raises InputError.

    ``known``: tests done and causes found; sentences speak in ``units``.
    """
    answer = assessment.assess(
        engine,
        visits,
        coefficient,
        settings,
        next_km=next_km,
        results=known.results,
        found=known.found,
        remarks=known.remarks,
        units=units,
    )
    return Answer(engine, answer, first_answers(engine, visits, units), units)


def name_of_test(name: str) -> str:
    """A test's name within a sentence."""
    return table(TEST_WORDS[name]) if name in TEST_WORDS else name.replace("_", " ")


def parse_result(engine: Engine, text: str) -> Result:
    """A test's result as typed: "leak_down@E3=leaks_at_exhaust", "listen@2=none"; several signs with +.

    WHERE is a valve or a cylinder, or both valves of a lobe with +; the whole engine: nothing. Raises InputError.
    """
    head, equals, outcome = text.partition("=")
    name, _, where = head.partition("@")
    if not equals or not outcome:
        raise InputError(
            say("result {text!r}: write it like leak_down@E3=leaks_at_exhaust or listen@2=none", text=text)
        )
    test = test_called(name.strip())
    words = where.replace("+", " ").split()
    valves = [engine.valve(word) for word in words if not word.isdecimal()]
    valves += [v for v in engine.valves if str(v.cylinder) in words]
    signs = tuple(sign.strip() for sign in outcome.split("+"))
    if signs == (NONE,):
        signs = ()
    check_signs(test, signs)
    return Result(test.name, place_of(engine, test, valves), signs)


def assess_log(
    engine_ref: str, log_path: str, next_km: float | None = None, results: Sequence[str] = ()
) -> Answer:
    """Judge an engine from a log file alone, with ``results`` of tests as typed. Raises InputError, FaultyFileError."""
    engine = load_engine(engine_ref).engine
    text = read_text_file(Path(log_path), "log file")
    visits = to_records(parse_log(text, log_path, engine), engine)
    coefficient = coefficient_of(engine)
    known = Evidence(tuple(parse_result(engine, each) for each in results))
    learnt = learnt_from([(engine, visits, coefficient)])
    return assess(engine, visits, coefficient, next_km, learnt, known=known)
