"""coldlash feeds: the addresses under which calendar programs fetch what is due."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from coldlash.cli.arguments import command, group
from coldlash.cli.output import out, put_json
from coldlash.cli.serve_commands import state_folder
from coldlash.language import NAMES, current, day, say

if TYPE_CHECKING:
    from coldlash.web.feeds import Feeds


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    feeds = group(commands, "feeds", say("calendars that fetch what is due: list, make, revoke"))

    listed = command(feeds, "list", say("the calendars there are, and when each was last fetched"), _list)
    new = command(feeds, "new", say("make an address for one calendar; it is shown this once"), _new)
    new.add_argument("name", metavar="NAME", help=say("who or what has it, like Oona's phone"))
    new.add_argument(
        "--site",
        required=True,
        metavar="URL",
        help=say("of the pages as that device reaches them, like https://shed.local:8766"),
    )
    new.add_argument(
        "--in",
        dest="tag",
        choices=tuple(NAMES),
        default=None,
        help=say("language of its entries; default: the one spoken here"),
    )
    new.add_argument("--no-alarms", action="store_true", help=say("without reminders"))
    revoke = command(feeds, "revoke", say("end an address for good"), _revoke)
    revoke.add_argument("name", metavar="NAME", help=say("its name, or the id that list shows"))
    for parser in (listed, new, revoke):
        parser.add_argument(
            "--state",
            metavar="FOLDER",
            default=None,
            help=say("where certificate and paired devices are kept"),
        )


def _feeds(arguments: argparse.Namespace) -> Feeds:
    from coldlash.web.feeds import Feeds

    return Feeds(Path(arguments.state) if arguments.state else state_folder())


def _moment(seconds: float) -> str:
    local = datetime.fromtimestamp(seconds, tz=UTC).astimezone()
    return f"{day(local)} {local:%H:%M}"


def _list(arguments: argparse.Namespace) -> None:
    feeds = _feeds(arguments).feeds()
    if arguments.json:
        put_json(
            {
                "feeds": [
                    {
                        "id": feed.id,
                        "name": feed.name,
                        "language": feed.language,
                        "alarm_days": list(feed.alarm_days),
                        "made_at": _utc(feed.made_at),
                        "fetched_at": None if feed.fetched_at is None else _utc(feed.fetched_at),
                    }
                    for feed in feeds
                ]
            }
        )
        return
    for feed in feeds:
        if feed.fetched_at is None:
            out(say("{id}  {name}: not fetched yet", id=feed.id, name=feed.name))
        else:
            when = _moment(feed.fetched_at)
            out(say("{id}  {name}: last fetched {when}", id=feed.id, name=feed.name, when=when))
    if not feeds:
        out(say("No calendar fetches from here yet."))


def _utc(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, tz=UTC).isoformat(timespec="seconds")


def _new(arguments: argparse.Namespace) -> None:
    from coldlash.desk.printing import engine_address

    engine_address(arguments.site, "")
    tag = arguments.tag or (current() if current() in NAMES else "en")
    made = _feeds(arguments).new(arguments.name, tag=tag, alarm_days=() if arguments.no_alarms else (14, 1))
    address = made.address(arguments.site)
    if arguments.json:
        put_json({"id": made.feed.id, "name": made.feed.name, "address": address})
        return
    out(address)
    out(say("It is shown this once. It is a key: who has it can read what is due, without being paired."))


def _revoke(arguments: argparse.Namespace) -> None:
    feed = _feeds(arguments).revoke(arguments.name)
    if arguments.json:
        put_json({"id": feed.id, "name": feed.name, "revoked": True})
        return
    out(say("{name} can't fetch what is due any more.", name=feed.name))
