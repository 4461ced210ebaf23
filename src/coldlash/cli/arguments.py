"""Pieces every command shares: how numbers are read from the command line, the --json and --book options."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.units import parse_number

Handler = Callable[[argparse.Namespace], int | None]


def command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str, handler: Handler
) -> argparse.ArgumentParser:
    """Add a command with its one-sentence description, its handler and ``--json``."""
    parser = commands.add_parser(
        name, help=words, description=words[0].upper() + words[1:] + ".", allow_abbrev=False
    )
    parser.set_defaults(handler=handler)
    parser.add_argument(
        "--json", action="store_true", help=say("one JSON object on standard output, nothing else")
    )
    return parser


def group(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str
) -> argparse._SubParsersAction[argparse.ArgumentParser]:
    """Add a command that only groups others."""
    parser = commands.add_parser(
        name, help=words, description=words[0].upper() + words[1:] + ".", allow_abbrev=False
    )
    return parser.add_subparsers(
        title=say("commands"), metavar="COMMAND", required=True, dest=f"{name}_command"
    )


def engine_argument(parser: argparse.ArgumentParser) -> None:
    """The ENGINE argument."""
    parser.add_argument("engine", metavar="ENGINE", help=say("engine file, or the name of a generic engine"))


def book_option(parser: argparse.ArgumentParser) -> None:
    """The ``--book`` option."""
    parser.add_argument(
        "--book",
        metavar="BOOK",
        help=say("the book; default: $COLDLASH_BOOK, else the one in your data folder"),
    )


def number(what: str) -> Callable[[str], float]:
    """An argparse type: one strict decimal number."""

    def read(text: str) -> float:
        try:
            return parse_number(text, what)
        except InputError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return read


def positive(what: str) -> Callable[[str], float]:
    """An argparse type: one number greater than 0."""

    def read(text: str) -> float:
        value = number(what)(text)
        if value <= 0:
            raise argparse.ArgumentTypeError(
                say("{what}: {text} must be greater than 0", what=what, text=text)
            )
        return value

    return read


def not_negative(what: str) -> Callable[[str], float]:
    """An argparse type: one number, 0 or greater."""

    def read(text: str) -> float:
        value = number(what)(text)
        if value < 0:
            raise argparse.ArgumentTypeError(say("{what}: {text} must be 0 or greater", what=what, text=text))
        return value

    return read


def numbers(what: str) -> Callable[[str], list[float]]:
    """An argparse type: numbers separated by commas, decimal points only ("0,180"). Empty = none."""

    def read(text: str) -> list[float]:
        return [number(what)(part) for part in text.split(",")] if text.strip() else []

    return read


def day(text: str) -> date:
    """An argparse type: an ISO date."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            say("{text!r} is not a date; write it like 2026-05-31", text=text)
        ) from None
