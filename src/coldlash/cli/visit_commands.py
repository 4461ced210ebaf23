"""coldlash visit: a whole visit, led stop by stop or written from flags."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import book_option, command, day, group, number
from coldlash.cli.bench_commands import stop_options
from coldlash.cli.output import out, put_json, say, table


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    visit = group(commands, "visit", "open, carry out, close, correct and look at visits")

    start = command(visit, "start", "open a visit", _start)
    _engine_name(start)
    _visit_options(start)
    stop_options(start)
    book_option(start)

    lead = command(visit, "guide", "be led through a visit; an open one goes on where it was left", _guide)
    _engine_name(lead)
    _visit_options(lead)
    stop_options(lead)
    book_option(lead)

    for step, words in (
        ("found", "write what the blades said before anything was touched"),
        ("set", "write the blade a valve was set on; without one, the cold gap"),
        ("left", "write what the blades said after the lock-nut"),
    ):
        say = command(visit, step, words, _say)
        say.set_defaults(step=step)
        say.add_argument("valve", metavar="VALVE", help="like E3")
        reading_help = 'like 0.15/0.20, 0.15, "drag 0.15", none, ?'
        if step == "set":
            say.add_argument(
                "reading", metavar="BLADE", nargs="?", default="", help="like 0.15; default: the cold gap"
            )
        else:
            say.add_argument("reading", metavar="READING", help=reading_help)
        if step != "set":
            say.add_argument("--spin", choices=("free", "stiff", "none"), help="how the pushrod spins")
        say.add_argument("--note", default="", help="anything worth keeping")
        say.add_argument("--correct", action="store_true", help="this corrects what stands there")
        say.add_argument("--reason", default="", help="why a closed visit is corrected")
        _which_visit(say)

    show = command(visit, "show", "show a visit as it stands, with everything that was corrected", _show)
    _which_visit(show)
    lists = command(visit, "list", "list the visits of an engine", _list)
    _engine_name(lists)
    book_option(lists)
    change = command(visit, "change", "change a field of a visit; a closed one needs a reason", _change)
    change.add_argument("--day", type=day, help="its day")
    change.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help="the engine's own distance"
    )
    change.add_argument("--temp", type=number("--temp"), metavar="C", help="engine temperature")
    change.add_argument("--by", help="who did it")
    change.add_argument("--note", help="its note")
    change.add_argument("--reason", default="", help="why a closed visit is changed")
    _which_visit(change)
    close = command(visit, "close", "close a visit; from then on it is only corrected with a reason", _close)
    _which_visit(close)
    discard = command(
        visit, "discard", "put an open visit aside; it stays in the book, out of the answers", _discard
    )
    discard.add_argument("--reason", default="", help="why")
    _which_visit(discard)


def _engine_name(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "engine",
        metavar="NAME",
        nargs="?",
        default=None,
        help="the engine's name in the book; not needed for an only one",
    )


def _visit_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--date", type=day, default=None, metavar="DATE", help="day of the visit; default today"
    )
    parser.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help="the engine's own distance, km"
    )
    parser.add_argument(
        "--meter", type=number("--meter"), metavar="READING", help="what its meter shows, in its own unit"
    )
    parser.add_argument(
        "--meter-was", choices=("rolled-over", "replaced"), help="why the meter shows less than before"
    )
    parser.add_argument("--temp", type=number("--temp"), metavar="C", help="engine temperature, Celsius")
    parser.add_argument("--who", default=None, metavar="NAME", help="whose hands")
    parser.add_argument(
        "--blades", default=None, metavar="SET", help="blade set: yours, or metric, metric-fine, inch"
    )
    parser.add_argument("--note", default="", help="anything worth keeping")


def _which_visit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--engine", metavar="NAME", default=None, help="the engine's name; not needed for an only one"
    )
    parser.add_argument(
        "--visit", metavar="ID", default=None, help="the visit; default: the engine's open one"
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
    out(f"Opened a visit of {guide.engine.name}, {visit.day}, {visit.distance_m / 1000:g} km.")
    for stop in guide.stops:
        out(
            f"  stop {stop.number}  {stop.words.position}: "
            + ", ".join(str(task.valve) for task in stop.tasks)
        )
    out("How to find them: coldlash visit guide, or coldlash stops.")


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
            arguments.reading,
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
    out(f"{valve} {reading.step}: {reading.words}")
    if question is not None:
        say(question)
    elif turn is not None:
        out(f"To the cold gap, reckoned from the middle: {turn.words}")


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
        say(line)


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
            visit.day.isoformat(),
            f"{visit.distance_m / 1000:,.0f}",
            visit.state,
            visit.by or "-",
            visit.id,
            visit.note,
        )
        for visit in visits
    ]
    out(table(("day", "km", "state", "by", "id", "note"), rows))


def _change(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.errors import InputError

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine, latest=True)
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
            "nothing to change: give --day, --distance, --temp, --by or --note with another value"
        )
    if arguments.json:
        put_json({"visit": visit.id, "changed": [change.field for change in fresh]})
        return
    for change in fresh:
        out(f"{change.field}: {change.old} is now {change.new}")


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
    out(f"Closed the visit of {closed.day}.")
    if missing:
        out("Not measured: " + ", ".join(str(valve) for valve in missing))
    out()
    for line in answer.lines():
        say(line)


def _discard(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.running import discard_visit

    with Desk.open(arguments.book) as desk:
        visit = desk.which_visit(arguments.visit, arguments.engine)
        discard_visit(desk.book, visit.id, arguments.reason)
    if arguments.json:
        put_json({"visit": visit.id, "state": "discarded"})
        return
    out(f"The visit of {visit.day} is put aside.")
