"""coldlash backup, restore, check, salvage, move: that nothing in the book is ever lost."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from coldlash.cli.arguments import book_option, command
from coldlash.cli.output import note, out, put_json, say

BETWEEN_S = 0.2
"""How often progress is shown, seconds."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    backup = command(
        commands, "backup", "write a whole, checked copy of the book, and take old ones away", _backup
    )
    backup.add_argument(
        "--to", metavar="FOLDER", help="where to; default: the folder backups beside the book"
    )
    backup.add_argument(
        "--keep", type=int, default=None, metavar="N", help="how many backups of this book stay; default 14"
    )
    book_option(backup)

    restore = command(commands, "restore", "make a book from a backup; never overwrites one", _restore)
    restore.add_argument("backup", metavar="BACKUP", help="the backup's file")
    restore.add_argument(
        "--to", metavar="BOOK", required=True, help="the new book: a free path, or an empty database"
    )

    check = command(
        commands, "check", "read the whole book and say what is wrong with it, if anything", check_book
    )
    book_option(check)

    salvage = command(
        commands,
        "salvage",
        "save what can be saved of a damaged book in a new one, and list what is lost",
        _salvage,
    )
    salvage.add_argument("damaged", metavar="DAMAGED", help="the damaged book's file; it is only read")
    salvage.add_argument("--to", metavar="NEW", required=True, help="path of the new book")

    move = command(
        commands, "move", "copy a book whole to another place: from a file to a server or back", _move
    )
    move.add_argument("source", metavar="FROM", help="path or address of the book; it stays as it is")
    move.add_argument("target", metavar="TO", help="a free path, or the address of an empty database")


def _backup(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.logbook.backup import KEEP

    keep = KEEP if arguments.keep is None else arguments.keep
    folder = None if arguments.to is None else Path(arguments.to)
    with Desk.open(arguments.book) as desk:
        made = desk.book.backup(folder, keep=keep, progress=_Shown())
    if arguments.json:
        put_json(
            {"backup": str(made.path), "bytes": made.size, "removed": [str(path) for path in made.removed]}
        )
        return
    out(f"Backed up to {made.path} ({_size(made.size)}).")
    for path in made.removed:
        out(f"  taken away, as only the last {keep} stay: {path.name}")


def _restore(arguments: argparse.Namespace) -> None:
    from coldlash.logbook.backup import restore

    name, rows = restore(arguments.backup, arguments.to, progress=_Shown())
    if arguments.json:
        put_json({"book": name, "rows": rows})
        return
    out(f"{name} is whole: {_counted(rows)}.")


def check_book(arguments: argparse.Namespace) -> int:
    """Read the whole book and say what is wrong with it."""
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        wrong = desk.book.check()
        name = desk.book.name
    if arguments.json:
        put_json({"book": name, "sound": not wrong, "wrong": list(wrong)})
    elif wrong:
        out(f"{name} is not sound:")
        for text in wrong:
            say(f"  {text}")
    else:
        out(f"{name} is sound.")
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
    out(f"{saved.book} is a sound book again: {_counted(saved.rows)}.")
    if not saved.lost:
        out("Nothing seems to be lost.")
        return
    out(f"Lost or set right, also in {listed}:")
    for text in saved.lost:
        say(f"  {text}")
    out(
        "What is not numbered, at the end of a table, may be lost without a trace: look through the last visits."
    )


def _move(arguments: argparse.Namespace) -> None:
    from coldlash.logbook.move import move

    moved = move(arguments.source, arguments.target, on_wait=_waiting, progress=_Shown())
    if arguments.json:
        put_json({"from": moved.source, "to": moved.target, "rows": moved.rows})
        return
    out(f"{moved.target} holds all of it: {_counted(moved.rows)}. Every table was read back and is equal.")
    out(f"{moved.source} stays as it is; write only into the new one from now on.")


def _waiting() -> None:
    note("waiting for another coldlash that is writing ...")


def _counted(rows: dict[str, int]) -> str:
    words = ("vehicles", "engines", "visits", "readings")
    return ", ".join(f"{rows.get(word, 0)} {word}" for word in words)


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"


class _Shown:
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
            sys.stderr.write(f"\r{done} of {total} rows ({table})\x1b[K" + ("\n" if done == total else ""))
            sys.stderr.flush()
