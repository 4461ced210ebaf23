"""Zone temperatures to begin with: every generic engine has them; what nobody has a figure for is left open."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldlash.desk.engines import load_engine
from coldlash.engine.catalogue import generic_names
from coldlash.engine.heat import gap_change, zones_of
from coldlash.engine.zones import half_cooled, typical_hot, zone_words


@pytest.mark.parametrize("name", generic_names())
def test_every_generic_engine_has_a_temperature_for_each_of_its_zones(name):
    engine = load_engine(name).engine
    assert set(typical_hot(engine)) == set(zones_of(engine))
    assert set(half_cooled(engine) or ()) == set(zones_of(engine))


def test_hot_the_exhaust_gap_shrinks_with_aluminium_and_grows_with_steel_pushrods():
    # common practice: docs/job-and-trade, Heat
    aluminium, steel = (load_engine(name).engine for name in ("flat-four", "flat-four-steel-pushrods"))
    assert gap_change(aluminium, typical_hot(aluminium))["E"] < 0
    assert gap_change(steel, typical_hot(steel))["E"] > 0


def test_half_cooled_aluminium_reads_about_seven_hundredths_more():
    # common practice: pushrods 25 K, head 45 K above the air
    engine = load_engine("flat-four").engine
    zones = half_cooled(engine, 20.0)
    change = gap_change(engine, zones)
    assert sum(change.values()) / 2 == pytest.approx(0.07, abs=0.01)


def test_a_zone_without_a_figure_is_left_open():
    engine = load_engine("flat-four").engine
    odd = replace(engine, stack=(*engine.stack[:-1], replace(engine.stack[-1], zone="attic")))
    assert "attic" not in typical_hot(odd)
    assert half_cooled(odd) is None
    assert half_cooled(replace(engine, stack=())) is None


def test_zones_are_said_as_words():
    assert [zone_words(zone) for zone in ("head", "exhaust_valve", "rocker_box")] == [
        "head",
        "exhaust valve",
        "rocker box",
    ]
