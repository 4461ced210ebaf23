"""Makes ``from tests.engines import ...`` work, however pytest is started; the one PostgreSQL server of all tests."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

_ROOT = str(Path(__file__).resolve().parents[1])
if _ROOT not in sys.path:
    sys.path.insert(0, _ROOT)


# Whatever language this computer is set to, tests read English unless they ask for another.
os.environ["COLDLASH_LANGUAGE"] = "en"


@pytest.fixture(scope="session")
def server() -> Iterator[Any]:
    """A PostgreSQL server; where there is none the tests that need it fail and say what to install."""
    from tests.postgresql import Server

    with Server() as running:
        yield running
