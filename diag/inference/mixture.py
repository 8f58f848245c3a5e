"""The posterior as a signed mixture of independent plates, for expectations of products over plates.

'Is every fault cured?' and 'does every seal last?' are products over plates of something that depends on the plate's
states and the configuration. Their expectation under the posterior is one sum over terms. May import: numpy,
`diag.basics`, and the modules of this room below it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.basics import TooLarge
from diag.inference.blocks import Block, densities, everything, plate_block
from diag.inference.contracting import TermSums, term_sums
from diag.inference.engine import refuse_impossible, run
from diag.inference.leaves import FEW
from diag.inference.model import Array, Evidence, Model
from diag.inference.terms import Number, background_terms, evidence_groups, terms

__all__ = ["Choices", "Mixture", "mixture"]

DIGITS = 1e-9  # relative error of plain numbers beyond which longer ones are used
PRECISION = 1e-6  # relative error beyond which a mixture is refused
AT_ONCE = 1 << 22  # numbers of one product held at once


@dataclass(frozen=True)
class Mixture:
    """`weights[case, term]` (signed; the probability of the evidence is divided out), for each plate
    `values[plate][option, case or 1, term]`, `configuration_values[option, term]`, and `log_evidence[case]`.

    `cancellation` bounds the relative error that the signs cause in an expectation.
    """

    weights: Array
    values: tuple[Array, ...]
    configuration_values: Array
    log_evidence: Array
    cancellation: float

    def expectation(self, options: Sequence[int], configuration_option: int = 0) -> Array:
        """`[case]`: expected product over plates of the chosen option's factors, given the evidence."""
        product = self.weights * self.configuration_values[configuration_option]
        for values, option in zip(self.values, options, strict=True):
            product = product * values[option]
        return np.asarray(product.sum(axis=1))


Choices = Sequence[Mapping[int, Array]]


def mixture(
    model: Model, evidence: Evidence, choices: Sequence[Choices], configuration_choices: Sequence[Array] = ()
) -> Mixture:
    """Prepare expectations of products over plates.

    `choices[plate]` lists options; an option maps component indices of that plate to factors `[configuration or 1,
    state]` (an empty one is the plate as it is). `configuration_choices` are factors `[configuration]`. Plates on
    whose evidence the cases agree keep a case dimension of 1. Where the signs cost digits, all is done again in the
    longest numbers that the machine has. Raises ImpossibleEvidence, and TooLarge where even they do not suffice.
    """
    prepared = _Preparation(model, evidence, choices, np.float64)
    if not prepared.cancellation <= DIGITS:
        prepared = _Preparation(model, evidence, choices, np.longdouble)
        if not prepared.cancellation <= PRECISION:
            refuse_impossible(run(model, evidence, gradient=False)[1].probability)  # rounding alone proves nothing
            raise TooLarge(
                f"so many rare findings meet here that rounding would reach {prepared.cancellation:.0e} of a result; "
                "mark doubtful findings as 'not sure'"
            )
    configurations = len(model.configurations)
    factors = np.stack([*configuration_choices]) if configuration_choices else np.ones((1, configurations))
    base = prepared.base / prepared.probability[:, None, None]
    return Mixture(
        np.broadcast_to(base, (evidence.cases, *base.shape[1:])).reshape(evidence.cases, -1),
        tuple(prepared.values),
        np.repeat(factors, base.shape[2], axis=1),
        np.log(prepared.probability).astype(np.float64),
        prepared.cancellation,
    )


class _Preparation:
    """The mixture's parts in numbers of one length."""

    def __init__(self, model: Model, evidence: Evidence, choices: Sequence[Choices], number: Number) -> None:
        self.chosen = terms(evidence_groups(model, evidence))
        self.model, self.evidence, self.number = model, evidence, number
        self.tables: dict[object, TermSums] = {}
        background = background_terms(model.shared, self.chosen, number)
        self.base = self.chosen.coefficient[:, None, :] * (model.configurations[:, None] * background)
        self.values: list[Array] = []
        total = self.base
        alike: dict[object, tuple[Array, Array]] = {}
        for plate, options in enumerate(choices):
            part, every = self._part(plate), (*options, {})
            key = _fingerprint(part, every)
            if key not in alike:  # plates alike in all that matters here are done once
                sums = self._sums(part, every)
                wide = np.broadcast_to(sums[:-1], (*sums[:-1].shape[:2], *self.base.shape[1:]))
                alike[key] = sums[-1], wide.reshape(*wide.shape[:2], -1)
            total = total * alike[key][0]
            self.values.append(alike[key][1])
        self.probability = np.broadcast_to(total.sum(axis=(1, 2)), (evidence.cases,))
        size = np.abs(total).sum(axis=(1, 2))
        rounding = 4 * float(np.finfo(number).eps)
        possible = bool(np.all(self.probability > 0))
        self.cancellation = float(np.max(size / self.probability)) * rounding if possible else float("inf")

    def _part(self, plate: int) -> Block:
        part = plate_block(self.model, self.evidence, plate, everything(self.model))
        if part.first.dense:
            return part
        return plate_block(self.model, self.evidence, plate, frozenset(self.chosen.axes))

    def _sums(self, part: Block, options: Choices) -> Array:
        """`[option, case or 1, configuration or 1, term]`."""
        wide = len(self.model.configurations)
        if part.first.dense and wide <= FEW:
            density = densities(part, options)
            return self._table(part).of(density.reshape(*density.shape[:3], *part.sizes), 3)
        at_once = max(1, AT_ONCE // (wide * math.prod(part.sizes if part.first.dense else (len(self.base[0, 0]),))))
        found = []
        for first in range(0, len(options), at_once):
            some = options[first : first + at_once]
            chosen = part.with_options(0, some)
            if part.first.dense:
                density = chosen.density
                sums = self._table(part).of(density.reshape(*density.shape[:3], *part.sizes), 3)
            else:
                sums = chosen.sums(self.chosen)
            sums = np.take(sums, chosen.classes[0], axis=2) if sums.shape[2] > 1 else sums
            found.append(np.broadcast_to(sums, (len(some), *sums.shape[1:])))
        shape = np.broadcast_shapes(*(each.shape[1:] for each in found))
        return np.concatenate([np.broadcast_to(each, (len(each), *shape)) for each in found])

    def _table(self, part: Block) -> TermSums:
        if part.voice not in self.tables:
            emissions = part.first.plate.emissions
            made = term_sums(emissions, part.kept, part.sizes, self.chosen, self.number)
            assert made is not None, "nothing is kept apart"
            self.tables[part.voice] = made[0]
        return self.tables[part.voice]


def _fingerprint(part: Block, options: Choices) -> object:
    """Equal for plates that are alike in all that their sums depend on."""
    told = tuple(
        tuple((index, factor.tobytes()) for index, factor in sorted(option.items(), key=_index)) for option in options
    )
    leaves = tuple(array.tobytes() for array in (*part.leaves, *part.likelihoods))
    seen = tuple((component.base, component.seen) for component in part.first.plate.components)
    return part.first.shape_key, part.voice, part.first.weights, part.classes, seen, leaves, told


def _index(item: tuple[int, Array]) -> int:
    return item[0]
