"""What scripts rely on: one JSON object, its keys, its numbers, its exit codes."""

import math

import pytest

CONTRACT_ENGINE = """
name = "Launch engine"
cylinders = 4
firing_order = [1, 4, 3, 2]
firing_gaps_deg = [180, 180, 180, 180]
turns = "clockwise"
heads = [[1, 2], [3, 4]]
shared_lobes = [["I1", "I3"], ["E1", "E3"], ["I2", "I4"], ["E2", "E4"]]
[valve_events_deg]
intake_opens_btdc = 10
intake_closes_abdc = 40
exhaust_opens_bbdc = 45
exhaust_closes_atdc = 8
[gap_mm.intake]
cold = 0.15
tight = 0.05
loose = 0.30
[gap_mm.exhaust]
cold = 0.15
tight = 0.05
loose = 0.30
[linkage]
rocker_ratio = 1.1
screw_side = "valve"
screw_pitch_mm = 1.0
[pulley]
diameter_mm = 175
marks_deg = [0]
[[stack]]
part = "pushrod"
length_mm = 230
material = "6061"
zone = "pushrod"
heights = ["pushrod"]
"""


@pytest.fixture
def engine(tmp_path):
    path = tmp_path / "launch.toml"
    path.write_text(CONTRACT_ENGINE, encoding="utf-8")
    return path


def test_stops_gives_the_two_stops_of_the_trade(cli, engine):
    # Common practice: flat-four 1-4-3-2, firing TDC 1 gives I1 E1 I2 E4, firing TDC 3 gives I3 E3 I4 E2.
    answer = cli("stops", engine, "--json").json
    assert set(answer) == {"stops", "total_turn_deg", "unreachable"}
    assert [
        (
            stop["crank_deg"],
            stop["turn_deg"],
            stop["cylinder"],
            stop["mark_deg"],
            {v["valve"] for v in stop["valves"]},
        )
        for stop in answer["stops"]
    ] == [(0, 0, 1, 0, {"I1", "E1", "I2", "E4"}), (360, 360, 3, 0, {"I3", "E3", "I4", "E2"})]
    assert answer["total_turn_deg"] == 360
    assert answer["unreachable"] == []
    # Derived: exhaust margin at its own firing TDC is 180 - EVO = 135.
    assert {v["valve"]: v["margin_deg"] for v in answer["stops"][0]["valves"]}["E1"] == pytest.approx(135)


def test_stops_against_rotation_one_cylinder_at_a_time_is_1_2_3_4(cli, engine):
    # Common practice: a flat-four turned backwards half a turn at a time goes 1-2-3-4.
    answer = cli("stops", engine, "--by", "cylinder", "--turn", "against", "--marks", "0,180", "--json").json
    assert [stop["cylinder"] for stop in answer["stops"]] == [1, 2, 3, 4]
    assert [stop["turn_deg"] for stop in answer["stops"]] == [0, -180, -180, -180]
    assert answer["total_turn_deg"] == 540


def test_stops_says_what_is_out_of_reach(cli, engine):
    answer = cli("stops", engine, "--margin", "175", "--json").json
    assert answer["unreachable"]
    text = cli("stops", engine, "--margin", "175").out
    assert "Out of reach" in text


def test_closed_gives_signed_margins(cli, engine):
    answer = cli("closed", engine, "--at", "0", "--json").json["valves"]
    assert answer["I1"] == {"open": False, "margin_deg": pytest.approx(140)}  # derived: 180 - 40 ABDC
    assert answer["E3"]["open"] is True  # overlap: firing TDC of its mate
    assert answer["E3"]["margin_deg"] == pytest.approx(-8)  # derived: closes 8 ATDC
    same = cli("closed", engine, "--at", "720", "--json").json["valves"]
    assert same == answer


def test_screw_turns_18_degrees_for_five_hundredths_at_pitch_1(cli, engine):
    # Exact: 0.05 mm of a 1.0 mm pitch is a twentieth of a turn.
    assert cli("screw", engine, "--from", "0.10", "--to", "0.15", "--json").json["turn_deg"] == pytest.approx(
        18
    )
    assert cli("screw", engine, "--from", "0.15", "--to", "0.10", "--json").json["turn_deg"] == pytest.approx(
        -18
    )
    assert "opens the gap" in cli("screw", engine, "--from", "0.10", "--to", "0.15").out


def test_heat_needs_no_more_than_the_stack_there_is_and_says_what_counts_nothing(cli, engine):
    done = cli("heat", engine, "--zones", "pushrod=120", "--json")
    assert done.code == 0
    # Exact: dg = -r dq, 230 mm of 6061 (23.6e-6/K, Callister B.6), 100 K, r = 1.1.
    change = -1.1 * 230 * 23.6e-6 * 100
    assert done.json["gap_change_mm"]["exhaust"] == pytest.approx(change, rel=1e-9)
    assert done.json["per_k_uniform_um"]["intake"] == pytest.approx(change * 10, rel=1e-9)
    assert "counts 0" in done.err


def test_heat_names_the_zone_that_is_missing(cli):
    done = cli("heat", "flat-four", "--zones", "crankcase=90")
    assert (done.code, done.out) == (2, "")
    assert "pushrod" in done.err


def test_cooldown_recovers_a_known_time_constant(cli):
    # Exact: T = 18 + 74 exp(-t/tau) with tau = 45 / ln(74/43).
    answer = cli("cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--json").json
    tau = 45 / math.log(74 / 43)
    assert answer["tau_min"] == pytest.approx(tau, rel=1e-9)
    assert answer["wait_min"] == pytest.approx(tau * math.log(43 / 5), rel=1e-9)
    closer = cli(
        "cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--within", "10", "--json"
    ).json
    assert closer["wait_min"] == pytest.approx(tau * math.log(43 / 10), rel=1e-9)


def test_cooldown_judges_an_engine_by_its_own_stack(cli):
    words = ["cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--json"]
    own = cli(*words, "--engine", "flat-four").json
    # Common practice and the rule under Heat: about 5 K above the air for 0.01 mm.
    assert 3 < own["cold_at_c"] - 18 < 8


def test_timing_needs_a_lobe_and_says_so(cli, engine):
    done = cli("timing", engine, "--gap", "0.15")
    assert done.code == 2
    assert "lobe" in done.err


def test_timing_of_a_looser_gap_is_shorter_and_lands_harder(cli):
    set_gap = cli("timing", "flat-four", "--gap", "0.15", "--rpm", "3000", "--json").json["exhaust"]
    loose = cli("timing", "flat-four", "--gap", "0.40", "--rpm", "3000", "--json").json["exhaust"]
    assert loose["duration_deg"] < set_gap["duration_deg"]
    assert loose["opens_deg"] > set_gap["opens_deg"]
    assert loose["seating_mm_per_s"] > set_gap["seating_mm_per_s"]
    held = cli("timing", "flat-four", "--gap", "-0.02", "--json").json["exhaust"]
    assert held["held_open"] is True
    assert held["opens_deg"] is None


LOG = """date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note
2024-05-01,80000,18,E3,0.10,0.15,yes,0.15,
2024-05-01,80000,18,I1,0.15,0.20,no,,
2025-05-01,85000,12,E3,0.05,0.10,no,,rough idle
2025-05-01,85000,12,I1,0.15,0.20,no,,
"""


def test_assess_reads_a_log_without_a_book(cli, engine, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(LOG, encoding="utf-8")
    done = cli("assess", "--engine", engine, "--log", log, "--json")
    assert done.code == 0
    answer = done.json
    assert answer["as_of_km"] == 85000
    assert set(answer["valves"]) == {"I1", "E1", "I2", "E2", "I3", "E3", "I4", "E4"}
    e3 = answer["valves"]["E3"]
    assert set(e3) >= {
        "gap_mm",
        "drift_mm_per_1000km",
        "p_tight_by_next",
        "p_loose_by_next",
        "change",
        "verdict",
    }
    assert set(e3["gap_mm"]) == {"mean", "sd", "p05", "p95"}
    assert set(answer) >= {"causes", "next_tests", "recheck_km", "reasons", "p_something"}
    assert e3["compared"]["change_mm"]["hi"] < 0
    assert e3["drift_mm_per_1000km"]["mean"] < answer["valves"]["I1"]["drift_mm_per_1000km"]["mean"] < 0.01
    for each in answer["valves"].values():
        assert 0 <= each["p_tight_by_next"] <= 1
    assert not (tmp_path / "book.coldlash").exists()


def test_every_generic_engine_of_the_contract_is_there(cli):
    for name in (
        "flat-four", "flat-twin", "flat-six", "inline-four", "inline-six", "v8", "single",
        "parallel-twin-360", "parallel-twin-180", "v-twin-90",
    ):  # fmt: skip
        assert cli("engine", "check", name, "--json").code == 0
        assert cli("engine", "show", name).out.startswith(" ") or name
        assert cli("stops", name, "--json").json["unreachable"] == []


def test_the_90_degree_v_twin_fires_270_to_cylinder_2(cli):
    # Common practice, named in the contract.
    assert cli("engine", "show", "v-twin-90", "--json").json["firing_deg"] == {"1": 0, "2": 270}


def test_engine_show_has_everything_on_screen(cli):
    text = cli("engine", "show", "flat-four").out
    assert "mates" in text
    assert "E3" in text
    assert "0.15" in text
    shown = cli("engine", "show", "flat-four", "--json").json
    assert shown["valves"]["E1"]["gap_mm"] == 0.15


def test_checklists_and_cautions_are_the_same_in_words_and_data(cli):
    data = cli("checklist", "flat-four", "--json").json["checklists"]
    text = " ".join(cli("checklist", "flat-four").out.split())
    for checklist in data:
        for item in checklist["items"] + checklist["cautions"]:
            assert item["text"] in text
    cautions = cli("cautions", "--step", "leakdown", "--json").json
    assert all(c["step"] == "leakdown" for c in cautions["cautions"])
    assert cautions["cautions"][0]["text"] in " ".join(cli("cautions", "--step", "leakdown").out.split())


def test_without_a_command_help_is_printed(cli):
    done = cli()
    assert done.code == 0
    assert "commands" in done.out
    assert cli("--version").out.startswith("coldlash 0.")


def test_the_cause_table_follows_this_engines_own_linkage(cli, engine):
    rows = {row["variant"]: row for row in cli("engine", "causes", engine, "--json").json["causes"]}
    # Derived from g = (1 + r) p - r q - v with r = 1.1: a sinking valve tightens 1 per mm, a settling head r per mm.
    assert (rows["seat_recession"]["direction"], rows["seat_recession"]["gap_per_mm"]) == ("tighter", -1.0)
    assert rows["head_settling"]["gap_per_mm"] == pytest.approx(-1.1)
    assert rows["head_settling"]["where"] == [["I1", "E1", "I2", "E2"], ["I3", "E3", "I4", "E4"]]
    text = cli("engine", "causes", engine).out
    assert "tighter" in text
    assert "looser" in text
