"""Runs the real program in a real process; one run is shared by all tests that look at it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from diag.cli import main

ROOT = Path(__file__).resolve().parents[2]


def environment(**changes: str) -> dict[str, str]:
    """A plain environment: no colour wishes, 80 columns, the package under test first."""
    kept = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "FORCE_COLOR", "TERM")}
    return {**kept, "PYTHONPATH": str(ROOT), "COLUMNS": "80", "TERM": "xterm", **changes}


def run_in(folder: Path, *arguments: str, typed: str = "", **changes: str) -> subprocess.CompletedProcess[str]:
    """Run `diag` with these arguments in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "diag", *arguments],
        cwd=folder,
        input=typed,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=environment(**changes),
    )


@cache
def run(*arguments: str, columns: int = 80) -> subprocess.CompletedProcess[str]:
    """Run `diag` once with these arguments in an empty folder, which must stay empty."""
    with tempfile.TemporaryDirectory() as folder:
        result = run_in(Path(folder), *arguments, COLUMNS=str(columns))
        assert not list(Path(folder).iterdir())
    return result


def run_here(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Run `diag` within this process, for tables of many requests: exit code, stdout, stderr."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def succeeded(*arguments: str, columns: int = 80) -> str:
    """What a run that must succeed prints."""
    result = run(*arguments, columns=columns)
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    return result.stdout


def json_of(*arguments: str) -> Any:
    """The JSON that a run prints."""
    return json.loads(succeeded(*arguments))
