"""coldlash archive: the whole book as one file that can be read without coldlash, and back."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import book_option, command, group
from coldlash.cli.output import out, put_json
from coldlash.cli.safety_commands import Shown, counted, size_words, waiting
from coldlash.language import say


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    archive = group(
        commands,
        "archive",
        say("everything in the book as one file that can be read without coldlash, and back"),
    )
    write = command(
        archive,
        "write",
        say("write everything in the book into one ZIP file: JSON with its schema, CSV, photos"),
        _write,
    )
    write.add_argument("file", metavar="FILE", help=say("the new file; one that is there is not overwritten"))
    book_option(write)
    read = command(archive, "read", say("make a book from an archive, all of it or nothing"), _read)
    read.add_argument("file", metavar="FILE", help=say("the archive; it is only read"))
    read.add_argument(
        "--to",
        metavar="BOOK",
        required=True,
        help=say("the new book: a free path, or an empty book or database"),
    )


def _write(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        made = desk.book.write_archive(arguments.file, progress=Shown())
    if arguments.json:
        put_json({"archive": str(made.path), "bytes": made.size, "rows": made.rows})
        return
    out(
        say(
            "Everything is in {path} ({size}): {counted}.",
            path=made.path,
            size=size_words(made.size),
            counted=counted(made.rows),
        )
    )
    out(say("README.txt in it says how to read it without coldlash."))


def _read(arguments: argparse.Namespace) -> None:
    from coldlash.logbook.archive.reading import read_archive

    read = read_archive(arguments.file, arguments.to, on_wait=waiting, progress=Shown())
    if arguments.json:
        put_json({"book": read.book, "rows": read.rows})
        return
    out(
        say(
            "{book} holds all of it: {counted}. It was read back, and says the same as the archive.",
            book=read.book,
            counted=counted(read.rows),
        )
    )
