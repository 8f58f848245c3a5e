"""A mark stands before every statement; faults go into loaded functions; a score leaves out what cannot be noticed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import diag
from tests.mutation.known import KINDS, Equivalent, equivalents, interval, reason_for, score_of, stale, stated
from tests.mutation.operators import mutants_of
from tests.mutation.probes import MARKS, marked, statements
from tests.mutation.swapping import code_of, functions_below, swapped

DIAG = Path(diag.__file__).parent
TEXT = '''"""A module."""
from __future__ import annotations

LEAST = 3


def kind(number: int, limit: int = 60) -> str:
    """What it is."""
    if number < LEAST:
        return "few"
    elif number == LEAST:
        return "just enough"
    for each in range(min(number, limit)):
        if each > 10:
            break
    else:
        return "some"
    return "many"


def maker(step: int):
    """A function that adds."""

    def add(number: int = 1) -> int:
        return number + step

    return add


added = maker(2)
'''


@pytest.fixture
def module(tmp_path: Path) -> tuple[Path, dict[str, Any]]:
    path = tmp_path / "module.py"
    names: dict[str, Any] = {}
    path.write_text(TEXT, encoding="utf-8")
    exec(compile(TEXT, str(path), "exec"), names)
    return path, names


@pytest.mark.parametrize(
    ("number", "passed"),
    [(2, {"few"}), (3, {"just enough"}), (5, {"some"}), (50, {"break", "many"})],
)
def test_marks_tell_which_statements_ran(number: int, passed: set[str], tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text(TEXT, encoding="utf-8")
    code, marks = marked(path)
    names: dict[str, Any] = {MARKS: marks}
    exec(code, names)
    loaded = {line for line, mark in enumerate(marks) if mark}
    marks[:] = bytes(len(marks))
    assert names["kind"](number) == next(iter(passed - {"break"}))
    reached = {TEXT.splitlines()[line - 1] for line, mark in enumerate(marks) if mark}
    for word in ("few", "just enough", "some", "break", "many"):
        assert any(f'"{word}"' in line or line.strip() == word for line in reached) == (word in passed), word
    assert loaded <= {line for line, _ in statements(path)}
    assert TEXT.splitlines().index("LEAST = 3") + 1 in loaded


def test_every_fault_within_a_function_goes_into_the_loaded_one(
    module: tuple[Path, dict[str, Any]],
) -> None:
    """And what a module does as it is loaded does not: it has to be loaded again."""
    path, names = module
    for mutant in mutants_of(path):
        functions = functions_below(path.parent)
        before = {name: names[name].__code__ for name in ("kind", "maker", "added")}
        default = "limit: int = 60" in mutant.text
        assert swapped(code_of(mutant), functions) == (bool(mutant.function) and not default), mutant
        if mutant.what == "Add becomes Sub":
            assert names["added"](5) == 3
        if mutant.what == "Eq becomes NotEq":
            assert (names["kind"](3), names["kind"](5)) == ("some", "just enough")
        for name, code in before.items():
            names[name].__code__ = code
    assert names["added"](5) == 7


def test_a_known_fault_is_known_by_what_its_line_says(tmp_path: Path) -> None:
    folder = tmp_path / "diag" / "room"
    folder.mkdir(parents=True)
    path = folder / "module.py"
    path.write_text(TEXT, encoding="utf-8")
    known = Equivalent("room/module.py", "kind", "same", "because", "if each > 10:", "Gt becomes GtE")
    (of,) = [mutant for mutant in mutants_of(path) if reason_for(mutant, [known])]
    assert (of.what, of.line) == ("Gt becomes GtE", TEXT.splitlines().index("        if each > 10:") + 1)
    path.write_text("\n\n" + TEXT, encoding="utf-8")
    assert not stale([known], mutants_of(path))
    path.write_text(TEXT.replace("> 10", "> 11"), encoding="utf-8")
    assert stale([known], mutants_of(path)) == [known]
    whole = Equivalent("room/module.py", "kind", "speed", "because")
    assert {mutant.function for mutant in mutants_of(path) if reason_for(mutant, [whole])} == {"kind"}


def test_a_score_is_of_what_can_be_noticed() -> None:
    excused = [Equivalent("", "", kind, "because") for kind in ("same", "speed", "speed")]
    told = score_of(40, excused, 53)
    assert "3 equivalent (1 same, 2 speed), 10 not explained; score 40 of 50 = 80 %" in told


def test_the_interval_is_wilsons() -> None:
    """Worked by hand from the equation (z = 1.96): 8 of 10 gives 0.490 to 0.943; none of 10 begins at nothing."""
    assert interval(8, 10) == pytest.approx((0.4902, 0.9433), abs=1e-4)
    assert interval(0, 10)[0] == pytest.approx(0.0, abs=1e-15)


def test_every_explained_survivor_has_its_reason() -> None:
    for each in equivalents():
        assert (DIAG / each.file).exists(), each
        assert each.kind in KINDS and len(each.why) > 10, each
    assert stated("inference") and stated("decision")


def test_every_explained_survivor_speaks_of_a_line_that_stands() -> None:
    """What was explained of a line that has changed since has to be thought over again."""
    known = equivalents()
    files = sorted({DIAG / each.file for each in known})
    there = [mutant for file in files for mutant in mutants_of(file)]
    assert not stale(known, there)
