"""kill -9 in the middle of writing: every acknowledged reading is there, nothing half-written shows."""

from __future__ import annotations

import random
import time

import pytest
from tests.faults.writers import PARTS, open_book, write_until_killed

TENTH, FULL = 30, 300
SERVER_TENTH, SERVER_FULL = 10, 100
"""On a server: there the client is killed and the server has to clear up after it."""


def kill_and_look(start, path, kills: int, seed: int, *, progress: bool = False) -> int:
    """Kill a writer ``kills`` times at random moments; look at the book after each. Returns acknowledged rows."""
    rng = random.Random(seed)
    acknowledged: dict[str, set[str]] = {}
    for kill in range(kills):
        process, told = start(write_until_killed, str(path), kill)
        wanted = rng.randrange(0, 40)
        pause = rng.choice([0.0, rng.uniform(0.0, 0.012)])
        visit: str | None = None
        count = 0
        while count <= wanted:
            what, id = told.recv()
            if what == "visit":
                visit = id
                acknowledged[visit] = set()
            elif what == "end":
                break
            else:
                acknowledged[visit].add(id)
            count += 1
        time.sleep(pause)
        process.kill()
        process.join()
        while True:  # what it told before it died was acknowledged too
            try:
                what, id = told.recv()
            except EOFError:
                break
            if what in ("reading", "change"):
                acknowledged[visit].add(id)
        told.close()
        look(path, acknowledged)
        if progress and kill % 10 == 9:
            print(f"kill -9: {kill + 1} of {kills}", flush=True)
    return sum(len(ids) for ids in acknowledged.values())


def look(path, acknowledged: dict[str, set[str]]) -> None:
    with open_book(str(path), wait_s=30.0) as book:
        assert book.check() == ()
        visits = {visit.id: visit for visit in book.visits(state=None)}
        assert set(acknowledged) <= set(visits)
        for id, ids in acknowledged.items():
            visit = visits[id]
            kept = {row.id for row in visit.history} | {row.id for row in visit.changes}
            assert ids <= kept
            # At most the one write that was under way when it was killed is there unacknowledged: one reading, or
            # one transaction of many changes, and of that all or nothing.
            assert len(visit.history) - len(ids & {row.id for row in visit.history}) <= 1
            assert len(visit.changes) % PARTS == 0
            assert len(visit.changes) // PARTS - len(ids & {row.id for row in visit.changes}) <= 1
            assert visit.note == (f"{visit.place} {PARTS - 1}" if visit.changes else "")
            assert [row.note.split()[0] for row in visit.history] == [
                str(n) for n in range(len(visit.history))
            ]


def test_a_tenth_of_the_kills_loses_nothing(start, path):
    assert kill_and_look(start, path, TENTH, seed=20240504) > TENTH


def test_clients_of_a_server_killed_at_random_lose_nothing(start, server_book):
    assert kill_and_look(start, server_book, SERVER_TENTH, seed=20240504) > SERVER_TENTH


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_a_hundred_killed_clients_of_a_server_lose_nothing(start, server_book):
    assert kill_and_look(start, server_book, SERVER_FULL, seed=19610708, progress=True) > SERVER_FULL


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_three_hundred_kills_lose_nothing(start, path):
    assert kill_and_look(start, path, FULL, seed=19610708, progress=True) > FULL
