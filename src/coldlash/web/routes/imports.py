"""Pages of import: a file is chosen, looked at as understood, corrected, taken in; imports are listed and undone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from pathlib import PurePath
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.bench.blades import STANDARD_SETS
from coldlash.desk.desk import Desk
from coldlash.desk.importing import FileImport, undo
from coldlash.errors import InputError
from coldlash.language import say, table
from coldlash.logbook.imports import ImportTouchedError
from coldlash.logbook.sheets.cells import FILE_BYTES_MAX, letters, shown
from coldlash.logbook.sheets.names import GAP_ROLES
from coldlash.logbook.sheets.questions import (
    DECIMAL_WORDS,
    LETTER_WORDS,
    ORDER_WORDS,
    SINGLE_WORDS,
    UNIT_WORDS,
)
from coldlash.logbook.sheets.rows import left_out_words
from coldlash.logbook.sheets.understanding import ROLE_WORDS, ROLES, Understanding, units_of, valve_words
from coldlash.web.import_jobs import AT_FIRST_S, Job, jobs_of
from coldlash.web.problems import Problem
from coldlash.web.routes.common import Context, desk_of, form, page, today
from coldlash.web.templating import Pages, form_values, render

FAULTS_SHOWN, DAYS_SHOWN, LEFT_OUT_SHOWN, COLUMNS_SHOWN = 200, 60, 60, 60
KEPT_CHOICES = ("single", "letters", "distance_is", "engine", "blades")
FLAGS = ("fill_down", "backwards")


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/import and /imports."""
    return [
        Route("/import", page("import.html", _start), methods=["GET"]),
        Route("/import", _upload, methods=["POST"]),
        Route("/import/{job}", _look, methods=["GET"]),
        Route("/import/{job}", _act, methods=["POST"]),
        Route("/import/{job}/state", _state, methods=["GET"]),
        Route("/imports/{import_id}", page("import_undo.html", _one), methods=["GET"]),
        Route("/imports/{import_id}", form("import_undo.html", _one, _undo), methods=["POST"]),
    ]


def _start(desk: Desk, request: Request) -> Context:
    return {
        "engines": [(entry.id, entry.name) for entry in desk.book.engines()],
        "chosen": request.query_params.get("engine", ""),
        "imports": desk.book.imports(),
        "most": FILE_BYTES_MAX // 2**20,
        "fault": "",
    }


async def _upload(request: Request) -> Response:
    desk = desk_of(request)
    data, source, engine = b"", "", ""
    async with request.form(max_fields=20, max_files=1) as sent:
        for name, value in sent.multi_items():
            if isinstance(value, UploadFile):
                source = PurePath((value.filename or "").replace("\\", "/")).name[:200]
                data = await value.read()
            elif name == "engine":
                engine = value
    if not source:
        context = await run_in_threadpool(_start, desk, request)
        fault = say("Choose a file first.")
        more = {"fault": fault, "chosen": engine, "shown": await run_in_threadpool(desk.shown)}
        return render(request, "import.html", {**context, **more}, status_code=422, keep=False)
    job = jobs_of(request.app.state).new(source)

    def read(job: Job) -> None:
        file = FileImport(data, source, today(), job.watch)
        only = [entry.name for entry in desk.book.engines()]
        file.begin(desk, engine or (only[0] if len(only) == 1 else ""))
        job.file = file
        job.preview = file.look(desk, job.watch)

    return await _started(job, read)


async def _started(job: Job, work: Any) -> Response:
    job.start(work)
    await run_in_threadpool(job.wait, AT_FIRST_S)
    return RedirectResponse(f"/import/{job.id}", status_code=303)


def _job(request: Request) -> Job:
    return jobs_of(request.app.state).get(request.path_params["job"])


async def _state(request: Request) -> Response:
    job = _job(request)
    return JSONResponse({"busy": job.busy, "words": job.words()}, headers={"cache-control": "no-store"})


async def _look(request: Request) -> Response:
    job = _job(request)
    return await _shown(request, job)


async def _shown(request: Request, job: Job, fault: str = "") -> Response:
    desk = desk_of(request)
    context: Context = {"job": job, "shown": await run_in_threadpool(desk.shown), "fault": fault or job.fault}
    if job.busy:
        return render(request, "import_busy.html", context, keep=False)
    if job.file is None or job.done is not None:
        return render(request, "import_done.html", {**context, "done": job.done}, keep=False)
    context |= await run_in_threadpool(_preview, desk, job)
    return render(request, "import_file.html", context, status_code=422 if fault else 200, keep=False)


async def _act(request: Request) -> Response:
    job, desk, values = _job(request), desk_of(request), await form_values(request)
    what = values.get("do", "look")
    if what == "stop":
        job.stop()
        await run_in_threadpool(job.wait, AT_FIRST_S)
        return RedirectResponse(f"/import/{job.id}", status_code=303)
    if what == "forget":
        jobs_of(request.app.state).forget(job)
        return RedirectResponse("/import", status_code=303)
    file = job.file
    if file is None or job.busy or job.done is not None:
        return RedirectResponse(f"/import/{job.id}", status_code=303)
    if what == "take":

        def take(job: Job) -> None:
            job.done = file.take(desk, by=values.get("by", "").strip() or None, watch=job.watch)

        return await _started(job, take)
    try:
        await run_in_threadpool(_corrected, desk, file, values)
    except InputError as error:
        return await _shown(request, job, str(error))

    def look(job: Job) -> None:
        job.preview = file.look(desk, job.watch)

    return await _started(job, look)


def _corrected(desk: Desk, file: FileImport, values: Mapping[str, str]) -> None:
    """Take what was chosen on the page, where it differs from what was understood. Raises InputError."""
    told = file.told
    if told is None:
        file.answer(desk, {"engine": values.get("engine", "")})
        return
    sheet, heading = values.get("sheet", told.sheet), values.get("heading", "").strip()
    if heading and not heading.isdecimal():
        raise InputError(say("heading: {given!r} is not the number of a row", given=heading))
    if sheet != told.sheet or (heading and int(heading) != _heading_line(file, told)):
        file.begin(
            desk, file.engine, sheet=sheet, heading=int(heading) if heading and sheet == told.sheet else None
        )
        return
    answers = {
        key: values[key] for key in KEPT_CHOICES if values.get(key) not in ("", None, getattr(told, key, ""))
    }
    for key in FLAGS:
        if bool(values.get(key)) != getattr(told, key):
            answers[key] = "yes" if values.get(key) else "no"
    for key, value in values.items():
        if key.startswith("explained:"):
            answers[key] = value
    for number, column in enumerate(told.columns):
        role = values.get(f"column:{number}:role")
        if role and role != _role_value(told, number):
            answers[f"column:{number}:role"] = role
            continue  # its unit was chosen for what it was before
        for part, now in (("unit", column.unit), ("decimal", column.decimal), ("order", column.order)):
            value = values.get(f"column:{number}:{part}", "")
            if value and value != now:
                answers[f"column:{number}:{part}"] = value
    file.answer(desk, answers)


# --- what the pages show ------------------------------------------------------------------------------------------


def _heading_line(file: FileImport, told: Understanding) -> int:
    return file.sheet.lines[told.head - told.head_rows] if told.head_rows else 0


def _role_value(told: Understanding, number: int) -> str:
    column = told.columns[number]
    return column.role + (f":{valve_words(column.valve, told.letters)}" if column.valve else "")


def _preview(desk: Desk, job: Job) -> Context:
    file, preview = job.file, job.preview
    if file is None:
        raise Problem(404, say("That file is not here any more."))
    told = file.told
    names = [entry.name for entry in desk.book.engines()]
    choices: list[tuple[str, str, list[tuple[str, str]], str]] = []
    columns: list[dict[str, Any]] = []
    explain: list[tuple[int, str]] = []
    if told is not None:
        choices = _choices(desk, told)
        columns = [_column(file, told, number) for number in range(min(len(told.columns), COLUMNS_SHOWN))]
        lines = {fault.line for fault in (preview.faults if preview else ()) if told.distance_is == "meter"}
        explain = [(line, told.explained.get(line, "")) for line in sorted(lines | set(told.explained))]
    return {
        "file": file,
        "told": told,
        "preview": preview,
        "engines": names,
        "engine_column": told is not None and told.first("engine") is not None,
        "choices": choices,
        "columns": columns,
        "explain": explain[:20] if preview is not None and _meter_asked(job) else [],
        "heading": _heading_line(file, told) if told is not None else 0,
        "faults": preview.faults[:FAULTS_SHOWN] if preview else (),
        "days": preview.days[:DAYS_SHOWN] if preview else (),
        "left_out": left_out_words(preview.left_out, LEFT_OUT_SHOWN) if preview else (),
        "letters": letters,
    }


def _meter_asked(job: Job) -> bool:
    told = job.file.told if job.file is not None else None
    return told is not None and told.distance_is == "meter"


def _choices(desk: Desk, told: Understanding) -> list[tuple[str, str, list[tuple[str, str]], str]]:
    """What holds for the whole sheet: key, words, choices, what is chosen now."""
    found = []
    if any(told.columns[n].role == "found" for n in told.gap_columns):
        single = [(value, table(words)) for value, words in SINGLE_WORDS.items()]
        found.append(("single", say("One number for a gap found is"), single, told.single))
        if told.single == "felt":
            own = [kept.name for kept in desk.book.blade_sets()]
            sets = [("", say("as now: {blades}", blades=_blades_words(told)))]
            sets += [(name, name) for name in [*own, *STANDARD_SETS]]
            found.append(("blades", say("The blades it was felt between"), sets, ""))
    found.append(
        ("letters", say("Which valve is E?"), [(v, table(w)) for v, w in LETTER_WORDS.items()], told.letters)
    )
    if told.first("distance") is not None:
        meanings = [("own", say("the engine’s own distance")), ("meter", say("what the meter showed"))]
        found.append(("distance_is", say("The distance is"), meanings, told.distance_is))
    return found


def _blades_words(told: Understanding) -> str:
    from coldlash.logbook.records import mm

    few = told.blades_um
    if not few:
        return say("none")
    return say("{first} to {last}, {n} blades", first=mm(few[0]), last=mm(few[-1]), n=len(few))


def _column(file: FileImport, told: Understanding, number: int) -> dict[str, Any]:
    column = told.columns[number]
    rows = file.sheet.rows[told.head :]
    cells = list(islice((row[number] for row in rows if number < len(row) and row[number] is not None), 40))
    more = []
    if units_of(column.role):
        units = [(unit, table(UNIT_WORDS[unit])) for unit in units_of(column.role)]
        more.append(("unit", say("In"), units, column.unit))
        decimals = [(value, table(words)) for value, words in DECIMAL_WORDS.items()]
        more.append(("decimal", say("Decimal mark"), decimals, column.decimal))
    if column.role == "date":
        more.append(("order", say("Order"), [(o, table(w)) for o, w in ORDER_WORDS.items()], column.order))
    return {
        "number": number,
        "letter": letters(number),
        "heading": column.heading,
        "examples": ", ".join(dict.fromkeys(shown(cell) for cell in cells))[:80],
        "role": _role_value(told, number),
        "roles": _role_choices(told, number),
        "more": more,
        "empty": not cells,
    }


def _role_choices(told: Understanding, number: int) -> list[tuple[str, list[tuple[str, str]]]]:
    """Groups of choices: everything, then the gaps of single valves."""
    plain: list[tuple[str, str]] = [(role, table(ROLE_WORDS[role])) for role in ROLES]
    valves = [f"{kind}{cylinder}" for cylinder in range(1, 13) for kind in "IE"]
    seen = {valve_words(told.columns[n].valve, told.letters) for n in told.gap_columns} - {""}
    named = [*("I", "E"), *(valve for valve in valves if valve in seen or int(valve[1:]) <= 8)]
    groups: list[tuple[str, list[tuple[str, str]]]] = [("", plain)]
    for role in GAP_ROLES:
        words = table(ROLE_WORDS[role])
        if role in ("found", "left") or told.columns[number].role == role:
            groups.append(
                (words, [(f"{role}:{v}", say("{valve}: {role}", valve=v, role=words)) for v in named])
            )
    return groups


# --- imports ------------------------------------------------------------------------------------------------------


def _one(desk: Desk, request: Request) -> Context:
    try:
        entry = desk.book.import_entry(request.path_params["import_id"])
    except InputError as error:
        raise Problem(404, str(error), say("Go back to the imports and choose one that is there.")) from error
    touched = desk.book.touched_since(entry.id) if entry.undone_at is None else ()
    return {"entry": entry, "touched": [each.words for each in touched], "typed": {}, "fault": ""}


def _undo(desk: Desk, request: Request, values: Mapping[str, str]) -> str:
    try:
        entry = undo(
            desk.book, request.path_params["import_id"], values.get("reason", ""),
            by=values.get("by", "").strip() or None, anyway=bool(values.get("anyway")),
        )  # fmt: skip
    except ImportTouchedError as error:
        raise InputError(str(error).partition("\n")[0]) from None
    return f"/imports/{entry.id}"
