"""Each fault changes what a module does, one thing at a time; what speaks to people and types is left alone."""

from __future__ import annotations

import ast
from pathlib import Path

from tests.mutation.operators import mutants_of, source_of

TEXT = '''"""A module."""
__all__ = ["sign"]
Pair = tuple[int, int]


def sign(number: float, least: float = 0.5) -> int:
    """Which side."""
    assert number == number
    if number < least and not number == 3:
        return -1
    for each in (1, 2):
        if each > 1:
            continue
        print(max(each, 4))
    if number > 1e9:
        raise ValueError(f"{number + 1} is too much" + "!")
    return 1
'''


def test_every_fault_is_one_change_and_all_differ(tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text(TEXT, encoding="utf-8")
    plain = ast.unparse(ast.parse(TEXT))
    sources = [source_of(mutant) for mutant in mutants_of(path)]
    assert plain not in sources
    assert len(set(sources)) == len(sources) > 20
    for source in sources:
        changed = [(one, two) for one, two in zip(plain.splitlines(), source.splitlines(), strict=True) if one != two]
        assert len(changed) == 1


def test_what_speaks_to_people_or_types_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text(TEXT, encoding="utf-8")
    lines = {mutant.line for mutant in mutants_of(path)}
    left = [number for number, line in enumerate(TEXT.splitlines(), start=1) if "assert" in line or "raise" in line]
    assert not lines & {1, 2, 3, *left}
    assert {mutant.function for mutant in mutants_of(path)} == {"sign"}
