"""The report gathered from a book, and its checksums."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from tests.desk.shed import E3, TODAY, VAN, fill, open_desk, past

from coldlash.desk.engines import load_engine
from coldlash.desk.reporting import check_sum, report_of, sums_of
from coldlash.desk.tests_done import add_test
from coldlash.desk.work import add_work
from coldlash.errors import InputError
from coldlash.paper.report import print_report


@pytest.fixture
def desk(tmp_path):
    with open_desk(tmp_path / "book.coldlash") as desk:
        fill(desk)
        yield desk


def test_work_is_listed_with_whose_gaps_start_afresh_and_tests_done_are_no_longer_unknown(desk):
    entry, engine = desk.engine(VAN)
    none = "Compression and leak-down: this book holds none."
    assert none in report_of(desk, VAN, TODAY).unknown
    add_work(desk.book, entry, engine, "seat", "ground", day=date(2026, 3, 1), valves=(E3,))
    add_test(desk.book, entry, engine, "leak_down", ["none"], day=date(2026, 3, 2), cylinders=(3,))
    report = report_of(desk, VAN, TODAY)
    (part,) = report.parts
    assert (part.day, part.what) == (date(2026, 3, 1), "seat ground, E3")
    assert "Starts afresh from the next visit: E3" in part.result
    assert none not in report.unknown
    assert "Compression: this book holds none." in report.unknown


def test_a_report_holds_every_visit_a_chart_a_valve_and_what_is_due(desk):
    report = report_of(desk, VAN, TODAY)
    assert len(report.visits) == 4
    assert [str(chart.valve) for chart in report.charts] == [str(v) for v in report.engine.valves]
    assert all(chart.smoothed and chart.forecast and chart.ahead for chart in report.charts)
    # The readings ask for a check before the interval of 5,000 km from 16,000 km is over: as on the shed's page.
    when = desk.judged_due(VAN, TODAY)
    assert when.due_km is not None
    assert 16_000 < when.due_km < 21_000
    distance = f"{when.due_km:,.0f}".replace(",", "\u202f")
    assert report.due[0].startswith(f"At {distance}\u00a0km, about ")
    assert report.due[1].endswith("at the latest.")
    assert len(report.sums) == 5
    assert print_report(report).pages >= 4


def test_a_chart_starts_a_new_run_wherever_the_gap_was_set(desk):
    report = report_of(desk, VAN, TODAY)
    runs = {str(chart.valve): len(chart.smoothed) for chart in report.charts}
    assert runs["E3"] == 5  # set at each of four visits
    assert runs["I1"] == 1


def test_with_few_visits_the_charts_show_readings_only(tmp_path):
    with open_desk(tmp_path / "small.coldlash") as desk:
        fill(desk, visits=2)
        assert all(not chart.smoothed for chart in report_of(desk, VAN, TODAY).charts)


def test_an_engine_without_visits_gets_a_report_that_says_so(desk):
    desk.add_engine(load_engine("v8"), "Crane")
    report = report_of(desk, "Crane", TODAY)
    assert report.findings == report.charts == report.done == ()
    assert report.due == ("Never checked: measure once to begin.",)
    assert "What the gaps are: nothing has been measured." in report.unknown
    assert print_report(report).pages == 2


def test_what_is_not_known_is_said(desk):
    engine = desk.engine(VAN)[1]
    late = TODAY - timedelta(days=5)
    desk.book.add_past_visits(VAN, (past(engine, late - timedelta(days=2000), 900.0, skip=("E3",)),))
    unknown = report_of(desk, VAN, TODAY).unknown
    assert "What happened before 900\u00a0km, where this book begins." in unknown
    assert any(text.startswith("Anything between ") for text in unknown)
    assert "Compression and leak-down: this book holds none." in unknown


def test_valves_that_are_steady_are_named_together_and_the_verdict_brings_its_reasons(desk):
    report = report_of(desk, VAN, TODAY)
    together = [f for f in report.findings if len(f.valves) > 1]
    assert len(together) == 1
    assert together[0].text.startswith("Steady: nothing in the readings asks for more.")
    answer = desk.answer(VAN)
    assert report.reasons == answer.assessment.reasons
    assert report.next_tests == answer.next_tests()
    assert any(
        "Check again within" in finding.text or "before it runs" in finding.text
        for finding in report.findings
    )
    for finding, judged in zip(report.findings, answer.urgent, strict=False):
        assert finding.text.startswith(judged.sentence)
        assert all(why in finding.text for why in judged.why)


def test_notes_and_corrections_are_in_the_report(desk):
    visit = desk.book.visits(VAN)[1]
    desk.say(visit, E3, "found", "0.05/0.10", note="seen again", reason="misread", correct=True)
    report = report_of(desk, VAN, TODAY)
    assert report.visits[1].note == "New gaskets."
    assert report.visits[1].notes == ("E3 found: seen again",)
    assert report.visits[1].changes[0].startswith("E3 found was 0.10 mm goes")


def test_a_printed_checksum_is_found_again_after_the_book_has_gone_on(desk):
    printed = report_of(desk, VAN, TODAY).sums[-1]
    assert check_sum(desk, VAN, printed) == (4, 4)
    desk.book.add_past_visits(VAN, (past(desk.engine(VAN)[1], TODAY, 20_000.0),))
    assert check_sum(desk, VAN, printed[:16]) == (4, 5)


def test_a_correction_changes_the_checksum_from_its_visit_on(desk):
    before = sums_of(desk, VAN)
    visit = desk.book.visits(VAN)[2]
    desk.say(visit, E3, "found", "0.05/0.10", reason="misread", correct=True)
    after = sums_of(desk, VAN)
    assert [a == b for a, b in zip(before, after, strict=True)] == [True, True, True, False, False]
    assert check_sum(desk, VAN, before[-1]) == (None, 4)


def test_a_new_version_of_the_engine_file_leaves_the_old_checksums(desk):
    before = sums_of(desk, VAN)
    text = load_engine("flat-four").text
    desk.book.new_engine_file(VAN, text + "\n# measured again\n")
    assert sums_of(desk, VAN) == before
    desk.book.add_past_visits(VAN, (past(desk.engine(VAN)[1], TODAY, 20_000.0),))
    assert sums_of(desk, VAN)[:-1] == before


def test_another_engines_checksum_is_not_found_and_nonsense_is_refused(desk):
    desk.add_engine(load_engine("flat-twin"), "Pump")
    assert check_sum(desk, VAN, sums_of(desk, "Pump")[0]) == (None, 4)
    with pytest.raises(InputError, match="copy it as printed"):
        check_sum(desk, VAN, "nonsense")


def test_the_same_book_gives_the_same_bytes(desk):
    assert print_report(report_of(desk, VAN, TODAY)).pdf == print_report(report_of(desk, VAN, TODAY)).pdf
