"""A book for the fault tests, and processes to do things to it."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from tests.faults.writers import open_book

from coldlash.engine.catalogue import generic_text

Start = Callable[..., tuple[multiprocessing.process.BaseProcess, Connection]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book with one engine, closed."""
    path = tmp_path / "book.coldlash"
    with open_book(str(path), create=True) as book:
        book.add_engine("Delivery van", generic_text("flat-four"))
    return path


@pytest.fixture(scope="session")
def start() -> Iterator[Start]:
    """Start a writer in a process of its own; gives the process and the pipe it tells by."""
    context = multiprocessing.get_context(
        "forkserver"
    )  # loads the book once; forks carry no open files of it
    context.set_forkserver_preload(["tests.faults.writers"])
    running = []

    def run(target: Callable[..., None], *args: Any) -> tuple[Any, Connection]:
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=target, args=(*args, theirs), daemon=True)
        process.start()
        theirs.close()
        running.append(process)
        return process, ours

    yield run
    for process in running:
        if process.is_alive():
            process.kill()
        process.join()
