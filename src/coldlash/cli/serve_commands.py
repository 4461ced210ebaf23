"""coldlash serve: the pages, for this computer or for the phone in the workshop."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from pathlib import Path

from coldlash.cli.arguments import book_option, not_negative
from coldlash.cli.output import note
from coldlash.language import say


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command. It has no --json: it goes on until it is stopped."""
    words = say(
        "serve the pages of the book to this computer, or with --share to phones on the local network"
    )
    serve = commands.add_parser(
        "serve", help=words, description=words[0].upper() + words[1:] + ".", allow_abbrev=False
    )
    serve.set_defaults(handler=_serve)
    serve.add_argument(
        "--share", action="store_true", help=say("also to the local network, over HTTPS, to paired devices")
    )
    serve.add_argument(
        "--plain-http",
        action="store_true",
        help=say(
            "with --share: no encryption; others on the network can read along, and nothing works offline"
        ),
    )
    serve.add_argument("--port", type=int, default=8765, help=say("port on this computer; default 8765"))
    serve.add_argument(
        "--share-port", type=int, default=None, help=say("port for the network; default the next one")
    )
    serve.add_argument(
        "--state", metavar="FOLDER", default=None, help=say("where certificate and paired devices are kept")
    )
    serve.add_argument(
        "--backup-every",
        type=not_negative(say("hours between backups")),
        default=24.0,
        metavar="HOURS",
        help=say("back the book up while it is served, unless nothing changed; 0 = never; default 24"),
    )
    serve.add_argument(
        "--backups", metavar="FOLDER", default=None, help=say("where to; default backups beside the book")
    )
    book_option(serve)


def _serve(arguments: argparse.Namespace) -> None:
    serve_book(
        arguments.book,
        port=arguments.port,
        share=arguments.share,
        plain_http=arguments.plain_http,
        state=arguments.state,
        share_port=arguments.share_port,
        backup_every_s=arguments.backup_every * 3600 or None,
        backups=arguments.backups,
    )


def serve_book(
    book: str | None,
    *,
    port: int,
    share: bool = False,
    plain_http: bool = False,
    state: str | None = None,
    share_port: int | None = None,
    idle_s: float | None = None,
    backup_every_s: float | None = None,
    backups: str | None = None,
) -> None:
    """Serve a book's pages until Ctrl+C, or with ``idle_s`` until nobody has asked for that many seconds.

    With ``backup_every_s`` the book is backed up that often meanwhile, into the folder ``backups``.
    """
    from coldlash.desk.desk import Desk
    from coldlash.logbook.backup import BackupSchedule
    from coldlash.web.book_app import book_app
    from coldlash.web.idle import stopping_when_idle
    from coldlash.web.serve import serve

    with contextlib.ExitStack() as open_now:
        desk = open_now.enter_context(Desk.open(book))
        if backup_every_s is not None:
            folder = None if backups is None else Path(backups)
            open_now.enter_context(BackupSchedule(desk.book, every_s=backup_every_s, folder=folder, say=note))
        serve(
            lambda settings: stopping_when_idle(book_app(settings, desk), idle_s),
            port=port,
            share=share,
            plain_http=plain_http,
            state_dir=Path(state) if state else state_folder(),
            share_port=share_port,
        )


def state_folder() -> Path:
    """Beside nothing of the book: private state of this computer. XDG base directories where there are any."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "coldlash" / "state"
    given = os.environ.get("XDG_STATE_HOME", "")
    return (Path(given) if Path(given).is_absolute() else Path.home() / ".local" / "state") / "coldlash"
