"""The faults that are put in: a fixed list of small changes to a module's syntax tree, each at every place it fits.

The idea is that of DeMillo, Lipton & Sayward (1978), 'Hints on test data selection', Computer 11(4):34-41 (cited from
memory); operators as they are usual today: relational, arithmetic and logical ones, constants, conditions, least and
greatest. What only speaks to people or to the type checker is left alone. May import: the standard library.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["STRICT", "Mutant", "mutants_of", "source_of", "tree_of"]

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
REVERSED: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.Gt, ast.LtE: ast.Gt, ast.Gt: ast.Lt, ast.GtE: ast.Lt}
RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult, ast.LShift: ast.RShift, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
STRICT = "strict goes"
CALLED = {
    "max": "min", "min": "max", "maximum": "minimum", "minimum": "maximum", "any": "all", "all": "any",
    "argmin": "argmax", "argmax": "argmin", "sum": "max", "floor": "ceil", "ceil": "floor",
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """A fault: in which file, at which line, within which function (its qualified name, empty outside of all), what was
    done, its number among those of the file, what the line says, and as which of this kind on the line."""

    path: Path
    line: int
    function: str
    what: str
    number: int
    text: str = ""
    which: int = 1

    def __str__(self) -> str:
        return f"{self.path}:{self.line} {self.function or '(module)'}: {self.what} ({self.which}) in `{self.text}`"


class _Changes(ast.NodeVisitor):
    """Finds the places and, for one of them, makes the change."""

    def __init__(self, wanted: int | None = None) -> None:
        self.wanted, self.count = wanted, 0
        self.names: list[str] = []
        self.found: list[tuple[int, str, str]] = []

    def _may(self, node: ast.AST, what: str) -> bool:
        number, self.count = self.count, self.count + 1
        if self.wanted is None:
            self.found.append((getattr(node, "lineno", 0), ".".join(self.names), what))
        return number == self.wanted

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._named(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._named(node)

    def _named(self, node: ast.ClassDef | ast.FunctionDef) -> None:
        self.names.append(node.name)
        for each in node.body:
            self.visit(each)
        for default in node.args.defaults if isinstance(node, ast.FunctionDef) else ():
            self.visit(default)
        self.names.pop()

    def visit_Assign(self, node: ast.Assign) -> None:
        target = node.targets[0]
        if not (isinstance(target, ast.Name) and (target.id == "__all__" or _is_type(node.value))):
            self.visit(node.value)
            self.generic_visit(target)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_Assert(self, node: ast.Assert) -> None:
        """For the type checker, and for what cannot be."""

    def visit_Raise(self, node: ast.Raise) -> None:
        """What is said to people."""

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """What is said to people."""

    def visit_Compare(self, node: ast.Compare) -> None:
        for place, kind in enumerate(map(type, node.ops)):
            for table in (COMPARED, REVERSED):
                if kind in table and self._may(node, f"{kind.__name__} becomes {table[kind].__name__}"):
                    node.ops[place] = table[kind]()
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        kind = type(node.op)
        if kind in RECKONED and self._may(node, f"{kind.__name__} becomes {RECKONED[kind].__name__}"):
            node.op = RECKONED[kind]()
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        kind = type(node.op)
        if kind in RECKONED and self._may(node, f"{kind.__name__}= becomes {RECKONED[kind].__name__}="):
            node.op = RECKONED[kind]()
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        if self._may(node, f"{type(node.op).__name__} becomes {other.__name__}"):
            node.op = other()
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not | ast.USub | ast.Invert) and self._may(node, f"{type(node.op).__name__} goes"):
            node.op = ast.UAdd() if not isinstance(node.op, ast.Not) else ast.Not()
            node.operand = node.operand if not isinstance(node.op, ast.Not) else ast.UnaryOp(ast.Not(), node.operand)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            if self._may(node, f"{value} becomes {not value}"):
                node.value = not value
        elif isinstance(value, int | float):
            other = value + 1 if isinstance(value, int) else 2.0 * value if value else 1.0
            if self._may(node, f"{value} becomes {other}"):
                node.value = other

    def visit_keyword(self, node: ast.keyword) -> None:
        """`strict=True` says that two lengths are equal, as an assertion does; that one is told apart."""
        value = node.value
        if node.arg == "strict" and isinstance(value, ast.Constant) and value.value is True:
            if self._may(value, STRICT):
                value.value = False
        else:
            self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        function = node.func
        name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
        if name in CALLED and self._may(node, f"{name} becomes {CALLED[name]}"):
            if isinstance(function, ast.Name):
                function.id = CALLED[name]
            elif isinstance(function, ast.Attribute):
                function.attr = CALLED[name]
        self.generic_visit(node)

    def visit_If(self, node: ast.If) -> None:
        self._condition(node)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._condition(node)
        self.generic_visit(node)

    def _condition(self, node: ast.If | ast.IfExp) -> None:
        if self._may(node, "the condition is turned round"):
            node.test = ast.UnaryOp(ast.Not(), node.test)

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            if self._may(node, "the statement goes"):
                node.value = ast.Constant(None)
            else:
                self.generic_visit(node)

    def visit_Continue(self, node: ast.Continue) -> None:
        self._may(node, "continue stays")  # a loop's `continue` cannot be exchanged in place; see `_Exchanged`

    def visit_Break(self, node: ast.Break) -> None:
        self._may(node, "break stays")


def _is_type(value: ast.expr) -> bool:
    """An alias of a type, such as `SharedAxis = tuple[int, int]`."""
    return isinstance(value, ast.Subscript | ast.BinOp) and not any(
        isinstance(each, ast.Call) for each in ast.walk(value)
    )


class _Exchanged(ast.NodeTransformer):
    """`continue` becomes `break` and the other way round, at one line."""

    def __init__(self, line: int) -> None:
        self.line = line

    def visit_Continue(self, node: ast.Continue) -> ast.stmt:
        return ast.copy_location(ast.Break(), node) if node.lineno == self.line else node

    def visit_Break(self, node: ast.Break) -> ast.stmt:
        return ast.copy_location(ast.Continue(), node) if node.lineno == self.line else node


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Every fault that may be put into a module, in the order of its text."""
    finder, text = _Changes(), path.read_text(encoding="utf-8")
    finder.visit(ast.parse(text))
    lines, seen = text.splitlines(), Counter[tuple[int, str]]()
    for number, (line, function, what) in enumerate(finder.found):
        seen[line, what] += 1
        yield Mutant(path, line, function, what, number, lines[line - 1].strip(), seen[line, what])


def source_of(mutant: Mutant) -> str:
    """The module with the fault in it. Line numbers are not those of the file."""
    return ast.unparse(tree_of(mutant))


def tree_of(mutant: Mutant) -> ast.Module:
    """The syntax tree of the module with the fault in it; line numbers are those of the file."""
    tree = ast.parse(mutant.path.read_text(encoding="utf-8"))
    if mutant.what in ("continue stays", "break stays"):
        tree = _Exchanged(mutant.line).visit(tree)
    else:
        _Changes(mutant.number).visit(tree)
    return ast.fix_missing_locations(tree)
