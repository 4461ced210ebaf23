"""coldlash import, imports, import-undo: files into the book, all or nothing, and out of it again."""

from __future__ import annotations

import argparse
import sys
import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from coldlash.cli.arguments import book_option, command
from coldlash.cli.output import note, out, put_json, table, tell
from coldlash.errors import InputError
from coldlash.language import day_of, mark, plural, say
from coldlash.language import table as translated

if TYPE_CHECKING:
    from coldlash.desk.importing import FileImport, Preview
    from coldlash.logbook.imports import ImportEntry
    from coldlash.logbook.taking_in import TakenIn

FAULTS_SHOWN = 200
STAGES = {
    "reading": mark("reading"),
    "understanding": mark("understanding rows"),
    "comparing": mark("comparing with the book"),
    "writing": mark("writing visits"),
}
ASKED = {
    "gap_means": "single",
    "distance_is": "distance_is",
    "e_is": "letters",
    "blades": "blades",
}
"""Options that answer one question each, and the key of the answer."""
OF_COLUMNS = {
    "gap_unit": "unit",
    "distance_unit": "unit",
    "temperature_unit": "unit",
    "dates": "order",
    "decimal": "decimal",
}
"""Options that say something of every column of a kind."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    bring = command(
        commands,
        "import",
        say("add the visits of a log file or a spreadsheet to the book, all or nothing"),
        _import,
    )
    bring.add_argument("file", metavar="FILE", help=say("a log file, or a spreadsheet: CSV, XLSX, ODS, XLS"))
    bring.add_argument(
        "--engine",
        metavar="NAME",
        help=say("the engine’s name in the book; not needed for an only one, or with a column"),
    )
    bring.add_argument(
        "--preview", action="store_true", help=say("only show how it is understood; write nothing")
    )
    bring.add_argument("--yes", action="store_true", help=say("take a spreadsheet in without asking"))
    bring.add_argument("--who", metavar="NAME", help=say("who takes it in"))
    sheet = bring.add_argument_group(say("how a spreadsheet is meant, where it does not say so itself"))
    sheet.add_argument(
        "--sheet", metavar="NAME", help=say("which sheet; default: the first one with readings")
    )
    sheet.add_argument(
        "--heading-row", type=int, metavar="ROW", help=say("the row of the headings, 0 = there is none")
    )
    sheet.add_argument(
        "--column", action="append", default=[], metavar="MEANING=COLUMN",
        help=say('what a column is, by its letter or heading: found=C, "left:E3=Set E3", ignore=H; see docs/import.md'),
    )  # fmt: skip
    sheet.add_argument(
        "--gap-means", choices=("went", "felt"),
        help=say("one number for a gap found: the blade that went, or the gap as felt, between the next blades"),
    )  # fmt: skip
    sheet.add_argument(
        "--gap-unit", choices=("mm", "in", "thou", "0.01mm", "um"), help=say("the unit of all gaps")
    )
    sheet.add_argument("--distance-unit", choices=("km", "mile", "h"), help=say("the unit of the distance"))
    sheet.add_argument(
        "--distance-is",
        choices=("own", "meter"),
        help=say("the engine’s own distance, or what its meter showed"),
    )
    sheet.add_argument("--temperature-unit", choices=("C", "F"), help=say("the unit of the temperature"))
    sheet.add_argument("--dates", choices=("ymd", "dmy", "mdy"), help=say("the order of day, month and year"))
    sheet.add_argument("--decimal", choices=(".", ","), help=say("the decimal mark of all numbers"))
    sheet.add_argument(
        "--e-is",
        choices=("exhaust", "intake"),
        help=say("which valve E is: exhaust (I and E) or Einlass (E and A)"),
    )
    sheet.add_argument(
        "--blades", metavar="NAME", help=say("the blade set for gaps as felt; default: your own")
    )
    sheet.add_argument(
        "--meter-was", action="append", default=[], metavar="ROW=WHY",
        help=say("why the meter shows less in a row: rolled-over or replaced"),
    )  # fmt: skip
    sheet.add_argument(
        "--backwards",
        action="store_true",
        help=say("take an own distance that goes backwards as it is; it counts as 0 km"),
    )
    book_option(bring)

    lists = command(commands, "imports", say("list the files that were taken into the book"), _list)
    book_option(lists)
    back = command(
        commands,
        "import-undo",
        say("put aside every visit that came with a file; they stay in the book, marked"),
        _undo,
    )
    back.add_argument("id", metavar="ID", help=say("its id, as listed by coldlash imports"))
    back.add_argument("--reason", required=True, help=say("why"))
    back.add_argument(
        "--anyway", action="store_true", help=say("also if something was added to its visits since")
    )
    book_option(back)


class _Progress:
    """Tells on standard error what is going on, once it takes longer than a moment."""

    def __init__(self, first_s: float = 1.0, every_s: float = 1.0) -> None:
        self.next, self.every = time.monotonic() + first_s, every_s
        self.told = False

    def __call__(self, stage: str, done: int, of: int) -> None:
        if time.monotonic() < self.next:
            return
        self.next, self.told = time.monotonic() + self.every, True
        words = translated(STAGES[stage])
        note(say("  {what}: {done:,} of {of:,}", what=words, done=done, of=of) if of else f"  {words}")


def _import(arguments: argparse.Namespace) -> int | None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.importing import FileImport

    watch = _Progress()
    try:
        data = _bytes_of(Path(arguments.file))
        with Desk.open(arguments.book) as desk:
            # The owner's own calendar day is meant, not that of a time zone.
            file = FileImport(data, arguments.file, date.today(), watch)  # noqa: DTZ011
            engine = arguments.engine or ""
            if not engine and len(desk.book.engines()) == 1:
                engine = desk.only_engine()
            file.begin(desk, engine, sheet=arguments.sheet or "", heading=arguments.heading_row)
            file.answer(desk, _answers(arguments, file))
            if arguments.preview or file.told is not None:
                preview = file.look(desk, watch)
                if arguments.preview:
                    _show(arguments, file, preview)
                    return None
                if preview.questions or preview.faults:
                    raise InputError("\n".join(_what_is_wrong(file, preview)))
                if not (arguments.yes or arguments.json):
                    _show(arguments, file, preview)
                if preview.added and not arguments.yes and not _agreed():
                    raise InputError(
                        say("nothing was written; if it is understood rightly, say so with --yes")
                    )
            done = file.take(desk, by=arguments.who, watch=watch)
    except KeyboardInterrupt:
        sys.stderr.write("\n" + say("coldlash: stopped; nothing was taken in") + "\n")
        return 130
    _said(arguments, file.engine or arguments.engine, done)
    return None


def _bytes_of(path: Path) -> bytes:
    from coldlash.logbook.sheets.cells import FILE_BYTES_MAX

    what = say("log file {path}", path=path)
    try:
        with path.open("rb") as stream:
            return stream.read(FILE_BYTES_MAX + 1)
    except IsADirectoryError:
        raise InputError(say("{file}: that is a folder, a file is needed", file=what)) from None
    except OSError as error:
        raise InputError(
            say("{file}: can't be read ({error})", file=what, error=error.strerror or error)
        ) from None


def _agreed() -> bool:
    if not sys.stdin.isatty():
        return False
    sys.stderr.write(say("Take this in? [y/N] "))
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() in ("y", "yes", "j", "ja")


# --- what was told ------------------------------------------------------------------------------------------------


def _answers(arguments: argparse.Namespace, file: FileImport) -> dict[str, str]:
    """The options as answers. Raises InputError."""
    if file.told is None:
        return {}
    from coldlash.logbook.sheets.names import GAP_ROLES

    answers: dict[str, str] = {}
    for option, key in ASKED.items():
        value = getattr(arguments, option)
        if value is not None:
            answers[key] = {"exhaust": "en", "intake": "de"}.get(value, value)
    if arguments.backwards:
        answers["backwards"] = "yes"
    for each in arguments.meter_was:
        row, _, why = each.partition("=")
        answers[f"explained:{row}"] = why.replace("-", " ")
    roles: dict[int, str] = {n: column.role for n, column in enumerate(file.told.columns)}
    for each in arguments.column:
        meaning, sign, column = each.partition("=")
        if not sign:
            raise InputError(say("--column {given!r}: write it like found=C or left:E3=D", given=each))
        number = _column(file, column.strip())
        answers[f"column:{number}:role"] = meaning.strip()
        roles[number] = meaning.partition(":")[0]
    for option, what in OF_COLUMNS.items():
        value = getattr(arguments, option)
        if value is None:
            continue
        wanted = {
            "gap_unit": GAP_ROLES,
            "distance_unit": ("distance",),
            "temperature_unit": ("temperature",),
            "dates": ("date",),
            "decimal": (*GAP_ROLES, "distance", "temperature"),
        }[option]
        answers |= {f"column:{n}:{what}": value for n, role in roles.items() if role in wanted}
    return answers


def _column(file: FileImport, name: str) -> int:
    from coldlash.logbook.sheets.cells import letters

    told = file.told
    columns = told.columns if told is not None else ()
    found = [n for n, column in enumerate(columns) if column.heading == name]
    found = found or [n for n in range(len(columns)) if letters(n) == name]
    found = found or [n for n, column in enumerate(columns) if column.heading.lower() == name.lower()]
    if len(found) == 1:
        return found[0]
    have = ", ".join(
        f"{letters(n)} ({column.heading})" if column.heading else letters(n)
        for n, column in enumerate(columns)
    )
    raise InputError(say("there is no one column {name!r}; there are {columns}", name=name, columns=have))


# --- what is shown --------------------------------------------------------------------------------------------------


def _what_is_wrong(file: FileImport, preview: Preview) -> list[str]:
    lines = []
    if preview.questions:
        lines.append(
            say("{source}: nothing was taken from it; some things must be told first", source=file.source)
        )
        for question in preview.questions:
            lines.append(f"  {question.text}")
            option = _option(question.key, file)
            lines += [f"    {option.format(value)}  {words}" for value, words in question.choices if option]
            if not question.choices and option:
                lines.append(f"    {option.format('COLUMN')}")
    if preview.faults:
        lines.append(
            plural(
                "{source}: {n} fault, nothing was taken from it",
                "{source}: {n} faults, nothing was taken from it",
                len(preview.faults), source=file.source,
            )
        )  # fmt: skip
        lines += [f"  {fault}" for fault in preview.faults[:FAULTS_SHOWN]]
        if len(preview.faults) > FAULTS_SHOWN:
            lines.append(say("  and {n} more", n=len(preview.faults) - FAULTS_SHOWN))
    return lines


def _option(key: str, file: FileImport) -> str:
    """The option that answers a question, with a place for its value."""
    part, _, rest = key.partition(":")
    if part == "engine":
        return '--engine "{}"'
    if part == "single":
        return "--gap-means {}"
    if part == "letters":
        return "--e-is {}"
    number, _, what = rest.partition(":")
    if not number.isdecimal():
        return f"--column {rest}={{}}"
    if what == "order":
        return "--dates {}"
    if what == "decimal":
        return "--decimal {}"
    role = file.told.columns[int(number)].role if file.told is not None else ""
    return {"distance": "--distance-unit {}", "temperature": "--temperature-unit {}"}.get(
        role, "--gap-unit {}"
    )


def _show(arguments: argparse.Namespace, file: FileImport, preview: Preview) -> None:
    if arguments.json:
        put_json(_preview_json(file, preview))
        return
    from coldlash.logbook.sheets.rows import left_out_words

    if file.told is not None:
        out(say("{source}, sheet {sheet}: how it is understood", source=file.source, sheet=file.told.sheet))
        out(table(_column_head(), _column_rows(file), "  "))
    if preview.first:
        out(say("The first rows:"))
        for row in preview.first:
            out(
                f"  {row.line}: {row.engine}, {row.day}, {row.distance_m / 1000:.10g} km, {row.valve}: {row.words}"
            )
    out(say("{rows}, {visits}: {new} new, {known} in the book already", rows=_rows(preview.rows),
            visits=_visits(len(preview.days)), new=preview.added, known=preview.known))  # fmt: skip
    for text in preview.notes:
        tell(say("  note: {text}", text=text))
    if preview.left_out:
        out(
            plural(
                "{n} row was not understood as a reading:",
                "{n} rows were not understood as readings:",
                len(preview.left_out),
            )
        )
        for text in left_out_words(preview.left_out, FAULTS_SHOWN):
            out(f"  {text}")
    for text in _what_is_wrong(file, preview):
        out(text)


def _column_head() -> tuple[str, ...]:
    return say("column"), say("heading"), say("is"), say("as")


def _column_rows(file: FileImport) -> list[tuple[str, ...]]:
    from coldlash.logbook.sheets.cells import letters
    from coldlash.logbook.sheets.understanding import ROLE_WORDS, valve_words

    told = file.told
    if told is None:
        return []
    rows: list[tuple[str, ...]] = []
    for number, column in enumerate(told.columns):
        valve = valve_words(column.valve, told.letters)
        how = " ".join(part for part in (column.unit, column.decimal, column.order) if part)
        rows.append(
            (
                letters(number),
                column.heading,
                translated(ROLE_WORDS[column.role]) + (f", {valve}" if valve else ""),
                how,
            )
        )
    return rows


def _preview_json(file: FileImport, preview: Preview) -> dict[str, object]:
    import json

    return {
        "file": file.source,
        "engine": file.engine,
        "sheets": list(file.sheets),
        "understood": None if file.told is None else json.loads(file.told.as_json()),
        "questions": [
            {"key": q.key, "text": q.text, "choices": [value for value, _ in q.choices]}
            for q in preview.questions
        ],
        "faults": [{"line": f.line, "column": f.column, "message": f.message} for f in preview.faults],
        "left_out": [{"line": row.line, "text": row.text, "why": row.why} for row in preview.left_out],
        "rows": preview.rows,
        "visits_new": preview.added,
        "visits_known": preview.known,
        "visits": [
            {
                "engine": engine,
                "day": day.isoformat(),
                "distance_km": distance / 1000,
                "valves": valves,
                "new": new,
            }
            for engine, day, distance, valves, new in preview.days
        ],
        "notes": list(preview.notes),
    }


def _said(arguments: argparse.Namespace, engine: str | None, done: TakenIn) -> None:
    if arguments.json:
        put_json(
            {
                "engine": engine,
                "visits_added": done.added,
                "visits_known": done.already_there,
                "rows_added": done.rows_added,
                "rows_known": done.rows_known,
                "import": done.import_id,
                "notes": list(done.notes),
            }
        )
        return
    counts = say("{visits} ({rows}) added, {known} there before", visits=_visits(done.added),
                 rows=_rows(done.rows_added), known=done.already_there)  # fmt: skip
    out(f"{engine}: {counts}." if engine else f"{counts}.")
    for text in done.notes:
        out(say("  note: {text}", text=text))
    if done.import_id is not None:
        out(say("  To take it out again: coldlash import-undo {id} --reason WHY", id=done.import_id))


# --- imports --------------------------------------------------------------------------------------------------------


def _list(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk

    with Desk.open(arguments.book) as desk:
        entries = desk.book.imports()
    if arguments.json:
        put_json({"imports": [_entry_json(entry) for entry in entries]})
        return
    if not entries:
        out(say("No file was taken into this book yet."))
    for entry in entries:
        out(_entry_words(entry))
        out(say("  id {id}", id=entry.id))


def _entry_words(entry: ImportEntry) -> str:
    told = say(
        "{at}  {source}: {engines}, {visits} ({rows})",
        at=day_of(entry.at[:10]), source=entry.source, engines=", ".join(entry.engines),
        visits=_visits(entry.visits_added), rows=_rows(entry.rows_added),
    )  # fmt: skip
    if entry.undone_at is None:
        return told
    return say(
        "{import_}; undone {at}: {reason}",
        import_=told,
        at=day_of(entry.undone_at[:10]),
        reason=entry.undone_reason,
    )


def _visits(count: int) -> str:
    return plural("{n} visit", "{n} visits", count)


def _rows(count: int) -> str:
    return plural("{n} row", "{n} rows", count)


def _entry_json(entry: ImportEntry) -> dict[str, object]:
    import json

    return {
        "import": entry.id,
        "source": entry.source,
        "sha256": entry.sha256,
        "engines": list(entry.engines),
        "visits_added": entry.visits_added,
        "rows_added": entry.rows_added,
        "first_day": None if entry.first_day is None else entry.first_day.isoformat(),
        "last_day": None if entry.last_day is None else entry.last_day.isoformat(),
        "by": entry.by,
        "at": entry.at,
        "undone_at": entry.undone_at,
        "undone_reason": entry.undone_reason,
        "how": json.loads(entry.how),
    }


def _undo(arguments: argparse.Namespace) -> None:
    from coldlash.desk.desk import Desk
    from coldlash.desk.importing import undo

    with Desk.open(arguments.book) as desk:
        entry = undo(desk.book, arguments.id, arguments.reason, anyway=arguments.anyway)
    if arguments.json:
        put_json(_entry_json(entry))
        return
    out(_entry_words(entry) + ".")
    out(say("  Its visits stay in the book, marked."))
