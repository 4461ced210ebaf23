"""In which language a text is said, and how numbers and days are written in it.

The English text is the key. ``say("{engine} is due", engine=name)`` looks the English template up in the catalogue
of the language of the moment, then fills it in; numbers get that language's decimal mark, days its order. English is
said as it stands in the code, days as ISO 8601 has them. What the book keeps, what scripts read (JSON keys, states,
commands) and what is checksummed is never translated.

Catalogues are GNU gettext's: ``translations/<language>.po`` for people, the ``.mo`` made from it for the program.
"""

from __future__ import annotations

import gettext
import string
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from functools import lru_cache
from importlib.resources import files
from typing import Any

ENGLISH = "en"
PSEUDO = "en-XA"
"""A language for tests: every text in ⟦ ⟧ and about a third longer, so that one that was forgotten shows."""

NAMES: Mapping[str, str] = {ENGLISH: "English", "de": "Deutsch"}
"""The languages there are, each by its own name."""

_current: ContextVar[str] = ContextVar("language", default=ENGLISH)


def current() -> str:
    """The tag of the language of the moment (BCP 47): "en", "de"."""
    return _current.get()


@contextmanager
def using(tag: str) -> Iterator[None]:
    """Speak ``tag`` within the block. Raises ValueError for a language that isn't there."""
    token = _current.set(_known(tag))
    try:
        yield
    finally:
        _current.reset(token)


def speak(tag: str) -> None:
    """Speak ``tag`` from here on in this context. Raises ValueError for a language that isn't there."""
    _current.set(_known(tag))


def known(tag: str) -> str | None:
    """The language that a tag or a POSIX locale name asks for ("de-AT", "de_DE.UTF-8"), or None if it isn't there."""
    plain = tag.partition(".")[0].partition("@")[0].replace("_", "-").strip().lower()
    if plain in ("c", "posix"):
        return ENGLISH
    return next((have for have in (*NAMES, PSEUDO) if plain == have.lower()), None) or next(
        (have for have in NAMES if plain.partition("-")[0] == have), None
    )


def best(wanted: Sequence[str]) -> str:
    """The first of ``wanted`` (tags, most wanted first) that is there; English if none is."""
    return next((have for have in map(known, wanted) if have is not None), ENGLISH)


def _known(tag: str) -> str:
    have = known(tag)
    if have is None:
        raise ValueError(f"the language {tag!r} is not here; there are {', '.join(NAMES)}")
    return have


def mark(text: str) -> str:
    """``text`` itself: marks a text of an import-time table for translation. Translate at use with ``table``."""
    return text


def say(template: str, /, **values: Any) -> str:
    """``template`` in the language of the moment, with ``values`` filled in (``str.format``'s fields)."""
    tag = _current.get()
    if tag == ENGLISH:
        return template.format(**values) if values else template
    return _filled(tag, _look_up(tag, template), values)


table = say
"""``say`` for a text that comes from a table: marked with ``mark`` or read from a table of the package."""


def say_in(context: str, template: str, /, **values: Any) -> str:
    """``say`` for a word that other languages split: ``context`` tells the translator which one is meant."""
    tag = _current.get()
    if tag == ENGLISH:
        return template.format(**values) if values else template
    if tag == PSEUDO:
        return _filled(tag, _look_up(tag, template), values)
    return _filled(tag, _catalogue(tag).pgettext(context, template), values)


def plural(one: str, many: str, n: int, /, **values: Any) -> str:
    """``one`` or ``many``, as the language counts ``n``; ``{n}`` in them is the count."""
    tag = _current.get()
    if tag == ENGLISH:
        return (one if n == 1 else many).format(n=n, **values)
    if tag == PSEUDO:
        return _filled(tag, _look_up(tag, one if n == 1 else many), {"n": n, **values})
    return _filled(tag, _catalogue(tag).ngettext(one, many, n), {"n": n, **values})


def number(value: float, spec: str = "") -> str:
    """A number by a format spec, with the decimal mark and grouping of the language."""
    text = format(value, spec)
    tag = _current.get()
    return text if tag == ENGLISH else text.translate(_marks(tag))


def day(value: date) -> str:
    """A day as the language writes it: 2026-11-25, 25.11.2026."""
    if isinstance(value, datetime):
        value = value.date()
    tag = _current.get()
    if tag == ENGLISH:
        return value.isoformat()
    from babel.dates import format_date

    return format_date(value, "medium", locale=_locale(tag))


def day_of(text: str) -> str:
    """A day given as ISO 8601 text, as the language writes it; other text as it is."""
    if _current.get() == ENGLISH:
        return text
    try:
        return day(date.fromisoformat(text))
    except ValueError:
        return text


def month(value: date) -> str:
    """The name of a day's month: March, März."""
    from babel.dates import format_date

    return format_date(value, "LLLL", locale=_locale(_current.get()))


def month_and_year(value: date) -> str:
    """A day's month and year: March 2026, März 2026."""
    from babel.dates import format_date

    return format_date(value, "LLLL y", locale=_locale(_current.get()))


class _Filling(string.Formatter):
    """``str.format`` whose numbers and days are written as the language does."""

    def __init__(self, tag: str) -> None:
        self.marks = _marks(tag)

    def format_field(self, value: Any, spec: str) -> str:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return format(value, spec).translate(self.marks)
        if isinstance(value, date) and not spec:
            return day(value)
        return format(value, spec)


def _filled(tag: str, template: str, values: Mapping[str, Any]) -> str:
    return _filling(tag).vformat(template, (), values) if values else template


@lru_cache(maxsize=8)
def _filling(tag: str) -> _Filling:
    return _Filling(tag)


@lru_cache(maxsize=8)
def _marks(tag: str) -> dict[int, str]:
    from babel.numbers import get_decimal_symbol, get_group_symbol

    locale = _locale(tag)
    return str.maketrans({".": get_decimal_symbol(locale), ",": get_group_symbol(locale)})


def _locale(tag: str) -> str:
    return "de" if tag == PSEUDO else tag


def _look_up(tag: str, template: str) -> str:
    if tag == PSEUDO:
        return _pseudo(template)
    return _catalogue(tag).gettext(template) if template else template


@lru_cache(maxsize=8)
def _catalogue(tag: str) -> gettext.NullTranslations:
    path = files("coldlash") / "translations" / f"{tag}.mo"
    with path.open("rb") as stream:
        return gettext.GNUTranslations(stream)


def _pseudo(template: str) -> str:
    return f"⟦{template}{'~' * (len(template) * 35 // 100)}⟧" if template.strip() else template
