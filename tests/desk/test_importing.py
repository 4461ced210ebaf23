"""A file on its way into the book: what it is, what is open, what may be taken; and out again."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from tests.logbook.sheets.written import as_csv, as_xlsx

from coldlash.bench.blades import STANDARD_SETS
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.importing import FileImport, undo
from coldlash.errors import FaultyFileError, InputError
from coldlash.language import using
from coldlash.logbook.logfile import HEADER

NOW = datetime(2026, 5, 31, 12, tzinfo=UTC)
TODAY = NOW.date()
SHEET = [
    ["Date", "km", "Valve", "Gap mm"],
    ["2019-05-04", "1000", "I3", "0.15"],
    ["2020-05-04", "2000", "E3", "0.10"],
]
LOG = f"{HEADER}\n2019-05-04,1000,18,E3,0.10,0.15,no,,\n"


@pytest.fixture
def desk(tmp_path):
    with Desk.open(str(tmp_path / "book.coldlash"), create=True, now=lambda: NOW) as opened:
        opened.add_engine(load_engine("flat-four"), "Van")
        yield opened


def begun(desk, data: bytes = b"", engine: str = "Van", **more) -> FileImport:
    file = FileImport(data or as_csv(SHEET, ";"), "notebook", TODAY)
    file.begin(desk, engine, **more)
    return file


def test_a_log_file_is_known_by_its_columns_and_needs_only_an_engine(desk):
    file = begun(desk, LOG.encode(), engine="")
    assert (file.told, file.sheets) == (None, ())
    preview = file.look(desk)
    assert [question.key for question in preview.questions] == ["engine"]
    with pytest.raises(
        InputError, match=r"some things must be told first\n  Of which engine are these readings?"
    ):
        file.take(desk)
    file.answer(desk, {"engine": "van"})
    assert file.look(desk).ready
    assert file.take(desk).added == 1
    with pytest.raises(InputError, match="notebook is a log file; it has no sheets"):
        _ = file.sheet


@pytest.mark.parametrize("head", ["\ufeff" + LOG, "sep=,\n" + LOG, LOG.replace(",", ";").upper()])
def test_a_log_file_is_known_however_its_first_line_is_written(head):
    assert FileImport(head.encode(), "f", TODAY).log is not None


def test_a_log_file_in_an_old_encoding_is_read_as_a_sheet(desk):
    file = begun(desk, (LOG.strip() + "größer\n").encode("cp1252"))
    assert file.told is not None
    assert file.look(desk).ready


def test_faults_of_a_log_file_are_shown_and_keep_it_out(desk):
    file = begun(desk, LOG.replace("E3", "E9").encode())
    (fault,) = file.look(desk).faults
    assert "has no valve E9" in fault.message
    with pytest.raises(FaultyFileError, match="has no valve E9"):
        file.take(desk)


def test_what_is_shown_is_what_is_taken(desk):
    file = begun(desk)
    assert not file.look(desk).ready
    file.answer(desk, {"single": "went"})
    preview = file.look(desk)
    assert (preview.ready, preview.rows, preview.added, preview.known) == (True, 2, 2, 0)
    assert [(row.line, row.valve, row.day) for row in preview.first] == [
        (2, "I3", date(2019, 5, 4)), (3, "E3", date(2020, 5, 4)),
    ]  # fmt: skip
    assert desk.book.visits("Van", None) == ()
    done = file.take(desk, by="Ann")
    assert (done.added, done.rows_added) == (2, 2)
    again = file.look(desk)
    assert (again.added, again.known) == (0, 2)
    assert file.take(desk).import_id is None


def test_faults_keep_it_out(desk):
    file = begun(desk, as_csv([*SHEET, ["2021-05-04", "3000", "E9", "0.10"]], ";"))
    file.answer(desk, {"single": "went"})
    assert len(file.look(desk).faults) == 1
    with pytest.raises(FaultyFileError, match="line 4, column 3: Valve: Generic flat-four has no valve E9"):
        file.take(desk)
    assert desk.book.visits("Van", None) == ()


def test_what_the_book_has_otherwise_is_a_fault_in_the_preview(desk):
    file = begun(desk)
    file.answer(desk, {"single": "went"})
    file.take(desk)
    file.answer(desk, {"single": "felt"})
    preview = file.look(desk)
    assert len(preview.faults) == 2
    assert "is in the book with other content" in preview.faults[0].message


def test_no_row_is_shown_while_the_unit_of_a_column_is_open(desk):
    rows = [["Date", "run", "Valve", "Gap mm"], ["2019-05-04", "1000", "I3", "0.10-0.15"]]
    file = begun(desk, as_csv(rows, ";"))
    file.answer(desk, {"column:1:role": "distance"})
    open_ = file.look(desk)
    assert [each.key for each in open_.questions] == ["column:1:unit"]
    assert (open_.first, open_.rows) == ((), 1)
    file.answer(desk, {"column:1:unit": "km"})
    assert [row.distance_m for row in file.look(desk).first] == [1_000_000]


def test_nothing_is_read_while_a_column_is_missing(desk):
    preview = begun(desk, b"foo;bar\n1;2\n").look(desk)
    assert (preview.rows, preview.ready) == (0, False)


def test_the_blades_of_a_felt_gap_are_the_engines_own_then_the_owners_then_common_ones(desk):
    assert begun(desk).told.blades_um == STANDARD_SETS["metric"].blades_um
    inches = [["Date", "km", "Valve", "Gap in"], ["2019-05-04", "1000", "I3", ".006"]]
    assert begun(desk, as_csv(inches, ";")).told.blades_um == STANDARD_SETS["inch"].blades_um
    desk.add_blade_set("mine", "0.10 0.20 0.30", "mm", 1)
    assert begun(desk).told.blades_um == (100, 200, 300)
    visit = desk.start_visit("Van", day=TODAY, distance_km=5.0, blades_um=(50, 70))
    desk.book.close_visit(visit.id)
    file = begun(desk)
    assert file.told.blades_um == (50, 70)
    file.answer(desk, {"blades": "mine"})
    assert file.told.blades_um == (100, 200, 300)


def test_the_first_sheet_with_readings_is_taken_or_the_one_that_is_named(desk):
    data = as_xlsx([["Workshop", "rules"], ["keep", "clean"]], Log2019=SHEET, Log2020=SHEET)
    assert begun(desk, data).told.sheet == "Log2019"
    assert begun(desk, data, sheet="Log2020").sheet.name == "Log2020"
    with pytest.raises(InputError, match="has no sheet 'X'"):
        begun(desk, data, sheet="X")


def test_an_answer_that_is_none_changes_nothing(desk):
    file = begun(desk)
    told = file.told
    for answers, says in (({"engine": "Boat"}, "no engine 'Boat'"), ({"blades": "x"}, "no blade set 'x'")):
        with pytest.raises(InputError, match=says):
            file.answer(desk, {"single": "went", **answers})
    assert file.told == told


def test_notes_say_what_was_taken_for_granted(desk):
    rows = [["Date", "km", "Valve", "Gap mm"], ["2019-05-04", "1000", "I3", "0"], [None, None, "E3", "0.10"]]
    file = begun(desk, as_csv(rows, ";"))
    file.answer(desk, {"single": "went"})
    assert file.look(desk).notes == (
        "A row without a date belongs to the date above it.",
        "1 gap of 0 was read as: no blade went, not even 0.05 mm.",
    )


def test_columns_that_are_not_used_are_said(desk):
    rows = [[*SHEET[0], "Weather", ""], [*SHEET[1], "rain", "x"]]
    assert begun(desk, as_csv(rows, ";")).look(desk).notes == ("These columns are not used: E (Weather), F.",)


def test_a_preview_is_said_in_the_language_of_the_moment(desk):
    file = begun(desk, as_csv([*SHEET, ["2021-05-04", "3000", "E3", "x"]], ";"))
    english = file.look(desk).faults[0].message
    with using("en-XA"):
        other = file.look(desk).faults[0].message
    assert english == "Gap mm: 'x' is not a number here"
    assert "⟦" in other


def test_the_meter_of_the_vehicle_says_when_it_rolls_over_and_undoing_takes_it_back(desk):
    desk.book.add_vehicle("Bus", meter="km", meter_digits=6)
    desk.add_engine(load_engine("flat-four"), "Bus engine", "Bus")
    rows = [["Date", "Odometer km", "Valve", "Gap mm"], ["2019-05-04", "999800", "I3", "0.15"]]
    rows.append(["2020-05-04", "190", "I3", "0.15"])
    file = begun(desk, as_csv(rows, ";"), engine="Bus engine")
    file.answer(desk, {"single": "went"})
    assert "it rolled over past 999999 km" in file.look(desk).faults[0].message
    file.answer(desk, {"explained:3": "rolled over"})
    done = file.take(desk)
    assert desk.book.visits("Bus engine")[-1].distance_m == 1_000_190_000
    assert [reading.turned_over for reading in desk.book.metered("Bus").readings] == [1]
    entry = undo(desk.book, done.import_id, "the other bus")
    assert entry.undone_reason == "the other bus"
    assert desk.book.metered("Bus").readings == ()
    assert undo(desk.book, done.import_id, "again") == entry


def test_a_replaced_meter_is_written_down_and_taken_back(desk):
    desk.book.add_vehicle("Bus", meter="km")
    desk.add_engine(load_engine("flat-four"), "Bus engine", "Bus")
    rows = [["Date", "Odometer km", "Valve", "Gap mm"], ["2019-05-04", "50000", "I3", "0.15"]]
    rows.append(["2020-05-04", "190", "I3", "0.15"])
    file = begun(desk, as_csv(rows, ";"), engine="Bus engine")
    file.answer(desk, {"single": "went", "explained:3": "replaced"})
    done = file.take(desk)
    assert desk.book.visits("Bus engine")[-1].distance_m == 50_190_000
    assert [instrument.how for instrument in desk.book.metered("Bus").instruments] == ["replaced"]
    undo(desk.book, done.import_id, "a trial")
    assert desk.book.metered("Bus").instruments == ()
