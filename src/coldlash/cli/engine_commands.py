"""coldlash engine new, check, show, list: the engine file and what it says."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import command, engine_argument, group
from coldlash.cli.output import out, put_json, table, tell
from coldlash.language import say, say_in


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    engine = group(commands, "engine", say("write, check and look at engine files"))
    new = command(
        engine, "new", say("write a new engine file from a generic engine, to be corrected by you"), _new
    )
    new.add_argument("file", metavar="FILE", help=say("where to write it; never overwrites"))
    new.add_argument(
        "--like", metavar="LAYOUT", default="flat-four", help=say("generic engine to start from")
    )
    new.add_argument("--name", help=say("what you call this engine; default: the file's name"))
    check = command(
        engine, "check", say("check an engine file; all faults at once, with their lines"), _check
    )
    engine_argument(check)
    show = command(
        engine, "show", say("show an engine: its plan, gaps, firing and when each valve is open"), _show
    )
    engine_argument(show)
    causes = command(engine, "causes", say("show what moves this engine's gaps, which way, and why"), _causes)
    engine_argument(causes)
    command(engine, "list", say("list the generic engines"), _list)


def _new(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import write_new_engine

    path = write_new_engine(arguments.file, arguments.like, arguments.name)
    if arguments.json:
        put_json({"file": str(path), "like": arguments.like})
        return
    out(say("Wrote {path} from the generic {like}.", path=path, like=arguments.like))
    out(say("Every figure in it is typical, not yours: compare each with the maker's manual, then run"))
    out(say("  coldlash engine check {path}", path=path))


def _check(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import load_engine
    from coldlash.engine.reader import engine_notes

    loaded = load_engine(arguments.engine)
    notes = engine_notes(loaded.engine)
    if arguments.json:
        put_json({"engine": loaded.engine.name, "source": loaded.source, "notes": list(notes)})
        return
    out(
        say(
            "{source}: {name} is good, {count} valves.",
            source=loaded.source,
            name=loaded.engine.name,
            count=len(loaded.engine.valves),
        )
    )
    for text in notes:
        out(say("  note: {text}", text=text))


def _show(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import describe_engine, load_engine

    engine = load_engine(arguments.engine).engine
    facts = describe_engine(engine)
    if arguments.json:
        put_json(facts.as_json())
        return
    out(facts.plan)
    out()
    for line in facts.lines:
        tell(line)
    out()
    head = (
        say_in("column", "valve"),
        say_in("column", "opens"),
        say_in("column", "closes"),
        say_in("column", "gap mm"),
        say_in("column", "tight"),
        say_in("column", "loose"),
    )
    out(table(head, facts.valve_rows))
    out()
    out(say("Degrees are crank degrees past firing TDC of cylinder 1, 0 to 720."))


def _causes(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import cause_lines, load_engine
    from coldlash.engine.linkage import cause_table

    engine = load_engine(arguments.engine).engine
    rows = cause_table(engine)
    if arguments.json:
        put_json(
            {
                "causes": [
                    {
                        "cause": row.cause,
                        "variant": row.variant,
                        "direction": row.direction,
                        "gap_per_mm": row.gap_per_mm,
                        "where": [[str(valve) for valve in group] for group in row.where],
                        "why": row.explanation,
                    }
                    for row in rows
                ]
            }
        )
        return
    for line in cause_lines(rows):
        tell(line)


def _list(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import list_generic

    rows = list_generic()
    if arguments.json:
        put_json(
            {
                "engines": [
                    {"name": name, "cylinders": n, "firing_order": list(order)} for name, n, order in rows
                ]
            }
        )
        return
    lines = [(name, str(n), "-".join(str(c) for c in order)) for name, n, order in rows]
    out(
        table(
            (say_in("column", "name"), say_in("column", "cylinders"), say_in("column", "firing order")), lines
        )
    )
    out()
    out(say("Their figures are typical; your maker's manual comes first."))
