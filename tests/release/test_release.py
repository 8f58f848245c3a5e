"""What is handed out: the wheel works anywhere, lock and bill are whole, every command is documented."""

from __future__ import annotations

import os
import re
import subprocess
import tarfile
import tomllib
import venv
import zipfile
from datetime import date
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import diag
from tests.cli.process import ROOT
from tests.release.bill import BILL, LOCK, bill_of, read_lock
from tests.release.commands import DOCUMENT, EXAMPLES, commands, examples_in, help_of, page, printed_by
from tests.support.cases import many_symptoms
from tests.support.effort import LONG

RELEASE = ROOT / ".release"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
QUICK = ("diag cases", "diag engine list")


def test_every_command_is_documented_with_the_help_that_it_prints_now() -> None:
    """Made anew by: python -m tests.release.commands --help-only"""
    text = DOCUMENT.read_text(encoding="utf-8")
    for words, command, context in commands():
        assert f"## diag {words}\n\n```text\n{help_of(command, context)}\n```" in text, f"diag {words} is out of date"
    assert set(re.findall(r"^## diag (.+)$", text, re.MULTILINE)) == {words for words, _, _ in commands()}


def test_the_examples_stand_below_their_commands() -> None:
    """Every command that needs no file of its own is shown at work, and nothing else stands on the page."""
    text = DOCUMENT.read_text(encoding="utf-8")
    found = examples_in(text)
    assert set(found) == set(EXAMPLES.values())
    assert set(EXAMPLES) <= {words for words, _, _ in commands()}
    assert page(found) == text


@pytest.mark.parametrize("example", list(EXAMPLES.values()) if LONG else QUICK)
def test_an_example_prints_what_is_shown(example: str) -> None:
    """All of them in the long run, the quickest always."""
    shown = examples_in(DOCUMENT.read_text(encoding="utf-8"))[example]
    assert printed_by(example) == shown


def test_the_lock_holds_every_dependency_with_hashes_within_the_open_ranges() -> None:
    locked = {canonicalize_name(each.name): each for each in read_lock(LOCK.read_text(encoding="utf-8"))}
    assert all(each.hashes for each in locked.values())
    optional = [each for extra in PROJECT["optional-dependencies"].values() for each in extra]
    for text in (*PROJECT["dependencies"], *optional):
        wanted = Requirement(text)
        assert locked[canonicalize_name(wanted.name)].version in wanted.specifier, text


def test_the_bill_of_materials_is_that_of_the_lock() -> None:
    """Made anew by: python -m tests.release.bill"""
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert BILL.read_text(encoding="utf-8") == bill_of(LOCK.read_text(encoding="utf-8"), project)


def test_the_changelog_is_dated_newest_first_and_knows_this_version() -> None:
    text = (RELEASE / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(rf"^## {re.escape(diag.__version__)}\b", text, re.MULTILINE)
    dates = [date.fromisoformat(found) for found in re.findall(r"^### (\S+)$", text, re.MULTILINE)]
    assert dates
    assert dates == sorted(dates, reverse=True)


@pytest.mark.skipif(not LONG, reason="builds and installs in a new environment, which takes minutes; DIAG_TESTS=long")
def test_wheel_and_sdist_work_in_a_clean_environment_away_from_the_repository(tmp_path: Path) -> None:
    """Both are built; the wheel, built from the sdist, is installed with its dependencies and reasons about a case."""
    plain = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV")}

    def run(*command: str) -> str:
        done = subprocess.run(command, cwd=tmp_path, env=plain, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    venv.create(tmp_path / "build", with_pip=True)
    python = str(tmp_path / "build" / "bin" / "python")
    run(python, "-m", "pip", "install", "--quiet", "build")
    run(python, "-m", "build", "--outdir", str(tmp_path / "dist"), str(ROOT))
    (wheel,) = (tmp_path / "dist").glob("*.whl")
    (source,) = (tmp_path / "dist").glob("*.tar.gz")
    assert_whole(wheel, source)
    venv.create(tmp_path / "clean", with_pip=True)
    run(str(tmp_path / "clean" / "bin" / "python"), "-m", "pip", "install", "--quiet", str(wheel))
    program = str(tmp_path / "clean" / "bin" / "diag")
    assert "one_blown_seal" in run(program, "cases")
    assert "Combustion seal" in run(program, "advise", "one_blown_seal")
    (tmp_path / "t.csv").write_text("engine,hard_start\nostrel_4,present\n", encoding="utf-8")
    assert "1 rows, 1 different cases" in run(program, "table", "t.csv", "--out", "o.parquet", "--only", "weigh")


def assert_whole(wheel: Path, source: Path) -> None:
    """Knowledge, demo cases and licence are in the wheel, and all that the tests need in the sdist alone."""
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
    assert any(name.endswith("licenses/.release/LICENSE") for name in names), names[-8:]
    for folder in ("knowledge", "demo_cases"):
        here = {path.name for path in (ROOT / folder).rglob("*.yaml")}
        assert here <= {Path(name).name for name in names if f"_data/{folder}/" in name}
    with tarfile.open(source) as packed_source:
        inside = {name.split("/", 1)[1] for name in packed_source.getnames() if "/" in name}
    assert {"README.md", ".release/LICENSE", ".release/CHANGELOG.md", "tests/release/test_release.py"} <= inside
    load = many_symptoms()
    assert load.relative_to(ROOT).as_posix() in inside
    assert load.name not in {Path(name).name for name in names}
