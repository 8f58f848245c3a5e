"""The batch engine against the limit of this machine: cases per second, arithmetic per case, share of its own peak.

Run `python -m tests.benchmarks.limit [--quick]`. Everything is measured in one run on one core, in processor seconds,
so that other work on the machine counts little. The peak is the best of several products of large matrices by the same
library; the rate of single numbers is that of adding two large arrays, which memory bounds. Arithmetic is counted, not
estimated: arrays that tell of every operation done on them go through the engine (a product of m x k and k x n counts
2mkn, everything else one for each number made, a sum one for each number summed). The account says stage by stage (the
modules of the engine) where the processor time goes, and at which share of the peak it is spent.
May import: `diag.inference`, `tests.support`.
"""

from __future__ import annotations

import argparse
import cProfile
import os
import pstats
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar
from unittest import mock

import numpy as np

from diag.inference import Array, Evidence, Model, infer
from tests.benchmarks.v8 import V8, batch_of
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model

__all__ = ["Share", "Stage", "account", "adding_rate", "counted", "main", "peak", "share_of", "single_precision"]

ROOM = "diag.inference."
WIDE = ("asarray", "ascontiguousarray", "zeros", "ones", "empty", "empty_like", "stack", "concatenate", "broadcast_to")
WIDE += ("cumsum", "take", "transpose")


STAGES = {
    "maximum": "maxima of contributions, and their gradients",
    "local": "joining the factors of a plate, up and down",
    "passes": "products over the plates, term by term",
    "contracting": "densities of plates to their sums over terms",
    "terms": "terms of the shared severities, and tables by term",
    "blocks": "plates alike, stacked",
    "leaves": "factors of each plate from model and evidence",
    "spreads": "which configurations see which rows",
    "engine": "what is carried, and the answers made of it",
    "levels": "severities that no evidence speaks of",
}


@dataclass(frozen=True)
class Stage:
    """A module of the engine: its share of a batch's processor time (what it calls of numpy included), its operations a
    case in products of matrices and other ones, and the rate of both over the peak."""

    name: str
    time_share: float
    products: float
    other: float
    of_peak: float

    def __str__(self) -> str:
        return (
            f"| {self.name} | {STAGES.get(self.name, '')} | {100 * self.time_share:.0f} % | "
            f"{self.products / 1e6:.3f} | {self.other / 1e6:.3f} | {100 * self.of_peak:.1f} % |"
        )


@dataclass(frozen=True)
class Share:
    """Seconds of a batch, its floating-point operations (in `products` of matrices, and `other`), seconds in products,
    and what the machine can do: operations a second in products at its `peak`, numbers a second in `adding` arrays."""

    cases: int
    form: str
    seconds: float
    products: float
    other: float
    peak: float
    product_s: float
    adding: float

    @property
    def share(self) -> float:
        """All arithmetic done in a second over the peak."""
        return (self.products + self.other) / self.seconds / self.peak

    def __str__(self) -> str:
        all_of_it = self.products + self.other
        rate = self.products / self.product_s if self.product_s else 0.0
        return (
            f"{self.cases} cases ({self.form}): {self.cases / self.seconds:,.0f} a second, "
            f"{all_of_it / self.cases / 1e6:.2f} million operations a case ({100 * self.products / all_of_it:.0f} % in "
            f"products of matrices), {100 * self.share:.1f} % of the peak of {self.peak / 1e9:.0f} GFLOP/s. Products "
            f"take {100 * self.product_s / self.seconds:.0f} % of the time, at {100 * rate / self.peak:.0f} % of the "
            f"peak; at the rate of adding large arrays the others would take "
            f"{100 * self.other / self.adding / self.seconds:.0f} %"
        )


class _Told(np.ndarray[Any, Any]):
    """An array that counts what is done with it."""

    counts: ClassVar[Counter[str]] = Counter()

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **more: Any) -> Any:
        """Do it on plain arrays, and count."""
        plain = [_plain(each) for each in inputs]
        if "out" in more:
            more["out"] = tuple(_plain(each) for each in more["out"])
        began = time.process_time()
        result = getattr(ufunc, method)(*plain, **more)
        stage = _stage()
        if ufunc is np.matmul:
            self.counts[f"products in {stage}"] += 2 * plain[0].shape[-1] * result.size
            self.counts["products"] += 2 * plain[0].shape[-1] * result.size
            self.counts["product_ns"] += int(1e9 * (time.process_time() - began))
        elif method == "reduce":
            self._more(stage, plain[0].size)
        elif method == "__call__" and getattr(result, "dtype", None) == np.float64:
            self._more(stage, result.size)
        return result.view(_Told) if isinstance(result, np.ndarray) else result

    def _more(self, stage: str, operations: int) -> None:
        self.counts["other"] += operations
        self.counts[f"other in {stage}"] += operations


def _stage() -> str:
    """The module of the engine on whose behalf something is reckoned."""
    frame = sys._getframe(2)
    while frame.f_back is not None and not frame.f_globals.get("__name__", "").startswith(ROOM):
        frame = frame.f_back
    name = str(frame.f_globals.get("__name__", ""))
    return name.removeprefix(ROOM) if name.startswith(ROOM) else "outside"


def _plain(value: Any) -> Any:
    return value.view(np.ndarray) if isinstance(value, _Told) else value


class _Numpy:
    """numpy, but that what it makes counts what is done with it."""

    def __getattr__(self, name: str) -> Any:
        found = getattr(np, name)
        return _counting(found) if name in WIDE else found


def _counting(function: Callable[..., Any]) -> Callable[..., Any]:
    def call(*arguments: Any, **more: Any) -> Any:
        plain = [
            [_plain(one) for one in each] if isinstance(each, list | tuple) else _plain(each) for each in arguments
        ]
        result = function(*plain, **more)
        return result.view(_Told) if isinstance(result, np.ndarray) and result.dtype == np.float64 else result

    return call


@contextmanager
def counted() -> Iterator[Counter[str]]:
    """Within this, the engine's arithmetic is counted."""
    modules = [module for name, module in sys.modules.items() if name.startswith(ROOM) and hasattr(module, "np")]
    _Told.counts.clear()
    patches = [mock.patch.object(module, "np", _Numpy()) for module in modules]
    for patch in patches:
        patch.start()
    try:
        yield _Told.counts
    finally:
        for patch in patches:
            patch.stop()


def peak(size: int = 1024, times: int = 8) -> float:
    """Operations a second of a product of two square matrices in double precision: the best of some."""
    random = np.random.default_rng(0)
    left, right = random.random((size, size)), random.random((size, size))
    return 2.0 * size**3 / min(_seconds(lambda: left @ right) for _ in range(times))


def adding_rate(size: int = 1 << 23, times: int = 5) -> float:
    """Numbers a second that adding two large arrays makes: the best of some."""
    left, right, out = np.ones(size), np.ones(size), np.empty(size)
    return size / min(_seconds(lambda: np.add(left, right, out=out)) for _ in range(times))


def _seconds(call: Callable[[], object]) -> float:
    before = time.process_time()
    call()
    return time.process_time() - before


def share_of(model: Model, evidence: Evidence, of: float, adding: float, times: int = 3) -> Share:
    """Measure one batch."""
    form = infer(model, evidence).form
    seconds = min(_seconds(lambda: infer(model, evidence)) for _ in range(times))
    with counted() as counts:
        infer(model, evidence)
        found = dict(counts)
    product_s = 1e-9 * found.get("product_ns", 0)
    return Share(evidence.cases, form, seconds, found["products"], found["other"], of, product_s, adding)


def account(model: Model, evidence: Evidence, of: float, least: float = 0.01) -> list[Stage]:
    """Where the processor time of a batch goes: each stage that takes at least so much of it, the most costly first,
    and all others together. Time is that of a run in which every call is timed, arithmetic that of another."""
    infer(model, evidence)
    watch = cProfile.Profile(time.process_time)
    watch.runcall(infer, model, evidence)
    seconds = _by_module(pstats.Stats(watch))
    with counted() as counts:
        infer(model, evidence)
        done = dict(counts)
    whole = sum(seconds.values())
    stages = []
    for name, spent in seconds.most_common():
        products, other = done.get(f"products in {name}", 0), done.get(f"other in {name}", 0)
        per_case = products / evidence.cases, other / evidence.cases
        stages.append(Stage(name, spent / whole, *per_case, (products + other) / max(spent, 1e-9) / of))
    large = [each for each in stages if each.time_share >= least]
    small = [each for each in stages if each.time_share < least]
    share = sum(each.time_share for each in small)
    products, other = sum(each.products for each in small), sum(each.other for each in small)
    if share > 0:
        rate = (products + other) * evidence.cases / (share * whole)
        large.append(Stage("all others", share, products, other, rate / of))
    return large


def _by_module(stats: pstats.Stats) -> Counter[str]:
    """Own seconds of each module of the engine, with those of what it calls outside of the engine."""
    found: Counter[str] = Counter()
    table = stats.stats  # type: ignore[attr-defined]

    def give(function: tuple[str, int, str], seconds: float, depth: int) -> None:
        path = Path(function[0])
        callers = table[function][4] if function in table else {}
        if path.parent.name == "inference" or depth == 0 or not callers:
            found[path.stem if path.parent.name == "inference" else "outside"] += seconds
            return
        whole = sum(each[2] for each in callers.values()) or sum(each[3] for each in callers.values())
        for caller, each in callers.items():
            share = each[2] if sum(one[2] for one in callers.values()) else each[3]
            give(caller, seconds * share / whole if whole else seconds / len(callers), depth - 1)

    for function, (_, _, own, _, _) in table.items():
        give(function, own, 6)
    return found


def single_precision(rows: int, inner: int, columns: int, times: int = 5) -> tuple[float, float]:
    """The engine's largest product in single precision: how much quicker, and its largest relative error, measured.

    Densities of plates, which span many orders of magnitude, times tables of chances."""
    random = np.random.default_rng(1)
    density: Array = random.dirichlet(np.full(inner, 0.05), rows)
    table: Array = random.uniform(0.0, 1.0, (inner, columns))
    narrow, narrow_table = density.astype(np.float32), table.astype(np.float32)
    wide_s = min(_seconds(lambda: density @ table) for _ in range(times))
    narrow_s = min(_seconds(lambda: narrow @ narrow_table) for _ in range(times))
    exact = density @ table
    return wide_s / narrow_s, float(np.max(np.abs((narrow @ narrow_table) / exact - 1.0)))


def main() -> None:
    """Print what a V8 costs in batches, against the peak."""
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":  # read when numpy is loaded, so begin again with it set
        os.environ["OPENBLAS_NUM_THREADS"] = "1"
        os.execv(sys.executable, [sys.executable, "-m", "tests.benchmarks.limit", *sys.argv[1:]])
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes")
    quick = parser.parse_args().quick
    model = workshop_model(Layout(3, vehicle=2, configurations=2) if quick else V8)
    of, adding = peak(256 if quick else 1024), adding_rate(1 << 16 if quick else 1 << 23)
    for present in (2,) if quick else (2, 4, 7, 10):
        evidence = random_case(model, 0, present)
        print(sizes_in_words(model, evidence))
        for cases in (16,) if quick else (64, 256):
            print(f"  {share_of(model, batch_of(evidence, cases), of, adding, 1 if quick else 2)}", flush=True)
        print(
            f"\nWhere the time of the last batch of {present} symptoms present goes; millions of operations a case:\n"
        )
        print("| stage | what it does | time | in products | others | rate of both, of the peak |")
        print("|---|---|---|---|---|---|")
        for stage in account(model, batch_of(evidence, cases), of):
            print(stage, flush=True)
        print()
    for terms in (16, 128):
        faster, error = single_precision(64, 432, terms)
        print(
            f"64 densities x {terms} terms in single precision: {faster:.1f} times quicker, relative error {error:.0e}"
        )


if __name__ == "__main__":
    main()
