"""The certificate of the local authority, offered to phones with the steps to install it."""

from __future__ import annotations

from collections.abc import Iterable

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from coldlash.language import say
from coldlash.web.authority import Authority
from coldlash.web.problems import Problem
from coldlash.web.templating import Pages, render


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/trust and the two files."""
    return [
        Route("/trust", trust_page, methods=["GET"]),
        Route("/trust/coldlash-authority.crt", der, methods=["GET"]),
        Route("/trust/coldlash-authority.pem", pem, methods=["GET"]),
    ]


async def trust_page(request: Request) -> Response:
    authority = request.app.state.settings.authority
    context = {
        "fingerprint": authority.fingerprint if authority is not None else "",
        "shared_url": request.app.state.settings.site.shared_url,
    }
    return render(request, "trust.html", context, keep=False)


async def der(request: Request) -> Response:
    # No "attachment": iPhones offer to install this type only when it is opened, not when it is put into a file.
    return Response(_authority(request).der, media_type="application/x-x509-ca-cert")


async def pem(request: Request) -> Response:
    headers = {"content-disposition": 'attachment; filename="coldlash-authority.pem"'}
    return Response(_authority(request).pem, media_type="application/x-pem-file", headers=headers)


def _authority(request: Request) -> Authority:
    authority: Authority | None = request.app.state.settings.authority
    if authority is None:
        raise Problem(
            404,
            say("There is no certificate to trust: the pages aren't shared over HTTPS."),
            say("Start again with: coldlash serve --share"),
        )
    return authority
