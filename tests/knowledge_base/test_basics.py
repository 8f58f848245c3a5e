"""The tree of errors, near misses, and files written whole or not at all."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

from diag import basics
from diag.basics import (
    CaseError,
    DiagError,
    ImpossibleEvidence,
    InvalidFile,
    KnowledgeError,
    Problem,
    TooLarge,
    UsageError,
    did_you_mean,
    listed,
    near_miss,
    write_whole,
)


def test_door_is_sorted_and_true() -> None:
    """What the door lists is there, in order."""
    assert basics.__all__ == sorted(basics.__all__)
    assert all(hasattr(basics, name) for name in basics.__all__)


@pytest.mark.parametrize("error", [KnowledgeError, CaseError, ImpossibleEvidence, TooLarge, UsageError, InvalidFile])
def test_every_error_is_of_the_one_tree(error: type[Exception]) -> None:
    """One `except DiagError` catches all of them."""
    assert issubclass(error, DiagError)


def test_problems_are_told_once_and_in_order() -> None:
    """By file, line and column; a problem without a place names the file alone."""
    late, early = Problem("b.yaml", 9, 1, "late"), Problem("b.yaml", 2, 7, "early", "write it so")
    error = KnowledgeError([late, early, late, Problem("a.yaml", 0, 0, "gone")])
    assert str(error).splitlines() == ["a.yaml: gone", "b.yaml:2:7: early; write it so", "b.yaml:9:1: late"]


@pytest.mark.parametrize(
    "error",
    [
        KnowledgeError([Problem("a", 1, 2, "x")]),
        ImpossibleEvidence(cases=(0, 3)),
        ImpossibleEvidence(findings=("chuff", "tar")),
        TooLarge("too many"),
        UsageError("no"),
    ],
)
def test_errors_cross_process_borders(error: DiagError) -> None:
    """A process pool pickles them; they arrive with their data."""
    twin = pickle.loads(pickle.dumps(error))
    assert type(twin) is type(error)
    assert (str(twin), vars(twin)) == (str(error), vars(error))


def test_impossible_evidence_names_what_is_known() -> None:
    """Findings where a room knows them, the cases of a batch where only these are known."""
    assert "chuff, tar" in str(ImpossibleEvidence(findings=("chuff", "tar")))
    assert "(cases 2, 5 of the batch)" in str(ImpossibleEvidence(cases=(2, 5)))
    assert "batch" not in str(ImpossibleEvidence())


@pytest.mark.parametrize(
    ("name", "candidates", "expected"),
    [
        ("starter_worm", ["starter_worn", "seal"], "starter_worn"),
        ("blow by", ["blow_by", "blown"], "blow_by"),
        ("Chuff", ["chuff", "cough"], "chuff"),
        ("hot", ["hot restart", "cold"], "hot restart"),
        ("xyzzy", ["seal", "clamp"], None),
        ("", ["seal"], None),
    ],
)
def test_near_misses(name: str, candidates: list[str], expected: str | None) -> None:
    """The nearest name, or none."""
    assert near_miss(name, candidates) == expected


def test_hints() -> None:
    """A near miss, else what is allowed where that is short, else nothing."""
    assert did_you_mean("sael", ["seal", "clamp"]) == "did you mean 'seal'?"
    assert did_you_mean("xyzzy", ["seal", "clamp", "pipe"]) == "it can be seal, clamp or pipe"
    assert did_you_mean("xyzzy", [f"name_{i}" for i in range(50)]) == ""
    assert listed([]) == "" and listed(["a"]) == "a" and listed(["a", "b"], "and") == "a and b"


def test_a_file_is_written_whole_and_never_over_another(tmp_path: Path) -> None:
    """No overwriting unless told, and nothing left behind."""
    path = tmp_path / "case.yaml"
    write_whole(path, "Motor läuft\n")
    with pytest.raises(UsageError, match="already there"):
        write_whole(path, "other")
    assert path.read_text(encoding="utf-8") == "Motor läuft\n"
    path.chmod(0o640)
    write_whole(path, "second", overwrite=True)
    assert (path.read_text(), path.stat().st_mode & 0o777) == ("second", 0o640)
    assert [each.name for each in tmp_path.iterdir()] == ["case.yaml"]


def test_a_write_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk runs full: the old file stays, no part of the new one does."""
    path = tmp_path / "case.yaml"
    write_whole(path, "old")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="could not be written: No space left on device"):
        write_whole(path, "new", overwrite=True)
    assert path.read_text() == "old"
    assert [each.name for each in tmp_path.iterdir()] == ["case.yaml"]


def test_a_file_that_appears_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two people save at once: the second is told, the first keeps the file."""
    path = tmp_path / "case.yaml"
    true_sync = os.fsync

    def somebody_else(handle: int) -> None:
        path.write_text("theirs")
        true_sync(handle)

    monkeypatch.setattr(os, "fsync", somebody_else)
    with pytest.raises(UsageError, match="already there"):
        write_whole(path, "mine")
    assert path.read_text() == "theirs"


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """A plain sentence, no traceback."""
    with pytest.raises(UsageError, match="could not be written: No such file or directory"):
        write_whole(tmp_path / "nowhere" / "case.yaml", "x")
