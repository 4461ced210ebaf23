"""The book's small words: labels known by every fault, numbers told exactly, days and units in the language."""

import ast
import math
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.engines import flat_four

import coldlash.logbook
from coldlash import language
from coldlash.engine.spec import Valve
from coldlash.errors import InputError, MeterWentBackError
from coldlash.logbook.distance import Seen, reckon
from coldlash.logbook.lasting import Work
from coldlash.logbook.parts import WHY, moved_by
from coldlash.logbook.records import NewReading, checked_day, checked_whole, mm, plain, reading_words
from coldlash.logbook.store import Book
from coldlash.logbook.telling import label, labels, state_word, step_word, told

CHECKS = (
    "checked_text", "checked_name", "checked_id", "checked_time", "checked_day", "checked_whole", "checked_choice",
    "checked_blades", "_word", "_json", "find", "_check", "_check_where",
)  # fmt: skip
ID = "3f2b8a52-1c5e-4e0e-9a51-0d8f6c1b7a10"
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


def test_every_kind_of_thing_has_its_own_sentence_when_it_is_not_there_or_there_already(tmp_path):
    path = tmp_path / "shed.coldlash"
    with Book.open(path, create=True, now=lambda: datetime(2026, 11, 25, tzinfo=UTC)) as book:
        ask = {"engine": book.engine, "vehicle": book.vehicle, "blade set": book.blade_set}
        for what, one in ask.items():
            with pytest.raises(InputError, match=f"^this book has no {what} 'Van'; it has none yet$"):
                one("Van")
        toml = (files("coldlash.engine.generic") / "flat-four.toml").read_text(encoding="utf-8")
        book.add_engine("Van", toml)
        book.add_vehicle("Van")
        book.add_blade_set("Van", (50, 100))
        for what, one in ask.items():
            with pytest.raises(InputError, match=f"^this book has no {what} 'Bus'; it has Van$"):
                one("Bus")
        for article, what, again in (
            ("an", "engine", lambda: book.add_engine("Van", toml)),
            ("a", "vehicle", lambda: book.add_vehicle("VAN")),
            ("a", "blade set", lambda: book.add_blade_set("van", (50,))),
        ):
            words = f"^this book already has {article} {what} 'Van'; choose another name$"
            with pytest.raises(InputError, match=words):
                again()
            with language.using(language.PSEUDO), pytest.raises(InputError, match=f"^⟦{words[1:-1]}~+⟧$"):
                again()
        with (
            language.using(language.PSEUDO),
            pytest.raises(InputError, match=r"^⟦this book has no engine 'Bus'"),
        ):
            book.engine("Bus")


def test_a_meter_that_went_back_is_said_with_the_days_and_numbers_of_the_language():
    seen = Seen(day=date(2026, 3, 9), reading=84_210_500, unit="km")
    now = reckon([seen], 50.0)
    with language.using(language.PSEUDO), pytest.raises(MeterWentBackError) as caught:
        now.distance_at(500_000)
    text = str(caught.value)
    assert text.startswith("⟦the meter shows 500 ⟦km⟧, but on 09.03.2026 it showed 84210,5: ⟦")
    assert all(offer.words.startswith("⟦") for offer in caught.value.explanations)
    assert {offer.how for offer in caught.value.explanations} == {"rolled over", "replaced", "mistyped"}
    with language.using(language.PSEUDO):
        later = reckon([seen, replace(seen, day=date(2026, 4, 1), reading=500_000)], 50.0)
    (question,) = later.questions
    assert question.about == "went back"
    assert question.text.startswith("⟦the meter showed 500 ⟦km⟧, but 84210,5 on 09.03.2026: did it roll over")


def test_why_work_moves_gaps_is_said_in_the_language():
    with language.using(language.PSEUDO):
        for part, why in WHY.items():
            work = Work(engine_id=ID, day=date(2026, 3, 9), kind="replaced", part=part)
            assert moved_by(work, flat_four()).why.strip("⟦~⟧") == why
        cleaned = Work(engine_id=ID, day=date(2026, 3, 9), kind="cleaned", part="head")
        assert moved_by(cleaned, flat_four()).why.startswith("⟦cleaning moves no gap~")
