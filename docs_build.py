"""Rebuild the generated parts of the docs, or with --check prove that they are up to date.

* ``docs/cli.md``: every command and option, from the program's own parser.
* Every ``console`` block of README.md and docs/tour.md: each line "$ ./run ..." is run, in order, in one scratch
  folder with a fresh demo book, and what it prints stands below it.
"""

from __future__ import annotations

import argparse
import difflib
import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

import docs_pictures

from coldlash.cli.main import build_parser

HERE = Path(__file__).resolve().parent
TOURS = ("README.md", "docs/tour.md")
_BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)


def cli_reference() -> str:
    """The command line as a page."""
    parts = [
        "# The command line\n",
        "Made by `./run docs` from the program itself; `./run check` proves it is up to date. In a checkout, `./run` "
        "stands for `coldlash`; a book is checked by `./run book check` there, since `./run check` looks over the "
        "program.\n",
        "Exit codes: 0 done; 1 our fault, a report file is written; 2 the input's fault, nothing was written. With "
        "`--json` standard output is one JSON object and nothing else.\n",
    ]
    for path, parser in _walk("coldlash", build_parser()):
        parts.append(f"## {path}\n")
        parts.append((parser.description or "") + "\n")
        usage = parser.format_usage().removeprefix("usage: ")
        parts.append("```text\n" + " ".join(usage.split()) + "\n```\n")
        rows = []
        for action in parser._actions:
            if isinstance(action, argparse._SubParsersAction | argparse._HelpAction) or action.help is None:
                continue
            name = ", ".join(action.option_strings) or str(action.metavar or action.dest)
            if (
                action.option_strings
                and action.nargs != 0
                and (action.metavar or action.choices or action.type)
            ):
                name += " " + str(
                    action.metavar or (action.choices and "{" + ",".join(action.choices) + "}") or "VALUE"
                )
            rows.append(f"| `{name}` | {action.help} |")
        if rows:
            parts.append("| argument | meaning |\n|---|---|\n" + "\n".join(rows) + "\n")
    return "\n".join(parts)


def _walk(path: str, parser: argparse.ArgumentParser) -> list[tuple[str, argparse.ArgumentParser]]:
    found = [(path, parser)]
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, child in action.choices.items():
                found += _walk(f"{path} {name}", child)
    return found


def run_tour(text: str) -> str:
    """The same text with the output of its console blocks made anew."""
    with tempfile.TemporaryDirectory() as scratch:
        environment = {
            **os.environ,
            "COLDLASH_BOOK": str(Path(scratch) / "demo.coldlash"),
            "COLDLASH_LANGUAGE": "en",
            "COLUMNS": "100",
            "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        }

        def again(match: re.Match[str]) -> str:
            lines = []
            for line in match[1].splitlines():
                if not line.startswith("$ "):
                    continue
                lines.append(line)
                command, _, said = line.removeprefix("$ ").partition(" <<< ")
                words = shlex.split(command.replace("./run", "coldlash", 1))
                done = subprocess.run(
                    words, cwd=scratch, env=environment, capture_output=True, text=True, check=False,
                    input=shlex.split(said)[0].replace("\\n", "\n") if said else "",
                )  # fmt: skip
                if done.returncode not in (0, 2):
                    raise SystemExit(f"{command}: exit {done.returncode}\n{done.stderr}")
                shown = done.stdout + (done.stderr if done.returncode == 2 else "")
                lines += [part.rstrip() for part in shown.rstrip("\n").replace(scratch, "~").splitlines()]
            return "```console\n" + "\n".join(lines) + "\n```"

        return _BLOCK.sub(again, text)


def main() -> int:
    """Write, or with --check compare."""
    checking = "--check" in sys.argv[1:]
    wanted = {HERE / "docs/cli.md": cli_reference()}
    for name in TOURS:
        path = HERE / name
        if path.exists():
            wanted[path] = run_tour(path.read_text(encoding="utf-8"))
    stale = 0
    for missing in [
        name for name in docs_pictures.NAMES if not (docs_pictures.FOLDER / f"{name}.png").exists()
    ]:
        stale += checking
        print(f"docs/pictures/{missing}.png is missing")
    for path, text in wanted.items():
        have = path.read_text(encoding="utf-8") if path.exists() else ""
        if have == text:
            continue
        if not checking:
            path.write_text(text, encoding="utf-8")
            print(f"rebuilt {path.relative_to(HERE)}")
            continue
        stale += 1
        print(f"{path.relative_to(HERE)} is not what ./run docs makes:")
        print(
            "\n".join(
                list(difflib.unified_diff(have.splitlines(), text.splitlines(), "now", "made", lineterm=""))[
                    :40
                ]
            )
        )
    if stale:
        print("run ./run docs and look at the difference")
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
