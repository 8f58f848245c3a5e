"""The batch engine against the limit of this machine: cases per second, arithmetic per case, share of its own peak.

Run `python -m tests.benchmarks.limit [--quick]`. Everything is measured in one run on one core, in processor seconds,
so that other work on the machine counts little. The peak is the best of several products of large matrices by the same
library; the rate of single numbers is that of adding two large arrays, which memory bounds. Arithmetic is counted, not
estimated: arrays that tell of every operation done on them go through the engine (a product of m x k and k x n counts
2mkn, everything else one for each number made, a sum one for each number summed).
May import: `diag.inference`, `tests.support`.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, ClassVar
from unittest import mock

import numpy as np

from diag.inference import Array, Evidence, Model, infer
from tests.benchmarks.v8 import V8, batch_of
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model

__all__ = ["Share", "adding_rate", "counted", "main", "peak", "share_of", "single_precision"]

ROOM = "diag.inference."
WIDE = ("asarray", "ascontiguousarray", "zeros", "ones", "empty", "empty_like", "stack", "concatenate", "broadcast_to")
WIDE += ("cumsum", "take", "transpose")


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
        if ufunc is np.matmul:
            self.counts["products"] += 2 * plain[0].shape[-1] * result.size
            self.counts["product_ns"] += int(1e9 * (time.process_time() - began))
        elif method == "reduce":
            self.counts["other"] += plain[0].size
        elif method == "__call__" and getattr(result, "dtype", None) == np.float64:
            self.counts["other"] += result.size
        return result.view(_Told) if isinstance(result, np.ndarray) else result


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
    for terms in (16, 128):
        faster, error = single_precision(64, 432, terms)
        print(
            f"64 densities x {terms} terms in single precision: {faster:.1f} times quicker, relative error {error:.0e}"
        )


if __name__ == "__main__":
    main()
