"""The app of one book: the pages of the house with the pages of the book hung in."""

from __future__ import annotations

from starlette.applications import Starlette

from coldlash.desk.desk import Desk
from coldlash.web.application import create_app
from coldlash.web.routes import (
    archive,
    calendar,
    engines,
    evidence,
    forms,
    imports,
    paper,
    photos,
    physics,
    search,
    shed,
    visits,
    work,
)
from coldlash.web.settings import Settings


def book_app(settings: Settings, desk: Desk) -> Starlette:
    """The pages over an open book. The caller closes the book after serving."""
    app = create_app(
        settings,
        [
            shed.routes,
            archive.routes,
            search.routes,
            forms.routes,
            imports.routes,
            physics.routes,
            work.routes,
            evidence.routes,
            engines.routes,
            photos.routes,
            paper.routes,
            calendar.routes,
            lambda pages: visits.routes(pages, desk),
        ],
    )
    app.state.desk = desk
    return app
