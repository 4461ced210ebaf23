"""Files of rows, whatever wrote them. Independent software writes them: openpyxl and odfdo."""

from __future__ import annotations

import struct
import zipfile
import zlib
from datetime import date
from io import BytesIO

import openpyxl
import pytest
from tests.logbook.sheets.written import as_csv, as_ods, as_xlsx, xlsx_bytes

from coldlash.errors import FaultyFileError, InputError
from coldlash.logbook.sheets import cells, unpacking
from coldlash.logbook.sheets.cells import column_number, letters, shown
from coldlash.logbook.sheets.text import decoded, separator_of
from coldlash.logbook.sheets.workbook import read_workbook

ROWS = [["Date", "km", "Gap"], [date(2019, 5, 4), 84210, 0.15], ["x", None, True]]


def first(data: bytes):
    return read_workbook(data, "f").sheets[0]


# --- spreadsheets ---


@pytest.mark.parametrize("write", [as_xlsx, as_ods])
def test_a_spreadsheet_is_read_with_its_kinds_of_cells(write):
    sheet = first(write(ROWS))
    assert sheet.name == "Log"
    assert sheet.rows == (("Date", "km", "Gap"), (date(2019, 5, 4), 84210.0, 0.15), ("x", None, True))
    assert sheet.lines == (1, 2, 3)


def test_every_sheet_is_read_and_can_be_named():
    book = read_workbook(as_xlsx(ROWS, Other=[["a"]], Empty=[]), "f.xlsx")
    assert [sheet.name for sheet in book.sheets] == ["Log", "Other"]
    assert book.sheet("Other").rows == (("a",),)
    with pytest.raises(InputError, match=r"f\.xlsx has no sheet 'X'; it has 'Log', 'Other'"):
        book.sheet("X")


def test_rows_are_counted_as_the_spreadsheet_counts_them():
    book = openpyxl.Workbook()
    book.active["B3"] = "here"
    book.active["A5"] = "there"
    sheet = first(xlsx_bytes(book))
    found = {line: row for line, row in zip(sheet.lines, sheet.rows, strict=True) if any(row)}
    assert found == {3: (None, "here"), 5: ("there",)}


def test_merged_cells_hold_what_stands_in_the_first_one():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["B1"], sheet["B2"], sheet["B3"] = "visit", 1, 2, 3
    sheet.merge_cells("A1:A3")
    assert [row[0] for row in first(xlsx_bytes(book)).rows] == ["visit"] * 3


def test_a_formula_that_was_never_worked_out_is_not_lost_silently():
    # openpyxl writes formulas without their values, as programs do that don't work them out.
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["B1"] = 0.15, "=A1*2"
    read = first(xlsx_bytes(book))
    assert read.lost == {
        (
            0,
            1,
        ): "holds a formula that was never worked out; open the file in a spreadsheet program and save it"
    }


def test_the_error_of_a_formula_is_not_lost_silently():
    book = openpyxl.Workbook()
    book.active["A1"], book.active["B2"] = "x", "#DIV/0!"
    assert first(xlsx_bytes(book)).lost == {
        (1, 1): "holds the error #DIV/0! of a formula; put the value there"
    }


def test_a_file_is_known_by_what_it_is_and_not_by_its_name():
    assert read_workbook(as_xlsx(ROWS), "log.csv").kind == "xlsx"
    assert read_workbook(b"a;b\n1;2\n", "log.xlsx").kind == "csv"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04 and then nothing", "can't be unpacked"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "can't be read as a spreadsheet"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\r", "is no text and no spreadsheet"),
        (b"", "is empty; there is nothing to read"),
        (b" \n\n", "is empty; there is nothing to read"),
    ],
)
def test_what_is_no_file_of_rows_is_said(data, says):
    with pytest.raises(InputError, match=says):
        read_workbook(data, "f")


def test_an_empty_spreadsheet_is_said():
    with pytest.raises(FaultyFileError, match="is empty; there is nothing to read"):
        read_workbook(as_xlsx([]), "f")


def test_another_packed_file_is_said():
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("letter.txt", "dear")
    with pytest.raises(FaultyFileError, match="is a packed file, but no spreadsheet"):
        read_workbook(out.getvalue(), "f")


# --- what could hurt ---


def test_a_file_that_is_too_large_is_refused(monkeypatch):
    from coldlash.logbook.sheets import workbook

    monkeypatch.setattr(workbook, "FILE_BYTES_MAX", 10)
    with pytest.raises(InputError, match="MB are too many"):
        read_workbook(b"a;b\n1;2\n3;4\n", "f")


def bomb(claimed: int | None = None, size: int = 2_000_000) -> bytes:
    """A spreadsheet whose one sheet is packed from many zeros, perhaps with a directory that claims less."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * size)
    data = out.getvalue()
    if claimed is not None:
        data = data.replace(struct.pack("<I", size), struct.pack("<I", claimed))
        data = data.replace(
            struct.pack("<I", zlib.crc32(b"0" * size)), struct.pack("<I", zlib.crc32(b"0" * claimed))
        )
    return data


@pytest.mark.parametrize("claimed", [None, 5])
def test_a_file_that_unpacks_to_too_much_is_refused_whatever_it_claims(monkeypatch, claimed):
    monkeypatch.setattr(unpacking, "UNPACKED_BYTES_MAX", 1_000_000)
    with pytest.raises(InputError, match="unpacks to more than"):
        read_workbook(bomb(claimed), "f")


def test_a_cell_in_the_last_corner_is_refused_before_memory_is_taken():
    book = openpyxl.Workbook()
    book.active["A1"], book.active["XFD1048576"] = "a", "z"
    with pytest.raises(
        InputError, match="reaches over 1048576 rows and 16384 columns; 5000000 cells are the most"
    ):
        read_workbook(xlsx_bytes(book), "f")


def test_an_ods_cell_repeated_to_the_edge_is_refused():
    out = BytesIO(as_ods(ROWS))
    with zipfile.ZipFile(out) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    xml = parts["content.xml"].replace(
        b"<table:table-cell ", b'<table:table-cell table:number-columns-repeated="9999999" ', 1
    )
    assert xml != parts["content.xml"]
    again = BytesIO()
    with zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, xml if name == "content.xml" else content)
    with pytest.raises(InputError, match=r"reach over .* cells; 5000000 are the most"):
        read_workbook(again.getvalue(), "f")


def test_a_declared_document_type_is_refused():
    parts = {"content.xml": b'<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'}
    with pytest.raises(InputError, match="declares a document type"):
        unpacking.check_ods(parts, "f")
    with pytest.raises(zipfile.BadZipFile, match="declares a document type"):
        unpacking.check_xlsx({"xl/workbook.xml": parts["content.xml"]}, "f")


def test_a_locked_file_is_said():
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("xl/workbook.xml", "x")
    data = out.getvalue()
    at = data.rindex(b"PK\x01\x02") + 8
    locked = data[:at] + b"\x01\x00" + data[at + 2 :]
    with pytest.raises(InputError, match="is locked with a password"):
        read_workbook(locked, "f")


def test_a_file_of_too_many_parts_is_refused(monkeypatch):
    monkeypatch.setattr(unpacking, "ENTRIES_MAX", 1)
    with pytest.raises(InputError, match="parts are packed in it"):
        read_workbook(as_xlsx(ROWS), "f")


def test_too_many_columns_or_rows_are_said(monkeypatch):
    from coldlash.logbook.sheets import text, workbook

    monkeypatch.setattr(workbook, "COLUMNS_MAX", 2)
    with pytest.raises(InputError, match="has 3 rows and 3 columns; 300000 and 2 are the most"):
        read_workbook(as_xlsx(ROWS), "f")
    monkeypatch.setattr(text, "COLUMNS_MAX", 2)
    monkeypatch.setattr(text, "ROWS_MAX", 2)
    with pytest.raises(FaultyFileError, match="line 1: has 3 fields; 2 are the most"):
        read_workbook(b"a;b;c\n", "f")
    with pytest.raises(FaultyFileError, match="line 3: has more than 2 rows"):
        read_workbook(b"a;b\n1;2\n3;4\n", "f")


# --- text ---


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_text_is_read_in_the_encodings_that_spreadsheets_write(encoding):
    names = "Größe; Öl; Prüfer Jörg; naïve café"
    mark = b"\xff\xfe" if encoding == "utf-16-le" else b""
    text, _ = decoded(mark + (names * 5).encode(encoding), "f")
    assert text.removeprefix("\ufeff") == names * 5


def test_text_that_is_neither_is_read_by_its_letters():
    # independent software: charset-normalizer guesses; what it guessed is said
    words = "Проверка зазоров клапанов; двигатель холодный; масло заменено; всё в порядке; " * 3
    text, name = decoded(words.encode("cp1251"), "f")
    assert (text, name) == (words, "cp1251")


def test_an_old_encoding_is_said():
    book = read_workbook("Datum;Öl\n1;2\n".encode("cp1252"), "f")
    assert book.notes == (
        "The file is not UTF-8; it was read as cp1252. If names look wrong, save it as UTF-8.",
    )


def test_a_mark_that_lies_is_said():
    with pytest.raises(FaultyFileError, match="is not the utf-8-sig text it says it is"):
        decoded(b"\xef\xbb\xbf\xff\xff", "f")


def test_a_nul_byte_is_said_with_its_line():
    with pytest.raises(FaultyFileError, match="line 2: has a NUL byte"):
        read_workbook(b"\xef\xbb\xbfa;b\n1\0;2\n", "f")


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_found(separator):
    rows = [["Date", "Gap", "Note"], ["2019-05-04", "0.15", "a, b; c"], ["2019-05-05", "0.15", ""]]
    assert first(as_csv(rows, separator)).rows == tuple(
        tuple(cell or None for cell in row) if row[-1] else tuple(row[:-1]) for row in rows
    )


def test_decimal_commas_do_not_make_the_comma_the_separator():
    assert separator_of("Datum;Spiel;Nr\n1;0,15;1\n2;0,20;2\n") == ";"
    assert separator_of("just words\n") == ","


def test_a_spreadsheets_own_word_for_its_separator_holds():
    sheet = first(b"sep=;\r\na;b,c\r\n")
    assert (sheet.rows, sheet.lines) == ((("a", "b,c"),), (2,))


def test_a_row_that_a_decimal_comma_cut_in_two_is_a_fault():
    sheet = first(b"Date,Gap\n2019-05-04,0.15\n2019-05-05,0,15\n")
    why = (
        'has more fields than the heading; a decimal comma or a comma in a note must stand in quotes: "0,15"'
    )
    assert sheet.lost == {(2, -1): why}


def test_lines_are_counted_over_notes_of_several_lines():
    assert first(b'a;b\n"one\ntwo";1\n3;4\n').lines == (1, 2, 4)


def test_reading_can_be_watched_and_stopped():
    seen = []

    class StopError(Exception):
        pass

    def watch(stage, done, of):
        seen.append((stage, done, of))
        if done:
            raise StopError

    with pytest.raises(StopError):
        read_workbook(b"a;b\n" * 6000, "f", watch)
    assert seen[0] == ("reading", 0, 0)
    assert seen[-1][0] == "reading"


def test_columns_are_called_as_spreadsheets_do():
    assert [letters(n) for n in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert all(column_number(letters(n)) == n for n in range(1500))


def test_cells_are_shown_as_people_read_them():
    assert [shown(cell) for cell in (None, True, 0.15, 84210.0, date(2019, 5, 4), "x")] == [
        "", "TRUE", "0.15", "84210", "2019-05-04", "x",
    ]  # fmt: skip
    assert cells.nobody_watches("reading", 1, 2) is None
