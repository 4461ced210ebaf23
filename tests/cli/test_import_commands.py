"""coldlash import, imports, import-undo."""

import json

import pytest
from tests.logbook.sheets.written import as_csv, as_ods, as_xlsx

SHEET = [
    ["Workshop notebook"],
    ["Date", "Odometer", "Valve", "Gap", "Set to", "Remarks"],
    ["4/5/1999", 1000, "E3", 0.15, 0.20, "rough"],
    ["5/6/2000", 2000, "E3", 0.10, None, None],
    ["oil changed", None, None, None, None],
]
TOLD = ("--gap-means", "felt", "--distance-unit", "km", "--dates", "dmy", "--blades", "metric")


@pytest.fixture
def van(cli, tmp_path):
    """A book with one engine, and the sheet in three kinds of file."""
    assert cli("add", "engine", "flat-four", "--name", "Van").code == 0
    (tmp_path / "old.xlsx").write_bytes(as_xlsx(SHEET))
    (tmp_path / "old.ods").write_bytes(as_ods(SHEET))
    (tmp_path / "old.csv").write_bytes(as_csv(SHEET, ";", "cp1252"))
    return cli


def visits(cli):
    return cli("export", "--engine", "Van").out.splitlines()[1:]


@pytest.mark.parametrize("name", ["old.xlsx", "old.ods", "old.csv"])
def test_a_spreadsheet_is_taken_in_once_it_is_told_what_it_does_not_say(van, name):
    asked = van("import", name)
    assert asked.code == 2
    assert f"{name}: nothing was taken from it; some things must be told first" in asked.err
    for said in (
        "Date: which day is 4/5/1999?",
        "--dates dmy  1999-05-04 (day, month, year)",
        "--gap-means felt",
    ):
        assert said in asked.err
    done = van("import", name, *TOLD, "--yes", "--json")
    assert done.code == 0, done.err
    assert {key: done.json[key] for key in ("engine", "visits_added", "visits_known", "rows_added", "rows_known")} == {
        "engine": "Van", "visits_added": 2, "visits_known": 0, "rows_added": 2, "rows_known": 0,
    }  # fmt: skip
    assert visits(van) == [
        "1999-05-04,1000,,E3,0.10,0.20,yes,0.20,rough",
        "2000-06-05,2000,,E3,0.05,0.15,no,,",
    ]
    assert "0 visits (0 rows) added, 2 there before" in van("import", name, *TOLD, "--yes").out


def test_a_preview_shows_everything_and_writes_nothing(van):
    told = van("import", "old.xlsx", *TOLD, "--preview")
    assert told.code == 0
    for said in (
        "old.xlsx, sheet Log: how it is understood",
        "the gap found, one number  mm",
        "3: Van, 1999-05-04, 1000 km, E3: found 0.10 mm goes, 0.20 mm does not; set on 0.20 mm",
        "2 rows, 2 visits: 2 new, 0 in the book already",
        "1 row was not understood as a reading:",
        "row 5: oil changed (only words)",
    ):
        assert said in told.out
    data = van("import", "old.xlsx", "--preview", "--json").json
    assert [question["key"] for question in data["questions"]] == [
        "column:0:order",
        "column:1:unit",
        "single",
    ]
    assert data["understood"]["columns"][3]["role"] == "found"
    assert visits(van) == []
    assert van("imports", "--json").json == {"imports": []}


def test_without_yes_it_is_shown_and_nothing_is_written(van):
    told = van("import", "old.xlsx", *TOLD)
    assert told.code == 2
    assert "The first rows:" in told.out
    assert "nothing was written; if it is understood rightly, say so with --yes" in told.err
    assert visits(van) == []


def test_all_faults_are_listed_at_once(van, tmp_path):
    rows = [
        ["Date", "km", "Valve", "Gap mm"],
        ["2019-05-04", 1, "E9", "abc"],
        ["2019-05-32", 2, "E3", "0.15"],
    ]
    (tmp_path / "bad.csv").write_bytes(as_csv(rows, ";"))
    told = van("import", "bad.csv", "--gap-means", "went", "--yes")
    assert told.code == 2
    assert "bad.csv: 3 faults, nothing was taken from it" in told.err
    assert "line 2, column 4: Gap mm: 'abc' is not a number here" in told.err
    assert "line 3, column 1: Date: '2019-05-32' is not a date here" in told.err


def test_columns_units_and_marks_can_be_told(van, tmp_path):
    rows = [["when", "run", "what", "a", "b", "t"], ["04.05.1999", "84,210", "Ex 3", "6", "8", "68"]]
    (tmp_path / "odd.csv").write_bytes(as_csv(rows, ";"))
    done = van(
        "import", "odd.csv", "--heading-row", "1", "--column", "date=when", "--column", "distance=B",
        "--column", "valve=what", "--column", "found=a", "--column", "left=E", "--column", "temperature=t",
        "--gap-unit", "thou", "--distance-unit", "mile", "--temperature-unit", "F", "--decimal", ".",
        "--gap-means", "went", "--e-is", "exhaust", "--distance-is", "own", "--yes", "--who", "Ann",
    )  # fmt: skip
    assert done.code == 0, done.err
    # exact: 84,210 miles of 1.609344 km; 6 and 8 thousandths of 25.4 mm; 68 F = 20 C
    assert visits(van) == ["1999-05-04,135522.858,20,E3,0.152,,yes,0.203,"]
    assert van("imports", "--json").json["imports"][0]["by"] == "Ann"


def test_a_column_can_stand_for_a_valve(van, tmp_path):
    rows = [["Date", "km", "one", "two"], ["1999-05-04", "1", "0.10", "0.15"]]
    (tmp_path / "wide.csv").write_bytes(as_csv(rows, ";"))
    done = van(
        "import", "wide.csv", "--column", "found:E3=C", "--column", "found:I3=two", "--gap-unit", "mm",
        "--gap-means", "went", "--decimal", ".", "--yes",
    )  # fmt: skip
    assert done.code == 0, done.err
    assert visits(van) == ["1999-05-04,1,,I3,0.15,,no,,", "1999-05-04,1,,E3,0.10,,no,,"]


def test_a_meter_that_rolled_over_is_explained_and_taken_back_with_the_import(van, tmp_path):
    assert van("add", "vehicle", "Bus", "--digits", "5").code == 0
    assert van("add", "engine", "flat-four", "--name", "Bus engine", "--vehicle", "Bus").code == 0
    rows = [
        ["Date", "Odometer km", "Valve", "Gap mm"],
        ["1999-05-04", 99800, "I3", 0.15],
        ["2000-05-04", 190, "I3", 0.15],
    ]
    (tmp_path / "bus.xlsx").write_bytes(as_xlsx(rows))
    told = ("import", "bus.xlsx", "--engine", "Bus engine", "--gap-means", "went", "--yes")
    assert "it rolled over past 99999 km, which makes 100190 km in all" in van(*told).err
    done = van(*told, "--meter-was", "3=rolled-over", "--json")
    assert done.code == 0, done.err
    assert "2000-05-04,100190," in van("export", "--engine", "Bus engine").out
    assert "showed 190 km, rolled over" in van("odometer", "Bus").out
    assert van("import-undo", done.json["import"], "--reason", "the other bus").code == 0
    assert "rolled over" not in van("odometer", "Bus").out
    assert van("export", "--engine", "Bus engine").out.count("\n") == 1


def test_an_engine_column_sends_each_row_to_its_engine(van, tmp_path):
    assert van("add", "engine", "flat-twin", "--name", "Pump").code == 0
    rows = [
        ["Engine", "Date", "km", "Valve", "Gap mm"],
        ["van", "1999-05-04", 1, "I3", 0.15],
        ["Pump", "1999-05-04", 1, "I2", 0.15],
    ]
    (tmp_path / "shed.xlsx").write_bytes(as_xlsx(rows))
    done = van("import", "shed.xlsx", "--gap-means", "went", "--yes")
    assert done.code == 0, done.err
    assert len(visits(van)) == 1
    assert van("imports", "--json").json["imports"][0]["engines"] == ["Pump", "Van"]


def test_imports_are_listed_and_undone(van):
    made = van("import", "old.xlsx", *TOLD, "--yes", "--json").json
    listed = van("imports")
    assert "old.xlsx: Van, 2 visits (2 rows)" in listed.out
    assert made["import"] in listed.out
    assert json.loads(van("imports", "--json").out)["imports"][0]["how"]["kind"] == "sheet"
    gone = van("import-undo", made["import"], "--reason", "the wrong engine")
    assert gone.code == 0
    assert "undone" in gone.out
    assert visits(van) == []
    assert "the wrong engine" in van("imports").out
    assert (
        van("import-undo", made["import"], "--reason", "again", "--json").json["undone_reason"]
        == "the wrong engine"
    )


def test_a_log_file_comes_in_as_before_and_can_be_undone(van, tmp_path):
    (tmp_path / "log.csv").write_text(
        "date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note\n"
        "1999-05-04,1000,18,E3,0.10,0.15,no,,\n"
    )
    done = van("import", "log.csv", "--engine", "Van")
    assert done.out.startswith("Van: 1 visit (1 row) added, 0 there before.\n")
    (entry,) = van("imports", "--json").json["imports"]
    assert entry["how"] == {"kind": "log"}
    assert van("import-undo", entry["import"], "--reason", "a trial").code == 0
    assert visits(van) == []


def test_what_was_added_since_is_put_aside_only_when_asked_again(van):
    made = van("import", "old.xlsx", *TOLD, "--yes", "--json").json
    from coldlash.logbook.store import Book

    with Book.open("book.coldlash") as book:
        visit = book.visits("Van")[0]
        book.change_visit(visit.id, {"note": "rain"}, reason="remembered", at="2026-01-01T00:00:00Z")
    refused = van("import-undo", made["import"], "--reason", "x")
    assert refused.code == 2
    assert "something was added to 1 of its visits since; nothing was undone" in refused.err
    assert van("import-undo", made["import"], "--reason", "x", "--anyway").code == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("import", "none.csv"), "log file none.csv: can't be read"),
        (("import", "."), "that is a folder, a file is needed"),
        (("import", "old.xlsx", "--sheet", "Nope"), "has no sheet 'Nope'; it has 'Log'"),
        (("import", "old.xlsx", "--heading-row", "99"), "there is no row 99 in this sheet"),
        (("import", "old.xlsx", "--column", "found"), "--column 'found': write it like found=C or left:E3=D"),
        (
            ("import", "old.xlsx", "--column", "found=Z"),
            "there is no one column 'Z'; there are A (Date), B (Odometer)",
        ),
        (("import", "old.xlsx", "--column", "weather=A"), "'weather' is nothing a column can be"),
        (("import", "old.xlsx", "--meter-was", "3=stolen"), "is not one of rolled over, replaced"),
        (("import", "old.xlsx", "--blades", "nope"), "no blade set 'nope'"),
        (("import", "old.xlsx", "--engine", "Boat"), "this book has no engine 'Boat'"),
        (("import-undo", "x", "--reason", "y"), "is not a UUID"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(van, arguments, says):
    told = van(*arguments)
    assert told.code == 2
    assert says in told.err
    assert visits(van) == []


def test_stopping_it_leaves_nothing(van, monkeypatch):
    from coldlash.desk.importing import FileImport

    def stopped(self, desk, *, by, watch):
        with desk.book.transaction():
            desk.book.add_vehicle("half written")
            raise KeyboardInterrupt

    monkeypatch.setattr(FileImport, "take", stopped)
    told = van("import", "old.xlsx", *TOLD, "--yes")
    assert told.code == 130
    assert "stopped; nothing was taken in" in told.err
    assert "half written" not in van("book", "show").out


def test_progress_is_told_on_standard_error_once_it_takes_a_while(capsys):
    from coldlash.cli.import_commands import _Progress

    quiet, told = _Progress(first_s=60), _Progress(first_s=0, every_s=0)
    quiet("writing", 1, 2)
    told("writing", 250, 12_500)
    told("reading", 0, 0)
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.splitlines() == ["  writing visits: 250 of 12,500", "  reading"]
