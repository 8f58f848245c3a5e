"""Runs a reader on so many spoilt inputs and tells what became of them. May import: `readers`, `spoiling`."""

from __future__ import annotations

import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from tests.fuzz.readers import reader_named
from tests.fuzz.spoiling import spoilt

__all__ = ["Crash", "Fuzzed", "fuzz", "input_of"]

SLOW_S = 10.0  # of processor time that one input may take at most
MOST_CRASHES = 20


@dataclass(frozen=True)
class Crash:
    """An input that broke a reader: its number, which with the seed gives it again, the input, and the trace."""

    number: int
    content: bytes
    what: str
    trace: str


@dataclass
class Fuzzed:
    """What became of the inputs of one reader."""

    name: str
    became: Counter[str] = field(default_factory=Counter)
    crashes: dict[str, Crash] = field(default_factory=dict)
    seconds: float = 0.0
    slowest_s: float = 0.0

    def __str__(self) -> str:
        done = sum(self.became.values())
        rate = done / self.seconds if self.seconds else 0.0
        return (
            f"{self.name}: {done} executions, {self.became['read']} read, {self.became['refused']} refused, "
            f"{self.became['crash']} crashes at {len(self.crashes)} places, {self.seconds:.0f} s ({rate:.0f}/s), "
            f"slowest {self.slowest_s:.1f} s"
        )


def input_of(name: str, seed: int, number: int, corpus: tuple[bytes, ...], words: tuple[bytes, ...]) -> bytes:
    """Input number so-and-so of a run."""
    return spoilt(corpus, words, Random(f"{name} {seed} {number}"))


def fuzz(name: str, executions: int, seed: int = 0, most_s: float = float("inf")) -> Fuzzed:
    """Run a reader on `executions` inputs, or for `most_s` seconds; one crash is kept for each place in the code."""
    found = Fuzzed(name)
    with tempfile.TemporaryDirectory() as folder, reader_named(name, Path(folder)) as reader:
        began = time.monotonic()
        for number in range(executions):
            content = input_of(name, seed, number, reader.corpus, reader.words)
            before = time.process_time()
            try:
                became = reader.take(content)
                assert time.process_time() - before < SLOW_S, "this input takes too long"
            except Exception as error:  # whatever comes out is what is looked for
                became = "crash"
                _note(found, Crash(number, content, f"{type(error).__name__}: {error}"[:300], traceback.format_exc()))
            found.became[became] += 1
            found.slowest_s = max(found.slowest_s, time.process_time() - before)
            found.seconds = time.monotonic() - began
            if found.seconds > most_s or len(found.crashes) >= MOST_CRASHES:
                break
    return found


def _note(found: Fuzzed, crash: Crash) -> None:
    lines = [line for line in crash.trace.splitlines() if line.startswith("  File")]
    found.crashes.setdefault(lines[-1] if lines else crash.what, crash)
