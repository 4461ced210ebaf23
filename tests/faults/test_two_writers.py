"""Two processes on one book: each waits its turn, nothing is lost or doubled."""

from __future__ import annotations

from tests.faults.writers import make_book, open_book, write_many


def test_processes_writing_at_once_lose_nothing(start, place):
    count = 40
    writers = [start(write_many, place, km, count) for km in range(1, 4)]
    told = [ours.recv() for _, ours in writers]
    for process, _ in writers:
        process.join()
    assert all(isinstance(ids, list) and len(ids) == count for ids in told), told
    with open_book(place) as book:
        visits = book.visits()
        assert [[row.id for row in visit.history] for visit in visits] == told
        seqs = [row.seq for visit in visits for row in visit.history]
        assert len(set(seqs)) == 3 * count
        assert book.check() == ()


def test_processes_making_one_book_at_once_make_one_book(start, tmp_path):
    path = tmp_path / "new.coldlash"
    makers = [start(make_book, str(path)) for _ in range(4)]
    assert [ours.recv() for _, ours in makers] == ["made"] * 4
    for process, _ in makers:
        process.join()
    with open_book(str(path)) as book:
        assert len(book.vehicles()) == 4
        assert book.check() == ()
    assert [file.name for file in tmp_path.iterdir()] == ["new.coldlash"]
