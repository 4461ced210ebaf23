"""A number in a wrong unit is recognised, and the right figure offered; a right one is left alone."""

from __future__ import annotations

import pytest

from coldlash.engine import unit_hints

# Expected figures: exact arithmetic, 1 in = 25.4 mm (international inch, 1959).


@pytest.mark.parametrize(
    ("hint", "value", "said"),
    [
        (
            unit_hints.gap_hint,
            6,
            "if these are thousandths of an inch, write 0.1524; if hundredths of a mm, write 0.06",
        ),
        (unit_hints.gap_hint, 0.013, "no blade is that thin; if these are inches, 0.013 in is 0.3302 mm"),
        (unit_hints.tight_hint, 0.004, "no blade is that thin; if these are inches, 0.004 in is 0.1016 mm"),
        (unit_hints.pitch_hint, 32, "if these are threads per inch, the pitch is 25.4 / 32 = 0.79375 mm"),
        (unit_hints.pitch_hint, 0.03937, "if these are inches, 0.03937 in is 0.999998 mm"),
        (unit_hints.length_hint(20), 6.9, "if these are centimetres, write 69; if inches, 175.26"),
        (unit_hints.expansion_hint, 11.7, "if these are millionths per K, write 11.7e-6"),
        (unit_hints.minus_before_hint, -7.5, "7.5 before TDC is written 352.5"),
    ],
)
def test_a_wrong_unit_is_recognised(hint, value, said):
    assert hint(value) == said


@pytest.mark.parametrize(
    ("hint", "value"),
    [
        (unit_hints.gap_hint, 0),
        (unit_hints.gap_hint, 0.02),
        (unit_hints.gap_hint, 2),
        (unit_hints.tight_hint, 0.01),
        (unit_hints.tight_hint, 0),
        (unit_hints.pitch_hint, 0.75),
        (unit_hints.pitch_hint, 5),
        (unit_hints.length_hint(20), 20),
        (unit_hints.length_hint(20), -5),
        (unit_hints.expansion_hint, 2.3e-5),
        (unit_hints.minus_before_hint, 0),
    ],
)
def test_a_plausible_number_is_left_alone(hint, value):
    assert hint(value) is None
