"""Which tests call which functions, and how long each takes: so that a fault is shown only to tests that can see it.

A pytest plugin: functions are noted by the calls that Python itself reports (`sys.setprofile`).
May import: pytest, the standard library.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import pytest

__all__ = ["Reaching"]


@dataclass
class Reaching:
    """`called[test]`: (file, function) pairs below the folders; `took[test]`: seconds; `failed`: those that fail so."""

    folders: tuple[Path, ...]
    called: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    took: dict[str, float] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.roots = tuple(str(folder) for folder in self.folders)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Note what is called during one test, its fixtures included."""
        seen: set[tuple[str, str]] = set()
        roots = self.roots

        def note(frame: FrameType, event: str, _: object) -> None:
            if event == "call" and frame.f_code.co_filename.startswith(roots):
                seen.add((frame.f_code.co_filename, frame.f_code.co_qualname.replace(".<locals>", "")))

        before = time.perf_counter()
        sys.setprofile(note)
        try:
            yield
        finally:
            sys.setprofile(None)
        self.took[item.nodeid] = time.perf_counter() - before
        self.called[item.nodeid] = seen

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Tests that fail without any fault prove nothing."""
        if report.failed:
            self.failed.add(report.nodeid)

    def tests_for(self, path: Path, function: str, most_s: float) -> list[str]:
        """Tests that call a function (any of the file, where none is named), quickest first, for so many seconds."""
        able = [
            test
            for test, called in self.called.items()
            if test not in self.failed and any(_is_in(each, str(path), function) for each in called)
        ]
        chosen, total = [], 0.0
        for test in sorted(able, key=self.took.__getitem__):
            total += self.took[test]
            if chosen and total > most_s:
                break
            chosen.append(test)
        return chosen


def _is_in(called: tuple[str, str], path: str, function: str) -> bool:
    """Whether a call is of that function, or of a comprehension or function within it."""
    return called[0] == path and (not function or called[1] == function or called[1].startswith(f"{function}."))
