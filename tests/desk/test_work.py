"""Work from the desk: what is written, what it means, what it does to trends, dates and expected ranges."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.work import add_work, parts_asked, take_back_work, work_on
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.records import NewReading, NewVisit, PastVisit

VAN = "Van engine"
E3, I1 = Valve("E", 3), Valve("I", 1)


@pytest.fixture
def desk(tmp_path):
    clock = datetime(2026, 5, 1, 9, tzinfo=UTC)
    with Desk.open(str(tmp_path / "b.coldlash"), create=True, now=lambda: clock) as opened:
        loaded = load_engine("flat-four")
        opened.add_engine(loaded, VAN)
        opened.book.add_past_visits(
            VAN,
            [
                PastVisit(
                    visit=NewVisit(
                        day=date(year, 5, 1), distance_m=(year - 2015) * 4_000_000, engine_temp_mc=18_000
                    ),
                    readings=tuple(
                        NewReading(valve=v, step="found", go_um=100, nogo_um=150)
                        for v in loaded.engine.valves
                    ),
                )
                for year in range(2019, 2026)
            ],
        )
        yield opened


def done(desk, part, kind, at="", **more):
    entry, engine = desk.engine(VAN)
    valves, cylinders = parts_asked(at, engine)
    return add_work(desk.book, entry, engine, part, kind, valves=valves, cylinders=cylinders, **more)


def test_work_at_a_visit_takes_its_day_and_restarts_after_what_was_found(desk):
    last = desk.book.visits(VAN)[-1]
    told = done(desk, "seat", "ground", "E3", day=date(2001, 1, 1), visit_id=last.id)
    assert (told.work.day, told.work.distance_m) == (last.day, last.distance_m)
    assert told.words == "seat ground, E3"
    assert told.means.startswith("Starts afresh from what was left at this visit: E3; a seat that is cut")
    record = desk.records(VAN)[-1].valves
    assert (record[E3].restart, record[E3].restart_before) == (True, False)
    assert not record[I1].afresh


def test_work_between_visits_restarts_before_the_next_found_reading(desk):
    told = done(desk, "camshaft", "replaced", day=date(2024, 9, 1))
    assert "from the next visit: I1, E1, I2, E2, I3, E3, I4, E4" in told.means
    records = desk.records(VAN)
    assert all(r.restart_before for r in records[-1].valves.values())
    assert not any(r.afresh for r in records[-2].valves.values())
    widths = [desk.trend(VAN).drift(E3).sd]
    take_back_work(desk.book, told.work.id, "another engine's")
    widths.append(desk.trend(VAN).drift(E3).sd)
    assert widths[0] > widths[1]


def test_work_that_moves_no_gap_says_so(desk):
    assert done(desk, "spring", "replaced", "E3", day=date(2024, 9, 1)).means == (
        "No gap starts afresh: a spring closes the valve and carries no gap."
    )


def test_after_work_nothing_is_expected_of_the_gaps_it_moved(desk):
    done(desk, "seat", "ground", "E3", day=date(2025, 9, 1))
    visit = desk.start_visit(VAN, day=date(2026, 5, 1), distance_km=44_000)
    guide = desk.guide(visit)
    assert guide.task(E3).expected is None
    assert guide.task(I1).expected is not None


def test_an_early_check_is_due_after_work_that_moved_gaps(desk):
    _, engine = desk.engine(VAN)
    assert engine.service.first_km is not None
    before = desk.due(VAN, date(2025, 6, 1))
    done(desk, "head", "retorqued", "1", day=date(2025, 6, 1), distance_km=40_500.0)
    after = desk.due(VAN, date(2025, 6, 2))
    assert (before.early, after.early) == (False, True)
    assert after.due_km == 40_500 + engine.service.first_km
    (row,) = desk.shed(date(2025, 6, 2))
    assert row.due == after


def test_readings_that_say_to_look_sooner_come_into_the_date(desk):
    assert desk.due(VAN, date(2025, 6, 1), recheck_km=500.0).by == "verdict"


def test_the_shed_needs_no_engine_file_once_it_was_read(desk, monkeypatch):
    first = desk.shed(date(2025, 6, 1))

    def never(*_):
        raise AssertionError("the engine file was read again")

    monkeypatch.setattr("coldlash.desk.due_dates.engine_from_kept", never)
    assert [(row.service, row.due) for row in desk.shed(date(2025, 6, 1))] == [
        (first[0].service, first[0].due)
    ]


def test_work_is_listed_with_what_it_means_also_after_the_engine_file_changed(desk):
    done(desk, "pushrod", "replaced", "E4", day=date(2024, 9, 1), note="bent")
    entry, engine = desk.engine(VAN)
    (kept,) = work_on(desk.book, entry, engine)
    assert [str(v) for v in kept.moved.valves] == ["E4"]
    twin = load_engine("flat-twin").engine
    (gone,) = work_on(desk.book, entry, twin)
    assert gone.moved.valves == ()
    assert "has no valve E4" in gone.moved.why


def test_work_says_what_is_wrong_with_it(desk):
    with pytest.raises(InputError, match="part: 'wheel' is not"):
        done(desk, "wheel", "replaced", day=date(2024, 9, 1))
    with pytest.raises(InputError, match="what was done: 'kicked' is not"):
        done(desk, "seat", "kicked", day=date(2024, 9, 1))
    with pytest.raises(InputError, match="something other: say whose gaps it moved"):
        done(desk, "other", "repaired", day=date(2024, 9, 1))
    with pytest.raises(InputError, match="has no cylinder 9; it has 4"):
        parts_asked("9", desk.engine(VAN)[1])
    with pytest.raises(InputError, match="say why it is taken back"):
        take_back_work(desk.book, "x", " ")
    visit = desk.start_visit(VAN, day=date(2026, 5, 1), distance_km=44_000)
    desk.book.discard_visit(visit.id)
    with pytest.raises(
        InputError, match="the visit of 2026-05-01 was put aside; write the work with its day"
    ):
        done(desk, "seat", "ground", "E3", day=date(2024, 9, 1), visit_id=visit.id)
