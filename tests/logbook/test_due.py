"""What is due: by distance, by months, after a rebuild, and the day it is likely to come."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldlash.engine.spec import Service
from coldlash.logbook.due import Rebuild, due
from coldlash.wear.record import VisitRecord

SERVICE = Service(every_km=5000, every_months=12, first_km=700)


def visits(*points):
    return [VisitRecord(day, km, {}) for day, km in points]


YEARLY = visits((date(2022, 5, 1), 0.0), (date(2023, 5, 1), 4000.0), (date(2024, 5, 1), 8000.0))


def test_an_engine_never_checked_says_so():
    answer = due(SERVICE, [], date(2026, 1, 1))
    assert (answer.state, answer.by, answer.projected) == ("never checked", "never checked", None)


def test_visits_within_a_month_say_nothing_about_how_fast_it_is_driven():
    within = visits((date(2024, 5, 1), 0.0), (date(2024, 5, 20), 900.0))
    assert due(SERVICE, within, date(2024, 6, 1)).projected is None
    assert due(SERVICE, YEARLY[:1], date(2024, 6, 1)).projected is None


def test_what_comes_first_decides():
    slow = due(SERVICE, YEARLY, date(2024, 6, 1))
    assert slow.by == "months"
    assert slow.due_km == 13000
    assert slow.due_day == date(2024, 5, 1) + timedelta(days=365)
    fast = due(SERVICE, visits((date(2023, 5, 1), 0.0), (date(2024, 5, 1), 20000.0)), date(2024, 6, 1))
    assert fast.by == "distance"
    # Derived: 5,000 km at 20,000 km in 366 days is 91.5 days on average; the median of so skewed a time lies below.
    assert 60 < (fast.projected - date(2024, 5, 1)).days <= 92
    assert fast.soonest < fast.projected < fast.latest


@pytest.mark.parametrize(
    ("today", "state"),
    [(date(2025, 3, 1), "not yet"), (date(2025, 4, 15), "soon"), (date(2025, 5, 1), "due")],
)
def test_states_follow_the_day(today, state):
    assert due(SERVICE, YEARLY, today).state == state


def test_after_a_rebuild_the_early_check_holds():
    answer = due(SERVICE, YEARLY, date(2024, 5, 2), rebuilt=True)
    assert answer.early
    assert answer.due_km == 8700
    assert answer.by == "early check"


def test_work_after_the_last_visit_counts_from_where_it_was_done():
    answer = due(SERVICE, YEARLY, date(2024, 9, 2), rebuilt=Rebuild(date(2024, 9, 1), 9300.0))
    assert (answer.due_km, answer.by, answer.early) == (10_000, "early check", True)


def test_work_whose_distance_nobody_wrote_counts_from_where_the_driving_puts_it():
    work = date(2024, 9, 1)
    answer = due(SERVICE, YEARLY, date(2024, 9, 2), rebuilt=Rebuild(work))
    # Derived: 8,000 km in the 731 days of the visits, so 123 days after the last one it stood at 9,346 km; within 1 km,
    # since the later of the two years (a day longer) counts more.
    assert answer.due_km == pytest.approx(8000 + 8000 / 731 * 123 + 700, abs=1)
    assert answer.projected > work
    # Nothing tells how one visit's engine is driven: from there.
    assert due(SERVICE, YEARLY[:1], work, rebuilt=Rebuild(work)).due_km == 700


@given(st.integers(0, 4000), st.floats(1, 5000))
def test_an_early_check_is_never_due_before_the_work_that_asks_for_it(days, first_km):
    work = date(2024, 5, 1) + timedelta(days=days)
    service = Service(every_km=5000, first_km=first_km)
    answer = due(service, YEARLY, work, rebuilt=Rebuild(work))
    assert answer.projected is None or answer.projected >= work


def test_readings_that_say_to_look_sooner_decide_but_never_put_a_check_off():
    sooner = due(SERVICE, YEARLY, date(2024, 5, 2), recheck_km=1200.0)
    assert (sooner.due_km, sooner.by, sooner.early) == (9200, "verdict", False)
    assert due(SERVICE, YEARLY, date(2024, 5, 2), recheck_km=9000.0).due_km == 13_000
    now = due(SERVICE, YEARLY, date(2024, 5, 2), recheck_km=0.0)
    assert (now.state, now.by) == ("due", "verdict")
    after = due(SERVICE, YEARLY, date(2024, 5, 2), rebuilt=True, recheck_km=300.0)
    assert (after.due_km, after.by) == (8300, "verdict")


def test_a_meter_read_today_counts_more_than_the_rate():
    answer = due(SERVICE, YEARLY, date(2024, 6, 1), distance_now_km=13100.0)
    assert (answer.state, answer.by, answer.distance_is_read) == ("due", "distance", True)


def test_without_intervals_in_the_file_the_usual_ones_hold():
    # Common practice: 5,000 km; and once a year.
    answer = due(Service(), YEARLY, date(2024, 6, 1))
    assert answer.due_km == 13000
    assert answer.due_day is not None


def test_an_engine_that_hardly_runs_has_no_projected_day():
    answer = due(SERVICE, visits((date(2022, 5, 1), 0.0), (date(2024, 5, 1), 1.0)), date(2024, 6, 1))
    assert answer.projected is None
    assert answer.by == "months"


@given(
    st.lists(st.tuples(st.integers(0, 9000), st.floats(0, 300_000)), min_size=1, max_size=12),
    st.integers(0, 12000),
)
def test_any_history_gives_dates_in_order(points, later):
    first = date(2000, 1, 1)
    history = visits(*((first + timedelta(days=days), km) for days, km in sorted(points)))
    answer = due(SERVICE, history, first + timedelta(days=later))
    if answer.projected is not None:
        assert answer.soonest <= answer.projected
        assert answer.latest is None or answer.projected <= answer.latest
