"""The guide of a visit is worked out from the book alone: what is asked, what is expected, how far to turn."""

from datetime import UTC, date, datetime

import pytest
from tests.demos import demo_copy

from coldlash.bench.blades import STANDARD_SETS
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.visit import plan_text, planned_stops, read_place
from coldlash.engine.spec import Valve
from coldlash.errors import InputError

E3 = Valve("E", 3)


@pytest.fixture
def desk(tmp_path):
    clock = datetime(2026, 5, 1, 9, tzinfo=UTC)
    with Desk.open(str(tmp_path / "b.coldlash"), create=True, now=lambda: clock) as opened:
        opened.add_engine(load_engine("flat-four"), "Van")
        yield opened


def start(desk, km=1000.0, day=date(2026, 5, 1), **more):
    return desk.start_visit("Van", day=day, distance_km=km, **more)


def fresh(desk, visit):
    return desk.book.visit(visit.id)


def test_what_is_asked_goes_from_found_over_left_to_nothing(desk):
    visit = start(desk)
    assert desk.guide(visit).task(E3).ask == "found"
    desk.say(visit, E3, "found", "0.10/0.15")
    assert desk.guide(fresh(desk, visit)).task(E3).ask is None
    desk.say(fresh(desk, visit), E3, "set", "")
    task = desk.guide(fresh(desk, visit)).task(E3)
    assert (task.ask, task.set.blade_um) == ("left", 150)
    desk.say(fresh(desk, visit), E3, "left", "?")
    assert desk.guide(fresh(desk, visit)).task(E3).done


def test_without_history_nothing_is_expected_and_nothing_questioned(desk):
    visit = start(desk)
    guide = desk.guide(visit)
    assert all(task.expected is None for task in guide.tasks)
    assert all(task.last == "never measured before" for task in guide.tasks)
    assert desk.surprise(guide, E3, desk.say(visit, E3, "found", "none")) is None


def test_every_valve_is_visited_once_in_the_order_of_the_stops(desk):
    guide = desk.guide(start(desk))
    names = [str(task.valve) for task in guide.tasks]
    assert sorted(names) == sorted(str(valve) for valve in guide.engine.valves)
    assert names[:4] == ["I1", "E1", "I2", "E4"]  # common practice: what firing TDC 1 gives on 1-4-3-2
    assert guide.next.valve == Valve("I", 1)


def test_expectations_grow_wider_with_distance(desk):
    for km in (0.0, 5000.0, 10000.0):
        visit = start(desk, km, date(2020 + int(km / 5000), 5, 1), engine_temp_c=18.0)
        for valve in desk.guide(visit).engine.valves:
            desk.say(fresh(desk, visit), valve, "found", "0.15/0.20")
        desk.book.close_visit(visit.id)
    near = desk.guide(start(desk, 10500.0, engine_temp_c=18.0)).task(E3).expected
    far = desk.guide(start(desk, 25000.0, date(2027, 1, 1), engine_temp_c=18.0)).task(E3).expected
    assert far.hi - far.lo > near.hi - near.lo
    assert near.lo < 0.17 < near.hi


def test_the_screw_turn_needs_two_ends_and_a_pitch(desk):
    visit = start(desk)
    guide = desk.guide(visit)
    closed = desk.say(visit, E3, "found", "0.10/0.15")
    assert guide.screw(closed, E3).turn_deg == pytest.approx(9)  # exact: 0.025 mm at pitch 1.0
    open_end = desk.say(fresh(desk, visit), Valve("I", 1), "found", "none")
    assert guide.screw(open_end, Valve("I", 1)) is None


def test_the_same_opening_from_a_device_opens_once_even_when_the_meter_has_moved_on(desk):
    ident = "6f0c7c52-0f6e-4b62-9d3b-0d5f8f7f0a11"
    first = start(desk, visit_id=ident, blades_um=(50, 100), at="2026-05-01T08:00:00Z")
    again = start(desk, 2000.0, visit_id=ident)
    assert first.id == again.id
    assert again.distance_m == 1_000_000


def test_a_plan_the_book_cannot_read_is_refused():
    engine = load_engine("flat-four").engine
    assert len(planned_stops(engine, "").plan.stops) == 2
    assert len(planned_stops(engine, plan_text("cylinder", "with", None, 30.0)).plan.stops) == 4
    with pytest.raises(InputError, match="is not a plan of stops"):
        planned_stops(engine, "{oops")


def test_an_empty_place_is_the_beginning():
    assert read_place("") == ("ready", None)


def test_the_owners_blades_come_before_the_standard_ones_and_must_exist(desk):
    desk.add_blade_set("mine", "0.10 0.15 0.20", "mm", 1)
    assert desk.blade_set("mine").blades_um == (100, 150, 200)
    assert desk.blade_set("metric") == STANDARD_SETS["metric"]
    with pytest.raises(InputError, match="no blade set 'wood'; there are mine, metric"):
        desk.blade_set("wood")


def test_which_engine_is_asked_for_when_there_are_several(desk):
    assert desk.only_engine() == "Van"
    desk.add_engine(load_engine("flat-twin"), "Pump")
    with pytest.raises(InputError, match="which engine"):
        desk.only_engine()


def test_two_open_visits_of_one_engine_must_be_told_apart(desk):
    start(desk, 1.0)
    start(desk, 2.0)
    with pytest.raises(InputError, match="several open visits"):
        desk.draft("Van")


def test_what_the_readings_say_makes_a_check_due_sooner(tmp_path):
    path = demo_copy(tmp_path / "d.coldlash", date(2026, 11, 1))
    with Desk.open(str(path)) as opened:
        plain = {row.entry.name: row for row in opened.shed(date(2026, 7, 1))}
        judged = {row.entry.name: row for row in opened.judged_shed(date(2026, 7, 1))}
    van, before = judged["Van engine"], plain["Van engine"]
    assert van.headline.startswith("E3 has tightened")
    assert (van.due.by, van.due.state) == ("verdict", "due")
    # Common practice: slower tightening is checked again within 1,500 km at the most.
    assert van.due.due_km - van.due.last_km <= 1500 < before.due.due_km - before.due.last_km
    assert judged["Pump engine"].due == plain["Pump engine"].due
