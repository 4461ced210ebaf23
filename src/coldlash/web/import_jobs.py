"""Files on their way into the book: each is worked on in a thread of its own, watched from a page, stopped from it.

What is here is gone when serving stops; a file that was being taken in then has left nothing in the book.
"""

from __future__ import annotations

import contextvars
import threading
import time
from collections.abc import Callable
from typing import Any

from coldlash.desk.importing import FileImport, Preview
from coldlash.errors import ColdlashError
from coldlash.language import mark, say, table
from coldlash.logbook.taking_in import TakenIn
from coldlash.web.pairing import new_token
from coldlash.web.problems import Problem

MOST = 4
"""Files at a time: each is held in memory."""
KEPT_S = 2 * 3600.0
"""A file that nobody has looked at for so long is forgotten."""
AT_FIRST_S = 1.5
"""So long a page waits for a small file, rather than to show progress."""
STAGES = {
    "reading": mark("Reading the file"),
    "understanding": mark("Understanding its rows"),
    "comparing": mark("Comparing with the book"),
    "writing": mark("Writing visits"),
}


class _StoppedError(Exception):
    """Somebody pressed stop."""


class Job:
    """One file. ``file`` None = it could not be read; ``fault``: what went wrong, in words."""

    def __init__(self, source: str) -> None:
        self.id, self.source = new_token(), source
        self.file: FileImport | None = None
        self.preview: Preview | None = None
        self.done: TakenIn | None = None
        self.fault = ""
        self.stopped = False
        self.seen = time.monotonic()
        self._stage = ("reading", 0, 0)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    @property
    def busy(self) -> bool:
        """True while it is being worked on."""
        return self._thread is not None and self._thread.is_alive()

    def words(self) -> str:
        """What is being done, in words."""
        stage, done, of = self._stage
        what = table(STAGES[stage])
        return say("{what}: {done:,} of {of:,}", what=what, done=done, of=of) if of else what

    def start(self, work: Callable[[Job], None]) -> None:
        """Work on it in a thread of its own. Raises Problem while another work on it goes on."""
        with self._lock:
            if self.busy:
                raise Problem(
                    409, say("This file is being worked on."), say("Wait until it is done, or stop it.")
                )
            self._stop.clear()
            self.fault, self.stopped, self._stage = "", False, ("reading", 0, 0)
            context = contextvars.copy_context()
            self._thread = threading.Thread(target=context.run, args=(self._run, work), daemon=True)
            self._thread.start()

    def _run(self, work: Callable[[Job], None]) -> None:
        try:
            work(self)
        except _StoppedError:
            self.stopped = True
        except ColdlashError as error:
            self.fault = str(error)
        except Exception:
            # As for any page: what went wrong inside is for the log, not for the page.
            self.fault = say("This is a fault of coldlash, not yours. Nothing was taken in.")
            raise

    def watch(self, stage: str, done: int, of: int) -> None:
        """For ``FileImport``: remembers how far it is. Raises when it is to stop."""
        self._stage = stage, done, of
        if self._stop.is_set():
            raise _StoppedError

    def stop(self) -> None:
        """End the work; what was begun leaves nothing."""
        self._stop.set()

    def wait(self, seconds: float) -> None:
        """Wait for the work to end, at most so long."""
        if self._thread is not None:
            self._thread.join(seconds)


class Jobs:
    """The files of one server."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()

    def new(self, source: str) -> Job:
        """Room for another file. Raises Problem when all are being worked on."""
        with self._lock:
            for job in sorted(self._jobs.values(), key=lambda each: each.seen):
                old = self._clock() - job.seen > KEPT_S
                if not job.busy and (old or len(self._jobs) >= MOST):
                    del self._jobs[job.id]
            if len(self._jobs) >= MOST:
                raise Problem(
                    503,
                    say("Several files are being taken in just now."),
                    say("Wait until one is done and send it again."),
                )
            job = Job(source)
            job.seen = self._clock()
            self._jobs[job.id] = job
            return job

    def get(self, job_id: str) -> Job:
        """The file that a page is about. Raises Problem (404)."""
        with self._lock:
            job = self._jobs.get(job_id)
        if job is None:
            raise Problem(
                404,
                say("That file is not here any more."),
                say("Choose it again. What was taken into the book already stays."),
            )
        job.seen = self._clock()
        return job

    def forget(self, job: Job) -> None:
        """Let go of a file."""
        job.stop()
        with self._lock:
            self._jobs.pop(job.id, None)


def jobs_of(state: Any) -> Jobs:
    """The files of an app, by its ``state``."""
    if not hasattr(state, "import_jobs"):
        state.import_jobs = Jobs()
    found: Jobs = state.import_jobs
    return found
