"""Reads an engine's own file, which stands beside a case or where somebody put it, as strictly as the knowledge.

May import: `diag.basics`, and within the room all but drawing and checking.
"""

from __future__ import annotations

import json
from pathlib import Path

from diag.basics import KnowledgeError, Problem, did_you_mean
from diag.knowledge_base.merging import gather
from diag.knowledge_base.reader import PlacedDocument, read_document
from diag.knowledge_base.records import Engine, Knowledge
from diag.knowledge_base.register import Register
from diag.knowledge_base.rules_engines import check_engines
from diag.knowledge_base.validation import attempt

__all__ = ["engine_text", "read_engine"]


def engine_text(engine: Engine) -> str:
    """An engine as the text of a file that `read_engine` reads back to the same."""
    said = engine.model_dump(mode="json", exclude_defaults=True)
    return f"engine: {json.dumps(said, ensure_ascii=False, indent=2)}\n"


def read_engine(path: Path | str, knowledge: Knowledge) -> Engine:
    """The engine in the file at `path`, which holds `engine:` and nothing else.

    Raises KnowledgeError with every problem: of its entries, of banks, numbering, firing order and access, and of
    access kinds that the knowledge does not have.
    """
    document = read_document(path)
    problems = _of_the_file(document)
    if problems:
        raise KnowledgeError(problems)
    whole = gather(document.file, [document], problems)
    name = Path(document.file).stem
    engine, problems = attempt(Engine, whole, ("engines", name))
    if engine is not None:
        register = Register(whole, engines={name: engine}, readings=knowledge.readings, vocabulary=knowledge.vocabulary)
        whole.data["readings"] = dict.fromkeys(knowledge.readings)
        whole.data["vocabulary"] = {"access": dict.fromkeys(knowledge.vocabulary.access)}
        check_engines(register)
        problems = register.problems
    if engine is None or problems:
        raise KnowledgeError(problems)
    return engine


def _of_the_file(document: PlacedDocument) -> list[Problem]:
    """What does not belong into such a file, or is missing from it."""
    message, hint = "an engine's file holds 'engine:' with the entries of the engine inside", "see: diag engine new"
    problems = [
        document.problem((key,), f"'{key}' does not belong into an engine's file", _meant(str(key)), of_key=True)
        for key in document.data
        if key != "engine"
    ]
    if "engine" not in document.data:
        return [Problem(document.file, 1, 1, message, hint), *problems]
    if not isinstance(document.data["engine"], dict):
        problems.append(document.problem(("engine",), message, hint))
    return problems


def _meant(key: str) -> str:
    if key in Engine.model_fields:
        return "write it inside 'engine:'"
    return did_you_mean(key, ["engine"])
