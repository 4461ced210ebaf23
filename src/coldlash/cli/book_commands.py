"""coldlash book, add, set, due, export: the book and what stands in it."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path

from coldlash.cli.arguments import book_option, command, day, engine_argument, group
from coldlash.cli.output import out, put_json, tell
from coldlash.cli.safety_commands import check_book
from coldlash.language import say
from coldlash.logbook.telling import label


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    due = command(commands, "due", say("show every engine in the book and when its gaps are due"), _due)
    due.add_argument(
        "--on", type=day, default=None, metavar="DATE", help=say("as seen on this day; default today")
    )
    book_option(due)

    book = group(commands, "book", say("make a book, look at it, check it"))
    make = command(book, "new", say("make an empty book"), _new)
    book_option(make)
    check = command(
        book, "check", say("read the whole book and say what is wrong with it, if anything"), check_book
    )
    book_option(check)
    show = command(book, "show", say("list vehicles, engines, blade sets and open visits"), _show)
    book_option(show)

    adding = group(commands, "add", say("add a vehicle, an engine or a blade set to the book"))
    vehicle = command(adding, "vehicle", say("add a vehicle"), _add_vehicle)
    vehicle.add_argument("name", metavar="NAME", help=say("what you call it"))
    vehicle.add_argument(
        "--meter", choices=("km", "mile", "h"), default="km", help=say("what its meter counts; default km")
    )
    vehicle.add_argument("--digits", type=int, default=None, help=say("whole digits its meter shows"))
    vehicle.add_argument("--note", default="", help=say("anything worth keeping"))
    book_option(vehicle)
    engine = command(
        adding, "engine", say("add an engine from its file, or a new version of its file"), _add_engine
    )
    engine_argument(engine)
    engine.add_argument("--name", help=say("its name in the book; default: the name in the file"))
    engine.add_argument("--vehicle", metavar="NAME", help=say("the vehicle it is in"))
    engine.add_argument(
        "--again",
        action="store_true",
        help=say("it is in the book already: keep this as its file from now on"),
    )
    book_option(engine)
    blades = command(adding, "blades", say("add your blade set"), _add_blades)
    blades.add_argument("name", metavar="NAME", help=say("what you call it"))
    blades.add_argument("blades", metavar="BLADES", help=say('as typed: "0.05 0.10 0.15" or ".004 .006"'))
    blades.add_argument(
        "--unit", choices=("mm", "in"), default="mm", help=say("unit where none is written; default mm")
    )
    blades.add_argument(
        "--stacks", type=int, default=1, help=say("how many may be laid on each other, 1 or 2; default 1")
    )
    book_option(blades)

    unit = command(commands, "unit", say("say in which units things are shown and typed"), _unit)
    unit.add_argument(
        "gap", nargs="?", choices=("mm", "in"), help=say("gaps: mm, or in for thousandths of an inch")
    )
    unit.add_argument("--distance", choices=("km", "mile"), help=say("distances"))
    unit.add_argument("--temperature", choices=("C", "F"), help=say("temperatures"))
    book_option(unit)

    export = command(commands, "export", say("write an engine's closed visits as a log file"), _export)
    export.add_argument("--engine", required=True, metavar="NAME", help=say("the engine's name in the book"))
    export.add_argument(
        "--to", metavar="CSV", help=say("where to write it, never overwrites; default: standard output")
    )
    book_option(export)


def _due(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.words import due_json, due_lines

    # The owner's own calendar day is meant, not that of a time zone.
    today = arguments.on or date.today()  # noqa: DTZ011
    with Desk.open(arguments.book) as desk:
        rows, shown = desk.judged_shed(today), desk.shown()
    if arguments.json:
        put_json({"on": today.isoformat(), "engines": [due_json(row) for row in rows]})
        return
    if not rows:
        out(say("There is no engine in this book yet; add one: coldlash add engine FILE"))
        return
    out(say("The shed on {day}", day=today))
    for row in rows:
        out()
        for line in due_lines(row, shown):
            tell(line)


def _new(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import make_book

    name = make_book(arguments.book)
    if arguments.json:
        put_json({"book": name})
        return
    out(say("Made the book {name}", name=name))


def _show(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        book, unit = desk.book, desk.unit()
        vehicles, engines, blades = book.vehicles(), book.engines(), book.blade_sets()
        drafts = book.draft_visits()
    names = {entry.id: entry.name for entry in engines}
    if arguments.json:
        put_json(
            {
                "unit": unit,
                "vehicles": [{"name": v.name, "meter": v.meter, "digits": v.meter_digits} for v in vehicles],
                "engines": [{"name": e.name, "file_version": e.file.version} for e in engines],
                "blade_sets": [
                    {"name": b.name, "unit": b.unit, "blades_um": list(b.blades_um)} for b in blades
                ],
                "open_visits": [
                    {"id": d.id, "engine": names[d.engine_id], "day": d.day.isoformat()} for d in drafts
                ],
            }
        )
        return
    from coldlash.bench.blades import show_um

    in_book = ", ".join(f"{v.name} ({label(v.meter)})" for v in vehicles)
    out(say("Vehicles: {vehicles}", vehicles=in_book) if vehicles else say("Vehicles: none"))
    in_book = ", ".join(
        say("{name} (file version {version})", name=e.name, version=e.file.version) for e in engines
    )
    out(say("Engines: {engines}", engines=in_book) if engines else say("Engines: none"))
    for kept in blades:
        shown = ", ".join(show_um(um, kept.unit) for um in kept.blades_um)
        out(say("Blades {name}: {blades}", name=kept.name, blades=shown))
    out(say("Gaps are shown in {unit}.", unit=unit))
    for draft in drafts:
        out(say("Open: {engine}, {day}", engine=names[draft.engine_id], day=draft.day))


def _add_vehicle(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book, create=True) as desk:
        vehicle = desk.book.add_vehicle(
            arguments.name, meter=arguments.meter, meter_digits=arguments.digits, note=arguments.note
        )
    _said(arguments, {"vehicle": vehicle.name, "id": vehicle.id}, say("Added {name}.", name=vehicle.name))


def _add_engine(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.engines import load_engine

    loaded = load_engine(arguments.engine)
    name = arguments.name or loaded.engine.name
    with Desk.open(arguments.book, create=True) as desk:
        if arguments.again:
            version = desk.new_engine_file(name, loaded)
        else:
            version = desk.add_engine(loaded, arguments.name, arguments.vehicle).file.version
    _said(
        arguments,
        {"engine": name, "version": version},
        say("{name} is in the book, file version {version}.", name=name, version=version),
    )


def _add_blades(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book, create=True) as desk:
        kept = desk.add_blade_set(arguments.name, arguments.blades, arguments.unit, arguments.stacks)
    shown = ", ".join(kept.show(rung.um) for rung in kept.ladder())
    _said(arguments, {"blade_set": kept.name, "blades_um": list(kept.blades_um)}, f"{kept.name}: {shown}")


def _unit(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    named = {
        "gap_unit": arguments.gap,
        "distance_unit": arguments.distance,
        "temperature_unit": arguments.temperature,
    }
    with Desk.open(arguments.book, create=True) as desk:
        shown = desk.choose_units({key: value for key, value in named.items() if value is not None})
    data: dict[str, object] = {"gap": shown.gap, "distance": shown.distance, "temperature": shown.temperature}
    words = say(
        "Gaps are shown in {gap}, distances in {distance}, temperatures in {temperature}.",
        gap=shown.gap,
        distance=label(shown.distance),
        temperature=shown.temperature,
    )
    _said(arguments, data, words)


def _export(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.engines import write_new_text

    with Desk.open(arguments.book) as desk:
        text = desk.export_log(arguments.engine)
    if arguments.to is not None:
        write_new_text(Path(arguments.to), text)
        _said(
            arguments,
            {"engine": arguments.engine, "file": arguments.to},
            say("Wrote {file}.", file=arguments.to),
        )
    elif arguments.json:
        put_json({"engine": arguments.engine, "log": text})
    else:
        # The log's own line ends, whatever the terminal's are.
        sys.stdout.write(text.replace("\r\n", "\n"))


def _said(arguments: argparse.Namespace, data: dict[str, object], words: str) -> None:
    if arguments.json:
        put_json(data)
    else:
        out(words)
