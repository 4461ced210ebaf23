"""A CSV file as a sheet, however it was written: its letters, its separator, its quotes."""

from __future__ import annotations

import codecs
import csv
import io

from coldlash.errors import Fault, FaultyFileError
from coldlash.language import say
from coldlash.logbook.sheets.cells import COLUMNS_MAX, ROWS_MAX, Cell, Sheet, Watch, nobody_watches

SEPARATORS = ("\t", ";", "|", ",")
"""Likeliest last: between a comma and another one that both fit, the comma is a decimal mark."""
SAMPLE_ROWS = 300
STEADY = 0.7
"""This share of the rows that anything separates must have a separator for it to be believed (judgement)."""
WATCH_EVERY = 5_000
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_WESTERN = frozenset("äöüÄÖÜßéèêëáàâåãçñóòôõøæœíìîïúùûýÉÈÊÀÁÂÅÃÇÑÓÒÔÕØÆŒÍÎÚÛ°µ²½×§©®€–—‘’“”„‚…«»\xa0")


def decoded(data: bytes, source: str) -> tuple[str, str]:
    """The text of a file and the name of its encoding: a byte order mark, else UTF-8, else the likeliest old one.

    Raises FaultyFileError for what is no text.
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            try:
                return data.decode(name), name
            except UnicodeDecodeError as error:
                raise FaultyFileError(
                    source,
                    [Fault(say("is not the {name} text it says it is ({error})", name=name, error=error))],
                ) from None
    if b"\0" in data[:4096]:
        raise FaultyFileError(source, [Fault(say("is no text and no spreadsheet that is known here"))])
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        pass
    else:
        if all(letter in _WESTERN for letter in set(text) if ord(letter) > 127):
            return text, "cp1252"
    from charset_normalizer import from_bytes

    guess = from_bytes(data).best()
    if guess is not None:
        return str(guess), guess.encoding
    return data.decode("cp1252", "replace"), "cp1252"


def read_text(data: bytes, source: str, watch: Watch = nobody_watches) -> tuple[Sheet, tuple[str, ...]]:
    """A CSV file's one sheet, and notes on how it was read. Raises FaultyFileError."""
    text, encoding = decoded(data, source)
    notes = []
    if encoding not in ("utf-8", "utf-8-sig", "utf-16", "utf-32"):
        notes.append(
            say(
                "The file is not UTF-8; it was read as {encoding}. If names look wrong, save it as UTF-8.",
                encoding=encoding,
            )
        )
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise FaultyFileError(
            source, [Fault(say("has a NUL byte; this is no text, or the file is damaged"), line)]
        )
    skipped = 0
    told = ""
    if text[:4].lower() == "sep=" and "\n" in text:  # a spreadsheet's note about its own separator
        first, _, text = text.partition("\n")
        told, skipped = first.strip("\r")[4:5], 1
    separator = told if told in SEPARATORS else separator_of(text)
    rows: list[tuple[Cell, ...]] = []
    lines: list[int] = []
    widths: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=False)
    of = text.count("\n") + 1
    while True:
        line = reader.line_num + 1 + skipped
        try:
            fields = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            raise FaultyFileError(
                source,
                [Fault(say("can't be read further: {error}; is a quotation mark missing or one too many?", error=error),
                       line)],
            ) from None  # fmt: skip
        widths.append(len(fields))
        while fields and not fields[-1].strip():
            fields.pop()
        if len(fields) > COLUMNS_MAX:
            raise FaultyFileError(
                source,
                [Fault(say("has {n} fields; {most} are the most", n=len(fields), most=COLUMNS_MAX), line)],
            )
        if len(rows) >= ROWS_MAX:
            raise FaultyFileError(
                source,
                [
                    Fault(
                        say(
                            "has more than {most} rows; split it and take one after the other", most=ROWS_MAX
                        ),
                        line,
                    )
                ],
            )
        rows.append(tuple(cell.strip() or None for cell in fields))
        lines.append(line)
        if len(rows) % WATCH_EVERY == 0:
            watch("reading", line, of)
    if not any(rows):
        raise FaultyFileError(source, [Fault(say("is empty; there is nothing to read"))])
    lost = _too_long(rows, widths) if separator == "," else {}
    return Sheet("", tuple(rows), tuple(lines), lost), tuple(notes)


def separator_of(text: str) -> str:
    """What separates the fields: the first of ``SEPARATORS`` that most rows have, else the comma."""
    sample = text[:200_000]
    if len(sample) < len(text):
        sample = sample.rpartition("\n")[0]
    for separator in SEPARATORS:
        split = of = 0
        try:
            for number, fields in enumerate(csv.reader(io.StringIO(sample, newline=""), delimiter=separator)):
                if number >= SAMPLE_ROWS:
                    break
                # A row in which nothing separates, such as a title, says nothing.
                of += len(fields) > 1 or any(mark in field for field in fields for mark in SEPARATORS)
                split += len(fields) > 1
        except csv.Error:
            continue
        if split and split >= STEADY * of:
            return separator
    return ","


def _too_long(rows: list[tuple[Cell, ...]], widths: list[int]) -> dict[tuple[int, int], str]:
    """Rows with more fields than the heading: where commas separate, a decimal comma may have cut one in two."""
    head = next(
        (n for n, row in enumerate(rows) if len(row) > 1 and not any(_numeric(cell) for cell in row)), None
    )
    if head is None:
        return {}
    why = say(
        'has more fields than the heading; a decimal comma or a comma in a note must stand in quotes: "0,15"'
    )
    most = widths[head]
    return {(number, -1): why for number, width in enumerate(widths) if width > most and number > head}


def _numeric(cell: Cell) -> bool:
    return (
        isinstance(cell, str) and any(letter.isdigit() for letter in cell) and not any(map(str.isalpha, cell))
    )
