"""coldlash stops, closed, screw, blades, checklist, heat, cooldown, timing: what is asked at the engine."""

from __future__ import annotations

import argparse

from coldlash.cli.arguments import command, engine_argument, not_negative, number, numbers, positive
from coldlash.cli.output import note, out, put_json, signed, table, tell
from coldlash.errors import InputError
from coldlash.language import say, say_in
from coldlash.language import table as in_language

STEPS = (
    "ready",
    "turn",
    "turn_against",
    "measure",
    "set",
    "close_up",
    "run",
    "compression",
    "leakdown",
    "listen",
)


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    stops = command(
        commands, "stops", say("plan the crank positions at which every valve can be checked"), _stops
    )
    engine_argument(stops)
    stop_options(stops)

    closed = command(commands, "closed", say("say which valves are closed at one crank position"), _closed)
    engine_argument(closed)
    closed.add_argument(
        "--at",
        type=number("--at"),
        required=True,
        metavar="DEG",
        help=say("crank degrees past firing TDC of cylinder 1"),
    )

    screw = command(commands, "screw", say("say how far to turn the adjusting screw"), _screw)
    engine_argument(screw)
    screw.add_argument(
        "--from", dest="from_mm", type=number("--from"), required=True, metavar="MM", help=say("gap now")
    )
    screw.add_argument(
        "--to", dest="to_mm", type=number("--to"), required=True, metavar="MM", help=say("gap wanted")
    )

    checklist = command(
        commands, "checklist", say("print what to do before the first valve and after the last"), _checklist
    )
    engine_argument(checklist)

    cautions = command(
        commands, "cautions", say("print the cautions, each with the step it belongs to"), _cautions
    )
    cautions.add_argument("--step", choices=STEPS, help=say("only those of one step"))

    heat = command(commands, "heat", say("say what the gaps become when the parts warm up"), _heat)
    engine_argument(heat)
    heat.add_argument(
        "--zones",
        required=True,
        metavar="ZONE=C,...",
        help=say("temperature of every zone of the engine file, Celsius"),
    )

    cooldown = command(
        commands, "cooldown", say("say how long until the engine is cold enough to measure"), _cooldown
    )
    cooldown.add_argument(
        "--air", type=number("--air"), required=True, metavar="C", help=say("air temperature")
    )
    cooldown.add_argument(
        "--reading",
        action="append",
        required=True,
        metavar="MIN:C",
        help=say("engine temperature at a minute; two or more"),
    )
    cooldown.add_argument(
        "--within",
        type=positive("--within"),
        default=None,
        metavar="K",
        help=say("how close to the air is cold; default 5"),
    )
    cooldown.add_argument("--engine", help=say("judge by this engine's own stack instead of a fixed excess"))
    cooldown.add_argument(
        "--size",
        type=positive("--size"),
        default=0.01,
        metavar="MM",
        help=say("with --engine: gap error allowed"),
    )

    cooldown.add_argument(
        "--watch", action="store_true", help=say("count down, second by second, until it is cold enough")
    )
    cooldown.add_argument(
        "--ago",
        type=not_negative("--ago"),
        default=0.0,
        metavar="MIN",
        help=say("with --watch: minutes since the last reading; default 0"),
    )

    timing = command(
        commands, "timing", say("say what a gap does to valve timing and seating speed"), _timing
    )
    engine_argument(timing)
    timing.add_argument(
        "--gap", type=number("--gap"), required=True, metavar="MM", help=say("gap at the valve, running")
    )
    timing.add_argument(
        "--rpm", type=positive("--rpm"), default=3000.0, help=say("engine speed; default 3000")
    )


def stop_options(parser: argparse.ArgumentParser) -> None:
    """The options that shape a plan of stops."""
    parser.add_argument(
        "--by", choices=("fewest", "cylinder"), default="fewest", help=say("fewest stops, or one cylinder")
    )
    parser.add_argument(
        "--turn", choices=("with", "against"), default="with", help=say("with or against rotation")
    )
    parser.add_argument(
        "--marks", type=numbers("--marks"), default=None, metavar="DEG,...",
        help=say("pulley marks, degrees past firing TDC 1; default: the engine file's"),
    )  # fmt: skip
    parser.add_argument(
        "--margin",
        type=number("--margin"),
        default=30.0,
        metavar="DEG",
        help=say("degrees a valve must be clear; default 30"),
    )


def _stops(arguments: argparse.Namespace) -> None:
    from coldlash.desk.bench import plan_for
    from coldlash.desk.engines import load_engine

    engine = load_engine(arguments.engine).engine
    plan = plan_for(engine, arguments.by, arguments.turn, arguments.marks, arguments.margin)
    if arguments.json:
        put_json(plan.as_json())
        return
    for line in plan.lines():
        tell(line)


def _closed(arguments: argparse.Namespace) -> None:
    from coldlash.bench.stops import closed_at
    from coldlash.desk.engines import load_engine

    engine = load_engine(arguments.engine).engine
    states = closed_at(engine, arguments.at)
    if arguments.json:
        valves = {str(v): {"open": state.open, "margin_deg": state.margin_deg} for v, state in states.items()}
        put_json({"valves": valves})
        return
    rows = [
        (str(valve), _open_or_closed(state.open), signed(state.margin_deg)) for valve, state in states.items()
    ]
    out(table((say_in("column", "valve"), say_in("column", "is"), say("degrees to the edge")), rows))


def _open_or_closed(is_open: bool) -> str:
    return say_in("state of a valve", "open") if is_open else say_in("state of a valve", "closed")


def _screw(arguments: argparse.Namespace) -> None:
    from coldlash.bench.screw import screw_turn
    from coldlash.desk.engines import load_engine

    turn = screw_turn(load_engine(arguments.engine).engine.linkage, arguments.from_mm, arguments.to_mm)
    if arguments.json:
        put_json({"turn_deg": turn.turn_deg})
        return
    out(
        say(
            "{from_mm:g} mm to {to_mm:g} mm: {words}",
            from_mm=turn.from_mm,
            to_mm=turn.to_mm,
            words=turn.words,
        )
    )


def _checklist(arguments: argparse.Namespace) -> None:
    from coldlash.bench.cautions import MAKER_FIRST
    from coldlash.bench.checklists import closing_up, getting_ready
    from coldlash.desk.engines import load_engine

    engine = load_engine(arguments.engine).engine
    lists = (getting_ready(engine), closing_up(engine))
    if arguments.json:
        put_json(
            {
                "checklists": [
                    {
                        "title": c.title,
                        "items": [{"key": item.key, "text": item.text} for item in c.items],
                        "cautions": [
                            {"key": caution.key, "text": in_language(caution.text)} for caution in c.cautions
                        ],
                    }
                    for c in lists
                ]
            }
        )
        return
    for checklist in lists:
        out(checklist.title)
        for item in checklist.items:
            tell(f"  [ ] {item.text}")
        for caution in checklist.cautions:
            tell(f"   !  {in_language(caution.text)}")
        out()
    out(in_language(MAKER_FIRST))


def _cautions(arguments: argparse.Namespace) -> None:
    from coldlash.bench.cautions import CAUTIONS, MAKER_FIRST

    chosen = [caution for caution in CAUTIONS if arguments.step in (None, caution.step)]
    if arguments.json:
        rows = [{"key": c.key, "step": c.step, "text": in_language(c.text)} for c in chosen]
        put_json({"cautions": rows, "maker_first": in_language(MAKER_FIRST)})
        return
    for caution in chosen:
        tell(f"{caution.step}: {in_language(caution.text)}")
    out(in_language(MAKER_FIRST))


def _heat(arguments: argparse.Namespace) -> None:
    from coldlash.desk.bench import heat_answer, parse_zones
    from coldlash.desk.engines import load_engine

    engine = load_engine(arguments.engine).engine
    answer = heat_answer(engine, parse_zones(arguments.zones))
    for text in answer.notes:
        note(say("note: {text}", text=text))
    if arguments.json:
        put_json(answer.as_json())
        return
    for line in answer.lines():
        tell(line)


def _cooldown(arguments: argparse.Namespace) -> None:
    from coldlash.desk.bench import cooldown_answer, parse_cooling
    from coldlash.desk.engines import load_engine

    engine = load_engine(arguments.engine).engine if arguments.engine else None
    answer = cooldown_answer(
        arguments.air, parse_cooling(arguments.reading), arguments.within, engine, arguments.size
    )
    if arguments.json:
        if arguments.watch:
            raise InputError(say("--json gives one answer and --watch counts on; use one of the two"))
        put_json(answer.as_json())
        return
    for line in answer.lines():
        tell(line)
    if arguments.watch:
        from coldlash.cli.countdown import watch

        watch(60 * (answer.cooling.wait_min - arguments.ago))


def _timing(arguments: argparse.Namespace) -> None:
    from coldlash.desk.bench import timing_answer
    from coldlash.desk.engines import load_engine

    answer = timing_answer(load_engine(arguments.engine).engine, arguments.gap, arguments.rpm)
    if arguments.json:
        put_json(answer.as_json())
        return
    for line in answer.lines():
        tell(line)
