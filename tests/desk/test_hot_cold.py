"""Hot and cold: the heat model's own figures in words, and the engine's own coefficient typed in by hand."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from coldlash.bench.blades import STANDARD_SETS
from coldlash.desk.engines import load_engine
from coldlash.desk.hot_cold import even_warmth, hot, own_even, own_hot, zone_fields, zones_from
from coldlash.desk.shown import Shown
from coldlash.engine.heat import gap_change, per_k_uniform
from coldlash.engine.zones import typical_hot
from coldlash.errors import InputError

FLAT = load_engine("flat-four").engine
STEEL = load_engine("flat-four-steel-pushrods").engine
SIX = load_engine("inline-six").engine
MM, FAHRENHEIT = Shown(), Shown("in", "mile", "F")
BLADES = STANDARD_SETS["metric"]


def value(cell):
    return float(re.match(r"[+−]?[\d.]+", cell)[0].replace("−", "-"))


def cells(figures, name):
    found = [f for f in figures if f.name.startswith(name)]
    assert len(found) == 1, name
    return [value(cell) for cell in found[0].cells]


def test_the_slope_is_the_models_and_a_degree_fahrenheit_is_smaller():
    slopes = [per_k_uniform(STEEL)[kind] for kind in ("I", "E")]
    assert cells(even_warmth(STEEL, MM).figures, "One °C") == pytest.approx(slopes, abs=0.005)
    per_f = [slope / 1.8 for slope in slopes]  # definition
    assert cells(even_warmth(STEEL, FAHRENHEIT).figures, "One °F") == pytest.approx(per_f, abs=0.005)


def test_what_a_warm_garage_does_is_said_with_this_engines_sign():
    # common practice: aluminium pushrods hardly any, steel pushrods grow 2 to 4 um/K, so 20 K are 0.04 to 0.08 mm
    assert "hardly depend on the garage" in even_warmth(FLAT, MM).sentences[0]
    assert "gaps grow: from winter to summer by about 0.06\xa0mm" in even_warmth(STEEL, MM).sentences[0]
    assert "gaps shrink" in even_warmth(SIX, MM).sentences[0]
    assert ".0025\xa0in" in even_warmth(STEEL, FAHRENHEIT).sentences[0]


def test_the_half_cooled_trap_is_told_with_this_engines_size():
    # common practice: pushrods 25 K, head 45 K above the air read about 0.07 mm more with aluminium pushrods
    warmth = even_warmth(FLAT, MM)
    assert sum(cells(warmth.figures, "Half cooled")) / 2 == pytest.approx(0.07, abs=0.01)
    assert "the intake gap then reads about 0.08\xa0mm more than cold" in warmth.sentences[1]
    odd = replace(FLAT, stack=(*FLAT.stack[:-1], replace(FLAT.stack[-1], zone="attic")))
    assert len(even_warmth(odd, MM).sentences) == 1


def test_an_engine_that_heat_does_not_move_is_cold_enough_at_any_warmth():
    still = replace(FLAT, stack=tuple(replace(p, material=None, expansion_per_k=0.0) for p in FLAT.stack))
    warmth = even_warmth(still, MM)
    assert warmth.figures[-1].cells == ("at any warmth",) * 2
    assert "read nearly the same" in warmth.sentences[1]


def test_an_engine_without_a_stack_says_what_its_file_needs():
    with pytest.raises(InputError, match=r"\[\[stack\]\]"):
        even_warmth(replace(FLAT, stack=()), MM)


def test_zones_begin_at_usual_temperatures_in_the_owners_unit():
    fields = {field.key: field for field in zone_fields(FLAT, {}, MM)}
    assert (fields["exhaust_valve"].words, fields["exhaust_valve"].typed) == ("exhaust valve", "300")
    assert {f.key: f.typed for f in zone_fields(FLAT, {}, FAHRENHEIT)}["crankcase"] == "185"  # 85 C, exact
    typed = zone_fields(FLAT, {"zone-head": "200"}, MM)
    assert zones_from(typed, MM)["head"] == 200


def test_every_zone_without_a_number_is_named_at_once():
    fields = zone_fields(FLAT, {"zone-head": "warm", "zone-pushrod": ""}, MM)
    with pytest.raises(InputError) as refused:
        zones_from(fields, MM)
    assert "head: 'warm' is not a number" in str(refused.value)
    assert "pushrod: '' is not a number" in str(refused.value)


def test_the_warm_gap_is_the_models_and_what_each_zone_adds_makes_the_sum():
    zones = typical_hot(FLAT)
    answer = hot(FLAT, zones, MM)
    change = gap_change(FLAT, zones)
    assert cells(answer.figures, "Warmth adds") == pytest.approx([change["I"], change["E"]], abs=0.005)
    for drawing, kind in zip(answer.shares, ("I", "E"), strict=True):
        parts = [value(row[1]) for row in drawing.table()[1:-1]]
        assert sum(parts) == pytest.approx(change[kind], abs=0.005 * len(parts))
    assert "Exhaust: the gap shrinks" in answer.sentences[1]
    assert any("outside the range of its figure" in note for note in answer.notes)


def test_a_warm_gap_that_may_close_or_does_close_is_said_plainly():
    zones = typical_hot(FLAT)
    tight = replace(FLAT, gaps={kind: replace(FLAT.gaps[kind], cold=0.03, tight=0.0) for kind in FLAT.gaps})
    assert "It may close" in hot(tight, zones, MM).sentences[1]
    burning = {**zones, "exhaust_valve": 600.0}
    assert "would be held open" in hot(tight, burning, MM).sentences[1]
    even = dict.fromkeys(zones, 20.0)
    assert hot(FLAT, even, MM).sentences[0] == "Intake: the gap stays about as it was set."
    assert hot(FLAT, even, MM).shares == ()


def two_days(slope_um, engine=FLAT):
    """Drag readings that follow a straight line exactly, 2 and 32 C."""
    values = {"cold-temp": "2", "warm-temp": "32"}
    for valve in engine.valves:
        for which, temp in (("cold", 2), ("warm", 32)):
            values[f"{valve}-{which}"] = f"drag {0.15 + slope_um / 1000 * (temp - 2):.2f}"
    return values


def test_two_temperatures_give_the_engines_own_figure_and_say_whether_the_stack_fits():
    fine = BLADES.__class__("fine", "mm", tuple(range(50, 400, 10)))
    agree = own_even(STEEL, two_days(3.0), fine, MM)
    assert cells(agree.figures, "As measured") == pytest.approx([3.0, 3.0], abs=0.5)
    assert "don't contradict the stack" in agree.sentences[0]
    differ = own_even(STEEL, two_days(-3.0), fine, MM)
    assert "hardly agree" in differ.sentences[0]
    assert all(f.why is not None for f in differ.figures)


def test_an_engine_without_a_stack_gets_its_figure_from_the_readings_alone():
    fine = BLADES.__class__("fine", "mm", tuple(range(50, 400, 10)))
    own = own_even(replace(FLAT, stack=()), two_days(3.0), fine, MM)
    assert [f.name for f in own.figures] == ["As measured"]
    assert "from the readings alone" in own.sentences[0]


def test_all_faults_of_two_days_are_named_at_once():
    with pytest.raises(InputError) as refused:
        own_even(FLAT, {"cold-temp": "x", "warm-temp": "", "E3-cold": "plank", "I1-warm": "0.17"}, BLADES, MM)
    said = str(refused.value)
    assert "temperature of the cold day: 'x' is not a number" in said
    assert "temperature of the warm day: '' is not a number" in said
    assert "E3 cold: " in said
    assert "I1 warm: 0.17 mm is not in the blade set metric" in said


def test_cold_and_hot_are_compared_with_the_model():
    values = {"cold-temp": "20", "E1-cold": "0.15/0.20", "E1-hot": "0.10/0.15"}
    agree = own_hot(FLAT, values, BLADES, MM)
    assert agree.sentences == ("Exhaust: measured and worked out agree within what both can know.",)
    assert agree.figures[0].cells[0] == "not measured"
    assert value(agree.figures[0].cells[1]) == pytest.approx(-0.05)
    far = own_hot(FLAT, {**values, "E1-hot": "0.90/0.95"}, BLADES, MM)
    assert "check the stack’s lengths and materials" in far.sentences[0]
    doubtful = own_hot(FLAT, {**values, "E1-hot": "0.35/0.40"}, BLADES, MM)
    assert "measure again before you change the file" in doubtful.sentences[0]


def test_all_faults_of_cold_and_hot_are_named_at_once():
    with pytest.raises(InputError) as refused:
        own_hot(FLAT, {"cold-temp": "", "zone-head": "x", "E1-hot": "plank"}, BLADES, MM)
    said = str(refused.value)
    assert "temperature of the cold engine" in said
    assert "head: 'x'" in said
    assert "E1 hot: " in said
