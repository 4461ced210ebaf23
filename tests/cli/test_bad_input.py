"""Bad input: a clear message on standard error, exit 2, nothing on standard output, nothing lost."""

import errno
import os
import sqlite3

import pytest

from coldlash.cli import main as main_module


@pytest.fixture
def shed(cli):
    assert cli("add", "engine", "flat-four", "--name", "Van").code == 0
    return cli


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["stops", "no-such.toml"], "no such file, and no generic engine"),
        (["stops", "flat-fuor"], "did you mean flat-four"),
        (["stops", "flat-four", "--marks", "0,abc"], "'abc' is not a number"),
        (["stops", "flat-four", "--marks", "900"], "900"),
        (["stops", "flat-four", "--margin", "-1"], "margin"),
        (["closed", "flat-four"], "--at"),
        (["closed", "flat-four", "--at", "nan"], "is not a number"),
        (["screw", "flat-four", "--from", "0.1"], "--to"),
        (["heat", "flat-four", "--zones", "pushrod"], "is not ZONE=C"),
        (["heat", "flat-four", "--zones", ""], "none given"),
        (["heat", "flat-four", "--zones", "head=1,head=2"], "stands twice"),
        (["cooldown", "--air", "18", "--reading", "0-92"], "like 0:92"),
        (["cooldown", "--air", "18", "--reading", "0:92"], "reading"),
        (["cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:95"], "9"),
        (
            ["cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--within", "0"],
            "greater than 0",
        ),
        (["timing", "flat-four", "--gap", "0.15", "--rpm", "-5"], "greater than 0"),
        (["due"], "book"),
        (["visit", "start"], "book"),
        (["engine", "new", "x.toml", "--like", "flat-nine"], "is not a generic engine"),
        (["due", "--on", "31.12.2026"], "write it like 2026-05-31"),
        (["export", "--engine", "Van"], "book"),
        (["nonsense"], "invalid choice"),
    ],
)
def test_bad_words_are_answered_on_standard_error(cli, words, says):
    done = cli(*words)
    assert done.code == 2
    assert done.out == ""
    assert says in done.err


def test_json_does_not_change_where_errors_go(cli):
    done = cli("stops", "flat-fuor", "--json")
    assert (done.code, done.out) == (2, "")


def test_an_engine_file_with_many_faults_lists_them_all_with_lines(cli, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(
        'name = "x"\ncylinders = "four"\nturnz = "clockwise"\nfiring_order = [1, 1]\n', encoding="utf-8"
    )
    done = cli("engine", "check", path)
    assert done.code == 2
    assert "line 2" in done.err
    assert "line 3" in done.err
    assert "turns" in done.err


def test_an_engine_file_that_is_no_text_or_a_folder_is_named(cli, tmp_path):
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    assert "not UTF-8" in cli("engine", "check", "b.toml").err
    (tmp_path / "d").mkdir()
    assert "a folder" in cli("engine", "check", "d").err


def test_a_new_engine_file_never_overwrites(cli, tmp_path):
    assert cli("engine", "new", "mine.toml").code == 0
    before = (tmp_path / "mine.toml").read_bytes()
    done = cli("engine", "new", "mine.toml")
    assert done.code == 2
    assert "stays as it is" in done.err
    assert (tmp_path / "mine.toml").read_bytes() == before
    assert "can't be written" in cli("engine", "new", "no/such/folder/mine.toml").err


def test_a_full_disk_while_writing_leaves_nothing_half_written(cli, tmp_path, monkeypatch):
    from pathlib import Path

    class Full:
        def __init__(self, path):
            path.touch(exist_ok=False)

        def __enter__(self):
            return self

        def __exit__(self, *_):
            return False

        def write(self, _):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    real = Path.open
    monkeypatch.setattr(
        Path, "open", lambda self, mode="r", *a, **k: Full(self) if mode == "x" else real(self, mode, *a, **k)
    )
    done = cli("engine", "new", "mine.toml")
    assert done.code == 2
    assert "the disk is full; nothing was written" in done.err
    assert not (tmp_path / "mine.toml").exists()


def test_a_book_that_is_something_else_is_refused_and_untouched(cli, tmp_path):
    book = tmp_path / "book.coldlash"
    book.write_bytes(b"a letter to the harbour master" * 50)
    before = book.read_bytes()
    done = cli("due")
    assert done.code == 2
    assert book.read_bytes() == before
    book.unlink()
    with sqlite3.connect(book) as other:
        other.execute("CREATE TABLE cats (name TEXT)")
    other.close()
    before = book.read_bytes()
    assert cli("due").code == 2
    assert book.read_bytes() == before


def test_a_book_from_the_future_is_refused_and_untouched(shed, tmp_path):
    book = tmp_path / "book.coldlash"
    with sqlite3.connect(book) as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'f9999'")
    connection.close()
    done = shed("due")
    assert done.code == 2
    assert "newer" in done.err


def test_a_second_writer_gives_up_with_a_message_and_writes_nothing(shed, tmp_path, monkeypatch):
    other = sqlite3.connect(tmp_path / "book.coldlash", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    monkeypatch.setattr("coldlash.desk.desk.WAIT_S", 0.2)
    try:
        done = shed("add", "vehicle", "Van")
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert done.code == 2
    assert "another" in done.err
    assert shed("book", "show", "--json").json["vehicles"] == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["visit", "found", "E3", "0.15"], "no visit of Van is open"),
        (["visit", "start", "Bus"], "Bus"),
        (["visit", "start"], "one of the two"),
        (["visit", "start", "--distance", "1", "--meter", "2"], "one of the two"),
        (["visit", "start", "--distance", "1", "--blades", "wooden"], "no blade set 'wooden'"),
        (["visit", "start", "--distance", "84,210"], "84210 or as 84.210"),
        (["visit", "start", "--distance", "-5"], "distance"),
        (["visit", "start", "--distance", "5", "--temp", "900"], "temperature"),
        (["add", "blades", "mine", "0.05 x 99"], "99"),
        (["add", "blades", "metric", "0.05 0.10"], "standard set"),
        (["add", "engine", "flat-twin", "--name", "Van", "--again"], "that is another engine"),
        (["import", "none.csv", "--engine", "Van"], "can't be read"),
        (["visit", "show", "--visit", "nonsense"], "nonsense"),
    ],
)
def test_bad_words_to_a_book_change_nothing(shed, words, says):
    before = shed("book", "show").out
    done = shed(*words)
    assert done.code == 2
    assert done.out == ""
    assert says in done.err
    assert shed("book", "show").out == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["found", "E9", "0.15"], "has no valve E9"),
        (["found", "X1", "0.15"], "is not a valve"),
        (["found", "E3", "0.20/0.15"], "must be thinner"),
        (["found", "E3", "0.17"], "nearest: 0.10 mm, 0.15 mm, 0.20 mm"),
        (["found", "E3", "15"], "did you mean 0.15"),
        (["set", "E3", "abc"], "not a thickness"),
        (["found", "E3", "drag none"], "not a thickness"),
    ],
)
def test_bad_readings_are_refused_and_the_visit_stands(shed, words, says):
    assert shed("visit", "start", "--distance", "1000", "--date", "2026-03-01").code == 0
    assert shed("visit", "found", "E3", "0.10/0.15").code == 0
    done = shed("visit", *words)
    assert done.code == 2
    assert says in done.err
    shown = shed("visit", "show", "--json").json
    assert [r["words"] for r in shown["readings"]] == ["0.10 mm goes, 0.15 mm does not"]


def test_a_second_reading_of_the_same_step_must_say_that_it_corrects(shed):
    shed("visit", "start", "--distance", "1000", "--date", "2026-03-01")
    shed("visit", "found", "E3", "0.10/0.15")
    done = shed("visit", "found", "E3", "0.05/0.10")
    assert done.code == 2
    assert "--correct" in done.err
    assert shed("visit", "found", "E3", "0.05/0.10", "--correct").code == 0


def test_an_error_of_ours_leaves_a_report_and_exit_1(cli, tmp_path, monkeypatch):
    monkeypatch.setattr("coldlash.desk.engines.list_generic", lambda: 1 / 0)
    done = cli("engine", "list")
    assert done.code == 1
    (report,) = tmp_path.glob("coldlash-report-*.txt")
    assert "ZeroDivisionError" in report.read_text(encoding="utf-8")
    assert str(report.name) in done.err


def test_an_interrupt_is_not_an_error_of_ours(cli, monkeypatch):
    def stop():
        raise KeyboardInterrupt

    monkeypatch.setattr("coldlash.desk.engines.list_generic", stop)
    assert cli("engine", "list").code == 130


def test_a_disk_error_of_the_system_is_said_in_words(monkeypatch):
    error = OSError(errno.ENOSPC, "No space left on device", "book.coldlash")
    assert main_module._os_words(error) == "book.coldlash: the disk is full; make room and try again"
