"""Where in a TOML text each key and value stands, and what is wrong with a text that is no TOML.

``tomllib`` gives values without their lines, and stops at the first fault. ``read_toml`` adds both: places
for every path, and, where a faulty line holds one plain ``key = value``, the faults behind it too.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any, Final

from coldlash.errors import Fault
from coldlash.language import mark, say, table

Path = tuple[str | int, ...]
"""Keys and list positions from the top of the file: ("gap_mm", "intake", "cold"), ("stack", 0, "part")."""

UNREAD: Final = object()
"""Stands in for a value that was already reported as a fault."""

MOST_CHARACTERS = 100_000
LONGEST_LINE = 10_000
"""A text beyond these is no engine file, and would only keep the parser busy."""

_MOST_SYNTAX_FAULTS = 50
_DEEPEST_PLACE = 8
"""Places are noted down to this depth; an engine file needs four."""
_TOO_DEEP = mark("lists or tables stand inside each other too deep to be read")
_PLAIN_PAIR = re.compile(r"""\s*(?:[A-Za-z0-9_\-]+|"[^"\\]*"|'[^']*')\s*=""")
_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_BARE = re.compile(r"[A-Za-z0-9_\-]+")
_ENDS_BARE_VALUE = re.compile(r"[,\]}#\n]")
_CURLY = "“”„‘’«»"
_REPLACEABLE = (
    "Invalid value",
    "Expected newline or end",
    "Illegal character",
    "Unescaped",
    "Found invalid",
)


@dataclass(frozen=True, slots=True)
class Place:
    """Line and column, counted from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A TOML text read: ``data`` (None when nothing could be read), the places of keys and of values, faults.

    Values that could not be read but whose key could are ``UNREAD`` in ``data``.
    """

    data: dict[str, Any] | None
    keys: dict[Path, Place]
    values: dict[Path, Place]
    faults: tuple[Fault, ...]


def read_toml(text: str) -> TomlFile:
    """Read a TOML text with the place of everything. Never raises: what is wrong is in ``faults``."""
    given = text.removeprefix("\ufeff").replace("\r\n", "\n")
    lines = given.split("\n")
    faults = _too_large(given, lines)
    if faults:
        return TomlFile(None, {}, {}, tuple(faults))
    while True:
        try:
            data = tomllib.loads("\n".join(lines))
            break
        except tomllib.TOMLDecodeError as error:
            fault = _syntax_fault(str(error), lines)
            faults.append(fault)
            if len(faults) >= _MOST_SYNTAX_FAULTS or not _replace_line(lines, fault, str(error)):
                return TomlFile(None, {}, {}, tuple(faults))
        except RecursionError:
            return TomlFile(None, {}, {}, (*faults, Fault(table(_TOO_DEEP))))
        except ValueError:  # int() refuses thousands of digits
            faults.append(Fault(say("a number has thousands of digits; write it like 0.15")))
            return TomlFile(None, {}, {}, tuple(faults))
    scanner = _Scanner("\n".join(lines))
    try:
        scanner.run()
    except RecursionError:
        return TomlFile(None, {}, {}, (*faults, Fault(table(_TOO_DEEP))))
    if faults:
        _mark_unread(data)
    return TomlFile(data, scanner.keys, scanner.values, tuple(faults))


def _too_large(text: str, lines: list[str]) -> list[Fault]:
    if len(text) > MOST_CHARACTERS:
        return [
            Fault(
                say(
                    "the file has {count} characters; an engine file has a few thousand: is it the right one?",
                    count=len(text),
                )
            )
        ]
    return [
        Fault(
            say(
                "this line has {count} characters; at most {longest_line} can be read",
                count=len(line),
                longest_line=LONGEST_LINE,
            ),
            number,
            LONGEST_LINE,
        )
        for number, line in enumerate(lines, 1)
        if len(line) > LONGEST_LINE
    ]


_STAND_IN = "coldlash-unread-value-5f1c"


def _replace_line(lines: list[str], fault: Fault, error: str) -> bool:
    """Take a faulty ``key = value`` line out of the way, so that the rest can be read; False if it can't be."""
    index = fault.line - 1
    overwrites = error.startswith("Cannot overwrite")
    found = _PLAIN_PAIR.match(lines[index]) if index < len(lines) else None
    if found is None or not (overwrites or error.startswith(_REPLACEABLE)):
        return False
    value = lines[index][found.end() :]
    if '"""' in value or "'''" in value or value.count("[") != value.count("]"):
        return False  # the value may go on over the next lines
    if overwrites or fault.column < found.end():
        lines[index] = ""  # its key is double or faulty
    else:
        lines[index] = f'{found.group()} "{_STAND_IN}"'
    return True


def _mark_unread(table: dict[str, Any]) -> None:
    waiting: list[Any] = [table]
    while waiting:
        box = waiting.pop()
        for key, value in list(box.items() if isinstance(box, dict) else enumerate(box)):
            if value == _STAND_IN:
                box[key] = UNREAD
            elif isinstance(value, dict | list):
                waiting.append(value)


def _syntax_fault(message: str, lines: list[str]) -> Fault:
    at = _AT.search(message)
    what = message[: at.start()] if at else message
    if at and at[1]:
        line, column = int(at[1]), int(at[2])
    else:
        line = max((n for n, text in enumerate(lines, 1) if text.strip()), default=1)
        column = len(lines[line - 1]) + 1
    shown = lines[line - 1] if line <= len(lines) else ""
    return Fault(_plain(what, shown, lines, line), line, column)


def _plain(what: str, shown: str, lines: list[str], line: int) -> str:
    """The parser's message in a mechanic's words, with what to do."""
    key = _quoted(shown.partition("=")[0])
    value = shown.partition("=")[2].strip()
    bare = value.partition("#")[0].strip()
    given = _quoted(bare)
    if "\r" in shown:
        return say("a line ends in an old-style carriage return; save the file with the line ends of today")
    if what.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate")):
        name = _quoted(shown.partition("#")[0].partition("=")[0].strip().strip("[]"))
        return say("{name} stands in the file twice; keep one of them", name=name)
    if what.startswith("Unclosed"):
        start = next((n for n in range(line, 0, -1) if _opens_list(lines[n - 1])), line)
        return say("a list is not closed: it starts in line {start} and needs its ]", start=start)
    if "=" in shown and not bare:
        return say("{key} has no value after the =", key=key)
    if re.fullmatch(r"[+-]?\d+,\d+", bare):
        return say(
            "{given} is written with a comma; numbers take a point: {text}",
            given=given,
            text=bare.replace(",", "."),
        )
    if re.fullmatch(r"[+-]?\.\d+", bare):
        return say(
            "{given} needs a figure before the point: {text}", given=given, text=bare.replace(".", "0.", 1)
        )
    if re.fullmatch(r"[+-]?\d+\.", bare):
        return say("{given} needs a figure after the point: {bare}0", given=given, bare=bare)
    if re.fullmatch(r"[+-]?0\d+(\.\d+)?", bare):
        return say("{given} starts with a nought; write it without", given=given)
    unit = re.fullmatch(r"([+-]?\d+(?:\.\d+)?)\s*(mm|cm|in|inch|inches|deg|km|h|K|°|%|\"|')", bare)
    if unit:
        return say(
            "{given}: write the bare number, here {unit}; the unit stands in the key's name",
            given=given,
            unit=unit[1],
        )
    if bare in ("True", "False"):
        return say("{given} is written in small letters: {text}", given=given, text=bare.lower())
    if bare and bare[0] in _CURLY:
        return say(
            '{given} stands in curly quotes; use the plain ones: "{quoted}"',
            given=given,
            quoted=_quoted(bare.strip(_CURLY))[1:-1],
        )
    if what == "Invalid value" and re.match(r"[^\W\d]", bare):
        return say(
            '{given} is text and needs quotes: "{quoted}"',
            given=given,
            quoted=_quoted(bare.strip(chr(34)))[1:-1],
        )
    if what.startswith("Illegal character '\\n'"):
        return say("text is not closed: its second quote is missing")
    if what.startswith("Expected '=' after a key") and "{" in shown:
        return say("a table in { } is not well written; write its keys under a [table] of their own instead")
    if what.startswith("Expected '=' after a key") or what == "Invalid statement":
        return say("{quoted} is neither key = value, nor [table], nor a # comment", quoted=_quoted(shown))
    if what.startswith("Expected ']"):
        return say(
            "{quoted}: the name of a table needs its closing {split}",
            quoted=_quoted(shown),
            split=what.split(chr(39))[1],
        )
    if "=" in shown and what.startswith(("Expected newline or end", "Invalid value")):
        return say(
            "{given} is no single value: write a number, text in quotes or a list in [ ], then any # comment",
            given=given,
        )
    if what.startswith(("Unterminated", "Expected '\"", "Expected \"'")):
        return say("text is not closed: its closing quotes are missing")
    character = re.match(r"(?:Illegal|Found invalid) character ('.*')", what)
    if character:
        return say("the character {character} has no place here; delete it", character=character[1])
    return say("this can't be read as TOML ({text}{what})", text=what[:1].lower(), what=what[1:])


def _quoted(text: str) -> str:
    """A piece of the file as it can be shown in a message."""
    text = text.strip()
    return repr(text if len(text) <= 40 else text[:37] + "...")


def _opens_list(line: str) -> bool:
    found = _PLAIN_PAIR.match(line)
    return found is not None and line[found.end() :].lstrip().startswith("[")


class _Scanner:
    """Walks a text that ``tomllib`` has accepted, and notes where keys and values stand."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.keys: dict[Path, Place] = {}
        self.values: dict[Path, Place] = {}
        self._newlines = [i for i, c in enumerate(text) if c == "\n"]
        self._counts: dict[Path, int] = {}

    def run(self) -> None:
        table: Path = ()
        while True:
            self._skip(newlines=True)
            if self.at >= len(self.text):
                return
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)

    def _place(self, at: int) -> Place:
        low, high = 0, len(self._newlines)
        while low < high:
            middle = (low + high) // 2
            if self._newlines[middle] < at:
                low = middle + 1
            else:
                high = middle
        start = self._newlines[low - 1] + 1 if low else 0
        return Place(low + 1, at - start + 1)

    def _skip(self, newlines: bool) -> None:
        blank = " \t\n" if newlines else " \t"
        while self.at < len(self.text):
            if self.text[self.at] in blank:
                self.at += 1
            elif self.text[self.at] == "#" and newlines:
                end = self.text.find("\n", self.at)
                self.at = end if end >= 0 else len(self.text)
            else:
                return

    def _header(self, brackets: int) -> Path:
        start = self.at
        self.at += brackets
        parts = [name for name, _ in self._dotted()]
        self.at += brackets
        path: Path = ()
        for part in parts[:-1]:
            path = self._current((*path, part))
        path = (*path, parts[-1])
        if brackets == 2:
            self.keys.setdefault(path, self._place(start))
            self._counts[path] = self._counts.get(path, -1) + 1
        path = self._current(path)
        self._note(path, start)
        return path

    def _current(self, path: Path) -> Path:
        """A path of an array of tables stands for its latest table."""
        count = self._counts.get(path)
        return path if count is None else (*path, count)

    def _note(self, path: Path, at: int) -> None:
        for length in range(1, min(len(path), _DEEPEST_PLACE) + 1):
            self.keys.setdefault(path[:length], self._place(at))
            self.values.setdefault(path[:length], self._place(at))

    def _pair(self, table: Path) -> None:
        path = table
        for name, at in self._dotted():
            path = (*path, name)
            if len(path) <= _DEEPEST_PLACE:
                self.keys.setdefault(path, self._place(at))
                self.values.setdefault(path, self._place(at))
        self.at += 1  # the = sign
        self._skip(newlines=False)
        self._value(path)

    def _dotted(self) -> list[tuple[str, int]]:
        """Read ``a . "b" . c`` up to what follows it."""
        parts: list[tuple[str, int]] = []
        while True:
            self._skip(newlines=False)
            start = self.at
            bare = _BARE.match(self.text, self.at)
            if bare:
                self.at = bare.end()
                parts.append((bare.group(), start))
            else:
                self._string()
                quoted = self.text[start : self.at]
                parts.append((next(iter(tomllib.loads(f"{quoted} = 0"))), start))
            self._skip(newlines=False)
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _value(self, path: Path) -> None:
        self.values[path] = self._place(self.at)
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self._array(path)
        elif first == "{":
            self._inline(path)
        else:
            end = _ENDS_BARE_VALUE.search(self.text, self.at)
            self.at = end.start() if end else len(self.text)

    def _array(self, path: Path) -> None:
        self.at += 1
        count = 0
        while True:
            self._skip(newlines=True)
            if self.text[self.at] == "]":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._value((*path, count))
            count += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        while True:
            self._skip(newlines=True)
            if self.text[self.at] == "}":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._pair(path)

    def _string(self) -> None:
        quote = self.text[self.at]
        if self.text.startswith(quote * 3, self.at):
            self._long_string(quote)
            return
        self.at += 1
        while self.text[self.at] != quote:
            self.at += 2 if self.text[self.at] == "\\" and quote == '"' else 1
        self.at += 1

    def _long_string(self, quote: str) -> None:
        self.at += 3
        while not self.text.startswith(quote * 3, self.at):
            self.at += 2 if self.text[self.at] == "\\" and quote == '"' else 1
        self.at += 3
        for _ in range(2):  # up to two more quotes belong to the text
            if self.text.startswith(quote, self.at):
                self.at += 1
