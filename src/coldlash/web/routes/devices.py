"""Pairing a device, and the list of those that are paired."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

import segno
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.errors import InputError
from coldlash.language import day, mark, say
from coldlash.web.guard import at_machine_only, visitor
from coldlash.web.pairing import Code, PairingRefusedError
from coldlash.web.problems import Problem
from coldlash.web.settings import Settings
from coldlash.web.templating import Pages, form_values, render


def routes(pages: Pages) -> Iterable[BaseRoute]:
    """/pair and /devices."""
    pages.navigation.append((mark("Devices"), "/devices"))
    pages.environment.filters["moment"] = moment
    return [
        Route("/pair", pair_page, methods=["GET"]),
        Route("/pair", pair, methods=["POST"]),
        Route("/devices", list_devices, methods=["GET"]),
        Route("/devices/code", show_code, methods=["POST"]),
        Route("/devices/{device}/name", rename, methods=["POST"]),
        Route("/devices/{device}/cut-off", cut_off, methods=["POST"]),
    ]


def pairing_url(site_url: str, code: Code) -> str:
    """The address in the QR code. The code stands behind the #: browsers don't send that part, so it reaches no log,
    and a camera that opens the page in advance doesn't use it up."""
    return f"{site_url}/pair#{code.text}"


def qr_svg(text: str, label: str) -> Markup:
    """A QR code as inline SVG without styles, dark on a light ground in any theme, with ``label`` as its title."""
    picture = segno.make(text, error="m", micro=False).svg_inline(
        scale=6, border=4, dark="#000", light="#fff", svgclass="qr", lineclass="", title=label, omitsize=False
    )
    return Markup(picture)  # noqa: S704 - made by segno from our own address; the title is escaped there


def moment(seconds: float) -> Markup:
    """A time since 1970 as a <time> element in the machine's own time zone."""
    local = datetime.fromtimestamp(seconds, tz=UTC).astimezone()
    iso, text = local.isoformat(timespec="seconds"), f"{day(local)} {local:%H:%M}"
    return Markup('<time datetime="{}">{}</time>').format(iso, text)


async def pair_page(request: Request) -> Response:
    if visitor(request).at_machine:
        return RedirectResponse("/devices", status_code=303)
    return _pair_form(request)


async def pair(request: Request) -> Response:
    values = await form_values(request)
    who = visitor(request)
    address = request.client.host if request.client else ""
    try:
        paired = await run_in_threadpool(
            who.pairing.pair, values.get("code", ""), values.get("name", ""), address
        )
    except PairingRefusedError as refusal:
        locked = refusal.retry_after > 0
        headers = {"retry-after": str(refusal.retry_after)} if locked else {}
        return _pair_form(request, str(refusal), values, 429 if locked else 403, headers)
    except InputError as error:
        return _pair_form(request, str(error), values, 422)
    # Pairing again from the same browser replaces its old place in the list.
    if who.device is not None:
        who.pairing.cut_off(who.device.id)
    who.becomes(paired.device, paired.token)
    return RedirectResponse("/", status_code=303)


async def list_devices(request: Request) -> Response:
    return _list(request)


async def show_code(request: Request) -> Response:
    at_machine_only(request)
    if not _settings(request).site.shared_url:
        raise Problem(
            409,
            say("The pages are served to this computer only, so no device could use a code."),
            say("Start again with: coldlash serve --share"),
            kind="not_shared",
        )
    code = await run_in_threadpool(visitor(request).pairing.new_code)
    return _list(request, code)


async def rename(request: Request) -> Response:
    values = await form_values(request)
    visitor(request).pairing.rename(request.path_params["device"], values.get("name", ""))
    return RedirectResponse("/devices", status_code=303)


async def cut_off(request: Request) -> Response:
    visitor(request).pairing.cut_off(request.path_params["device"])
    return RedirectResponse("/devices", status_code=303)


def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


def _pair_form(
    request: Request,
    refusal: str = "",
    values: dict[str, str] | None = None,
    status_code: int = 200,
    headers: dict[str, str] | None = None,
) -> Response:
    device = visitor(request).device
    context = {
        "refusal": refusal,
        "name": (values or {}).get("name", ""),
        "paired_as": device.name if device is not None else "",
        "secure": request.url.scheme == "https",
    }
    return render(request, "pair.html", context, status_code=status_code, headers=headers, keep=False)


def _list(request: Request, code: Code | None = None) -> Response:
    settings = _settings(request)
    who = visitor(request)
    url = pairing_url(settings.site.shared_url, code) if code is not None else ""
    context = {
        "devices": who.pairing.devices(),
        "own_id": who.device.id if who.device is not None else "",
        "code": code,
        "picture": qr_svg(url, say("QR code for {url}", url=url)) if url else "",
        "shared_url": settings.site.shared_url,
        "fingerprint": settings.authority.fingerprint if settings.authority is not None else "",
    }
    return render(request, "devices.html", context, keep=False)
