"""Which lines are reached: a mark before every statement of a module, set in a row of bytes as it is passed.

Marks cost little (a byte set), so that tests take about as long as they do without. May import: the standard library.
"""

from __future__ import annotations

import ast
import importlib.abc
import importlib.machinery
import importlib.util
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from types import CodeType, ModuleType

__all__ = ["MARKS", "Loaded", "loading", "marked", "statements"]

MARKS = "__marks__"


class Loaded(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads some modules from code that is given here, by module name, with names put into them beforehand."""

    def __init__(self, codes: Mapping[str, CodeType], names: Mapping[str, Mapping[str, object]] | None = None) -> None:
        self.codes, self.names = codes, names or {}

    def find_spec(self, name: str, path: object = None, target: object = None) -> importlib.machinery.ModuleSpec | None:
        """For those modules alone."""
        if name not in self.codes:
            return None
        return importlib.util.spec_from_loader(name, self, origin=self.codes[name].co_filename)

    def exec_module(self, module: ModuleType) -> None:
        """Run the given code."""
        code = self.codes[module.__name__]
        module.__file__ = code.co_filename
        module.__dict__.update(self.names.get(module.__name__, {}))
        exec(code, module.__dict__)


def marked(path: Path) -> tuple[CodeType, bytearray]:
    """A module's code that marks each line at which a statement begins and is reached, and the row of its marks."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    for node in list(ast.walk(tree)):
        for name, body in _bodies(node):
            setattr(node, name, list(_with_marks(body)))
    code = compile(ast.fix_missing_locations(tree), str(path), "exec", dont_inherit=True)
    return code, bytearray(len(text.splitlines()) + 1)


@lru_cache
def statements(path: Path) -> tuple[tuple[int, int], ...]:
    """First and last line of every statement of a module, outer ones first."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [(node.lineno, node.end_lineno or node.lineno) for node in ast.walk(tree) if isinstance(node, ast.stmt)]
    return tuple(sorted(found, key=lambda lines: (lines[0], -lines[1])))


@lru_cache
def loading(path: Path) -> frozenset[int]:
    """First lines of the statements that run as a module is loaded: those within no function."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    within = {line for each in functions for line in range(each.body[0].lineno, (each.end_lineno or 0) + 1)}
    return frozenset(line for line, _ in statements(path) if line not in within)


def _bodies(node: ast.AST) -> Iterable[tuple[str, Sequence[ast.stmt]]]:
    for name in ("body", "orelse", "finalbody"):
        body = getattr(node, name, None)
        if isinstance(body, list):
            yield name, body


def _with_marks(body: Sequence[ast.stmt]) -> Iterable[ast.stmt]:
    for place, statement in enumerate(body):
        words = place == 0 and isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)
        if not words and not (isinstance(statement, ast.ImportFrom) and statement.module == "__future__"):
            (mark,) = ast.parse(f"{MARKS}[{statement.lineno}] = 1").body
            for node in ast.walk(mark):
                ast.copy_location(node, statement)
            yield mark
        yield statement
