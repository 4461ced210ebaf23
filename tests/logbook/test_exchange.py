"""Between the book, log files and the models."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.logbook.shelf import ENGINE_TOML, FLAT_FOUR, NAME, NOON_TEXT, found, open_book, reading, visit_on

from coldlash.engine.spec import GapSpec, Valve
from coldlash.errors import FaultyFileError, InputError
from coldlash.logbook.exchange import (
    LogRow,
    LogVisit,
    export_log,
    import_log,
    log_of,
    parse_log,
    steps_back,
    to_records,
    write_log,
)
from coldlash.logbook.logfile import HEADER
from coldlash.wear.record import GapInterval, ValveRecord

E1, E3, I1 = Valve("E", 1), Valve("E", 3), Valve("I", 1)


def log(*rows: str, header: str = HEADER) -> str:
    return "\n".join([header, *rows]) + "\n"


def take(book, text: str, source: str = "log.csv"):
    return import_log(book, NAME, FLAT_FOUR, text, source)


FULL_HEADER = HEADER + ",left_go_mm,left_nogo_mm,found_feel,left_feel,by"
FULL = log(
    "2001-02-03,20000,18.5,I1,0.10,0.15,yes,0.15,first,0.15,0.20,drag,drag,Ann",
    "2001-02-03,20000,18.5,E1,0,0.05,yes,,,,,,,Ben",
    '2001-02-03,20000,18.5,E3,,,no,,"seized; 固着",,,,,',
    "2002-02-03,25000,,E3,0.5,,no,,,,,,,Ann",
    header=FULL_HEADER,
)


# --- import and export ---


def test_a_log_comes_in_as_closed_visits_with_every_column(book):
    result = take(book, FULL)
    assert (result.added, result.already_there, result.rows_added, result.rows_known) == (2, 0, 4, 0)
    one, two = book.visits(NAME)
    assert result.visit_ids == (one.id, two.id)
    assert (one.state, one.opened_at, one.engine_temp_mc, one.by) == ("closed", NOON_TEXT, 18_500, None)
    assert (two.by, two.engine_temp_mc) == ("Ann", None)
    assert [log_of(visit) for visit in (one, two)] == list(parse_log(FULL, "log.csv", FLAT_FOUR))
    assert one.reading(I1, "found").feel == "drag"
    assert one.reading(E1, "set").blade_um is None  # the cold gap, as the log says it
    assert one.reading(E3, "found").note == "seized; 固着"


def test_the_same_file_twice_adds_nothing(book):
    take(book, FULL)
    before = book.visits(NAME)
    result = take(book, FULL)
    assert (result.added, result.already_there, result.rows_added, result.rows_known) == (0, 2, 0, 4)
    assert (result.visit_ids, result.notes) == ((), ())
    assert book.visits(NAME) == before


def test_what_is_exported_imports_into_an_empty_book_and_exports_the_same(book, tmp_path):
    take(book, FULL)
    text = export_log(book, NAME)
    with open_book(tmp_path / "other.coldlash", create=True) as other:
        other.add_engine(NAME, ENGINE_TOML)
        take(other, text)
        assert export_log(other, NAME) == text
    assert take(book, text).added == 0


def test_only_closed_visits_are_exported(book):
    book.record(book.open_visit(NAME, visit_on()).id, found())
    assert export_log(book, NAME) == HEADER + "\r\n"


def test_an_import_with_more_visits_adds_those(book):
    take(book, FULL)
    longer = FULL + "2003-02-03,30000,,E3,0.10,0.15,no,,,,,,,\n"
    result = take(book, longer)
    assert (result.added, result.already_there) == (1, 2)
    assert [visit.day.year for visit in book.visits(NAME)] == [2001, 2002, 2003]


def test_a_faulty_log_adds_nothing(book):
    with pytest.raises(FaultyFileError, match="line 6: valve: Generic flat-four has no valve E9"):
        take(book, FULL + "2003-02-03,30000,,E9,0.10,0.15,no,,,,,,,\n")
    assert book.visits(NAME, None) == ()


def test_other_content_on_the_same_day_and_distance_is_a_fault_with_the_differences(book):
    take(book, FULL)
    other = log(
        "2001-02-03,20000,19,I1,0.05,0.10,yes,0.15,first,0.15,0.20,drag,drag,Ann",
        "2001-02-03,20000,19,E1,0,0.05,yes,,,,,,,Ben",
        "2001-02-03,20000,19,I2,0.10,0.15,no,,,,,,,",
        "2003-02-03,30000,,E3,0.10,0.15,no,,,,,,,",
        header=FULL_HEADER,
    )
    with pytest.raises(FaultyFileError) as caught:
        take(book, other)
    label = "the visit of 2001-02-03 at 20000 km is in the book"
    assert [str(fault) for fault in caught.value.faults] == [
        f"line 2: {label} with the engine at 18.5 C, here with the engine at 19 C",
        f"line 2: {label} with other content, I1: in the book found 0.10 mm drags, 0.15 mm does not; "
        "set on 0.15 mm; left 0.15 mm drags, 0.20 mm does not; by Ann; note 'first'; here found 0.05 mm drags, "
        "0.10 mm does not; set on 0.15 mm; left 0.15 mm drags, 0.20 mm does not; by Ann; note 'first'",
        f"line 2: {label} with E3, which is missing here",
        f"line 4: {label} without I2",
    ]
    assert len(book.visits(NAME)) == 2


def test_a_temperature_only_one_side_knows_is_a_difference(book):
    take(book, FULL)
    with pytest.raises(FaultyFileError, match="with no engine temperature, here with the engine at 20 C"):
        take(book, log("2002-02-03,25000,20,E3,0.5,,no,,,,,,,Ann", header=FULL_HEADER))


def test_the_cold_gap_by_its_name_or_by_its_figure_is_the_same(book):
    take(book, FULL)
    named = FULL.replace("E1,0,0.05,yes,,", "E1,0,0.05,yes,0.15,")
    assert named != FULL
    assert take(book, named).already_there == 2


def test_a_visit_that_is_still_open_is_not_imported_over(book):
    book.open_visit(NAME, visit_on("2001-02-03", 20_000))
    with pytest.raises(
        FaultyFileError, match="line 2: the visit of 2001-02-03 at 20000 km is still open in the book"
    ):
        take(book, FULL)


def test_a_visit_that_was_corrected_since_its_import_is_recognised(book):
    (visit_id, _) = take(book, FULL).visit_ids
    first = book.visit(visit_id).reading(I1, "found")
    book.amend(visit_id, found("I1", 50, 100, replaces=first.id, reason="photo says so"))
    book.change_visit(visit_id, {"day": date(2001, 2, 4), "engine_temp_mc": 20_000}, reason="wrong day")
    result = take(book, FULL)
    assert (result.added, result.already_there) == (0, 2)
    assert take(book, export_log(book, NAME)).already_there == 2


def test_a_discarded_visit_can_be_imported_again(book):
    (visit_id, _) = take(book, FULL).visit_ids
    book.discard_visit(visit_id, reason="undo")
    result = take(book, FULL)
    assert (result.added, result.already_there) == (1, 1)
    assert len(book.visits(NAME)) == 2


def test_a_distance_that_falls_against_the_book_is_taken_and_said(book):
    take(book, FULL)
    result = take(book, log("2001-06-01,60000,,E3,0.10,0.15,no,,"))
    assert result.notes == (
        "together with the visits in the book the distance goes backwards: 25000 km on 2002-02-03, "
        "but 60000 km on 2001-06-01; it counts as 0 km",
    )
    visits = book.visits(NAME)
    assert steps_back(visits) == ((visits[1], visits[2]),)
    assert take(book, FULL).notes == ()  # only what this import brought is said


def test_an_unknown_engine_is_said(book):
    with pytest.raises(InputError, match="this book has no engine 'Boat'; it has Delivery van"):
        import_log(book, "Boat", FLAT_FOUR, FULL, "log.csv")
    with pytest.raises(InputError, match="this book has no engine 'Boat'"):
        export_log(book, "Boat")


def test_the_time_of_the_import_can_be_given(book):
    import_log(book, NAME, FLAT_FOUR, FULL, "log.csv", at="2020-01-01T00:00:00Z")
    assert {visit.closed_at for visit in book.visits(NAME)} == {"2020-01-01T00:00:00.000Z"}


def test_a_log_of_a_thousand_visits_goes_in_and_out_and_in_again(book):
    rows = [
        f"{date(2000, 1, 1) + timedelta(days=n)},{n * 100},18.5,{valve},0.10,0.15,yes,0.15,"
        for n in range(1000)
        for valve in FLAT_FOUR.valves
    ]
    result = take(book, log(*rows))
    assert (result.added, result.rows_added) == (1000, 8000)
    text = export_log(book, NAME)
    assert text.count("\n") == 8001
    again = take(book, text)
    assert (again.added, again.already_there, again.rows_known) == (0, 1000, 8000)
    assert len(to_records(book.visits(NAME), FLAT_FOUR)) == 1000


# --- what a log can't say ---


def test_a_guided_visit_exports_what_stands_in_it(book):
    visit = book.open_visit(NAME, visit_on(by="Ann", blades_um=(100, 150)))
    first = book.record(visit.id, found("E3", note="gritty", spin="stiff"))
    book.record(visit.id, found("E3", 50, 100, note="cleaned", replaces=first.id))
    book.record(visit.id, reading("E3", "set", blade_um=150, note="smooth"))
    book.record(visit.id, reading("E3", "left", go_um=150, feel="drag"))
    gone = book.record(visit.id, found("I1"))
    book.withdraw(gone.id)
    book.close_visit(visit.id)
    assert export_log(book, NAME) == (
        f"{HEADER},left_go_mm,left_feel,by\r\n"
        "2024-05-04,84210,,E3,0.05,0.10,yes,0.15,cleaned; smooth,0.15,drag,Ann\r\n"
    )
    assert take(book, export_log(book, NAME)).already_there == 1


# --- records for the models ---


def test_readings_become_intervals_for_the_models():
    rows = {
        LogRow(valve=E3, found_go_um=100, found_nogo_um=150): ValveRecord(found=GapInterval(0.1, 0.15)),
        LogRow(valve=E3, found_go_um=100): ValveRecord(found=GapInterval(0.1, math.inf)),
        LogRow(valve=E3, found_go_um=0, found_nogo_um=50): ValveRecord(found=GapInterval(-math.inf, 0.05)),
        LogRow(valve=E3, found_go_um=100, found_nogo_um=150, found_feel="drag"): ValveRecord(
            found=GapInterval(0.1, 0.1)
        ),
        LogRow(valve=E3, found_go_um=100, found_nogo_um=150, found_feel="free"): ValveRecord(
            found=GapInterval(0.1, 0.15)
        ),
        LogRow(valve=E3): ValveRecord(),
        LogRow(valve=E3, adjusted=True): ValveRecord(adjusted=True, set_to=0.15),
        LogRow(valve=E3, adjusted=True, left_um=200): ValveRecord(adjusted=True, set_to=0.2),
        LogRow(valve=E3, adjusted=True, left_go_um=150, left_nogo_um=200): ValveRecord(
            adjusted=True, set_to=0.15, left=GapInterval(0.15, 0.2)
        ),
        LogRow(valve=E3, adjusted=True, left_go_um=150, left_feel="drag"): ValveRecord(
            adjusted=True, set_to=0.15, left=GapInterval(0.15, 0.15)
        ),
    }
    for row, expected in rows.items():
        visit = LogVisit(day=date(2024, 5, 4), distance_m=84_210_500, engine_temp_mc=18_500, rows=(row,))
        (record,) = to_records([visit], FLAT_FOUR)
        assert record.valves == {E3: expected}
        assert (record.day, record.distance_km, record.engine_temp_c) == (date(2024, 5, 4), 84_210.5, 18.5)
        assert (record.by, record.ladder_mm) == (None, ())


def test_the_book_and_its_log_give_the_models_the_same(book):
    take(book, FULL)
    visits = book.visits(NAME)
    assert to_records(visits, FLAT_FOUR) == to_records(parse_log(FULL, "log.csv", FLAT_FOUR), FLAT_FOUR)


def test_a_visit_of_the_book_knows_its_blades_and_who_measured(book):
    visit = book.open_visit(NAME, visit_on(by="Ann", blades_um=(50, 100, 152)))
    book.record(visit.id, found(by="Ben"))
    (record,) = to_records([book.visit(visit.id)], FLAT_FOUR)
    assert (record.by, record.ladder_mm, record.engine_temp_c) == ("Ann", (0.05, 0.1, 0.152), None)


def test_the_cold_gap_is_that_of_the_file_the_visit_was_made_with(book):
    visit = book.open_visit(NAME, visit_on())
    book.record(visit.id, reading("E3", "set"))
    visit = book.visit(visit.id)
    later = replace(FLAT_FOUR, gaps={"I": GapSpec(0.2), "E": GapSpec(0.25)})
    (now,) = to_records([visit], later)
    (then,) = to_records([visit], later, {visit.engine_file_id: FLAT_FOUR})
    assert (now.valves[E3].set_to, then.valves[E3].set_to) == (0.25, 0.15)


# --- round trips ---


NAMES = st.sampled_from([None, "Ann", "Ольга", "山田 太郎", "نور", "O'Neil"])
NOTES = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\t\n\r"), max_size=20)


@st.composite
def rows(draw: st.DrawFn, valve: Valve) -> LogRow:
    go = draw(st.sampled_from([None, 0, 50, 100, 150]))
    nogo = 200 if go == 0 else draw(st.sampled_from([None, 200])) if go else None
    adjusted = draw(st.booleans())
    return LogRow(
        valve=valve,
        found_go_um=go,
        found_nogo_um=nogo,
        found_feel=draw(st.sampled_from([None, "free", "drag"])) if go else None,
        adjusted=adjusted,
        left_um=draw(st.sampled_from([None, 100, 150])) if adjusted else None,
        left_go_um=draw(st.sampled_from([None, 150])) if adjusted else None,
        by=draw(NAMES),
        note=draw(NOTES),
    )


@st.composite
def visits(draw: st.DrawFn) -> list[LogVisit]:
    days = sorted(draw(st.lists(st.integers(0, 20_000), min_size=1, max_size=4, unique=True)))
    return [
        LogVisit(
            day=date(1950, 1, 1) + timedelta(days=day),
            distance_m=day * 12_345,
            engine_temp_mc=draw(st.none() | st.integers(-20_000, 40_000)),
            rows=tuple(
                draw(rows(valve)) for valve in sorted({I1, E1, draw(st.sampled_from(FLAT_FOUR.valves))})
            ),
        )
        for day in days
    ]


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(visits())
def test_any_log_goes_through_the_book_unchanged(book, log_visits):
    text = write_log(log_visits)
    result = take(book, text)
    assert result.added == len(log_visits)
    assert [log_of(visit) for visit in book.visits(NAME)] == log_visits
    assert export_log(book, NAME) == text
    assert take(book, text).added == 0
    for visit_id in result.visit_ids:
        book.discard_visit(visit_id, reason="next example")
