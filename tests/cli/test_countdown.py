"""The countdown in the terminal, on a clock moved by hand."""

from __future__ import annotations

import io

import pytest

from coldlash.cli.countdown import DONE, clock, watch
from coldlash.cli.main import main


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    """Seconds; sleeping moves it, a little too far as real sleeps do."""

    def __init__(self) -> None:
        self.at = 1000.0
        self.slept: list[float] = []

    def __call__(self) -> float:
        return self.at

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.at += seconds + 0.01


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(9045, "2:30:45"), (3600, "1:00:00"), (3599.2, "1:00:00"), (1845, "30:45"), (5, "0:05"), (-3, "0:00")],
)
def test_a_clock_reads_hours_only_where_there_are_some(seconds, text):
    assert clock(seconds) == text


def test_on_a_terminal_one_line_changes_every_second_and_ends_in_words():
    stream, time = Terminal(), Clock()
    watch(3.5, stream, time, time.sleep)
    shown = [part.removesuffix("\x1b[K").strip() for part in stream.getvalue().split("\r")[1:]]
    assert shown == ["0:04 left", "0:03 left", "0:02 left", "0:01 left", f"{DONE}\x1b[K"]
    assert "\n" not in stream.getvalue()[:-1]


def test_in_a_log_there_is_a_line_a_minute():
    stream, time = io.StringIO(), Clock()
    watch(150, stream, time, time.sleep)
    assert stream.getvalue().splitlines() == ["2:30 left", "2:00 left", "1:00 left", DONE]


def test_when_the_wait_is_over_already_it_says_so_at_once():
    stream, time = io.StringIO(), Clock()
    watch(-60, stream, time, time.sleep)
    assert (stream.getvalue(), time.slept) == (f"{DONE}\n", [])


def test_the_command_counts_from_the_last_reading(capsys):
    # T(t) = 18 + 74 exp(-t / tau): tau = 45 / ln(74 / 43) = 82.9 min, to 5 K 178.4 min (derived by hand).
    arguments = ["cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--within", "5"]
    assert main([*arguments, "--watch", "--ago", "200"]) == 0
    said = capsys.readouterr().out
    assert "Wait 2 h 58 more from the last reading" in said
    assert said.endswith(f"{DONE}\n")


def test_one_answer_for_scripts_and_counting_on_exclude_each_other(capsys):
    arguments = ["cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--watch", "--json"]
    assert main(arguments) == 2
    assert "--json gives one answer and --watch counts on" in capsys.readouterr().err


def test_minutes_ago_are_not_below_nothing(capsys):
    arguments = [
        "cooldown",
        "--air",
        "18",
        "--reading",
        "0:92",
        "--reading",
        "45:61",
        "--watch",
        "--ago",
        "-1",
    ]
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2
    assert "--ago: -1 must be 0 or greater" in capsys.readouterr().err
