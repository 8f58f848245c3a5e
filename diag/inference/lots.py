"""Several models of one build at once: the same plates, links and evidence, with other numbers in each.

Where one case is asked again and again under other numbers, arrays are small and calls many. So the models of a lot
stand where a batch has its cases, and plates that are alike in every model are done once. Terms are subtracted; a model
whose digits do not suffice for that, and one whose evidence is impossible, has no answer here and is left to `infer`.
May import: numpy, `diag.basics`, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import reduce
from math import prod

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.blocks import Block
from diag.inference.engine import ROUNDING, Posterior
from diag.inference.leaves import LeafAt, PlateLeaves, heard_axes, leaves_at, told_of
from diag.inference.local import LEADING, Layout, backward
from diag.inference.mixture import DIGITS, Mixture
from diag.inference.model import Array, Evidence, Model, Plate, SharedAxis
from diag.inference.optional import Options, OptionValues, option_values
from diag.inference.speaking import Speech, Voice, speech, voice
from diag.inference.terms import Terms, background_terms, signed_terms

__all__ = ["Lot", "lot_of"]

LARGEST = 4096  # joint levels of one plate; with more, a model is better done by itself


class _Kind(Struct, frozen=True):
    """Plates that are alike in every model: their numbers, the block of the first (models as cases), what it
    contributes to each term, and its mass within each `sums[model, configuration or 1, term]`."""

    plates: tuple[int, ...]
    block: Block
    voice: Voice
    sums: Array

    @property
    def flat(self) -> bool:
        """Whether no configuration influences it."""
        return bool(self.sums.shape[1] == 1)


class Lot(Struct, frozen=True):
    """The models of a lot on some configurations. `posteriors[model]` is none where it cannot be answered here; the
    evidence of the model that has only these configurations is in it."""

    models: tuple[Model, ...]
    posteriors: tuple[Posterior | None, ...]
    kinds: tuple[_Kind, ...]
    base: Array  # [model, configuration, term]: coefficient, prior and backgrounds, over the probability
    cancellation: Array

    def mixtures(self, choices: Sequence[Sequence[Options]], numbers: Array) -> Iterator[Mixture]:
        """A mixture for each model, one after the other: `choices[model][plate]` lists options as for `mixture`; the
        factors of one have a row for each configuration of the lot, or one. `numbers[configuration]` become the one
        configuration choice."""
        by_plate: dict[int, OptionValues] = {}
        for kind in self.kinds:
            known: dict[object, OptionValues] = {}
            for plate in kind.plates:
                asked = [mine[plate] for mine in choices]
                key = tuple(tuple(_fingerprint(option) for option in some) for some in asked)
                if key not in known:
                    known[key] = option_values(kind.block, kind.voice, asked, kind.sums, self.base.shape[1:])
                by_plate[plate] = known[key]
        configuration = np.repeat(numbers[None], self.base.shape[2], axis=1)
        plates = [by_plate[plate] for plate in range(len(by_plate))]
        for number, found in enumerate(self.posteriors):
            laid = {id(each): each.of(number) for each in plates}
            yield Mixture(
                self.base[number].reshape(1, -1),
                tuple(laid[id(each)] for each in plates),
                configuration,
                np.zeros(1) if found is None else found.log_evidence,
                float(self.cancellation[number]),
            )


def _fingerprint(option: Mapping[int, Array]) -> object:
    return tuple((index, option[index].tobytes()) for index in sorted(option))


def lot_of(
    models: Sequence[Model],
    evidences: Sequence[Evidence],
    kept: NDArray[np.intp],
    wanted: Mapping[int, Collection[int]],
    digits: float = DIGITS,
) -> Lot | None:
    """Answer models of one build, on these configurations alone; evidence is of one case each.

    `wanted[plate]` are the axes of which levels are asked though no evidence speaks of them; all other such axes
    are NaN. A model whose probability may be off by more than `digits` of itself has no answer. None where the
    models differ in what their evidence says at all, or plates are too large for this way.
    """
    signed = [signed_terms(model, evidence) for model, evidence in zip(models, evidences, strict=True)]
    if any(each.axes != signed[0].axes or not np.array_equal(each.levels, signed[0].levels) for each in signed):
        return None
    heard = frozenset(signed[0].axes)
    made = _Making(models, evidences, kept, heard)
    blocks = []
    for plates in made.alike(wanted):
        block = made.block(plates[0], frozenset(wanted.get(plates[0], ())))
        if block is None:
            return None
        blocks.append((plates, block))
    signed = _in_order(signed, max((block for _, block in blocks), key=lambda block: prod(block.sizes)))
    chosen = signed[0]
    spoken: dict[object, tuple[Speech, dict[object, Voice]]] = {}
    kinds = []
    for plates, block in blocks:
        emissions = [model.plates[plates[0]].emissions for model in models]
        how = (block.kept, block.sizes, tuple((each.shared, each.axes) for each in emissions[0]))
        if how not in spoken:
            spoken[how] = speech(emissions[0], block.kept, block.sizes, chosen), {}
        said, voices = spoken[how]
        numbers = tuple(id(each.table) for some in emissions for each in some)
        if numbers not in voices:
            voices[numbers] = voice(emissions, block.kept, chosen, said)
        sums = said.spread(voices[numbers].sums(block.density[0]))
        kinds.append(_Kind(plates, block, voices[numbers], sums))
    backgrounds = _stack([background_terms(model.shared, each) for model, each in zip(models, signed, strict=True)])
    backgrounds = backgrounds[:, kept] if backgrounds.shape[1] > 1 else backgrounds
    prior = np.stack([model.configurations[kept] for model in models])
    prior = prior / prior.sum(axis=1, keepdims=True)
    base = np.stack([each.coefficient for each in signed]) * (prior[:, :, None] * backgrounds)
    return _answered(models, tuple(kinds), base, digits)


def _in_order(signed: Sequence[Terms], largest: Block) -> list[Terms]:
    """The terms in the order in which the plate of most cells finds them."""
    emissions = largest.first.plate.emissions
    order = speech(emissions, largest.kept, largest.sizes, signed[0]).order
    levels = signed[0].levels[order]
    return [Terms(each.axes, levels, each.coefficient[:, order]) for each in signed]


def _answered(models: Sequence[Model], kinds: tuple[_Kind, ...], base: Array, digits: float) -> Lot:
    """Forward over all plates, and back to each kind: first those that configurations influence, then the others, to
    which it is enough what is there of all configurations together."""
    wide, flat = [kind for kind in kinds if not kind.flat], [kind for kind in kinds if kind.flat]
    silent = reduce(np.multiply, [kind.sums for kind in flat for _ in kind.plates], np.ones((1, 1, 1)))
    spoken, to_wide = _towards(wide, base, silent)
    held = spoken * silent
    to_flat = _towards(flat, spoken.sum(axis=1, keepdims=True), np.ones((1, 1, 1)))[1]
    probability, size = held.sum(axis=(1, 2)), np.abs(held).sum(axis=(1, 2))
    possible = probability > 0
    safe = np.where(possible, probability, 1.0)
    cancellation = np.where(possible, size / safe * ROUNDING, np.inf)
    marginals: dict[int, dict[int, Array]] = {}
    for kind, towards in zip((*wide, *flat), (*to_wide, *to_flat), strict=True):
        marginals |= dict.fromkeys(kind.plates, _marginals(kind, towards))
    configurations = np.maximum(held.sum(axis=2), 0.0)
    posteriors = tuple(
        _posterior(models[number], number, marginals, configurations[number], float(probability[number]), error)
        if error <= digits
        else None
        for number, error in enumerate(cancellation.tolist())
    )
    return Lot(tuple(models), posteriors, kinds, base / safe[:, None, None], cancellation)


def _towards(kinds: Sequence[_Kind], before: Array, after: Array) -> tuple[Array, list[Array]]:
    """The product of all plates and `before`; and for each kind that of all plates but one of it, `before`, `after`."""
    prefixes = [before]
    for kind in kinds:
        prefixes.append(reduce(np.multiply, [kind.sums for _ in kind.plates], prefixes[-1]))
    found = []
    for kind, prefix in zip(reversed(kinds), reversed(prefixes[:-1]), strict=True):
        mine = reduce(np.multiply, [kind.sums for _ in kind.plates[1:]], prefix * after)
        found.append(mine)
        after = reduce(np.multiply, [kind.sums for _ in kind.plates], after)
    return prefixes[-1], found[::-1]


def _marginals(kind: _Kind, towards: Array) -> dict[int, Array]:
    """`[model, level or state]` of the axes of a plate, from the gradient towards its sums."""
    cells = kind.voice.cells(towards)
    shaped = cells.reshape(1, *cells.shape[:2], 1, *kind.block.sizes)
    return {axis: _normalised(each[0]) for axis, each in backward(kind.block.tape, shaped).items()}


def _posterior(
    model: Model,
    number: int,
    marginals: Mapping[int, Mapping[int, Array]],
    configurations: Array,
    probability: float,
    error: float,
) -> Posterior:
    components, axes = [], []
    for place, plate in enumerate(model.plates):
        found = marginals[place]
        states = []
        for index, component in enumerate(plate.components):
            base = index if component.base is None else component.base
            known = found.get(len(plate.axes) + base)
            mine = np.ones((1, 1)) if known is None else known[number : number + 1]
            states.append(mine if component.base is None else component.narrowed(mine))
        components.append(tuple(states))
        axes.append(
            tuple(
                found[axis][number : number + 1] if axis in found else np.full((1, known.levels), np.nan)
                for axis, known in enumerate(plate.axes)
            )
        )
    chances = (configurations / configurations.sum())[None]
    return Posterior(np.log([probability]), chances, tuple(components), tuple(axes), "subtracting", error)


def _normalised(array: Array) -> Array:
    """Of models that have no answer it may be anything."""
    positive = np.maximum(array, 0.0)
    size = positive.sum(axis=-1, keepdims=True)
    return np.asarray(positive / np.where(size > 0, size, 1.0))


class _Making:
    """The plates of a lot made ready, models as cases."""

    def __init__(
        self,
        models: Sequence[Model],
        evidences: Sequence[Evidence],
        kept: NDArray[np.intp],
        heard: frozenset[SharedAxis],
    ) -> None:
        self.models, self.evidences, self.kept, self.heard = models, evidences, kept, heard
        first = evidences[0]
        self.told = {plate for plate, _ in first.components}
        self.told |= {plate for plate, _, _ in (*first.axes, *first.configured)}

    def alike(self, wanted: Mapping[int, Collection[int]]) -> list[tuple[int, ...]]:
        """The plates, those that hold the same arrays in every model and have no evidence of their own together."""
        found: dict[object, list[int]] = {}
        for number in range(len(self.models[0].plates)):
            same: list[object] = [id(model.plates[number].components) for model in self.models]
            same += [id(model.plates[number].emissions) for model in self.models]
            same += sorted(wanted.get(number, ()))
            found.setdefault((number if number in self.told else None, *same), []).append(number)
        return [tuple(numbers) for numbers in found.values()]

    def block(self, number: int, also: frozenset[int]) -> Block | None:
        """One plate; none where its joint levels are too many."""
        plate = self.models[0].plates[number]
        levels = tuple(axis.levels for axis in plate.axes)
        spoken = heard_axes(plate, self.heard)
        told = [told_of(evidence, number, (), levels) for evidence in self.evidences]
        needed = frozenset(spoken) | also | {axis for axes, _ in told[0] for axis in axes}
        needed = frozenset(axis for axis in needed if axis < len(levels))
        leaves, axes_of, weights = self._leaves(number, needed)
        tables = [_stack([self._of(each[place][1][0]) for each in told]) for place in range(len(told[0]))]
        sizes = levels + tuple(component.prior.shape[1] for component in plate.components)
        widths = tuple(array.shape[1] for array in (*leaves, *tables))
        layout = Layout(sizes, len(levels), tuple(axes_of), tuple(axes for axes, _ in told[0]), spoken, widths)
        if layout.size(spoken) > LARGEST:
            return None
        classes = tuple(range(len(self.kept))) if any(width > 1 for width in widths) else ()
        member = PlateLeaves(number, plate, layout, tuple(leaves), tuple(weights), tuple(tables), classes, True)
        turned = [tuple(np.expand_dims(array[None], LEADING - 1) for array in some) for some in (leaves, tables)]
        return Block((member,), turned[0], turned[1], (classes,), len(self.models))

    def _of(self, array: Array) -> Array:
        """An array by configuration (or 1) on the kept ones."""
        return array if len(array) == 1 else array[self.kept]

    def _each(self, take: Callable[[Plate], Array], number: int) -> Array:
        """`[model or 1, configuration or 1, ...]` of one array of a plate."""
        arrays = [take(model.plates[number]) for model in self.models]
        if all(array is arrays[0] for array in arrays):
            return self._of(arrays[0])[None]
        return _stack([self._of(array) for array in arrays])

    def _leaves(
        self, number: int, needed: frozenset[int]
    ) -> tuple[list[Array], list[tuple[int, ...]], tuple[int, ...]]:
        """Leaves with the models in the place of cases, their axes, and which leaf holds each component's weight."""
        places, weights = leaves_at(self.models[0].plates[number], needed)
        return [self._leaf(number, at) for at in places], [at.axes for at in places], weights

    def _leaf(self, number: int, at: LeafAt) -> Array:
        plate, index, link = self.models[0].plates[number], at.component, at.link
        if index is None:
            return np.eye(1, plate.axes[at.axes[0]].levels)[None]
        one_state = plate.components[index].prior.shape[1] == 1
        if link is None:
            weight = self._weight(number, index)
            return np.asarray(weight[..., 0]) if one_state else weight
        where: tuple[int, int] = (index, link)
        table = self._each(lambda each: each.components[where[0]].links[where[1]].table, number)
        used = at.axes if one_state else at.axes[:-1]
        return _link_leaf(table, used, plate.axes[used[0]].levels, one_state)

    def _weight(self, number: int, index: int) -> Array:
        """`[model, configuration or 1, state]`: prior and evidence, that on the views of the component included."""
        result = self._each(lambda each: each.components[index].prior, number)
        for other, component in enumerate(self.models[0].plates[number].components):
            if (number, other) not in self.evidences[0].components or index not in (other, component.base):
                continue
            told = _stack([self._of(evidence.components[number, other][0]) for evidence in self.evidences])
            result = result * (told if other == index else component.widened(told))
        return result


def _link_leaf(table: Array, used: tuple[int, ...], size: int, one_state: bool) -> Array:
    """`[model, configuration, level..., state]` of `[model, configuration, state, level]`: a contributed level stands
    on the diagonal of all the axes it fills."""
    result = np.zeros((*table.shape[:2], *(size for _ in used), table.shape[2]))
    for level in range(size):
        diagonal: tuple[int | slice, ...] = (slice(None), slice(None), *(level for _ in used))
        result[diagonal] = table[..., level]
    return result[..., 0] if one_state else result


def _stack(arrays: Sequence[Array]) -> Array:
    """Arrays `[configuration or 1, ...]` as one `[model, configuration or 1, ...]`."""
    wide = max(len(array) for array in arrays)
    if any(len(array) != wide for array in arrays):
        arrays = [np.broadcast_to(array, (wide, *array.shape[1:])) for array in arrays]
    return np.array(arrays)
