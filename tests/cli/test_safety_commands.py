"""backup, restore, check, salvage and move from the terminal."""

import sqlite3
from contextlib import closing

import pytest


@pytest.fixture
def shed(cli):
    assert cli("add", "vehicle", "Van").code == 0
    assert cli("add", "engine", "flat-four", "--name", "Van engine").code == 0
    return cli


def test_a_backup_says_where_it_is_and_what_went(shed, tmp_path):
    first = shed("backup", "--json").json
    assert set(first) == {"backup", "bytes", "removed"}
    assert first["backup"].startswith(str(tmp_path / "backups" / "book-"))
    assert first["removed"] == []
    (tmp_path / "usb").mkdir()
    assert f"Backed up to {tmp_path / 'usb'}" in shed("backup", "--to", tmp_path / "usb").out
    done = shed("backup", "--keep", "1")
    assert "taken away, as only the last 1 stay: book-" in done.out
    assert len(list((tmp_path / "backups").iterdir())) == 1


def test_a_backup_to_nowhere_or_of_nothing_is_refused(shed, tmp_path):
    done = shed("backup", "--to", tmp_path / "nowhere")
    assert (done.code, done.out) == (2, "")
    assert "does not exist; make it first" in done.err
    assert "how many backups to keep" in shed("backup", "--keep", "0").err


def test_a_book_is_restored_and_used(shed, tmp_path):
    made = shed("backup", "--json").json["backup"]
    answer = shed("restore", made, "--to", tmp_path / "new.coldlash", "--json").json
    assert answer["book"] == str(tmp_path / "new.coldlash")
    assert answer["rows"]["engines"] == 1
    assert "Van engine" in shed("book", "show", "--book", tmp_path / "new.coldlash").out
    done = shed("restore", made, "--to", tmp_path / "new.coldlash")
    assert done.code == 2
    assert "is there already; nothing was changed" in done.err
    other = shed("restore", made, "--to", tmp_path / "other.coldlash")
    assert "is whole: 1 vehicles, 1 engines, 0 visits, 0 readings." in other.out


def test_check_says_whether_the_book_is_sound(shed, tmp_path):
    assert shed("check").out == f"{tmp_path / 'book.coldlash'} is sound.\n"
    assert shed("check", "--json").json == shed("book", "check", "--json").json
    with closing(sqlite3.connect(tmp_path / "book.coldlash")) as db:
        db.execute("DROP TRIGGER readings_no_update")
    done = shed("check")
    assert done.code == 2
    assert "is not sound:\n  readings: what keeps its rows from being altered" in done.out
    assert shed("check", "--json").json["sound"] is False


def test_a_damaged_book_is_named_and_salvaged(shed, tmp_path):
    for number in range(60):
        assert shed("add", "vehicle", f"Van {number}", "--note", "x" * 200).code == 0
    path = tmp_path / "book.coldlash"
    data = bytearray(path.read_bytes())
    where = data.index(b"Van 30")
    data[where - 200 : where + 400] = b"\xa5" * 600
    path.write_bytes(bytes(data))
    done = shed("check")
    assert done.code == 2
    assert "coldlash salvage" in done.err
    saved = shed("salvage", path, "--to", tmp_path / "new.coldlash")
    assert saved.code == 0
    assert "is a sound book again" in saved.out
    assert "vehicles: " in saved.out
    listed = (tmp_path / "new.coldlash.lost.txt").read_text(encoding="utf-8")
    assert "could not be found" in listed
    answer = shed("salvage", path, "--to", tmp_path / "again.coldlash", "--json").json
    assert set(answer) == {"book", "rows", "lost"}
    assert answer["lost"] == listed.splitlines()
    assert answer["rows"]["vehicles"] > 40
    assert path.read_bytes() == bytes(data)


def test_a_lost_engine_file_is_given_again(shed, tmp_path):
    with closing(sqlite3.connect(tmp_path / "book.coldlash")) as db:
        db.execute("DELETE FROM engine_files")
        db.commit()
    done = shed("salvage", tmp_path / "book.coldlash", "--to", tmp_path / "new.coldlash")
    assert "give it again: coldlash add engine FILE --name NAME --again" in " ".join(done.out.split())
    book = ("--book", tmp_path / "new.coldlash")
    assert "The engine file was lost" in shed("due", *book).err or "fault" in shed("due", *book).err
    assert shed("add", "engine", "flat-four", "--name", "Van engine", "--again", *book).code == 0
    assert "Van engine" in shed("due", *book).out


def test_of_a_sound_book_nothing_is_lost(shed, tmp_path):
    done = shed("salvage", tmp_path / "book.coldlash", "--to", tmp_path / "new.coldlash")
    assert "Nothing seems to be lost." in done.out
    assert not (tmp_path / "new.coldlash.lost.txt").exists()


def test_a_book_moves_to_a_server_and_back(shed, tmp_path, server):
    there = server.url(server.new_database())
    done = shed("move", tmp_path / "book.coldlash", there)
    assert done.code == 0
    assert "Every table was read back and is equal." in done.out
    assert "stays as it is; write only into the new one" in done.out
    assert "Van engine" in shed("due", "--book", there).out
    assert "is sound" in shed("check", "--book", there).out
    answer = shed("move", there, tmp_path / "back.coldlash", "--json").json
    assert answer["rows"]["vehicles"] == 1
    assert set(answer) == {"from", "to", "rows"}
    refused = shed("move", tmp_path / "back.coldlash", there)
    assert refused.code == 2
    assert "is not empty; nothing was changed" in refused.err


def test_a_whole_visit_is_done_in_a_book_on_a_server(shed, server, monkeypatch):
    monkeypatch.setenv("COLDLASH_BOOK", server.url(server.new_database()))
    assert "Made the book postgresql+psycopg://" in shed("book", "new").out
    again = shed("book", "new")
    assert again.code == 2
    assert "is there already and stays as it is" in again.err
    assert shed("add", "engine", "flat-four", "--name", "Pump").code == 0
    log = "date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note\n"
    with open("log.csv", "w", encoding="utf-8") as file:
        file.write(log + "2024-05-04,84210,18,E3,0.10,0.15,yes,0.15,\n")
    assert "1 visit (1 row) added" in shed("import", "log.csv", "--engine", "Pump").out
    assert "2024-05-04,84210,18,E3,0.10,0.15,yes,0.15," in shed("export", "--engine", "Pump").out
    assert shed("backup", "--to", ".", "--json").json["bytes"] > 0


def test_a_server_that_is_not_there_is_said_without_its_password(cli, tmp_path):
    done = cli("due", "--book", f"postgresql://ann:secret@/shed?host={tmp_path}")
    assert done.code == 2
    assert "the server can't be reached" in done.err
    assert "secret" not in done.err


def test_progress_is_shown_on_a_terminal_only(shed, tmp_path, monkeypatch, capsys):
    assert shed("move", tmp_path / "book.coldlash", tmp_path / "a.coldlash").err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    assert " rows (" in shed("move", tmp_path / "book.coldlash", tmp_path / "b.coldlash").err


def test_serving_backs_the_book_up_and_may_be_told_not_to(shed, tmp_path, monkeypatch):
    from coldlash.logbook.backup import BackupSchedule
    from coldlash.web import serve as serving

    seen = []
    real = BackupSchedule.__enter__

    def enter(schedule):
        seen.append((schedule._every_s, schedule._folder, schedule.once()))
        return real(schedule)

    monkeypatch.setattr(BackupSchedule, "__enter__", enter)
    monkeypatch.setattr(serving, "serve", lambda *_, **__: None)
    assert shed("serve", "--state", tmp_path / "state").code == 0
    assert shed("serve", "--state", tmp_path / "state", "--backup-every", "0").code == 0
    (tmp_path / "usb").mkdir()
    assert (
        shed("serve", "--state", tmp_path / "s", "--backup-every", "2", "--backups", tmp_path / "usb").code
        == 0
    )
    assert [(every, folder and folder.name) for every, folder, _ in seen] == [(86_400, None), (7200, "usb")]
    assert all(made.path.exists() for _, _, made in seen)
    assert "must be 0 or greater" in shed("serve", "--backup-every", "-1").err
