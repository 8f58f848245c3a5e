"""What is kept for the next start gives the same as working it out, follows every change, and trusts nobody else."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

from diag.basics import Kept, fingerprint, keep, recall
from diag.cli.app import MODULES, app
from diag.knowledge_base import load_knowledge
from tests.cli.process import ROOT, environment


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "cache"
    monkeypatch.setenv("DIAG_CACHE", str(folder))
    return folder


def test_a_thing_comes_back_as_it_was_kept(cache: Path) -> None:
    keep("numbers", "key", {"a": 1.5})
    assert recall("numbers", "key") == {"a": 1.5}
    assert recall("numbers", "other") is None
    assert [path.name for path in cache.iterdir()] == ["numbers-key.pickle"]


def test_what_cannot_be_read_is_as_if_nothing_were_kept(cache: Path) -> None:
    keep("numbers", "key", 1)
    for broken in (b"", b"\x80\x05garbage", pickle.dumps(1)[:-1], b"cnosuchmodule\nThing\n."):
        (cache / "numbers-key.pickle").write_bytes(broken)
        assert recall("numbers", "key") is None


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="this system does not tell who may write to a file")
def test_a_file_that_others_may_write_to_is_not_read(cache: Path) -> None:
    keep("numbers", "key", 1)
    (cache / "numbers-key.pickle").chmod(0o666)
    assert recall("numbers", "key") is None
    (cache / "numbers-key.pickle").chmod(0o600)
    assert recall("numbers", "key") == 1
    cache.chmod(0o777)
    assert recall("numbers", "key") is None


def test_nothing_is_kept_where_that_was_asked_or_cannot_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DIAG_CACHE", "none")
    keep("numbers", "key", 1)
    assert recall("numbers", "key") is None
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    monkeypatch.setenv("DIAG_CACHE", str(blocked / "below"))
    keep("numbers", "key", 1)
    assert recall("numbers", "key") is None


def test_only_a_dozen_files_of_a_kind_stay(cache: Path) -> None:
    for number in range(20):
        keep("numbers", str(number), number)
    assert len(list(cache.iterdir())) == 12


def test_a_fingerprint_tells_every_change(tmp_path: Path) -> None:
    source = tmp_path / "module.py"
    source.write_text("one")
    first = fingerprint(["a", b"b"], tmp_path)
    assert fingerprint(["a", b"b"], tmp_path) == first
    assert fingerprint(["ab", b""], tmp_path) != first
    source.write_text("three")
    assert fingerprint(["a", b"b"], tmp_path) != first


def test_a_result_is_made_once_in_a_program(cache: Path) -> None:
    made = []
    kept: Kept[int] = Kept("squares", Path(__file__))
    for _ in range(3):
        assert kept.of("3", lambda: made.append(3) or 9) == 9
    assert made == [3]


def test_knowledge_is_read_anew_when_a_byte_of_it_changes(cache: Path, tmp_path: Path) -> None:
    overlay = tmp_path / "shop.yaml"
    overlay.write_text("prices: {labour_per_hour: {value: 91, basis: {source: common practice}}}\n")
    first = load_knowledge(overlays=[overlay])
    assert load_knowledge(overlays=[overlay]) == first
    overlay.write_text("prices: {labour_per_hour: {value: 92, basis: {source: common practice}}}\n")
    changed = load_knowledge(overlays=[overlay])
    assert (first.prices.labour_per_hour.value, changed.prices.labour_per_hour.value) == (91.0, 92.0)
    assert load_knowledge() == load_knowledge()


@pytest.mark.parametrize("request_", [("weigh",), ("next",)])
def test_the_answer_is_the_same_at_the_first_and_at_a_later_start(cache: Path, request_: tuple[str, ...]) -> None:
    def answer() -> str:
        command = [sys.executable, "-m", "diag", *request_, "one_blown_seal", "--json"]
        done = subprocess.run(
            command, cwd=ROOT, env=environment(DIAG_CACHE=str(cache)), capture_output=True, text=True, check=True
        )
        return done.stdout

    first = answer()
    assert {path.name.split("-")[0] for path in cache.iterdir()} >= {"knowledge", "plans"}
    assert answer() == first


def test_each_command_is_added_by_the_module_that_is_said_to() -> None:
    def named(command: str | None) -> list[str]:
        program = app(command)
        commands = [each.name or each.callback.__name__ for each in program.registered_commands]  # type: ignore[union-attr]
        return [*commands, *(str(group.name) for group in program.registered_groups)]

    assert sorted(named(None)) == sorted(MODULES)
    for command in MODULES:
        assert command in named(command)
