"""Puts a fault into functions that are loaded already, by giving them other code. May import: `operators`."""

from __future__ import annotations

import gc
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import CodeType, FunctionType

from tests.mutation.operators import Mutant, tree_of

__all__ = ["Functions", "code_of", "functions_below", "swapped"]

Place = tuple[str, str, int]
Functions = Mapping[Place, Sequence[FunctionType]]


def functions_below(folder: Path) -> Functions:
    """Every function that lives and whose code stands in a folder: by file, qualified name and first line."""
    found: defaultdict[Place, list[FunctionType]] = defaultdict(list)
    for each in gc.get_objects():
        if type(each) is FunctionType and each.__code__.co_filename.startswith(str(folder)):
            found[_place(each.__code__)].append(each)
    return found


def code_of(mutant: Mutant) -> CodeType:
    """The module's code with the fault in it."""
    return compile(tree_of(mutant), str(mutant.path), "exec", dont_inherit=True)


def swapped(code: CodeType, functions: Functions) -> bool:
    """Give every living function the code that it has in a faulty module; False where that cannot be done so (a
    closure that no longer fits) or nothing would change (a constant of the module, a default)."""
    changed = False
    for each in _codes(code):
        for function in functions.get(_place(each), ()):
            if function.__code__ != each:
                if function.__code__.co_freevars != each.co_freevars:
                    return False
                function.__code__ = each
                changed = True
    return changed


def _place(code: CodeType) -> Place:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _codes(code: CodeType) -> Iterator[CodeType]:
    for each in code.co_consts:
        if isinstance(each, CodeType):
            yield each
            yield from _codes(each)
