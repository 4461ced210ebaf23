"""Books into arrays: what is refused, what is assumed and said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.engines import flat_four, flat_twin, single
from tests.wear.books import LADDER, visit

from coldlash.errors import InputError
from coldlash.wear.books import MOST_HANDS, log_chance, read_book, shelve
from coldlash.wear.record import GapInterval, ValveRecord

ENGINE = flat_twin()


def test_a_distance_that_goes_backwards_counts_as_nothing_and_is_said() -> None:
    book = read_book(ENGINE, [visit(50_000, day=0), visit(44_000, day=300), visit(48_000, day=600)], None)
    assert list(book.dist) == [0.0, 0.0, 4.0]
    assert any("44,000 km, less than the 50,000 km before: counted as 0 km" in n for n in book.notes)


def test_one_mistyped_distance_does_not_add_kilometres() -> None:
    book = read_book(ENGINE, [visit(50_000, day=0), visit(5_500, day=300), visit(60_000, day=600)], None)
    assert list(book.dist) == [0.0, 0.0, 10.0]
    assert list(book.counted_km) == [50_000.0, 50_000.0, 60_000.0]


def test_visits_are_taken_by_day_and_in_order_within_a_day() -> None:
    first, second, late = visit(1000, day=5, temp=15.0), visit(1000, day=5, temp=25.0), visit(9000, day=50)
    book = read_book(ENGINE, [late, first, second], None)
    assert [v.engine_temp_c for v in book.visits] == [15.0, 25.0, 20.0]


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (visit(0, {"I1": (0.2, 0.1)}), r"I1 found at the visit of 2003-05-10: \[0.2, 0.1\) is no interval"),
        (visit(0, {"I1": (math.nan, 0.1)}), "is no interval"),
        (visit(0, {"I1": (math.inf, math.inf)}), "is no interval"),
        (visit(0, E1=ValveRecord(left=GapInterval(0.3, 0.2))), "E1 left at the visit"),
        (visit(0, {"E7": (0.1, 0.15)}), "has valve E7; Test engine has I1, E1, I2, E2"),
        (visit(math.inf, {}, day=0), "is at inf km; give a number of km"),
        (visit(0, {}, temp=math.nan), "has engine temperature nan; give C, or none if unknown"),
        (visit(0, I1=ValveRecord(adjusted=True, set_to=-0.1)), "was set to -0.1; give the blade in mm"),
    ],
)
def test_readings_that_cannot_be_are_refused_by_name(bad: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_book(ENGINE, [bad], None)  # type: ignore[list-item]


def test_without_a_coefficient_the_missing_correction_is_said() -> None:
    assert "not corrected for temperature" in read_book(ENGINE, [visit(0)], None).notes[0]


def test_unknown_temperatures_are_counted_and_said() -> None:
    c = {"I": (0.002, 0.0), "E": (0.002, 0.0)}
    book = read_book(ENGINE, [visit(0, temp=None), visit(5000, temp=None), visit(9000)], c)
    assert book.notes == ("The engine temperature of 2 visits is not known: taken as 20 C, give or take 8.",)
    assert list(book.temp_known) == [False, False, True]


def test_setting_without_a_blade_means_the_cold_gap() -> None:
    book = read_book(
        ENGINE, [visit(0, I1=ValveRecord(adjusted=True), E1=ValveRecord(adjusted=True, set_to=0.2))], None
    )
    assert list(book.target[0, :2]) == [0.15, 0.2]


def test_hands_are_told_apart_and_the_rarest_share_a_place() -> None:
    adjusted = ValveRecord(adjusted=True)
    visits = [visit(1000 * i, by=f"hand {i % 6}", I1=adjusted) for i in range(12)]
    book = read_book(ENGINE, visits, None)
    assert len(book.hands) == MOST_HANDS
    assert book.hand.max() == MOST_HANDS - 1


def test_chance_of_a_misread_is_the_share_of_the_ladder() -> None:
    # Derived: six blades make seven intervals.
    assert log_chance(GapInterval(0.10, 0.15), LADDER) == pytest.approx(math.log(1 / 7))
    assert log_chance(GapInterval(0.10, 0.20), LADDER) == pytest.approx(math.log(2 / 7))
    assert log_chance(GapInterval(-math.inf, 0.05), LADDER) == pytest.approx(math.log(1 / 7))
    assert log_chance(GapInterval(0.15, 0.15), LADDER) == pytest.approx(-math.log(0.35))
    assert log_chance(GapInterval(0.10, 0.15), ()) == pytest.approx(math.log(1 / 9))


def test_books_of_different_engines_are_padded_with_nothing_read() -> None:
    books = [
        read_book(single(), [visit(0, {"I1": (0.1, 0.15)})], None),
        read_book(flat_four(), [visit(0), visit(5000)], None),
    ]
    shelf = shelve(books, 8.0)
    assert (shelf.layout.V, shelf.T) == (8, 2)
    assert bool(np.all(shelf.step(0).found.open[0, 1:]))
    assert shelf.step(1).dist[0] == 0.0
