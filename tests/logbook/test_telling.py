"""The book's small words: labels known by every fault, numbers told exactly, days and units in the language."""

import ast
import math
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import coldlash.logbook
from coldlash import language
from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.logbook.records import NewReading, checked_day, checked_whole, mm, plain, reading_words
from coldlash.logbook.telling import label, labels, state_word, step_word, told

CHECKS = (
    "checked_text", "checked_name", "checked_id", "checked_time", "checked_day", "checked_whole", "checked_choice",
    "checked_blades", "_word", "_json", "find", "_check", "_check_where",
)  # fmt: skip
ROOM = Path(coldlash.logbook.__file__).parent


@given(st.integers(-(10**13), 10**13))
def test_a_number_told_is_the_exact_decimal(thousandths):
    # Independent software: Python's decimal arithmetic.
    assert Decimal(told(thousandths)) == Decimal(thousandths) / 1000
    assert told(thousandths) == plain(thousandths)
    with language.using("de"):
        assert told(thousandths) == plain(thousandths).replace(".", ",")


def test_gaps_keep_two_decimals_and_get_the_marks_of_the_language():
    assert (mm(150), mm(1), mm(2000)) == ("0.15 mm", "0.001 mm", "2.00 mm")
    with language.using(language.PSEUDO):
        assert mm(150).startswith("⟦0,15 mm")
    assert math.isclose(float(plain(84_210_500)), 84210.5)


def test_a_label_is_said_part_by_part_and_names_stay():
    assert label("work: note") == "work: note"
    with language.using(language.PSEUDO):
        assert label("work: note") == "⟦work~⟧: ⟦note~⟧"
        assert label("E3 found: go") == "E3 ⟦found~⟧: ⟦go⟧"
        assert label("lobe table mine.csv") == "lobe table mine.csv"
        assert labels(["day", "note"]) == "⟦day~⟧, ⟦note~⟧"


def test_states_and_steps_have_words_and_what_is_none_stays():
    with language.using(language.PSEUDO):
        assert [step_word(word) for word in ("found", "set", "left", "x")] == [
            "⟦found~⟧",
            "⟦set~⟧",
            "⟦left~⟧",
            "x",
        ]
        assert [state_word(word)[0] for word in ("draft", "closed", "discarded")] == ["⟦"] * 3
        assert state_word("lost") == "lost"


def _labels_given(tree):
    """The literal labels that are given to the book's checks, with f-strings' fields cut out."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in CHECKS:
            for given_label in node.args[:4]:
                if isinstance(given_label, ast.Constant) and isinstance(given_label.value, str):
                    yield given_label.value
                elif isinstance(given_label, ast.JoinedStr):
                    last = given_label.values[-1]
                    if isinstance(last, ast.Constant):
                        yield last.value.removeprefix(":").strip()


def test_every_label_that_a_check_is_given_is_known_to_translators():
    given_labels = {
        (path.name, text)
        for path in ROOM.glob("*.py")
        for text in _labels_given(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert len(given_labels) > 40
    with language.using(language.PSEUDO):
        unknown = sorted(
            (place, part)
            for place, text in given_labels
            for part in text.split(": ")
            if part.strip("\0") and not label(part).startswith("⟦")
        )
    assert unknown == []


def test_a_fault_of_a_record_is_said_in_the_language():
    with language.using(language.PSEUDO):
        with pytest.raises(InputError, match=r"^⟦E3 ⟦found~⟧: ⟦go⟧: 2\.5 is not a whole number of um"):
            NewReading(valve=Valve("E", 3), step="found", go_um=2.5)  # type: ignore[arg-type]
        with pytest.raises(InputError, match=r"^⟦⟦distance~~⟧: -1 m is outside 0 to 10"):
            checked_whole(-1, "distance", 0, 10, "m")
        with pytest.raises(InputError, match=r"^⟦⟦day~⟧: 'May' is not a date"):
            checked_day("May")


def test_a_reading_is_said_as_a_whole_in_every_variant():
    valve = Valve("E", 3)
    readings = [
        NewReading(valve=valve, step="found"),
        NewReading(valve=valve, step="found", go_um=0, nogo_um=50),
        NewReading(valve=valve, step="found", go_um=150),
        NewReading(valve=valve, step="found", go_um=150, nogo_um=200),
        NewReading(valve=valve, step="found", go_um=150, feel="drag"),
        NewReading(valve=valve, step="found", go_um=150, nogo_um=200, feel="drag"),
        NewReading(valve=valve, step="set"),
        NewReading(valve=valve, step="set", blade_um=150),
    ]
    assert [reading_words(reading) for reading in readings] == [
        "not measured",
        "no blade goes, thinnest tried 0.05 mm",
        "0.15 mm goes, no thicker one tried",
        "0.15 mm goes, 0.20 mm does not",
        "drag on 0.15 mm",
        "drag on 0.15 mm, 0.20 mm does not go",
        "set to the cold gap",
        "set on 0.15 mm",
    ]
    with language.using(language.PSEUDO):
        for reading in readings:
            assert reading_words(reading, str).count("⟦") == 1
