"""coldlash work: what was done, whose gaps start afresh."""

import pytest


@pytest.fixture
def van(cli):
    """An engine with one closed visit."""
    assert cli("add", "engine", "flat-four", "--name", "E").code == 0
    assert cli("visit", "start", "E", "--distance", "5000", "--date", "2024-01-01").code == 0
    assert cli("visit", "close", "--engine", "E").code == 0
    return cli


def test_work_is_written_with_what_it_means_and_listed(van):
    done = van("work", "add", "seat", "ground", "--at", "E3", "--visit", "--note", "pitted")
    assert done.code == 0
    assert "E, 2024-01-01: seat ground, E3." in done.out
    assert "Starts afresh from what was left at this visit: E3" in done.out
    data = van("work", "add", "head", "refitted", "--at", "1", "--on", "2024-06-01", "--json").json
    assert data["starts_afresh"] == ["I1", "E1", "I2", "E2"]
    assert (data["at"], data["day"], data["visit"]) == ([1], "2024-06-01", None)
    listed = van("work", "list", "--json").json["work"]
    assert [entry["part"] for entry in listed] == ["seat", "head"]
    assert "seat ground, E3 (pitted)" in van("work", "list").out


def test_work_that_was_not_done_is_taken_back_with_a_reason(van):
    made = van("work", "add", "camshaft", "replaced", "--on", "2024-06-01", "--json").json
    gone = van("work", "take-back", made["work"], "--reason", "another engine's")
    assert gone.code == 0
    assert "Taken back: 2024-06-01, camshaft replaced." in gone.out
    assert van("work", "list").out.startswith("No work on E is written down.")
    assert van("work", "take-back", made["work"], "--reason", "again").code == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("add", "wheel", "replaced"), "invalid choice: 'wheel'"),
        (("add", "seat", "ground", "--at", "E9"), "has no valve E9"),
        (("add", "seat", "ground", "--at", "9"), "has no cylinder 9; it has 4"),
        (("add", "other", "repaired"), "say whose gaps it moved"),
        (("take-back", "x", "--reason", "y"), "is not a UUID"),
    ],
)
def test_work_says_what_is_wrong_and_writes_nothing(van, arguments, says):
    told = van("work", *arguments)
    assert told.code == 2
    assert says in told.err
    assert van("work", "list", "--json").json["work"] == []


def test_the_words_of_the_terminal_are_those_of_the_book():
    from coldlash.cli.work_commands import KINDS, PARTS
    from coldlash.logbook import lasting

    assert (PARTS, KINDS) == (lasting.PARTS, lasting.WORK_KINDS)
