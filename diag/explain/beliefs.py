"""What is believed after each of many parts of what was told, asked for once and read many times.

May import: network, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.explain.weights import log_odds
from diag.inference import Array
from diag.network import CaseNetwork, Claim, Supposed, ToldStep, log_joint, supposed

__all__ = ["Beliefs", "without_places"]

PRECISION = 1e-9  # bound on the relative error above which a chance is asked for by itself


class Beliefs:
    """Beliefs after the parts `told[part, step]`; equal parts are one."""

    def __init__(self, network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_]) -> None:
        self.network, self.steps = network, steps
        self.parts = np.unique(told, axis=0)
        self.numbers = {row.tobytes(): number for number, row in enumerate(self.parts)}

    @cached_property
    def held(self) -> Supposed:
        """What is believed after each part."""
        return supposed(self.network, self.steps, self.parts)

    def rows(self, told: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Where the parts `told[row, step]` stand."""
        return np.array([self.numbers[row.tobytes()] for row in told], dtype=np.intp)

    def chances(self, key: tuple[str, Place]) -> Array:
        """`[part, state]` of a component."""
        return self.held.states[key][:, 0]

    def alone(self, rows: NDArray[np.intp], claim: Claim) -> Array:
        """`[row]`: logarithm of the probability of a claim together with each of these parts, asked for by itself."""
        if not len(rows):
            return np.zeros(0)
        return log_joint(self.network, self.steps, self.parts[rows], (claim,))[:, 0]

    def logs(self, rows: NDArray[np.intp], key: tuple[str, Place], mask: Array) -> Array:
        """`[row]`: logarithm of the probability that a component is in a state of the mask, together with each of these
        parts; read from what is believed then, where the digits suffice."""
        chances = self.chances(key)[rows] @ mask
        with np.errstate(divide="ignore"):
            logs = self.held.log_joint[rows, 0] + np.log(chances)
        unsure = np.flatnonzero(_too_small(chances, self.held.error[rows, 0]))
        logs[unsure] = self.alone(rows[unsure], {key: mask})
        return np.asarray(logs)

    def odds(self, told: NDArray[np.bool_], component: str, places: Sequence[Place]) -> Array:
        """`[row, place]`: log-odds in decibans that a component is not sound, after the parts `told[row, step]`."""
        rows = self.rows(told)
        found = np.empty((len(rows), len(places)))
        for at, place in enumerate(places):
            key = (component, place)
            sound = np.eye(1, self.chances(key).shape[1])[0]
            found[:, at] = log_odds(np.stack([self.logs(rows, key, mask) for mask in (1.0 - sound, sound)], axis=1))
        return found


def _too_small(chances: Array, error: Array) -> NDArray[np.bool_]:
    """Which chances the digits do not suffice for."""
    return np.asarray(~((chances > 0) & (error <= PRECISION * chances)))


def without_places(network: CaseNetwork, steps: Sequence[ToldStep]) -> tuple[tuple[Place, ...], NDArray[np.bool_]]:
    """The places where something was told, and `[place, step]`: all that was told but what was told there."""
    told_of = {step.question.place for step in steps}
    order: list[Place] = [*network.case.engine.cylinders, *network.case.engine.banks, None]
    sources = tuple(place for place in order if place in told_of)
    told = [[step.question.place != place for step in steps] for place in sources]
    return sources, np.array(told, dtype=np.bool_).reshape(len(sources), len(steps))
