"""The demo book, made once for each day and copied: most tests want to change it, few want to see it made."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from datetime import date
from functools import cache
from pathlib import Path

from coldlash.demo.fill import make_demo


def demo_copy(to: Path, until: date) -> Path:
    """A demo book of its own at ``to``."""
    return Path(shutil.copyfile(_made(until), to))


@cache
def _made(until: date) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="coldlash-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return make_demo(str(folder / "demo.coldlash"), until)
