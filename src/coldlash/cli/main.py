"""The coldlash command: finds the handler, runs it, and turns errors into messages and exit codes.

Exit codes: 0 done, 1 our fault (a report file is written), 2 the input's fault (nothing was written).
"""

from __future__ import annotations

import argparse
import errno
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from coldlash import __version__
from coldlash.cli import (
    archive_commands,
    bench_commands,
    book_commands,
    demo_commands,
    engine_commands,
    feed_commands,
    found_commands,
    import_commands,
    paper_commands,
    photo_commands,
    safety_commands,
    serve_commands,
    vehicle_commands,
    visit_commands,
    wear_commands,
    work_commands,
)
from coldlash.cli.argparse_words import argparse_speaks
from coldlash.cli.which_language import OPTION, language_of
from coldlash.errors import ColdlashError
from coldlash.language import say, using


def build_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser = argparse.ArgumentParser(
        prog="coldlash",
        description=say(
            "Valve gaps of old air-cooled pushrod engines: measured, set, written down, understood."
        ),
        epilog=say(
            "Valve gaps are checked on a cold engine. The maker's manual and local rules come before anything "
            "said here. ENGINE is a path to an engine file or the name of a generic engine."
        ),
        allow_abbrev=False,
    )
    parser.add_argument(
        "--version",
        action="version",
        version=f"coldlash {__version__}",
        help=say("show program's version number and exit"),
    )
    parser.add_argument(
        OPTION,
        metavar="TAG",
        help=say(
            "the language to speak, such as en or de; default: $COLDLASH_LANGUAGE, else that of the computer"
        ),
    )
    commands = parser.add_subparsers(title=say("commands"), metavar="COMMAND", dest="command")
    for room in (
        engine_commands,
        bench_commands,
        visit_commands,
        work_commands,
        found_commands,
        vehicle_commands,
        photo_commands,
        wear_commands,
        book_commands,
        import_commands,
        paper_commands,
        feed_commands,
        safety_commands,
        archive_commands,
        serve_commands,
        demo_commands,
    ):
        room.add(commands)
    return parser


def main(argv: Sequence[str]) -> int:
    """Run one command line; returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        tag = language_of(argv, os.environ)
    except ColdlashError as error:
        sys.stderr.write(f"coldlash: {error}\n")
        return error.exit_code
    with using(tag), argparse_speaks():
        return _run(argv)


def _run(argv: Sequence[str]) -> int:
    parser = build_parser()
    arguments = parser.parse_args(list(argv))
    handler: Callable[[argparse.Namespace], int | None] | None = getattr(arguments, "handler", None)
    if handler is None:
        parser.print_help()
        return 0
    try:
        return handler(arguments) or 0
    except ColdlashError as error:
        sys.stderr.write(f"coldlash: {error}\n")
        return error.exit_code
    except KeyboardInterrupt:
        sys.stderr.write(f"\ncoldlash: {say('stopped')}\n")
        return 130
    except BrokenPipeError:
        # The reader of a pipe has had enough; keep Python from complaining while it closes down.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        sys.stderr.write(f"coldlash: {_os_words(error)}\n")
        return 2
    except Exception:
        return _our_fault(argv)


def _os_words(error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        if error.filename:
            return say("{path}: the disk is full; make room and try again", path=error.filename)
        return say("the disk is full; make room and try again")
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}"


def _our_fault(argv: Sequence[str]) -> int:
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    text = (
        f"coldlash {__version__}, Python {sys.version.split()[0]}\n{list(argv)!r}\n\n{traceback.format_exc()}"
    )
    for folder in (Path.cwd(), Path.home()):
        path = folder / f"coldlash-report-{stamp}-{os.getpid()}.txt"
        try:
            path.write_text(text, encoding="utf-8")
        except OSError:
            continue
        words = say("this is a fault of coldlash, not yours. What happened is in {path}", path=path)
        sys.stderr.write(f"coldlash: {words}\n")
        return 1
    words = say("this is a fault of coldlash, not yours:")
    sys.stderr.write(f"coldlash: {words}\n{text}")
    return 1


def entry() -> None:
    """The installed command."""
    sys.exit(main(sys.argv[1:]))


if __name__ == "__main__":
    entry()
