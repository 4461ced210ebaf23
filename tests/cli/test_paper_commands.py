"""coldlash print and calendar from the terminal."""

from __future__ import annotations

import argparse
import json
from datetime import timedelta

import pikepdf
import pytest
from tests.desk.shed import TODAY, VAN, fill, open_desk

from coldlash.cli import paper_commands
from coldlash.desk.engines import load_engine
from coldlash.errors import InputError


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run one of these commands in a folder with a book; returns (code, output, notes)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLDLASH_BOOK", str(tmp_path / "book.coldlash"))
    with open_desk(tmp_path / "book.coldlash") as desk:
        fill(desk)
    parser = argparse.ArgumentParser()
    paper_commands.add(parser.add_subparsers())

    def go(*arguments):
        given = parser.parse_args([str(a) for a in arguments])
        code = given.handler(given) or 0
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return go


def test_a_strip_is_written_and_described(run, tmp_path):
    code, out, _ = run(
        "print",
        "strip",
        "flat-four",
        "--mark",
        "tdc",
        "--mark",
        "10btdc=static timing",
        "--json",
        "--on",
        TODAY,
    )
    data = json.loads(out)
    assert code == 0
    assert data["pages"] == len(pikepdf.open(tmp_path / data["file"]).pages)
    engine = load_engine("flat-four").engine
    # exact: pi (diameter + thickness), 10 degrees of it
    assert data["length_mm"] == pytest.approx(3.141592653589793 * (engine.pulley.diameter_mm + 0.1))
    marks = {m["crank_deg"]: m for m in data["marks"]}
    assert abs(marks[350.0]["from_tdc_mm"]) == pytest.approx(data["length_mm"] / 36)
    assert marks[350.0]["name"] == "static timing"
    assert sum(p["end_mm"] - p["start_mm"] for p in data["pieces"]) == pytest.approx(data["length_mm"])


def test_a_strip_needs_no_engine(run):
    _, out, _ = run(
        "print", "strip", "--diameter", "175", "--turns", "clockwise", "--to", "s.pdf", "--paper", "letter"
    )
    assert out.startswith("Wrote s.pdf: Pulley strip, 2 pages")
    assert "Print it at 100 %" in out


def test_a_file_that_is_there_is_never_written_over(run, tmp_path):
    run("print", "strip", "flat-four", "--to", "s.pdf")
    before = (tmp_path / "s.pdf").read_bytes()
    with pytest.raises(InputError, match=r"s\.pdf is there already and stays as it is"):
        run("print", "strip", "flat-four", "--diameter", "99", "--to", "s.pdf")
    assert (tmp_path / "s.pdf").read_bytes() == before


def test_a_sheet_is_blank_for_the_next_visit_and_filled_for_the_last(run):
    _, blank, _ = run("print", "sheet", "--json", "--on", TODAY)
    assert json.loads(blank)["file"] == "visit-sheet-delivery-van-s-engine.pdf"
    assert json.loads(blank)["pages"] == 1
    _, filled, _ = run("print", "sheet", "--engine", VAN, "--filled", "--json")
    day = TODAY - timedelta(days=100)
    assert json.loads(filled)["file"] == f"visit-{day}-delivery-van-s-engine.pdf"
    _, by_cylinder, _ = run("print", "sheet", "--by", "cylinder", "--to", "c.pdf", "--json")
    assert json.loads(by_cylinder)["pages"] >= 1


def test_a_sheet_of_one_visit_is_asked_for_by_its_id(run, tmp_path):
    with open_desk(tmp_path / "book.coldlash") as desk:
        visit = desk.book.visits(VAN)[0]
    _, out, _ = run("print", "sheet", "--visit", visit.id, "--json")
    assert json.loads(out)["file"].startswith(f"visit-{visit.day}")


def test_a_report_tells_its_checksum_and_the_book_knows_it_again(run):
    _, out, _ = run("print", "report", "--json", "--on", TODAY)
    data = json.loads(out)
    assert data["visits"] == 4
    code, out, _ = run("print", "check", data["checksum"][:16])
    assert (code, out) == (0, f"{VAN}: the same. The copy holds all 4 visits as the book has them.\n")
    code, out, _ = run("print", "check", "0" * 16)
    assert code == 2
    assert "never gives this checksum" in out
    _, out, _ = run("print", "check", data["checksum"], "--json")
    assert json.loads(out) == {"engine": VAN, "matches": True, "after_visit": 4, "visits": 4}


def test_an_earlier_copy_is_the_same_up_to_its_last_visit(run, tmp_path):
    from coldlash.desk.reporting import sums_of

    with open_desk(tmp_path / "book.coldlash") as desk:
        earlier = sums_of(desk, VAN)[2]
    code, out, _ = run("print", "check", earlier)
    assert (code, out) == (0, f"{VAN}: the same up to visit 2 of 4; the book has gone on since.\n")


def test_labels_of_every_engine_or_of_one(run):
    _, out, _ = run("print", "label", "--address", "https://shed.local", "--json")
    assert json.loads(out)["engines"] == [VAN]
    assert json.loads(out)["file"] == "label-delivery-van-s-engine.pdf"
    _, out, _ = run("print", "label", "--engine", VAN, "--engine", VAN, "--json")
    assert json.loads(out)["file"] == "labels.pdf"


def test_a_calendar_is_written_and_engines_without_a_day_are_named(run, tmp_path):
    with open_desk(tmp_path / "book.coldlash") as desk:
        desk.add_engine(load_engine("flat-twin"), "Pump")
    _, out, _ = run("calendar", "--on", TODAY, "--alarm", "7")
    assert out == "Wrote due.ics: 1 engine due\n  Pump has no day yet: measure it once to begin\n"
    content = (tmp_path / "due.ics").read_bytes()
    assert content.count(b"BEGIN:VALARM") == 1
    assert b"TRIGGER:-P6DT15H" in content
    _, out, _ = run("calendar", "--to", "b.ics", "--json")
    assert json.loads(out) == {"file": "b.ics", "entries": 1, "without_day": ["Pump"]}


def test_letters_no_font_has_are_named(run, tmp_path):
    with open_desk(tmp_path / "book.coldlash") as desk:
        desk.add_engine(load_engine("flat-twin"), "Pump \ue123")  # a private letter: no font has it
    _, out, notes = run("print", "sheet", "--engine", "Pump \ue123", "--json")
    assert json.loads(out)["unprinted"] == ["\ue123"]
    assert "a lozenge (◊) stands for each of them" in notes


def test_progress_is_shown_on_a_terminal_and_wiped_at_the_end(monkeypatch, capsys):
    assert paper_commands._progress() is None
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    show = paper_commands._progress()
    show(1, 4, "chart of I1")
    show(4, 4, "done")
    assert capsys.readouterr().err == "\r\x1b[K1 of 4: chart of I1\r\x1b[K"
