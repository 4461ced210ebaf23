"""Every benchmark runs on a small size: a smoke test, no times are judged here."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NAMES = sorted(path.stem for path in (ROOT / "benchmarks").glob("bench_*.py"))


def test_there_are_benchmarks():
    assert len(NAMES) >= 6


@pytest.mark.parametrize("name", NAMES)
def test_the_benchmark_runs_and_prints_a_ratio(name):
    done = subprocess.run(
        [sys.executable, "-m", f"benchmarks.{name}", "--quick"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "ratio" in done.stdout.lower() or " x " in done.stdout or "/" in done.stdout
