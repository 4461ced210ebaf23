"""coldlash demo: the book of a small island's transport museum, to look around in."""

from __future__ import annotations

import argparse
import socket
import sys
from datetime import date

from coldlash.cli.arguments import command, day
from coldlash.cli.output import out, put_json, tell
from coldlash.cli.serve_commands import serve_book
from coldlash.language import say

IDLE_S = 20.0
"""Without a terminal nobody can press Ctrl+C: the pages then stop after this long without a request, seconds."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    demo = command(
        commands, "demo", say("make the demo book: three engines of an island museum, all invented"), _demo
    )
    demo.add_argument(
        "--book", metavar="BOOK", help=say("where to make it; default: a demo book beside your own")
    )
    demo.add_argument(
        "--until", type=day, default=None, metavar="DATE", help=say("day the story ends; default today")
    )
    demo.add_argument("--seed", type=int, default=None, help=say("another seed, another story"))
    demo.add_argument("--walk", action="store_true", help=say("make it anew and walk through the main job"))
    demo.add_argument(
        "--serve", action="store_true", help=say("then serve its pages; without a terminal until nobody asks")
    )
    demo.add_argument("--port", type=int, default=8765, help=say("port for --serve; default 8765"))


def _demo(arguments: argparse.Namespace) -> None:
    from coldlash.demo.fill import make_demo

    # The owner's own calendar day is meant, not that of a time zone.
    until = arguments.until or date.today()  # noqa: DTZ011
    path = make_demo(arguments.book, until, arguments.seed, anew=arguments.walk)
    if arguments.json:
        put_json({"book": str(path), "until": until.isoformat()})
        return
    out(say("The demo book is {path}", path=path))
    if arguments.walk:
        _walk(str(path), until)
    else:
        out(say("Look around: coldlash due --book {path}", path=path))
    if arguments.serve:
        out()
        serve_book(str(path), port=_free(arguments.port), idle_s=None if sys.stdin.isatty() else IDLE_S)


def _free(port: int) -> int:
    """The port asked for, or 0 (any) where another program has it: a first look should not fail on that."""
    with socket.socket() as probe:
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return 0
    return port


def _walk(path: str, today: date) -> None:
    from coldlash.desk.bench import plan_for
    from coldlash.desk.desk import Desk
    from coldlash.desk.words import due_lines, visit_lines
    from coldlash.engine.plan_text import plan_text

    with Desk.open(path) as desk:
        rows = desk.judged_shed(today)
        _title(say("1. What is due"))
        for row in rows:
            for line in due_lines(row, desk.shown()):
                tell(line)
        row = next(row for row in rows if row.entry.name == "Van engine")
        _title(say("2. The engine: {name}", name=row.engine.name))
        out(plan_text(row.engine))
        _title(say("3. The stops"))
        for line in plan_for(row.engine).lines():
            tell(line)
        _title(say("4. The last visit"))
        for line in visit_lines(desk.book.visits(row.entry.name)[-1], row.entry.name, desk.shown()):
            tell(line)
        _title(say("5. What it means"))
        for line in desk.answer(row.entry.name).lines():
            tell(line)
    _title(say("Your turn"))
    out(say("Be led through a visit:  ./run visit guide 'Van engine' --book {path}", path=path))
    out(say("Begin with your engine:  ./run engine new my-engine.toml --like flat-four"))
    out(say("Everything else:         ./run --help, README.md, docs/"))


def _title(text: str) -> None:
    out()
    out(text)
    out("-" * len(text))
