"""Pairing a phone through the pages, and the list of devices."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import zxingcpp

from coldlash.web.application import create_app
from coldlash.web.pairing import Pairing
from coldlash.web.routes.devices import moment, pairing_url, qr_svg
from coldlash.web.settings import Settings, Site


def pair(client: Any, code: str, name: str = "Workshop phone"):
    return client.ask(
        "POST", "/pair", form={"code": code, "name": name, "form_token": client.form_token("/pair")}
    )


def read_svg(svg: str) -> list[str]:
    """What an independent reader (zxing-cpp) sees in the SVG's dark runs, drawn dark on light."""
    scale = float(re.findall(r"scale\(([\d.]+)\)", svg)[0])
    width = round(int(re.findall(r'width="(\d+)"', svg)[0]) / scale)
    picture = np.full((width, width), 255, np.uint8)
    dark = re.findall(r'stroke="#000"[^>]*d="([^"]+)"|d="([^"]+)"[^>]*stroke="#000"', svg)
    x, y = 0.0, 0.0
    for move, first, second in re.findall(r"([Mmh])(-?[\d.]+)(?:[ ,]?(-?[\d.]+))?", "".join(dark[0])):
        if move == "M":
            x, y = float(first), float(second)
        elif move == "m":
            x, y = x + float(first), y + float(second)
        else:
            picture[int(y), int(x) : int(x + float(first))] = 0
            x += float(first)
    large = np.kron(picture, np.ones((8, 8), np.uint8))
    return [found.text for found in zxingcpp.read_barcodes(large)]


def test_a_phone_is_paired_with_the_code_and_gets_in(stranger, pairing: Pairing):
    assert stranger.get("/").status == 401
    answer = pair(stranger, pairing.new_code().text)
    assert (answer.status, answer.header("location")) == (303, "/")
    assert stranger.get("/").status == 200
    assert pairing.devices()[0].name == "Workshop phone"


def test_a_wrong_code_is_refused_and_the_name_stays_in_the_form(stranger):
    answer = pair(stranger, "00000-00000", 'My "phone"')
    assert answer.status == 403
    assert "Not paired: this code is not open" in answer.text
    assert 'value="My &#34;phone&#34;"' in answer.text
    assert stranger.get("/").status == 401


def test_guessing_is_answered_with_a_wait(stranger, pairing: Pairing):
    for _ in range(5):
        assert pair(stranger, "00000-00000").status == 403
    answer = pair(stranger, pairing.new_code().text)
    assert (answer.status, answer.header("retry-after")) == (429, "900")
    assert pairing.devices() == []


def test_the_right_code_without_a_name_asks_for_the_name(stranger, pairing: Pairing):
    code = pairing.new_code().text
    answer = pair(stranger, code, " ")
    assert answer.status == 422
    assert "the device has no name" in answer.text
    assert pair(stranger, code).status == 303


def test_looking_at_the_address_of_the_code_does_not_use_it_up(stranger, pairing: Pairing):
    code = pairing.new_code()
    for _ in range(3):
        assert stranger.get("/pair").status == 200
    assert pair(stranger, code.text).status == 303


def test_the_code_stands_where_browsers_do_not_send_it(pairing: Pairing):
    # published: RFC 9110, 4.2.5 (fragments are not part of the request target), RFC 3986, 3.5
    code = pairing.new_code()
    assert pairing_url("https://192.168.7.20:8766", code) == f"https://192.168.7.20:8766/pair#{code.text}"


def test_pairing_again_from_the_same_browser_leaves_one_entry(phone, pairing: Pairing):
    old = phone.cookies["__Host-coldlash"]
    assert "already paired, as “Workshop phone”" in phone.get("/pair").text
    pair(phone, pairing.new_code().text, "New name")
    assert [device.name for device in pairing.devices()] == ["New name"]
    assert pairing.device_for(old) is None


def test_the_machine_itself_is_led_to_the_list(machine):
    answer = machine.get("/pair")
    assert (answer.status, answer.header("location")) == (303, "/devices")


def test_the_machine_shows_a_code_that_a_camera_reads_and_a_phone_can_use(
    machine, stranger, pairing: Pairing
):
    answer = machine.ask("POST", "/devices/code", form={"form_token": machine.form_token("/devices")})
    assert answer.status == 200
    assert answer.header("cache-control") == "no-store"
    svg = re.findall(r"<svg.*?</svg>", answer.text, re.DOTALL)[0]
    # independent software: zxing-cpp
    (url,) = read_svg(svg)
    address, _, code = url.partition("#")
    assert address == "https://192.168.7.20:8766/pair"
    assert code in answer.text
    assert "style" not in svg
    assert pair(stranger, code).status == 303


def test_the_fingerprint_stands_beside_the_code(machine, settings: Settings):
    answer = machine.ask("POST", "/devices/code", form={"form_token": machine.form_token("/devices")})
    assert settings.authority is not None
    assert settings.authority.fingerprint in answer.text


def test_looking_at_the_list_makes_no_code(machine, pairing: Pairing):
    machine.get("/devices")
    assert pairing._db.execute("SELECT count(*) FROM codes").fetchone() == (0,)


def test_without_sharing_there_is_no_code_and_the_page_says_how_to_share(settings: Settings, machine):
    machine.app = create_app(replace(settings, site=Site()))
    assert "start with <code>coldlash serve --share</code>" in machine.get("/devices").text
    machine.app = create_app(settings)
    token = machine.form_token("/devices")
    machine.app = create_app(replace(settings, site=Site()))
    answer = machine.ask(
        "POST", "/devices/code", [("Accept", "application/json")], form={"form_token": token}
    )
    assert (answer.status, answer.json["error"]["kind"]) == (409, "not_shared")
    assert "served to this computer only" in answer.json["error"]["message"]


def test_devices_are_listed_renamed_and_cut_off(machine, phone, pairing: Pairing):
    (device,) = pairing.devices()
    page = machine.get("/devices").text
    assert "Workshop phone" in page
    assert "last seen <time datetime=" in page
    assert "Workshop phone (this one)" in phone.get("/devices").text
    token = {"form_token": machine.form_token("/devices")}
    answer = machine.ask("POST", f"/devices/{device.id}/name", form={**token, "name": "Bench tablet"})
    assert answer.status == 303
    assert "Bench tablet" in machine.get("/devices").text
    assert machine.ask("POST", f"/devices/{device.id}/cut-off", form=token).status == 303
    assert "No device is paired yet." in machine.get("/devices").text
    assert phone.get("/").status == 401
    gone = machine.ask("POST", f"/devices/{device.id}/cut-off", form=token)
    assert (gone.status, "may have been cut off already" in gone.text) == (422, True)


def test_over_plain_http_the_page_says_what_that_means(stranger):
    assert "Anyone on this network can read" not in stranger.get("/pair").text
    stranger.scheme = "http"
    assert "Anyone on this network can read" in stranger.get("/pair").text


def test_a_label_in_a_qr_code_is_escaped():
    assert "<b>" not in qr_svg("x", "a <b> label")


def test_a_time_is_marked_up_for_programs():
    assert re.fullmatch(
        r'<time datetime="2025-06-1\dT[\d:]+[+-]\d\d:\d\d">2025-06-1\d \d\d:\d\d</time>', moment(1.75e9)
    )
