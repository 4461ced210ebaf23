"""coldlash tests and coldlash cause: what a further test showed, and which cause was found."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING, Any

from coldlash.cli.arguments import book_option, command, day, group, number
from coldlash.cli.output import out, put_json, tell
from coldlash.language import day as in_words
from coldlash.language import say

if TYPE_CHECKING:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import CauseFound, TestDone

KINDS = (
    "leak_down", "compression", "stand_nuts_and_studs", "lobe_lift", "measure_again_cold", "listen", "look_inside",
)  # fmt: skip
CAUSES = (
    "seat_recession_or_stretch", "valve_train_wear", "shared_lobe_wear", "head_settling",
    "head_lifting_or_stand_loose", "head_lifting", "stand_loose", "cam_bearing_loose", "session_offset",
)  # fmt: skip


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    _add_test_commands(commands)
    _add_cause_commands(commands)


def _add_test_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    test = group(commands, "tests", say("write down what a further test showed, list tests, correct them"))
    done = command(test, "add", say("write down a leak-down, nuts and studs, lobe lift and so on"), _add_test)
    done.add_argument("kind", choices=KINDS, metavar="TEST", help=", ".join(KINDS))
    done.add_argument(
        "--result",
        metavar="OUTCOME",
        default=None,
        help=say("what showed, several with +, or none; left out: no result yet; tests kinds lists them"),
    )
    done.add_argument(
        "--at",
        metavar="WHERE",
        default="",
        help=say('a cylinder like 3, or a lobe by its valves like "E1 E3"; the whole engine: nothing'),
    )
    _when_and_who(done)
    _data_option(done)
    book_option(done)
    command(test, "kinds", say("list the tests and what each can show"), _kinds)
    lists = command(
        test, "list", say("list the tests of an engine and whether they still count"), _list_tests
    )
    _engine_argument(lists)
    book_option(lists)
    mend = command(test, "correct", say("correct a test; what it was stays to be seen"), _correct_test)
    mend.add_argument("id", metavar="ID", help=say("its id, as listed"))
    mend.add_argument("--reason", required=True, help=say("why"))
    mend.add_argument("--result", metavar="OUTCOME", default=None, help=say("what showed, or none"))
    mend.add_argument("--at", metavar="WHERE", default="", help=say("where it was, if not where it says"))
    mend.add_argument("--on", type=day, metavar="DATE", default=None, help=say("its day, if not as it says"))
    mend.add_argument("--note", default=None, help=say("another note"))
    _data_option(mend)
    book_option(mend)
    _back(test, say("take back a test that was not done; it stays to be seen"), _take_back_test)


def _add_cause_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    cause = group(commands, "cause", say("write down a cause that was found, list them, correct them"))
    found = command(cause, "accept", say("write down what was found to have moved the gaps"), _accept)
    found.add_argument("cause", choices=CAUSES, metavar="CAUSE", help=", ".join(CAUSES))
    found.add_argument(
        "--at",
        metavar="WHERE",
        default="",
        help=say(
            'valves or cylinders, like "E3" or "1,2"; of a head, any cylinder under it; default: anywhere'
        ),
    )
    _cause_options(found)
    _when_and_who(found)
    book_option(found)
    lists = command(cause, "list", say("list the causes that were found on an engine"), _list_causes)
    _engine_argument(lists)
    book_option(lists)
    mend = command(cause, "correct", say("correct a cause that was found"), _correct_cause)
    mend.add_argument("id", metavar="ID", help=say("its id, as listed"))
    mend.add_argument("--reason", required=True, help=say("why"))
    mend.add_argument("--at", metavar="WHERE", default="", help=say("where it was, if not where it says"))
    mend.add_argument("--on", type=day, metavar="DATE", default=None, help=say("its day, if not as it says"))
    mend.add_argument("--note", default=None, help=say("another note"))
    _cause_options(mend)
    book_option(mend)
    _back(cause, say("take back a cause that was not it; it stays to be seen"), _take_back_cause)


def _cause_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--direction",
        choices=("tighter", "looser"),
        default=None,
        help=say("which way it moved the gaps; default: as the linkage has it"),
    )
    parser.add_argument(
        "--amount", metavar="GAP", default=None, help=say("how far, like 0.08 or .003, in your unit")
    )


def _engine_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "engine", metavar="NAME", nargs="?", help=say("the engine's name; not needed for an only one")
    )


def _when_and_who(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--engine", metavar="NAME", help=say("the engine's name; not needed for an only one"))
    parser.add_argument(
        "--on", type=day, metavar="DATE", default=None, help=say("its day, if between visits; default today")
    )
    parser.add_argument(
        "--visit", metavar="ID", nargs="?", const="", default=None,
        help=say("it was at this visit; without an ID, at the open one, else the last"),
    )  # fmt: skip
    parser.add_argument(
        "--distance", type=number("--distance"), metavar="KM", help=say("the engine's own distance, if known")
    )
    parser.add_argument("--who", metavar="NAME", help=say("whose hands"))
    parser.add_argument("--note", default="", help=say("anything worth keeping"))


def _data_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data",
        metavar="NAME=VALUE",
        action="append",
        default=None,
        help=say("a figure that was read, like loss=12; may be given again"),
    )


def _back(commands: argparse._SubParsersAction[argparse.ArgumentParser], words: str, handler: Any) -> None:
    back = command(commands, "take-back", words, handler)
    back.add_argument("id", metavar="ID", help=say("its id, as listed"))
    back.add_argument("--reason", required=True, help=say("why"))
    book_option(back)


# --- tests ------------------------------------------------------------------------------------------------------


def _visit_id(desk: Desk, arguments: argparse.Namespace, name: str) -> str | None:
    if arguments.visit is None:
        return None
    return desk.which_visit(arguments.visit or None, name, latest=True).id


def _outcomes(text: str | None) -> tuple[str, ...] | None:
    return None if text is None else tuple(part.strip() for part in text.split("+") if part.strip())


def _add_test(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import add_test, data_asked
    from coldlash.desk.work import parts_asked

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        valves, cylinders = parts_asked(arguments.at, engine)
        done = add_test(
            desk.book, entry, engine, arguments.kind, _outcomes(arguments.result),
            # The owner's own calendar day is meant, not that of a time zone.
            day=arguments.on or date.today(),  # noqa: DTZ011
            visit_id=_visit_id(desk, arguments, entry.name), distance_km=arguments.distance,
            valves=valves, cylinders=cylinders, data=data_asked(arguments.data or ()),
            note=arguments.note, by=arguments.who,
        )  # fmt: skip
    _told_test(arguments, entry.name, done)


def _told_test(arguments: argparse.Namespace, name: str, done: TestDone) -> None:
    if arguments.json:
        put_json(_test_json(done))
        return
    tell(say("{engine}, {day}: {test}.", engine=name, day=done.test.day, test=done.words))


def _kinds(arguments: argparse.Namespace) -> None:
    from coldlash.desk.tests_done import kinds

    if arguments.json:
        put_json({"tests": {kind.name: dict(kind.outcomes) for kind in kinds()}})
        return
    for kind in kinds():
        out(f"{kind.name}: {kind.says}")
        for name, words in kind.outcomes:
            tell(f"  {name}: {words}")


def _list_tests(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        entry, _ = desk.engine(arguments.engine or desk.only_engine())
        found = desk.tests(entry.name)
    if arguments.json:
        put_json({"engine": entry.name, "tests": [_test_json(done) for done in found]})
        return
    if not found:
        out(say("No test of {engine} is written down.", engine=entry.name))
    for done in found:
        note = f" ({done.test.note})" if done.test.note else ""
        tell(f"{in_words(done.test.day)}  {done.words}{note}")
        if done.ended:
            tell(say("  no longer counts: {why}", why=done.ended))
        tell(say("  id {id}", id=done.test.id))


def _correct_test(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import correct_test, data_asked
    from coldlash.desk.work import parts_asked

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(desk.engine_of_test(arguments.id))
        valves, cylinders = parts_asked(arguments.at, engine)
        done = correct_test(
            desk.book, engine, arguments.id, arguments.reason, outcomes=_outcomes(arguments.result),
            day=arguments.on, valves=valves, cylinders=cylinders, note=arguments.note,
            data=None if arguments.data is None else data_asked(arguments.data),
        )  # fmt: skip
    _told_test(arguments, entry.name, done)


def _take_back_test(arguments: argparse.Namespace) -> None:
    from coldlash.desk.answer import name_of_test
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import take_back_test

    with Desk.open(arguments.book) as desk:
        gone = take_back_test(desk.book, arguments.id, arguments.reason)
    if arguments.json:
        put_json({"test": gone.replaces, "taken_back": True})
        return
    out(
        say(
            "Taken back: {test} of {day}. It stays in the book, marked.",
            test=name_of_test(gone.kind),
            day=gone.day,
        )
    )


def _test_json(done: TestDone) -> dict[str, object]:
    test = done.test
    return {
        "test": test.id,
        "day": test.day.isoformat(),
        "visit": test.visit_id,
        "distance_km": None if test.distance_m is None else test.distance_m / 1000,
        "kind": test.kind,
        "at": [*map(str, test.valves), *test.cylinders],
        "result": test.result or None,
        "data": dict(test.data),
        "words": done.words,
        "counts": bool(test.result) and not done.ended,
        "why": done.ended,
        "note": test.note,
        "by": test.by,
    }


# --- causes -----------------------------------------------------------------------------------------------------


def _amount(desk: Desk, text: str | None) -> float | None:
    return None if text is None else desk.shown().to_mm(text, "--amount")


def _accept(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import add_cause
    from coldlash.desk.work import parts_asked

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        valves, cylinders = parts_asked(arguments.at, engine)
        found = add_cause(
            desk.book, entry, engine, arguments.cause, arguments.direction,
            day=arguments.on or date.today(),  # noqa: DTZ011
            visit_id=_visit_id(desk, arguments, entry.name), distance_km=arguments.distance,
            valves=valves, cylinders=cylinders, amount_mm=_amount(desk, arguments.amount),
            note=arguments.note, by=arguments.who,
        )  # fmt: skip
    _told_cause(arguments, entry.name, found)


def _told_cause(arguments: argparse.Namespace, name: str, found: CauseFound) -> None:
    if arguments.json:
        put_json(_cause_json(found))
        return
    tell(say("{engine}, {day}: found {cause}.", engine=name, day=found.cause.day, cause=found.words))


def _list_causes(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import causes_on

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine or desk.only_engine())
        listed = causes_on(desk.book, entry, engine)
    if arguments.json:
        put_json({"engine": entry.name, "causes": [_cause_json(found) for found in listed]})
        return
    if not listed:
        out(say("No cause found on {engine} is written down.", engine=entry.name))
    for found in listed:
        note = f" ({found.cause.note})" if found.cause.note else ""
        tell(f"{in_words(found.cause.day)}  {found.words}{note}")
        tell(say("  id {id}", id=found.cause.id))


def _correct_cause(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import correct_cause
    from coldlash.desk.work import parts_asked

    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(desk.engine_of_cause(arguments.id))
        valves, cylinders = parts_asked(arguments.at, engine)
        found = correct_cause(
            desk.book, engine, arguments.id, arguments.reason, direction=arguments.direction, day=arguments.on,
            valves=valves, cylinders=cylinders, amount_mm=_amount(desk, arguments.amount), note=arguments.note,
        )  # fmt: skip
    _told_cause(arguments, entry.name, found)


def _take_back_cause(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.tests_done import cause_words, take_back_cause

    with Desk.open(arguments.book) as desk:
        gone = take_back_cause(desk.book, arguments.id, arguments.reason)
    if arguments.json:
        put_json({"cause": gone.replaces, "taken_back": True})
        return
    out(
        say(
            "Taken back: {cause} of {day}. It stays in the book, marked.",
            cause=cause_words(gone.cause),
            day=gone.day,
        )
    )


def _cause_json(found: CauseFound) -> dict[str, object]:
    cause = found.cause
    return {
        "cause_id": cause.id,
        "day": cause.day.isoformat(),
        "visit": cause.visit_id,
        "distance_km": None if cause.distance_m is None else cause.distance_m / 1000,
        "cause": cause.cause,
        "direction": cause.direction,
        "amount_mm": None if cause.amount_um is None else cause.amount_um / 1000,
        "at": [*map(str, cause.valves), *cause.cylinders],
        "words": found.words,
        "note": cause.note,
        "by": cause.by,
    }
