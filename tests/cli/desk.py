"""A folder with a book of its own, at which commands are given within the process of the tests."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import run_here

__all__ = ["CASE", "CLOSING", "Desk"]

CASE = "one_blown_seal"
CLOSING = ("--cured", "yes", "--found", "seal blown 2 seen", "--fitted", "reseal 2", "--time", "1.5 h", "--cost", "269")


class Desk:
    """A folder with a book of its own, at which commands are given."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.book, self.capsys = folder, folder / "book.sqlite3", capsys
        monkeypatch.setenv("DIAG_BOOK", str(self.book))
        monkeypatch.delenv("DIAG_BY", raising=False)
        monkeypatch.chdir(folder)

    def __call__(self, *arguments: str) -> str:
        """What a command prints that must succeed, run within this process."""
        code, out, err = run_here(self.capsys, *arguments)
        assert (code, err) == (0, "")
        return out

    def refused(self, *arguments: str) -> tuple[int, str]:
        """Exit code and message of a command that must be refused."""
        code, out, err = run_here(self.capsys, *arguments)
        assert code != 0
        assert out == ""
        assert "Traceback" not in err
        return code, err

    def json(self, form: str, *arguments: str) -> Any:
        """The JSON of a command, held to its documented form."""
        body = json.loads(self(*arguments, "--json"))
        jsonschema.validate(body, form_schema(form))
        return body
