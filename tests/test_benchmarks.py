"""Every benchmark runs on a small size: a smoke test, no times are judged here."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NAMES = sorted(path.stem for path in (ROOT / "benchmarks").glob("bench_*.py"))


def test_there_are_benchmarks():
    assert len(NAMES) >= 6


@pytest.mark.parametrize("name", NAMES)
def test_the_benchmark_runs_and_prints_what_it_measured(name):
    done = subprocess.run(
        [sys.executable, "-m", f"benchmarks.{name}", "--quick"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert re.search(r"\d", done.stdout), "a benchmark prints what it measured"
