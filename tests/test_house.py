"""The house itself: the lock, the built wheel, the start of the program, the words it may not say."""

import re
import subprocess
import sys
import tomllib
import venv
from pathlib import Path

import pytest

import coldlash

ROOT = Path(__file__).resolve().parent.parent


def tracked_files():
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def test_no_other_host_than_the_public_index_stands_in_the_lock():
    hosts = set(re.findall(r"https?://([^/\"\s]+)", (ROOT / "uv.lock").read_text(encoding="utf-8")))
    assert hosts == {"pypi.org", "files.pythonhosted.org"}


def test_the_version_is_the_same_in_package_project_and_changelog():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    newest = re.search(r"^## ([0-9.]+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert project["version"] == coldlash.__version__ == newest[1]


def test_help_imports_nothing_heavy():
    # The start must stay quick; what makes it slow is importing these.
    code = (
        "import sys; from coldlash.cli.main import build_parser; build_parser().format_help();"
        "heavy = ('numpy', 'scipy', 'sqlalchemy', 'alembic', 'starlette', 'jinja2', 'cryptography');"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_command_answers_help_and_takes_json():
    sys.path.insert(0, str(ROOT))
    try:
        import docs_build
    finally:
        sys.path.pop(0)
    from coldlash.cli.main import build_parser

    leaves = [
        (path, parser)
        for path, parser in docs_build._walk("coldlash", build_parser())
        if parser.get_default("handler")
    ]
    assert len(leaves) > 15
    for path, parser in leaves:
        assert parser.description, path
        # serve goes on until it is stopped: there is no answer to give as one object.
        assert "--json" in parser.format_help() or path == "coldlash serve", path
        for action in parser._actions:
            assert action.help, f"{path}: {action.dest} has no words"


@pytest.mark.timeout(300)
def test_the_built_wheel_works_with_the_source_out_of_reach(tmp_path):
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT, check=True, capture_output=True,
    )  # fmt: skip
    (wheel,) = tmp_path.glob("coldlash-*.whl")
    home = tmp_path / "venv"
    venv.create(home, with_pip=False, system_site_packages=False)
    unpacked = tmp_path / "site"
    subprocess.run([sys.executable, "-m", "zipfile", "-e", str(wheel), str(unpacked)], check=True)
    names = {str(path.relative_to(unpacked)) for path in unpacked.rglob("*")}
    assert "coldlash/engine/generic/flat-four.toml" in names
    assert "coldlash/py.typed" in names
    assert any(name.startswith("coldlash/logbook/migrations/versions/") for name in names)
    assert {"coldlash/translations/de.mo", "coldlash/web/static/words/de.json"} <= names
    import numpy

    site = Path(numpy.__file__).resolve().parent.parent
    code = (
        f"import sys; sys.path[:0] = [{str(unpacked)!r}]; sys.path.append({str(site)!r});"
        "import coldlash, coldlash.cli.main as m;"
        f"assert coldlash.__file__.startswith({str(unpacked)!r});"
        "sys.exit(m.main(['--language', 'de', 'demo', '--book', 'b.coldlash', '--until', '2026-11-01']))"
    )
    done = subprocess.run(
        [str(home / "bin" / "python"), "-I", "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Das Buch der Vorführung ist ")
    assert (tmp_path / "b.coldlash").exists()


def test_every_module_stays_readable_in_one_sitting():
    long = {
        str(path.relative_to(ROOT)): count
        for path in (ROOT / "src").rglob("*.py")
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > 750
    }
    assert not long


def test_no_file_names_a_path_of_somebodys_machine():
    pattern = re.compile(r"/(?:home|root|Users|work|farm)/[a-z]")
    found = []
    for path in tracked_files():
        if (
            path.suffix in {".py", ".md", ".toml", ".js", ".css", ".html", ".txt", ""}
            and path.name != "uv.lock"
        ):
            text = path.read_text(encoding="utf-8", errors="ignore")
            found += [f"{path.relative_to(ROOT)}: {m[0]}" for m in pattern.finditer(text)]
    invented = ("tests/test_house.py", "tests/logbook/test_paths.py")
    assert not [line for line in found if not line.startswith(invented)]
