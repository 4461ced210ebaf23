"""An engine's own distance through instruments that roll over, are replaced, and vehicles it moves between."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.errors import InputError, MeterWentBackError
from coldlash.logbook.distance import (
    Fitted,
    Metered,
    Put,
    Seen,
    Stated,
    TakenOut,
    check_before,
    reckon,
    round_metres,
    timeline,
    until,
)
from coldlash.logbook.lasting import Fitment, Instrument, MeterReading
from coldlash.logbook.records import Meter, Vehicle, Visit

DAY = date(2001, 5, 4)
START = Fitted(day=None, unit="km", digits=5)


def day(number: int) -> date:
    return DAY + timedelta(days=number)


def seen(number: int, km: float, turned_over: int = 0, at_m: int | None = None, unit: Meter = "km") -> Seen:
    return Seen(
        day=day(number), reading=round(km * 1000), unit=unit, turned_over=turned_over, distance_m=at_m
    )


# --- single cases -------------------------------------------------------------------------------------------------


def test_an_engine_that_came_with_its_vehicle_has_run_what_the_meter_shows() -> None:
    assert reckon([START, seen(0, 84_210)]).distance_m == 84_210_000
    assert reckon([START]).distance_at(84_210_000) == 84_210_000


def test_a_stated_distance_holds_and_the_meter_counts_on_from_there() -> None:
    told = reckon([START, seen(0, 40_000, at_m=140_000_000), seen(9, 40_250)])
    assert told.distance_m == 140_250_000
    assert told.questions == ()


def test_an_odometer_of_five_digits_rolls_over_past_99999() -> None:
    # derived: five wheels show 0 to 99999, so 99 800 to 00 190 is 390 km
    told = reckon([START, seen(0, 99_800, at_m=99_800_000), seen(9, 190, turned_over=1)])
    assert told.distance_m == 100_190_000


def test_without_known_digits_an_odometer_rolls_over_at_the_power_of_ten_above_what_it_showed() -> None:
    told = reckon([seen(0, 99_800, at_m=5), seen(9, 190, turned_over=1)])
    assert told.distance_m == 390_005


@pytest.mark.parametrize(
    ("unit", "per_h", "metres"),
    # published: the international mile of 1959 is 1609.344 m; hours are worth what the engine file says
    [("km", 50.0, 100_000), ("mile", 50.0, 160_934), ("h", 50.0, 5_000_000), ("h", 12.5, 1_250_000)],
)
def test_each_unit_counts_its_own_length(unit: Meter, per_h: float, metres: int) -> None:
    events = [Fitted(day=None, unit=unit), seen(0, 100, unit=unit, at_m=0), seen(9, 200, unit=unit)]
    assert reckon(events, per_h).distance_m == metres


def test_a_replaced_instrument_goes_on_from_what_each_of_the_two_showed() -> None:
    put = Put(day=day(5), how="replaced", unit="mile", digits=6, reading=12_000, old_reading=50_400_000)
    told = reckon([START, seen(0, 50_000, at_m=50_000_000), put, seen(9, 112, unit="mile")])
    assert told.distance_m == 50_000_000 + 400_000 + 160_934
    assert (told.unit, told.digits) == ("mile", 6)


def test_a_new_instrument_whose_first_reading_is_unknown_began_at_0() -> None:
    put = Put(day=day(5), how="replaced", unit="km", digits=6)
    assert reckon([START, seen(0, 50_000, at_m=50_000_000), put, seen(9, 120)]).distance_m == 50_120_000


@pytest.mark.parametrize(("shows", "metres"), [(None, 100_000), (48_000_000, 2_100_000)])
def test_a_repaired_instrument_goes_on_from_where_it_stood_or_was_set(shows: int | None, metres: int) -> None:
    put = Put(day=day(5), how="repaired", unit="km", digits=5, reading=shows)
    told = reckon([START, seen(0, 50_000, at_m=0), put, seen(9, 50_100)])
    assert told.distance_m == metres


def test_an_engine_counts_in_every_vehicle_it_is_in_and_not_on_the_bench() -> None:
    told = reckon(
        [
            START,
            seen(0, 50_000, at_m=50_000_000),
            TakenOut(day=day(5), reading=50_300_000),
            Fitted(day=day(9), unit="mile", digits=5, reading=7_000_000),
            seen(20, 7_100, unit="mile"),
        ]
    )
    assert told.distance_m == 50_300_000 + 160_934


def test_an_engine_fitted_under_an_unknown_reading_counts_from_the_next_and_says_so() -> None:
    events = [Fitted(day=day(0), unit="km", digits=5, distance_m=1000), seen(5, 700), seen(9, 750)]
    told = reckon(events)
    assert told.distance_m == 51_000
    assert [q.about for q in told.questions] == ["not known when fitted"]
    with pytest.raises(
        InputError, match="what it showed when the engine was fitted is not known; give the engine's"
    ):
        reckon(events[:1]).distance_at(700_000)


def test_a_first_reading_below_what_the_engine_has_run_asks_for_the_distance() -> None:
    with pytest.raises(
        InputError, match="shows 500 km, but the engine has run 900 km already; give the engine's own"
    ):
        reckon([START, Stated(day=DAY, distance_m=900_000)]).distance_at(500_000)
    assert reckon([START, Stated(day=DAY, distance_m=900_000)]).distance_at(1_500_000) == 1_500_000


# --- what does not add up ---------------------------------------------------------------------------------------------


def test_a_reading_that_went_back_counts_as_nothing_and_is_asked_about() -> None:
    told = reckon([START, seen(0, 50_000, at_m=50_000_000), seen(5, 49_000), seen(9, 50_400)])
    assert told.distance_m == 50_400_000
    (question,) = told.questions
    assert (question.about, question.day) == ("went back", day(5))
    assert "showed 49000 km, but 50000 on 2001-05-04: did it roll over, was it replaced" in question.text


def test_a_stated_distance_that_went_back_is_asked_about_and_never_taken_off() -> None:
    told = reckon([START, seen(0, 50_000, at_m=50_000_000), Stated(day=day(5), distance_m=40_000_000)])
    assert told.distance_m == 50_000_000
    assert [q.about for q in told.questions] == ["distance went back"]


def test_a_reading_in_another_unit_or_beyond_the_digits_is_not_used() -> None:
    told = reckon([START, seen(0, 50_000, at_m=0), seen(5, 60_000, unit="mile"), seen(6, 123_456)])
    assert told.distance_m == 0
    assert [q.about for q in told.questions] == ["another unit", "more than it can show"]
    stated = reckon([START, seen(0, 50_000, at_m=0), seen(5, 60_000, unit="mile", at_m=16_000_000)])
    assert (stated.distance_m, stated.reading) == (16_000_000, 50_000_000)


def test_a_meter_that_went_back_near_its_end_has_likely_rolled_over() -> None:
    told = reckon([START, seen(0, 99_800, at_m=99_800_000)])
    with pytest.raises(
        MeterWentBackError,
        match="shows 190 km, but on 2001-05-04 it showed 99800: it rolled over past 99999 km",
    ) as raised:
        told.distance_at(190_000)
    offers = [(offer.how, offer.distance_m) for offer in raised.value.explanations]
    assert offers == [("rolled over", 100_190_000), ("replaced", 99_990_000), ("mistyped", None)]
    assert told.distance_at(190_000, "rolled over") == 100_190_000
    assert told.distance_at(190_000, "replaced") == 99_990_000


def test_a_meter_that_went_back_in_the_middle_is_likely_mistyped() -> None:
    with pytest.raises(MeterWentBackError, match="one of the two is mistyped") as raised:
        reckon([START, seen(0, 52_000, at_m=0)]).distance_at(25_100_000)
    assert [offer.how for offer in raised.value.explanations] == ["mistyped", "replaced", "rolled over"]


def test_a_meter_that_shows_more_has_not_rolled_over() -> None:
    with pytest.raises(
        InputError, match="not less than 52000 before: it has not rolled over, or once round and more"
    ):
        reckon([START, seen(0, 52_000, at_m=0)]).distance_at(53_000_000, "rolled over")


def test_a_meter_cannot_show_more_than_its_digits() -> None:
    with pytest.raises(
        InputError, match="shows 123456 km, but it has 5 digits; mistyped, or correct its digits"
    ):
        reckon([START]).distance_at(123_456_000)


def test_a_reading_of_an_earlier_day_must_fit_what_came_after() -> None:
    events = [START, seen(0, 100, at_m=100_000), seen(9, 300, at_m=300_000), seen(20, 400)]
    before, after = until(events, day(5))
    assert (before, after) == (tuple(events[:2]), tuple(events[2:]))
    check_before(299_000, reckon(before).distance_at(299_000), after)
    with pytest.raises(
        MeterWentBackError, match=r"shows 301, but later, on 2001-05-13, the engine had run 300 km, less"
    ):
        check_before(301_000, reckon(before).distance_at(301_000), after)
    with pytest.raises(
        MeterWentBackError, match=r"but later, on 2001-05-24, it showed 400 km: one of the two is mist"
    ):
        check_before(401_000, 401_000, after[1:])
    check_before(401_000, 401_000, [TakenOut(day=day(15)), *after])
    check_before(401_000, 401_000, [seen(15, 3, turned_over=1)])


# --- any life, against a slow oracle --------------------------------------------------------------------------------


@dataclass
class Wheels:
    """An instrument of number wheels, moved one unit at a time."""

    unit: Meter
    wheels: list[int]
    turned: int = 0

    @property
    def shows(self) -> int:
        return int("".join(map(str, self.wheels))) * 1000

    def set_to(self, value: int) -> None:
        self.wheels = [int(c) for c in str(value).zfill(len(self.wheels))[-len(self.wheels) :]]

    def one(self) -> None:
        for i in reversed(range(len(self.wheels))):
            self.wheels[i] = (self.wheels[i] + 1) % 10
            if self.wheels[i]:
                return
        self.turned += 1


LENGTH_UM = {"km": 1_000_000_000, "mile": 1_609_344_000}


@dataclass
class World:
    """Two vehicles and one engine, as they really are, and what is written down of them."""

    clock: int = 0
    today: int = 0
    true_um: int = 0
    sits_in: str | None = "a"
    instruments: dict[str, Wheels] = field(
        default_factory=lambda: {"a": Wheels("km", [0, 4, 2]), "b": Wheels("mile", [9, 9, 0, 0])}
    )
    fitments: list[Fitment] = field(default_factory=lambda: [Fitment(engine_id="e", vehicle_id="a")])
    changes: dict[str, list[Instrument]] = field(default_factory=lambda: {"a": [], "b": []})
    notes: dict[str, list[MeterReading]] = field(default_factory=lambda: {"a": [], "b": []})
    visits: list[Visit] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.true_um = 42 * LENGTH_UM["km"]

    def at(self) -> str:
        self.clock += 1
        return f"2024-05-04T12:00:00.{self.clock:03d}Z"

    def drive(self, which: str, units: int) -> None:
        for _ in range(units):
            self.instruments[which].one()
            if self.sits_in == which:
                self.true_um += LENGTH_UM[self.instruments[which].unit]

    def note(self, which: str) -> None:
        there = self.instruments[which]
        self.notes[which].append(
            MeterReading(
                vehicle_id=which, day=day(self.today), reading=there.shows, unit=there.unit,
                turned_over=there.turned, at=self.at(),
            )
        )  # fmt: skip
        there.turned = 0

    def visit(self) -> None:
        if self.sits_in is None:
            return
        there = self.instruments[self.sits_in]
        self.note(self.sits_in)
        self.visits.append(visit(self.today, there.shows, there.unit, self.told().distance_m, self.at()))

    def move(self, to: str | None) -> None:
        if self.sits_in is not None:
            self.note(self.sits_in)
            there = self.instruments[self.sits_in]
            self.fitments.append(
                Fitment(
                    engine_id="e",
                    day=day(self.today),
                    meter_reading=there.shows,
                    meter_unit=there.unit,
                    at=self.at(),
                )
            )
        if to is not None:
            there = self.instruments[to]
            there.turned = 0
            self.fitments.append(
                Fitment(
                    engine_id="e", vehicle_id=to, day=day(self.today), meter_reading=there.shows,
                    meter_unit=there.unit, at=self.at(),
                )
            )  # fmt: skip
        self.sits_in = to

    def replace(self, which: str, digits: int, start: int) -> None:
        self.note(which)
        old = self.instruments[which]
        new = Wheels("mile" if old.unit == "km" else "km", [0] * digits)
        new.set_to(start)
        self.instruments[which] = new
        self.changes[which].append(
            Instrument(
                vehicle_id=which, how="replaced", unit=new.unit, digits=digits, day=day(self.today),
                reading=new.shows, old_reading=old.shows, at=self.at(),
            )
        )  # fmt: skip

    def told(self):
        entered = {"a": ("km", 3), "b": ("mile", 4)}
        vehicles = {
            key: Metered(
                vehicle=Vehicle(id=key, name=key, meter=unit, meter_digits=digits, note=""),
                instruments=tuple(self.changes[key]),
                readings=tuple(self.notes[key]),
            )
            for key, (unit, digits) in entered.items()
        }
        return reckon(timeline(self.fitments, vehicles, self.visits))


def visit(on: int, reading: int, unit: Meter, distance_m: int, at: str) -> Visit:
    return Visit(
        id="v", engine_id="e", engine_file_id="f", day=day(on), distance_m=distance_m, engine_temp_mc=None,
        air_temp_mc=None, meter_reading=reading, meter_unit=unit, by=None, blades_um=(), plan="", place="", note="",
        state="closed", opened_at=at, closed_at=at,
    )  # fmt: skip


WHICH = st.sampled_from(["a", "b"])
ACTIONS = st.one_of(
    st.tuples(st.just("drive"), WHICH, st.integers(0, 2500)),
    st.tuples(st.just("note"), WHICH),
    st.tuples(st.just("visit")),
    st.tuples(st.just("move"), st.sampled_from(["a", "b", None])),
    st.tuples(st.just("replace"), WHICH, st.integers(3, 5), st.integers(0, 999)),
    st.tuples(st.just("sleep"), st.integers(1, 400)),
)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.lists(ACTIONS, max_size=14))
def test_any_life_gives_the_true_distance_and_it_never_falls(actions: list[tuple]) -> None:
    # derived: number wheels moved one unit at a time, in vehicles that carry the engine or don't
    world = World()
    world.visit()
    before = 0
    for name, *how in actions:
        if name == "sleep":
            world.today += how[0]
        else:
            getattr(world, name)(*how)
        told = world.told()
        assert told.distance_m >= before
        assert list(told.points) == sorted(told.points)
        before = told.distance_m
    if world.sits_in is not None:
        world.note(world.sits_in)
    told = world.told()
    assert told.questions == ()
    assert told.distance_m == round_metres(world.true_um)


ANY_EVENT = st.one_of(
    st.builds(seen, st.integers(0, 50), st.integers(0, 1200), st.integers(0, 2), st.none() | st.integers(0, 10**6)),
    st.builds(Stated, day=st.just(DAY), distance_m=st.integers(0, 10**6)),
    st.builds(TakenOut, day=st.just(DAY), reading=st.none() | st.integers(0, 10**6)),
    st.builds(
        Fitted, day=st.none() | st.just(DAY), unit=st.sampled_from(["km", "mile"]), digits=st.none() | st.just(3)
    ),
    st.builds(
        Put, day=st.just(DAY), how=st.sampled_from(["first", "replaced", "repaired"]),
        unit=st.sampled_from(["km", "mile", "h"]), digits=st.none() | st.just(3),
        reading=st.none() | st.integers(0, 10**6), old_reading=st.none() | st.integers(0, 10**6),
    ),
)  # fmt: skip


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(ANY_EVENT, max_size=12))
def test_whatever_is_written_down_the_distance_never_falls(events: list) -> None:
    points = reckon(events).points
    assert list(points) == sorted(points)
    assert all(point >= 0 for point in points)
