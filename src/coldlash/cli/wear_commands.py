"""coldlash assess: what the readings say, from a log file or from the book."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import book_option, command, positive
from coldlash.cli.output import put_json, say


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    assess = command(commands, "assess", "say what an engine's readings mean", _assess)
    assess.add_argument(
        "--engine",
        required=True,
        metavar="ENGINE",
        help="with --log an engine file; else its name in the book",
    )
    assess.add_argument("--log", metavar="CSV", help="a log file instead of the book")
    assess.add_argument(
        "--next-km",
        type=positive("--next-km"),
        default=None,
        metavar="KM",
        help="distance to the next service; default: the engine file's interval, else 5000",
    )
    book_option(assess)


def _assess(arguments: argparse.Namespace) -> None:
    from coldlash.desk.answer import assess_log
    from coldlash.desk.desk import Desk

    if arguments.log is not None:
        answer = assess_log(arguments.engine, arguments.log, arguments.next_km)
    else:
        with Desk.open(arguments.book) as desk:
            answer = desk.answer(arguments.engine, arguments.next_km)
    if arguments.json:
        put_json(answer.as_json())
        return
    for line in answer.lines():
        say(line)
