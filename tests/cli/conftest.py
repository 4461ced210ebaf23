"""The command line run in this process."""

import io
import json
from dataclasses import dataclass

import pytest

from coldlash.cli.main import main


@dataclass
class Result:
    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def cli(monkeypatch, capsys, tmp_path):
    """Run one command in an empty folder with its own book; ``typed`` is what is typed at the prompts."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLDLASH_BOOK", str(tmp_path / "book.coldlash"))
    monkeypatch.setenv("HOME", str(tmp_path))

    def run(*arguments, typed=""):
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            code = stop.code
        captured = capsys.readouterr()
        assert "Traceback" not in captured.out + captured.err
        return Result(code, captured.out, captured.err)

    return run
