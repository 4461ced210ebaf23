"""What the owner is told to do: the lines of the trade (job-and-trade: common practice), on books written by hand."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.engines import flat_four
from tests.wear.attributions import attribution, cause
from tests.wear.books_with import around, book

from coldlash.engine.spec import Engine, GapSpec, Valve
from coldlash.wear.assessment import Assessment, assess
from coldlash.wear.causes import Attribution
from coldlash.wear.change import detect
from coldlash.wear.first import first_answers
from coldlash.wear.forecast import all_risks
from coldlash.wear.next_test import Result
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.simulate import FINE, Event, Plan, simulate
from coldlash.wear.trend import fit
from coldlash.wear.verdict import GRADES, Facts, engine_findings, sudden_tightening

ENGINE = flat_four()
E3 = Valve("E", 3)
GOOD = 0.154
BUILDER = "Do not run the engine; have a qualified engine builder look at it."


def _assess(e3: list[float], engine: Engine = ENGINE, **more: float) -> Assessment:
    return assess(engine, book(engine, {"E3": e3}, **more))  # type: ignore[arg-type]


def test_slow_tightening_is_leak_down_now_and_a_check_within_1500_km() -> None:
    said = _assess([GOOD] * 6 + [0.079] * 3, every_km=4000.0)
    sentence = said.of(E3).verdict
    assert re.fullmatch(
        r"E3 has tightened 0\.0\d+ mm per 1,000 km since (November|December) ?\d*; its seat or the valve itself, which "
        r"gaps can't tell apart\. Leak-down now; check again within [\d,]+ km; if no blade goes then, don't run it\.",
        sentence,
    )
    assert said.of(E3).finding.grade == "check now"
    assert said.findings[0] == said.of(E3).finding
    assert 0 < said.recheck_km <= 1500
    assert not said.do_not_run


@pytest.mark.parametrize(
    ("result", "said", "again"),
    [
        (
            Result("leak_down", (E3,), ("leaks_at_exhaust",)),
            "Leak-down of cylinder 3: air at the exhaust. Have the valve and its seat looked at; check again within",
            False,
        ),
        (
            Result("leak_down", (E3,), ("leaks_at_intake",)),
            "Leak-down of cylinder 3: air at the intake; check again within",
            False,
        ),
        (
            Result("leak_down", (E3,)),
            "Leak-down of cylinder 3: no more air escapes than should; check again",
            False,
        ),
        (Result("leak_down", (Valve("E", 1),)), "Leak-down now; check again within", True),
        (Result("leak_down", (E3,), weighs=False), "Leak-down now; check again within", True),
        (Result("compression", (E3,)), "Leak-down now; check again within", True),
    ],
)
def test_a_leak_down_that_was_done_and_still_speaks_is_not_asked_for_again(result, said, again) -> None:
    records = book(ENGINE, {"E3": [GOOD] * 6 + [0.079] * 3}, every_km=4000.0)
    sentence = assess(ENGINE, records, results=[result]).of(E3).verdict
    assert said in sentence
    assert ("Leak-down now" in sentence) == again
    assert sentence.endswith("if no blade goes then, don't run it.")


def test_the_sign_is_explained_where_a_cause_is_named() -> None:
    said = _assess([GOOD] * 6 + [0.079] * 3, every_km=4000.0)
    sign = "A valve that sinks or grows longer brings its tip closer, so the gap closes."
    assert sign in said.of(E3).finding.why


def test_the_check_comes_sooner_where_the_risk_says_so() -> None:
    near = replace(ENGINE, gaps={"I": GapSpec(0.15, 0.05, 0.30), "E": GapSpec(0.15, 0.12, 0.30)})
    said = _assess([GOOD] * 6 + [0.079] * 3, near, every_km=4000.0)
    assert said.recheck_km < 1000
    assert f"check again within {said.recheck_km:,.0f} km" in said.of(E3).verdict or said.recheck_km == 0


def test_no_blade_again_after_setting_is_do_not_run() -> None:
    said = _assess([GOOD] * 4 + [0.01, 0.01])
    assert said.of(E3).verdict.startswith("E3: no blade goes again, 5,000 km after it was set. " + BUILDER)
    assert said.do_not_run
    assert said.recheck_km == 0


def test_a_tenth_tighter_within_one_interval_is_do_not_run() -> None:
    said = _assess([GOOD] * 5 + [0.035])
    assert BUILDER in said.of(E3).verdict
    assert said.findings[0].grade == "do not run"


def test_just_under_a_tenth_is_not_do_not_run() -> None:
    said = _assess([GOOD] * 5 + [0.095])
    assert not said.do_not_run


def test_a_surprising_stop_asks_for_a_second_look_and_still_stops() -> None:
    sentence = _assess([GOOD] * 8 + [0.035]).of(E3).verdict
    assert BUILDER in sentence
    assert "Measure it once more, cold" in sentence


def test_a_first_time_without_a_blade_is_a_check_soon_and_not_a_farewell() -> None:
    tight = replace(ENGINE, gaps={"I": GapSpec(0.15, 0.05, 0.30), "E": GapSpec(0.15, 0.05, 0.30)})
    said = assess(tight, book(tight, {"E3": [0.08, 0.05, 0.01]}, set_back=False))
    assert "no blade went" in said.of(E3).verdict
    assert "if no blade goes then, don't run it" in said.of(E3).verdict
    assert said.recheck_km <= 1500


@pytest.mark.parametrize(
    ("test", "sign", "words"),
    [
        ("stand_nuts_and_studs", "stud_pulled", "a stud is pulled"),
        ("look_inside", "pushrod_bent", "a pushrod is bent"),
        ("look_inside", "seat_dropped", "a seat has dropped"),
    ],
)
def test_a_pulled_stud_a_bent_pushrod_and_a_dropped_seat_are_do_not_run(
    test: str, sign: str, words: str
) -> None:
    visits = book(ENGINE, {"E3": [GOOD] * 5})
    said = assess(ENGINE, visits, results=[Result(test, (Valve("I", 3), E3), (sign,))])
    assert said.do_not_run
    assert f"E3: {words}. {BUILDER}" == said.of(E3).verdict


def test_a_part_replaced_since_ends_the_stop() -> None:
    visits = book(ENGINE, {"E3": [GOOD] * 4 + [0.01, 0.01]})
    last = visits[-1]
    mended = {**last.valves, E3: replace(last.valves[E3], restart=True)}
    assert not assess(ENGINE, [*visits[:-1], replace(last, valves=mended)]).do_not_run


def test_a_loose_rocker_stand_is_said_once_for_its_cylinder() -> None:
    loading = {v: 2.1 for v in ENGINE.valves if v.cylinder == 3}
    plan = Plan(visits=10, ladder_mm=FINE)
    visits = simulate(ENGINE, np.random.default_rng(5), plan, events=[Event(8, loading, jump=0.07)]).visits
    said = assess(ENGINE, visits)
    first = said.findings[0]
    assert first.valves == (Valve("I", 3), E3)
    assert "rocker stand coming loose" in first.sentence
    assert "which gaps can't tell apart" in first.sentence
    assert "a pulled stud: don't run it" in first.sentence
    assert any("the gaps open" in w or "looser per mm" in w for w in first.why)
    assert sum("rocker stand" in f.sentence for f in said.findings) == 1


def test_one_valve_far_looser_at_once_is_looked_into_before_it_runs() -> None:
    said = _assess([GOOD] * 8 + [0.36])
    assert said.of(E3).finding.grade == "check now"
    assert "don't run it" in said.of(E3).verdict
    assert "pushrod" in said.of(E3).verdict


def test_a_session_that_is_off_asks_to_measure_again_cold() -> None:
    visits = simulate(ENGINE, np.random.default_rng(5), Plan(visits=10, ladder_mm=FINE)).visits
    last = visits[-1]

    def moved(g: GapInterval | None) -> GapInterval | None:
        return g and GapInterval(g.lo + 0.08, g.hi + 0.08)

    off = {v: replace(r, found=moved(r.found)) for v, r in last.valves.items()}
    said = assess(ENGINE, (*visits[:-1], replace(last, valves=off)))
    assert any("Measure again, cold" in f.sentence for f in said.findings)


def test_few_readings_can_not_tell_yet() -> None:
    said = _assess([GOOD, GOOD])
    assert said.of(E3).finding.grade == "cannot tell"
    assert said.of(E3).verdict.endswith("Cannot tell yet, two more visits will.")


def test_a_valve_never_measured_is_said_to_be_unknown() -> None:
    visits = [
        VisitRecord(v.day, v.distance_km, {k: r for k, r in v.valves.items() if k != E3}, 20.0)
        for v in book(ENGINE, {"I1": [GOOD] * 4})
    ]
    said = assess(ENGINE, visits)
    assert "E3 has not been measured yet" in said.of(E3).verdict
    assert "Never measured: E3." in said.reasons


def test_a_valve_left_outside_its_limit_is_to_be_set_before_the_engine_runs() -> None:
    said = assess(ENGINE, book(ENGINE, {"E3": [0.033] * 4}, set_back=False))
    assert "Set it before the engine runs" in said.of(E3).verdict or said.do_not_run


def test_steady_valves_are_said_to_be_steady_with_their_numbers() -> None:
    said = _assess([GOOD] * 8)
    assert all(f.grade == "steady" for f in said.findings)
    assert "is steady" in said.of(E3).verdict
    assert any(w.startswith("Gap as left, at 20 C:") for w in said.of(E3).finding.why)
    assert said.recheck_km == 5000  # common practice: the usual interval


def test_findings_come_most_important_first() -> None:
    grades = [GRADES.index(f.grade) for f in _assess([GOOD] * 6 + [0.079] * 3, every_km=4000.0).findings]
    assert grades == sorted(grades)


def test_nothing_ever_suggests_driving_on_past_a_stop() -> None:
    for e3 in ([GOOD] * 4 + [0.01, 0.01], [GOOD] * 5 + [0.035], [0.13, 0.01]):
        said = _assess(e3)
        if said.do_not_run:
            stopped = [f for f in said.findings if f.grade == "do not run"]
            assert all("check again within" not in f.sentence for f in stopped)
            assert said.recheck_km == 0


def test_without_a_tight_limit_the_risk_is_said_to_be_unknown() -> None:
    engine = replace(ENGINE, gaps={"I": GapSpec(0.15), "E": GapSpec(0.15)})
    said = _assess([GOOD] * 5, engine)
    assert said.of(E3).p_tight_by_next is None
    assert any("no tight limit" in w for w in said.of(E3).finding.why)


def test_how_far_a_gap_moved_at_once_follows_the_readings() -> None:
    p_far, moved = sudden_tightening(fit(ENGINE, book(ENGINE, {"E3": [GOOD] * 5 + [0.02]})), E3)
    p_none, still = sudden_tightening(fit(ENGINE, book(ENGINE, {"E3": [GOOD] * 6})), E3)
    assert p_far > 0.5
    assert moved == pytest.approx(0.02 - GOOD, abs=0.04)
    assert p_none < 1e-3
    assert still == pytest.approx(0.0, abs=0.02)


def test_one_visit_is_no_sudden_move() -> None:
    assert sudden_tightening(fit(ENGINE, book(ENGINE, {"E3": [GOOD]})), E3) == (0.0, 0.0)


def _facts(visits: list[VisitRecord], seen: Attribution) -> Facts:
    trend = fit(ENGINE, visits)
    changes = detect(trend)
    first = {a.valve: a for a in first_answers(ENGINE, visits)}
    risk = all_risks(changes.trend, 5000.0)
    return Facts(ENGINE, trend, changes.trend, changes, seen, first, risk, (0.01, 0.05), 5000.0, 5000.0)


def test_a_move_too_unclear_for_a_verdict_shows_three_candidates() -> None:
    lobe = cause("shared_lobe_wear", ("shared_lobe",), ("E1", "E3"), 0.4)
    wear = cause("valve_train_wear", ("valve_side_wear",), ("E1",), 0.3)
    stand = cause("head_lifting_or_stand_loose", ("stand_loose", "head_lifting"), ("I1", "E1"), 0.2)
    seat = cause("seat_recession_or_stretch", ("seat_recession",), ("I4",), 0.1)
    rows = [(c, c.variants[0], c.probability) for c in (lobe, wear, stand, seat)]
    only = engine_findings(_facts(book(ENGINE, {"E3": [GOOD] * 5}), attribution(0.8, *rows)))
    assert [f.grade for f in only] == ["cannot tell"]
    text = only[0].sentence
    assert text.startswith("Something has moved (80 in 100), but too little or too unclearly to name a part.")
    assert text.count("in 100)") == 4
    assert "I4" not in text


def test_a_cause_below_a_twentieth_of_a_millimetre_gets_no_verdict() -> None:
    small = cause("head_settling", ("head_settling",), ("I1", "E1", "I2", "E2"), 0.95, mm=0.04)
    only = engine_findings(
        _facts(book(ENGINE, {"E3": [GOOD] * 5}), attribution(0.99, (small, "head_settling", 0.95)))
    )
    assert [f.grade for f in only] == ["cannot tell"]


def test_a_worn_lobe_is_to_be_measured() -> None:
    lobe = cause("shared_lobe_wear", ("shared_lobe",), ("E1", "E3"), 0.9)
    only = engine_findings(
        _facts(book(ENGINE, {"E3": [GOOD] * 5}), attribution(0.95, (lobe, "shared_lobe", 0.9)))
    )
    assert "E1 and E3 are about 0.08 mm looser since" in only[0].sentence
    assert only[0].sentence.endswith("Measure the lobe's lift and look at the followers.")


def test_slow_loosening_is_to_be_looked_into() -> None:
    sentence = _assess([GOOD] * 6 + [0.25] * 6).of(E3).verdict
    assert re.match(r"E3 has loosened 0\.0\d+ mm per 1,000 km since", sentence)


def test_a_likely_change_is_a_maybe_and_two_more_visits_will_tell() -> None:
    said = _assess([GOOD] * 4 + [0.104] * 6)
    assert said.of(E3).finding.grade == "cannot tell"
    assert re.fullmatch(
        r"E3 may have begun to tighten \(\d+ in 100\) since .*: cannot tell yet, two more visits will\.",
        said.of(E3).verdict,
    )


def test_a_valve_that_always_tightened_fast_is_a_warning_too() -> None:
    said = _assess([0.085] * 14, every_km=4000.0)
    assert said.of(E3).finding.grade == "check now"
    assert "Leak-down now; check again within" in said.of(E3).verdict
    assert re.search(r"0\.01\d mm per 1,000 km", said.of(E3).verdict)


def test_a_tenth_tighter_is_seen_where_intervals_alone_leave_a_doubt() -> None:
    visits = book(ENGINE, {"E3": [GOOD] * 5 + [0.12, 0.03]})
    unread = {v: replace(r, left=None) for v, r in visits[-2].valves.items()}
    visits[-2] = replace(visits[-2], valves=unread)
    sentence = assess(ENGINE, visits).of(E3).verdict
    assert sentence.startswith("E3: about 0.1")
    assert BUILDER in sentence


def test_blades_say_what_they_say() -> None:
    assert around(0.154) == GapInterval(0.15, 0.16)
    assert around(0.01).one_sided
