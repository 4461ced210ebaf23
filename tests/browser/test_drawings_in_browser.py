"""The drawings as a real browser shows them: independent of our own font tables and our own reading of SVG."""

from __future__ import annotations

import http.server
import shutil
import threading
from functools import partial
from importlib.resources import files

import pytest
from playwright.sync_api import sync_playwright
from tests.paper.gallery import gallery

POLICY = "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'"
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]
# Horizontal extent as the browser lays it out; vertical from the baseline, since its boxes include the line gap.
TEXTS = """() => [...document.querySelectorAll('svg')].map(svg => ({
  id: svg.querySelector('title').id,
  width: svg.viewBox.baseVal.width,
  texts: [...svg.querySelectorAll('text')].map(t => {
    const box = t.getBBox(), size = parseFloat(t.getAttribute('font-size')), y = parseFloat(t.getAttribute('y'));
    return {words: t.textContent, left: box.x, right: box.x + box.width, y, size};
  })}))"""
COLOURS = """() => ['.d-measured', '.d-text', '.d-body', '.d-band'].map(
  pen => getComputedStyle(document.querySelector(pen)).fill)"""


def page_of(drawings) -> bytes:
    body = "".join(drawing.svg(f"n{i}") for i, (_, drawing) in enumerate(drawings))
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Drawings</title>'
        '<meta name="viewport" content="width=device-width"><link rel="stylesheet" href="/coldlash.css">'
        f'<main class="sheet">{body}</main></html>'
    ).encode()


class Handler(http.server.BaseHTTPRequestHandler):
    def __init__(self, page: bytes, *args) -> None:
        self.page = page
        super().__init__(*args)

    def do_GET(self) -> None:
        static = files("coldlash.web").joinpath("static")
        kind, body = "text/html; charset=utf-8", self.page
        if self.path == "/coldlash.css":
            kind, body = "text/css; charset=utf-8", static.joinpath("coldlash.css").read_bytes()
        elif self.path.startswith("/fonts/"):
            kind, body = "font/woff2", static.joinpath("fonts", self.path.rsplit("/", 1)[1]).read_bytes()
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Security-Policy", POLICY)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args) -> None:
        pass


@pytest.fixture(scope="module")
def shown():
    """The gallery in a phone's browser under the strictest policy: (page by colour scheme, complaints)."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        pytest.fail("no Chromium on this machine; on Debian or Ubuntu: apt-get install chromium")
    page = page_of(gallery())
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Handler, page))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    complaints: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        pages = {}
        for scheme in ("light", "dark"):
            tab = browser.new_page(viewport={"width": 360, "height": 740}, color_scheme=scheme)
            tab.on("console", lambda message: complaints.append(message.text))
            tab.on("pageerror", lambda error: complaints.append(str(error)))
            tab.goto(f"http://127.0.0.1:{server.server_address[1]}/")
            tab.evaluate("() => document.fonts.ready.then(() => true)")
            pages[scheme] = tab
        yield pages, complaints
        browser.close()
    server.shutdown()
    server.server_close()


def test_nothing_in_a_drawing_offends_a_strict_content_security_policy(shown):
    _, complaints = shown
    # independent: Chromium's own enforcement of Content-Security-Policy (it blocks style attributes and <style>)
    assert [c for c in complaints if "favicon" not in c] == []


def test_no_text_touches_another_as_chromium_lays_it_out(shown):
    pages, _ = shown
    names = [name for name, _ in gallery()]
    faults = []
    for name, drawing in zip(names, pages["light"].evaluate(TEXTS), strict=True):
        boxes = drawing["texts"]
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                beside = min(a["right"], b["right"]) - max(a["left"], b["left"]) > 0.5
                level = min(a["y"], b["y"]) - max(a["y"] - 0.7 * a["size"], b["y"] - 0.7 * b["size"]) > 0
                if beside and level:
                    faults.append(f"{name}: {a['words']!r} on {b['words']!r}")
            if a["left"] < -1 or a["right"] > drawing["width"] + 1:
                faults.append(f"{name}: {a['words']!r} leaves the sheet")
    # independent software: Chromium's text layout with the shipped web fonts
    assert faults == []


def test_the_page_is_no_wider_than_the_phone(shown):
    pages, _ = shown
    assert pages["light"].evaluate("() => document.documentElement.scrollWidth") <= 360


def test_the_night_gives_every_pen_its_own_colours(shown):
    pages, _ = shown
    day, night = pages["light"].evaluate(COLOURS), pages["dark"].evaluate(COLOURS)
    assert day == ["rgb(22, 25, 29)", "rgb(22, 25, 29)", "rgb(255, 255, 255)", "rgb(86, 180, 233)"]
    assert night == ["rgb(239, 236, 229)", "rgb(239, 236, 229)", "rgb(20, 23, 27)", "rgb(86, 180, 233)"]
