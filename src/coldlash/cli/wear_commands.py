"""coldlash assess: what the readings say, from a log file or from the book."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import book_option, command, positive
from coldlash.cli.output import put_json, tell
from coldlash.language import say


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    assess = command(commands, "assess", say("say what an engine's readings mean"), _assess)
    assess.add_argument(
        "--engine",
        required=True,
        metavar="ENGINE",
        help=say("with --log an engine file; else its name in the book"),
    )
    assess.add_argument("--log", metavar="CSV", help=say("a log file instead of the book"))
    assess.add_argument(
        "--next-km",
        type=positive("--next-km"),
        default=None,
        metavar="KM",
        help=say("distance to the next service; default: the engine file's interval, else 5000"),
    )
    assess.add_argument(
        "--result",
        metavar="TEST@WHERE=OUTCOME",
        action="append",
        default=[],
        help=say(
            "with --log: what a test showed, like leak_down@E3=leaks_at_exhaust or listen@2=none; may be given again"
        ),
    )
    book_option(assess)


def _assess(arguments: argparse.Namespace) -> None:
    from coldlash.desk.answer import assess_log
    from coldlash.desk.desk import Desk
    from coldlash.errors import InputError

    if arguments.log is not None:
        answer = assess_log(arguments.engine, arguments.log, arguments.next_km, arguments.result)
    elif arguments.result:
        raise InputError(say("--result goes with --log; in the book write it down: coldlash tests add"))
    else:
        with Desk.open(arguments.book) as desk:
            answer = desk.answer(arguments.engine, arguments.next_km)
    if arguments.json:
        put_json(answer.as_json())
        return
    for line in answer.lines():
        tell(line)
