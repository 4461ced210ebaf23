"""Reports on their way to a PDF: each is made in a thread of its own, watched from a page, kept a while when done.

The same report asked for again, of the same book, is the same job: loading the page again starts nothing twice.
"""

from __future__ import annotations

import contextvars
import threading
from collections import OrderedDict
from collections.abc import Callable

from coldlash.errors import ColdlashError
from coldlash.language import say
from coldlash.paper.typesetting import Printed
from coldlash.web.problems import Problem

Progress = Callable[[int, int, str], None]
MOST_AT_A_TIME = 2
KEPT = 4
AT_FIRST_S = 1.5
"""So long a page waits for a small report, rather than to show progress."""


class PrintJob:
    """One document. ``printed`` None = not made yet, or not possible: ``fault`` says why, in words."""

    def __init__(self, work: Callable[[Progress], Printed]) -> None:
        self.printed: Printed | None = None
        self.fault = ""
        self._step = (0, 0, "")
        context = contextvars.copy_context()  # it speaks the language of who asked
        self._thread = threading.Thread(target=context.run, args=(self._run, work), daemon=True)
        self._thread.start()

    @property
    def busy(self) -> bool:
        """True while it is being made."""
        return self._thread.is_alive()

    def words(self) -> str:
        """How far it is."""
        done, of, what = self._step
        if not of:
            return say("Gathering from the book")
        return say("{done} of {of}: {what}", done=done, of=of, what=what)

    def wait(self, seconds: float | None = None) -> None:
        """Wait for it to end, at most so long."""
        self._thread.join(seconds)

    def _run(self, work: Callable[[Progress], Printed]) -> None:
        try:
            self.printed = work(self._watch)
        except ColdlashError as error:
            self.fault = str(error)
        except Exception:
            # As for any page: what went wrong inside is for the log, not for the page.
            self.fault = say("This is a fault of coldlash, not yours. Nothing was printed.")
            raise

    def _watch(self, done: int, of: int, what: str) -> None:
        self._step = done, of, what


class PrintJobs:
    """The documents of one server, by what they were made from."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[object, PrintJob] = OrderedDict()
        self._lock = threading.Lock()

    def ask(self, key: object, work: Callable[[Progress], Printed]) -> PrintJob:
        """The job of this key, begun if there is none. Raises Problem (503) while others are being made."""
        with self._lock:
            job = self._jobs.get(key)
            if job is not None and (job.busy or not job.fault):
                self._jobs.move_to_end(key)
                return job
            if sum(each.busy for each in self._jobs.values()) >= MOST_AT_A_TIME:
                raise Problem(
                    503,
                    say("Other reports are being printed just now."),
                    say("Wait a moment and load this page again."),
                )
            job = self._jobs[key] = PrintJob(work)
            self._jobs.move_to_end(key)
            for old in [k for k, each in self._jobs.items() if not each.busy][:-KEPT]:
                del self._jobs[old]
            return job
