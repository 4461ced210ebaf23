"""A countdown in the terminal: one line that changes every second, or a line a minute where it can't."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from typing import TextIO

from coldlash.language import mark, say, table

DONE = mark("Cold enough by these readings. Measure its temperature once more before the first valve.")
BEGIN_LINE, TO_END = "\r", "\x1b[K"


def clock(seconds: float) -> str:
    """ "2:30:45", below an hour "30:45", never below "0:00"."""
    whole = max(0, math.ceil(seconds))
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def watch(
    seconds: float,
    stream: TextIO | None = None,
    now: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Count ``seconds`` down to 0 on ``stream`` (default standard output), then say that it is over.

    ``now`` and ``sleep`` in seconds. Not on a terminal: a line a minute, so that a log stays short.
    """
    out = stream if stream is not None else sys.stdout
    live = out.isatty()
    end = now() + seconds
    step = 1.0 if live else 60.0
    while (left := end - now()) > 0:
        words = say("{time} left", time=clock(left))
        out.write(f"{BEGIN_LINE}{words}{TO_END}" if live else f"{words}\n")
        out.flush()
        sleep(min(left, (left % step) or step))
    words = table(DONE)
    out.write(f"{BEGIN_LINE}{words}{TO_END}\n" if live else f"{words}\n")
    out.flush()
