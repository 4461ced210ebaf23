"""Sentences in the owner's units; the default ones as they always were."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pytest
from tests.engines import flat_four
from tests.untold import untold
from tests.wear.books_with import book

from coldlash.engine.spec import Valve
from coldlash.language import using
from coldlash.wear.assessment import Assessment, assess
from coldlash.wear.first import first_answers
from coldlash.wear.found import Found
from coldlash.wear.next_test import Result
from coldlash.wear.simulate import FINE, Event, Plan, simulate
from coldlash.wear.wording import MM_KM, Units

ENGINE = flat_four()
INCHES = Units("in", "mile")
HOURS = Units("mm", "h", 50.0)
RATIO = re.compile(r"[\d.]+ mm (looser|tighter) per mm")
"""What a linkage makes of a millimetre is a ratio, not a length."""


def _visits(seed: int):  # type: ignore[no-untyped-def]
    loading = {v: (-1.1 if seed % 2 else 1.1) for v in ENGINE.valves if v.cylinder == 1 + seed % 4}
    events = [Event(7, loading, jump=0.02 * (2 + seed))]
    return simulate(
        ENGINE, np.random.default_rng(seed), Plan(visits=10, ladder_mm=FINE), events=events
    ).visits


def _said(answer: Assessment) -> list[str]:
    return [
        *(s for f in answer.findings for s in (f.sentence, *f.why)),
        *(each.verdict for each in answer.valves),
        *answer.reasons,
    ]


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_no_sentence_mixes_the_owners_units_with_others(seed: int) -> None:
    visits = _visits(seed)
    inches, hours = assess(ENGINE, visits, units=INCHES), assess(ENGINE, visits, units=HOURS)
    for text in _said(inches):
        assert not re.search(r"\d mm\b|\bkm\b", RATIO.sub("", text)), text
    for text in _said(hours):
        assert not re.search(r"\bkm\b|\bmiles\b|\din\b", text), text


@pytest.mark.parametrize("seed", [1, 2])
def test_figures_as_data_stay_what_they_are(seed: int) -> None:
    def figures(answer: Assessment) -> object:
        data = answer.as_json()
        valves = data["valves"]
        assert isinstance(valves, dict)
        return [{k: x for k, x in v.items() if k != "verdict"} for v in valves.values()], data["recheck_km"]

    visits = _visits(seed)
    assert figures(assess(ENGINE, visits, units=INCHES)) == figures(assess(ENGINE, visits))
    assert assess(ENGINE, visits, units=MM_KM).as_json() == assess(ENGINE, visits).as_json()


def test_the_usual_sentences_are_as_they_always_were() -> None:
    # regression: sentences of the version before units
    said = assess(ENGINE, book(ENGINE, {"E3": [0.154, 0.154, 0.154, 0.154, 0.02]}))
    stop, steady = said.findings[:2]
    assert stop.sentence == (
        "E3: by the blades 0.12 mm or more tighter within 5,000 km. Do not run the engine; have a qualified engine "
        "builder look at it. Measure it once more, cold: if the first reading was a slip, this falls away."
    )
    assert stop.why[0] == "Chance that it got 0.10 mm or more tighter within the interval: 77 in 100."
    assert steady.sentence == "I1 is steady: 0.15 mm, tighter by about 0.001 mm per 1,000 km."
    assert steady.why[:3] == (
        "Gap as left, at 20 C: 0.151 mm, nine in ten between 0.129 and 0.173.",
        "Drift: -0.001 mm per 1,000 km, nine in ten between -0.002 and 0.001.",
        "Chance of tighter than 0.05 mm within 5,000 km: under 1 in 100.",
    )


def test_a_comparison_comes_in_inches() -> None:
    visits = book(ENGINE, {"E3": [0.154, 0.154, 0.07]})
    usual, inches = (
        next(a.verdict for a in first_answers(ENGINE, visits, units) if a.valve == Valve("E", 3))
        for units in (MM_KM, INCHES)
    )
    assert usual.startswith(
        "E3 found 0.07 to 0.08 mm; found and left alone 5,000 km before: 0.15 to 0.16 mm; "
    )
    # derived: 0.07, 0.08, 0.15 and 0.16 mm over 25.4, 5000 km over 1.609344
    assert inches.startswith(
        "E3 found .0028 to .0031 in; found and left alone 3,107 miles before: .0059 to .0063 in; "
    )


def test_a_sign_that_stops_the_engine_is_said_of_valves_never_measured() -> None:
    pulled = Result("stand_nuts_and_studs", (Valve("E", 3), Valve("I", 3)), ("stud_pulled",))
    said = assess(ENGINE, [], results=[pulled])
    assert said.do_not_run
    assert said.recheck_km == 0.0
    assert said.of(Valve("E", 3)).verdict == (
        "E3: a stud is pulled. Do not run the engine; have a qualified engine builder look at it."
    )


def test_every_sentence_goes_through_the_language() -> None:
    results = [Result("listen", (Valve("E", 1),)), Result("look_inside", (Valve("E", 2),), ("pushrod_bent",))]
    found = [Found("head_settling", (Valve("E", 1),), "tighter", date(2030, 1, 1))]
    with using("en-XA"):
        for seed in (1, 3):
            said = assess(ENGINE, _visits(seed), results=results, found=found)
            for text in _said(said):
                assert untold(text) == [], text
            assert [w for a in first_answers(ENGINE, _visits(seed)) for w in untold(a.verdict)] == []
