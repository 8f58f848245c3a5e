"""Which tests reach which lines, how long each takes, and in what order a fault is best shown to them.

May import: pytest, `probes`, `operators`.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import pytest

from tests.mutation.operators import Mutant
from tests.mutation.probes import MARKS, Loaded, loading, marked, statements

__all__ = ["Reached", "Reaching", "reached_by"]

ROOT = Path(__file__).resolve().parents[2]
QUIET = (
    *("-q", "-s", "-p", "no:cacheprovider", "-p", "no:randomly", "-p", "no:xdist", "--no-header", "--no-summary"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),
)
QUICK_S = 0.02  # what is quicker than that is not ordered by its time
BEFORE = 2.0  # how many trials a guess counts for against what was seen


@dataclass(frozen=True)
class Reached:
    """A test: seconds, whether it passes as things are, and the lines of statements that it reaches in each file."""

    took: float
    passed: bool
    lines: Mapping[str, frozenset[int]]


@dataclass
class Reaching:
    """What every test reaches; `at_import` the lines that are reached before any test; and which tests found what."""

    tests: dict[str, Reached] = field(default_factory=dict)
    at_import: dict[str, frozenset[int]] = field(default_factory=dict)
    shown: Counter[tuple[str, str]] = field(default_factory=Counter)
    found: Counter[tuple[str, str]] = field(default_factory=Counter)

    def note(self, mutant: Mutant, shown: Sequence[str], found: bool) -> None:
        """A fault was shown to these tests, and the last one found it, or none."""
        for place in _places(mutant):
            self.shown.update((test, place) for test in shown)
            if found:
                self.found[shown[-1], place] += 1

    def order(self, mutant: Mutant, most_s: float) -> list[str]:
        """The tests that may see a fault, for so many seconds: those that reach its statement, then those that stand
        in one file with them (what one of them keeps, the others may rest on), each ordered by chance per second."""
        lines = self._lines(mutant)
        near = {test for test, each in self.able.items() if not lines.isdisjoint(each.lines.get(_file(mutant), ()))}
        modules = {test.split("::")[0] for test in near}
        far = {test for test in self.able if test.split("::")[0] in modules} - near
        chosen: list[str] = []
        total = 0.0
        for test in (*self._best_first(mutant, near), *self._best_first(mutant, far)):
            took = self.able[test].took
            if not chosen or total + took <= most_s:
                chosen.append(test)
                total += took
        return chosen

    @cached_property
    def able(self) -> dict[str, Reached]:
        """Tests that fail without any fault prove nothing."""
        return {test: each for test, each in self.tests.items() if each.passed}

    def is_at_import(self, mutant: Mutant) -> bool:
        """Whether the faulty statement is reached before any test, as modules are loaded."""
        return not self._lines(mutant).isdisjoint(self.at_import.get(_file(mutant), ()))

    def _best_first(self, mutant: Mutant, tests: Iterable[str]) -> list[str]:
        return sorted(tests, key=lambda test: (-self._chance(mutant, test) / max(self.able[test].took, QUICK_S), test))

    def _chance(self, mutant: Mutant, test: str) -> float:
        """That a test finds the fault: more where the file is most of what it reaches, then as it was with others."""
        everything = sum(map(len, self.able[test].lines.values()))
        guess = 0.15 + 0.35 * len(self.able[test].lines.get(_file(mutant), ())) / max(everything, 1)
        shown = found = 0.0
        for weight, place in zip((1.0, 0.3), _places(mutant), strict=True):
            shown += weight * self.shown[test, place]
            found += weight * self.found[test, place]
        return (BEFORE * guess + found) / (BEFORE + shown)

    def _lines(self, mutant: Mutant) -> frozenset[int]:
        """Lines one of which a test has to reach: that of the innermost statement, or for what runs as the module is
        loaded (a default, a constant) those of its function, of its class, or of the whole file."""
        inside = [lines for lines in statements(mutant.path) if lines[0] <= mutant.line <= lines[1]]
        line = inside[-1][0] if inside else mutant.line
        if line not in loading(mutant.path):
            return frozenset((line,))
        every = statements(mutant.path)
        bodies = [{line for line, _ in every if first < line <= last} for first, last in inside]
        whole = frozenset(line for line, _ in every)
        return next((frozenset(body) for body in reversed(bodies) if body), whole) if mutant.function else whole


def _file(mutant: Mutant) -> str:
    return str(mutant.path.relative_to(ROOT))


def _places(mutant: Mutant) -> tuple[str, str]:
    return f"{_file(mutant)}:{mutant.function}", _file(mutant)


class _Watching:
    """A pytest plugin that notes for each test what it reaches, its fixtures included, and how long it takes."""

    def __init__(self, marks: Mapping[str, bytearray]) -> None:
        self.marks = marks
        self.at_import: dict[str, list[int]] = {}
        self.tests: dict[str, dict[str, object]] = {}
        self.fixtures: defaultdict[str, dict[str, set[int]]] = defaultdict(dict)
        self.failed: set[str] = set()

    def taken(self) -> dict[str, list[int]]:
        """The marks set since this was asked last."""
        lines = {file: [line for line, mark in enumerate(marks) if mark] for file, marks in self.marks.items()}
        for marks in self.marks.values():
            marks[:] = bytes(len(marks))
        return {file: each for file, each in lines.items() if each}

    def pytest_collection_finish(self) -> None:
        self.at_import = self.taken()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
        yield
        if fixturedef.scope != "function":  # the first test that uses it makes it, and all of them rest on it
            kept = self.fixtures[fixturedef.argname]
            for file, marks in self.marks.items():
                kept.setdefault(file, set()).update(line for line, mark in enumerate(marks) if mark)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.taken()
        before = time.process_time()
        yield
        took, lines = time.process_time() - before, {file: set(each) for file, each in self.taken().items()}
        for name in set(getattr(item, "fixturenames", ())) & set(self.fixtures):
            for file, more in self.fixtures[name].items():
                lines.setdefault(file, set()).update(more)
        reached = {file: sorted(each) for file, each in lines.items() if each}
        self.tests[item.nodeid] = {"took": took, "passed": item.nodeid not in self.failed, "lines": reached}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.passed:
            self.failed.add(report.nodeid)


def reached_by(folder: Path, tests: Sequence[str], keep: Path | None) -> Reaching:
    """Run the tests once as things are; what was measured of the same folder and test file before is not done again.

    Done in a process of its own, so that nothing that it loads is known in this one."""
    files = [str(path.relative_to(ROOT)) for test in tests for path in _files(ROOT / test)]
    digests = {file: _digest([*sorted(folder.glob("*.py")), ROOT / file]) for file in files}
    kept = json.loads(keep.read_text(encoding="utf-8")) if keep is not None and keep.exists() else {}
    wanting = [file for file in files if kept.get(file, {}).get("digest") != digests[file]]
    if wanting:
        for file, measured in _measured(folder, wanting).items():
            kept[file] = {"digest": digests[file], **measured}
        if keep is not None:
            keep.write_text(json.dumps(kept), encoding="utf-8")
    reaching = Reaching()
    for file in files:
        for name, lines in kept[file]["at_import"].items():
            reaching.at_import[name] = reaching.at_import.get(name, frozenset()) | frozenset(lines)
        for test, each in kept[file]["tests"].items():
            lines = {name: frozenset(some) for name, some in each["lines"].items()}
            reaching.tests[test] = Reached(each["took"], each["passed"], lines)
    return reaching


def _files(path: Path) -> list[Path]:
    return sorted(path.glob("test_*.py")) if path.is_dir() else [path]


def _digest(paths: Iterable[Path]) -> str:
    return hashlib.sha256(b"\0".join(path.read_bytes() for path in paths)).hexdigest()


def _measured(folder: Path, files: Sequence[str]) -> dict[str, dict[str, object]]:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(reading)
            with os.fdopen(writing, "w", encoding="utf-8") as out:
                json.dump(_watched(folder, files), out)
            code = 0
        finally:
            os._exit(code)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as told:
        text = told.read()
    os.waitpid(child, 0)
    measured: dict[str, dict[str, object]] = json.loads(text)
    return measured


def _watched(folder: Path, files: Sequence[str]) -> dict[str, dict[str, object]]:
    paths = [path for path in sorted(folder.glob("*.py")) if path.name != "__init__.py"]
    names = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in paths}
    made = {name: marked(path) for name, path in names.items()}
    codes = {name: code for name, (code, _) in made.items()}
    sys.meta_path.insert(0, Loaded(codes, {name: {MARKS: marks} for name, (_, marks) in made.items()}))
    watching = _Watching({str(names[name].relative_to(ROOT)): marks for name, (_, marks) in made.items()})
    pytest.main([*QUIET, *files], plugins=[watching])
    return {
        file: {
            "at_import": watching.at_import,
            "tests": {test: each for test, each in watching.tests.items() if test.split("::")[0] == file},
        }
        for file in files
    }
