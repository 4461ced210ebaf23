"""coldlash backup, restore, check, salvage, move: that nothing in the book is ever lost."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from coldlash.cli.arguments import book_option, command
from coldlash.cli.output import note, out, put_json, tell
from coldlash.language import say

BETWEEN_S = 0.2
"""How often progress is shown, seconds."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    backup = command(
        commands, "backup", say("write a whole, checked copy of the book, and take old ones away"), _backup
    )
    backup.add_argument(
        "--to", metavar="FOLDER", help=say("where to; default: the folder backups beside the book")
    )
    backup.add_argument(
        "--keep",
        type=int,
        default=None,
        metavar="N",
        help=say("how many backups of this book stay; default 14"),
    )
    book_option(backup)

    restore = command(commands, "restore", say("make a book from a backup; never overwrites one"), _restore)
    restore.add_argument("backup", metavar="BACKUP", help=say("the backup's file"))
    restore.add_argument(
        "--to", metavar="BOOK", required=True, help=say("the new book: a free path, or an empty database")
    )

    check = command(
        commands, "check", say("read the whole book and say what is wrong with it, if anything"), check_book
    )
    book_option(check)

    salvage = command(
        commands,
        "salvage",
        say("save what can be saved of a damaged book in a new one, and list what is lost"),
        _salvage,
    )
    salvage.add_argument("damaged", metavar="DAMAGED", help=say("the damaged book's file; it is only read"))
    salvage.add_argument("--to", metavar="NEW", required=True, help=say("path of the new book"))

    move = command(
        commands, "move", say("copy a book whole to another place: from a file to a server or back"), _move
    )
    move.add_argument("source", metavar="FROM", help=say("path or address of the book; it stays as it is"))
    move.add_argument("target", metavar="TO", help=say("a free path, or the address of an empty database"))


def _backup(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.logbook.backup import KEEP

    keep = KEEP if arguments.keep is None else arguments.keep
    folder = None if arguments.to is None else Path(arguments.to)
    with Desk.open(arguments.book) as desk:
        made = desk.book.backup(folder, keep=keep, progress=Shown())
    if arguments.json:
        put_json(
            {"backup": str(made.path), "bytes": made.size, "removed": [str(path) for path in made.removed]}
        )
        return
    out(say("Backed up to {path} ({size}).", path=made.path, size=size_words(made.size)))
    for path in made.removed:
        out(say("  taken away, as only the last {keep} stay: {name}", keep=keep, name=path.name))


def _restore(arguments: argparse.Namespace) -> None:
    from coldlash.logbook.backup import restore

    name, rows = restore(arguments.backup, arguments.to, progress=Shown())
    if arguments.json:
        put_json({"book": name, "rows": rows})
        return
    out(say("{name} is whole: {counted}.", name=name, counted=counted(rows)))


def check_book(arguments: argparse.Namespace) -> int:
    """Read the whole book and say what is wrong with it."""
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        wrong = desk.book.check()
        name = desk.book.name
    if arguments.json:
        put_json({"book": name, "sound": not wrong, "wrong": list(wrong)})
    elif wrong:
        out(say("{name} is not sound:", name=name))
        for text in wrong:
            tell(f"  {text}")
    else:
        out(say("{name} is sound.", name=name))
    return 2 if wrong else 0


def _salvage(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import write_new_text
    from coldlash.logbook.salvage import salvage

    saved = salvage(arguments.damaged, arguments.to)
    listed = Path(f"{saved.book}.lost.txt")
    if saved.lost:
        write_new_text(listed, "\n".join(saved.lost) + "\n")
    if arguments.json:
        put_json({"book": str(saved.book), "rows": saved.rows, "lost": list(saved.lost)})
        return
    out(say("{book} is a sound book again: {counted}.", book=saved.book, counted=counted(saved.rows)))
    if not saved.lost:
        out(say("Nothing seems to be lost."))
        return
    out(say("Lost or set right, also in {listed}:", listed=listed))
    for text in saved.lost:
        tell(f"  {text}")
    out(
        say(
            "What is not numbered, at the end of a table, may be lost without a trace: look through the "
            "last visits."
        )
    )


def _move(arguments: argparse.Namespace) -> None:
    from coldlash.logbook.move import move

    moved = move(arguments.source, arguments.target, on_wait=waiting, progress=Shown())
    if arguments.json:
        put_json({"from": moved.source, "to": moved.target, "rows": moved.rows})
        return
    out(
        say(
            "{target} holds all of it: {counted}. Every table was read back and is equal.",
            target=moved.target,
            counted=counted(moved.rows),
        )
    )
    out(say("{source} stays as it is; write only into the new one from now on.", source=moved.source))


def waiting() -> None:
    """Say that another one is writing."""
    note(say("waiting for another coldlash that is writing ..."))


def counted(rows: dict[str, int]) -> str:
    """The rows of a book in words."""
    return say(
        "{vehicles} vehicles, {engines} engines, {visits} visits, {readings} readings",
        vehicles=rows.get("vehicles", 0),
        engines=rows.get("engines", 0),
        visits=rows.get("visits", 0),
        readings=rows.get("readings", 0),
    )


def size_words(count: int) -> str:
    """So many bytes, in words."""
    if count >= 1e6:
        return say("{size:.1f} MB", size=count / 1e6)
    return say("{size:.0f} kB", size=count / 1e3)


class Shown:
    """Progress on a terminal: one line that is written over."""

    def __init__(self) -> None:
        self._next = 0.0

    def __call__(self, done: int, total: int, table: str) -> None:
        """Show how far it is."""
        if not sys.stderr.isatty():
            return
        now = time.monotonic()
        if now >= self._next or done == total:
            self._next = now + BETWEEN_S
            words = say("{done} of {total} rows ({table})", done=done, total=total, table=table)
            sys.stderr.write(f"\r{words}\x1b[K" + ("\n" if done == total else ""))
            sys.stderr.flush()
