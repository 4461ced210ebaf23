"""Typed reading of one TOML table: every fault is noted with its place, none is raised.

A field that is missing or faulty comes back as None; the caller builds its object only when no fault was
noted. What is asked for (unit, range) is said in every message.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from coldlash.engine.toml_lines import UNREAD, Path, TomlFile
from coldlash.errors import Fault
from coldlash.language import plural, say

Hint = Callable[[float], str | None]
"""Looks at a number and says what is suspicious about it (a wrong unit), or None."""

_TURNS_WRITING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


class Notebook:
    """Collects the faults of one file and knows the place of each path."""

    def __init__(self, file: TomlFile) -> None:
        self._file = file
        self.faults: list[Fault] = list(file.faults)

    def fault(self, path: Path, message: str, *, at_key: bool = False) -> None:
        """Note a fault at the value of ``path``, or at its key."""
        places = self._file.keys if at_key else self._file.values
        place = places.get(path) or self._file.keys.get(path)
        self.faults.append(Fault(message, place.line, place.column) if place else Fault(message))


class Table:
    """One table of the file, read field by field.

    ``known`` lists its keys; anything else is a fault. ``elsewhere`` answers what an unknown key may mean.
    """

    def __init__(
        self,
        notebook: Notebook,
        path: Path,
        data: Mapping[str, Any],
        known: Sequence[str],
        elsewhere: Callable[[Path, str], str | None],
    ) -> None:
        self.notebook = notebook
        self.path = path
        self.data = data
        self._elsewhere = elsewhere
        for key in data:
            if key not in known:
                self._unknown(key, known)

    @property
    def where(self) -> str:
        """The table's name as the owner wrote it."""
        return written(self.path)

    def has(self, key: str) -> bool:
        """Whether the file gives this key at all."""
        return key in self.data

    def fault(self, key: str, message: str) -> None:
        """Note a fault at the value of one key."""
        self.notebook.fault((*self.path, key), message)

    def missing(self, key: str, need: str) -> None:
        """Note that a key which has to be there is not."""
        self.notebook.fault(
            self.path,
            say("{key} is missing; it needs {need}", key=written((*self.path, key)), need=need),
            at_key=True,
        )

    def raw(self, key: str, need: str, required: bool) -> Any:
        """The value as it stands, or None when absent (a fault if required) or already reported."""
        if key not in self.data:
            if required:
                self.missing(key, need)
            return None
        value = self.data[key]
        return None if value is UNREAD else value

    def number(
        self,
        key: str,
        need: str,
        low: float,
        high: float,
        *,
        above: bool = False,
        required: bool = False,
        hint: Hint | None = None,
    ) -> float | None:
        """A number from ``low`` (or above it) to ``high``. ``need`` names quantity and unit."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        return check_number(self.notebook, (*self.path, key), value, need, low, high, above=above, hint=hint)

    def whole(self, key: str, need: str, low: int, high: int, *, required: bool = False) -> int | None:
        """A whole number from ``low`` to ``high``."""
        value = self.raw(key, need, required)
        return (
            None if value is None else check_whole(self.notebook, (*self.path, key), value, need, low, high)
        )

    def text(self, key: str, need: str, *, required: bool = False, longest: int = 80) -> str | None:
        """Text in quotes, one line, not empty, without control characters."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        if not isinstance(value, str):
            self.fault(
                key,
                say(
                    "{key} is {kind}; it needs {need}, in quotes",
                    key=written((*self.path, key)),
                    kind=kind_of(value),
                    need=need,
                ),
            )
            return None
        value = value.strip()
        if not value:
            self.fault(key, say("{key} is empty; it needs {need}", key=written((*self.path, key)), need=need))
            return None
        if len(value) > longest:
            self.fault(
                key,
                say(
                    "{key} has {count} characters; at most {longest} fit: shorten it",
                    key=written((*self.path, key)),
                    count=len(value),
                    longest=longest,
                ),
            )
            return None
        if not fit_to_print(value):
            self.fault(
                key,
                say(
                    "{key} holds a line break or a control character; use one line of text",
                    key=written((*self.path, key)),
                ),
            )
            return None
        return value

    def choice(
        self,
        key: str,
        options: Sequence[str],
        *,
        required: bool = False,
        means: Mapping[str, str] | None = None,
    ) -> str | None:
        """One of a few words. ``means`` holds other words for them, to suggest, never to take."""
        need = say("one of {options}", options=", ".join(f'"{o}"' for o in options))
        value = self.raw(key, need, required)
        if value is None:
            return None
        if not isinstance(value, str):
            self.fault(
                key,
                say(
                    "{key} is {kind}; it needs {need}",
                    key=written((*self.path, key)),
                    kind=kind_of(value),
                    need=need,
                ),
            )
            return None
        if value in options:
            return value
        word = value.strip().lower().replace("-", "").replace(" ", "")
        near = (means or {}).get(word) or nearest(word, options)
        if near:
            self.fault(
                key,
                say(
                    '{key} is {given}; it needs {need}; did you mean "{near}"?',
                    key=written((*self.path, key)),
                    given=shown(value),
                    need=need,
                    near=near,
                ),
            )
        else:
            self.fault(
                key,
                say(
                    "{key} is {given}; it needs {need}",
                    key=written((*self.path, key)),
                    given=shown(value),
                    need=need,
                ),
            )
        return None

    def list_of(self, key: str, need: str, *, required: bool = False) -> list[Any] | None:
        """A list, its elements unchecked."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        if not isinstance(value, list):
            self.fault(
                key,
                say(
                    "{key} is {kind}; it needs {need}, in [ ]",
                    key=written((*self.path, key)),
                    kind=kind_of(value),
                    need=need,
                ),
            )
            return None
        return value

    def table(self, key: str, need: str, known: Sequence[str], *, required: bool = False) -> Table | None:
        """A table inside this one."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        path = (*self.path, key)
        if not isinstance(value, dict):
            self.fault(
                key,
                say(
                    "{key} is {kind}; it needs {need}, under [{key}]",
                    key=written(path),
                    kind=kind_of(value),
                    need=need,
                ),
            )
            return None
        return Table(self.notebook, path, value, known, self._elsewhere)

    def tables(self, key: str, known: Sequence[str]) -> Iterator[Table]:
        """The tables of an array of tables, none when absent."""
        value = self.raw(key, "", required=False)
        path = (*self.path, key)
        if value is None:
            return
        if not isinstance(value, list):
            self.fault(
                key,
                say(
                    "{key} is {kind}; it needs one [[{key}]] for each part",
                    key=written(path),
                    kind=kind_of(value),
                ),
            )
            return
        for index, item in enumerate(value):
            if not isinstance(item, dict):
                self.notebook.fault(
                    (*path, index),
                    say(
                        "{key} holds {kind}; it needs one [[{key}]] for each part",
                        key=written(path),
                        kind=kind_of(item),
                    ),
                )
                continue
            yield Table(self.notebook, (*path, index), item, known, self._elsewhere)

    def _unknown(self, key: str, known: Sequence[str]) -> None:
        meaning = self._elsewhere(self.path, key)
        if meaning is None:
            near = nearest(key, known)
            meaning = (
                say("did you mean {near}?", near=near)
                if near
                else say("known here: {keys}", keys=", ".join(known))
            )
        if self.path:
            message = say(
                "{key} is not known in [{table}]; {meaning}",
                key=shown_key(key),
                table=self.where,
                meaning=meaning,
            )
        else:
            message = say(
                "{key} is not known at the top of the file; {meaning}", key=shown_key(key), meaning=meaning
            )
        self.notebook.fault((*self.path, key), message, at_key=True)


def check_number(
    notebook: Notebook,
    path: Path,
    value: Any,
    need: str,
    low: float,
    high: float,
    *,
    above: bool = False,
    hint: Hint | None = None,
) -> float | None:
    """A number in range, or None with a fault noted."""
    name = written(path)
    if isinstance(value, bool) or not isinstance(value, int | float):
        notebook.fault(
            path,
            _with_hint(
                say("{key} is {kind}; it needs {need}", key=name, kind=kind_of(value), need=need),
                _unquoted(value),
            ),
        )
        return None
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        notebook.fault(
            path,
            say(
                "{key} is {number}, which is no size; it needs {need}",
                key=name,
                number=str(number),
                need=need,
            ),
        )
        return None
    suspicion = hint(number) if hint else None
    if suspicion is not None:
        notebook.fault(
            path,
            say(
                "{key} is {value}; it needs {need}: {suspicion}",
                key=name,
                value=plain(number),
                need=need,
                suspicion=suspicion,
            ),
        )
        return None
    if number < low or number > high or (above and number == low):
        if above:
            message = say(
                "{key} is {given}; it needs {need}, more than {low} and at most {high}",
                key=name,
                given=plain(number),
                need=need,
                low=plain(low),
                high=plain(high),
            )
        else:
            message = say(
                "{key} is {given}; it needs {need}, {low} to {high}",
                key=name,
                given=plain(number),
                need=need,
                low=plain(low),
                high=plain(high),
            )
        notebook.fault(path, message)
        return None
    return number


def check_whole(notebook: Notebook, path: Path, value: Any, need: str, low: int, high: int) -> int | None:
    """A whole number in range, or None with a fault noted."""
    name = written(path)
    if isinstance(value, bool) or not isinstance(value, int):
        notebook.fault(
            path,
            _with_hint(
                say(
                    "{key} is {kind}; it needs {need}, a whole number",
                    key=name,
                    kind=kind_of(value),
                    need=need,
                ),
                _unquoted(value),
            ),
        )
        return None
    if not low <= value <= high:
        notebook.fault(
            path,
            say(
                "{key} is {given}; it needs {need}, {low} to {high}",
                key=name,
                given=shown(value),
                need=need,
                low=low,
                high=high,
            ),
        )
        return None
    return value


def _with_hint(message: str, hint: str) -> str:
    return say("{message}; {hint}", message=message, hint=hint) if hint else message


def _unquoted(value: Any) -> str:
    if not isinstance(value, str):
        return ""
    inner = value.strip()
    if re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,9})?", inner):
        return say("write it without quotes: {inner}", inner=inner)
    if re.fullmatch(r"[+-]?\d{0,9},\d{1,9}", inner):
        return say("write it without quotes and with a point: {text}", text=inner.replace(",", "."))
    inch = re.fullmatch(r'([+-]?\d{0,9}\.?\d{1,9})\s*(?:in|inch|inches|")', inner)
    if inch:
        return say("inches are written in mm, without quotes: {value}", value=plain(float(inch[1]) * 25.4))
    unit = re.fullmatch(r"([+-]?\d{1,9}(?:\.\d{1,9})?)\s*[^\W\d]+", inner)
    if unit:
        return say("write the bare number without quotes: {unit}", unit=unit[1])
    return ""


def written(path: Path) -> str:
    """A path as the owner would write it; list positions count from 1."""
    text = ""
    for index, part in enumerate(path):
        if isinstance(part, int):
            if isinstance(path[index - 1], int):
                text = say("{path}, item {n}", path=text, n=part + 1)
            else:
                text += f" {part + 1}"
        else:
            text += f".{shown_key(part)}" if text else shown_key(part)
    return text


def kind_of(value: Any) -> str:
    """What a TOML value is, in words, with the value where it is short."""
    if isinstance(value, bool):
        return say("{text}, a yes-or-no value", text=str(value).lower())
    if isinstance(value, str):
        return say("the text {given}", given=shown(value)) if value else say("an empty text")
    if isinstance(value, int | float):
        return say("the number {given}", given=shown(value))
    if isinstance(value, list):
        return say("a list") if value else say("an empty list")
    if isinstance(value, dict):
        return say("a table")
    return say("the date or time {when}", when=value.isoformat())  # TOML knows nothing else


def shown(value: object) -> str:
    """A short quotation of a text or number."""
    if isinstance(value, int) and abs(value) >= 10**40:
        return say("with more than 40 figures")
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return text if len(text) <= 40 else text[:37] + "..." + ('"' if isinstance(value, str) else "")


def shown_key(key: str) -> str:
    """A key as it can be shown in a message."""
    return key if re.fullmatch(r"[A-Za-z0-9_\-]{1,40}", key) else shown(key)


def plain(number: float) -> str:
    """A number without needless figures."""
    return f"{number:.6g}"


def fit_to_print(text: str) -> bool:
    """Whether a text is free of line breaks, control characters, lone surrogates and marks that turn the
    direction of writing; joiners, which many scripts need, are fine.
    """
    return not any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") or c in _TURNS_WRITING for c in text)


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The known word most like this one, or None when none is near."""
    match = difflib.get_close_matches(word.lower()[:60], known, n=1, cutoff=0.6)
    return match[0] if match else None


def once_each(wanted: list[Any], given: list[Any]) -> str:
    """What is missing from, and what is double in, ``given``; empty when each is there once."""
    missing = [str(w) for w in wanted if w not in given]
    double = [str(w) for w in wanted if given.count(w) > 1]
    if missing and double:
        return say("{missing} and {double}", missing=_missing(missing), double=_double(double))
    if missing:
        return _missing(missing)
    return _double(double) if double else ""


def _missing(names: list[str]) -> str:
    return plural("{names} is missing", "{names} are missing", len(names), names=", ".join(names))


def _double(names: list[str]) -> str:
    return plural(
        "{names} stands more than once", "{names} stand more than once", len(names), names=", ".join(names)
    )


def whole_numbers(top: Table, key: str, items: list[Any], high: int, path: tuple[int, ...] = ()) -> list[int]:
    """Cylinder numbers from 1 to ``high`` in a list; faults are noted."""
    found = []
    for index, item in enumerate(items):
        number = check_whole(top.notebook, (key, *path, index), item, say("a cylinder number"), 1, high)
        if number is not None:
            found.append(number)
    return found
