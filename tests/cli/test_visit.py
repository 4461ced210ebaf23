"""A whole visit, led from prompts and from flags: found before the screw, back and correct, leave and come back."""

import pytest

ENTER = ""


@pytest.fixture
def van(cli, tmp_path):
    """A book with a flat-four that has four visits behind it."""
    assert cli("add", "engine", "flat-four", "--name", "Van").code == 0
    rows = [
        f"{year}-05-01,{km},18,{valve},0.15,0.20,no,,"
        for year, km in ((2022, 10000), (2023, 15000), (2024, 20000), (2025, 25000))
        for valve in ("I1", "E1", "I2", "E2", "I3", "E3", "I4", "E4")
    ]
    head = "date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note"
    (tmp_path / "past.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    assert cli("import", "past.csv", "--engine", "Van").code == 0
    return cli


def typed(*answers):
    return "\n".join(answers) + "\n"


def test_a_whole_visit_from_prompts_is_kept_as_it_was_said(van):
    answers = [ENTER]  # ready
    for _ in range(7):
        answers += ["0.15/0.20", ENTER]  # found, left alone
    answers += [
        "0.10/0.15; stiff; pitted tip",
        "y",
        "0.15",
        "y",
    ]  # the last valve is set and read again; close
    done = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--date",
        "2026-05-01",
        "--temp",
        "15",
        typed=typed(*answers),
    )
    assert done.code == 0
    assert "Closed." in done.out
    shown = van("visit", "list", "Van", "--json").json["visits"][-1]
    assert shown["state"] == "closed"
    by_step = {(r["valve"], r["step"]): r for r in shown["readings"]}
    assert len([key for key in by_step if key[1] == "found"]) == 8
    (last,) = [valve for valve, step in by_step if step == "set"]
    assert by_step[last, "found"]["spin"] == "stiff"
    assert by_step[last, "found"]["note"] == "pitted tip"
    assert by_step[last, "set"]["blade_um"] == 150
    assert (by_step[last, "left"]["go_um"], by_step[last, "left"]["nogo_um"]) == (150, 200)


def test_the_stops_come_in_order_with_position_turn_and_valves(van):
    text = van("visit", "guide", "Van", "--distance", "30000", "--temp", "15", typed=typed(ENTER)).out
    assert text.index("Stop 1 of 2: firing TDC of cylinder 1") < text.index("I1 found")
    assert "battery disconnected" in text
    assert "Nobody touches the starter" in text


def test_a_reading_unlike_the_book_is_questioned_before_the_screw_is_offered(van):
    text = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--temp",
        "18",
        typed=typed(ENTER, "none", "0.15/0.20", "q"),
    ).out
    assert text.index("was expected between") < text.index("I1 again")
    assert text.index("I1 again") < text.index("I1 set on")
    shown = van("visit", "show", "--json").json
    # Both stand in the book: the misread, and what it was corrected to.
    assert [r["words"] for r in shown["history"]] == [
        "no blade goes, thinnest tried 0.05 mm",
        "0.15 mm goes, 0.20 mm does not",
    ]
    assert [r["words"] for r in shown["readings"]] == ["0.15 mm goes, 0.20 mm does not"]


def test_a_question_can_be_answered_with_it_read_the_same(van):
    van(
        "visit", "guide", "Van", "--distance", "30000", "--temp", "18", typed=typed(ENTER, "none", ENTER, "q")
    )
    shown = van("visit", "show", "--json").json
    assert [r["go_um"] for r in shown["readings"]] == [0]


def test_leaving_and_coming_back_lands_on_the_same_valve(van):
    first = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--temp",
        "18",
        typed=typed(ENTER, "0.15", ENTER, "0.15", ENTER, "q"),
    )
    assert "Left. Everything said is in the book" in first.out
    again = van("visit", "guide", "Van", typed="")
    assert "Going on with the visit" in again.out
    assert "Getting ready" not in again.out
    asked = [line for line in again.out.splitlines() if " found (" in line]
    assert asked[0].startswith("I2 found")


def test_end_of_input_loses_nothing(van):
    van("visit", "guide", "Van", "--distance", "30000", "--temp", "18", typed="\n0.15\n")
    assert len(van("visit", "show", "--json").json["readings"]) == 1
    assert "1" in van("book", "show").out


def test_back_goes_to_the_valve_before_and_corrects_it(van):
    done = van(
        "visit", "guide", "Van", "--distance", "30000", "--temp", "18",
        typed=typed(ENTER, "0.15", ENTER, "b", "0.10/0.15", ENTER, "0.15", ENTER, "q"),
    )  # fmt: skip
    assert "I1 found, written: 0.15 mm goes, 0.20 mm does not" in done.out
    shown = van("visit", "show", "--json").json
    assert {r["valve"]: r["go_um"] for r in shown["readings"]} == {"I1": 100, "E1": 150}
    assert len(shown["history"]) == 3


def test_back_on_the_first_valve_says_so(van):
    done = van("visit", "guide", "Van", "--distance", "30000", "--temp", "18", typed=typed(ENTER, "b", "q"))
    assert "That is the first valve." in done.out


def test_a_bad_answer_is_asked_again_and_not_kept(van):
    done = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--temp",
        "18",
        typed=typed(ENTER, "15", "h", "0.15", ENTER, "q"),
    )
    assert "did you mean 0.15" in done.out
    assert "this one goes with drag" in done.out
    assert len(van("visit", "show", "--json").json["history"]) == 1


def test_what_is_missing_is_asked_for_first(van):
    done = van("visit", "guide", "Van", typed=typed("abc", "30000", "18", "q"))
    assert "What does the meter show, km?" in done.out
    assert "'abc' is not a number" in done.out
    assert van("visit", "show", "--json").json["distance_km"] == 30000


def test_leaving_before_the_visit_is_open_writes_nothing(van):
    assert "nothing was written" in van("visit", "guide", "Van", typed="q\n").out
    assert van("visit", "show", "--json").json["state"] == "closed"


def test_a_valve_can_be_gone_back_to_before_closing(van):
    answers = [ENTER] + ["0.15", ENTER] * 8 + ["E3", "0.10/0.15", ENTER, "y"]
    done = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--temp",
        "18",
        "--date",
        "2026-05-01",
        typed=typed(*answers),
    )
    assert "Closed." in done.out
    last = van("visit", "list", "Van", "--json").json["visits"][-1]
    assert {r["valve"]: r["go_um"] for r in last["readings"]}["E3"] == 100


def test_against_rotation_every_stop_carries_the_caution_of_the_pulley_bolt(van):
    done = van(
        "visit",
        "guide",
        "Van",
        "--distance",
        "30000",
        "--temp",
        "18",
        "--turn",
        "against",
        typed=typed(ENTER),
    )
    assert "loosen the pulley bolt" in done.out


def test_a_closed_visit_is_corrected_only_with_a_reason_and_the_old_value_stays(van):
    visit = van("visit", "list", "Van", "--json").json["visits"][-1]["visit"]
    refused = van("visit", "found", "E3", "0.10/0.15", "--visit", visit, "--correct")
    assert refused.code == 2
    assert "reason" in refused.err
    done = van(
        "visit", "found", "E3", "0.10/0.15", "--visit", visit, "--correct", "--reason", "read the wrong blade"
    )
    assert done.code == 0
    text = van("visit", "show", "--visit", visit).out
    assert "was: 0.15 mm goes, 0.20 mm does not" in text
    assert "because: read the wrong blade" in van("visit", "show", "--visit", visit).out


def test_a_closed_visits_own_fields_change_only_with_a_reason(van):
    visit = van("visit", "list", "Van", "--json").json["visits"][-1]["visit"]
    assert van("visit", "change", "--temp", "12", "--visit", visit).code == 2
    done = van("visit", "change", "--temp", "12", "--visit", visit, "--reason", "thermometer was in the sun")
    assert done.code == 0
    shown = " ".join(van("visit", "show", "--visit", visit).out.split())
    assert "the engine temperature was 18 °C, is now 12 °C, because: thermometer was in the sun" in shown
    assert (
        "nothing to change"
        in van("visit", "change", "--temp", "12", "--visit", visit, "--reason", "again").err
    )


def test_found_says_how_far_to_turn_the_screw(van):
    van("visit", "start", "--distance", "30000", "--date", "2026-05-01", "--temp", "18")
    # Exact: from the middle of 0.10 and 0.15 to 0.15 is 0.025 mm, 9 degrees at pitch 1.0.
    assert van("visit", "found", "E3", "0.10/0.15", "--json").json["screw_turn_deg"] == pytest.approx(9)


def test_the_same_valve_is_questioned_from_flags_too(van):
    van("visit", "start", "--distance", "30000", "--date", "2026-05-01", "--temp", "18")
    assert "expected between" in van("visit", "found", "E3", "none", "--json").json["look_again"]
    assert van("visit", "found", "I3", "0.15/0.20", "--json").json["look_again"] is None


def test_closing_says_what_was_not_measured_and_what_it_means(van):
    van("visit", "start", "--distance", "30000", "--date", "2026-05-01", "--temp", "18")
    van("visit", "found", "E3", "0.15/0.20")
    done = van("visit", "close", "--json").json
    assert "E3" not in done["not_measured"]
    assert len(done["not_measured"]) == 7
    assert done["answer"]["as_of_km"] == 30000


def test_a_discarded_visit_stays_in_the_book_and_out_of_the_answer(van):
    before = van("assess", "--engine", "Van", "--json").json
    van("visit", "start", "--distance", "30000", "--date", "2026-05-01")
    van("visit", "found", "E3", "none")
    assert van("visit", "discard", "--reason", "wrong engine").code == 0
    assert van("assess", "--engine", "Van", "--json").json == before
    assert [v["state"] for v in van("visit", "list", "Van", "--json").json["visits"]].count("discarded") == 1


def test_an_inch_owner_types_and_reads_thousandths(cli):
    cli("add", "engine", "flat-four", "--name", "Van")
    cli("unit", "in")
    cli("visit", "start", "--distance", "100", "--blades", "inch")
    assert cli("visit", "found", "E3", ".006/.007", "--json").json["words"]
    reading = cli("visit", "show", "--json").json["readings"][0]
    assert (reading["go_um"], reading["nogo_um"]) == (152, 178)  # exact: 0.006 and 0.007 in


def test_the_meter_counts_on_from_the_last_reading(cli, tmp_path):
    cli("add", "vehicle", "Old bus", "--meter", "mile")
    cli("add", "engine", "flat-four", "--name", "Bus", "--vehicle", "Old bus")
    cli("visit", "start", "--meter", "1000", "--date", "2024-01-01")
    cli("visit", "close")
    cli("visit", "start", "--meter", "2000", "--date", "2025-01-01")
    # Exact: the international mile.
    assert cli("visit", "show", "--json").json["distance_km"] == pytest.approx(2000 * 1.609344, abs=0.002)
    cli("visit", "close")
    back = cli("visit", "start", "--meter", "1500", "--date", "2026-01-01")
    assert back.code == 2
    assert "one of the two is mistyped" in back.err


def test_importing_and_exporting_gives_the_same_log(van, tmp_path):
    log = van("export", "--engine", "Van").out
    assert len(log.splitlines()) == 1 + 4 * 8
    van("add", "engine", "flat-four", "--name", "Twin of it")
    (tmp_path / "log.csv").write_text(log, encoding="utf-8")
    done = van("import", "log.csv", "--engine", "Twin of it", "--json").json
    assert (done["visits_added"], done["rows_added"]) == (4, 32)
    assert van("export", "--engine", "Twin of it").out == log
    again = van("import", "log.csv", "--engine", "Twin of it", "--json").json
    assert (again["visits_added"], again["visits_known"]) == (0, 4)
    assert van("export", "--engine", "Van", "--to", "log.csv").code == 2
    assert van("export", "--engine", "Van", "--to", "fresh.csv").code == 0
    assert (tmp_path / "fresh.csv").read_text(encoding="utf-8").splitlines() == log.splitlines()


def test_a_log_with_faults_is_taken_in_no_part(van, tmp_path):
    log = van("export", "--engine", "Van").out
    (tmp_path / "bad.csv").write_text(
        log + "2026-01-01,26000,,E9,0.1,0.2,no,,\n2026-01-01,26000,,E1,0.2,0.1,no,,\n", encoding="utf-8"
    )
    done = van("import", "bad.csv", "--engine", "Van")
    assert done.code == 2
    assert "line 34" in done.err
    assert "line 35" in done.err
    assert len(van("visit", "list", "Van", "--json").json["visits"]) == 4


def test_due_shows_the_shed_with_the_open_visit(van):
    van("visit", "start", "--distance", "30000", "--date", "2026-04-01")
    text = van("due", "--on", "2026-06-01").out
    assert "a visit of 2026-04-01 is open" in text
    row = van("due", "--on", "2026-06-01", "--json").json["engines"][0]
    assert row["state"] == "due"
    assert row["last_day"] == "2025-05-01"


def test_an_empty_book_says_how_to_begin(cli):
    assert cli("book", "new").code == 0
    assert "add one" in cli("due").out
    assert "stays as it is" in cli("book", "new").err
    assert cli("book", "check").out.strip().endswith("is sound.")


def test_a_new_version_of_an_engine_file_leaves_older_visits_theirs(van, tmp_path):
    van("engine", "new", "mine.toml", "--name", "Van")
    text = (tmp_path / "mine.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text.replace("loose = 0.30", "loose = 0.28"), encoding="utf-8")
    done = van("add", "engine", "mine.toml", "--name", "Van", "--again", "--json")
    assert done.json["version"] == 2
    assert van("assess", "--engine", "Van").code == 0
