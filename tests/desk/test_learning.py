"""The owner's own figures: learnt from enough visits, kept in the book, learnt again when it has grown."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from coldlash.desk import learning
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.errors import ConvergenceError
from coldlash.logbook.records import NewReading, NewVisit, PastVisit
from coldlash.wear.settings import DEFAULTS


@pytest.fixture
def desk(tmp_path):
    clock = datetime(2026, 5, 1, 9, tzinfo=UTC)
    with Desk.open(str(tmp_path / "b.coldlash"), create=True, now=lambda: clock) as opened:
        opened.add_engine(load_engine("flat-four"), "Van")
        yield opened


def add_visits(desk, count, first=0, rough=0.04, seed=5):
    """Visits whose readings scatter with this sd, mm: rougher than the starting points think."""
    rng = np.random.default_rng([seed, first])
    _, engine = desk.engine("Van")
    past = []
    for number in range(first, first + count):
        readings = []
        for valve in engine.valves:
            go = int(np.clip(50 * np.floor((0.2 + rng.normal(0, rough)) / 0.05), 50, 500))
            readings.append(NewReading(valve=valve, step="found", go_um=go, nogo_um=go + 50))
        day = date(2000, 1, 1) + timedelta(days=200 * number)
        visit = NewVisit(day=day, distance_m=number * 3_000_000, engine_temp_mc=20_000, at=f"{day}T12:00:00Z")
        past.append(PastVisit(visit=visit, readings=tuple(readings)))
    desk.book.add_past_visits("Van", past)


def test_a_short_book_teaches_nothing(desk):
    add_visits(desk, learning.LEAST_VISITS - 1)
    assert desk.learnt() == DEFAULTS


def test_a_rough_hand_is_learnt_and_kept_in_the_book(desk, tmp_path):
    add_visits(desk, 16)
    learnt = desk.learnt()
    assert learnt.feel > 1.5 * DEFAULTS.feel
    kept, visits = learning.read(desk.book.settings()[learning.SETTING])
    assert (kept, visits) == (learnt, 16)
    with Desk.open(str(tmp_path / "b.coldlash")) as again:
        assert again.learnt() == learnt


def test_more_visits_are_learnt_from_again(desk):
    add_visits(desk, 8)
    first = desk.learnt()
    add_visits(desk, 8, first=8, rough=0.002)
    assert desk.learnt() != first
    assert learning.read(desk.book.settings()[learning.SETTING])[1] == 16


def test_one_more_visit_is_not_worth_learning_again(desk, monkeypatch):
    add_visits(desk, 16)
    first = desk.learnt()
    monkeypatch.setattr("coldlash.desk.learning.learnt_from", lambda books: pytest.fail("learnt again"))
    add_visits(desk, 1, first=16)
    assert desk.learnt() == first
    assert [learning.outgrown(16, n) for n in (14, 15, 16, 17, 18)] == [True, False, False, False, True]
    assert [learning.outgrown(60, n) for n in (53, 54, 66, 67)] == [True, False, False, True]


def test_what_was_learnt_is_what_the_answer_uses(desk):
    add_visits(desk, 16)
    assert desk.answer("Van").assessment.trend.settings == desk.learnt()


def test_where_learning_does_not_settle_the_starting_points_hold(monkeypatch):
    def never(*_, **__):
        raise ConvergenceError("did not settle")

    monkeypatch.setattr("coldlash.desk.learning.learn", never)
    engine = load_engine("flat-four").engine
    assert learning.learnt_from([(engine, [None] * 10, None)]) == DEFAULTS


@pytest.mark.parametrize(
    "text", [None, "", "{", "[]", '{"visits": 3}', '{"visits": 3, "settings": {"feel": -1}}']
)
def test_what_this_version_does_not_understand_is_learnt_anew(text):
    assert learning.read(text) is None
