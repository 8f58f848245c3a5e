"""Which engine a case is about: one of the knowledge by its id, or an engine's own file beside the case.

May import: `diag.basics`, `diag.knowledge_base`, and within the room `notebook`.
"""

from __future__ import annotations

from pathlib import Path as FilePath

from diag.basics import CaseError, Problem, did_you_mean
from diag.casebook.notebook import Notebook, shown
from diag.knowledge_base import Engine, Key, PlacedDocument, Tree, attempt, read_document

__all__ = ["is_engine_file", "read_engine_choice"]


def is_engine_file(engine_id: str) -> bool:
    """Whether an engine is named by the path of its file rather than by an id."""
    return engine_id.endswith((".yaml", ".yml"))


def read_engine_choice(book: Notebook, data: dict[Key, Tree]) -> tuple[str, Engine | None]:
    """The engine's id (or the full path of its file) and the engine; none, and a problem, where there is none."""
    chosen, known = data.get("engine"), book.knowledge.engines
    if "engine" not in data or chosen is None:
        book.complain(("engine",), "the engine is missing here", f"add 'engine:' with one of {', '.join(known)}")
        return "", None
    if isinstance(chosen, str) and is_engine_file(chosen):
        path = (FilePath(book.document.file).resolve().parent / chosen).resolve()
        return str(path), _engine_of_file(book, path)
    if isinstance(chosen, str) and chosen in known:
        return chosen, known[chosen]
    if not isinstance(chosen, str):
        book.complain(("engine",), f"the engine is not {shown(chosen)}", f"write one of {', '.join(known)}")
        return "", None
    hint = did_you_mean(chosen, known, most=20) or "it can be the path of an engine's file, too"
    book.complain(("engine",), f"there is no engine {shown(chosen)}", hint)
    return "", None


def _engine_of_file(book: Notebook, path: FilePath) -> Engine | None:
    try:
        document = read_document(path, error=CaseError)
    except CaseError as error:
        if all(problem.line == 0 for problem in error.problems):  # no file: the case names it wrongly
            for problem in error.problems:
                book.complain(("engine",), f"{path.name}: {problem.message}", problem.hint)
        else:
            book.problems += error.problems
        return None
    if not isinstance(document.data.get("engine"), dict):
        message = "an engine's file holds 'engine:' with the entries of the engine inside"
        book.problems.append(Problem(document.file, 1, 1, message))
        return None
    engine, problems = attempt(Engine, document, ("engine",))
    if engine is not None:
        problems = _layout_problems(document, engine)
    book.problems += problems
    return engine if not problems else None


def _layout_problems(document: PlacedDocument, engine: Engine) -> list[Problem]:
    """What does not hold together in the cylinders, the firing order and the access of an engine."""
    numbers, problems = engine.cylinders, []
    if not numbers or numbers != tuple(range(1, len(numbers) + 1)):
        message = "the cylinders of all banks together are not 1, 2, 3 and so on, each once"
        problems.append(document.problem(("engine", "banks"), message, of_key=True))
    if tuple(sorted(engine.firing_order)) != numbers:
        message = "the firing order does not name every cylinder once"
        problems.append(document.problem(("engine", "firing_order"), message, of_key=True))
    for kind, minutes in engine.access_minutes.items():
        if set(minutes) != set(engine.banks):
            message = f"the minutes of access '{kind}' are not given for every bank once"
            problems.append(document.problem(("engine", "access_minutes", kind), message, of_key=True))
    return problems
