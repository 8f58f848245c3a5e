"""Runs tests on faults: all is loaded once, then each fault has a forked process of its own, until a test fails.

May import: pytest, hypothesis, `operators`, `probes`, `reaching`, `swapping`.
"""

from __future__ import annotations

import os
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType

import pytest

from tests.mutation.operators import Mutant
from tests.mutation.probes import Loaded
from tests.mutation.reaching import QUIET, ROOT, Reaching
from tests.mutation.swapping import Functions, code_of, functions_below, swapped

__all__ = ["Verdict", "paths_of", "try_all"]

PATIENCE = 10.0  # times the processor time that a test takes without a fault, and as many seconds besides
MEMORY = 3 << 30  # what a faulty process may take above what it begins with
FOUND, SURVIVED = 1, 0


@dataclass(frozen=True)
class Verdict:
    """What became of a fault: 'found', 'ran on' (stopped after long), 'survived', 'not reached' by any test; by which
    test it was found, how many were run, and for how long."""

    mutant: Mutant
    became: str
    test: str
    tests: int
    seconds: float

    @property
    def found(self) -> bool:
        """Whether the tests noticed."""
        return self.became in ("found", "ran on")


@dataclass
class _Trying:
    """A pytest plugin that, instead of running the collected tests, tries every fault on those that may see it."""

    folder: Path
    mutants: Sequence[Mutant]
    reaching: Reaching
    most_s: float
    tell: Callable[[Verdict], bool]

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        functions = functions_below(self.folder)
        for mutant in self.mutants:
            if not self.tell(self._tried(mutant, items, functions)):
                break
        return True

    def _tried(self, mutant: Mutant, items: Mapping[str, pytest.Item], functions: Functions) -> Verdict:
        order = [test for test in self.reaching.order(mutant, self.most_s) if test in items]
        if not order:
            return Verdict(mutant, "not reached", "", 0, 0.0)
        began, code = time.monotonic(), code_of(mutant)
        sys.stdout.flush()
        with tempfile.NamedTemporaryFile() as log:
            child = os.fork()
            if child == 0:
                _as_child(lambda: self._shown(mutant, code, [items[test] for test in order], functions, log.fileno()))
            became = _awaited(child, began + 120.0 + 2 * PATIENCE * self.most_s)
            shown = Path(log.name).read_text(encoding="utf-8").split("\n")[:-1]
        verdict = Verdict(mutant, became, shown[-1] if shown else "", len(shown), time.monotonic() - began)
        self.reaching.note(mutant, shown or order[:1], verdict.found)
        return verdict

    def _shown(
        self, mutant: Mutant, code: CodeType, items: Sequence[pytest.Item], functions: Functions, log: int
    ) -> int:
        took = {item.nodeid: self.reaching.tests[item.nodeid].took for item in items}
        config = items[0].config
        config.pluginmanager.register(_Stopping(took, log))
        if not self.reaching.is_at_import(mutant) and swapped(code, functions):
            for item, following in zip(items, [*items[1:], None], strict=True):
                config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            return SURVIVED
        for known in [name for name, module in sys.modules.items() if _is_ours(module)]:
            del sys.modules[known]
        sys.meta_path.insert(0, Loaded({".".join(mutant.path.relative_to(ROOT).with_suffix("").parts): code}))
        outcome = int(pytest.main([*QUIET, *took], plugins=[_Stopping(took, log)]))
        return SURVIVED if outcome == pytest.ExitCode.OK else FOUND


class _Stopping:
    """Notes each test as it begins, gives it its time, and ends the process when one fails."""

    def __init__(self, took: Mapping[str, float], log: int) -> None:
        self.took, self.log = took, log

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logstart(self, nodeid: str) -> None:
        os.write(self.log, f"{nodeid}\n".encode())
        may = time.process_time() + PATIENCE + PATIENCE * self.took.get(nodeid, 1.0)
        resource.setrlimit(resource.RLIMIT_CPU, (int(may) + 1, resource.getrlimit(resource.RLIMIT_CPU)[1]))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            os._exit(FOUND)


def try_all(
    folder: Path,
    mutants: Sequence[Mutant],
    reaching: Reaching,
    most_s: float,
    tell: Callable[[Verdict], bool],
) -> None:
    """Show every fault to the tests that may see it, for so many seconds of tests each; each verdict is told,
    until `tell` says that it is enough."""
    _without_shrinking()
    files = sorted({test.split("::")[0] for test in reaching.tests})
    with tempfile.TemporaryDirectory() as base:
        plugin = _Trying(folder, mutants, reaching, most_s, tell)
        pytest.main([*QUIET, f"--basetemp={base}/tests", *files], plugins=[plugin])


def _without_shrinking() -> None:
    """That a test fails is all that is asked; the simplest example is not looked for."""
    from hypothesis import Phase, settings

    settings.register_profile("faults", phases=(Phase.explicit, Phase.generate), database=None)
    settings.load_profile("faults")


def _as_child(work: Callable[[], int]) -> None:
    """Does the work in silence, with bounded memory, and ends with what it returns."""
    code = FOUND
    try:
        os.setpgrp()
        size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (size + MEMORY, resource.RLIM_INFINITY))
        with open(os.devnull, "w") as nothing:  # noqa: PTH123
            os.dup2(nothing.fileno(), 1)
            os.dup2(nothing.fileno(), 2)
        code = work()
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
            code = os.waitstatus_to_exitcode(status)
            return "survived" if code == SURVIVED else "ran on" if code == -signal.SIGXCPU else "found"
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "ran on"


def paths_of(folder: Path, names: Iterable[str] | None) -> list[Path]:
    """The modules of a folder, or those of some names."""
    paths = [path for path in sorted(folder.glob("*.py")) if path.name != "__init__.py"]
    wanted = set(names) if names is not None else {path.name for path in paths}
    return [path for path in paths if path.name in wanted]
