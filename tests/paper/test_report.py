"""What the report says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import inf

import pytest
from tests.engines import flat_four, v8
from tests.paper import cases

from coldlash.engine.spec import Service, Valve
from coldlash.errors import InputError
from coldlash.paper.report import print_report, report_data
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord


def cell(record):
    """The table cell of I1 in a report of one visit."""
    visit = VisitRecord(date(2026, 5, 31), 1000.0, {} if record is None else {Valve("I", 1): record})
    report = cases.report(flat_four(), 1)
    report = replace(report, visits=(replace(report.visits[0], record=visit),), charts=())
    return report_data(report)[0]["history"]["tables"][0]["rows"][0][4]


@pytest.mark.parametrize(
    ("record", "text"),
    [
        (None, "–"),
        (ValveRecord(), "–"),
        (ValveRecord(GapInterval(0.10, 0.13)), "0.10–0.13"),
        (ValveRecord(GapInterval(-inf, 0.05), True, 0.15), "under 0.05\n→\u00a00.15"),
        (
            ValveRecord(GapInterval(0.1, 0.1), True, 0.15, GapInterval(0.15, 0.18), True),
            "drag 0.10\n↺\n→\u00a00.15\n0.15–0.18",
        ),
    ],
)  # fmt: skip
def test_a_visit_shows_what_was_found_set_and_left(record, text):
    assert cell(record) == text


def test_sixteen_valves_are_split_into_two_tables_of_eight():
    data, pictures = report_data(cases.report(v8(), 2))
    assert [len(t["head"]) - 4 for t in data["history"]["tables"]] == [8, 8]
    assert len(pictures) == 17


def test_notes_and_corrections_stand_under_their_visit():
    data, _ = report_data(cases.report(flat_four(), 3, note="loose stand"))
    groups = {g["head"]: g["lines"] for g in data["notes"]["groups"]}
    assert groups["1: 1 Mar 1990"] == ["loose stand", "E1 found: loose stand"]
    assert groups["2: 1 May 1990"][0].startswith("Corrected: E1 found was 0.10 goes")
    assert "3: 1 Jul 1990" not in groups


def test_a_report_of_nothing_says_nothing_is_known_instead_of_leaving_it_blank():
    data, pictures = report_data(cases.bare_report(flat_four()))
    assert data["due"]["lines"] == ["Nothing is known of it yet."]
    assert data["verdict"]["nothing"] == "There is no visit to judge yet."
    assert data["history"]["nothing"] == "No visit is written down yet."
    assert data["parts"]["nothing"] == "No part is written down as fitted."
    assert data["tests"]["nothing"] == "No other test is written down."
    assert list(pictures) == ["plan.svg"]


def test_how_often_it_is_checked_is_said_as_its_file_states_it():
    def facts(**service):
        report = cases.bare_report(replace(flat_four(), service=Service(**service)))
        return dict(report_data(report)[0]["facts"])["check every"]

    assert facts() == "not stated in its file"
    assert facts(every_km=5000, every_months=12) == "5\u202f000\u00a0km or 12 months"
    assert facts(every_months=6) == "6 months"


def test_a_limit_that_is_not_known_is_said_to_be_unknown():
    data, _ = report_data(cases.bare_report(cases.engines()["v8"]))
    assert dict(data["facts"])["intake gap, cold"] == "0.30 mm (limits not known to 0.50)"


def test_progress_is_told_chart_by_chart_up_to_the_end():
    seen = []
    print_report(cases.report(flat_four(), 2), progress=lambda done, of, what: seen.append((done, of, what)))
    assert seen[0] == (0, 10, "chart of I1")
    assert seen[-2:] == [(9, 10, "typesetting"), (10, 10, "done")]
    assert [done for done, _, _ in seen] == sorted(done for done, _, _ in seen)


def test_checksums_that_do_not_belong_to_the_visits_are_refused():
    report = cases.report(flat_four(), 2)
    with pytest.raises(InputError, match="report: 2 checksums for 2 visits; there is one for the engine"):
        report_data(replace(report, sums=report.sums[:2]))
