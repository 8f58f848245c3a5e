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
from numpy.typing import NDArray

from diag.basics import TooLarge
from diag.inference.blocks import Block, everything, plate_block
from diag.inference.contracting import TermSums, term_sums
from diag.inference.densities import densities, option_key
from diag.inference.engine import refuse_impossible, run
from diag.inference.leaves import FEW
from diag.inference.model import Array, Evidence, Model
from diag.inference.terms import Number, Terms, background_terms, distinct_terms, evidence_groups, terms

__all__ = ["Choices", "Mixture", "mixture", "mixtures"]

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
    return mixtures(model, [evidence], choices, configuration_choices)[0]


def mixtures(
    model: Model, each: Sequence[Evidence], choices: Sequence[Choices], configuration_choices: Sequence[Array] = ()
) -> list[Mixture]:
    """`mixture` of several evidence sets that differ only in their number of cases and in what was told of shared
    severities: what does not depend on that is laid out once."""
    laid = _Laid(model, each[0], choices)
    return [_mixture(laid, evidence, configuration_choices) for evidence in each]


def _mixture(laid: _Laid, evidence: Evidence, configuration_choices: Sequence[Array]) -> Mixture:
    model = laid.model
    prepared = _Preparation(laid, evidence, np.float64)
    if not prepared.cancellation <= DIGITS:
        prepared = _Preparation(laid, evidence, np.longdouble)
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


class _Laid:
    """What a mixture needs and the evidence on shared severities does not change: each plate with its options, and
    which plates are alike in all that matters here; `sums` that were made are kept by the terms that a plate hears."""

    def __init__(self, model: Model, evidence: Evidence, choices: Sequence[Choices]) -> None:
        self.model, self.evidence = model, evidence
        self.options = [(*options, {}) for options in choices]
        heard = everything(model)
        self.parts = [plate_block(model, evidence, plate, heard) for plate in range(len(choices))]
        first: dict[object, int] = {}
        self.alike = [
            first.setdefault((plate if part.content is None else part.content, *map(option_key, every)), plate)
            for plate, (part, every) in enumerate(zip(self.parts, self.options, strict=True))
        ]
        self.sums: dict[object, Array] = {}
        self.tables: dict[object, TermSums] = {}
        self.made: dict[int, Array] = {}

    def density(self, plate: int) -> Array:
        """`[option, case or 1, configuration or 1, local axis...]` of a dense plate."""
        if plate not in self.made:
            part = self.parts[plate]
            density = densities(part, self.options[plate])
            self.made[plate] = density.reshape(*density.shape[:3], *part.sizes)
        return self.made[plate]


class _Preparation:
    """The mixture's parts in numbers of one length."""

    def __init__(self, laid: _Laid, evidence: Evidence, number: Number) -> None:
        model = laid.model
        self.chosen = terms(evidence_groups(model, evidence))
        self.laid, self.number = laid, number
        self.heard: dict[object, tuple[Terms, NDArray[np.intp] | None]] = {}  # by what a plate says
        background = background_terms(model.shared, self.chosen, number)
        self.base = self.chosen.coefficient[:, None, :] * (model.configurations[:, None] * background)
        self.values: list[Array] = []
        total = self.base
        done: dict[int, tuple[Array, Array]] = {}
        for first in laid.alike:
            if first not in done:  # plates alike in all that matters here are done once
                sums = self._sums(first)
                wide = np.broadcast_to(sums[:-1], (*sums[:-1].shape[:2], *self.base.shape[1:]))
                done[first] = sums[-1], wide.reshape(*wide.shape[:2], -1)
            total = total * done[first][0]
            self.values.append(done[first][1])
        self.probability = np.broadcast_to(total.sum(axis=(1, 2)), (evidence.cases,))
        size = np.abs(total).sum(axis=(1, 2))
        rounding = 4 * float(np.finfo(number).eps)
        possible = bool(np.all(self.probability > 0))
        self.cancellation = float(np.max(size / self.probability)) * rounding if possible else float("inf")

    def _sums(self, plate: int) -> Array:
        """`[option, case or 1, configuration or 1, term]`."""
        wide = len(self.laid.model.configurations)
        part, options = self.laid.parts[plate], self.laid.options[plate]
        if part.first.dense and wide <= FEW:
            return self._by_what_is_heard(plate, part)
        if not part.first.dense:
            part = plate_block(self.laid.model, self.laid.evidence, plate, frozenset(self.chosen.axes))
        if part.first.dense and wide <= FEW:
            density = densities(part, options)
            return self._table(part, self.chosen).of(density.reshape(*density.shape[:3], *part.sizes), 3)
        at_once = max(1, AT_ONCE // (wide * math.prod(part.sizes if part.first.dense else (len(self.base[0, 0]),))))
        found = []
        for first in range(0, len(options), at_once):
            some = options[first : first + at_once]
            chosen = part.with_options(0, some)
            if part.first.dense:
                density = chosen.density
                sums = self._table(part, self.chosen).of(density.reshape(*density.shape[:3], *part.sizes), 3)
            else:
                sums = chosen.sums(self.chosen)
            sums = np.take(sums, chosen.classes[0], axis=2) if sums.shape[2] > 1 else sums
            found.append(np.broadcast_to(sums, (len(some), *sums.shape[1:])))
        shape = np.broadcast_shapes(*(each.shape[1:] for each in found))
        return np.concatenate([np.broadcast_to(each, (len(each), *shape)) for each in found])

    def _by_what_is_heard(self, plate: int, part: Block) -> Array:
        """The same, made once for terms that differ only in what the plate does not hear."""
        if part.voice not in self.heard:
            self.heard[part.voice] = distinct_terms(part.first.plate.emissions, self.chosen)
        heard, which = self.heard[part.voice]
        key = (plate, self.number, heard.axes, heard.levels.tobytes())
        if key not in self.laid.sums:
            self.laid.sums[key] = self._table(part, heard).of(self.laid.density(plate), 3)
        sums = self.laid.sums[key]
        return sums if which is None else np.take(sums, which, axis=3)

    def _table(self, part: Block, chosen: Terms) -> TermSums:
        key = (part.voice, self.number, chosen.axes, chosen.levels.tobytes())
        if key not in self.laid.tables:
            emissions = part.first.plate.emissions
            made = term_sums(emissions, part.kept, part.sizes, chosen, self.number)
            assert made is not None, "nothing is kept apart"
            self.laid.tables[key] = made[0]
        return self.laid.tables[key]
