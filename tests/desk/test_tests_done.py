"""Tests done and causes found, from the desk: what is written, what still counts, what it does to the answer."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.reporting import report_of
from coldlash.desk.tests_done import (
    add_cause,
    add_test,
    causes_of,
    causes_on,
    correct_cause,
    correct_test,
    data_asked,
    evidence,
    kind_called,
    kinds,
    places_of_test,
    take_back_cause,
    take_back_test,
    typed_place,
)
from coldlash.desk.work import add_work, parts_asked
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import using
from coldlash.logbook.lasting import EngineTest
from coldlash.logbook.records import NewReading, NewVisit, PastVisit

VAN = "Van engine"
E3, I3 = Valve("E", 3), Valve("I", 3)
LAST = date(2025, 5, 1)


class Clock:
    """Stands still until it is told to go on."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 1, 9, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now = self.now.replace(microsecond=self.now.microsecond + 1000)
        return self.now


def visits(engine, years, tight=()):
    """Yearly visits; in the years of ``tight`` E3 is found tighter."""
    return [
        PastVisit(
            visit=NewVisit(day=date(year, 5, 1), distance_m=(year - 2010) * 4_000_000, engine_temp_mc=20_000),
            readings=tuple(
                NewReading(
                    valve=v,
                    step="found",
                    go_um=80 if v == E3 and year in tight else 150,
                    nogo_um=90 if v == E3 and year in tight else 160,
                )
                for v in engine.valves
            ),
        )
        for year in years
    ]


@pytest.fixture
def desk(tmp_path):
    with Desk.open(str(tmp_path / "b.coldlash"), create=True, now=Clock()) as opened:
        loaded = load_engine("flat-four")
        opened.add_engine(loaded, VAN)
        opened.book.add_past_visits(VAN, visits(loaded.engine, range(2021, 2026), (2025,)))
        yield opened


def write_test(desk, kind, at="", outcomes=("none",), day=LAST, **more):
    entry, engine = desk.engine(VAN)
    valves, cylinders = parts_asked(at, engine)
    return add_test(
        desk.book, entry, engine, kind, outcomes, day=day, valves=valves, cylinders=cylinders, **more
    )


def found(desk, cause, at="", direction=None, day=LAST, **more):
    entry, engine = desk.engine(VAN)
    valves, cylinders = parts_asked(at, engine)
    return add_cause(
        desk.book, entry, engine, cause, direction, day=day, valves=valves, cylinders=cylinders, **more
    )


def worked(desk, part, kind, at, day):
    entry, engine = desk.engine(VAN)
    valves, cylinders = parts_asked(at, engine)
    return add_work(desk.book, entry, engine, part, kind, valves=valves, cylinders=cylinders, day=day)


def chance(desk, cause="seat_recession_or_stretch", where=(E3,)):
    seen = desk.answer(VAN).assessment.attribution
    return sum(seen.probability_of(c) for c in seen.causes if (c.cause, c.where) == (cause, where))


def test_a_test_is_kept_at_its_place_whichever_valve_of_it_was_named(desk):
    for at in ("3", "E3", "I3 E3"):
        done = write_test(desk, "leak_down", at, ("leaks_at_exhaust",))
        assert (done.test.cylinders, done.test.valves, done.test.result) == ((3,), (), "leaks_at_exhaust")
        assert done.words == "Leak-down of cylinder 3: air at the exhaust"
    lobe = write_test(desk, "lobe_lift", "E1", ("none",))
    assert lobe.test.valves == (Valve("E", 1), E3)
    assert write_test(desk, "measure_again_cold").test.cylinders == ()


def test_signs_are_kept_in_the_tables_order(desk):
    done = write_test(desk, "stand_nuts_and_studs", "2", ("stud_low", "stand_nut_loose"))
    assert done.test.result == "stand_nut_loose+stud_low"


def test_a_test_at_a_visit_takes_its_day_and_distance(desk):
    last = desk.book.visits(VAN)[-1]
    done = write_test(desk, "listen", "1", day=date(2001, 1, 1), visit_id=last.id)
    assert (done.test.day, done.test.distance_m) == (last.day, last.distance_m)


def test_a_result_changes_the_answer_at_once_and_is_told_in_the_reasons(desk):
    before = chance(desk)
    assert 0.02 < before < 0.98
    assert "leak-down at I3, E3" in desk.answer(VAN).next_tests()
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",))
    assert chance(desk) > before
    answer = desk.answer(VAN)
    assert any(
        r.startswith(
            "Leak-down of cylinder 3 on 2025-05-01: air at the exhaust; that speaks for a receding seat"
        )
        for r in answer.assessment.reasons
    )
    assert "leak-down at I3, E3" not in answer.next_tests()


def test_correcting_and_taking_back_change_the_answer_too(desk):
    before = chance(desk)
    done = write_test(desk, "leak_down", "3", ("leaks_at_exhaust",))
    up = chance(desk)
    _, engine = desk.engine(VAN)
    mended = correct_test(
        desk.book, engine, done.test.id, "wrong cylinder's hose", outcomes=("none",), note="n"
    )
    assert mended.test.replaces == done.test.id
    assert chance(desk) < before < up
    (only,) = desk.tests(VAN)
    assert (only.test.result, only.test.note, only.test.cylinders) == ("none", "n", (3,))
    take_back_test(desk.book, mended.test.id, "never done")
    assert desk.tests(VAN) == ()
    assert chance(desk) == pytest.approx(before)
    assert len(desk.book.tests(VAN, everything=True)) == 3


def test_a_correction_may_move_the_day_the_place_and_the_data(desk):
    last = desk.book.visits(VAN)[-1]
    done = write_test(desk, "listen", "1", visit_id=last.id)
    _, engine = desk.engine(VAN)
    moved = correct_test(
        desk.book,
        engine,
        done.test.id,
        "slip",
        day=date(2025, 6, 1),
        cylinders=(2,),
        data={"ear": "left"},
        by="Oona",
    ).test
    assert (moved.day, moved.visit_id, moved.distance_m) == (date(2025, 6, 1), None, None)
    assert (moved.cylinders, moved.data, moved.by) == ((2,), {"ear": "left"}, "Oona")


def test_a_test_without_a_result_is_kept_and_says_nothing(desk):
    before = chance(desk)
    done = write_test(desk, "leak_down", "3", None)
    assert (done.test.result, done.result) == ("", None)
    assert desk.tests(VAN)[0].words == "Leak-down of cylinder 3: no result yet"
    assert chance(desk) == before


# --- what still counts ------------------------------------------------------------------------------------------


def test_work_that_moved_a_gap_there_ends_a_result_and_the_reasons_say_so(desk):
    before = chance(desk)
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",))
    worked(desk, "seat", "ground", "E3", date(2025, 7, 1))
    (done,) = desk.tests(VAN)
    assert done.ended == "Work on 2025-07-01 moved gaps there."
    assert chance(desk) == pytest.approx(before)
    assert any(
        r
        == "Leak-down of cylinder 3: air at the exhaust; it no longer counts: Work on 2025-07-01 moved gaps there."
        for r in desk.answer(VAN).assessment.reasons
    )


@pytest.mark.parametrize(
    ("part", "at"), [("seat", "E4"), ("spring", "E3")], ids=["another cylinder", "a part that moves no gap"]
)
def test_work_that_moved_no_gap_there_leaves_it(desk, part, at):
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",))
    worked(desk, part, "replaced", at, date(2025, 7, 1))
    assert desk.tests(VAN)[0].ended == ""


def test_on_one_day_what_was_written_later_came_later(desk):
    worked(desk, "seat", "ground", "E3", LAST)
    write_test(desk, "leak_down", "3")
    assert desk.tests(VAN)[0].ended == ""
    worked(desk, "valve", "replaced", "E3", LAST)
    assert "moved gaps there" in desk.tests(VAN)[0].ended


def test_a_newer_test_of_its_kind_at_its_place_takes_over(desk):
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",))
    write_test(desk, "leak_down", "3", day=date(2025, 8, 1))
    write_test(desk, "leak_down", "4", day=date(2025, 9, 1))
    assert [t.ended for t in desk.tests(VAN)] == ["A newer one was done on 2025-08-01.", "", ""]


def test_three_later_visits_that_measured_the_place_end_it(desk):
    write_test(desk, "leak_down", "3", day=date(2022, 5, 1))
    write_test(desk, "leak_down", "4", day=date(2023, 5, 1))
    assert [t.ended for t in desk.tests(VAN)] == ["3 visits have measured the place since.", ""]


def test_measuring_again_is_about_one_session_only(desk):
    write_test(desk, "measure_again_cold", outcomes=("back_as_expected",), day=date(2024, 5, 2))
    assert desk.tests(VAN)[0].ended == "1 visit has measured the place since."


def test_a_test_before_the_first_visit_does_not_count(desk):
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",), day=date(2010, 1, 1))
    assert desk.tests(VAN)[0].ended == "It was done before the first visit."


def test_an_older_test_says_nothing_of_what_the_last_visit_showed_first(desk):
    before = chance(desk)
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",), day=date(2024, 6, 1))
    assert desk.tests(VAN)[0].ended == ""
    assert chance(desk) == pytest.approx(before, abs=0.05)


@pytest.mark.parametrize("years", [range(2026, 2029)])
def test_a_pulled_stud_stops_the_engine_until_it_is_mended(desk, years):
    _, engine = desk.engine(VAN)
    write_test(desk, "stand_nuts_and_studs", "2", ("stud_pulled", "stand_nut_loose"))
    assert desk.answer(VAN).assessment.do_not_run
    desk.book.add_past_visits(VAN, visits(engine, years))
    assert desk.answer(VAN).assessment.do_not_run, "readings do not mend a stud"
    assert "What it showed still stops the engine until it is mended." in desk.tests(VAN)[0].ended
    worked(desk, "rocker", "replaced", "E2", date(2030, 1, 1))
    worked(desk, "stud", "retorqued", "2", date(2030, 1, 2))
    assert desk.answer(VAN).assessment.do_not_run, "neither does a rocker or a wrench"
    worked(desk, "stud", "replaced", "2", date(2030, 1, 3))
    answer = desk.answer(VAN)
    assert not answer.assessment.do_not_run


def test_a_newer_look_that_shows_otherwise_lets_it_run_again(desk):
    write_test(desk, "look_inside", "2", ("pushrod_bent",))
    assert any("a pushrod is bent" in f.sentence for f in desk.answer(VAN).urgent)
    assert "Found by look inside on 2025-05-01." in [w for f in desk.answer(VAN).urgent for w in f.why]
    write_test(desk, "look_inside", "2")
    assert not any("a pushrod is bent" in f.sentence for f in desk.answer(VAN).urgent)


def test_a_test_this_version_does_not_know_is_listed_and_left_out(desk):
    entry, _ = desk.engine(VAN)
    desk.book.add_test(EngineTest(engine_id=entry.id, day=LAST, kind="borescope_look", result="all_fine"))
    (done,) = desk.tests(VAN)
    assert done.words == "borescope look: all fine"
    assert done.ended == "This version does not know that test on this engine."
    assert desk.answer(VAN).assessment.reasons


# --- causes found -----------------------------------------------------------------------------------------------


def test_a_cause_found_is_weighed_in_told_corrected_and_taken_back(desk):
    before = chance(desk)
    done = found(desk, "seat_recession_or_stretch", "E3", amount_mm=0.07, note="pitted", by="Oona")
    assert (done.cause.direction, done.cause.amount_um, done.words) == (
        "tighter",
        70,
        "a receding seat or a stretching valve at E3",
    )
    assert chance(desk) > before
    assert any(
        r.startswith("Found on 2025-05-01 at E3: a receding seat")
        for r in desk.answer(VAN).assessment.reasons
    )
    entry, engine = desk.engine(VAN)
    mended = correct_cause(
        desk.book,
        engine,
        done.cause.id,
        "it was E4",
        valves=(Valve("E", 4),),
        amount_mm=0.05,
        day=date(2025, 6, 1),
    )
    assert (mended.cause.valves, mended.cause.amount_um, mended.cause.note) == (
        (Valve("E", 4),),
        50,
        "pitted",
    )
    take_back_cause(desk.book, mended.cause.id, "it was not that")
    assert causes_on(desk.book, entry, engine) == ()
    assert chance(desk) == pytest.approx(before)


def test_work_at_the_place_of_a_find_is_known_to_have_followed_it(desk):
    entry, engine = desk.engine(VAN)
    worked(desk, "stand", "retorqued", "1", date(2025, 4, 1))
    found(desk, "stand_loose", "1")
    assert not causes_on(desk.book, entry, engine)[0].found.mended
    worked(desk, "stand", "retorqued", "2", date(2025, 6, 1))
    assert not causes_on(desk.book, entry, engine)[0].found.mended
    worked(desk, "stand", "retorqued", "1", LAST)
    assert causes_on(desk.book, entry, engine)[0].found.mended


def test_a_find_at_a_place_the_engine_no_longer_has_is_left_out(desk):
    entry, _ = desk.engine(VAN)
    found(desk, "seat_recession_or_stretch", "E3")
    twin = load_engine("flat-twin").engine
    assert evidence(desk.book, entry, twin, ()).found == ()
    assert len(evidence(desk.book, entry, desk.engine(VAN)[1], desk.records(VAN)).found) == 1


def test_causes_are_those_of_the_linkage_with_their_directions(desk):
    _, engine = desk.engine(VAN)
    ways = causes_of(engine)
    # derived: the linkage table of a pushrod engine
    assert ways["seat_recession_or_stretch"] == {"tighter"}
    assert ways["stand_loose"] == ways["head_lifting"] == ways["head_lifting_or_stand_loose"] == {"looser"}
    assert ways["session_offset"] == {"tighter", "looser"}
    assert "cam_bearing_loose" not in ways
    assert "shared_lobe_wear" not in causes_of(load_engine("single").engine)


# --- units, language, paper -------------------------------------------------------------------------------------


def test_the_answer_speaks_the_owners_units_and_changes_with_them(desk):
    assert any(" mm" in f.sentence for f in desk.answer(VAN).assessment.findings)
    desk.choose_units({"gap_unit": "in", "distance_unit": "mile"})
    answer = desk.answer(VAN)
    assert all(" mm" not in f.sentence and " km" not in f.sentence for f in answer.assessment.findings)
    assert "miles from the last visit" in answer.recheck_words() or answer.assessment.do_not_run
    assert answer.lines()[0] == "Generic flat-four: as of 37,282 miles"  # derived: 60,000 km / 1.609344
    assert all(" in" in c.verdict for c in answer.compared)


def test_an_answer_is_kept_for_each_language(desk):
    english = desk.answer(VAN)
    with using("en-XA"):
        other = desk.answer(VAN)
        assert other.lines()[0].startswith("⟦")
    assert desk.answer(VAN) is english


def test_the_report_lists_tests_and_causes_by_day(desk):
    write_test(desk, "leak_down", "3", ("leaks_at_exhaust",), distance_km=60_010.0)
    worked(desk, "seat", "ground", "E3", date(2025, 7, 1))
    found(desk, "seat_recession_or_stretch", "E3", day=date(2025, 6, 1), amount_mm=0.07)
    found(desk, "session_offset", "", "looser", day=date(2024, 5, 1), amount_mm=0.02)
    found(desk, "stand_loose", "1", day=date(2020, 6, 1))
    found(desk, "head_settling", "1", day=date(2019, 6, 1))
    tests = report_of(desk, VAN, date(2026, 1, 1)).tests
    assert [(t.day.year, t.what, t.result, t.distance_km) for t in tests] == [
        (2019, "Found: a settling head at I1 and E1", "gaps tighter", None),
        (2020, "Found: a loose rocker stand at I1 and E1", "gaps looser", None),
        (2024, "Found: a whole session that is off", "gaps 0.02 mm looser", None),
        (
            2025,
            "Leak-down of cylinder 3",
            "air at the exhaust. No longer counts: Work on 2025-07-01 moved gaps there.",
            60_010.0,
        ),
        (2025, "Found: a receding seat or a stretching valve at E3", "gaps 0.07 mm tighter", None),
    ]


# --- what pages and terminal ask --------------------------------------------------------------------------------


def test_every_kind_says_what_it_can_show():
    assert {kind.name for kind in kinds()} >= {"leak_down", "lobe_lift", "look_inside"}
    leak = kind_called("leak_down")
    assert leak.outcomes[0] == ("leaks_at_exhaust", "air at the exhaust")
    assert leak.outcomes[-1] == ("none", "no more air escapes than should")
    assert kind_called("shake") is None


def test_places_are_offered_as_they_are_typed(desk):
    _, engine = desk.engine(VAN)
    assert places_of_test(engine, "leak_down")[2] == ("3", "cylinder 3")
    assert places_of_test(engine, "lobe_lift")[0] == ("I1 I3", "the lobe of I1 and I3")
    assert places_of_test(engine, "measure_again_cold") == (("", "the engine"),)
    assert typed_place(engine, "leak_down", (I3, E3)) == "3"


def test_links_lead_to_what_is_suggested(desk):
    answer = desk.answer(VAN)
    assert ("leak-down at I3, E3", "leak_down", "3") in answer.test_links()
    assert [words for words, _, _ in answer.test_links()] == list(answer.next_tests())
    suspected = answer.assessment.attribution.p_something >= 0.5
    assert bool(answer.cause_links()) == suspected


def test_data_are_numbers_where_they_can_be():
    assert data_asked(["loss = 12.5", "ear=left"]) == {"loss": 12.5, "ear": "left"}


# --- refused ----------------------------------------------------------------------------------------------------


def test_what_cannot_be_is_refused(desk):
    with pytest.raises(InputError, match="no test called 'shake'; there are leak_down"):
        write_test(desk, "shake", "3")
    with pytest.raises(InputError, match=r"leak_down can't show 'hum'; it can show leaks_at_exhaust, .*none"):
        write_test(desk, "leak_down", "3", ("hum",))
    with pytest.raises(InputError, match="leak_down: none and leaks_at_exhaust can't both be"):
        write_test(desk, "leak_down", "3", ("none", "leaks_at_exhaust"))
    with pytest.raises(InputError, match="leak_down: say what it showed: leaks_at_exhaust"):
        write_test(desk, "leak_down", "3", ())
    with pytest.raises(InputError, match="leak_down at nowhere; name the valves of one place"):
        write_test(desk, "leak_down")
    entry, engine = desk.engine(VAN)
    with pytest.raises(InputError, match="has no cylinder 9; it has 4"):
        add_test(desk.book, entry, engine, "listen", ("none",), day=LAST, cylinders=(9,))
    with pytest.raises(InputError, match="no cause called 'gremlins' on this engine; there are "):
        found(desk, "gremlins")
    with pytest.raises(InputError, match="session_offset: say which way it moved the gaps: looser, tighter"):
        found(desk, "session_offset")
    with pytest.raises(InputError, match="stand_loose does not make gaps tighter on this engine: looser"):
        found(desk, "stand_loose", "1", "tighter")
    with pytest.raises(InputError, match="an amount of 7 mm; give 0 to 5 mm, or leave it out"):
        found(desk, "stand_loose", "1", amount_mm=7.0)
    with pytest.raises(InputError, match=r"data 'loss': write it like loss=12"):
        data_asked(["loss"])


def test_corrections_need_a_reason_and_something_that_stands(desk):
    done = write_test(desk, "listen", "1")
    _, engine = desk.engine(VAN)
    with pytest.raises(InputError, match="say why: a correction needs a reason"):
        correct_test(desk.book, engine, done.test.id, " ")
    with pytest.raises(InputError, match="say why: a correction needs a reason"):
        take_back_test(desk.book, done.test.id, "")
    take_back_test(desk.book, done.test.id, "slip")
    with pytest.raises(InputError, match=r"no test with the id .* stands in this book"):
        correct_test(desk.book, engine, done.test.id, "again")
    with pytest.raises(InputError, match="no cause found with the id x stands in this book"):
        correct_cause(desk.book, engine, "x", "again")


def test_a_visit_that_was_put_aside_takes_no_test(desk):
    visit = desk.start_visit(VAN, day=date(2026, 5, 1), distance_km=70_000)
    desk.book.discard_visit(visit.id)
    with pytest.raises(InputError, match="the visit of 2026-05-01 was put aside; write it down with its day"):
        write_test(desk, "listen", "1", visit_id=visit.id)
