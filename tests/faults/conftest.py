"""A book for the fault tests, and processes to do things to it."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from tests.faults.writers import open_book
from tests.postgresql import Server

from coldlash.engine.catalogue import generic_text

Start = Callable[..., tuple[multiprocessing.process.BaseProcess, Connection]]


def with_engine(place: str) -> str:
    """Make a book with one engine there."""
    with open_book(place, create=True) as book:
        book.add_engine("Delivery van", generic_text("flat-four"))
    return place


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book with one engine, closed."""
    return Path(with_engine(str(tmp_path / "book.coldlash")))


@pytest.fixture
def server_book(server: Server) -> Iterator[str]:
    """The address of a book with one engine on a server."""
    name = server.new_database()
    yield with_engine(server.url(name))
    server.drop_database(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest) -> str:
    """A book with one engine, in a file and on a server: its path or address."""
    return str(request.getfixturevalue("path" if request.param == "sqlite" else "server_book"))


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
