"""The calendar feed and the page where its addresses are made."""

from __future__ import annotations

import re
import shutil
from datetime import date

import icalendar
import pytest
import vobject
from tests.demos import demo_copy
from tests.web.conftest import PHONE, SITE, Client

from coldlash.desk.desk import Desk
from coldlash.desk.due_dates import shed
from coldlash.web.book_app import book_app
from coldlash.web.feeds import MISSES
from coldlash.web.pairing import Pairing
from coldlash.web.routes.calendar import etag_fits
from coldlash.web.settings import SHARED, Settings, Site

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", TODAY)


@pytest.fixture
def house(made, tmp_path):
    book = shutil.copy(made, tmp_path / "book.coldlash")
    pairing = Pairing(tmp_path / "state")
    site = Site(frozenset({SITE}), f"https://{SITE}:8766")
    with Desk.open(str(book)) as desk:
        app = book_app(Settings(pairing, site), desk)
        yield desk, Client(app), Client(app, SHARED, PHONE, "https", f"{SITE}:8766")
    pairing.close()


def new_feed(client, **values):
    """The path of a feed made on the page, as shown there."""
    token = client.form_token("/calendar")
    given = {"name": "Oona's phone", "language": "en", "alarms": "yes", **values}
    answer = client.ask("POST", "/calendar", form={**given, "form_token": token})
    assert answer.status == 200, answer.text
    assert answer.header("cache-control") == "no-store"
    (address,) = re.findall(r'id="address">([^<]+)<', answer.text)
    assert address.startswith(f"https://{SITE}:8766/calendar/")
    return address.removeprefix(f"https://{SITE}:8766")


def test_a_calendar_program_without_pairing_fetches_what_is_due_and_two_parsers_read_it(house):
    """Independent software: icalendar, vobject."""
    desk, machine, stranger = house
    path = new_feed(machine)
    answer = stranger.get(path)
    assert (answer.status, answer.header("content-type")) == (200, "text/calendar; charset=utf-8")
    assert answer.header("cache-control") == "private, max-age=0, must-revalidate"
    assert answer.header("set-cookie") == ""
    events = icalendar.Calendar.from_ical(answer.body).walk("VEVENT")
    due = [row for row in shed(desk.book, TODAY) if row.due.last_day is not None]
    assert sorted(str(event["UID"]) for event in events) == sorted(
        f"gaps-{row.entry.id}@coldlash.invalid" for row in due
    )
    assert all(str(event["URL"]).startswith(f"https://{SITE}:8766/engines/") for event in events)
    assert all(len(event.walk("VALARM")) == 2 for event in events)
    read = vobject.readOne(answer.body.decode())
    assert {e.summary.value for e in read.vevent_list} == {str(e["SUMMARY"]) for e in events}
    assert str(icalendar.Calendar.from_ical(answer.body)["X-PUBLISHED-TTL"]) == "PT12H"
    assert "last fetched" in machine.get("/calendar").text


def test_nothing_else_is_open_and_only_to_get(house):
    _, machine, stranger = house
    path = new_feed(machine)
    assert stranger.get("/calendar").status == 401
    assert stranger.get("/calendar/due.ics").status == 401
    assert stranger.get("/calendar/short.ics").status == 401
    assert stranger.get(path.removesuffix(".ics")).status == 401
    assert stranger.get(f"{path}/revoke").status == 401
    for method in ("HEAD", "POST", "DELETE"):
        assert stranger.ask(method, path).status == 401
    assert stranger.ask("GET", path, host="evil.example").status == 421
    outside = Client(stranger.app, SHARED, "93.184.216.34", "https", f"{SITE}:8766")
    assert outside.get(path).status == 403


def test_without_the_exception_in_the_guard_the_feed_is_shut(house, monkeypatch):
    _, machine, stranger = house
    path = new_feed(machine)
    monkeypatch.setattr("coldlash.web.guard.FEED_PATH", re.compile("(?!)"))
    assert stranger.get(path).status == 401


def test_revoked_unknown_and_never_made_look_the_same(house):
    _, machine, stranger = house
    path = new_feed(machine)
    (feed,) = re.findall(r'action="/calendar/(\w+)/revoke"', machine.get("/calendar").text)
    done = machine.ask(
        "POST", f"/calendar/{feed}/revoke", form={"form_token": machine.form_token("/calendar")}
    )
    assert (done.status, done.header("location")) == (303, "/calendar")
    gone, unknown = stranger.get(path), stranger.get(f"/calendar/{'A' * 43}.ics")
    assert gone.status == unknown.status == 404
    assert gone.body == unknown.body
    assert gone.headers == unknown.headers


def test_guessing_is_slowed_down(house):
    _, machine, stranger = house
    path = new_feed(machine)
    for n in range(MISSES):
        assert stranger.get(f"/calendar/{n:043d}.ics").status == 404
    answer = stranger.get(path)
    assert (answer.status, answer.header("retry-after")) == (429, "900")
    assert "This device asked for too many calendars" in answer.text
    other = Client(stranger.app, SHARED, "192.168.7.77", "https", f"{SITE}:8766")
    assert other.get(path).status == 200


def test_the_same_is_not_sent_twice_until_the_book_changes(house):
    desk, machine, stranger = house
    path = new_feed(machine)
    etag = stranger.get(path).header("etag")
    again = stranger.get(path, [("if-none-match", etag)])
    assert (again.status, again.body, again.header("etag")) == (304, b"", etag)
    desk.book.rename_engine("Van engine", "Renamed engine")
    fresh = stranger.get(path, [("if-none-match", etag)])
    assert fresh.status == 200
    assert "Renamed engine" in fresh.text
    assert fresh.header("etag") != etag


def test_etags_are_compared_weakly():
    # Published: RFC 9110, 8.8.3.2 (table of weak comparison) and 13.1.2.
    assert etag_fits('W/"1"', 'W/"1"')
    assert etag_fits('"1"', 'W/"1"')
    assert etag_fits('"0", W/"1"', 'W/"1"')
    assert etag_fits("*", 'W/"1"')
    assert not etag_fits('W/"2"', 'W/"1"')
    assert not etag_fits("", 'W/"1"')


def test_reminders_and_language_are_chosen_for_each_feed(house):
    _, machine, stranger = house
    plain = new_feed(machine, name="kitchen", alarms="")
    content = stranger.get(plain, [("accept-language", "de")]).text
    assert "VALARM" not in content
    assert "PRODID:-//coldlash//due//EN" in content
    german = new_feed(machine, name="Werkstatt", language="de")
    assert "PRODID:-//coldlash//due//DE" in stranger.get(german).text


def test_a_name_that_is_missing_gives_the_form_back(house):
    _, machine, _ = house
    token = machine.form_token("/calendar")
    answer = machine.ask("POST", "/calendar", form={"name": " ", "language": "de", "form_token": token})
    assert answer.status == 422
    assert "the calendar has no name" in answer.text
    assert '<option value="de" lang="de" selected>' in answer.text
    assert 'name="alarms" value="yes">' in answer.text


def test_the_file_can_be_taken_once_by_who_is_paired(house):
    _, machine, _ = house
    answer = machine.get("/calendar/due.ics")
    assert answer.header("content-disposition") == 'attachment; filename="due.ics"'
    assert answer.body.startswith(b"BEGIN:VCALENDAR\r\n")
