"""Pages from templates: autoescaped, with what every page needs (form token, file addresses, language, theme)."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from coldlash import language as spoken
from coldlash.language import say
from coldlash.web.guard import FORM_FIELD, visitor
from coldlash.web.problems import Problem
from coldlash.web.settings import WEB_FOLDER, Settings
from coldlash.web.static_files import StaticTree

TEMPLATES = WEB_FOLDER / "templates"
THEMES = ("light", "dark")

# A page is shown again from the browser's own store only after asking; the service worker may keep it for offline use.
PAGE_CACHING = "private, no-cache"
UNKEPT_CACHING = "no-store"

LANGUAGE_COOKIE = "coldlash-language"
_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b|\b\d\d\.\d\d\.\d{4}\b")


class Pages:
    """The template environment of one app. Routes use ``render``; helpers are added to ``environment``."""

    def __init__(self, settings: Settings, static: StaticTree) -> None:
        self.settings = settings
        self.static = static
        self.navigation: list[tuple[str, str]] = []  # (label, path), in order
        self.environment = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        self.environment.filters["days"] = days
        self.environment.filters["day"] = one_day
        self.environment.filters["large"] = large
        self.environment.globals.update(static_url=static.url, form_field=FORM_FIELD, title=settings.title)
        self.environment.globals.update(
            say=spoken.say,
            say_in=spoken.say_in,
            plural=spoken.plural,
            table=spoken.table,
            number=spoken.number,
            day=spoken.day,
            say_html=say_html,
        )


def days(text: object) -> Markup:
    """Text with its days as <time>, so that no line breaks inside one; ISO days as the language writes them."""
    show = lambda found: f"<time>{spoken.day_of(found[0])}</time>"  # noqa: E731
    return Markup(_DAY.sub(show, str(escape(text))))  # noqa: S704 - escaped just before


def one_day(value: date | str) -> str:
    """A day, or its ISO text, as the language writes it; for where <time> can't stand."""
    return spoken.day(value) if isinstance(value, date) else spoken.day_of(value)


def large(text: str) -> str:
    """Text with a capital first letter; unlike ``capitalize`` the rest stays, as German nouns need."""
    return text[:1].upper() + text[1:]


def say_html(template: str, /, **values: Any) -> Markup:
    """``say`` for a sentence with HTML in it: the template is ours, the values are escaped."""
    escaped = {
        name: value if isinstance(value, int | float | date) else escape(value)
        for name, value in values.items()
    }
    return Markup(spoken.say(template, **escaped))  # noqa: S704 - the template is ours, the values are escaped


def templates_digest() -> bytes:
    """A digest of all templates, so that a changed one makes a new version of the offline shell."""
    digest = hashlib.sha256()
    for path in sorted(TEMPLATES.rglob("*.html")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()


def render(
    request: Request,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    status_code: int = 200,
    headers: Mapping[str, str] | None = None,
    keep: bool = True,
) -> HTMLResponse:
    """A page. ``keep`` False for pages that show a secret or must not be kept on the device for offline use.

    Every template gets: ``language``, ``theme`` ("light", "dark" or ""), ``here`` (path), ``navigation``,
    ``form_token()`` for a hidden field named ``form_field``, ``static_url(name)``, ``at_machine``, ``may_enter``.
    """
    pages: Pages = request.app.state.pages
    token: Callable[[], str] = lambda: visitor(request).form_token()  # noqa: E731 - typed for the template
    who = visitor(request) if "coldlash.visitor" in request.scope else None
    values: dict[str, Any] = {
        "language": language_of(request, pages.settings.languages),
        "theme": theme_of(request),
        "here": request.url.path,
        "navigation": pages.navigation,
        "form_token": token,
        "at_machine": who is not None and who.at_machine,
        "may_enter": who is not None and who.may_enter,
        **(context or {}),
    }
    body = pages.environment.get_template(template).render(values)
    caching = PAGE_CACHING if keep and status_code == 200 else UNKEPT_CACHING
    return HTMLResponse(body, status_code=status_code, headers={"cache-control": caching, **(headers or {})})


def page_choices(request: Request) -> tuple[object, ...]:
    """What of the visitor a page without a form depends on; two requests alike in it get the same page."""
    who = visitor(request)
    languages = request.app.state.pages.settings.languages
    return language_of(request, languages), theme_of(request), who.at_machine, who.may_enter


def language_of(request: Request, languages: tuple[str, ...]) -> str:
    """The language to use: the cookie ``coldlash-language``, then what the browser asks for, then the first."""
    asked = [request.cookies.get(LANGUAGE_COOKIE, ""), *wanted(request.headers.get("accept-language", ""))]
    return next(
        (have for have in map(spoken.known, asked) if have is not None and have in languages), languages[0]
    )


def wanted(header: str) -> list[str]:
    """The tags of an Accept-Language header, most wanted first; what is refused (q=0) or malformed is left out.

    RFC 9110, 12.4.2 and 12.5.4: a quality from 0 to 1, 1 when none is given.
    """
    ranked = []
    for item in header[:500].split(","):
        tag, *parameters = (part.strip() for part in item.split(";"))
        values = [part.partition("=")[2] for part in parameters if part[:2].lower() == "q="]
        try:
            quality = float(values[0]) if values else 1.0
        except ValueError:
            continue
        if tag and 0 < quality <= 1:
            ranked.append((quality, tag))
    return [tag for _, tag in sorted(ranked, key=lambda pair: -pair[0])]


def theme_of(request: Request) -> str:
    """The owner's choice on this device, from a cookie that theme.js sets; empty = as the system has it."""
    chosen = request.cookies.get("coldlash-theme", "")
    return chosen if chosen in THEMES else ""


async def form_values(request: Request) -> dict[str, str]:
    """The text fields of a form that passed the guard. Raises Problem if a file stands where text belongs."""
    async with request.form(max_fields=1000, max_files=50) as form:
        values = {}
        for name, value in form.multi_items():
            if not isinstance(value, str):
                raise Problem(422, say("The field {name} should be text, but a file was sent.", name=name))
            values[name] = value
        return values
