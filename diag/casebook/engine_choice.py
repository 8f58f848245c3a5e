"""Which engine a case is about: one of the knowledge by its id, or an engine's own file beside the case.

May import: `diag.basics`, `diag.knowledge_base`, and within the room `notebook`.
"""

from __future__ import annotations

from pathlib import Path as FilePath

from diag.basics import KnowledgeError, near_miss
from diag.casebook.notebook import Notebook, shown
from diag.knowledge_base import Engine, Key, Tree

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
    nearest = near_miss(chosen, known)
    others = f"it can be {', '.join(known)}, or the path of an engine's file, such as {chosen}.yaml"
    hint = f"did you mean '{nearest}'?" if nearest is not None else others
    book.complain(("engine",), f"there is no engine {shown(chosen)}", hint)
    return "", None


def _engine_of_file(book: Notebook, path: FilePath) -> Engine | None:
    from diag.knowledge_base import read_engine  # with all that checks a file, which a known engine needs nothing of

    try:
        return read_engine(path, book.knowledge)
    except KnowledgeError as error:
        if all(problem.line == 0 for problem in error.problems):  # no file: the case names it wrongly
            for problem in error.problems:
                book.complain(("engine",), f"{path.name}: {problem.message}", problem.hint)
        else:
            book.problems += error.problems
        return None
