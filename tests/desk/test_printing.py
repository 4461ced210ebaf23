"""What the desk gathers for print and calendar, from a book."""

from __future__ import annotations

import errno
from datetime import date, timedelta
from pathlib import Path

import pytest
from tests.desk.shed import E3, NOON, TODAY, VAN, fill, open_desk, past
from tests.engines import flat_four, make_engine

from coldlash.desk.bench import plan_for
from coldlash.desk.engines import load_engine
from coldlash.desk.printing import (
    blank_sheet,
    due_calendar,
    due_entries,
    engine_address,
    file_name,
    filled_sheet,
    labels_of,
    strip_page,
    wanted_marks,
    words_of,
    write_new_bytes,
)
from coldlash.engine.spec import Pulley, Service
from coldlash.errors import InputError
from coldlash.logbook.records import NewReading
from coldlash.paper.sheet import print_sheet
from coldlash.wear.record import GapInterval


@pytest.fixture
def desk(tmp_path):
    with open_desk(tmp_path / "book.coldlash") as desk:
        fill(desk)
        yield desk


def line(sheet, valve):
    return next(each for stop in sheet.stops for each in stop.valves if each.valve == valve)


def test_a_blank_sheet_knows_the_stops_the_last_readings_and_what_is_expected(desk):
    sheet = blank_sheet(desk, VAN, TODAY)
    assert not sheet.filled
    assert sheet.engine.name == VAN
    assert sheet.vehicle == "Delivery van"
    assert [[str(each.valve) for each in stop.valves] for stop in sheet.stops] == [
        ["I1", "E1", "I2", "E4"],
        ["E2", "I3", "E3", "I4"],
    ]  # common practice: flat-four 1-4-3-2, two stops
    e3 = line(sheet, E3)
    assert (e3.last, e3.last_set, e3.last_day) == (GapInterval(0.1, 0.15), 0.15, TODAY - timedelta(days=100))
    assert e3.expected is not None
    assert e3.expected.share == 0.98
    assert e3.found is None
    assert sheet.blades_mm == (0.05, 0.1, 0.15, 0.2, 0.25, 0.3)
    assert print_sheet(sheet).pages == 1


def test_a_blank_sheet_of_an_engine_never_measured_expects_nothing(desk):
    desk.add_engine(load_engine("flat-twin"), "Pump")
    sheet = blank_sheet(desk, "Pump", TODAY)
    assert all(each.expected is None and each.last is None for stop in sheet.stops for each in stop.valves)
    assert sheet.blades_mm == ()


def test_a_sheet_follows_another_plan_of_stops(desk):
    sheet = blank_sheet(desk, VAN, TODAY, plan_for(desk.engine(VAN)[1], "cylinder"))
    assert len(sheet.stops) == 4


def test_an_open_visit_is_printed_with_what_is_known_of_it_so_far(desk):
    visit = desk.start_visit(VAN, day=TODAY, distance_km=20_000.0, engine_temp_c=15.0, by="Tadek")
    desk.say(visit, E3, "found", "0.05/0.10", note="dirty face")
    sheet = blank_sheet(desk, VAN, TODAY)
    assert (sheet.day, sheet.by, sheet.engine_temp_c, sheet.distance_km) == (TODAY, "Tadek", 15.0, 20_000.0)
    assert line(sheet, E3).found == GapInterval(0.05, 0.1)
    assert line(sheet, E3).note == "dirty face"


def test_a_filled_sheet_shows_what_stands_what_came_before_it_and_what_was_corrected(desk):
    visit = desk.book.visits(VAN)[1]
    standing = visit.reading(E3, "found")
    desk.book.amend(
        visit.id,
        NewReading(valve=E3, step="found", go_um=50, nogo_um=100, replaces=standing.id, reason="misread"),
    )
    sheet = filled_sheet(desk, desk.book.visit(visit.id), TODAY)
    assert sheet.filled
    assert sheet.note == "New gaskets."
    assert sheet.meter == "8\u202f000.0 km"
    e3 = line(sheet, E3)
    assert (e3.found, e3.set_to) == (GapInterval(0.05, 0.1), 0.15)
    assert e3.last_day == desk.book.visits(VAN)[0].day
    assert sheet.changes == (
        "E3 found was 0.10 mm goes, 0.15 mm does not, is 0.05 mm goes, 0.10 mm does not (misread).",
    )


def test_a_field_changed_later_is_said_on_the_filled_sheet(desk):
    visit = desk.book.visits(VAN)[0]
    desk.change_visit(visit, by="Mirela", reason="it was she")
    sheet = filled_sheet(desk, desk.book.visit(visit.id), TODAY)
    assert sheet.changes == ("whose hands was Oona, is Mirela (it was she).",)


def test_labels_name_the_next_check_and_the_page_of_each_engine(desk):
    (label,) = labels_of(desk, [], TODAY, "https://shed.local:8765/")
    entry = desk.book.engine(VAN)
    assert (label.engine, label.vehicle, label.last_km) == (VAN, "Delivery van", 16_000.0)
    assert label.address == f"https://shed.local:8765/engines/{entry.id}"
    row = desk.judged_due(VAN, TODAY)
    assert (label.due_km, label.last_day) == (row.due_km, row.last_day)
    assert label.due_day in (row.projected, row.due_day)
    assert labels_of(desk, [VAN], TODAY)[0].address == ""


def test_the_calendar_says_the_same_as_the_shed_and_leaves_out_what_has_no_day(desk):
    desk.add_engine(load_engine("flat-twin"), "Pump")
    (entry,), without = due_entries(desk, TODAY, "https://shed.local")
    row = next(row for row in desk.judged_shed(TODAY) if row.entry.name == VAN).due
    assert entry.day == min(day for day in (row.projected, row.due_day) if day is not None)
    assert entry.forecast == (entry.day == row.projected)
    assert entry.engine_id == desk.book.engine(VAN).id
    assert entry.vehicle == "Delivery van"
    assert without == ("Pump",)


def test_a_new_visit_moves_the_entry_and_raises_its_revision_and_nothing_else_does(desk):
    before = due_entries(desk, TODAY)[0][0]
    assert due_entries(desk, TODAY + timedelta(days=9))[0][0] == before
    assert due_calendar(desk, TODAY)[0] == due_calendar(desk, TODAY + timedelta(days=9))[0]
    engine = desk.engine(VAN)[1]
    desk.book.add_past_visits(VAN, (past(engine, TODAY, 20_500.0),))
    after = due_entries(desk, TODAY)[0][0]
    assert after.engine_id == before.engine_id
    assert after.revision > before.revision
    assert after.changed >= before.changed
    assert after.day > before.day


def test_a_correction_raises_the_revision_too(desk):
    before = due_entries(desk, TODAY)[0][0]
    visit = desk.book.visits(VAN)[-1]
    desk.change_visit(visit, distance_km=16_100.0, reason="mistyped")
    after = due_entries(desk, TODAY)[0][0]
    assert after.revision == before.revision + 1
    assert after.changed == NOON


def test_words_count_hours_and_inches_as_the_owner_does(desk):
    pump = make_engine((1,), service=Service(meter="h", km_per_h=40.0))
    assert words_of(desk, pump).distance(4000.0) == "100\u00a0h"
    assert words_of(desk).gap_unit == "mm"


def test_marks_are_typed_as_words_or_angles_with_a_name():
    engine = flat_four(marks=(0.0, 7.5))
    typed = wanted_marks(
        ["tdc", "half=other", "350", "10btdc=static timing", "5 ATDC", "firing", "file"], engine
    )
    assert [(m.crank_deg, m.name) for m in typed] == [
        (0.0, ""), (180.0, "other"), (350.0, ""), (-10.0, "static timing"), (5.0, ""),
        (0.0, ""), (180.0, ""), (0.0, ""), (7.5, ""),
    ]  # fmt: skip
    assert [m.crank_deg for m in wanted_marks([], None)] == [0.0, 180.0]
    assert {m.crank_deg for m in wanted_marks([], engine)} == {0.0, 180.0, 7.5}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("firing", "mark 'firing': which engine\\? Give its file, or the angle itself"),
        ("file", "mark 'file': which engine"),
        ("top", "mark 'top' is not known; write tdc, half, firing, file"),
        ("1.2.3", "mark '1.2.3': '1.2.3' is not a number"),
        ("720", "mark '720': give degrees from 0 to below 720"),
    ],
)
def test_marks_that_say_nothing_are_refused(text, message):
    with pytest.raises(InputError, match=message):
        wanted_marks([text], None)


def test_a_strip_takes_size_and_direction_from_the_engine_or_from_what_is_given():
    page = strip_page(flat_four(diameter_mm=180.0, turns="counterclockwise"), TODAY)
    assert (page.strip.diameter_mm, page.strip.turns, page.name) == (180.0, "counterclockwise", "Test engine")
    given = strip_page(None, TODAY, turns="clockwise", circumference_mm=500.0)
    assert given.strip.length_mm == pytest.approx(500.0 + 0.1 * 3.14159265)
    assert strip_page(flat_four(), TODAY, diameter_mm=99.0).strip.diameter_mm == 99.0


def test_a_strip_without_size_or_direction_is_refused():
    with pytest.raises(InputError, match="strip: which way does the pulley turn, seen facing it"):
        strip_page(None, TODAY, diameter_mm=175.0)
    bare = make_engine((1,), pulley=Pulley())
    with pytest.raises(
        InputError, match="its file states no pulley diameter; give --diameter or --circumference"
    ):
        strip_page(bare, TODAY)


@pytest.mark.parametrize("base", ["shed.local", "ftp://shed.local", "https://", "https://a b"])
def test_an_address_that_is_none_is_refused(base):
    with pytest.raises(InputError, match=r"is not one; write it like https://shed\.local:8765"):
        engine_address(base, "x")


def test_file_names_are_plain():
    assert file_name("strip", "Delivery van's engine / 2", ".pdf") == "strip-delivery-van-s-engine-2.pdf"
    assert file_name("label", "消防車", ".pdf") == "label-消防車.pdf"
    assert file_name("report", "///", ".pdf") == "report.pdf"
    assert len(file_name("x", "n" * 500, ".pdf")) < 80


def test_a_file_that_is_there_stays_and_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    path = tmp_path / "a.pdf"
    write_new_bytes(path, b"one")
    with pytest.raises(
        InputError, match="is there already and stays as it is; choose another name with --to"
    ):
        write_new_bytes(path, b"two")
    assert path.read_bytes() == b"one"
    with pytest.raises(InputError, match="can't be written"):
        write_new_bytes(tmp_path / "no" / "a.pdf", b"x")
    real = Path.open

    class Full:
        def __init__(self, stream):
            self.stream = stream

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self.stream.close()

        def write(self, _):
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "open", lambda self, mode: Full(real(self, mode)))
    with pytest.raises(InputError, match="the disk is full; nothing was written; make room and try again"):
        write_new_bytes(tmp_path / "b.pdf", b"x")
    assert not (tmp_path / "b.pdf").exists()


def test_today_is_the_day_it_is_given_and_no_clock_is_asked(desk):
    assert blank_sheet(desk, VAN, date(2030, 1, 1)).printed_on == date(2030, 1, 1)
