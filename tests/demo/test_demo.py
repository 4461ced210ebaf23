"""The demo book: the same seed tells the same story, with the faults it promises."""

from datetime import date

import pytest

from coldlash.demo.fill import make_demo
from coldlash.demo.generate import generate
from coldlash.desk.desk import Desk
from coldlash.desk.running import metering, odometer
from coldlash.engine.reader import engine_notes
from coldlash.engine.spec import Valve
from coldlash.errors import InputError

UNTIL = date(2026, 11, 1)


def test_the_same_seed_tells_the_same_story():
    assert generate(UNTIL) == generate(UNTIL)
    assert generate(UNTIL, 7) != generate(UNTIL, 8)


def test_three_engines_with_fifteen_to_twenty_years():
    engines = {demo.key: demo for demo in generate(UNTIL)}
    assert set(engines) == {"van", "pump", "tender"}
    for demo in engines.values():
        years = (demo.visits[-1].day - demo.visits[0].day).days / 365.25
        assert 13 < years < 21
        assert demo.visits[-1].day < UNTIL
        assert not [note for note in engine_notes(demo.engine) if "marks" in note]
    assert all(visit.hours is not None for visit in engines["pump"].visits)
    assert engines["tender"].engine.cylinders == 6


def middle(visit, name):
    reading = next(r for r in visit.readings if str(r.valve) == name)
    return (reading.go_um + (reading.nogo_um or reading.go_um)) / 2


def test_the_stories_are_in_the_readings():
    van, _, tender = generate(UNTIL)
    cold = 150
    # The intake lobe shared by 2 and 4 wears until the camshaft is replaced: both found looser than set.
    worn = [middle(visit, name) - cold for visit in van.visits[5:8] for name in ("I2", "I4")]
    assert min(worn) > 0
    assert "Camshaft" in van.visits[7].note
    # In the last years exhaust 3 is found tighter than the other exhausts.
    late = van.visits[-3:]
    others = [middle(visit, name) for visit in late for name in ("E1", "E2", "E4")]
    assert sum(middle(visit, "E3") for visit in late) / 3 < sum(others) / len(others) - 20
    # One misread: found far above what it was set to, and not again.
    misread = [middle(visit, "I4") for visit in tender.visits]
    assert max(misread) == misread[12]
    assert misread[12] > misread[11] + 50
    assert abs(misread[13] - misread[11]) <= 50


def test_the_demo_book_holds_every_visit_and_is_sound(tmp_path):
    path = make_demo(str(tmp_path / "d.coldlash"), UNTIL)
    with Desk.open(str(path)) as desk:
        assert desk.book.check() == ()
        for demo in generate(UNTIL):
            kept = desk.book.visits(demo.engine.name)
            assert [visit.day for visit in kept] == [visit.day for visit in demo.visits]
            reading = kept[0].reading(Valve("I", 1), "found")
            assert reading.go_um == demo.visits[0].readings[0].go_um


def test_the_rebuild_is_work_that_restarts_every_trend_of_the_van(tmp_path):
    path = make_demo(str(tmp_path / "d.coldlash"), UNTIL)
    with Desk.open(str(path)) as desk:
        work = [(done.part, done.kind) for done in desk.book.work("Van engine")]
        assert work == [
            ("camshaft", "replaced"),
            ("lifter", "replaced"),
            ("head", "refitted"),
            ("head", "refitted"),
        ]
        records = desk.records("Van engine")
        assert [i for i, r in enumerate(records) if any(v.afresh for v in r.valves.values())] == [7]
        assert all(v.restart for v in records[7].valves.values())
        assert desk.book.work("Pump engine") == ()


def test_the_vans_odometer_rolls_over_once_and_nothing_is_left_to_ask(tmp_path):
    path = make_demo(str(tmp_path / "d.coldlash"), UNTIL)
    with Desk.open(str(path)) as desk:
        van = odometer(desk.book, "Delivery van")
        assert [reading.turned_over for reading in van.readings] == [1]
        assert van.questions == ()
        last = desk.book.visits("Van engine")[-1]
        assert last.meter_reading < desk.book.visits("Van engine")[0].meter_reading
        for name in ("Van engine", "Pump engine", "Tender engine"):
            _, engine = desk.engine(name)
            told = metering(desk.book, name, engine).reckoning
            assert (told.questions, told.distance_m) == ((), desk.book.visits(name)[-1].distance_m)


def test_a_book_that_is_there_stays_unless_it_is_a_demo_made_anew(tmp_path):
    path = tmp_path / "d.coldlash"
    make_demo(str(path), UNTIL)
    with pytest.raises(InputError, match="stays as it is"):
        make_demo(str(path), UNTIL)
    make_demo(str(path), UNTIL, anew=True)
    own = tmp_path / "own.coldlash"
    with Desk.open(str(own), create=True) as desk:
        desk.book.add_vehicle("Mine")
    with pytest.raises(InputError, match="stays as it is"):
        make_demo(str(own), UNTIL, anew=True)
    with Desk.open(str(own)) as desk:
        assert [vehicle.name for vehicle in desk.book.vehicles()] == ["Mine"]
