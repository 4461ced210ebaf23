"""coldlash odometer and fit: notes of meters, engines that move."""

import pytest


@pytest.fixture
def van(cli):
    """A van with a five-digit odometer near its end, and a boat with an hour meter."""
    for command in (
        ("add", "vehicle", "Van", "--digits", "5"),
        ("add", "vehicle", "Boat", "--meter", "h"),
        ("add", "engine", "flat-four", "--name", "E", "--vehicle", "Van"),
        ("visit", "start", "E", "--meter", "99800", "--date", "2024-01-01"),
        ("visit", "close", "--engine", "E"),
    ):
        assert cli(*command).code == 0
    return cli


def test_a_meter_that_went_back_names_the_explanations_and_the_option(van):
    told = van("visit", "start", "E", "--meter", "190", "--date", "2025-01-01")
    assert told.code == 2
    assert "rolled over past 99999 km, which makes 100190 km in all" in told.err
    assert "--meter-was rolled-over or replaced" in told.err
    done = van("visit", "start", "E", "--meter", "190", "--date", "2025-01-01", "--meter-was", "rolled-over")
    assert done.code == 0
    assert "100190 km" in done.out


def test_led_through_a_visit_the_question_is_asked_until_it_is_settled(van):
    typed = "\n".join(["190", "", "x", "b", "o", "q"]) + "\n"
    done = van("visit", "guide", "E", "--date", "2025-01-01", typed=typed)
    assert done.code == 0
    assert done.out.count("o rolled over, n replaced, or the right reading?") == 3
    assert van("visit", "show", "--engine", "E", "--json").json["distance_km"] == 100_190.0


def test_led_through_a_visit_a_mistyped_reading_can_be_typed_again(van):
    done = van("visit", "guide", "E", "--date", "2025-01-01", typed="190\n\n99950\nq\n")
    assert done.code == 0
    assert van("visit", "show", "--engine", "E", "--json").json["distance_km"] == 99_950.0


def test_an_odometer_tells_its_story(van):
    assert van("odometer", "Van", "250", "--on", "2024-06-01", "--rolled-over", "--note", "at last").code == 0
    assert "showed 250 km, rolled over" in van("odometer", "Van").out
    done = van(
        "odometer", "Van", "--replaced", "--old", "300", "--unit", "mile", "--on", "2024-07-01", "--json"
    )
    assert done.json["unit"] == "mile"
    assert [i["how"] for i in done.json["instruments"]] == ["first", "replaced"]
    assert done.json["instruments"][1]["old_reading"] == 300
    assert done.json["readings"][0]["rolled_over"] == 1
    assert done.json["questions"] == []
    assert done.json["shows"] == 0
    assert "Van: showed 0 mile last" in van("odometer", "Van").out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("Van", "250"), "Say which: --rolled-over, or --replaced"),
        (("Van", "123456"), "it has 5 digits; mistyped"),
        (("Van", "--old", "5"), "belongs to --replaced or --repaired"),
        (("Van", "--digits", "6"), "belongs to --first, --replaced or --repaired"),
        (("Van", "--rolled-over"), "give the reading after it rolled over"),
        (("Van", "5", "--unit", "h"), "Van has no hour meter in this book; write down one with --first"),
        (("Bus", "5"), "no vehicle 'Bus'"),
    ],
)
def test_an_odometer_says_what_it_needs_and_writes_nothing(van, arguments, says):
    told = van("odometer", *arguments, "--on", "2024-06-01")
    assert told.code == 2
    assert says in told.err
    assert van("odometer", "Van", "--json").json["readings"] == []


def test_an_engine_moves_with_its_distance(van):
    assert "E is in Van; it has run 99800 km." in van("fit", "E").out
    out = van("fit", "E", "--out", "--meter", "99900", "--on", "2024-06-01")
    assert "E is in no vehicle; it has run 99900 km." in out.out
    done = van("fit", "E", "Boat", "--meter", "12", "--on", "2024-06-02", "--json").json
    assert (done["vehicle"], done["distance_km"]) == ("Boat", 99_900.0)
    assert [stay["vehicle"] for stay in done["stays"]] == ["Van", None, "Boat"]
    assert "in Boat, the meter showing 12 h" in van("fit", "E").out
    assert van("fit", "E", "Boat", "--out").code == 2
