"""coldlash print, calendar: sheets, strip, report and labels as PDF; what is due as a calendar file."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from coldlash.cli.arguments import book_option, command, day, group, number, positive
from coldlash.cli.bench_commands import stop_options
from coldlash.cli.output import note, out, put_json
from coldlash.language import plural, say

if TYPE_CHECKING:
    from coldlash.paper.typesetting import Printed


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    printing = group(commands, "print", say("print sheets, pulley strip, report and labels as PDF files"))

    strip = command(
        printing, "strip", say("a paper strip with marks to go round the pulley, at true scale"), _strip
    )
    strip.add_argument(
        "engine",
        metavar="ENGINE",
        nargs="?",
        help=say("engine file, or the name of a generic engine; may be left out"),
    )
    strip.add_argument(
        "--diameter",
        type=positive("--diameter"),
        metavar="MM",
        help=say("pulley diameter; default: the engine file's"),
    )
    strip.add_argument(
        "--circumference",
        type=positive("--circumference"),
        metavar="MM",
        help=say("measured round the rim instead"),
    )
    strip.add_argument(
        "--thickness",
        type=number("--thickness"),
        default=0.1,
        metavar="MM",
        help=say("of the strip; default 0.1"),
    )
    strip.add_argument(
        "--height", type=positive("--height"), default=16.0, metavar="MM", help=say("default 16")
    )
    strip.add_argument(
        "--turns",
        choices=("clockwise", "counterclockwise"),
        help=say("seen facing the pulley; default: the engine's"),
    )
    strip.add_argument(
        "--mark", action="append", default=[], metavar="MARK",
        help=say("tdc, half, firing, file, 350, 10btdc or 5atdc, with =NAME behind if you like; may be given again"),
    )  # fmt: skip
    strip.add_argument(
        "--join",
        type=number("--join"),
        metavar="DEG",
        help=say("where the ends meet; default: away from marks"),
    )
    _paper_options(strip)

    sheet = command(printing, "sheet", say("the sheet of a visit, blank to take along or filled"), _sheet)
    _engine_name(sheet)
    sheet.add_argument(
        "--visit", metavar="ID", help=say("this visit, filled; default: blank for the next or open one")
    )
    sheet.add_argument("--filled", action="store_true", help=say("the last closed visit, filled"))
    stop_options(sheet)
    _paper_options(sheet)
    book_option(sheet)

    report = command(
        printing, "report", say("the report of an engine, for your folder and the next owner"), _report
    )
    _engine_name(report)
    _paper_options(report)
    book_option(report)

    label = command(printing, "label", say("labels with what is due next and a QR code"), _label)
    label.add_argument(
        "--engine",
        action="append",
        default=[],
        metavar="NAME",
        help=say("its name in the book; default: every engine"),
    )
    label.add_argument("--address", default="", metavar="URL", help=say("of the pages, for the QR code"))
    _paper_options(label)
    book_option(label)

    check = command(printing, "check", say("compare the checksum of a printed report with the book"), _check)
    check.add_argument("checksum", metavar="CHECKSUM", help=say("as printed, the first 16 digits at least"))
    _engine_name(check)
    book_option(check)

    calendar = command(
        commands, "calendar", say("write what is due as a calendar file (iCalendar)"), _calendar
    )
    calendar.add_argument(
        "--to", metavar="ICS", help=say("where to write it, never overwrites; default: due.ics")
    )
    calendar.add_argument(
        "--on", type=day, default=None, metavar="DATE", help=say("as seen on this day; default today")
    )
    calendar.add_argument(
        "--address", default="", metavar="URL", help=say("of the pages, to link to each engine")
    )
    calendar.add_argument(
        "--alarm", type=int, action="append", default=None, metavar="DAYS",
        help=say("days before, at 9 in the morning; may be given again; default 14 and 1"),
    )  # fmt: skip
    book_option(calendar)


def _engine_name(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--engine", metavar="NAME", help=say("its name in the book; default: the only one"))


def _paper_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help=say("default a4"))
    parser.add_argument(
        "--to", metavar="PDF", help=say("where to write it, never overwrites; default: a name that fits")
    )
    parser.add_argument(
        "--on", type=day, default=None, metavar="DATE", help=say("the day it is made on; default today")
    )


def _today(arguments: argparse.Namespace) -> date:
    # The owner's own calendar day is meant, not that of a time zone.
    return arguments.on or date.today()  # noqa: DTZ011


def _write(
    arguments: argparse.Namespace,
    kind: str,
    name: str,
    printed: Printed,
    extra: dict[str, object] | None = None,
) -> None:
    """Write the PDF and say so."""
    from coldlash.desk.printing import file_name, write_new_bytes

    path = Path(arguments.to) if arguments.to else Path(file_name(kind, name, ".pdf"))
    write_new_bytes(path, printed.pdf)
    if printed.unprinted:
        letters = " ".join(printed.unprinted)
        note(say("note: no font here has {letters}; a lozenge (◊) stands for each of them", letters=letters))
    if arguments.json:
        data: dict[str, object] = {"file": str(path), "pages": printed.pages, "title": printed.title}
        put_json({**data, "unprinted": list(printed.unprinted), **(extra or {})})
        return
    out(
        plural(
            "Wrote {path}: {title}, {n} page",
            "Wrote {path}: {title}, {n} pages",
            printed.pages,
            path=path,
            title=printed.title,
        )
    )


def _strip(arguments: argparse.Namespace) -> None:
    from coldlash.desk.engines import load_engine
    from coldlash.desk.printing import strip_page
    from coldlash.paper.tape_page import print_strip

    engine = load_engine(arguments.engine).engine if arguments.engine else None
    page = strip_page(
        engine,
        _today(arguments),
        arguments.mark,
        turns=arguments.turns,
        diameter_mm=arguments.diameter,
        circumference_mm=arguments.circumference,
        thickness_mm=arguments.thickness,
        height_mm=arguments.height,
        paper=arguments.paper,
        join_deg=arguments.join,
    )
    strip = page.strip
    marks = [
        {"crank_deg": m.crank_deg, "name": m.name, "at_mm": m.at_mm, "from_tdc_mm": m.from_tdc_mm}
        for m in strip.marks
    ]
    pieces = [
        {"start_mm": piece.start_mm, "end_mm": piece.end_mm, "page": piece.page + 1} for piece in strip.pieces
    ]
    extra: dict[str, object] = {
        "length_mm": strip.length_mm,
        "deg_per_mm": strip.deg_per_mm,
        "marks": marks,
        "pieces": pieces,
    }
    _write(arguments, "strip", page.name, print_strip(page), extra)
    if not arguments.json:
        out(say("Print it at 100 % (actual size) and lay a ruler on the 100 mm bar before you cut."))


def _sheet(arguments: argparse.Namespace) -> None:
    from coldlash.desk.bench import plan_for
    from coldlash.desk.desk import Desk
    from coldlash.desk.printing import blank_sheet, filled_sheet, words_of
    from coldlash.paper.sheet import print_sheet

    today = _today(arguments)
    with Desk.open(arguments.book) as desk:
        if arguments.visit or arguments.filled:
            visit = desk.which_visit(arguments.visit, arguments.engine, latest=True)
            data = filled_sheet(desk, visit, today)
            kind = f"visit-{visit.day}"
        else:
            name = arguments.engine or desk.only_engine()
            chosen = (arguments.by, arguments.turn, arguments.marks, arguments.margin)
            plan = None
            if chosen != ("fewest", "with", None, 30.0):
                plan = plan_for(desk.engine(name)[1], *chosen)
            data, kind = blank_sheet(desk, name, today, plan), "visit-sheet"
        printed = print_sheet(data, paper=arguments.paper, words=words_of(desk, data.engine))
    _write(arguments, kind, data.engine.name, printed)


def _report(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.printing import words_of
    from coldlash.desk.reporting import report_of
    from coldlash.paper.report import print_report

    with Desk.open(arguments.book) as desk:
        data = report_of(desk, arguments.engine or desk.only_engine(), _today(arguments))
        words = words_of(desk, data.engine)
    printed = print_report(data, paper=arguments.paper, words=words, progress=_progress())
    _write(
        arguments,
        "report",
        data.engine.name,
        printed,
        {"checksum": data.sums[-1], "visits": len(data.visits)},
    )


def _progress() -> Callable[[int, int, str], None] | None:
    """One line that is written over, on a terminal only."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int, what: str) -> None:
        line = say("{done} of {total}: {what}", done=done, total=total, what=what) if done < total else ""
        sys.stderr.write(f"\r\x1b[K{line}")
        sys.stderr.flush()

    return show


def _label(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.printing import labels_of
    from coldlash.paper.label import print_labels

    today = _today(arguments)
    with Desk.open(arguments.book) as desk:
        labels = labels_of(desk, arguments.engine, today, arguments.address)
    printed = print_labels(labels, today, paper=arguments.paper)
    name = labels[0].engine if len(labels) == 1 else ""
    kind = "label" if len(labels) == 1 else "labels"
    _write(arguments, kind, name, printed, {"engines": [label.engine for label in labels]})


def _check(arguments: argparse.Namespace) -> int:
    from coldlash.desk.desk import Desk
    from coldlash.desk.reporting import check_sum

    with Desk.open(arguments.book) as desk:
        name = arguments.engine or desk.only_engine()
        after, visits = check_sum(desk, name, arguments.checksum)
    if arguments.json:
        put_json({"engine": name, "matches": after is not None, "after_visit": after, "visits": visits})
    elif after is None:
        out(
            say(
                "{name}: the book never gives this checksum: the copy and the book differ, or it is another engine's.",
                name=name,
            )
        )
    elif after == visits:
        out(
            say(
                "{name}: the same. The copy holds all {visits} visits as the book has them.",
                name=name,
                visits=visits,
            )
        )
    else:
        out(
            say(
                "{name}: the same up to visit {after} of {visits}; the book has gone on since.",
                name=name,
                after=after,
                visits=visits,
            )
        )
    return 0 if after is not None else 2


def _calendar(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.printing import due_calendar, write_new_bytes

    alarms: Sequence[int] = arguments.alarm if arguments.alarm is not None else (14, 1)
    with Desk.open(arguments.book) as desk:
        content, without = due_calendar(desk, _today(arguments), address=arguments.address, alarm_days=alarms)
    path = Path(arguments.to or "due.ics")
    write_new_bytes(path, content)
    entries = content.count(b"BEGIN:VEVENT")
    if arguments.json:
        put_json({"file": str(path), "entries": entries, "without_day": list(without)})
        return
    out(plural("Wrote {path}: {n} engine due", "Wrote {path}: {n} engines due", entries, path=path))
    for name in without:
        out(say("  {name} has no day yet: measure it once to begin", name=name))
