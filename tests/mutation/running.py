"""Runs tests on a module with a fault in it, in a forked process, so that what Python has to load is loaded once.

May import: pytest, `operators`, `reaching`.
"""

from __future__ import annotations

import importlib.abc
import importlib.machinery
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from tests.mutation.operators import Mutant, source_of
from tests.mutation.reaching import Reaching

__all__ = ["Verdict", "reached_by", "tried"]

ROOT = Path(__file__).resolve().parents[2]
QUIET = (
    "-q",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:randomly",
    "-p",
    "no:xdist",
    "--no-header",
    "-W",
    "ignore::pytest.PytestAssertRewriteWarning",
)
PATIENCE = 15.0  # times what the tests take without a fault, and a minute besides
LEAST_S = 60.0


@dataclass(frozen=True)
class Verdict:
    """What became of a fault: 'killed', 'ran on' (stopped after long), 'survived', 'not reached' by any test."""

    mutant: Mutant
    became: str
    tests: int
    seconds: float

    @property
    def noticed(self) -> bool:
        """Whether the tests noticed."""
        return self.became in ("killed", "ran on")


class _Faulty(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from changed source."""

    def __init__(self, name: str, path: Path, source: str) -> None:
        self.name, self.path, self.source = name, path, source

    def find_spec(self, name: str, path: object = None, target: object = None) -> importlib.machinery.ModuleSpec | None:
        """For that module alone."""
        return importlib.util.spec_from_loader(name, self, origin=str(self.path)) if name == self.name else None

    def exec_module(self, module: ModuleType) -> None:
        """Run the changed source."""
        module.__file__ = str(self.path)
        exec(compile(self.source, str(self.path), "exec"), module.__dict__)


def reached_by(folders: Sequence[Path], tests: Sequence[str]) -> Reaching:
    """Run all tests once as things are, in this process; which functions of the folders each calls."""
    reaching = Reaching(tuple(folders))
    pytest.main([*QUIET, *tests], plugins=[reaching])
    return reaching


def tried(mutant: Mutant, reaching: Reaching, most_s: float) -> Verdict:
    """Show a fault to the tests that can see it."""
    tests = reaching.tests_for(mutant.path, mutant.function, most_s)
    if not tests:
        return Verdict(mutant, "not reached", 0, 0.0)
    source, began = source_of(mutant), time.monotonic()
    child = os.fork()
    if child == 0:
        _as_child(mutant, source, tests)
    limit = LEAST_S + PATIENCE * sum(reaching.took[test] for test in tests)
    became = _awaited(child, began + limit)
    return Verdict(mutant, became, len(tests), time.monotonic() - began)


def _as_child(mutant: Mutant, source: str, tests: Sequence[str]) -> None:
    code = 3
    try:
        os.setpgrp()
        with open(os.devnull, "w") as nothing:  # noqa: PTH123
            os.dup2(nothing.fileno(), 1)
            os.dup2(nothing.fileno(), 2)
        name = ".".join(mutant.path.relative_to(ROOT).with_suffix("").parts)
        for known in [name for name, module in sys.modules.items() if _is_ours(module)]:
            del sys.modules[known]
        sys.meta_path.insert(0, _Faulty(name, mutant.path, source))
        code = int(pytest.main([*QUIET, "-x", *tests]))
    finally:
        os._exit(code)


def _is_ours(module: object) -> bool:
    """Whether a module is of diag or of its tests, which pytest may know by their bare names."""
    file = str(getattr(module, "__file__", None) or "")
    return file.startswith((f"{ROOT / 'diag'}{os.sep}", f"{ROOT / 'tests'}{os.sep}"))


def _awaited(child: int, until: float) -> str:
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "survived" if os.waitstatus_to_exitcode(status) == 0 else "killed"
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "ran on"
