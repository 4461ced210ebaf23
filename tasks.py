"""What ./run test, check, bench, soak and docs do. Run through ./run, which installs what they need."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).resolve().parent
BIN = Path(sys.executable).parent


def _do(*command: str, **more: str) -> int:
    print(
        "+", " ".join(Path(command[0]).name if i == 0 else part for i, part in enumerate(command)), flush=True
    )
    return subprocess.run(command, cwd=HERE, env={**os.environ, **more}, check=False).returncode


def _debian_package(program: str, package: str) -> None:
    """Install what a test needs where apt is there; elsewhere the test fails and says the remedy."""
    if shutil.which(program) or not shutil.which("apt-get") or os.geteuid() != 0:
        return
    print(f"Installing {package}, which the tests need ...", flush=True)
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run(["apt-get", "update"], check=False, env=environment, **quiet)
    subprocess.run(["apt-get", "install", "-y", package], check=False, env=environment, **quiet)


def test(arguments: list[str]) -> int:
    """All tests; arguments go to pytest."""
    _debian_package("chromium", "chromium")
    if not list(Path("/usr/lib/postgresql").glob("*/bin/initdb")):
        _debian_package("initdb", "postgresql")
    # One worker a core; who has nothing left takes over from the others.
    workers = str(min(os.cpu_count() or 1, 4))
    return _do(str(BIN / "pytest"), "-m", "not soak", "-n", workers, "--dist", "worksteal", *arguments)


def check(arguments: list[str]) -> int:
    """ruff, mypy strict, import-linter, catalogues and docs up to date. All are run; one failing fails the whole."""
    if arguments:
        print(
            "./run check looks over the program and takes nothing more; a book: ./run book check",
            file=sys.stderr,
        )
        return 2
    results = [
        _do(str(BIN / "ruff"), "check", "."),
        _do(str(BIN / "ruff"), "format", "--check", "."),
        _do(str(BIN / "mypy")),
        _do(str(BIN / "lint-imports"), "--no-cache"),
        _do(sys.executable, "-m", "catalogues", "--check"),
        _do(sys.executable, "-m", "docs_build", "--check"),
    ]
    print("check: all good" if not any(results) else "check: something above needs mending", flush=True)
    return max(results)


def bench(arguments: list[str]) -> int:
    """Every benchmark and study, one after the other; --quick runs each on a small size.

    The study of calibration is run by bench_wear.
    """
    names = [path.stem for path in sorted((HERE / "benchmarks").glob("bench_*.py"))]
    return max(
        _do(sys.executable, "-m", f"benchmarks.{name}", *arguments) for name in [*names, "study_causes"]
    )


def soak(arguments: list[str]) -> int:
    """The long fault runs in full, with progress."""
    return _do(str(BIN / "pytest"), "-m", "soak", "-s", "--timeout", "0", *arguments)


def docs(_: list[str]) -> int:
    """Rebuild the generated parts of README and docs, and take their pictures."""
    _debian_package("chromium", "chromium")
    return max(_do(sys.executable, "-m", name) for name in ("catalogues", "docs_build", "docs_pictures"))


TASKS: dict[str, Callable[[list[str]], int]] = {
    "test": test,
    "check": check,
    "bench": bench,
    "soak": soak,
    "docs": docs,
}

if __name__ == "__main__":
    if len(sys.argv) < 2 or sys.argv[1] not in TASKS:
        sys.exit(f"which of {', '.join(TASKS)}?")
    sys.exit(TASKS[sys.argv[1]](sys.argv[2:]))
