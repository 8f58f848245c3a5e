"""Finds and reads what a command is asked about. May import: the rooms below, inside functions only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import CaseError, Problem, UsageError, did_you_mean, is_there

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge

__all__ = ["BOOK_SIGN", "case_path", "engine_case", "own_file", "read_case", "read_knowledge", "without"]

BOOK_SIGN = "book:"


def read_knowledge(folder: Path | None, overlays: Sequence[Path] | None) -> Knowledge:
    """The knowledge that ships, or that of `folder`, under the overlays."""
    from diag.knowledge_base import load_knowledge

    return load_knowledge(folder, tuple(overlays or ()))


def case_path(name: str) -> Path:
    """A file of that path, else the demo case of that name. Raises CaseError where there is neither."""
    from diag.casebook import demo_cases

    if not name.strip():
        raise UsageError("this is no name of a case; give the path of a case file, or the name of a demo case")
    path, demos = Path(name), demo_cases()
    exists = is_there(path)
    if exists or name not in demos:
        if not exists and path.suffix == "" and path.parent == Path():
            hint = did_you_mean(name, demos) or "'diag cases' lists the demo cases"
            raise CaseError([Problem(name, 0, 0, "there is no such file and no demo case of that name", hint)])
        return path
    return demos[name]


def own_file(name: str) -> Path | None:
    """The file that 'save' may write to; none for a demo case and a case of the book."""
    from diag.casebook import demo_cases

    path = None if name.startswith(BOOK_SIGN) else case_path(name)
    return path if path not in demo_cases().values() else None


def read_case(name: str, knowledge: Knowledge) -> Case:
    """Read and check a case by path, demo name, or its number in the book (`book:17`)."""
    from diag.casebook import load_case

    if name.startswith(BOOK_SIGN):
        from diag.cli.book import case_from_book

        return case_from_book(name, knowledge)
    return load_case(case_path(name), knowledge)


def without(case: Case, knowledge: Knowledge, names: Sequence[str]) -> Case:
    """The case with checks that cannot be done: by their ids, or all that need an instrument. Raises UsageError."""
    by_tool: dict[str, list[str]] = {}
    for check_id, check in knowledge.checks.items():
        for tool in check.tools:
            by_tool.setdefault(tool, []).append(check_id)
    found = list(case.cannot)
    for name in names:
        if name not in knowledge.checks and name not in by_tool:
            hint = did_you_mean(name, [*knowledge.checks, *by_tool])
            raise UsageError(
                f"there is no check '{name}' and no instrument of that name" + (f"; {hint}" if hint else "")
            )
        found += by_tool.get(name, [name])
    return replace(case, cannot=tuple(dict.fromkeys(found)))


def engine_case(engine: str, knowledge: Knowledge, title: str = "") -> Case:
    """A case of which only the engine is known, by its id or the path of its file.

    Raises UsageError where there is no engine of that name, KnowledgeError for a file that cannot be used.
    """
    from diag.casebook import Case
    from diag.knowledge_base import read_engine

    if engine in knowledge.engines:
        return Case(title, knowledge.engines[engine], engine)
    if not engine.endswith((".yaml", ".yml")):
        hint = did_you_mean(engine, knowledge.engines, most=20) or "'diag engine list' lists them"
        raise UsageError(f"there is no engine '{engine}', and an engine file ends in .yaml; {hint}")
    return Case(title, read_engine(engine, knowledge), str(Path(engine).resolve()))
