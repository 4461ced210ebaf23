"""Texts in the language of the moment: falling back, filling in, numbers and days as CLDR writes them."""

from __future__ import annotations

from contextvars import copy_context
from datetime import UTC, date, datetime

import pytest
from babel.dates import format_date
from babel.numbers import format_decimal

from coldlash import language
from coldlash.language import day, day_of, month, month_and_year, number, plural, say, say_in, table, using


def test_english_is_said_as_it_stands() -> None:
    assert say("{engine} is due at {km:,.0f} km", engine="Pump", km=12345.6) == "Pump is due at 12,346 km"
    assert say("braces {} stay without values") == "braces {} stay without values"
    assert plural("{n} valve", "{n} valves", 1) == "1 valve"
    assert plural("{n} valve", "{n} valves", 0) == "0 valves"
    assert say_in("state", "open") == "open"
    assert day(date(2026, 11, 25)) == "2026-11-25"


@pytest.mark.parametrize("value", [0.15, -0.02, 1234567.891, 0.0])
def test_numbers_get_the_marks_that_cldr_has_for_german(value: float) -> None:
    # Independent software: Babel's formatting of CLDR data.
    with using("de"):
        assert number(value, ",.3f") == format_decimal(value, "#,##0.000", locale="de")
        assert say("{gap:,.3f}", gap=value).strip("⟦~⟧") == number(value, ",.3f")
        assert number(7) == "7"


def test_days_are_written_as_cldr_has_them_for_german() -> None:
    when = date(2026, 3, 9)
    with using("de"):
        assert day(when) == format_date(when, "medium", locale="de") == "09.03.2026"
        assert day(datetime(2026, 3, 9, 23, 59, tzinfo=UTC)) == "09.03.2026"
        assert day_of("2026-03-09") == "09.03.2026"
        assert day_of("not known") == "not known"
        assert month(when) == "März"
        assert month_and_year(when) == "März 2026"
    assert day_of("2026-03-09") == "2026-03-09"
    assert month(when) == "March"
    assert month_and_year(when) == "March 2026"


def test_days_within_a_text_follow_the_language() -> None:
    with using(language.PSEUDO):
        assert say("since {day}", day=date(2026, 3, 9)) == "⟦since 09.03.2026~~~⟧"


def test_the_pseudo_language_marks_every_text_and_leaves_what_is_filled_in() -> None:
    with using(language.PSEUDO):
        assert say("Gap") == "⟦Gap~⟧"
        assert say("") == ""
        assert say("{gap:.2f} mm", gap=0.15) == "⟦0,15 mm~~~~⟧"
        assert plural("{n} valve", "{n} valves", 2) == "⟦2 valves~~~⟧"
        assert say_in("state", "open") == "⟦open~⟧"
        assert table(language.mark("due")) == "⟦due~⟧"


@pytest.mark.parametrize(
    ("asked", "have"),
    [
        ("de", "de"),
        ("DE-at", "de"),
        ("de_DE.UTF-8", "de"),
        ("en_GB.UTF-8", "en"),
        ("C.UTF-8", "en"),
        ("POSIX", "en"),
        ("en-XA", "en-XA"),
        ("fr", None),
        ("", None),
    ],
)
def test_a_tag_or_a_locale_name_finds_its_language(asked: str, have: str | None) -> None:
    assert language.known(asked) == have


def test_the_most_wanted_language_that_is_there_is_taken() -> None:
    assert language.best(["fr-FR", "de-CH", "en"]) == "de"
    assert language.best(["fr"]) == "en"
    assert language.best([]) == "en"


def test_a_language_that_is_not_there_is_refused_and_nothing_changes() -> None:
    with pytest.raises(ValueError, match=r"the language 'fr' is not here; there are en, de"), using("fr"):
        pass
    with pytest.raises(ValueError, match=r"the language 'xx' is not here"):
        language.speak("xx")
    assert language.current() == "en"


def test_speaking_lasts_for_its_own_context_only() -> None:
    def inside() -> str:
        language.speak("de")
        return language.current()

    assert copy_context().run(inside) == "de"
    assert language.current() == "en"
    with using("de"):
        assert language.current() == "de"
    assert language.current() == "en"


def test_the_catalogues_are_whole_up_to_date_and_say_nothing_of_when_they_were_made() -> None:
    import catalogues

    made, todo = catalogues.made()
    assert not todo
    for path, data in made.items():
        assert path.read_bytes() == data, path.name
        assert b"-Date:" not in data
        assert b"Generated-By" not in data


def test_what_a_translator_got_wrong_is_named() -> None:
    import catalogues

    german = catalogues.Catalog(locale="de", fuzzy=False)
    german.add("{gap:.2f} mm", "{spiel:.2f} mm")
    german.add(("{n} valve", "{n} valves"), ("ein Ventil", "{n} Ventile"))
    german.add("found", "")
    assert catalogues.faults("de", german) == [
        "de: fields differ: '{gap:.2f} mm' / '{spiel:.2f} mm'",
        "de: not translated: 'found'",
    ]
