"""The generic engines: all there, without faults, firing as published, with heat as the trade knows it."""

from __future__ import annotations

import re

import pytest

from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.firing import firing_angles, open_spans
from coldlash.engine.notes import engine_notes
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError

# The names that scripts rely on: the project's contract.
CONTRACT_NAMES = (
    "flat-four",
    "flat-twin",
    "flat-six",
    "inline-four",
    "inline-six",
    "v8",
    "single",
    "parallel-twin-360",
    "parallel-twin-180",
    "v-twin-90",
)


def generic(name: str) -> Engine:
    """A generic engine, read."""
    return read_engine(generic_text(name), name)


def test_every_name_of_the_contract_is_there_and_one_more():
    assert set(generic_names()) == {*CONTRACT_NAMES, "flat-four-steel-pushrods"}
    assert list(generic_names()) == sorted(generic_names())


@pytest.mark.parametrize("name", ["flatfour", "../spec", "", "flat-four.toml", "Ω" * 500])
def test_another_name_is_refused_with_the_names_there_are(name):
    with pytest.raises(InputError, match=r"is no generic engine; .*there are: flat-four, flat-four-steel"):
        generic_text(name)


def test_a_misspelt_name_is_answered_with_the_nearest():
    with pytest.raises(InputError, match=r"'flatfour' is no generic engine; did you mean flat-four\? there"):
        generic_text("flatfour")


@pytest.mark.parametrize("name", CONTRACT_NAMES)
def test_a_generic_engine_leaves_nothing_open(name):
    engine = generic(name)
    assert engine_notes(engine) == ()
    assert engine.name.startswith("Generic ")
    assert engine.linkage.screw_pitch_mm
    assert engine.geometry.bore_mm
    assert engine.service.every_km
    for kind in ("I", "E"):  # the set gap lies on the lobe's ramp, or the valve would land hard
        assert engine.lobes[kind].ramp_mm > engine.gaps[kind].cold


def test_steel_pushrods_are_set_without_a_gap_and_say_so():
    engine = generic("flat-four-steel-pushrods")
    assert (engine.gaps["I"].cold, engine.gaps["I"].tight) == (0.0, None)
    assert [note.split(":")[0] for note in engine_notes(engine)] == [
        "No tight limit for the intake gap",
        "No tight limit for the exhaust gap",
    ]


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("flat-four", "1-4-3-2"),  # common practice
        ("inline-four", "1-3-4-2"),  # published: US Army TM 5-3805-258-24-1 p. 4-28; TM 5-3895-385-23-2
        ("inline-six", "1-5-3-6-2-4"),  # published: two diesel engine manuals
        ("v8", "1-8-4-3-6-5-7-2"),  # from memory
        ("flat-six", "1-6-2-4-3-5"),  # common practice
    ],
)
def test_firing_orders_are_the_published_ones_and_even(name, order):
    engine = generic(name)
    assert "-".join(map(str, engine.firing_order)) == order
    assert set(engine.firing_gaps_deg) == {720 / engine.cylinders}


@pytest.mark.parametrize(
    ("name", "second"),
    [
        ("flat-twin", 360.0),  # opposed twin: 360 apart (common practice)
        ("v-twin-90", 270.0),  # 90 degree V-twin: 270 to cylinder 2 (common practice)
        ("parallel-twin-360", 360.0),  # pistons in step (derived)
        ("parallel-twin-180", 180.0),  # half a turn, then one and a half (derived)
    ],
)
def test_twins_fire_where_their_crank_says(name, second):
    assert firing_angles(generic(name)) == {1: 0.0, 2: second}


# Safe sets at a stop, besides the two valves of the cylinder at firing TDC; our windows may allow more, never fewer.
STOPS = [
    ("flat-four", 1, "I2 E4"),  # common practice; derived
    ("flat-four", 3, "I4 E2"),
    ("inline-four", 1, "I2 E3"),  # published: US Army TM 5-3805-258-24-1 p. 4-28; TM 5-3895-385-23-2
    ("inline-four", 4, "I3 E2"),
    ("inline-six", 1, "I2 I4 E3 E5"),  # published: two diesel engine manuals
    ("inline-six", 6, "I3 I5 E2 E4"),
    ("v8", 1, "I2 I5 I7 E3 E4 E8"),  # from memory; agrees with the rule of the half cycle
    ("v8", 6, "I3 I4 I8 E2 E5 E7"),
    ("flat-six", 1, "I3 I5 E2 E6"),  # derived
    ("flat-six", 4, "I2 I6 E3 E5"),
]


@pytest.mark.parametrize(("name", "cylinder", "valves"), STOPS)
def test_the_published_valves_are_closed_at_their_stop(name, cylinder, valves):
    engine = generic(name)
    spans = open_spans(engine)
    at = firing_angles(engine)[cylinder]
    for valve in (*valves.split(), f"I{cylinder}", f"E{cylinder}"):
        assert spans[Valve.parse(valve)].margin(at) >= 30, valve  # the default margin


def test_the_rule_of_nine_follows_from_the_rows_of_the_inline_four():
    # Numbered 1 to 8 along the head: with n fully open, 9 - n can be checked (published for 1+8 and 4+5).
    engine = generic("inline-four")
    spans = open_spans(engine)
    row = engine.rows[0]
    for number, valve in enumerate(row, 1):
        fully_open = (spans[valve].opens + spans[valve].length / 2) % 720
        assert spans[row[9 - number - 1]].margin(fully_open) >= 30, (number, valve)


# Linear expansion, 1e-6/K: published figures (Callister, Table B.6; handbook tables; a steelmaker's data page).
EXPANSION = {
    "AZ91D": 26.0,
    "grey-iron": 11.4,
    "A356": 21.5,
    "6061": 23.6,
    "4130": 12.2,  # from memory
    "martensitic-valve-steel": 12.5,
    "21-4N": 17.5,
}


def gap_change_um(engine: Engine, rise: dict[str, float] | float) -> tuple[float, float]:
    """Intake and exhaust gap change in um for a temperature rise in K, even or by zone: the linkage rule
    dg = (1 + r) dp - r dq - dv with each height a sum of length x expansion x rise.
    """
    heights = dict.fromkeys(("pivot", "pushrod", "intake", "exhaust"), 0.0)
    for part in engine.stack:
        kelvin = rise if isinstance(rise, int | float) else rise[part.zone]
        for height in part.heights:
            heights[height] += part.length_mm * EXPANSION[part.material] * kelvin * 1e-3
    r = engine.linkage.rocker_ratio
    common = (1 + r) * heights["pivot"] - r * heights["pushrod"]
    return common - heights["intake"], common - heights["exhaust"]


def test_even_heating_of_the_flat_four_hardly_moves_its_gaps_with_aluminium_pushrods():
    # Common practice: well under 1 um/K; intake and exhaust differ by about 0.5 um/K.
    intake, exhaust = gap_change_um(generic("flat-four"), 1)
    assert abs(intake) < 0.5
    assert abs(exhaust) < 0.5
    assert intake - exhaust == pytest.approx(0.5, abs=0.1)


def test_even_heating_opens_the_flat_fours_gaps_with_steel_pushrods():
    # Common practice: 2 to 4 um/K.
    engine = generic("flat-four-steel-pushrods")
    assert all(2 < change < 4 for change in gap_change_um(engine, 1))
    aluminium = generic("flat-four")
    assert [(p.part, p.length_mm) for p in engine.stack] == [(p.part, p.length_mm) for p in aluminium.stack]


def test_a_half_cooled_flat_four_reads_loose():
    # Common practice: pushrods 25 K, head 45 K above the air: about +0.07 mm with aluminium pushrods.
    rise = {"crankcase": 25, "lifter": 25, "pushrod": 25, "cylinder": 45, "head": 45}
    rise |= {"intake_valve": 45, "exhaust_valve": 45}
    intake, exhaust = gap_change_um(generic("flat-four"), rise)
    assert (intake + exhaust) / 2 == pytest.approx(70, abs=10)
    assert min(intake, exhaust) > 40


def test_a_hot_exhaust_gap_shrinks_with_aluminium_and_grows_with_steel_pushrods():
    # Common practice; zone temperatures are plausible running ones (typical, from memory).
    rise = {"crankcase": 70, "lifter": 75, "pushrod": 80, "cylinder": 120, "head": 130}
    rise |= {"intake_valve": 140, "exhaust_valve": 260}
    aluminium, steel = generic("flat-four"), generic("flat-four-steel-pushrods")
    assert -150 < gap_change_um(aluminium, rise)[1] < -20
    assert gap_change_um(steel, rise)[1] > 20


@pytest.mark.parametrize("name", generic_names())
def test_every_figure_of_a_generic_file_says_where_it_comes_from(name):
    table = ""
    for line in generic_text(name).splitlines():
        if line.startswith("["):
            table = line
        figure = re.match(r"(\w+) = -?[\d.]+\s*(#.*)?$", line)
        if figure is None or table == "[valve_events_deg]" or figure[1] == "cylinders":
            continue
        assert re.search(
            r"typical, from memory|common practice|published|follows from|derived", figure[2] or ""
        ), line
    assert "# Crank degrees at the base circle, ramps included: typical, from memory" in generic_text(name)
