"""One shape for everything that goes wrong on the pages: JSON for programs, a plain page for people."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from coldlash.errors import BookError, ColdlashError, FaultyFileError, InputError, MeterWentBackError
from coldlash.language import say

_KINDS = {
    400: "bad_request",
    401: "not_paired",
    403: "refused",
    404: "not_found",
    405: "method",
    409: "conflict",
    413: "too_large",
    421: "wrong_host",
    422: "bad_input",
    429: "too_many_tries",
    500: "our_fault",
    503: "book",
}


class Problem(ColdlashError):  # noqa: N818 - most are answers, not faults
    """An answer that isn't the one asked for. ``status`` is the HTTP status, ``kind`` a stable word for programs,
    ``hint`` what to do next; ``extra`` goes beside ``error`` in the JSON (a conflict puts both values there)."""

    def __init__(
        self,
        status: int,
        message: str,
        hint: str = "",
        *,
        kind: str = "",
        headers: Mapping[str, str] | None = None,
        extra: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(message)
        self.status = status
        self.kind = kind or _KINDS.get(status, "error")
        self.message = message
        self.hint = hint
        self.headers = dict(headers or {})
        self.extra = dict(extra or {})


def problem_from(error: Exception) -> Problem:
    """The problem that stands for ``error``. What nobody foresaw becomes a 500 that gives no internals away."""
    if isinstance(error, Problem):
        return error
    if isinstance(error, FaultyFileError):
        faults = [{"line": f.line, "column": f.column, "message": f.message} for f in error.faults]
        return Problem(422, str(error), say("Correct these and send it again."), extra={"faults": faults})
    if isinstance(error, MeterWentBackError):
        offers = [
            {
                "how": e.how,
                "distance_km": None if e.distance_m is None else e.distance_m / 1000,
                "words": e.words,
            }
            for e in error.explanations
        ]
        return Problem(
            422,
            str(error),
            say("Say why, or correct it."),
            kind="meter_went_back",
            extra={"explanations": offers},
        )
    if isinstance(error, InputError):
        return Problem(422, str(error))
    if isinstance(error, BookError):
        return Problem(503, str(error), say("Nothing was written. What this device holds stays on it."))
    if isinstance(error, HTTPException):
        return _from_http(error)
    return Problem(
        500,
        say("Something went wrong in coldlash itself; it is written in its log."),
        say("Nothing on this device is lost. Try again; if it stays, report it."),
    )


def _from_http(error: HTTPException) -> Problem:
    texts = {
        404: (say("There is no such page here."), say("Go back to the shed and look from there.")),
        405: (say("This address can't be used that way."), ""),
    }
    plain = error.detail or HTTPStatus(error.status_code).phrase
    message, hint = texts.get(error.status_code, (plain, ""))
    return Problem(error.status_code, message, hint, headers=error.headers)


def wants_json(request: Request) -> bool:
    """True for the API and for callers that ask for JSON; people get a page."""
    accept = request.headers.get("accept", "")
    return request.url.path.startswith("/api/") or ("json" in accept and "text/html" not in accept)


def json_problem(problem: Problem) -> JSONResponse:
    """``{"error": {"kind", "message", "hint"}, ...}`` with the problem's status."""
    content = {
        **problem.extra,
        "error": {"kind": problem.kind, "message": problem.message, "hint": problem.hint},
    }
    return JSONResponse(content, status_code=problem.status, headers=problem.headers)


def respond(request: Request, error: Exception) -> Response:
    """The answer for ``error``: JSON or a page, as the caller wants."""
    problem = problem_from(error)
    if wants_json(request):
        return json_problem(problem)
    from coldlash.web.templating import render  # it imports this module

    return render(
        request, "problem.html", {"problem": problem}, status_code=problem.status, headers=problem.headers
    )
