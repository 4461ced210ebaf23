"""coldlash photo: photos and scanned pages put into the book, listed, saved as files, removed; coldlash search."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from coldlash.cli.arguments import book_option, command, group
from coldlash.cli.output import out, put_json, tell
from coldlash.errors import InputError
from coldlash.language import day_of, say

if TYPE_CHECKING:
    from coldlash.logbook.attachments import Attachment


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    photo = group(commands, "photo", say("photos and scanned pages of engines, visits and valves"))
    adds = command(photo, "add", say("put photos or scans (JPEG, PNG, WebP, PDF) into the book"), _add)
    adds.add_argument("files", metavar="FILE", nargs="+", help=say("the files; all are taken, or none"))
    adds.add_argument("--engine", metavar="NAME", help=say("the engine's name; not needed for an only one"))
    adds.add_argument(
        "--visit", metavar="ID", nargs="?", const="", default=None,
        help=say("they belong to this visit; without an ID, to the newest one"),
    )  # fmt: skip
    adds.add_argument("--valve", metavar="VALVE", help=say("they show this valve, like E3"))
    adds.add_argument("--caption", default="", metavar="TEXT", help=say("words under them"))
    adds.add_argument("--who", metavar="NAME", help=say("who took them"))
    adds.add_argument(
        "--keep",
        action="store_true",
        help=say(
            "keep the files as they are; otherwise where they were taken and the camera's other marks are left "
            "out, and large ones are made smaller"
        ),
    )
    book_option(adds)
    lists = command(photo, "list", say("list the photos of an engine, a visit or a valve"), _list)
    lists.add_argument(
        "engine", metavar="NAME", nargs="?", help=say("the engine's name; not needed for an only one")
    )
    lists.add_argument("--visit", metavar="ID", help=say("only those of this visit"))
    lists.add_argument("--valve", metavar="VALVE", help=say("only those of this valve"))
    book_option(lists)
    for name, words, handler in (
        ("save", say("save a photo of the book as a file"), _save),
        ("caption", say("give a photo other words"), _describe),
        ("place-out", say("take out where a photo that was kept as it is was taken"), _place_out),
        ("remove", say("remove a photo for good; a line that there was one stays"), _remove),
    ):
        one = command(photo, name, words, handler)
        one.add_argument("id", metavar="ID", help=say("its id, as listed"))
        if name == "save":
            one.add_argument(
                "to", metavar="FILE", nargs="?", help=say("default: its own name, in this folder")
            )
        if name == "caption":
            one.add_argument("text", metavar="TEXT", help=say("the words; empty = none"))
        book_option(one)
    search = command(commands, "search", say("search the notes of all engines"), _search)
    search.add_argument(
        "words",
        metavar="WORD",
        nargs="+",
        help=say("words that must all be in a note; of the last one the beginning will do"),
    )
    search.add_argument(
        "--most",
        type=_count,
        default=50,
        metavar="N",
        help=say("how many notes at most, the newest; default 50"),
    )
    book_option(search)


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 10_000:
        raise argparse.ArgumentTypeError(
            say("--most: {text} is not a whole number from 1 to 10000", text=text)
        )
    return int(text)


def _add(arguments: argparse.Namespace) -> None:
    from coldlash.desk.attaching import add_photos
    from coldlash.desk.desk import Desk

    files = [(Path(name).name, _read(Path(name))) for name in arguments.files]
    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        visit_id = None
        if arguments.visit is not None:
            visit_id = desk.which_visit(arguments.visit or None, entry.name, latest=True).id
        added = add_photos(
            desk.book, entry, engine, files, caption=arguments.caption, visit_id=visit_id,
            valve=arguments.valve, keep=arguments.keep, by=arguments.who,
        )  # fmt: skip
    if arguments.json:
        put_json({"engine": entry.name, "photos": [_json(photo) for photo in added]})
        return
    for photo in added:
        tell(_words(photo))
        tell(say("  id {id}", id=photo.id))


def _read(path: Path) -> bytes:
    from coldlash.desk.attaching import FILE_MAX

    with path.open("rb") as file:
        return file.read(FILE_MAX + 1)


def _json(photo: Attachment) -> dict[str, object]:
    return {
        "photo": photo.id,
        "visit": photo.visit_id,
        "valve": None if photo.valve is None else str(photo.valve),
        "type": photo.media_type,
        "name": photo.name,
        "caption": photo.caption,
        "bytes": photo.size,
        "width": photo.width,
        "height": photo.height,
        "taken_at": photo.taken_at,
        "at": photo.at,
        "by": photo.by,
        "sha256": photo.sha256,
        "removed_at": photo.removed_at,
    }


def _words(photo: Attachment) -> str:
    from coldlash.desk.attaching import place_words

    return say(
        "{day}  {place}: {words}",
        day=day_of((photo.taken_at or photo.at)[:10]),
        place=place_words(photo),
        words=photo.caption or photo.file_name,
    )


def _list(arguments: argparse.Namespace) -> None:
    from coldlash.desk.attaching import newest_first, photos_of
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        valve = str(engine.valve(arguments.valve)) if arguments.valve else None
        found = newest_first(photos_of(desk.book, entry.id, visit_id=arguments.visit, valve=valve))
    if arguments.json:
        put_json({"engine": entry.name, "photos": [_json(photo) for photo in found]})
        return
    if not found:
        out(say("There is no such photo of {engine}.", engine=entry.name))
    for photo in found:
        tell(_words(photo))
        tell(say("  id {id}", id=photo.id))


def _save(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        photo = desk.book.attachment(arguments.id)
        data = desk.book.attachment_bytes(photo.id)
    path = Path(arguments.to or photo.file_name)
    try:
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError:
        raise InputError(
            say("{path} is there already; nothing was changed; choose another name", path=path)
        ) from None
    if arguments.json:
        put_json({**_json(photo), "file": str(path)})
        return
    out(say("Saved as {path}.", path=path))


def _describe(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        photo = desk.book.describe_attachment(arguments.id, arguments.text)
    if arguments.json:
        put_json(_json(photo))
        return
    tell(_words(photo))


def _place_out(arguments: argparse.Namespace) -> None:
    from coldlash.desk.attaching import take_place_out
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        photo = take_place_out(desk.book, arguments.id)
    if arguments.json:
        put_json(_json(photo))
        return
    tell(say("The photo no longer says where it was taken. Its id is now {id}.", id=photo.id))


def _remove(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        photo = desk.book.remove_attachment(arguments.id)
    if arguments.json:
        put_json(_json(photo))
        return
    tell(say("Removed. A line that there was one stays in the book; backups made so far still have it."))


def _search(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.searching import find

    with Desk.open(arguments.book) as desk:
        answer = find(desk.book, " ".join(arguments.words), arguments.most)
    if arguments.json:
        put_json(answer.as_json())
        return
    for group_ in answer.groups:
        out(group_.name)
        for line in group_.lines:
            day = "" if line.hit.day is None else day_of(line.hit.day.isoformat())
            tell(
                say("  {day}  {what}: {text}", day=day, what=line.what, text=line.text)
                if day
                else say("  {what}: {text}", what=line.what, text=line.text)
            )
    out(answer.says())
