"""coldlash work: parts replaced, ground, tightened again, and whose gaps start afresh with it."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING

from coldlash.cli.arguments import book_option, command, day, group, number
from coldlash.cli.output import out, put_json, tell
from coldlash.language import day as in_words
from coldlash.language import say

if TYPE_CHECKING:
    from coldlash.desk.work import WorkDone

KINDS = ("replaced", "ground", "retorqued", "refitted", "machined", "repaired", "cleaned", "rebuilt")
PARTS = (
    "valve", "seat", "guide", "spring", "head", "gasket", "barrel", "lifter", "camshaft", "pushrod", "rocker",
    "stand", "adjuster", "stud", "engine", "other",
)  # fmt: skip


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    work = group(commands, "work", say("write down work on an engine, list it, take it back"))
    done = command(work, "add", say("write down that a part was replaced, ground, tightened again"), _add)
    done.add_argument("part", choices=PARTS, metavar="PART", help=", ".join(PARTS))
    done.add_argument("kind", choices=KINDS, metavar="WHAT", help=", ".join(KINDS))
    done.add_argument("--engine", metavar="NAME", help=say("the engine's name; not needed for an only one"))
    done.add_argument(
        "--at",
        metavar="WHERE",
        default="",
        help=say(
            'valves or cylinders, like "E3 I3" or "1,2"; of a head, any cylinder under it; default: all'
        ),
    )
    done.add_argument(
        "--on",
        type=day,
        metavar="DATE",
        default=None,
        help=say("its day, if it was between visits; default today"),
    )
    done.add_argument(
        "--visit", metavar="ID", nargs="?", const="", default=None,
        help=say("it was done at this visit, after the gaps were found; without an ID, at the open one"),
    )  # fmt: skip
    done.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help=say("the engine's own distance, if known")
    )
    done.add_argument("--who", metavar="NAME", help=say("whose hands"))
    done.add_argument("--note", default="", help=say("anything worth keeping"))
    book_option(done)
    lists = command(work, "list", say("list the work on an engine and whose gaps it moved"), _list)
    lists.add_argument(
        "engine", metavar="NAME", nargs="?", help=say("the engine's name; not needed for an only one")
    )
    book_option(lists)
    back = command(
        work, "take-back", say("take back work that was not done; it stays to be seen"), _take_back
    )
    back.add_argument("id", metavar="ID", help=say("its id, as listed"))
    back.add_argument("--reason", required=True, help=say("why"))
    book_option(back)


def _add(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.work import add_work, parts_asked

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        visit_id = None
        if arguments.visit is not None:
            visit_id = desk.which_visit(arguments.visit or None, entry.name, latest=True).id
        valves, cylinders = parts_asked(arguments.at, engine)
        done = add_work(
            desk.book, entry, engine, arguments.part, arguments.kind,
            # The owner's own calendar day is meant, not that of a time zone.
            day=arguments.on or date.today(),  # noqa: DTZ011
            visit_id=visit_id, distance_km=arguments.distance, valves=valves, cylinders=cylinders,
            note=arguments.note, by=arguments.who,
        )  # fmt: skip
    if arguments.json:
        put_json(_json(done))
        return
    out(say("{engine}, {day}: {words}.", engine=entry.name, day=done.work.day, words=done.words))
    tell(done.means)


def _json(done: WorkDone) -> dict[str, object]:
    work = done.work
    return {
        "work": work.id,
        "day": work.day.isoformat(),
        "visit": work.visit_id,
        "distance_km": None if work.distance_m is None else work.distance_m / 1000,
        "part": work.part,
        "kind": work.kind,
        "at": [*map(str, work.valves), *work.cylinders],
        "note": work.note,
        "by": work.by,
        "starts_afresh": [str(valve) for valve in done.moved.valves],
        "why": done.moved.why,
    }


def _list(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.work import work_on

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        found = work_on(desk.book, entry, engine)
    if arguments.json:
        put_json({"engine": entry.name, "work": [_json(done) for done in found]})
        return
    if not found:
        out(say("No work on {name} is written down.", name=entry.name))
    for done in found:
        tell(f"{in_words(done.work.day)}  {done.words}" + (f" ({done.work.note})" if done.work.note else ""))
        tell(f"  {done.means}")
        tell(say("  id {id}", id=done.work.id))


def _take_back(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.work import take_back_work, work_words

    with Desk.open(arguments.book) as desk:
        gone = take_back_work(desk.book, arguments.id, arguments.reason)
    if arguments.json:
        put_json({"work": gone.replaces, "taken_back": True})
        return
    out(
        say("Taken back: {day}, {words}. It stays in the book, marked.", day=gone.day, words=work_words(gone))
    )
