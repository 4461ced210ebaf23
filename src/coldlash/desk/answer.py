"""The answer to "what do the readings say": from a log file or from the book, for pages and terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from coldlash.desk.engines import load_engine, read_text_file
from coldlash.desk.learning import learnt_from
from coldlash.engine.heat import temperature_coefficient
from coldlash.engine.spec import Engine, Valve
from coldlash.logbook.exchange import parse_log, to_records
from coldlash.wear import assessment
from coldlash.wear.assessment import Assessment
from coldlash.wear.first import FirstAnswer, first_answers, say_gap
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.settings import DEFAULTS, Coefficient, TrendSettings
from coldlash.wear.verdict import Finding

TEST_WORDS = {
    "leak_down": "leak-down",
    "compression": "compression",
    "stand_nuts_and_studs": "rocker stand nuts and studs",
    "lobe_lift": "lobe lift, measured",
    "measure_again_cold": "measure again, cold",
    "listen": "listen",
}
LEAST_BITS = 0.02
"""A further test that tells less than this is not worth naming (judgement)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What is known of an engine after its last visit: the model's answer, and the bare comparison of intervals."""

    engine: Engine
    assessment: Assessment
    compared: tuple[FirstAnswer, ...]

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
            f"{TEST_WORDS.get(test.test, test.test.replace('_', ' '))} at {', '.join(map(str, test.where))}"
            for test in self.assessment.next_tests
            if test.bits >= LEAST_BITS
        )

    def recheck_words(self) -> str:
        """When to look again, in words."""
        if self.assessment.do_not_run:
            return "Look again before it runs."
        until = self.assessment.due
        when = "" if until is None else f", likely about {until.middle}"
        return f"Check again within {self.assessment.recheck_km:,.0f} km from the last visit{when}."

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
                str(each.valve): {**valves[str(each.valve)], "compared": _compared_json(each)}
                for each in self.compared
            }
        return data

    def lines(self) -> list[str]:
        """The answer as text: what needs doing first."""
        if self.as_of_km is None:
            return [f"{self.engine.name}: no visits yet", "", *self.assessment.reasons]
        lines = [f"{self.engine.name}: as of {self.as_of_km:,.0f} km", ""]
        for finding in self.urgent:
            lines.append(finding.sentence)
            lines += [f"  why   {why}" for why in finding.why]
        if self.steady:
            lines += ["", *(finding.sentence for finding in self.steady)]
        lines += ["", self.recheck_words()]
        tests = self.next_tests()
        if tests:
            lines.append("What would tell more: " + "; ".join(tests) + ".")
        return [*lines, "", *self.assessment.reasons]


def _interval_json(gap: GapInterval | None) -> Mapping[str, float] | None:
    return None if gap is None else {"lo": gap.lo, "hi": gap.hi}


def _compared_json(answer: FirstAnswer) -> dict[str, object]:
    before = answer.before
    return {
        "found_mm": _interval_json(answer.found),
        "found_words": None if answer.found is None else say_gap(answer.found),
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
) -> Answer:
    """Judge an engine from its visits, in the order they happened, by the owner's figures. Raises InputError."""
    answer = assessment.assess(engine, visits, coefficient, settings, next_km=next_km)
    return Answer(engine, answer, first_answers(engine, visits))


def assess_log(engine_ref: str, log_path: str, next_km: float | None = None) -> Answer:
    """Judge an engine from a log file alone. Raises InputError, FaultyFileError."""
    engine = load_engine(engine_ref).engine
    text = read_text_file(Path(log_path), "log file")
    visits = to_records(parse_log(text, log_path, engine), engine)
    coefficient = coefficient_of(engine)
    return assess(engine, visits, coefficient, next_km, learnt_from([(engine, visits, coefficient)]))
