"""The house rules that a machine can hold: layers, doors, types, style, sizes."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "diag").rglob("*.py"))
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "diag", "knowledge", "tests", "demo_cases"}


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("lint-imports",),
    ],
    ids=["lint", "format", "types", "layers"],
)
def test_tool_passes(command: tuple[str, ...]) -> None:
    """Linter, formatter, type checker and the list of layers have nothing to say."""
    program = Path(sys.executable).parent / command[0]
    result = _run(str(program), *command[1:])
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_records_are_made_by_one_library_each(path: Path) -> None:
    """The `field` of dataclasses would be the very value of a Struct's field, and no tool says so."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    source = {
        each.asname or each.name: node.module
        for node in tree.body
        if isinstance(node, ast.ImportFrom)
        for each in node.names
    }
    for record in (node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)):
        made_by = "msgspec" if "Struct" in map(ast.unparse, record.bases) else "dataclasses"
        for line in (each for each in record.body if isinstance(each, ast.AnnAssign)):
            if isinstance(line.value, ast.Call) and isinstance(line.value.func, ast.Name):
                name = line.value.func.id
                assert name != "field" or source["field"] == made_by, f"{path}:{line.lineno}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_other_rooms_are_entered_by_their_door(path: Path) -> None:
    """A module imports another room as `diag.<room>`, never a module inside it."""
    room = path.relative_to(ROOT / "diag").parts[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("diag."):
            parts = node.module.split(".")
            assert len(parts) == 2 or parts[1] == room, f"{path}:{node.lineno} reaches into {node.module}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_open_with_their_purpose_and_stay_readable(path: Path) -> None:
    """Every module says what lives there; files stay under 500 lines, functions under 60."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    assert ast.get_docstring(tree), f"{path} does not say what lives there"
    assert len(text.splitlines()) <= 500
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            assert (node.end_lineno or 0) - node.lineno < 60, f"{path}:{node.lineno} {node.name} is long"


@pytest.mark.parametrize("room", sorted(p.parent.name for p in (ROOT / "diag").glob("*/__init__.py")))
def test_a_room_names_what_it_offers(room: str) -> None:
    """Each door says what lives behind it, and everything in its `__all__` exists (the linter keeps it sorted)."""
    module = __import__(f"diag.{room}", fromlist=["__all__"])
    assert module.__doc__
    assert all(hasattr(module, name) for name in module.__all__)


@pytest.mark.parametrize("stub", sorted((ROOT / "diag").rglob("__init__.pyi")), ids=lambda stub: stub.parent.name)
def test_no_module_hides_a_name_that_a_lazy_door_offers(stub: Path) -> None:
    """An offered name may be that of its own module, which the door guards, and of no other: that would take its place
    as soon as it is imported."""
    for node in ast.parse(stub.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            others = {alias.name for alias in node.names} - {node.module}
            assert not [name for name in others if (stub.parent / f"{name}.py").exists()], node.module


def test_the_top_level_holds_what_belongs_there() -> None:
    """Nothing at the top but the named files and folders, and dot-files."""
    tracked = _run("git", "ls-files").stdout.splitlines()
    names = {line.split("/")[0] for line in tracked}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL
