"""Checklists and cautions: each caution is said at the step where the harm is."""

from typing import get_args

import pytest

from coldlash.bench.cautions import CAUTIONS, MAKER_FIRST, Step, cautions_at
from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.reader import read_engine

# Common practice: what the trade warns of, and at which step it can hurt.
EXPECTED = [
    ("ready", "battery disconnected"),
    ("ready", "wheels chocked"),
    ("ready", "jack alone"),
    ("ready", "oil burn"),
    ("turn_against", "loosen the pulley bolt"),
    ("turn_against", "finish every move with the engine's rotation"),
    ("run", "fuel leak is a fire"),
    ("run", "only in the open"),
    ("run", "clear of belt and fan"),
    ("compression", "disable the coil"),
    ("leakdown", "exact firing TDC"),
    ("leakdown", "never held by hand"),
    ("leakdown", "raised slowly"),
    ("listen", "In the open"),
    ("close_up", "collection point"),
]


@pytest.mark.parametrize(("step", "words"), EXPECTED)
def test_the_trades_caution_is_said_at_its_step(step, words):
    assert any(words in caution.text for caution in cautions_at(step))


def test_every_step_has_a_caution_and_every_caution_one_sentence_and_its_own_key():
    assert {caution.step for caution in CAUTIONS} == set(get_args(Step))
    assert len({caution.key for caution in CAUTIONS}) == len(CAUTIONS)
    for caution in CAUTIONS:
        assert caution.text.endswith(".")
        assert caution.text.count(". ") == 0
    assert "maker's manual" in MAKER_FIRST


@pytest.mark.parametrize("name", generic_names())
def test_checklists_fit_the_engine(name):
    engine = read_engine(generic_text(name), name)
    ready, close = getting_ready(engine), closing_up(engine)
    keys = [item.key for item in ready.items]
    assert {"cold", "meter", "blades"} <= set(keys)
    assert len(set(keys)) == len(keys)
    covers = "the rocker cover" if len(engine.heads) == 1 else f"the {len(engine.heads)} rocker covers"
    assert any(covers in item.text for item in ready.items)
    assert any("turned twice" in item.text for item in close.items)
    assert {caution.step for caution in close.cautions} == {"close_up", "run"}
