"""Which gaps work moves, and from which visit on their trends start afresh."""

from __future__ import annotations

from datetime import date

import pytest
from tests.engines import flat_four, single, v12

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.due import Rebuild
from coldlash.logbook.lasting import Work
from coldlash.logbook.parts import (
    VisitAt,
    counts_at,
    last_rebuild,
    moved_after,
    moved_by,
    rebuilt_since,
    start_afresh,
)
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

FOUR = flat_four()  # heads 1+2 and 3+4, lobes I1+I3, E1+E3, I2+I4, E2+E4
DAY = date(2024, 5, 4)
HEAD_12 = {"I1", "E1", "I2", "E2"}
HEAD_34 = {"I3", "E3", "I4", "E4"}


def work(part="seat", kind="replaced", at="", *, day=DAY, **more):
    words = at.split()
    valves = tuple(Valve.parse(word) for word in words if not word.isdecimal())
    cylinders = tuple(int(word) for word in words if word.isdecimal())
    id = "00000000-0000-4000-8000-000000000001"
    return Work(engine_id=id, day=day, part=part, kind=kind, valves=valves, cylinders=cylinders, **more)


def names(valves):
    return {str(valve) for valve in valves}


# derived: from what lies between lobe and seat of a pushrod engine (the cause table of the linkage, by hand)
@pytest.mark.parametrize(
    ("part", "kind", "at", "moved"),
    [
        ("seat", "ground", "E3", {"E3"}),
        ("valve", "replaced", "E3 I3", {"E3", "I3"}),
        ("valve", "ground", "2", {"I2", "E2"}),
        ("lifter", "replaced", "I2", {"I2"}),
        ("pushrod", "replaced", "E4", {"E4"}),
        ("adjuster", "replaced", "", HEAD_12 | HEAD_34),
        ("head", "refitted", "1", HEAD_12),
        ("head", "retorqued", "E4", HEAD_34),
        ("head", "refitted", "", HEAD_12 | HEAD_34),
        ("barrel", "replaced", "3", HEAD_34),
        ("gasket", "replaced", "2", HEAD_12),
        ("stud", "retorqued", "4", HEAD_34),
        ("stand", "retorqued", "E2", {"I2", "E2"}),
        ("camshaft", "replaced", "", HEAD_12 | HEAD_34),
        ("camshaft", "replaced", "I1", HEAD_12 | HEAD_34),
        ("camshaft", "ground", "I1", {"I1", "I3"}),
        ("engine", "rebuilt", "", HEAD_12 | HEAD_34),
        ("guide", "replaced", "E3", set()),
        ("spring", "replaced", "", set()),
        ("head", "cleaned", "1", set()),
        ("other", "repaired", "E1", {"E1"}),
        ("other", "repaired", "", set()),
    ],
)
def test_work_moves_exactly_the_gaps_that_hang_on_the_part(part, kind, at, moved):
    assert names(moved_by(work(part, kind, at), FOUR).valves) == moved


def test_heads_and_lobes_are_those_of_the_engine_file():
    assert names(moved_by(work("head", "refitted", "1"), single()).valves) == {"I1", "E1"}
    twelve = v12()
    bank = twelve.head_of(1)
    moved = moved_by(work("head", "refitted", "1"), twelve).valves
    assert {valve.cylinder for valve in moved} == set(bank)
    assert "another height" in moved_by(work("head", "refitted", "1"), FOUR).why


def test_a_part_of_a_cylinder_the_engine_has_not_is_refused():
    with pytest.raises(InputError, match="has no cylinder 7; it has 4"):
        moved_by(work(at="7"), FOUR)
    with pytest.raises(InputError, match="has no valve E7"):
        moved_by(work(at="E7"), FOUR)


# --- when it counts ---

A, B, C = (f"00000000-0000-4000-8000-00000000000{n}" for n in "abc")
VISITS = [
    VisitAt(A, date(2022, 5, 1), 10_000_000),
    VisitAt(B, date(2023, 5, 1), 15_000_000),
    VisitAt(C, date(2024, 5, 1), 20_000_000),
]


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ({"visit_id": B, "day": date(2023, 5, 1)}, (1, False)),
        ({"day": date(2022, 9, 1)}, (1, True)),
        ({"day": date(2023, 5, 1)}, (1, True)),
        ({"day": date(2023, 5, 1), "distance_m": 15_000_001}, (2, True)),
        ({"day": date(2021, 9, 1)}, (0, True)),
        ({"day": date(2024, 9, 1)}, None),
        ({"visit_id": "00000000-0000-4000-8000-0000000000ff", "day": date(2023, 9, 1)}, (2, True)),
    ],
)
def test_work_counts_at_its_visit_or_before_the_readings_of_the_next(more, place):
    assert counts_at(work(**more), VISITS) == place


def records():
    gap = ValveRecord(GapInterval(0.1, 0.15), adjusted=True, set_to=0.15)
    return [VisitRecord(v.day, v.distance_m / 1000, {Valve("E", 3): gap}) for v in VISITS]


def test_exactly_the_moved_valves_start_afresh_and_nothing_else_changes():
    told = start_afresh(
        records(),
        VISITS,
        [
            work("seat", "ground", "E3", visit_id=B, day=VISITS[1].day),
            work("head", "refitted", "1", day=date(2023, 9, 1)),
        ],
        FOUR,
    )
    assert told[0] == records()[0]
    assert told[1].valves == {
        Valve("E", 3): ValveRecord(GapInterval(0.1, 0.15), adjusted=True, set_to=0.15, restart=True)
    }
    assert {str(v) for v, r in told[2].valves.items() if r.restart_before} == HEAD_12
    assert told[2].valves[Valve("E", 3)] == records()[2].valves[Valve("E", 3)]


def test_the_engine_as_it_was_decides_and_parts_it_no_longer_has_are_left_out():
    old = flat_four(heads=((1, 3), (2, 4)))
    told = start_afresh(records(), VISITS, [work("head", "refitted", "1", visit_id=B)], FOUR, {B: old})
    assert names(v for v, r in told[1].valves.items() if r.restart) == {"I1", "E1", "I3", "E3"}
    gone = start_afresh(records(), VISITS, [work("seat", "ground", "E9", visit_id=B)], FOUR)
    assert gone == tuple(records())


def test_work_after_the_last_visit_leaves_its_gaps_unknown():
    later = work("seat", "ground", "E3", day=date(2024, 6, 1))
    assert start_afresh(records(), VISITS, [later], FOUR) == tuple(records())
    assert names(moved_after([later, work(day=date(2023, 9, 1))], VISITS, FOUR)) == {"E3"}


def test_an_early_check_follows_work_that_moved_gaps_at_the_last_visit_or_since():
    last = VISITS[-1]
    at_it = work("seat", "ground", "E3", visit_id=C, day=last.day, distance_m=20_000_000)
    since = work("head", "refitted", day=date(2024, 6, 1))
    assert rebuilt_since([at_it], last, FOUR) == Rebuild(last.day, 20_000.0)
    assert rebuilt_since([at_it, since], last, FOUR) == Rebuild(date(2024, 6, 1), None)
    for none in (
        work("seat", "ground", "E3", visit_id=B, day=VISITS[1].day),
        work("head", "refitted", day=date(2024, 3, 1)),
        work("spring", "replaced", day=date(2024, 6, 1)),
    ):
        assert rebuilt_since([none], last, FOUR) is None
    assert last_rebuild([at_it, since], FOUR) == since
    assert last_rebuild([], FOUR) is None
