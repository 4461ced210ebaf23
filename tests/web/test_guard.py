"""Each attack is tried on the app as it is, and again with the one defence taken out: then it must succeed."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from starlette.applications import Starlette

from coldlash.web.guard import (
    BodyLimit,
    KnownHost,
    Neighbours,
    OwnPagesOnly,
    PairedOnly,
    SecurityHeaders,
    cookie_name,
    host_of,
)
from coldlash.web.pairing import Pairing
from coldlash.web.settings import LOOPBACK, SHARED

Without = Callable[[Starlette, type], Starlette]
FOREIGN_HOSTS = [
    "attacker.example",
    "attacker.example:8765",
    "localhost.attacker.example",
    "localhost@attacker.example",
    "192.168.7.20.attacker.example",
    "192.168.7.21:8766",
    "8.8.8.8",
    "[::2]:8765",
    "garage.local/x",
]


# --- the Host header: DNS rebinding (the attacker's name is made to point at this machine) ---


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
def test_a_foreign_host_name_is_sent_away_on_both_listeners(machine, phone, host):
    for client in (machine, phone):
        answer = client.ask("GET", "/api/secret", host=host)
        # published: RFC 9110, 15.5.20: 421 Misdirected Request
        assert answer.status == 421
        assert answer.json["error"]["kind"] == "wrong_host"
        assert "isn't one of this machine's own names" in answer.json["error"]["message"]


def test_a_request_without_or_with_two_host_headers_is_sent_away(machine):
    assert machine.ask("GET", "/api/secret", host=None).status == 421
    assert machine.ask("GET", "/api/secret", host=[""]).status == 421
    assert machine.ask("GET", "/api/secret", host=["localhost:8765", "attacker.example"]).status == 421


def test_without_the_host_check_a_rebound_name_reads_the_book(app, machine, without: Without):
    without(app, KnownHost)
    answer = machine.ask("GET", "/api/secret", host="attacker.example")
    assert (answer.status, answer.json) == (200, {"gap": "0.15"})


@pytest.mark.parametrize(
    "host", ["localhost:8765", "LOCALHOST", "127.0.0.1:8765", "[::1]:8765", "localhost.:8765"]
)
def test_the_machines_own_names_are_known_on_the_loopback_listener(machine, host):
    assert machine.ask("GET", "/api/secret", host=host).status == 200


@pytest.mark.parametrize("host", ["192.168.7.20:8766", "garage.local:8766", "Garage.Local", "localhost"])
def test_the_shared_names_are_known_on_the_shared_listener(phone, host):
    assert phone.ask("GET", "/api/secret", host=host).status == 200


def test_the_shared_names_are_foreign_on_the_loopback_listener(machine):
    assert machine.ask("GET", "/api/secret", host="garage.local").status == 421


@pytest.mark.parametrize(
    ("header", "host"),
    [
        ("localhost", "localhost"),
        ("Localhost:80", "localhost"),
        ("[::1]:443", "::1"),
        ("a b", None),
        ("a:b", None),
        ("a:123456", None),
        ("::1", None),
    ],
)
def test_a_host_header_is_read_strictly(header, host):
    assert host_of(header) == host


# --- who may connect ---


@pytest.mark.parametrize("peer", ["8.8.8.8", "::ffff:8.8.8.8", "2600::1", None])
def test_a_peer_from_the_internet_is_refused_even_with_a_session(phone, peer):
    phone.peer = peer
    answer = phone.get("/api/secret")
    assert answer.status == 403
    assert "only on its own local network" in answer.json["error"]["message"]


def test_without_the_neighbour_check_the_internet_gets_in(app, phone, without: Without):
    without(app, Neighbours)
    phone.peer = "8.8.8.8"
    assert phone.get("/api/secret").status == 200


# --- pairing is asked for ---


@pytest.mark.parametrize("path", ["/", "/api/secret", "/devices", "/nothing", "/static", "/trustx", "/PAIR"])
def test_an_unpaired_device_sees_nothing_of_the_book(stranger, path):
    answer = stranger.get(path)
    assert answer.status == 401
    assert "isn't paired with the book" in answer.text.replace("&#39;", "'")


def test_without_the_pairing_check_anybody_reads_the_book(app, stranger, without: Without):
    without(app, PairedOnly)
    assert stranger.get("/api/secret").json == {"gap": "0.15"}


@pytest.mark.parametrize(
    "path", ["/pair", "/trust", "/health", "/offline", "/sw.js", "/manifest.webmanifest"]
)
def test_an_unpaired_device_gets_what_it_needs_to_be_paired(stranger, path):
    assert stranger.get(path).status == 200


def test_a_paired_device_and_the_machine_itself_get_in(phone, machine):
    assert phone.get("/api/secret").status == 200
    assert machine.get("/api/secret").status == 200


def test_a_device_that_was_cut_off_is_out_at_once(phone, pairing: Pairing):
    pairing.cut_off(pairing.devices()[0].id)
    assert phone.get("/api/secret").json["error"]["kind"] == "not_paired"


@pytest.mark.parametrize("header", ["Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP", "Via"])
def test_behind_a_proxy_or_tunnel_nobody_passes_for_the_machine_itself(machine, header):
    assert machine.get("/api/secret", [(header, "127.0.0.1")]).status == 401


def test_a_loopback_peer_on_the_shared_listener_needs_pairing(app, stranger):
    stranger.peer = "127.0.0.1"
    assert stranger.get("/api/secret").status == 401


def test_a_neighbour_on_the_loopback_listener_needs_pairing(machine):
    machine.peer = "192.168.7.31"
    assert machine.get("/api/secret").status == 401


def test_a_listener_that_is_not_marked_counts_as_shared(app, machine):
    machine.listener = "something else"
    assert machine.get("/api/secret").status == 401


# --- CSRF ---

FORM = {"gap": "0.15"}


def other_sites(client) -> list[list[tuple[str, str]]]:
    return [
        [("Origin", "https://attacker.example")],
        [("Origin", "null")],
        [("Origin", f"{client.scheme}://localhost:3000")],
        [("Origin", f"ftp://{client.host}")],
        [("Sec-Fetch-Site", "cross-site")],
        [("Sec-Fetch-Site", "same-site")],
        [("Sec-Fetch-Site", "none")],
        [("Sec-Fetch-Site", "cross-site"), ("Origin", f"{client.scheme}://{client.host}")],
        [("Sec-Fetch-Site", "same-origin"), ("Origin", "https://attacker.example")],
    ]


def test_another_site_changes_nothing_even_with_the_right_token_or_header(machine, phone):
    for client, page in ((machine, "/devices"), (phone, "/devices")):
        form = {**FORM, "form_token": client.form_token(page)}
        for headers in other_sites(client):
            answer = client.ask("POST", "/form", headers, form=form)
            assert (answer.status, "from another site" in answer.text) == (403, True)
            answer = client.ask("DELETE", "/api/change", [*headers, ("X-Coldlash", "1")], b"{}")
            assert (answer.status, answer.json["error"]["kind"]) == (403, "another_site")


def test_our_own_page_changes_things_with_its_token(machine, phone):
    for client, page in ((machine, "/devices"), (phone, "/devices")):
        form = {**FORM, "form_token": client.form_token(page)}
        headers = [("Origin", f"{client.scheme}://{client.host}"), ("Sec-Fetch-Site", "same-origin")]
        assert client.ask("POST", "/form", headers, form=form).status == 200
        # Browsers leave both headers out on some old systems: then the token alone decides.
        assert client.ask("POST", "/form", form=form).status == 200


def test_a_form_without_a_token_or_with_a_foreign_one_is_refused(machine, phone, pairing: Pairing):
    foreign = pairing.form_token("x" * 43)
    for token in (
        {},
        {"form_token": ""},
        {"form_token": "zz"},
        {"form_token": foreign},
        {"form_token": "00" * 64},
    ):
        answer = machine.ask("POST", "/form", [("Sec-Fetch-Site", "same-origin")], form={**FORM, **token})
        assert (answer.status, "out of date" in answer.text) == (403, True)
    mine = machine.form_token("/devices")
    assert phone.ask("POST", "/form", form={**FORM, "form_token": mine}).status == 403


@pytest.mark.parametrize(
    "kind", ["application/json", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
def test_a_change_without_the_request_header_is_refused_whatever_its_content_type(machine, kind):
    answer = machine.ask("POST", "/api/change", [("Content-Type", kind)], b'{"gap": "0.15"}')
    assert (answer.status, answer.json["error"]["kind"]) == (403, "form_out_of_date")


def test_a_multipart_form_with_its_token_arrives_whole(machine):
    token = machine.form_token("/devices")
    body = "".join(
        f'--cut\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in (("form_token", token), ("gap", "0.10"))
    )
    headers = [("Content-Type", "multipart/form-data; boundary=cut")]
    answer = machine.ask("POST", "/form", headers, [body[:90].encode(), body[90:].encode(), b"--cut--\r\n"])
    assert answer.json == {"readings": ["0.10"]}


def test_a_program_changes_things_with_the_request_header(machine):
    headers = [
        ("X-Coldlash", "1"),
        ("Content-Type", "application/json"),
        ("Idempotency-Key", "2f1f5c3e-6d1c-4c59-9b0e-0d6f3f7f1a11"),
    ]
    answer = machine.ask("POST", "/api/change", headers, b'{"gap": "0.15"}')
    assert answer.json == {"readings": ["0.15"], "entry": "2f1f5c3e-6d1c-4c59-9b0e-0d6f3f7f1a11"}


def test_nobody_elses_program_may_send_the_request_header(machine):
    # published: Fetch standard, CORS-preflight: without Access-Control-Allow-Headers the browser doesn't send it
    headers = [
        ("Origin", "https://attacker.example"),
        ("Access-Control-Request-Method", "POST"),
        ("Access-Control-Request-Headers", "x-coldlash"),
    ]
    answer = machine.ask("OPTIONS", "/api/change", headers)
    assert not [name for name, _ in answer.headers if name.startswith("access-control-")]


@pytest.mark.parametrize("dest", ["image", "script", "iframe", "frame", "object", "empty", "audio"])
def test_another_site_may_not_embed_or_read_anything(machine, dest):
    for site in ("cross-site", "same-site"):
        mode = "navigate" if "frame" in dest else "no-cors"
        headers = [("Sec-Fetch-Site", site), ("Sec-Fetch-Mode", mode), ("Sec-Fetch-Dest", dest)]
        assert machine.get("/api/secret", headers).status == 403


def test_another_site_may_link_to_a_page(machine):
    headers = [
        ("Sec-Fetch-Site", "cross-site"),
        ("Sec-Fetch-Mode", "navigate"),
        ("Sec-Fetch-Dest", "document"),
    ]
    assert machine.get("/", headers).status == 200


def test_without_the_csrf_defence_another_site_changes_the_book(app, machine, without: Without):
    without(app, OwnPagesOnly)
    answer = machine.ask("POST", "/form", [("Origin", "https://attacker.example")], form=FORM)
    assert answer.json == {"readings": ["0.15"]}


# --- cookies (RFC 6265bis: published) ---


def test_the_cookie_over_https_is_bound_to_host_and_hidden_from_scripts(stranger):
    cookie = stranger.get("/pair").header("set-cookie")
    name, *flags = re.split(r"; ?", cookie)
    assert name.startswith("__Host-coldlash=")
    assert {"HttpOnly", "Secure", "SameSite=Lax", "Path=/"} <= set(flags)
    assert not [flag for flag in flags if flag.startswith("Domain")]


def test_the_cookie_over_plain_http_lacks_only_what_plain_http_cannot_have(machine):
    name, *flags = re.split(r"; ?", machine.get("/devices").header("set-cookie"))
    assert name.startswith("coldlash=")
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(flags)
    assert "Secure" not in flags
    assert cookie_name("http") == "coldlash"


def test_pages_without_a_form_and_files_set_no_cookie(stranger):
    for path in ("/offline", "/health", "/sw.js"):
        assert stranger.get(path).header("set-cookie") == ""


def test_a_cookie_planted_before_pairing_is_not_the_session_after_it(stranger, pairing: Pairing):
    planted = "A" * 43
    stranger.cookies["__Host-coldlash"] = planted
    token = stranger.form_token("/pair")
    form = {"code": pairing.new_code().text, "name": "Phone", "form_token": token}
    answer = stranger.ask("POST", "/pair", form=form)
    assert (answer.status, answer.header("location")) == (303, "/")
    assert stranger.cookies["__Host-coldlash"] != planted
    assert pairing.device_for(planted) is None
    assert pairing.device_for(stranger.cookies["__Host-coldlash"]) is not None


def test_a_cookie_of_another_shape_is_ignored_and_replaced(stranger):
    stranger.cookies["__Host-coldlash"] = "short"
    assert stranger.get("/pair").header("set-cookie") != ""
    assert stranger.cookies["__Host-coldlash"] != "short"


def test_every_page_carries_a_different_token_so_that_compression_tells_nothing(machine):
    assert machine.form_token("/devices") != machine.form_token("/devices")


# --- sizes ---


def test_a_body_larger_than_the_limit_is_refused_by_its_announced_length(machine):
    # One byte has come so far: it isn't waited for the rest.
    headers = [("X-Coldlash", "1"), ("Content-Length", "1001")]
    answer = machine.ask("POST", "/api/swallow", headers, [b"x"])
    assert (answer.status, answer.json["error"]["kind"]) == (413, "too_large")
    assert "the most that is taken here" in answer.json["error"]["message"]


def test_a_body_larger_than_the_limit_is_refused_while_it_comes_in(machine):
    for path, headers in (("/api/swallow", [("X-Coldlash", "1")]), ("/form", [])):
        kind = ("Content-Type", "application/x-www-form-urlencoded")
        answer = machine.ask("POST", path, [*headers, kind], [b"gap=" + b"x" * 500, b"x" * 501, b""])
        assert answer.status == 413
        assert answer.header("content-security-policy")


def test_a_body_at_the_limit_is_taken_and_a_path_may_have_its_own_limit(machine):
    headers = [("X-Coldlash", "1")]
    assert machine.ask("POST", "/api/swallow", headers, b"x" * 1000).json == {"bytes": 1000}
    assert machine.ask("POST", "/photos/add", headers, [b"x" * 2500, b"x" * 2500]).json == {"bytes": 5000}
    assert machine.ask("POST", "/photos/add", headers, b"x" * 5001).status == 413


def test_without_the_limit_any_size_is_swallowed(app, machine, without: Without):
    without(app, BodyLimit)
    assert machine.ask("POST", "/api/swallow", [("X-Coldlash", "1")], b"x" * 100_000).json == {
        "bytes": 100_000
    }


def test_a_length_that_is_no_number_is_refused(machine):
    headers = [("X-Coldlash", "1"), ("Content-Length", "-1")]
    assert machine.ask("POST", "/api/swallow", headers, [b"x"]).status == 413


# --- headers ---


def directives(answer) -> dict[str, list[str]]:
    parts = (part.split() for part in answer.header("content-security-policy").split(";"))
    return {name: values for name, *values in parts}


def test_the_content_security_policy_allows_only_our_own_files_and_no_framing(machine):
    # published: Content Security Policy Level 3, W3C
    policy = directives(machine.get("/"))
    assert policy["default-src"] == ["'none'"]
    assert policy["frame-ancestors"] == ["'none'"]
    assert policy["base-uri"] == ["'none'"]
    assert policy["form-action"] == ["'self'"]
    for name in ("script-src", "style-src", "font-src", "connect-src", "manifest-src", "worker-src"):
        assert policy[name] == ["'self'"]
    assert policy["img-src"] == ["'self'", "blob:"]
    assert policy["require-trusted-types-for"] == ["'script'"]
    assert "unsafe" not in machine.get("/").header("content-security-policy")


def test_every_kind_of_answer_carries_the_headers(machine, stranger):
    answers = [
        machine.get("/"),
        machine.get("/api/secret"),
        machine.get("/nothing-here"),
        machine.get("/static/x/js/outbox.js"),
        machine.ask("GET", "/", host="attacker.example"),
        machine.ask("POST", "/api/swallow", [("X-Coldlash", "1")], b"x" * 1001),
        machine.ask("POST", "/form", form=FORM),
        machine.ask("GET", "/broken", raises=RuntimeError),
        stranger.get("/"),
        stranger.get("/trust/coldlash-authority.crt"),
    ]
    assert [answer.status for answer in answers] == [200, 200, 404, 200, 421, 413, 403, 500, 401, 200]
    for answer in answers:
        assert directives(answer)["frame-ancestors"] == ["'none'"]
        assert answer.header("x-frame-options") == "DENY"
        assert answer.header("x-content-type-options") == "nosniff"
        assert answer.header("referrer-policy") == "same-origin"
        assert answer.header("cross-origin-opener-policy") == "same-origin"
        assert answer.header("cross-origin-resource-policy") == "same-origin"
        assert "microphone=(self)" in answer.header("permissions-policy")
        assert answer.header("cache-control")


def test_without_the_headers_a_page_can_be_framed(app, machine, without: Without):
    without(app, SecurityHeaders)
    answer = machine.get("/")
    assert answer.header("content-security-policy") == answer.header("x-frame-options") == ""


def test_answers_that_no_route_gave_a_rule_are_not_kept(machine):
    assert machine.get("/api/secret").header("cache-control") == "no-store"
    assert machine.get("/devices").header("cache-control") == "no-store"
    assert machine.get("/").header("cache-control") == "private, no-cache"
    assert machine.get("/nothing").header("cache-control") == "no-store"


def test_a_fault_of_our_own_gives_nothing_away_and_is_raised_for_the_log(machine):
    for path in ("/broken", "/api/broken"):
        answer = machine.ask("GET", path, raises=RuntimeError)
        assert answer.status == 500
        assert "Something went wrong in coldlash itself" in answer.text
        assert "secret" not in answer.text


def test_a_web_socket_is_closed_by_the_first_defence_it_meets(app):
    import asyncio

    sent: list[dict[str, object]] = []

    async def receive() -> dict[str, object]:
        return {"type": "websocket.connect"}

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    for listener, headers in (
        (SHARED, [(b"host", b"attacker.example")]),
        (LOOPBACK, [(b"host", b"localhost")]),
    ):
        scope = {
            "type": "websocket",
            "scheme": "ws",
            "path": "/",
            "headers": [*headers, (b"origin", b"https://attacker.example")],
            "client": ("127.0.0.1", 1),
            "coldlash.listener": listener,
        }
        asyncio.run(app(scope, receive, send))
    assert [message["type"] for message in sent] == ["websocket.close", "websocket.close"]


def test_what_only_the_machine_itself_may_do_is_refused_to_a_phone(phone):
    answer = phone.ask("POST", "/devices/code", form={"form_token": phone.form_token("/devices")})
    assert answer.status == 403
    assert "can only be done at the computer" in answer.text
