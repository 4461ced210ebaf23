"""The answer to "what do the readings say": from a log file or from the book, for pages and terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from coldlash.desk.engines import load_engine, read_text_file
from coldlash.engine.spec import Engine
from coldlash.logbook.exchange import parse_log, to_records
from coldlash.wear.first import FirstAnswer, first_answers, say_gap
from coldlash.wear.record import GapInterval, VisitRecord


@dataclass(frozen=True, slots=True)
class Answer:
    """What is known of every valve after the last visit. Distances km, gaps mm."""

    engine: Engine
    as_of_km: float | None
    valves: tuple[FirstAnswer, ...]
    reasons: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """The contract's object, as far as intervals alone can fill it; nothing that needs the model."""
        return {
            "as_of_km": self.as_of_km,
            "valves": {str(answer.valve): _valve_json(answer) for answer in self.valves},
            "reasons": list(self.reasons),
        }

    def lines(self) -> list[str]:
        """The answer as text: what needs doing first."""
        order = sorted(self.valves, key=_urgency)
        head = f"{self.engine.name}: no visits yet"
        if self.as_of_km is not None:
            head = f"{self.engine.name}: as of {self.as_of_km:,.0f} km"
        return [head, "", *(answer.verdict for answer in order), "", *self.reasons]


def _urgency(answer: FirstAnswer) -> tuple[int, float]:
    standing = {"outside": 1, "perhaps outside": 2, "inside": 3, "not known": 4}[answer.standing]
    sure = 0.0
    if answer.change is not None:
        sure = max(-answer.change.hi, answer.change.lo, 0.0)
    return (0 if answer.do_not_run else standing, -sure)


def _interval_json(gap: GapInterval | None) -> Mapping[str, float] | None:
    return None if gap is None else {"lo": gap.lo, "hi": gap.hi}


def _valve_json(answer: FirstAnswer) -> dict[str, object]:
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
        "verdict": answer.verdict,
    }


def assess(engine: Engine, visits: Sequence[VisitRecord], remarks: Sequence[str] = ()) -> Answer:
    """Judge an engine from its visits, in the order they happened. ``remarks`` come with the reading of them."""
    reasons = list(remarks)
    if not visits:
        reasons.append("There is no visit to judge yet.")
    unknown = sum(1 for visit in visits if visit.engine_temp_c is None)
    if unknown:
        reasons.append(f"The engine's temperature is not known at {unknown} of {len(visits)} visits.")
    backwards = [b for a, b in pairwise(visits) if b.distance_km < a.distance_km]
    for visit in backwards:
        reasons.append(f"The distance goes back at the visit of {visit.day}; that step is counted as 0 km.")
    reasons.append("Blades give intervals, so a change is an interval too; a small one can hide inside it.")
    reasons.append("The maker's manual and local rules come first.")
    as_of = visits[-1].distance_km if visits else None
    return Answer(engine, as_of, first_answers(engine, visits), tuple(reasons))


def assess_log(engine_ref: str, log_path: str) -> Answer:
    """Judge an engine from a log file alone. Raises InputError, FaultyFileError."""
    engine = load_engine(engine_ref).engine
    text = read_text_file(Path(log_path), "log file")
    return assess(engine, to_records(parse_log(text, log_path, engine), engine))
