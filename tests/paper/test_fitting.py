"""Type small enough for its place."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from coldlash.paper.fitting import LEADING, MM_PER_PT, fit_size
from coldlash.paper.textwidth import wrap


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.text("abcdefg ,.", max_size=300), st.floats(30, 90), st.floats(6, 30))
def test_the_chosen_size_fits_or_is_the_least_there_is(text, wide, high):
    size = fit_size(text, (wide, high), 15.0, 4.0)
    assert 4.0 <= size <= 15.0
    if size > 4.0:
        lines = wrap(text, wide / MM_PER_PT, size)
        assert len(lines) * size * LEADING * MM_PER_PT <= high


def test_short_text_keeps_the_full_size_and_long_text_gets_smaller():
    assert fit_size("Van", (50, 17), 15.0, 4.0) == 15.0
    assert fit_size("word " * 40, (50, 17), 15.0, 4.0) < 10
