"""What every page gets: language, theme, escaping, caching."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jinja2 import UndefinedError
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from coldlash.web.application import create_app
from coldlash.web.settings import Settings
from coldlash.web.templating import days, form_values, language_of, render, theme_of


def request(**headers: str) -> Request:
    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    return Request({"type": "http", "method": "GET", "path": "/", "headers": raw, "query_string": b""})


@pytest.mark.parametrize(
    ("headers", "language"),
    [
        ({}, "en"),
        ({"accept_language": "de-CH,de;q=0.9,en;q=0.8"}, "de"),
        ({"accept_language": "en;q=0.4, de;q=0.6"}, "de"),
        ({"accept_language": "fr, it;q=0.5"}, "en"),
        ({"accept_language": "de", "cookie": "coldlash-language=en"}, "en"),
        ({"accept_language": "de", "cookie": "coldlash-language=<script>"}, "de"),
        ({"accept_language": "de;q=loud, ;;;,"}, "en"),
    ],
)
def test_the_language_is_the_owners_choice_then_the_browsers(headers, language):
    # published: RFC 9110, 12.5.4: Accept-Language with quality values
    assert language_of(request(**headers), ("en", "de")) == language


def test_the_theme_is_what_the_owner_chose_on_this_device_or_nothing(machine):
    assert theme_of(request(cookie="coldlash-theme=dark")) == "dark"
    assert theme_of(request(cookie='coldlash-theme="><script>')) == ""
    assert 'data-theme="dark"' in machine.get("/", [("Cookie", "coldlash-theme=dark")]).text
    assert "data-theme=" not in machine.get("/").text.split("<body")[0]


def test_what_people_typed_is_shown_as_text(machine, pairing):
    pairing.pair(pairing.new_code().text, '<img src=x onerror="x">', "192.168.7.31")
    page = machine.get("/devices").text
    assert "<img" not in page
    assert "&lt;img" in page


def test_a_page_has_landmarks_a_language_and_a_way_past_the_navigation(machine):
    page = machine.get("/").text
    assert '<html lang="en"' in page
    assert page.index('class="skip" href="#main"') < page.index("<nav") < page.index('<main id="main"')
    assert '<a href="/" aria-current="page">Shed</a>' in page


def test_an_unpaired_device_gets_no_navigation(stranger):
    assert "<nav" not in stranger.get("/pair").text


def test_every_page_can_say_how_old_it_is_when_it_is_shown_from_the_device(machine, stranger):
    for page in (machine.get("/"), stranger.get("/offline")):
        assert page.text.count("<!--coldlash:age <p") == 1
        assert "{when}" in page.text


def test_a_name_missing_in_a_template_is_an_error_and_not_an_empty_place(settings: Settings):
    pages = create_app(settings).state.pages
    with pytest.raises(UndefinedError, match="nobody"):
        pages.environment.from_string("{{ nobody }}").render()


def test_a_file_in_the_place_of_text_is_refused(settings: Settings, machine):
    async def take(req: Request) -> Response:
        return render(req, "offline.html", await form_values(req))

    machine.app = create_app(replace(settings), [lambda pages: [Route("/take", take, methods=["POST"])]])
    token = machine.form_token("/devices")
    body = (
        f'--cut\r\nContent-Disposition: form-data; name="form_token"\r\n\r\n{token}\r\n'
        '--cut\r\nContent-Disposition: form-data; name="gap"; filename="x"\r\n\r\nbytes\r\n--cut--\r\n'
    )
    answer = machine.ask(
        "POST", "/take", [("Content-Type", "multipart/form-data; boundary=cut")], body.encode()
    )
    assert answer.status == 422
    assert "The field gap should be text, but a file was sent." in answer.text


def test_days_are_kept_whole_and_everything_else_stays_escaped():
    assert days("about 2026-05-31, <b>at</b> 80,000 km") == (
        "about <time>2026-05-31</time>, &lt;b&gt;at&lt;/b&gt; 80,000 km"
    )
