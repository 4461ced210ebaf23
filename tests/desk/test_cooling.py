"""Readings one after the other, and the moment it is cold enough."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from coldlash.bench.cooldown import allowed_excess_k
from coldlash.desk.cooling import MOST_READINGS, Taken, air_from, cooldown, new_reading, taken_from
from coldlash.desk.engines import load_engine
from coldlash.desk.shown import Shown
from coldlash.errors import InputError

FLAT = load_engine("flat-four").engine
BARE = replace(FLAT, stack=())
MM, FAHRENHEIT = Shown(), Shown(temperature="F")
NOON = datetime(2026, 5, 31, 12, tzinfo=UTC)


def taken(*readings):
    """Readings as (minutes after noon, Celsius)."""
    return [Taken(NOON + timedelta(minutes=minute), temp) for minute, temp in readings]


def test_two_readings_give_the_moment_it_is_cold_enough():
    # Newton's law, by hand: tau = 45 / ln(74 / 43), wait = tau ln(43 / 5) from the last reading, without a stack 5 K
    answer = cooldown(BARE, 18.0, taken((0, 92), (45, 61)), NOON + timedelta(minutes=50), MM)
    tau = 45 / math.log(74 / 43)
    wait = tau * math.log(43 / 5)
    assert answer.until is not None
    assert (answer.until - NOON).total_seconds() / 60 == pytest.approx(45 + wait, abs=1e-4)
    assert "about 2 h 58 after the last reading, give or take" in answer.sentences[0]
    assert [f.name for f in answer.figures] == ["Time constant", "Wait from the last reading", "Cold enough"]
    assert all(f.why is not None for f in answer.figures)
    assert answer.curve is not None
    assert "cold enough" in answer.curve.body


def test_the_engines_own_stack_decides_how_cold_is_cold():
    answer = cooldown(FLAT, 18.0, taken((0, 92), (45, 61)), NOON, MM)
    limit = allowed_excess_k(FLAT)
    assert (
        f"{18 + limit:.1f} °C, {limit:.1f} °C above the air: then its gaps are certain" in answer.sentences[1]
    )
    assert "5 °C above the air." in cooldown(BARE, 18.0, taken((0, 92)), NOON, MM).sentences[1]


def test_one_reading_asks_for_another():
    answer = cooldown(FLAT, 18.0, taken((0, 92)), NOON, MM)
    assert (answer.ready, answer.until, answer.curve) == (False, None, None)
    assert "Take the next one after 20 minutes" in answer.sentences[0]


@pytest.mark.parametrize("temp", [18.0, 20.0, 15.0])
def test_an_engine_as_cold_as_the_air_is_ready_at_once_whatever_came_before(temp):
    answer = cooldown(FLAT, 18.0, taken((0, 92), (45, temp)), NOON, MM)
    assert answer.ready
    assert answer.sentences[0] == "It is cold enough now."


def test_after_the_moment_it_asks_to_measure_once_more():
    answer = cooldown(BARE, 18.0, taken((0, 92), (45, 61)), NOON + timedelta(hours=9), MM)
    assert not answer.ready
    assert "cold enough by now. Measure its temperature once more" in answer.sentences[0]


def test_fahrenheit_is_shown_where_it_is_thought_in():
    answer = cooldown(BARE, 20.0, taken((0, 92), (45, 61)), NOON, FAHRENHEIT)
    assert "77 °F, 9 °F above the air" in answer.sentences[1]  # 25 C, 5 K
    assert answer.curve is not None
    assert "°F" in answer.curve.desc


def test_readings_that_do_not_fall_are_refused():
    with pytest.raises(InputError, match="got warmer"):
        cooldown(FLAT, 18.0, taken((0, 61), (45, 92)), NOON, MM)
    with pytest.raises(InputError, match="more than a day apart"):
        cooldown(FLAT, 18.0, taken((0, 92), (1441, 61)), NOON, MM)
    with pytest.raises(InputError, match="no reading yet"):
        cooldown(FLAT, 18.0, [], NOON, MM)


def test_a_reading_travels_in_the_address_and_comes_back():
    first = new_reading("61", "12.5", NOON, MM)
    assert first == Taken(NOON - timedelta(minutes=12.5), 61.0)
    assert new_reading("142", "", NOON, FAHRENHEIT).temp_c == pytest.approx(61.1, abs=0.02)
    late, early = taken((45, 61.25), (0, 92))
    back = taken_from([late.kept(), early.kept()])
    assert [each.temp_c for each in back] == [92.0, 61.25]
    assert abs((back[0].at - NOON).total_seconds()) < 1


@pytest.mark.parametrize("text", ["", "92", "x:92", "1:y", "1e99:5", "nan:5", "inf:5"])
def test_an_address_changed_by_hand_is_refused(text):
    with pytest.raises(InputError, match="is not one that this page made"):
        taken_from([text])


def test_too_many_readings_are_refused():
    with pytest.raises(InputError, match="13 readings; the last 12"):
        taken_from([f"{i}:50" for i in range(MOST_READINGS + 1)])


@pytest.mark.parametrize(
    ("temp", "ago", "message"),
    [
        ("", "0", "engine temperature: '' is not a number"),
        ("warm", "0", "engine temperature: 'warm' is not a number"),
        ("61", "-5", "minutes ago: -5 can’t be used"),
        ("61", "2000", "minutes ago: 2000 can’t be used"),
    ],
)
def test_a_reading_that_can_not_be_is_refused(temp, ago, message):
    with pytest.raises(InputError) as refused:
        new_reading(temp, ago, NOON, MM)
    assert message in str(refused.value)


def test_the_air_has_to_be_given():
    assert air_from("64.4", FAHRENHEIT) == pytest.approx(18)
    with pytest.raises(InputError, match="give the temperature of the air"):
        air_from(" ", MM)
