"""coldlash visit: a whole visit, led stop by stop or written from flags."""

from __future__ import annotations

import argparse

from coldlash.cli import typed
from coldlash.cli.arguments import book_option, command, day, group, number
from coldlash.cli.bench_commands import stop_options
from coldlash.cli.output import out, put_json, table, tell
from coldlash.language import day as in_words
from coldlash.language import number as written
from coldlash.language import say, say_in
from coldlash.logbook.telling import label, state_word


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    visit = group(commands, "visit", say("open, carry out, close, correct and look at visits"))

    start = command(visit, "start", say("open a visit"), _start)
    _engine_name(start)
    _visit_options(start)
    stop_options(start)
    book_option(start)

    lead = command(
        visit, "guide", say("be led through a visit; an open one goes on where it was left"), _guide
    )
    _engine_name(lead)
    _visit_options(lead)
    stop_options(lead)
    book_option(lead)

    for step, words in (
        ("found", say("write what the blades said before anything was touched")),
        ("set", say("write the blade a valve was set on; without one, the cold gap")),
        ("left", say("write what the blades said after the lock-nut")),
    ):
        asked = command(visit, step, words, _say)
        asked.set_defaults(step=step)
        asked.add_argument("valve", metavar="VALVE", help=say("like E3"))
        reading_help = say('like 0.15/0.20, 0.15, "drag 0.15", none, ?')
        if step == "set":
            asked.add_argument(
                "reading",
                metavar="BLADE",
                nargs="?",
                default="",
                help=say("like 0.15; default: the cold gap"),
            )
        else:
            asked.add_argument("reading", metavar="READING", help=reading_help)
        if step != "set":
            asked.add_argument("--spin", choices=("free", "stiff", "none"), help=say("how the pushrod spins"))
        asked.add_argument("--note", default="", help=say("anything worth keeping"))
        asked.add_argument("--correct", action="store_true", help=say("this corrects what stands there"))
        asked.add_argument("--reason", default="", help=say("why a closed visit is corrected"))
        _which_visit(asked)

    show = command(visit, "show", say("show a visit as it stands, with everything that was corrected"), _show)
    _which_visit(show)
    lists = command(visit, "list", say("list the visits of an engine"), _list)
    _engine_name(lists)
    book_option(lists)
    change = command(visit, "change", say("change a field of a visit; a closed one needs a reason"), _change)
    change.add_argument("--day", type=day, help=say("its day"))
    change.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help=say("the engine's own distance")
    )
    change.add_argument("--temp", type=number("--temp"), metavar="C", help=say("engine temperature"))
    change.add_argument("--by", help=say("who did it"))
    change.add_argument("--note", help=say("its note"))
    change.add_argument("--reason", default="", help=say("why a closed visit is changed"))
    _which_visit(change)
    close = command(
        visit, "close", say("close a visit; from then on it is only corrected with a reason"), _close
    )
    _which_visit(close)
    discard = command(
        visit, "discard", say("put an open visit aside; it stays in the book, out of the answers"), _discard
    )
    discard.add_argument("--reason", default="", help=say("why"))
    _which_visit(discard)


def _engine_name(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "engine",
        metavar="NAME",
        nargs="?",
        default=None,
        help=say("the engine's name in the book; not needed for an only one"),
    )


def _visit_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--date", type=day, default=None, metavar="DATE", help=say("day of the visit; default today")
    )
    parser.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help=say("the engine's own distance, km")
    )
    parser.add_argument(
        "--meter",
        type=number("--meter"),
        metavar="READING",
        help=say("what its meter shows, in its own unit"),
    )
    parser.add_argument(
        "--meter-was", choices=("rolled-over", "replaced"), help=say("why the meter shows less than before")
    )
    parser.add_argument("--temp", type=number("--temp"), metavar="C", help=say("engine temperature, Celsius"))
    parser.add_argument("--who", default=None, metavar="NAME", help=say("whose hands"))
    parser.add_argument(
        "--blades", default=None, metavar="SET", help=say("blade set: yours, or metric, metric-fine, inch")
    )
    parser.add_argument("--note", default="", help=say("anything worth keeping"))


def _which_visit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--engine", metavar="NAME", default=None, help=say("the engine's name; not needed for an only one")
    )
    parser.add_argument(
        "--visit", metavar="ID", default=None, help=say("the visit; default: the engine's open one")
    )
    book_option(parser)


def _start(arguments: argparse.Namespace) -> None:
    from coldlash.cli.visit_guide import open_from_flags
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        visit = open_from_flags(desk, arguments.engine or desk.only_engine(), arguments)
        guide = desk.guide(visit)
    if arguments.json:
        put_json({"visit": visit.id, "plan": guide.planned.as_json()})
        return
    out(
        say(
            "Opened a visit of {name}, {day}, {km:g} km.",
            name=guide.engine.name,
            day=visit.day,
            km=visit.distance_m / 1000,
        )
    )
    for stop in guide.stops:
        out(
            say(
                "  stop {number}  {position}: {valves}",
                number=stop.number,
                position=stop.words.position,
                valves=", ".join(str(task.valve) for task in stop.tasks),
            )
        )
    out(say("How to find them: coldlash visit guide, or coldlash stops."))


def _guide(arguments: argparse.Namespace) -> int:
    from coldlash.cli.visit_guide import lead

    return lead(arguments)


def _say(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine)
        guide = desk.guide(visit)
        valve = guide.engine.valve(arguments.valve)
        reading = desk.say(
            visit,
            valve,
            arguments.step,
            typed.reading(arguments.reading),
            spin=getattr(arguments, "spin", None),
            note=arguments.note,
            reason=arguments.reason,
            correct=arguments.correct,
        )
        question = desk.surprise(guide, valve, reading) if arguments.step == "found" else None
        turn = guide.screw(reading, valve) if arguments.step == "found" else None
    if arguments.json:
        put_json(
            {
                "reading": reading.id,
                "valve": str(valve),
                "step": reading.step,
                "words": reading.words,
                "look_again": question,
                "screw_turn_deg": None if turn is None else turn.turn_deg,
            }
        )
        return
    out(say("{reading}: {words}", reading=label(f"{valve} {reading.step}"), words=reading.words))
    if question is not None:
        tell(question)
    elif turn is not None:
        out(say("To the cold gap, reckoned from the middle: {words}", words=turn.words))


def _show(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.words import visit_json, visit_lines

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine, latest=True)
        name, shown = desk.book.engine(visit.engine_id).name, desk.shown()
    if arguments.json:
        put_json(visit_json(visit, name))
        return
    for line in visit_lines(visit, name, shown):
        tell(line)


def _list(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.words import visit_json

    with Desk.open(arguments.book) as desk:
        name = arguments.engine or desk.only_engine()
        visits = desk.book.visits(name, None)
    if arguments.json:
        put_json({"engine": name, "visits": [visit_json(visit, name) for visit in visits]})
        return
    rows = [
        (
            in_words(visit.day),
            written(visit.distance_m / 1000, ",.0f"),
            state_word(visit.state),
            visit.by or "-",
            visit.id,
            visit.note,
        )
        for visit in visits
    ]
    out(
        table(
            (
                say_in("column", "day"),
                "km",
                say_in("column", "state"),
                say_in("column", "by"),
                "id",
                say_in("column", "note"),
            ),
            rows,
        )
    )


def _change(arguments: argparse.Namespace) -> None:
    from coldlash.desk.changed import changed as in_words
    from coldlash.desk.desk import Desk
    from coldlash.errors import InputError

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine, latest=True)
        shown, service = desk.shown(), desk.engine(desk.book.engine(visit.engine_id).name)[1].service
        changed = desk.change_visit(
            visit,
            day=arguments.day,
            distance_km=arguments.distance,
            engine_temp_c=arguments.temp,
            by=arguments.by,
            note=arguments.note,
            reason=arguments.reason,
        )
    fresh = changed.changes[len(visit.changes) :]
    if not fresh:
        raise InputError(
            say("nothing to change: give --day, --distance, --temp, --by or --note with another value")
        )
    if arguments.json:
        put_json({"visit": visit.id, "changed": [change.field for change in fresh]})
        return
    for change in fresh:
        out(say("{field}: {old} is now {new}", **in_words(change, shown, service)._asdict()))


def _close(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine)
        missing = desk.missing(visit)
        closed = desk.book.close_visit(visit.id)
        answer = desk.answer(desk.book.engine(closed.engine_id).name)
    if arguments.json:
        put_json({"visit": closed.id, "not_measured": [str(v) for v in missing], "answer": answer.as_json()})
        return
    out(say("Closed the visit of {day}.", day=closed.day))
    if missing:
        out(say("Not measured: {valves}", valves=", ".join(str(valve) for valve in missing)))
    out()
    for line in answer.lines():
        tell(line)


def _discard(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.running import discard_visit

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine)
        discard_visit(desk.book, visit.id, arguments.reason)
    if arguments.json:
        put_json({"visit": visit.id, "state": "discarded"})
        return
    out(say("The visit of {day} is put aside.", day=visit.day))
