"""What this gap does: the question out of the book, the figures beside the engine's own, words that follow them."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date

import pytest

from coldlash.desk.engines import load_engine
from coldlash.desk.gap_effect import asked_from, breathing_cost, gap_effect, has_lobes
from coldlash.desk.shown import Shown
from coldlash.engine.heat import gap_change
from coldlash.engine.spec import Valve
from coldlash.engine.timing import timing
from coldlash.engine.zones import typical_hot
from coldlash.errors import InputError
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord

FLAT = load_engine("flat-four").engine
MM = Shown()
E3, I3 = Valve("E", 3), Valve("I", 3)


def visit(**found):
    valves = {Valve.parse(name): ValveRecord(GapInterval(*ends)) for name, ends in found.items()}
    return VisitRecord(date(2025, 1, 1), 1000.0, valves)


def asked(values=None, visits=(), engine=FLAT, shown=MM):
    return asked_from(engine, visits, values or {}, shown)


def figure(effect, name):
    found = [f for f in effect.figures if f.name.startswith(name)]
    assert len(found) == 1, name
    return found[0]


def value(cell):
    return float(re.match(r"[−\d.]+", cell)[0].replace("−", "-"))


def test_without_a_question_it_is_the_valve_farthest_from_its_set_gap():
    question = asked(visits=(visit(E3=(0.05, 0.08), I3=(0.15, 0.20), I1=(0.13, 0.15)),))
    assert question.cylinder == 3
    assert question.gaps_mm == {"I": pytest.approx(0.175), "E": pytest.approx(0.065)}
    assert question.source["E"].startswith("as last found")


def test_one_sided_readings_give_the_end_that_is_known():
    question = asked({"cylinder": "3"}, (visit(E3=(-math.inf, 0.05), I3=(0.50, math.inf)),))
    assert question.gaps_mm == {"I": 0.50, "E": 0.0}


def test_nothing_measured_yet_means_the_set_gap():
    question = asked()
    assert (question.cylinder, question.gaps_mm) == (1, {"I": 0.15, "E": 0.15})
    assert "nothing has been measured" in question.source["I"]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"cylinder": "9"}, "cylinder: '9' is not one of 1 to 4"),
        ({"cylinder": "two"}, "cylinder: 'two' is not one of 1 to 4"),
        ({"cylinder": "2", "exhaust": "15"}, "E2: '15' is 15 mm; a gap is below 5 mm"),
        ({"rpm": "0"}, "rpm: 0 turns a minute can't be used; give 100 to 15000"),
        ({"rpm": "fast"}, "rpm: 'fast' is not a number"),
    ],
)
def test_a_question_that_can_not_be_answered_says_what_is_needed(values, message):
    with pytest.raises(InputError) as refused:
        asked(values)
    assert message in str(refused.value)


def test_every_figure_is_the_engines_own_and_can_be_asked_why():
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "0.40", "rpm": "2000"}), MM)
    exhaust = effect.valves[0]
    assert (exhaust.valve, len(exhaust.heads)) == (E3, 3)
    warm = 0.40 + gap_change(FLAT, typical_hot(FLAT))["E"]
    own = timing(FLAT, [0.15, 0.40, warm], "E", 2000.0)
    speeds = [value(cell) for cell in figure(exhaust, "Lands at, 2000 rpm").cells]
    assert speeds == pytest.approx(list(own.seating_mm_per_s), abs=0.5)
    energy = [value(cell) for cell in figure(exhaust, "Landing energy").cells]
    assert energy == pytest.approx(list(own.seating_energy_ratio), abs=0.005)
    assert [value(c) for c in figure(exhaust, "Open for").cells] == pytest.approx(
        list(own.duration_deg), abs=0.05
    )
    for valve in effect.valves:
        assert all(f.why is not None and len(f.cells) == 3 for f in valve.figures)
    assert effect.overlap.why is not None


def test_openings_are_said_from_the_dead_centre_they_belong_to():
    # At the base circle (gap 0) they are the file's own events: 45 BBDC, 8 ATDC, 10 BTDC, 40 ABDC.
    effect = gap_effect(FLAT, asked({"cylinder": "1", "exhaust": "0", "intake": "0"}), MM)
    exhaust, intake = effect.valves
    assert figure(exhaust, "Opens").cells[1] == "45.0° before BDC"
    assert figure(exhaust, "Closes").cells[1] == "8.0° after TDC"
    assert figure(intake, "Opens").cells[1] == "10.0° before TDC"
    assert figure(intake, "Closes").cells[1] == "40.0° after BDC"
    assert value(effect.overlap.cells[1]) == pytest.approx(18.0)  # 10 + 8


def test_a_loose_gap_is_said_to_be_shorter_harder_and_off_the_ramp():
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "0.40"}), MM)
    said = " ".join(effect.valves[0].sentences)
    assert "shorter and lands with" in said
    assert "more than the ramp of the lobe" in said
    # the wear bounds of the law: all sliding leaves 1, all impact goes with the energy (n = 1)
    low, high = figure(effect.valves[0], "Seat wear").cells[1].removesuffix("\xa0×").split("–")
    assert float(low) == 1.0
    assert float(high) == value(figure(effect.valves[0], "Landing energy").cells[1])


def test_a_gap_below_nothing_is_held_open_and_shows_no_closing():
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "-0.05"}), MM)
    exhaust = effect.valves[0]
    assert "held open all the way round" in exhaust.sentences[0]
    assert figure(exhaust, "Closes").cells[1] == "–"
    assert figure(exhaust, "Open for").cells[1] == "720.0°"


def test_a_gap_that_closes_when_warm_is_said_to_be_held_open_then():
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "0.01"}), MM)
    assert any("held open, it can’t seat" in line for line in effect.valves[0].sentences)


def test_a_gap_as_large_as_the_lift_never_opens():
    flat = replace(FLAT, lobes={kind: replace(lobe, peak_lift_mm=4.0) for kind, lobe in FLAT.lobes.items()})
    effect = gap_effect(flat, asked({"cylinder": "1", "exhaust": "4.5"}, engine=flat), MM)
    assert "never opens" in effect.valves[0].sentences[0]


def test_within_the_ramp_it_lands_no_harder_and_a_warm_gap_that_may_close_is_said():
    # the ramp has one speed, and the warm exhaust gap has an sd of nearly a tenth of a millimetre
    said = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "0.09"}), MM).valves[0].sentences
    assert said[0].endswith("longer and lands no harder.")
    assert "it may close, and then the valve can’t seat" in said[1]


def test_at_the_set_gap_it_says_no_more_than_that():
    effect = gap_effect(FLAT, asked({"cylinder": "1"}), MM)
    assert effect.valves[0].sentences[0] == "E1 stands at its set gap of 0.15\xa0mm."


def test_without_a_stack_nothing_is_said_of_warmth():
    bare = replace(FLAT, stack=())
    effect = gap_effect(bare, asked({"cylinder": "1"}, engine=bare), MM)
    assert [len(valve.heads) for valve in effect.valves] == [2, 2]
    assert effect.warm == {}
    assert "no [[stack]]" in effect.notes[0]
    odd = replace(FLAT, stack=(*FLAT.stack[:-1], replace(FLAT.stack[-1], zone="attic")))
    assert "zone attic" in gap_effect(odd, asked({"cylinder": "1"}, engine=odd), MM).notes[0]


def test_without_a_lobe_it_says_which_keys_are_needed():
    bare = replace(FLAT, lobes={})
    assert not has_lobes(bare)
    assert has_lobes(FLAT)
    with pytest.raises(InputError, match="lobe"):
        gap_effect(bare, asked({"cylinder": "1"}, engine=bare), MM)


def test_without_geometry_the_compression_is_left_out():
    bare = replace(FLAT, geometry=replace(FLAT.geometry, bore_mm=None))
    effect = gap_effect(bare, asked({"cylinder": "1"}, engine=bare), MM)
    assert not [f for f in effect.valves[1].figures if f.name == "Compresses"]


def test_the_pictures_have_both_valves_in_every_case_and_the_ramps():
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "0.40"}), MM)
    head, *rows = effect.lift.table()
    assert head[1:] == tuple(f"{v}3 {case}, lift, mm" for v in "EI" for case in ("set", "this gap", "warm"))
    assert len(rows) > 10
    # the file's peak lift, 8.5 mm, less the gap
    assert "E3 set: highest 8.35 at" in effect.lift.desc
    assert "E3 this gap: highest 8.10 at" in effect.lift.desc
    assert "Shaded, ramp of the lobe" in effect.lift.desc
    assert effect.valves[0].closing.title == "E3 closing, enlarged"


def test_inches_are_inches_in_words_figures_and_pictures():
    inch = Shown("in")
    effect = gap_effect(FLAT, asked({"cylinder": "3", "exhaust": "15"}, shown=inch), inch)
    assert effect.valves[0].heads[1] == "this gap, .015\xa0in"
    assert value(figure(effect.valves[0], "Lifts by").cells[0]) == pytest.approx(8.35 / 25.4, abs=0.001)
    assert figure(effect.valves[0], "Lands at").cells[0].endswith(" in/s")
    # exact: .001 in is 0.0254 mm
    hundredth = timing(FLAT, 0.15, "E", 3000.0).deg_per_hundredth_mm
    per_thousandth = figure(effect.valves[0], "Each .001 in more costs").cells[0]
    assert value(per_thousandth) == pytest.approx(2.54 * float(hundredth), abs=0.005)
    assert "lift, in" in effect.lift.table()[0][1]


def test_breathing_compares_the_set_gap_with_this_one_and_is_remembered():
    cost = breathing_cost(FLAT, E3, 0.40, 3000.0, MM)
    filling = [value(cell) for cell in cost.figures[0].cells]
    assert filling[1] < filling[0]
    assert "E3 at 0.40\xa0mm instead of 0.15\xa0mm" in cost.sentences[0]
    assert all(f.why is not None for f in cost.figures)
    again = breathing_cost(FLAT, E3, 0.40, 3000.0, Shown("in"))
    assert again.sentences[0].startswith("E3 at .0155\xa0in instead of .006\xa0in")
    assert [f.cells for f in again.figures] == [f.cells for f in cost.figures]


def test_breathing_without_geometry_names_what_the_file_needs():
    bare = replace(FLAT, geometry=replace(FLAT.geometry, bore_mm=None))
    with pytest.raises(InputError, match="bore_mm"):
        breathing_cost(bare, E3, 0.40, 3000.0, MM)
