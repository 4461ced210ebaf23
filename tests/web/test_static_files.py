"""Files are found in a table, never by a path; kept by version; sent compressed."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import pytest
from starlette.requests import Request
from starlette.responses import Response

from coldlash.errors import InputError
from coldlash.web.settings import WEB_FOLDER, Settings
from coldlash.web.static_files import StaticTree, _takes_gzip

TRAVERSALS = [
    "../settings.py",
    "js/../../settings.py",
    "..%2fsettings.py",
    "%2e%2e/settings.py",
    "js/%2e%2e/%2e%2e/settings.py",
    "..\\settings.py",
    "/etc/passwd",
    "//etc/passwd",
    "js//outbox.js",
    "./js/outbox.js",
    "js/outbox.js/",
    "js/outbox.js\x00.png",
    "js",
    "",
    ".hidden.js",
]


@pytest.fixture
def tree(tmp_path: Path) -> StaticTree:
    (tmp_path / "secret.txt").write_text("secret")
    root = tmp_path / "static"
    (root / "js").mkdir(parents=True)
    (root / "js" / "outbox.js").write_text("const much = 1;\n" * 100)
    (root / "small.css").write_text("p{}")
    (root / "icon.png").write_bytes(b"\x89PNG" + b"a" * 500)
    (root / ".hidden.js").write_text("hidden")
    (root / "notes.md").write_text("not for the world")
    (root / "script.py").write_text("nor this")
    (root / "out.txt").symlink_to(tmp_path / "secret.txt")
    return StaticTree(root)


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_path_leads_out_of_the_folder_or_to_a_file_that_is_not_for_the_world(machine, name):
    version = machine.app.state.pages.static.version
    assert machine.get(f"/static/{version}/{name}").status == 404
    assert b"from coldlash" not in machine.get(f"/static/{name}").body


def test_if_names_were_turned_into_paths_these_attacks_would_succeed(
    machine, monkeypatch, settings: Settings
):
    def careless(self: StaticTree, request: Request) -> Response:
        return Response((settings.static_dir / request.path_params["name"]).read_bytes())

    (settings.static_dir.parent / "settings.py").write_text("from coldlash import secrets")
    monkeypatch.setattr(StaticTree, "answer", careless)
    for name in ("../settings.py", "js/../../settings.py"):
        assert machine.get(f"/static/x/{name}").body == b"from coldlash import secrets"


def test_the_table_holds_only_files_with_a_known_kind_inside_the_folder(tree: StaticTree):
    assert sorted(tree.files) == ["icon.png", "js/outbox.js", "small.css"]


def test_a_link_out_of_the_folder_is_not_followed_and_one_inside_is(tmp_path: Path, tree: StaticTree):
    assert "out.txt" not in tree.files
    (tmp_path / "static" / "same.css").symlink_to(tmp_path / "static" / "small.css")
    assert "same.css" in StaticTree(tmp_path / "static").files


def test_a_file_with_its_version_is_kept_for_good_and_asked_for_by_its_mark(machine):
    static = machine.app.state.pages.static
    first = machine.get(static.url("js/outbox.js"))
    assert first.header("cache-control") == "public, max-age=31536000, immutable"
    assert first.header("content-type") == "text/javascript; charset=utf-8"
    etag = first.header("etag")
    for known in (etag, f"W/{etag}", f'"other", {etag}'):
        again = machine.get(static.url("js/outbox.js"), [("If-None-Match", known)])
        assert (again.status, again.body) == (304, b"")
    assert machine.get(static.url("js/outbox.js"), [("If-None-Match", '"other"')]).status == 200


def test_another_version_still_gets_the_file_but_must_ask_each_time(machine):
    answer = machine.get("/static/aaaaaaaaaaaa/js/outbox.js")
    assert (answer.status, answer.header("cache-control")) == (200, "no-cache")


def test_files_travel_compressed_to_those_who_can_read_that(machine):
    static = machine.app.state.pages.static
    plain = machine.get(static.url("js/outbox.js"))
    packed = machine.get(static.url("js/outbox.js"), [("Accept-Encoding", "br, gzip;q=0.8")])
    assert packed.header("content-encoding") == "gzip"
    assert gzip.decompress(packed.body) == plain.body
    assert len(packed.body) < len(plain.body) / 2
    assert "accept-encoding" in packed.header("vary").lower()
    for others in ("br", "identity", "br;q=1.0, zstd"):
        assert machine.get(static.url("js/outbox.js"), [("Accept-Encoding", others)]).body == plain.body


@pytest.mark.parametrize(
    ("accepted", "takes"),
    [
        ("gzip", True),
        ("*", True),
        ("GZIP;q=0.5", True),
        ("gzip;q=0", False),
        ("gzip; q=0.0, br", False),
        ("", False),
    ],
)
def test_what_a_browser_says_of_compression_is_read_with_its_weights(accepted, takes):
    # published: RFC 9110, 12.5.3: a weight of 0 means "not acceptable"
    assert _takes_gzip(accepted) is takes


def test_what_does_not_shrink_is_sent_as_it_is(tree: StaticTree):
    assert tree.files["small.css"].gzipped is None
    assert tree.files["icon.png"].gzipped is None


def test_the_version_changes_with_any_file_and_with_the_templates(tmp_path: Path, tree: StaticTree):
    root = tmp_path / "static"
    assert StaticTree(root).version == tree.version
    assert StaticTree(root, b"templates").version != tree.version
    (root / "small.css").write_text("p{ }")
    changed = StaticTree(root).version
    assert changed != tree.version
    (root / "small.css").rename(root / "other.css")
    assert StaticTree(root).version not in (tree.version, changed)


def test_an_unknown_name_in_a_template_is_told(tree: StaticTree):
    with pytest.raises(InputError, match=r"no file 'smal.css' under /static; files there: .*small.css"):
        tree.url("smal.css")


def test_a_missing_folder_is_told(tmp_path: Path):
    with pytest.raises(
        InputError, match=r"the folder of the pages' own files is missing.*install coldlash again"
    ):
        StaticTree(tmp_path / "nowhere")


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path, tree: StaticTree, monkeypatch):
    def unreadable(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", unreadable)
    with pytest.raises(InputError, match=r"own file .*icon.png can't be read \(Permission denied\)"):
        StaticTree(tmp_path / "static")


def test_every_file_the_templates_and_modules_name_is_there():
    import re

    tree = StaticTree(WEB_FOLDER / "static")
    templates = "".join(path.read_text() for path in (WEB_FOLDER / "templates").rglob("*.html"))
    named = re.findall(r"static_url\('([^']+)'\)", templates)
    assert len(named) >= 4
    for name, file in tree.files.items():
        if name.endswith(".js"):
            folder = os.path.dirname(name)
            imports = re.findall(r"from \"(\.[^\"]+)\"", file.content.decode())
            named += [os.path.normpath(os.path.join(folder, target)) for target in imports]
    assert sorted(set(named) - set(tree.files)) == []


def test_no_template_holds_a_script_a_style_or_a_foreign_address():
    # Such a page would be broken by the content security policy, or would tell another host about the owner.
    import re

    for path in (WEB_FOLDER / "templates").rglob("*.html"):
        text = path.read_text()
        assert not re.search(r"<script(?![^>]*(\ssrc=|type=\"application/json\"))", text), path.name
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), path.name
        assert not re.search(r"https?://(?!localhost)", text), path.name
