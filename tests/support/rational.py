"""Two-level noisy-OR networks in exact rational numbers: no rounding anywhere, to judge the numbers of others.

May import: numpy, and the records of `diag.inference`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import product

import numpy as np

from diag.inference import Array, Axis, Component, Emission, Evidence, Link, Model, Plate, SharedSeverity

__all__ = ["ABSENT", "PRESENT", "NoisyOr"]

ABSENT = np.array([[1.0, 0.0]])
PRESENT = np.array([[0.0, 1.0]])


@dataclass(frozen=True)
class NoisyOr:
    """Independent faults, and findings that each are a leaky noisy-OR of them (Heckerman 1989).

    `priors[fault]`, `activations[finding][fault]`, `leaks[finding]`.
    """

    priors: tuple[float, ...]
    activations: tuple[tuple[float, ...], ...]
    leaks: tuple[float, ...]

    def posterior(self, present: frozenset[int], absent: frozenset[int]) -> tuple[Fraction, tuple[Fraction, ...]]:
        """P(evidence) and P(fault | evidence) for each fault, by summing over all sets of faults in fractions."""
        total = Fraction(0)
        with_fault = [Fraction(0)] * len(self.priors)
        for faults in product((False, True), repeat=len(self.priors)):
            chance = Fraction(1)
            for there, prior in zip(faults, self.priors, strict=True):
                chance *= Fraction(prior) if there else 1 - Fraction(prior)
            for finding in present | absent:
                quiet = 1 - Fraction(self.leaks[finding])
                for there, activation in zip(faults, self.activations[finding], strict=True):
                    quiet *= 1 - Fraction(activation) if there else 1
                chance *= quiet if finding in absent else 1 - quiet
            total += chance
            for fault, there in enumerate(faults):
                with_fault[fault] += chance if there else 0
        return total, tuple(value / total for value in with_fault)

    def model(self) -> Model:
        """The same network for the engine: a plate of one component a fault, a shared severity a finding."""
        plates = tuple(
            Plate(
                f"fault {fault}",
                (Component("fault", np.array([[1 - prior, prior]]), (Link((0,), np.eye(2)[None]),)),),
                (Axis("there", 2),),
                tuple(
                    Emission(finding, (0,), np.array([[1.0, 0.0], [1 - row[fault], row[fault]]]))
                    for finding, row in enumerate(self.activations)
                ),
            )
            for fault, prior in enumerate(self.priors)
        )
        shared = tuple(
            SharedSeverity(f"finding {finding}", 2, 1, (np.array([[[1 - leak, leak]]]),))
            for finding, leak in enumerate(self.leaks)
        )
        return Model(np.ones(1), plates, shared)

    def evidence(self, present: frozenset[int], absent: frozenset[int]) -> Evidence:
        """Findings present and absent as evidence for the engine."""
        told: list[tuple[tuple[tuple[int, int], ...], Array]] = []
        told += [(((finding, 0),), PRESENT) for finding in sorted(present)]
        told += [(((finding, 0),), ABSENT) for finding in sorted(absent)]
        return Evidence(shared=tuple(told))
