"""Every figure that can be asked "why" has a formula, inputs, a source and limits."""

from __future__ import annotations

from types import ModuleType

import pytest

from coldlash.bench import cooldown
from coldlash.engine import (
    breathing,
    calibrate,
    heat,
    lobe,
    recession,
    slider_crank,
    timing,
    valve_flow,
)
from coldlash.engine.why import Why


def test_the_lines_come_in_reading_order() -> None:
    assert Why("a + b", "a, b (mm)", "by hand", "always").lines() == (
        "How: a + b",
        "From: a, b (mm)",
        "Source: by hand",
        "Holds: always",
    )


EXPLAINED = [breathing, calibrate, cooldown, heat, lobe, recession, slider_crank, timing, valve_flow]


@pytest.mark.parametrize("module", EXPLAINED)
def test_no_answer_to_why_is_left_open_and_memory_is_owned_up_to(module: ModuleType) -> None:
    for name, why in module.WHY.items():
        assert all(part.strip() for part in (why.formula, why.inputs, why.source, why.valid)), name
        if "Heywood" in why.source or "Lewis" in why.source:
            # These books were not at hand when the formulas were written down.
            assert "from memory" in why.source or "as quoted" in why.source, name
