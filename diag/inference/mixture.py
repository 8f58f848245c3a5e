"""The posterior as a signed mixture of independent plates, for expectations of products over plates.

'Is every fault cured?' and 'does every seal last?' are products over plates of something that depends on the plate's
states and the configuration. Their expectation under the posterior is one sum over terms. May import: numpy,
`diag.basics`, and the modules of this room below it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import TooLarge
from diag.inference.blocks import Block, everything, plate_block
from diag.inference.contracting import TermSums, term_sums_of
from diag.inference.densities import densities, option_key
from diag.inference.engine import refuse_impossible, run
from diag.inference.leaves import FEW
from diag.inference.model import Array, Evidence, Model
from diag.inference.terms import Number, Terms, background_terms, distinct_terms, signed_terms

__all__ = ["Choices", "Mixture", "Mixtures", "mixture", "mixtures"]

DIGITS = 1e-9  # relative error of plain numbers beyond which longer ones are used
PRECISION = 1e-6  # relative error beyond which a mixture is refused
AT_ONCE = 1 << 22  # numbers of one product held at once
TOGETHER = 1 << 14  # terms of several evidence sets that are done together: beyond, numbers are what takes the time


class Mixture(Struct, frozen=True):
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
    return _mixture(_Laid(model, evidence, choices), evidence, configuration_choices)


class Mixtures(Struct, frozen=True):
    """Mixtures of several evidence sets over one set of terms, so that what is done for all terms is done once.

    `weights[number][case, term]` of each set, nothing at the terms of others; all else as in `Mixture`.
    """

    weights: tuple[Array, ...]
    values: tuple[Array, ...]
    configuration_values: Array
    log_evidence: tuple[Array, ...]


def mixtures(
    model: Model, each: Sequence[Evidence], choices: Sequence[Choices], configuration_choices: Sequence[Array] = ()
) -> list[Mixtures]:
    """`mixture` of several evidence sets, of one case each in all but what was told of shared severities; only that may
    differ, and the number of its cases. In their order, as many together as have few enough terms."""
    laid = _Laid(model, each[0], choices)
    wide = len(model.configurations)
    small = wide <= FEW and all(part.first.dense for part in laid.parts)
    together: list[list[Evidence]] = []
    room = 0
    for evidence in each:
        count = wide * len(signed_terms(model, evidence).levels)
        if not small or count > room:
            together.append([])
            room = TOGETHER
        together[-1].append(evidence)
        room -= count
    return [_mixtures(laid, some, configuration_choices) for some in together]


def _mixtures(laid: _Laid, each: Sequence[Evidence], configuration_choices: Sequence[Array]) -> Mixtures:
    prepared, cfg = _prepared(laid, each), _configured(laid.model, configuration_choices)
    shape = (*prepared.chosen.levels.shape[:1],)
    weights = []
    for evidence, here, base, probability in zip(
        each, prepared.places, prepared.bases, prepared.probabilities, strict=True
    ):
        mine = np.zeros((evidence.cases, len(laid.model.configurations), *shape), dtype=base.dtype)
        mine[:, :, here] = base / probability[:, None, None]
        weights.append(mine.reshape(evidence.cases, -1))
    return Mixtures(
        tuple(weights),
        tuple(prepared.values),
        np.repeat(cfg, len(prepared.chosen.levels), axis=1),
        tuple(np.log(each).astype(np.float64) for each in prepared.probabilities),
    )


def _configured(model: Model, choices: Sequence[Array]) -> Array:
    return np.stack([*choices]) if choices else np.ones((1, len(model.configurations)))


def _mixture(laid: _Laid, evidence: Evidence, configuration_choices: Sequence[Array]) -> Mixture:
    prepared = _prepared(laid, [evidence])
    ((base,), (probability,)) = prepared.bases, prepared.probabilities
    base = base / probability[:, None, None]
    return Mixture(
        np.broadcast_to(base, (evidence.cases, *base.shape[1:])).reshape(evidence.cases, -1),
        tuple(prepared.values),
        np.repeat(_configured(laid.model, configuration_choices), base.shape[2], axis=1),
        np.log(probability).astype(np.float64),
        prepared.cancellation,
    )


def _prepared(laid: _Laid, each: Sequence[Evidence]) -> _Preparation:
    """In plain numbers, or in longer ones where these lose too many digits."""
    prepared = _Preparation(laid, each, np.float64)
    if not prepared.cancellation <= DIGITS:
        prepared = _Preparation(laid, each, np.longdouble)
        if not prepared.cancellation <= PRECISION:
            for evidence in each:  # rounding alone proves nothing
                refuse_impossible(run(laid.model, evidence, gradient=False)[1].probability)
            raise TooLarge(
                f"so many rare findings meet here that rounding would reach {prepared.cancellation:.0e} of a result; "
                "mark doubtful findings as 'not sure'"
            )
    return prepared


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
        self.made: dict[int, Array] = {}

    def density(self, plate: int) -> Array:
        """`[option, case or 1, configuration or 1, local axis...]` of a dense plate."""
        if plate not in self.made:
            part = self.parts[plate]
            density = densities(part, self.options[plate])
            self.made[plate] = density.reshape(*density.shape[:3], *part.sizes)
        return self.made[plate]


class _Preparation:
    """The parts of mixtures in numbers of one length: `places[number]` are the terms of each evidence set, `bases` and
    `probabilities` its weights before the plates and its probability."""

    def __init__(self, laid: _Laid, each: Sequence[Evidence], number: Number) -> None:
        model = laid.model
        single = [signed_terms(model, evidence) for evidence in each]
        self.chosen, self.places = (single[0], [slice(None)]) if len(single) == 1 else _side_by_side(model, single)
        self.laid, self.number = laid, number
        self.heard: dict[object, tuple[Terms, NDArray[np.intp] | None]] = {}  # by what a plate says
        background = background_terms(model.shared, self.chosen, number)
        plain = np.broadcast_to(
            model.configurations[:, None] * background, (len(model.configurations), len(self.chosen.levels))
        )
        self.bases = [
            mine.coefficient[:, None, :] * plain[:, here] for mine, here in zip(single, self.places, strict=True)
        ]
        self.values: list[Array] = []
        product: Array = self.bases[0] if len(each) == 1 else np.ones((1, 1, 1))
        done: dict[int, tuple[Array, Array]] = {}
        for first in laid.alike:
            if first not in done:  # plates alike in all that matters here are done once
                sums = self._sums(first)
                wide = np.broadcast_to(sums[:-1], (*sums[:-1].shape[:2], *plain.shape))
                done[first] = sums[-1], wide.reshape(*wide.shape[:2], -1)
            product = product * done[first][0]
            self.values.append(done[first][1])
        totals = [product]
        if len(each) > 1:
            product = np.broadcast_to(product, (product.shape[0], *plain.shape))
            totals = [base * product[:, :, here] for base, here in zip(self.bases, self.places, strict=True)]
        self.probabilities = [
            np.broadcast_to(total.sum(axis=(1, 2)), (evidence.cases,))
            for total, evidence in zip(totals, each, strict=True)
        ]
        self.cancellation = max(map(self._cancellation, totals, self.probabilities))

    def _cancellation(self, total: Array, probability: Array) -> float:
        size = np.abs(total).sum(axis=(1, 2))
        rounding = 4 * float(np.finfo(self.number).eps)
        return float(np.max(size / probability)) * rounding if np.all(probability > 0) else float("inf")

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
        at_once = max(1, AT_ONCE // (wide * math.prod(part.sizes if part.first.dense else (len(self.chosen.levels),))))
        found = []
        for first in range(0, len(options), at_once):
            some = options[first : first + at_once]
            chosen = part.with_options(0, some)
            if part.first.dense:
                density = chosen.density_alone()
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
        made = term_sums_of(part, chosen, self.number)
        assert made is not None, "nothing is kept apart"
        return made[0]


def _side_by_side(model: Model, each: Sequence[Terms]) -> tuple[Terms, list[slice]]:
    """Terms one after the other, and where each one's stand. An axis that one does not have is at its highest level
    there, which bounds nothing; the coefficients are left aside."""
    axes = tuple(dict.fromkeys(axis for mine in each for axis in mine.axes))
    edges = np.cumsum([0, *(len(mine.levels) for mine in each)]).tolist()
    levels = np.tile(
        np.array([model.shared[severity].levels - 1 for severity, _ in axes], dtype=np.intp), (edges[-1], 1)
    )
    places = [slice(first, last) for first, last in pairwise(edges)]
    for mine, here in zip(each, places, strict=True):
        levels[here, [axes.index(axis) for axis in mine.axes]] = mine.levels
    return Terms(axes, levels, np.ones((1, edges[-1]))), places
