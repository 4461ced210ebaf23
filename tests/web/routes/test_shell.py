"""What makes the pages a program: manifest, service worker, offline page, health."""

from __future__ import annotations

import json
import re
from pathlib import Path

from coldlash.web.application import create_app
from coldlash.web.settings import Settings


def test_the_service_worker_keeps_the_shell_of_this_version(machine):
    answer = machine.get("/sw.js")
    static = machine.app.state.pages.static
    assert answer.header("content-type").startswith("text/javascript")
    assert answer.header("cache-control") == "no-cache"
    assert json.loads(re.findall(r"const VERSION = (.*);", answer.text)[0]) == static.version
    shell = json.loads(re.findall(r"const SHELL = (.*);", answer.text)[0])
    assert {
        "/offline",
        "/manifest.webmanifest",
        static.url("js/outbox.js"),
        static.url("coldlash.css"),
    } <= set(shell)
    assert not [name for name in shell if name.endswith(".txt")]
    for path in shell:
        assert machine.get(path).status == 200


def test_a_changed_file_is_a_new_version_of_the_service_worker(machine, settings: Settings):
    before = machine.get("/sw.js").body
    (settings.static_dir / "coldlash.css").write_text("main { margin: 0 }")
    machine.app = create_app(settings)
    assert machine.get("/sw.js").body != before


def test_the_manifest_lets_the_pages_be_installed_with_the_icons_there_are(machine, settings: Settings):
    # published: Web Application Manifest, W3C: name, start_url, display, icons with sizes, type and purpose
    folder = settings.static_dir / "icons"
    folder.mkdir(exist_ok=True)
    for name in ("icon-192.png", "icon-512.png", "icon-maskable-512.png"):
        (folder / name).write_bytes(b"\x89PNG")
    (folder / "icon.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    machine.app = create_app(settings)
    answer = machine.get("/manifest.webmanifest")
    assert answer.header("content-type") == "application/manifest+json"
    manifest = answer.json
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/", "/", "standalone")
    icons = {(icon["sizes"], icon.get("purpose", "any")) for icon in manifest["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable"), ("any", "any")} <= icons
    for icon in manifest["icons"]:
        assert machine.get(icon["src"]).header("content-type") == icon["type"]
    assert machine.get("/favicon.ico").status == 302


def test_without_an_icon_the_browser_is_told_there_is_none(machine, settings: Settings, tmp_path: Path):
    import shutil

    shutil.rmtree(settings.static_dir / "icons", ignore_errors=True)
    machine.app = create_app(settings)
    answer = machine.get("/favicon.ico")
    assert (answer.status, "There is no icon here." in answer.text) == (404, True)


def test_a_missing_file_is_told(machine):
    answer = machine.get("/static/aaaaaaaaaaaa/nothing.js")
    assert (answer.status, "There is no such file here." in answer.text) == (404, True)


def test_health_tells_that_the_pages_are_there_and_nothing_else(stranger):
    answer = stranger.get("/health")
    assert (answer.json, answer.header("cache-control")) == ({"ok": True}, "no-store")


def test_the_offline_page_names_nothing_out_of_the_book_and_sets_no_cookie(stranger):
    answer = stranger.get("/offline")
    assert "can’t be reached" in answer.text
    assert answer.header("set-cookie") == ""


def test_until_a_router_has_the_first_page_it_leads_to_the_devices(settings: Settings, machine):
    machine.app = create_app(settings)
    assert machine.get("/").header("location") == "/devices"
