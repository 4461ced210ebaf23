"""Is a packed spreadsheet safe to open? Checked before a reader sees it: how much it unpacks to, how far it reaches.

A few kilobytes can be packed so that they unpack to gigabytes, and one cell in the last corner of a sheet makes a
reader that keeps sheets as rectangles take all the memory there is.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from io import BytesIO
from xml.etree import ElementTree

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.sheets.cells import CELLS_MAX, UNPACKED_BYTES_MAX, column_number

CHUNK = 1 << 18
ENTRIES_MAX = 5_000
REPEATED_MAX = 1_000
LOCAL_HEADER = 30
_REF = re.compile(rb'<c\b[^>]*?\br="([A-Z]{1,3})(\d{1,7})"')
_LOST = re.compile(rb"<c\b(?P<told>[^>]*?)(?:/>|>(?P<body>(?:(?!</c>).)*?)</c>)", re.DOTALL)
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def unpacked_parts(data: bytes, source: str) -> dict[str, bytes]:
    """The parts of a zip file by name, unpacked within the limit, whatever its directory claims. Raises InputError."""
    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            entries = packed.infolist()
            if len(entries) > ENTRIES_MAX:
                raise InputError(
                    say(
                        "{source}: {n} parts are packed in it; no spreadsheet has so many",
                        source=source,
                        n=len(entries),
                    )
                )
            left = UNPACKED_BYTES_MAX
            parts: dict[str, bytes] = {}
            for entry in entries:
                if entry.flag_bits & 1:
                    raise InputError(
                        say("{source}: is locked with a password; save it without one", source=source)
                    )
                content = b"".join(_unpacked(data, entry, left, source))
                left -= len(content)
                parts[entry.filename] = content
            return parts
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, IndexError, UnicodeDecodeError) as error:
        raise InputError(
            say(
                "{source}: can't be unpacked ({error}); is the file whole? Save it again and try once more",
                source=source, error=error,
            )
        ) from None  # fmt: skip


def _unpacked(data: bytes, entry: zipfile.ZipInfo, left: int, source: str) -> Iterator[bytes]:
    # Not ZipFile.open: that stops at the size which the directory claims, other readers go on.
    at = entry.header_offset
    header = data[at : at + LOCAL_HEADER]
    if len(header) < LOCAL_HEADER or header[:4] != b"PK\x03\x04":
        raise zipfile.BadZipFile(say("a part of it is not where it should be"))
    start = (
        at + LOCAL_HEADER + int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little")
    )
    raw = data[start : start + entry.compress_size]
    if entry.compress_type == zipfile.ZIP_STORED:
        if len(raw) > left:
            raise _too_much(source)
        yield raw
        return
    if entry.compress_type != zipfile.ZIP_DEFLATED:
        raise zipfile.BadZipFile(say("it is packed in a way that spreadsheets aren't"))
    unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
    while raw and not unpacking.eof:
        chunk = unpacking.decompress(raw, CHUNK)
        left -= len(chunk)
        if left < 0:
            raise _too_much(source)
        yield chunk
        raw = unpacking.unconsumed_tail
    yield unpacking.flush()


def _too_much(source: str) -> InputError:
    return InputError(
        say(
            "{source}: unpacks to more than {most} MB; that is no log of valve gaps. Copy the rows that matter into "
            "a new sheet",
            source=source, most=UNPACKED_BYTES_MAX // 2**20,
        )
    )  # fmt: skip


def check_xlsx(parts: dict[str, bytes], source: str) -> dict[str, dict[tuple[int, int], str]]:
    """How far each sheet reaches (InputError if too far), and the cells in it whose content a reader would lose.

    By sheet name; cells by (row, column) from 0: formulas that were never worked out, and errors.
    """
    lost: dict[str, dict[tuple[int, int], str]] = {}
    for name, part in _xlsx_sheets(parts).items():
        xml = parts.get(part, b"")
        rows = columns = 0
        for found in _REF.finditer(xml):
            rows = max(rows, int(found[2]))
            columns = max(columns, column_number(found[1].decode()) + 1)
        check_reach(rows, columns, name, source)
        if b"<f" in xml or b't="e"' in xml:
            lost[name] = dict(_lost_cells(xml))
    return lost


def _lost_cells(xml: bytes) -> Iterator[tuple[tuple[int, int], str]]:
    for cell in _LOST.finditer(xml):
        told, body = cell["told"], cell["body"] or b""
        wrong = b't="e"' in told
        empty = b"<f" in body and re.search(rb"<v>[^<]|<t\b", body) is None
        where = re.search(rb'\br="([A-Z]{1,3})(\d{1,7})"', told)
        if where is None or not (wrong or empty):
            continue
        shows = re.search(rb"<v>([^<]*)</v>", body)
        why = (
            say(
                "holds the error {error} of a formula; put the value there",
                error=shows[1].decode("utf-8", "replace") if shows else "#",
            )
            if wrong
            else say(
                "holds a formula that was never worked out; open the file in a spreadsheet program and save it"
            )
        )
        yield (int(where[2]) - 1, column_number(where[1].decode())), why


def check_reach(rows: int, columns: int, sheet: str, source: str) -> None:
    """Raises InputError when a sheet reaches over more cells than can be taken."""
    if rows * columns > CELLS_MAX:
        raise InputError(
            say(
                "{source}: the sheet {sheet!r} reaches over {rows} rows and {columns} columns; {most} cells are the "
                "most. Delete what stands far out at its edges, or copy the rows that matter into a new sheet",
                source=source, sheet=sheet, rows=rows, columns=columns, most=CELLS_MAX,
            )
        )  # fmt: skip


def _xlsx_sheets(parts: dict[str, bytes]) -> dict[str, str]:
    """Sheet names and the parts they are in."""
    targets = {
        each.get("Id"): each.get("Target", "")
        for each in _tree(parts.get("xl/_rels/workbook.xml.rels", b"<r/>"))
    }
    found = {}
    for each in _tree(parts.get("xl/workbook.xml", b"<w/>")).iter():
        if each.tag.endswith("}sheet"):
            target = targets.get(each.get(_RELATION), "")
            found[each.get("name", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    return found


def _tree(xml: bytes) -> ElementTree.Element:
    if b"<!DOCTYPE" in xml or b"<!ENTITY" in xml:  # no spreadsheet program writes one; bombs do
        raise zipfile.BadZipFile(say("it declares a document type"))
    try:
        return ElementTree.fromstring(xml)  # noqa: S314  (no document type, so no entities)
    except ElementTree.ParseError as error:
        raise zipfile.BadZipFile(str(error)) from None


def check_ods(parts: dict[str, bytes], source: str) -> None:
    """Raises InputError where a cell with content is repeated so often that it could only be meant to hurt."""
    xml = parts.get("content.xml", b"")
    if b"<!DOCTYPE" in xml or b"<!ENTITY" in xml:
        raise InputError(
            say("{source}: declares a document type; no spreadsheet program writes one", source=source)
        )
    cells = 0
    for row in re.finditer(
        rb"<table:table-row\b(?P<told>[^>]*)(?:/>|>(?P<body>.*?)</table:table-row>)", xml, re.DOTALL
    ):
        body = row["body"] or b""
        if b"<text:p" not in body and b"office:value" not in body:
            continue
        across = 0
        for cell in re.finditer(rb"<table:(?:covered-)?table-cell\b([^>]*?)(/?)>", body):
            many = _repeated(cell[1], rb"columns")
            across += many if not cell[2] or many <= REPEATED_MAX else 0
        cells += _repeated(row["told"], rb"rows") * across
    if cells > CELLS_MAX:
        raise InputError(
            say(
                "{source}: its sheets reach over {cells} cells; {most} are the most. Delete what stands far out at "
                "their edges, or copy the rows that matter into a new sheet",
                source=source, cells=cells, most=CELLS_MAX,
            )
        )  # fmt: skip


def _repeated(told: bytes, what: bytes) -> int:
    found = re.search(rb'number-%s-repeated="(\d{1,9})"' % what, told)
    return int(found[1]) if found else 1
