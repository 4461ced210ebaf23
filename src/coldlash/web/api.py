"""What JSON endpoints share: strict reading, one way of answering, and the ids that make sending twice harmless."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse

from coldlash.language import say
from coldlash.web.problems import Problem

ENTRY_HEADER = "idempotency-key"
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


async def read_json(request: Request) -> dict[str, Any]:
    """The JSON object in the request's body. Raises Problem: another content type, not JSON, not an object, or NaN
    and infinities, which JSON doesn't have."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Problem(
            415,
            say("This address takes application/json, not {kind}.", kind=kind or say("nothing")),
            kind="bad_input",
        )
    try:
        value = json.loads(await request.body(), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise Problem(400, say("The body isn't JSON: {error}.", error=error), kind="bad_input") from error
    if not isinstance(value, dict):
        raise Problem(422, say("The body should be a JSON object, like {...}."), kind="bad_input")
    return value


def entry_id(request: Request) -> str:
    """The id that the page gave this entry: write it in the same transaction as what it brings, and when it is there
    already, answer ``accepted`` again without writing. Raises Problem if it is missing or no UUID."""
    given = request.headers.get(ENTRY_HEADER, "").lower()
    if not _UUID.fullmatch(given):
        raise Problem(
            400,
            say(
                "The header Idempotency-Key should be a UUID made for this entry, not {given!r}.",
                given=given[:60],
            ),
            kind="bad_input",
        )
    return given


def accepted(entry: str, content: Mapping[str, Any] | None = None, status_code: int = 200) -> JSONResponse:
    """The book has it. The id is repeated, so that the page knows that the book answered and not some gateway."""
    return JSONResponse({**(content or {}), "entry": entry}, status_code=status_code)


def conflict(message: str, mine: Any, theirs: Any, hint: str = "") -> Problem:
    """To raise when the book holds something newer than what the page had seen: both values travel back."""
    return Problem(
        409, message, hint or say("Choose which one holds."), extra={"mine": mine, "theirs": theirs}
    )


def _no_constant(name: str) -> None:
    raise ValueError(say("{name} is not a number in JSON", name=name))
