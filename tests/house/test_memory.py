"""What a process does with memory that was let go, in a process of its own."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

from diag.basics import memory

SCRIPT = """
import resource, sys
import numpy as np
from diag.basics import keep_freed

if sys.argv[1] == "kept":
    keep_freed()
for _ in range(3):
    np.ones(5_000_000)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(40):
    np.ones(5_000_000)  # 40 MB: more than the C library takes from what it holds, as a rule
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def _faults(how: str) -> int:
    done = subprocess.run([sys.executable, "-c", SCRIPT, how], capture_output=True, text=True, check=True)
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the C library is not GNU's")
def test_large_arrays_come_out_of_memory_that_is_held() -> None:
    """The system gives a cleared page for every page of a new array, unless the process holds it already."""
    assert _faults("kept") * 3 < _faults("plain")


def test_another_system_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr(memory.ctypes, "CDLL", asked.append)
    monkeypatch.setattr(memory.sys, "platform", "win32")
    memory.keep_freed()
    assert not asked
