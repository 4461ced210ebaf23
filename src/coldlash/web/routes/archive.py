"""Everything in the book in one file, to download. Reading one back is for the terminal: it makes a new book."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from threading import Lock

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import Receive, Scope, Send

from coldlash.desk.desk import Desk
from coldlash.language import say
from coldlash.web.problems import Problem
from coldlash.web.routes.common import desk_of, today
from coldlash.web.templating import Pages


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/archive."""
    return [Route("/archive", _Download().answer, methods=["GET"])]


class _Download:
    """One archive at a time, so that nobody fills the disk by asking for many."""

    def __init__(self) -> None:
        self._one = Lock()

    async def answer(self, request: Request) -> Response:
        if not self._one.acquire(blocking=False):
            raise Problem(
                503,
                say("Another device is downloading everything just now."),
                say("Try again in a minute."),
            )
        try:
            folder = Path(tempfile.mkdtemp(prefix="coldlash-"))
        except OSError:
            self._one.release()
            raise
        try:
            file = await run_in_threadpool(_written, desk_of(request), folder)
        except BaseException:
            self._done(folder)
            raise
        return _Passing(file, lambda: self._done(folder))

    def _done(self, folder: Path) -> None:
        shutil.rmtree(folder, ignore_errors=True)
        self._one.release()


class _Passing(FileResponse):
    """A file that is sent once; ``done`` is called afterwards, also when the other side went away meanwhile."""

    def __init__(self, file: Path, done: Callable[[], None]) -> None:
        super().__init__(
            file,
            media_type="application/zip",
            filename=f"book-{today().isoformat()}.zip",
            headers={"cache-control": "no-store"},
        )
        self._after = done

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._after()  # nothing to wait for, so that it is done also when the server is being stopped


def _written(desk: Desk, folder: Path) -> Path:
    return desk.book.write_archive(folder / "book.zip").path
