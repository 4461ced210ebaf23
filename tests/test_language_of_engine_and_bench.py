"""Engine and bench in the test language: every text is marked, numbers have the decimal comma."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from coldlash.bench.blades import STANDARD_SETS, BladeReading, parse_reading, parse_thickness, show_um
from coldlash.bench.cautions import cautions_at
from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.bench.cooldown import WHY as COOLING_WHY
from coldlash.bench.cooldown import Reading, cooling
from coldlash.bench.marks import describe_position, find_firing_tdc, which_turn
from coldlash.bench.screw import screw_turn
from coldlash.engine import breathing, calibrate, heat, lobe, timing, valve_flow
from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.linkage import cause_table
from coldlash.engine.materials import material_named
from coldlash.engine.notes import engine_notes
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import Engine, Linkage, Valve
from coldlash.engine.template import new_engine_text
from coldlash.engine.zones import zone_words
from coldlash.errors import ColdlashError
from coldlash.language import PSEUDO, using


@pytest.fixture(params=generic_names())
def engine(request: pytest.FixtureRequest) -> Engine:
    return read_engine(generic_text(request.param), request.param)


def marked(text: str) -> bool:
    """Whether the whole text is within the marks of the test language."""
    return text.startswith("⟦") and text.endswith("⟧")


def test_the_sentences_of_an_engine_are_said(engine: Engine) -> None:
    with using(PSEUDO):
        said = [*engine_notes(engine), *heat.notes(engine)]
        for row in cause_table(engine):
            said += [row.happens, row.explanation]
    assert len(said) > 10
    assert [text for text in said if not marked(text)] == []
    assert not any(re.search(r"\d\.\d", text) for text in said)


def test_the_sentences_of_the_bench_are_said(engine: Engine) -> None:
    with using(PSEUDO):
        lists = [getting_ready(engine), closing_up(engine)]
        said = [one.title for one in lists] + [item.text for one in lists for item in one.items]
        said += [caution.text for one in lists for caution in one.cautions]
        said += [caution.text for caution in cautions_at("leakdown")]
        for at in (0.0, 10.5, 90.0, 333.25, 360.0, 701.5):
            said += [
                describe_position(engine, at),
                *re.split(r"(?<=⟧) (?=⟦)", " ".join(which_turn(engine, at))),
            ]
        said += find_firing_tdc(engine, 1)
    assert len(said) > 25
    assert [text for text in said if not marked(text)] == []
    assert not any(re.search(r"\d\.\d", text) for text in said)


@pytest.mark.parametrize(
    "whys", [breathing.WHY, calibrate.WHY, heat.WHY, timing.WHY, lobe.WHY, valve_flow.WHY, COOLING_WHY]
)
def test_how_a_figure_came_about_is_said(whys: dict[str, object]) -> None:
    with using(PSEUDO):
        lines = [line for why in whys.values() for line in why.lines()]  # type: ignore[attr-defined]
    assert lines
    assert all(marked(line) and line.count("⟦") == 2 for line in lines)


def test_thicknesses_and_turns_have_the_decimal_mark_of_the_language() -> None:
    with using(PSEUDO):
        assert show_um(150, "mm") == "0,15 mm"
        assert show_um(152, "in") == ",006 in"
        assert marked(BladeReading(150, 200).words())
        assert "0,15 mm" in BladeReading(150, 200).words()
        assert marked(screw_turn(Linkage(1.0, screw_pitch_mm=1.0), 0.1, 0.225).words)
        assert marked(zone_words("intake_valve"))
    assert show_um(150, "mm") == "0.15 mm"


@pytest.mark.parametrize(
    "mistake",
    [
        lambda: parse_thickness("15", "mm"),
        lambda: parse_reading("0.17", STANDARD_SETS["metric"]),
        lambda: generic_text("nothing-like-it"),
        lambda: cooling(20.0, [Reading(0, 92)]),
        lambda: Valve.parse("X9"),
        lambda: material_named("cheese"),
        lambda: new_engine_text("", generic_names()[0]),
    ],
)
def test_a_refusal_is_said(mistake: Callable[[], object]) -> None:
    with using(PSEUDO), pytest.raises(ColdlashError) as refused:
        mistake()
    assert marked(str(refused.value))


def test_the_faults_of_an_engine_file_are_said_each() -> None:
    text = generic_text(generic_names()[0]) + "\nnonsense = 1\n[linkage]\nrocker_ratio = true\n"
    with using(PSEUDO), pytest.raises(ColdlashError) as refused:
        read_engine(text, "file")
    assert all(marked(line.strip()) for line in str(refused.value).splitlines())


def test_a_new_engine_file_reads_back_in_every_language_and_keeps_its_points() -> None:
    english = new_engine_text("Launch", generic_names()[0])
    with using(PSEUDO):
        other = new_engine_text("Launch", generic_names()[0])

    def data(whole: str) -> list[str]:
        lines = whole.splitlines()
        return lines[next(i for i, line in enumerate(lines) if not line.startswith("#")) :]

    assert data(other) == data(english)
    assert "⟦Launch: engine file" in other
