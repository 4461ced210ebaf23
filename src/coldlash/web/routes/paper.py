"""What is printed: sheet, strip, report, labels as PDF, and the checksum of a printed copy held against the book."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash import language
from coldlash.desk.desk import Desk
from coldlash.desk.printing import (
    blank_sheet,
    file_name,
    filled_sheet,
    labels_of,
    strip_page,
    vehicle_of,
    words_of,
)
from coldlash.desk.reporting import check_sum, report_of, sums_of
from coldlash.engine.spec import Engine, Turns
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.records import EngineEntry
from coldlash.paper.checksum import SHORT, grouped
from coldlash.paper.label import print_labels
from coldlash.paper.report import print_report
from coldlash.paper.sheet import print_sheet
from coldlash.paper.tape import Paper
from coldlash.paper.tape_page import StripPage, face_of, fold_figures, print_strip, strip_data
from coldlash.paper.typesetting import Printed
from coldlash.units import parse_number
from coldlash.web.print_jobs import AT_FIRST_S, PrintJob, PrintJobs, Progress
from coldlash.web.problems import Problem
from coldlash.web.routes.calendar import base_of
from coldlash.web.routes.common import Context, desk_of, engine_of, page, today
from coldlash.web.templating import Pages, render

PDF_CACHING = "private, no-cache"
MARKS = ("tdc", "half", "firing", "file")
Made = tuple[str, str, Printed]
"""What kind of document, whose, and the PDF."""


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/engines/.../print and below, /print."""
    jobs = PrintJobs()
    return [
        Route("/print/strip", _strip, methods=["GET"]),
        Route("/print/strip.pdf", _strip_pdf, methods=["GET"]),
        Route("/print/labels.pdf", _pdf(_labels), methods=["GET"]),
        Route("/engines/{engine}/print", page("print.html", _overview), methods=["GET"]),
        Route("/engines/{engine}/print/strip", _strip, methods=["GET"]),
        Route("/engines/{engine}/print/strip.pdf", _strip_pdf, methods=["GET"]),
        Route("/engines/{engine}/print/sheet.pdf", _pdf(_sheet), methods=["GET"]),
        Route("/engines/{engine}/print/label.pdf", _pdf(_label), methods=["GET"]),
        Route("/engines/{engine}/print/report", _with(jobs, _report), methods=["GET"]),
        Route("/engines/{engine}/print/report/state", _with(jobs, _report_state), methods=["GET"]),
        Route("/engines/{engine}/print/report.pdf", _with(jobs, _report_pdf), methods=["GET"]),
        Route("/engines/{engine}/print/check", page("print_check.html", _check), methods=["GET"]),
        Route("/engines/{engine}/visits/{visit}/sheet.pdf", _pdf(_visit_sheet), methods=["GET"]),
    ]


def _overview(desk: Desk, request: Request) -> Context:
    entry, _ = engine_of(desk, request)
    last = desk.book.visits(entry.name)[-1:]
    return {
        "entry": entry,
        "paper": paper_of(request.query_params),
        "last": last[0] if last else None,
        "draft": next(iter(desk.book.draft_visits(entry.name)), None),
        "address": base_of(request),
        "shared": bool(request.app.state.settings.site.shared_url),
    }


# --- PDFs ------------------------------------------------------------------------------------------------------


def _pdf(make: Callable[[Desk, Request], Made]) -> Callable[[Request], Any]:
    """An endpoint that makes a PDF in a worker thread."""

    async def endpoint(request: Request) -> Response:
        return _sent(*await run_in_threadpool(make, desk_of(request), request))

    return endpoint


def _sent(kind: str, name: str, printed: Printed) -> Response:
    disposition = content_disposition(file_name(kind, name, ".pdf"))
    headers = {"content-disposition": disposition, "cache-control": PDF_CACHING}
    return Response(printed.pdf, media_type="application/pdf", headers=headers)


def content_disposition(name: str) -> str:
    """A file to save under this name, whatever its script (RFC 6266; RFC 8187 for what is not ASCII)."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-._") else "_" for c in name)
    if plain == name:
        return f'attachment; filename="{name}"'
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


def paper_of(query: QueryParams) -> Paper:
    """The paper asked for; A4 unless Letter is."""
    return "letter" if query.get("paper") == "letter" else "a4"


def _sheet(desk: Desk, request: Request) -> Made:
    entry, engine = engine_of(desk, request)
    data = blank_sheet(desk, entry.name, today())
    printed = print_sheet(data, paper=paper_of(request.query_params), words=words_of(desk, engine))
    return "visit-sheet", entry.name, printed


def _visit_sheet(desk: Desk, request: Request) -> Made:
    entry, _ = engine_of(desk, request)
    try:
        visit = desk.book.visit(request.path_params["visit"])
    except InputError as error:
        raise Problem(404, str(error)) from error
    if visit.engine_id != entry.id:
        raise Problem(404, say("That visit is another engine's."))
    data = filled_sheet(desk, visit, today())
    printed = print_sheet(data, paper=paper_of(request.query_params), words=words_of(desk, data.engine))
    return f"visit-{visit.day}", entry.name, printed


def _label(desk: Desk, request: Request) -> Made:
    entry, _ = engine_of(desk, request)
    labels = labels_of(desk, (entry.name,), today(), base_of(request))
    return "label", entry.name, print_labels(labels, today(), paper=paper_of(request.query_params))


def _labels(desk: Desk, request: Request) -> Made:
    labels = labels_of(desk, (), today(), base_of(request))
    return "labels", "", print_labels(labels, today(), paper=paper_of(request.query_params))


# --- the report ------------------------------------------------------------------------------------------------


def _with(jobs: PrintJobs, show: Callable[[Request, PrintJobs], Any]) -> Callable[[Request], Any]:
    async def endpoint(request: Request) -> Response:
        answer: Response = await show(request, jobs)
        return answer

    return endpoint


def _job(desk: Desk, request: Request, jobs: PrintJobs) -> tuple[EngineEntry, PrintJob]:
    entry, engine = engine_of(desk, request)
    paper, day = paper_of(request.query_params), today()

    def make(progress: Progress) -> Printed:
        data = report_of(desk, entry.name, day)
        return print_report(data, paper=paper, words=words_of(desk, engine), progress=progress)

    return entry, jobs.ask((entry.id, paper, day, language.current(), desk.book.stamp()), make)


async def _report(request: Request, jobs: PrintJobs) -> Response:
    desk = desk_of(request)
    entry, job = await run_in_threadpool(_job, desk, request, jobs)
    await run_in_threadpool(job.wait, AT_FIRST_S)
    query = urlencode({"paper": paper_of(request.query_params)})
    context = {"entry": entry, "job": job, "query": query, "paper": paper_of(request.query_params)}
    status = 422 if job.fault and not job.busy else 200
    return render(request, "print_report.html", context, status_code=status, keep=False)


async def _report_state(request: Request, jobs: PrintJobs) -> Response:
    _, job = await run_in_threadpool(_job, desk_of(request), request, jobs)
    return JSONResponse({"busy": job.busy, "words": job.words()}, headers={"cache-control": "no-store"})


async def _report_pdf(request: Request, jobs: PrintJobs) -> Response:
    entry, job = await run_in_threadpool(_job, desk_of(request), request, jobs)
    await run_in_threadpool(job.wait)
    if job.printed is None:
        raise InputError(job.fault)
    return _sent("report", entry.name, job.printed)


def _check(desk: Desk, request: Request) -> Context:
    entry, _ = engine_of(desk, request)
    typed = request.query_params.get("checksum", "").strip()
    told: Context = {
        "entry": entry,
        "typed": typed,
        "fault": "",
        "after": None,
        "asked": bool(typed),
        "digits": SHORT,
    }
    try:
        if typed:
            told["after"], told["visits"] = check_sum(desk, entry.name, typed[:500])
        told["whole"] = grouped(sums_of(desk, entry.name)[-1])
    except InputError as error:
        told |= {"fault": str(error), "asked": False, "whole": ""}
    return told


# --- the pulley strip --------------------------------------------------------------------------------------------


def _of_engine(desk: Desk, request: Request) -> tuple[EngineEntry | None, Engine | None]:
    return engine_of(desk, request) if "engine" in request.path_params else (None, None)


def _strip_asked(query: QueryParams, engine: Engine | None, day: date) -> StripPage:
    """The strip that a filled form asks for. Raises InputError."""

    def size(name: str, what: str) -> float | None:
        text = query.get(name, "").strip()
        return parse_number(text, what) if text else None

    marks = [mark for mark in MARKS if mark in query.getlist("mark")]
    timing = query.get("timing", "").strip()
    if timing:
        marks.append(f"{timing.removesuffix('°')}btdc={say('static timing')}")
    marks += [
        line.strip() for line in query.get("others", "").replace(";", "\n").splitlines() if line.strip()
    ]
    given = query.get("turns", "")
    turns: Turns | None = "clockwise" if given == "clockwise" else None
    if given == "counterclockwise":
        turns = "counterclockwise"
    thickness, height = size("thickness", say("strip thickness")), size("height", say("strip height"))
    return strip_page(
        engine,
        day,
        marks,
        turns=turns,
        diameter_mm=size("diameter", say("diameter")),
        circumference_mm=size("circumference", say("circumference")),
        paper=paper_of(query),
        **({} if thickness is None else {"thickness_mm": thickness}),
        **({} if height is None else {"height_mm": height}),
    )


async def _strip(request: Request) -> Response:
    return await run_in_threadpool(_strip_form, desk_of(request), request)


def _strip_form(desk: Desk, request: Request, fault: str = "") -> Response:
    query = request.query_params
    entry, engine = _of_engine(desk, request)
    asked: StripPage | None = None
    if query.get("asked") and not fault:
        try:
            asked = _strip_asked(query, engine, today())
        except InputError as error:
            fault = str(error)
    path = f"/engines/{entry.id}/print/strip" if entry is not None else "/print/strip"
    words = words_of(desk, engine)
    usual = ("tdc", "half") if engine is None else ("tdc", "firing", "file")
    context: Context = {
        "entry": entry,
        "engine": engine,
        "vehicle": vehicle_of(desk, entry) if entry is not None else "",
        "path": path,
        "typed": query,
        "chosen": query.getlist("mark") if query.get("asked") else usual,
        "paper": paper_of(query),
        "fault": fault,
        "told": None,
        "query": urlencode([(name, value[:200]) for name, value in query.multi_items()]),
        "shown": desk.shown(),
    }
    if asked is not None:
        data = strip_data(asked, words)
        context |= {
            "told": data,
            "strip": asked.strip,
            "face": face_of(asked, words),
            "fold": fold_figures(asked.strip, words),
        }
    return render(request, "print_strip.html", context, status_code=422 if fault else 200, keep=False)


async def _strip_pdf(request: Request) -> Response:
    desk = desk_of(request)

    def make() -> Response:
        entry, engine = _of_engine(desk, request)
        try:
            asked = _strip_asked(request.query_params, engine, today())
        except InputError as error:
            return _strip_form(desk, request, str(error))
        name = entry.name if entry is not None else ""
        return _sent("strip", name, print_strip(asked, words_of(desk, engine)))

    return await run_in_threadpool(make)
