"""Placing words: spread against SciPy's isotonic regression, round steps, legends that keep to their room."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression
from tests.paper.drawn import faults_of_text, texts
from tests.paper.drawn import parse as read

from coldlash.paper.labels import Key, column_widths, fits, legend, spread, steps, target_mark
from coldlash.paper.svg import Canvas, Drawing
from coldlash.paper.textwidth import text_width

WANTED = st.lists(st.tuples(st.floats(0, 300), st.floats(5, 60)), min_size=1, max_size=12)


@given(WANTED)
def test_labels_lie_as_near_to_their_marks_as_least_squares_allows(pairs):
    pairs.sort()
    wanted, sizes = [p[0] for p in pairs], [p[1] for p in pairs]
    placed = spread(wanted, sizes, -1e6, 1e6, 4)
    apart = np.concatenate([[0], np.cumsum([(a + b) / 2 + 4 for a, b in itertools.pairwise(sizes)])])
    # independent software: scipy.optimize.isotonic_regression solves the same problem after the shift
    best = isotonic_regression(np.array(wanted) - apart).x + apart
    assert placed == pytest.approx(best, abs=1e-6)


@given(WANTED)
def test_labels_never_touch_and_stay_inside_where_they_fit(pairs):
    pairs.sort()
    wanted, sizes = [p[0] for p in pairs], [p[1] for p in pairs]
    placed = spread(wanted, sizes, 0, 320, 4)
    ends = [(x - size / 2, x + size / 2) for x, size in zip(placed, sizes, strict=True)]
    assert all(b[0] - a[1] >= 4 - 1e-6 for a, b in itertools.pairwise(ends))
    if fits(sizes, 320, 4):
        assert ends[0][0] >= -1e-6
        assert ends[-1][1] <= 320 + 1e-6


def test_no_labels_need_no_place():
    assert spread([], [], 0, 10, 1) == []
    assert fits([], 0, 5)


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e5), st.integers(2, 20))
def test_steps_are_round_evenly_spaced_and_no_more_than_asked(low, size, most):
    found = steps(low, low + size, most)
    assert len(found) <= most
    assert all(low - 1e-6 * size <= value <= low + size * (1 + 1e-6) for value in found if len(found) > 1)
    if len(found) > 1:
        step = found[1] - found[0]
        figure = step / 10 ** np.floor(np.log10(step * (1 + 1e-6)))
        assert min(abs(figure - m) for m in (1, 2, 5, 10)) < 1e-3


def test_steps_go_by_what_suits_the_quantity_first():
    assert steps(0, 720, 9, (30, 90, 180)) == [0, 90, 180, 270, 360, 450, 540, 630, 720]
    assert steps(0, 5, 6, (30, 90)) == [0]
    assert steps(0, 0.5, 6) == pytest.approx([0, 0.1, 0.2, 0.3, 0.4, 0.5])
    assert steps(3, 3, 6) == [3]
    assert steps(-0.001, 0.3, 1) == [0.0]


@given(
    st.lists(
        st.sampled_from(["found", "likely gap", "a sentence that is rather long for a legend entry"]),
        max_size=9,
    )
)
def test_a_legend_says_how_tall_it_is_and_keeps_to_its_room(entries):
    canvas = Canvas()
    keys = [Key("found", words) for words in entries]
    height = legend(canvas, keys, 4, 10, 250, 13)
    drawing = Drawing("t", 260, 10 + height, "t", "d", canvas.body(), ())
    assert faults_of_text(drawing) == []
    said = " ".join(box.words for box in texts(read(drawing)))
    assert said.split() == " ".join(entries).split()


MARKS = [
    "found", "found-upright", "reread", "reread-upright", "target", "unknown", "band", "fan", "reset", "open-i",
    "open-e", "room", "hatched", "here", "drag", "cross", "series-b",
]  # fmt: skip


@pytest.mark.parametrize("mark", MARKS)
def test_every_mark_of_a_legend_draws_something(mark):
    canvas = Canvas()
    legend(canvas, [Key(mark, "")], 0, 0, 100)
    assert canvas.parts


def test_an_entry_may_be_words_alone():
    canvas = Canvas()
    legend(canvas, [Key("none", "a note")], 0, 0, 200)
    assert len(canvas.parts) == 1


def test_a_target_points_at_its_gap():
    canvas = Canvas()
    target_mark(canvas, 10, 20)
    assert 'points="10,20 18,15 18,25"' in canvas.parts[0]


def test_columns_are_as_wide_as_their_widest_entry():
    assert column_widths([["a", "wide entry"], []], 13) == [text_width("wide entry", 13), 0.0]
