"""coldlash feeds from the terminal."""

from __future__ import annotations

import argparse
import json

import pytest

from coldlash.cli import feed_commands
from coldlash.errors import InputError
from coldlash.web.feeds import Feeds

SITE = "https://shed.local:8766"


@pytest.fixture
def run(capsys, tmp_path):
    parser = argparse.ArgumentParser()
    feed_commands.add(parser.add_subparsers())

    def go(*arguments):
        given = parser.parse_args(["feeds", *arguments, "--state", str(tmp_path / "state")])
        given.handler(given)
        return capsys.readouterr().out

    return go


def test_an_address_is_made_listed_without_its_token_and_revoked(run, tmp_path):
    assert run("list") == "No calendar fetches from here yet.\n"
    address, told = run("new", "kitchen", "--site", SITE, "--in", "de", "--no-alarms").splitlines()
    token = address.removeprefix(f"{SITE}/calendar/").removesuffix(".ics")
    assert "It is shown this once. It is a key" in told
    feeds = Feeds(tmp_path / "state")
    (feed,) = feeds.feeds()
    assert (feed.language, feed.alarm_days) == ("de", ())
    assert run("list") == f"{feed.id}  kitchen: not fetched yet\n"
    assert feeds.fetched(token) is not None
    assert "kitchen: last fetched 2" in run("list")
    listed = json.loads(run("list", "--json"))["feeds"]
    assert [each["name"] for each in listed] == ["kitchen"]
    assert token not in json.dumps(listed)
    assert run("revoke", "kitchen") == "kitchen can't fetch what is due any more.\n"
    assert feeds.feeds() == []


def test_scripts_get_json(run):
    made = json.loads(run("new", "kitchen", "--site", SITE, "--json"))
    assert made["address"].startswith(f"{SITE}/calendar/")
    assert json.loads(run("revoke", made["id"], "--json")) == {
        "id": made["id"],
        "name": "kitchen",
        "revoked": True,
    }


def test_an_address_of_the_pages_is_needed(run):
    with pytest.raises(
        InputError, match=r"address: .shed. is not one; write it like https://shed\.local:8765"
    ):
        run("new", "kitchen", "--site", "shed")
