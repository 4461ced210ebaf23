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
            self.path, f"{written((*self.path, key))} is missing; it needs {need}", at_key=True
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
            self.fault(key, f"{written((*self.path, key))} is {kind_of(value)}; it needs {need}, in quotes")
            return None
        value = value.strip()
        if not value:
            self.fault(key, f"{written((*self.path, key))} is empty; it needs {need}")
            return None
        if len(value) > longest:
            self.fault(
                key,
                f"{written((*self.path, key))} has {len(value)} characters; at most {longest} fit: shorten it",
            )
            return None
        if not fit_to_print(value):
            self.fault(
                key,
                f"{written((*self.path, key))} holds a line break or a control character; use one line of text",
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
        need = "one of " + ", ".join(f'"{o}"' for o in options)
        value = self.raw(key, need, required)
        if value is None:
            return None
        if not isinstance(value, str):
            self.fault(key, f"{written((*self.path, key))} is {kind_of(value)}; it needs {need}")
            return None
        if value in options:
            return value
        word = value.strip().lower().replace("-", "").replace(" ", "")
        near = (means or {}).get(word) or nearest(word, options)
        close = f'; did you mean "{near}"?' if near else ""
        self.fault(key, f"{written((*self.path, key))} is {shown(value)}; it needs {need}{close}")
        return None

    def list_of(self, key: str, need: str, *, required: bool = False) -> list[Any] | None:
        """A list, its elements unchecked."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        if not isinstance(value, list):
            self.fault(key, f"{written((*self.path, key))} is {kind_of(value)}; it needs {need}, in [ ]")
            return None
        return value

    def table(self, key: str, need: str, known: Sequence[str], *, required: bool = False) -> Table | None:
        """A table inside this one."""
        value = self.raw(key, need, required)
        if value is None:
            return None
        path = (*self.path, key)
        if not isinstance(value, dict):
            self.fault(key, f"{written(path)} is {kind_of(value)}; it needs {need}, under [{written(path)}]")
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
                key, f"{written(path)} is {kind_of(value)}; it needs one [[{written(path)}]] for each part"
            )
            return
        for index, item in enumerate(value):
            if not isinstance(item, dict):
                self.notebook.fault(
                    (*path, index),
                    f"{written(path)} holds {kind_of(item)}; it needs one [[{written(path)}]] for each part",
                )
                continue
            yield Table(self.notebook, (*path, index), item, known, self._elsewhere)

    def _unknown(self, key: str, known: Sequence[str]) -> None:
        meaning = self._elsewhere(self.path, key)
        if meaning is None:
            near = nearest(key, known)
            meaning = f"did you mean {near}?" if near else "known here: " + ", ".join(known)
        place = f"in [{self.where}]" if self.path else "at the top of the file"
        self.notebook.fault(
            (*self.path, key), f"{shown_key(key)} is not known {place}; {meaning}", at_key=True
        )


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
        notebook.fault(path, f"{name} is {kind_of(value)}; it needs {need}{_unquoted(value)}")
        return None
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        notebook.fault(path, f"{name} is {number}, which is no size; it needs {need}")
        return None
    suspicion = hint(number) if hint else None
    if suspicion is not None:
        notebook.fault(path, f"{name} is {plain(number)}; it needs {need}: {suspicion}")
        return None
    if number < low or number > high or (above and number == low):
        start = f"more than {plain(low)}" if above else f"{plain(low)}"
        join = "and at most" if above else "to"
        notebook.fault(path, f"{name} is {plain(number)}; it needs {need}, {start} {join} {plain(high)}")
        return None
    return number


def check_whole(notebook: Notebook, path: Path, value: Any, need: str, low: int, high: int) -> int | None:
    """A whole number in range, or None with a fault noted."""
    name = written(path)
    if isinstance(value, bool) or not isinstance(value, int):
        notebook.fault(path, f"{name} is {kind_of(value)}; it needs {need}, a whole number{_unquoted(value)}")
        return None
    if not low <= value <= high:
        notebook.fault(path, f"{name} is {shown(value)}; it needs {need}, {low} to {high}")
        return None
    return value


def _unquoted(value: Any) -> str:
    if not isinstance(value, str):
        return ""
    inner = value.strip()
    if re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,9})?", inner):
        return f"; write it without quotes: {inner}"
    if re.fullmatch(r"[+-]?\d{0,9},\d{1,9}", inner):
        return f"; write it without quotes and with a point: {inner.replace(',', '.')}"
    inch = re.fullmatch(r'([+-]?\d{0,9}\.?\d{1,9})\s*(?:in|inch|inches|")', inner)
    if inch:
        return f"; inches are written in mm, without quotes: {plain(float(inch[1]) * 25.4)}"
    unit = re.fullmatch(r"([+-]?\d{1,9}(?:\.\d{1,9})?)\s*[^\W\d]+", inner)
    if unit:
        return f"; write the bare number without quotes: {unit[1]}"
    return ""


def written(path: Path) -> str:
    """A path as the owner would write it; list positions count from 1."""
    text = ""
    for index, part in enumerate(path):
        if isinstance(part, int):
            text += f", item {part + 1}" if isinstance(path[index - 1], int) else f" {part + 1}"
        else:
            text += f".{shown_key(part)}" if text else shown_key(part)
    return text


def kind_of(value: Any) -> str:
    """What a TOML value is, in words, with the value where it is short."""
    if isinstance(value, bool):
        return f"{str(value).lower()}, a yes-or-no value"
    if isinstance(value, str):
        return f"the text {shown(value)}" if value else "an empty text"
    if isinstance(value, int | float):
        return f"the number {shown(value)}"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    if isinstance(value, dict):
        return "a table"
    return f"the date or time {value.isoformat()}"  # TOML knows nothing else


def shown(value: object) -> str:
    """A short quotation of a text or number."""
    if isinstance(value, int) and abs(value) >= 10**40:
        return "with more than 40 figures"
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
