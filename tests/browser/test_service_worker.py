"""The real app in real Chromium: kept pages, new versions, defences as the browser carries them out."""

from __future__ import annotations

import asyncio
import dataclasses
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jinja2 import ChoiceLoader, DictLoader
from playwright.sync_api import Page
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route
from tests.browser.conftest import NEIGHBOUR
from tests.browser.fake_book import FakeBook

from coldlash.web.application import create_app
from coldlash.web.network import Surroundings
from coldlash.web.problems import Problem
from coldlash.web.serve import Serving
from coldlash.web.settings import WEB_FOLDER, Settings
from coldlash.web.templating import Pages, form_values, render

OWN_PAGES = {
    "visit-open.html": "{% extends 'base.html' %}{% block body_attributes %} data-busy{% endblock %}"
    "{% block main %}<h1>Visit</h1>{% endblock %}",
    "form.html": """{% extends 'base.html' %}{% block main %}<form method="post" action="/change">
        <input type="hidden" name="{{ form_field }}" value="{{ form_token() }}">
        <input name="gap" value="0.15" aria-label="Gap"><button>Write</button></form>{% endblock %}""",
}


class House:
    """The pages, served by a thread; stopped and started again on the same port."""

    def __init__(self, folder: Path) -> None:
        self.state = folder / "state"
        self.static = Path(shutil.copytree(WEB_FOLDER / "static", folder / "static"))
        self.port = 0
        self.cut_off = False
        self.changes: list[dict[str, str]] = []
        self._serving: Serving | None = None
        self._thread: threading.Thread | None = None
        self.start()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        def factory(settings: Settings) -> Any:
            return create_app(dataclasses.replace(settings, static_dir=self.static), [self._routes])

        serving = Serving(factory, port=self.port, state_dir=self.state)
        self.port = serving.port
        self._thread = threading.Thread(target=lambda: asyncio.run(serving.run()))
        self._thread.start()
        self._serving = serving

    def stop(self) -> None:
        serving, self._serving = self._serving, None
        if serving is not None and self._thread is not None:
            serving.stop()
            self._thread.join(30)
            serving.close()

    def _routes(self, pages: Pages) -> list[BaseRoute]:
        pages.navigation.append(("Shed", "/"))
        loader = pages.environment.loader
        assert loader is not None
        pages.environment.loader = ChoiceLoader([DictLoader(OWN_PAGES), loader])

        async def shed(request: Request) -> Response:
            if self.cut_off:
                raise Problem(401, "This device isn't paired with the book, or was cut off.")
            return render(request, "offline.html")

        async def visit(request: Request) -> Response:
            return render(request, "visit-open.html")

        async def form(request: Request) -> Response:
            return render(request, "form.html")

        async def change(request: Request) -> Response:
            self.changes.append(await form_values(request))
            return JSONResponse({})

        return [
            Route("/", shed),
            Route("/engine/{number}", shed),
            Route("/open-visit", visit),
            Route("/form", form),
            Route("/change", change, methods=["POST"]),
        ]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    running = House(tmp_path)
    yield running
    running.stop()


def settle(page: Page, url: str) -> None:
    """Opens a page and waits until the service worker is there and has kept it."""
    page.goto(url)
    page.evaluate(
        """async () => {
          await navigator.serviceWorker.ready;
          const end = Date.now() + 20_000;
          while (!(await (await caches.open("pages")).match(location.href))) {
            if (Date.now() > end) throw new Error("the page was never kept");
            await new Promise((resolve) => setTimeout(resolve, 20));
          }
        }"""
    )


def kept(page: Page) -> list[str]:
    found: list[str] = page.evaluate(
        "caches.open('pages').then((c) => c.keys()).then((all) => all.map((r) => new URL(r.url).pathname))"
    )
    return sorted(found)


def has_new_version(page: Page) -> dict[str, bool]:
    """Asks for a new version and waits until it is installed."""
    found: dict[str, bool] = page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.getRegistration("/");
          const before = registration.active.scriptURL && registration.active;
          await registration.update();
          const fresh = registration.installing ?? registration.waiting ?? registration.active;
          const end = Date.now() + 20_000;
          while (!["installed", "activated"].includes(fresh.state)) {
            if (Date.now() > end) throw new Error(`still ${fresh.state}`);
            await new Promise((resolve) => setTimeout(resolve, 20));
          }
          return { other: fresh !== before };
        }"""
    )
    return found


def version_caches(page: Page) -> list[str]:
    found: list[str] = page.evaluate("caches.keys()")
    return [name for name in found if name.startswith("shell-")]


# --- kept pages ---


def test_a_page_seen_before_opens_without_the_book_and_says_how_old_it_is(page, house: House):
    settle(page, f"{house.url}/")
    assert page.locator(".age").count() == 0
    house.stop()
    page.reload()
    notice = page.locator("p.age[role=status]")
    assert "The book can’t be reached. This page is as it was on" in notice.inner_text()
    stamp = page.locator(".age time").get_attribute("datetime")
    assert page.evaluate("document.documentElement.dataset.keptAt") == stamp
    # Also its looks come from the device.
    assert page.evaluate("document.styleSheets.length && document.styleSheets[0].cssRules.length > 0")
    house.start()
    page.reload()
    assert page.locator(".age").count() == 0
    assert page.evaluate("document.documentElement.dataset.keptAt === undefined")


def test_a_page_never_seen_is_told_apart_from_an_empty_one(page, house: House):
    settle(page, f"{house.url}/")
    house.stop()
    page.goto(f"{house.url}/engine/7")
    assert page.inner_text("h1") == "The book can’t be reached"
    assert "isn’t kept on this device" in page.inner_text("main")


def test_pages_are_kept_in_advance_when_a_page_asks_for_it(page, house: House):
    settle(page, f"{house.url}/")
    script = (
        "async (urls) => (await import(document.querySelector('script[src*=register]').src)).keepPages(urls)"
    )
    assert page.evaluate(script, ["/engine/1", "/engine/2", "https://attacker.example/", "/devices"]) is True
    page.evaluate(
        """async () => {
          const end = Date.now() + 20_000;
          while ((await (await caches.open("pages")).keys()).length < 3) {
            if (Date.now() > end) throw new Error("never kept");
            await new Promise((resolve) => setTimeout(resolve, 20));
          }
        }"""
    )
    assert kept(page) == ["/", "/engine/1", "/engine/2"]
    house.stop()
    page.goto(f"{house.url}/engine/2")
    assert page.locator(".age").count() == 1


def test_pages_that_hold_a_secret_are_never_kept(page, house: House):
    settle(page, f"{house.url}/")
    page.goto(f"{house.url}/devices")
    assert page.inner_text("h1") == "Devices"
    page.goto(f"{house.url}/trust")
    page.goto(f"{house.url}/")
    assert kept(page) == ["/"]


def test_a_device_that_is_cut_off_forgets_the_pages_but_not_what_was_entered(page, house: House):
    settle(page, f"{house.url}/")
    page.goto(f"{house.url}/engine/1")
    page.evaluate(
        """async () => {
          const address = document.querySelector("script[src*=register]").src.replace("register.js", "outbox.js");
          const outbox = await (await import(address)).openOutbox();
          await outbox.add({ stream: "visit", url: "/change", body: { value: 1 } });
        }"""
    )
    house.cut_off = True
    page.goto(f"{house.url}/")
    assert "isn't paired" in page.inner_text("main")
    page.evaluate(
        """async () => {
          const end = Date.now() + 20_000;
          while (await caches.has("pages")) {
            if (Date.now() > end) throw new Error("pages are still there");
            await new Promise((resolve) => setTimeout(resolve, 20));
          }
        }"""
    )
    left = page.evaluate(
        """async () => {
          const address = document.querySelector("script[src*=register]").src.replace("register.js", "outbox.js");
          return (await (await import(address)).openOutbox()).entries();
        }"""
    )
    assert [entry["body"] for entry in left] == [{"value": 1}]


# --- new versions ---


def test_a_new_version_waits_while_a_visit_is_open_and_comes_in_afterwards_without_losing_the_draft(
    page, house: House
):
    settle(page, f"{house.url}/open-visit")
    old = version_caches(page)
    page.evaluate(
        """async () => {
          const address = document.querySelector("script[src*=register]").src.replace("register.js", "outbox.js");
          window.outbox = await (await import(address)).openOutbox();
          await outbox.add({ stream: "visit", url: "/nowhere", body: { value: "draft" } });
        }"""
    )
    house.stop()
    with (house.static / "coldlash.css").open("a") as css:
        css.write("\nmain { outline: 0 }\n")
    house.start()
    assert has_new_version(page) == {"other": True}
    # Asked as often as one likes, it stays outside while the visit is open.
    page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.getRegistration("/");
          registration.waiting.postMessage({ type: "take-over" });
          await new Promise((resolve) => setTimeout(resolve, 300));
        }"""
    )
    assert page.evaluate("navigator.serviceWorker.getRegistration('/').then((r) => r.waiting !== null)")
    assert set(old) < set(version_caches(page))
    page.evaluate(
        """async () => {
          delete document.body.dataset.busy;
          const register = await import(document.querySelector("script[src*=register]").src);
          const taken = new Promise((resolve) => navigator.serviceWorker.addEventListener("controllerchange", resolve));
          register.setBusy(false);
          await taken;
        }"""
    )
    assert page.evaluate("outbox.entries().then((all) => all[0].body.value)") == "draft"
    page.goto(f"{house.url}/")
    assert set(version_caches(page)).isdisjoint(old)
    assert page.evaluate("document.styleSheets[0].href").split("/")[-2] == version_caches(page)[0][6:]


def test_a_page_kept_by_an_older_version_still_finds_its_looks(page, house: House):
    settle(page, f"{house.url}/engine/1")
    page.goto(f"{house.url}/")
    house.stop()
    with (house.static / "coldlash.css").open("a") as css:
        css.write("\nmain { outline: 0 }\n")
    house.start()
    page.goto(f"{house.url}/")
    has_new_version(page)
    page.evaluate(
        """async () => {
          const end = Date.now() + 20_000;
          while ((await caches.keys()).filter((name) => name.startsWith("shell-")).length > 1) {
            if (Date.now() > end) throw new Error("the old version stays");
            await new Promise((resolve) => setTimeout(resolve, 20));
          }
        }"""
    )
    house.stop()
    page.goto(f"{house.url}/engine/1")
    assert page.locator(".age").count() == 1
    assert page.evaluate("document.styleSheets[0].cssRules.length > 0")


def test_over_plain_http_from_another_machine_there_is_no_worker_and_no_error(page, tmp_path: Path):
    def around() -> Surroundings:
        return Surroundings(("127.0.0.2",), (NEIGHBOUR,))

    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    serving = Serving(
        create_app, port=0, share=True, plain_http=True, state_dir=tmp_path, surroundings=around
    )
    thread = threading.Thread(target=lambda: asyncio.run(serving.run()))
    thread.start()
    try:
        page.goto(f"http://{NEIGHBOUR}:{serving.share_port}/pair#ABCDE-12345")
        page.wait_for_function("document.querySelector('#code').value !== ''")
        assert page.evaluate("isSecureContext") is False
        assert "without encryption" in page.inner_text("main")
        code = serving.pairing.new_code()
        page.fill("#code", code.text)
        page.fill("#name", "Old tablet")
        page.get_by_role("button", name="Pair this device").click()
        page.wait_for_url("**/devices")
        assert "Old tablet (this one)" in page.inner_text("main")
        (cookie,) = page.context.cookies()
        assert (cookie["name"], cookie["httpOnly"], cookie["secure"]) == ("coldlash", True, False)
    finally:
        serving.stop()
        thread.join(30)
        serving.close()
    assert errors == []


# --- the defences, as the browser carries them out ---


def test_the_code_behind_the_hash_is_put_into_the_form_and_taken_out_of_the_address(page, house: House):
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.route("**/pair", lambda route: route.fulfill(status=200, content_type="text/html", body="""
        <form data-pair><input name=code><input name=name></form>
        <script type=module src="/static/x/js/pair.js"></script>"""))  # fmt: skip
    page.goto(f"{house.url}/pair#K7Q2M-9XW4T")
    page.wait_for_function("document.forms[0].elements.code.value === 'K7Q2M-9XW4T'")
    assert page.evaluate("location.href") == f"{house.url}/pair"
    assert page.input_value("[name=name]") == "Computer"
    assert not [url for url in asked if "K7Q2M" in url and "#" not in url]


def test_no_script_from_the_page_itself_runs_and_no_markup_is_taken_from_strings(page, house: House):
    page.goto(f"{house.url}/devices")
    tried = page.evaluate(
        """() => {
          const said = [];
          const attempt = (work) => { try { work(); said.push("done"); } catch (error) { said.push(error.name); } };
          attempt(() => { document.body.innerHTML = "<p>x"; });
          attempt(() => { document.createElement("script").textContent = "window.ran = 1"; });
          attempt(() => { trustedTypes.createPolicy("other", {}); });
          attempt(() => { document.createElement("a").setAttribute("onclick", "window.ran = 2"); });
          return said;
        }"""
    )
    # published: Trusted Types, W3C: each of these takes a string as code or markup
    assert tried == ["TypeError"] * 4


def test_a_script_smuggled_into_a_page_does_not_run(page, house: House):
    smuggled = (
        "<script>window.ran = 1</script><img src=x onerror='window.ran = 2'>"
        "<a id=a href='javascript:ran=3'>x</a>"
    )

    def inject(route: Any) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, body=answer.text().replace("</main>", f"{smuggled}</main>"))

    page.route("**/engine/1", inject)
    page.goto(f"{house.url}/engine/1")
    page.evaluate("document.querySelector('#a').click()")
    assert page.locator("#a").count() == 1
    assert page.evaluate("window.ran ?? 'nothing ran'") == "nothing ran"


def test_pages_and_shell_need_nothing_the_policy_forbids_and_no_other_host(page, house: House):
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.add_init_script(
        "addEventListener('securitypolicyviolation', (e) => console.error('policy', e.violatedDirective))"
    )
    for path in ("/", "/devices", "/trust", "/offline", "/engine/1"):
        page.goto(f"{house.url}{path}")
    assert complaints == []
    assert {url.split("/")[2] for url in asked} == {f"localhost:{house.port}"}


def test_another_site_can_neither_frame_nor_fetch_nor_change_anything(
    page, house: House, fake_book: FakeBook
):
    page.goto(f"{house.url}/form")  # so that there is a cookie
    page.goto(fake_book.url)  # another port of the same machine: the nearest an attacker's page can get
    answers: list[int] = []
    aimed = (f"{house.url}/devices", f"{house.url}/change")
    page.on("response", lambda answer: answers.append(answer.status) if answer.url in aimed else None)
    said = page.evaluate(
        """async (url) => {
          const said = [];
          const frame = document.createElement("iframe");
          frame.src = `${url}/devices`;
          document.body.append(frame);
          await new Promise((resolve) => { frame.onload = resolve; });
          try { said.push(frame.contentDocument === null ? "closed" : "open"); } catch { said.push("closed"); }
          said.push(await fetch(`${url}/devices`, { credentials: "include" }).then(() => "read", () => "refused"));
          said.push(await fetch(`${url}/change`, { method: "POST", mode: "no-cors", credentials: "include",
            headers: { "content-type": "application/x-www-form-urlencoded" }, body: "gap=0.10" })
            .then((answer) => answer.type, () => "refused"));
          said.push(await fetch(`${url}/change`, { method: "POST", headers: { "x-coldlash": "1" }, body: "{}" })
            .then(() => "read", () => "refused"));
          return said;
        }""",
        house.url,
    )
    assert said[0] == "closed"
    assert said[1] == "refused"
    assert said[3] == "refused"
    form = """<form method=post action="{url}/change"><input name=gap value=0.10></form>"""
    page.set_content(form.format(url=house.url))
    with page.expect_navigation():
        page.evaluate("document.forms[0].submit()")
    assert "another site" in page.inner_text("main")
    assert house.changes == []
    assert answers
    assert set(answers) <= {403, 405}


def test_our_own_form_passes_as_the_browser_sends_it(page, house: House):
    # That Chromium sends Origin and Sec-Fetch-Site as the guard expects, with our referrer policy.
    page.goto(f"{house.url}/form")
    with page.expect_request(f"{house.url}/change") as sent:
        page.get_by_role("button", name="Write").click()
    page.wait_for_load_state()
    headers = sent.value.all_headers()
    assert (headers["origin"], headers["sec-fetch-site"]) == (house.url, "same-origin")
    assert [change["gap"] for change in house.changes] == ["0.15"]


def test_night_and_day_are_the_owners_choice_and_stay(page, house: House):
    page.goto(f"{house.url}/")
    page.get_by_role("button", name="Night").click()
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.goto(f"{house.url}/engine/1")
    assert page.get_by_role("button", name="Night").get_attribute("aria-pressed") == "true"
    assert 'data-theme="dark"' in page.evaluate("fetch('/').then((answer) => answer.text())")
    page.get_by_role("button", name="As the system").click()
    assert page.evaluate("document.documentElement.dataset.theme === undefined")
    assert "coldlash-theme" not in page.evaluate("document.cookie")


def test_scripts_cannot_see_the_session(page, house: House):
    page.goto(f"{house.url}/form")
    (cookie,) = page.context.cookies()
    assert (cookie["name"], cookie["httpOnly"], cookie["sameSite"]) == ("coldlash", True, "Lax")
    assert "coldlash" not in page.evaluate("document.cookie")
