"""Similar cases: by what was likely wrong and by what was found, not by words; all cases are compared at once.

May import: `diag.basics`, numpy, and within the room what is below.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from diag.store.book import Book
from diag.store.likeness import finding_number
from diag.store.records import Likeness

__all__ = ["Like", "similar_cases"]

Array: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True)
class Like:
    """A similar case: `likeness` from 0 to 1, and its two halves, `faults` and `findings`."""

    number: int
    likeness: float
    faults: float
    findings: float


def similar_cases(book: Book, likeness: Likeness, most: int = 10, besides: int | None = None) -> tuple[Like, ...]:
    """The most similar cases of the book, most similar first, without `besides` and those that have no likeness.

    Half of the likeness is of the faults: Bhattacharyya's coefficient (1943) of the joint distributions over the kinds
    of component, taken as independent: the product over the kinds of sum_states sqrt(p q). It is 1 less the square of
    Hellinger's distance. The other half is of the findings: Jaccard's index, those in common over those in either.
    """
    found: list[tuple[Array, Array, Array]] = []
    with book.database.reading() as session:
        layouts = session.rows("SELECT layout, names FROM layouts")
        for layout, names in layouts:
            rows = session.rows(
                "SELECT number, chances, findings FROM likeness WHERE layout = :layout ORDER BY number", layout=layout
            )
            if rows:
                numbers, chances, findings = zip(*rows, strict=True)
                faults = _fault_likeness(json.loads(names), b"".join(chances), len(rows), likeness)
                found.append((np.array(numbers), faults, _finding_likeness(findings, likeness)))
    if not found:
        return ()
    number, by_faults, by_findings = (np.concatenate(parts) for parts in zip(*found, strict=True))
    total = np.where(number == (besides or 0), -1.0, (by_faults + by_findings) / 2)
    best = np.lexsort((number, -total))[:most]
    return tuple(
        Like(int(number[k]), float(total[k]), float(by_faults[k]), float(by_findings[k])) for k in best if total[k] >= 0
    )


def _fault_likeness(names: list[list[str]], stored: bytes, cases: int, likeness: Likeness) -> Array:
    """Bhattacharyya's coefficient of each case: `[case]`. A kind that only one of the two knows says nothing."""
    stored_chances = np.frombuffer(stored, dtype="<f4").reshape(cases, len(names))  # [case, state]
    product = np.ones(cases)
    for component in dict.fromkeys(component for component, _ in names):
        if component in likeness.chances:
            columns = [k for k, (kind, _) in enumerate(names) if kind == component]
            asked = np.array([likeness.chances[component].get(names[k][1], 0.0) for k in columns])
            product *= np.sqrt(_with_sound(stored_chances[:, columns]) * _with_sound(asked[None, :])).sum(axis=1)
    return np.minimum(product, 1.0)


def _with_sound(chances: Array) -> Array:
    """Chances of the unsound states `[case, state]` as distributions, with the sound state as one more column."""
    distribution = chances / np.maximum(chances.sum(axis=1, keepdims=True), 1.0)
    sound = np.maximum(1 - distribution.sum(axis=1, keepdims=True), 0.0)
    return np.concatenate([distribution, sound], axis=1)


def _finding_likeness(stored: tuple[bytes, ...], likeness: Likeness) -> Array:
    """Jaccard's index of each case: `[case]`; nothing in either is no likeness."""
    counts = np.array([len(each) // 8 for each in stored])  # [case]
    flat = np.frombuffer(b"".join(stored), dtype="<i8")  # [finding of case]
    asked = np.array([finding_number(word) for word in likeness.findings], dtype="<i8")
    ends = np.concatenate(([0], np.cumsum(np.isin(flat, asked))))  # shared findings up to each place
    bounds = np.concatenate(([0], np.cumsum(counts)))
    shared = ends[bounds[1:]] - ends[bounds[:-1]]
    either = counts + len(asked) - shared
    return np.asarray(shared / np.maximum(either, 1), dtype=np.float64)
