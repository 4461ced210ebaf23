"""No sentence is raised or returned past the catalogues: read from the syntax of each converted room."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "coldlash"

CONVERTED = ("errors.py", "units.py", "engine", "bench", "logbook", "cli")
"""Rooms and modules whose texts all go through ``coldlash.language``."""

SAYS = {"say", "say_in", "say_table", "table", "plural", "mark"}
LITERAL_FIRST = {"say", "say_in", "plural", "mark"}

ALLOWED = {
    "engine/template.py": "a line of an engine file, which is data",
    "bench/blades.py": "a number with its unit",
    "engine/breathing.py": "a number with its unit",
    "engine/gas.py": "the name of a gas, which only the code reads",
    "engine/lobe.py": "the name of a figure, which only the code reads",
    "engine/plan_text.py": "a picture with a said word in it",
    "logbook/archive/shape.py": "the schema of the archive, for other programs",
    "logbook/due.py": "codes of what is due, said by the desk",
    "logbook/models.py": "rules of the database",
    "logbook/sheets/rows.py": "codes of what a cell is",
    "cli/import_commands.py": "an option as it is typed",
    "cli/typed.py": "English words as the desk reads them",
}
"""Modules in which a pieced-together text may be returned, and why."""


NOT_SAID = {
    # The label of what is checked, in English; said by ``logbook.telling.label`` when a fault is told.
    "checked_text", "checked_name", "checked_id", "checked_whole", "checked_choice", "find", "_add_named",
    # Names of types.
    "cast",
    # SQL.
    "execute", "faults_of",
    # Faults between modules, told in other words to whoever reads.
    "ValueError",
}  # fmt: skip
"""Calls whose texts are for no reader."""


def modules(room: str) -> list[Path]:
    place = SOURCE / room
    return (
        [place] if place.is_file() else sorted(p for p in place.rglob("*.py") if p.parent.name != "versions")
    )


def called(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    return node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")


def has_words(node: ast.JoinedStr | ast.Constant) -> bool:
    """Letters and a blank: a sentence or a part of one."""
    parts = node.values if isinstance(node, ast.JoinedStr) else [node]
    shown = "".join(str(p.value) if isinstance(p, ast.Constant) else "0" for p in parts)
    fixed = "".join(str(p.value) for p in parts if isinstance(p, ast.Constant))
    return bool(re.search(r"[A-Za-z]{2}", fixed)) and " " in shown.strip()


def unsaid(node: ast.AST) -> Iterator[ast.AST]:
    """The texts within an expression that are made outside ``say`` and its kin; conditions are not looked into."""
    if called(node) in SAYS | NOT_SAID or isinstance(node, ast.Compare):
        return
    if isinstance(node, ast.JoinedStr):
        if has_words(node):
            yield node
        return
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str) and has_words(node):
            yield node
        return
    for child in ast.iter_child_nodes(node):
        yield from unsaid(child)


def within(room: str, kind: type[ast.Raise] | type[ast.Return]) -> list[str]:
    found = []
    for path in modules(room):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, kind):
                continue
            made = node.exc if isinstance(node, ast.Raise) else node.value
            name = path.relative_to(SOURCE).as_posix()
            if made is None or (isinstance(node, ast.Return) and name in ALLOWED):
                continue
            found += [f"{name}:{text.lineno}" for text in unsaid(made) if isinstance(text, ast.expr)]
    return found


@pytest.mark.parametrize("room", CONVERTED)
def test_every_sentence_that_is_raised_is_said(room: str) -> None:
    assert within(room, ast.Raise) == []


@pytest.mark.parametrize("room", CONVERTED)
def test_every_sentence_that_is_returned_is_said(room: str) -> None:
    assert within(room, ast.Return) == []


@pytest.mark.parametrize("room", CONVERTED)
def test_what_is_said_is_a_literal_that_a_translator_can_find(room: str) -> None:
    found = []
    for path in modules(room):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and called(node) in LITERAL_FIRST
                and isinstance(node.func, ast.Name)
            ):
                keys = node.args[: 2 if called(node) in ("plural", "say_in") else 1]
                literal = all(isinstance(key, ast.Constant) and isinstance(key.value, str) for key in keys)
                if not literal:
                    found.append(f"{path.name}:{node.lineno}")
    assert found == []


@pytest.mark.parametrize("room", CONVERTED)
def test_nothing_is_said_when_a_module_is_imported(room: str) -> None:
    found = []
    for path in modules(room):
        waiting: list[ast.AST] = [ast.parse(path.read_text(encoding="utf-8"))]
        while waiting:
            node = waiting.pop()
            if isinstance(node, ast.FunctionDef | ast.Lambda):
                continue
            if isinstance(node, ast.Call) and called(node) in SAYS - {"mark", "table"}:
                found.append(f"{path.name}:{node.lineno}")
            waiting += ast.iter_child_nodes(node)
    assert found == []


def test_a_glued_sentence_would_be_seen() -> None:
    glued = ast.parse('raise InputError(f"{name} has no valve " + str(valve))').body[0]
    said = ast.parse('raise InputError(say("{name} has no valve {valve}", name=name, valve=valve))').body[0]
    assert len(list(unsaid(glued))) == 1
    assert list(unsaid(said)) == []
