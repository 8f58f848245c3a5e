"""Plates made ready for the computation: factors with their evidence, plates of one shape stacked into a block.

Configurations that a plate cannot tell apart (the other bank's loom, say) are one class of configurations to it, and
are computed once. A plate whose severities have few joint levels is *dense*: the joint density of the levels that
shared severities hear is computed once, and meets the terms in one matrix product. A plate with so many versions that
this would not fit meets each term inside its factor graph instead.
May import: numpy, `held`, `local`, `model`, `terms`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Generic, TypeVar

import numpy as np

from diag.inference.held import at_states, states_held
from diag.inference.local import Layout, Tape, backward, forward
from diag.inference.model import Array, Evidence, Link, Model, Plate, SharedAxis
from diag.inference.terms import Terms, emission_factors, plate_terms

__all__ = [
    "DENSE",
    "LARGEST_HELD",
    "Block",
    "Options",
    "PlateLeaves",
    "blocks",
    "everything",
    "plate_block",
    "plate_leaves",
    "stacked",
]

MANY_CASES = 16  # a batch, when joins are planned
DENSE = 4096  # joint levels up to which a plate is dense
LARGEST_HELD = 1 << 20  # bytes of a result that is remembered; on a case with many configurations it may be 100 MB
Options = Sequence[Mapping[int, Array]]
Thing = TypeVar("Thing")
Told = tuple[tuple[int, ...], Array]  # axes in ascending order and a likelihood over them


@dataclass(frozen=True, eq=False)
class PlateLeaves:
    """One plate with its evidence.

    Leaves are `[case or 1, class or 1, axis...]`; `weights[component]` is the leaf that holds a component's prior and
    evidence (without a state axis where it has one state); likelihoods are `[case or 1, class or 1, level...]`.
    `classes[configuration]` is the class of each configuration; empty where the configuration has no influence.
    """

    number: int
    plate: Plate
    layout: Layout
    leaves: tuple[Array, ...]
    weights: tuple[int, ...]
    likelihoods: tuple[Array, ...]
    classes: tuple[int, ...]
    dense: bool

    @property
    def shape_key(self) -> tuple[object, ...]:
        """Plates with equal keys can be stacked."""
        shapes = tuple(array.shape for array in (*self.leaves, *self.likelihoods))
        return (self.layout, shapes)


@dataclass(frozen=True, eq=False)
class Block:
    """Plates of one shape, stacked: leaves `[plate, case or 1, class or 1, 1, axis...]`. The plate dimension also
    serves for options of one plate. `classes[plate]` are those of the configurations; `voice` is equal for blocks that
    speak alike."""

    members: tuple[PlateLeaves, ...]
    leaves: tuple[Array, ...]
    likelihoods: tuple[Array, ...]
    classes: tuple[tuple[int, ...], ...]
    rows: int = 1  # options, or gradients, that stand where a batch has its cases

    @property
    def first(self) -> PlateLeaves:
        """The plate whose shape all share."""
        return self.members[0]

    @cached_property
    def voice(self) -> object:
        """Equal for blocks that speak alike."""
        return (_plate_key(self.first.plate)[0], self.kept)

    @cached_property
    def content(self) -> object:
        """Equal for blocks of one plate that are alike in all that their densities are made of; none where that is
        much."""
        if sum(array.nbytes for array in (*self.leaves, *self.likelihoods)) > LARGEST_HELD:
            return None
        leaves = tuple(array.tobytes() for array in (*self.leaves, *self.likelihoods))
        seen = tuple((component.base, component.seen) for component in self.first.plate.components)
        return self.first.shape_key, self.voice, self.first.weights, self.classes, seen, leaves

    @property
    def kept(self) -> tuple[int, ...]:
        """The level axes that shared severities with evidence hear."""
        return self.first.layout.kept

    @property
    def sizes(self) -> tuple[int, ...]:
        """Levels of the kept axes."""
        return tuple(self.first.layout.sizes[axis] for axis in self.kept)

    @cached_property
    def tape(self) -> Tape:
        """The forward pass of a dense block."""
        return forward(self.first.layout, self.leaves, self.likelihoods, self.rows)

    @property
    def density(self) -> Array:
        """`[plate, case or 1, class or 1, local cell]` of a dense block."""
        result = self.tape.result
        return result.reshape(*result.shape[:3], -1)

    def table(self, chosen: Terms) -> Array:
        """`[local cell, term]` of a dense block."""
        return plate_terms(self.first.plate.emissions, self.kept, self.sizes, chosen)

    def term_tape(self, chosen: Terms) -> Tape:
        """The forward pass of a block that is not dense: every emission is a likelihood that depends on the term."""
        factors = emission_factors(self.first.plate.emissions, chosen)
        layout = self.first.layout
        widths = (*layout.widths, *(len(chosen.levels) for _ in factors))
        met = replace(layout, likelihoods=(*layout.likelihoods, *factors), widths=widths)
        turned = [np.moveaxis(table, -1, 0)[None, None, None] for table in factors.values()]
        return forward(met, self.leaves, [*self.likelihoods, *turned])

    def sums(self, chosen: Terms, table: Array | None = None) -> Array:
        """`[plate, case or 1, class or 1, term]`: the plate's mass that stays within each term."""
        if not self.first.dense:
            return self.term_tape(chosen).result
        table = self.table(chosen) if table is None else table
        density = self.density
        flat = density.reshape(-1, len(table)) @ table.reshape(len(table), -1)  # one product: quicker than batched
        return np.asarray(flat.reshape(*density.shape[:3], *table.shape[1:]))

    def collect(self, gradient: Array, chosen: Terms) -> dict[int, Array]:
        """Axis marginals from the gradient towards the density, or towards the terms' sums."""
        if self.first.dense:
            shaped = gradient.reshape(*gradient.shape[:3], 1, *self.sizes)
            return backward(self.tape, shaped)
        return backward(self.term_tape(chosen), gradient)

    def keeping(self, axes: tuple[int, ...]) -> Block:
        """The block with some of its axes kept apart, too."""
        if set(axes) <= set(self.kept):
            return self
        kept = tuple(sorted({*self.kept, *axes}))
        members = tuple(replace(each, layout=replace(each.layout, kept=kept)) for each in self.members)
        return replace(self, members=members)

    def with_options(self, place: int, options: Options) -> Block:
        """One plate of the block, once for each option, with the option's factors in it.

        An option maps component indices to factors `[configuration or 1, state]`.
        """
        member = self.members[place]
        rows = max((len(factor) for option in options for factor in option.values()), default=1)
        leaves = [leaf[[place]] for leaf in self.leaves]
        classes = self.classes[place]
        if rows > 1:  # the factors tell configurations apart, so classes no longer do
            leaves = [np.take(leaf, classes, axis=2) if leaf.shape[2] > 1 else leaf for leaf in leaves]
            classes = tuple(range(rows))
        held: dict[int, list[int]] = {}
        for component in {component for option in options for component in option}:
            leaf = member.weights[component]
            factors = [option.get(component) for option in options]
            known = member.plate.components[component]
            states = known.prior.shape[1]
            chosen = states_held(factors) if self._stands_alone(component) else None
            if chosen is not None:
                held[len(member.plate.axes) + component] = chosen
                continue
            stack = _factor_stack(factors, states)[:, None, :, None, :]
            stack = stack if known.base is None else known.widened(stack)
            leaves[leaf] = leaves[leaf] * (stack if states > 1 else stack[..., 0])
        leaves = [at_states(leaf, axes, held) for leaf, axes in zip(leaves, self.first.layout.leaves, strict=True)]
        likelihoods = [table[[place]] for table in self.likelihoods]
        if rows > 1:
            mine = self.classes[place]
            likelihoods = [np.take(table, mine, axis=2) if table.shape[2] > 1 else table for table in likelihoods]
        return Block((member,), tuple(leaves), tuple(likelihoods), (classes,))

    def _stands_alone(self, component: int) -> bool:
        """Whether the states of a component are an axis that nothing else names, so that it may be held in one."""
        plate, layout = self.first.plate, self.first.layout
        axis = len(plate.axes) + component
        named = axis in layout.kept or any(axis in axes for axes in layout.likelihoods)
        views = any(other.base == component for other in plate.components)
        return not named and not views and plate.components[component].base is None

    def with_options_each(self, options: Sequence[Options]) -> Block:
        """The block with the options of each plate in it, `options[plate]`, all of one length and on the same
        components; options stand where a batch has its cases, so the evidence must be of one case."""
        listed = [factor for some in options for option in some for factor in option.values()]
        rows = max((len(factor) for factor in listed), default=1)
        leaves, likelihoods = list(self.leaves), list(self.likelihoods)
        classes = self.classes
        if rows > 1:
            leaves = [self._spelt_out(leaf) for leaf in leaves]
            likelihoods = [self._spelt_out(table) for table in likelihoods]
            classes = tuple(tuple(range(rows)) for _ in self.members)
        for component in {component for some in options for option in some for component in option}:
            leaf = self.first.weights[component]
            known = self.first.plate.components[component]
            states = known.prior.shape[1]
            stacks = [_factor_stack([option.get(component) for option in some], states) for some in options]
            wide = max(stack.shape[1] for stack in stacks)
            stack = np.stack([np.broadcast_to(each, (len(each), wide, states)) for each in stacks])[:, :, :, None]
            stack = stack if known.base is None else known.widened(stack)
            leaves[leaf] = leaves[leaf] * (stack if states > 1 else stack[..., 0])
        return Block(self.members, tuple(leaves), tuple(likelihoods), classes, len(options[0]))

    def _spelt_out(self, leaf: Array) -> Array:
        """A leaf or likelihood by configuration instead of by class."""
        if leaf.shape[2] == 1:
            return leaf
        return np.stack([np.take(mine, classes, axis=1) for mine, classes in zip(leaf, self.classes, strict=True)])


def _factor_stack(factors: Sequence[Array | None], states: int) -> Array:
    """`[option, configuration or 1, state]`."""
    rows = max((len(factor) for factor in factors if factor is not None), default=1)
    stack = np.ones((len(factors), rows, states))
    for place, factor in enumerate(factors):
        if factor is not None:
            stack[place] = factor
    return stack


@lru_cache(maxsize=8192)
def _link_leaf(link: Link, used: tuple[int, ...], size: int, one_state: bool) -> Array:
    """`[configuration or 1, level..., state]`: a contributed level stands on the diagonal of all the axes it fills."""
    table = link.table
    result = np.zeros((table.shape[0], *(size for _ in used), table.shape[1]))
    for level in range(size):
        diagonal: tuple[int | slice, ...] = (slice(None), *(level for _ in used))
        result[diagonal] = table[:, :, level]
    return result[..., 0] if one_state else result


def _heard_axes(plate: Plate, heard: frozenset[SharedAxis]) -> tuple[int, ...]:
    """The local axes that speak in a version of a shared severity that has evidence."""
    speaking = (
        axis
        for emission in plate.emissions
        for version, axis in enumerate(emission.axes)
        if (emission.shared, version) in heard
    )
    return tuple(sorted(set(speaking)))


def plate_leaves(
    model: Model,
    evidence: Evidence,
    number: int,
    heard: frozenset[SharedAxis],
    also: frozenset[int] = frozenset(),
    like: tuple[tuple[int, ...], ...] = (),
    dense: int = DENSE,
    kept: frozenset[int] = frozenset(),
) -> PlateLeaves:
    """Make one plate ready.

    `also` names axes to carry although nothing asks for them (their marginals are wanted), `kept` those of them to
    keep apart in the density; `like` sets of axes on which a plate alike has evidence, so that the two keep one shape.
    """
    plate = model.plates[number]
    levels = tuple(axis.levels for axis in plate.axes)
    spoken = tuple(sorted({*_heard_axes(plate, heard), *kept}))
    told = _told(evidence, number, like, levels)
    needed = frozenset(spoken) | also | {axis for axes, _ in told for axis in axes}
    needed = frozenset(axis for axis in needed if axis < len(levels))  # an axis beyond them is a component's states
    leaves, axes_of, weights = _factors(plate, evidence, number, needed)
    classes, chosen = _classes([*leaves, *(table for _, table in told)], plate)
    sizes = levels + tuple(component.prior.shape[1] for component in plate.components)
    tables = [table for _, table in told]
    widths = [_width(array.shape[0], len(chosen) if array.shape[1] > 1 else 1) for array in (*leaves, *tables)]
    layout = Layout(sizes, len(levels), tuple(axes_of), tuple(axes for axes, _ in told), (), tuple(widths))
    is_dense = layout.size(spoken) <= dense
    return PlateLeaves(
        number,
        plate,
        replace(layout, kept=spoken) if is_dense else layout,
        tuple(leaf[:, chosen] if leaf.shape[1] > 1 else leaf for leaf in leaves),
        tuple(weights),
        tuple(table[:, chosen] if table.shape[1] > 1 else table for table in tables),
        classes,
        is_dense,
    )


def _width(cases: int, classes: int) -> int:
    """How much wider a factor is by what it depends on, roughly: for the plan, that must not change with the batch."""
    return classes * (MANY_CASES if cases > 1 else 1)


def _factors(
    plate: Plate, evidence: Evidence, number: int, needed: frozenset[int]
) -> tuple[list[Array], list[tuple[int, ...]], list[int]]:
    """Leaves `[case or 1, configuration or 1, axis...]`, their axes, and which leaf holds each component's weight."""
    leaves: list[Array] = []
    axes_of: list[tuple[int, ...]] = []
    weights: list[int] = []
    for index, component in enumerate(plate.components):
        if component.base is not None:
            weights.append(weights[component.base])
            continue
        state = () if component.prior.shape[1] == 1 else (len(plate.axes) + index,)
        weights.append(len(leaves))
        weight = _weight(plate, evidence, number, index)
        leaves.append(weight if state else weight[..., 0])
        axes_of.append(state)
        for link in component.links:
            used = tuple(sorted(axis for axis in link.axes if axis in needed))
            if used:
                leaves.append(_link_leaf(link, used, plate.axes[used[0]].levels, not state)[None])
                axes_of.append((*used, *state))
    for axis in sorted(needed - {axis for axes in axes_of for axis in axes}):  # nothing reaches it: level 0
        leaves.append(np.eye(1, plate.axes[axis].levels)[None])
        axes_of.append((axis,))
    return leaves, axes_of, weights


def _told(
    evidence: Evidence, number: int, like: tuple[tuple[int, ...], ...], levels: tuple[int, ...]
) -> tuple[Told, ...]:
    """A plate's likelihoods `[case or 1, configuration or 1, level...]`, one for each set of axes, ascending.

    They are ones where only a plate alike has evidence.
    """
    result = {axes: np.ones((1, 1, *(levels[axis] for axis in axes))) for axes in like}
    plain = ((where, axes, table[:, None]) for where, axes, table in evidence.axes)
    for where, axes, table in (*plain, *evidence.configured):
        if where == number:
            order = sorted(range(len(axes)), key=lambda place: axes[place])
            turned = np.transpose(table, (0, 1, *(2 + place for place in order)))
            key = tuple(axes[place] for place in order)
            result[key] = result[key] * turned if key in result else turned
    return tuple(sorted(result.items()))


def _classes(leaves: Sequence[Array], plate: Plate) -> tuple[tuple[int, ...], list[int]]:
    """Class of each configuration, and one configuration of each class. All the same: no classes, configuration 0.

    All links count, also to axes that nobody asks for yet, so that the classes do not depend on what is asked.
    """
    tables = [link.table for component in plate.components for link in component.links]
    columns = [np.swapaxes(leaf, 0, 1).reshape(leaf.shape[1], -1) for leaf in leaves if leaf.shape[1] > 1]
    columns += [table.reshape(table.shape[0], -1) for table in tables if table.shape[0] > 1]
    if not columns:
        return (), [0]
    rows = [row.tobytes() for row in np.ascontiguousarray(np.hstack(columns))]
    first: dict[bytes, int] = {}
    for number, row in enumerate(rows):
        first.setdefault(row, number)
    if len(first) == 1:
        return (), [0]
    class_of = {row: number for number, row in enumerate(first)}
    return tuple(map(class_of.__getitem__, rows)), list(first.values())


def _weight(plate: Plate, evidence: Evidence, number: int, index: int) -> Array:
    """`[case or 1, configuration or 1, state]`: prior and evidence, that on the views of the component included."""
    result = plate.components[index].prior[None]
    for other, component in enumerate(plate.components):
        likelihood = evidence.components.get((number, other))
        if likelihood is not None and other == index:
            result = result * likelihood
        elif likelihood is not None and component.base == index:
            result = result * component.widened(likelihood)
    return result


def stacked(members: Sequence[PlateLeaves]) -> Block:
    """Stack plates of one shape."""
    return Block(
        tuple(members),
        tuple(map(_stack, zip(*(member.leaves for member in members), strict=True))),
        tuple(map(_stack, zip(*(member.likelihoods for member in members), strict=True))),
        tuple(member.classes for member in members),
    )


def _stack(arrays: Sequence[Array]) -> Array:
    """`[plate, case or 1, class or 1, 1, axis...]` from one array `[case or 1, class or 1, axis...]` a plate."""
    if len(arrays) == 1:
        return arrays[0][None, :, :, None]
    return np.concatenate([array[None, :, :, None] for array in arrays])


@lru_cache(maxsize=4096)
def _plate_key(plate: Plate) -> tuple[object, ...]:
    """Plates with different keys are never stacked: what they emit, which axes their components reach, their levels."""
    emitted = tuple((emission.shared, emission.axes, emission.table.tobytes()) for emission in plate.emissions)
    reached = tuple(tuple((link.axes, link.table.shape) for link in component.links) for component in plate.components)
    return emitted, reached, tuple(axis.levels for axis in plate.axes)


def blocks(model: Model, evidence: Evidence, heard: frozenset[SharedAxis], dense: int = DENSE) -> tuple[Block, ...]:
    """All plates of the model, those of one shape together."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, plate in enumerate(model.plates):
        alike.setdefault(_plate_key(plate), []).append(number)
    groups: dict[tuple[object, ...], list[PlateLeaves]] = {}
    for key, numbers in alike.items():
        sets = {tuple(sorted(axes)) for where, axes, _ in (*evidence.axes, *evidence.configured) if where in numbers}
        for number in numbers:
            leaves = plate_leaves(model, evidence, number, heard, like=tuple(sorted(sets)), dense=dense)
            groups.setdefault((leaves.shape_key, key), []).append(leaves)
    return tuple(stacked(members) for members in groups.values())


class _Remembered(Generic[Thing]):
    """The latest results by the identity of what they were made from, which is kept alive with them: so many at most,
    and none that is so large that making it anew costs less than holding it."""

    def __init__(self, size: int, bytes_of: Callable[[Thing], int]) -> None:
        self.size, self.bytes_of = size, bytes_of
        self.held: OrderedDict[tuple[object, ...], tuple[tuple[object, ...], Thing]] = OrderedDict()

    def get(self, made_from: tuple[object, ...]) -> Thing | None:
        """The result made from exactly these objects, if it is still held."""
        key = _identity(made_from)
        if key not in self.held:
            return None
        self.held.move_to_end(key)
        return self.held[key][1]

    def put(self, made_from: tuple[object, ...], result: Thing) -> Thing:
        """Hold a result, and let the one go that was not asked for longest."""
        if self.bytes_of(result) > LARGEST_HELD:
            return result
        self.held[_identity(made_from)] = (made_from, result)
        if len(self.held) > self.size:
            self.held.popitem(last=False)
        return result


def _identity(made_from: tuple[object, ...]) -> tuple[object, ...]:
    return tuple(each if isinstance(each, int | frozenset) else id(each) for each in made_from)


def _bytes_of_block(block: Block) -> int:
    return sum(array.nbytes for array in (*block.leaves, *block.likelihoods))


_PLATES: _Remembered[Block] = _Remembered(256, _bytes_of_block)


@lru_cache(maxsize=64)
def everything(model: Model) -> frozenset[SharedAxis]:
    """All versions of all shared severities."""
    return frozenset(
        (severity, version) for severity, known in enumerate(model.shared) for version in range(known.versions)
    )


def plate_block(
    model: Model,
    evidence: Evidence,
    number: int,
    heard: frozenset[SharedAxis],
    apart: frozenset[int] = frozenset(),
    also: frozenset[int] = frozenset(),
) -> Block:
    """One plate by itself, with the axes kept that these shared axes hear, and those in `apart`; those in `also` are
    carried, to be summed out. Remembered."""
    known_axes = frozenset(_heard_axes(model.plates[number], heard))
    apart, also = apart - known_axes, also - known_axes - apart
    told: list[object] = []
    for (plate, index), likelihood in evidence.components.items():
        if plate == number:
            told += [index, likelihood]
    for plate, axes, likelihood in (*evidence.axes, *evidence.configured):
        if plate == number:
            told += [*axes, likelihood]
    made_from = (model.plates[number], number, heard, apart, also, *told)
    known = _PLATES.get(made_from)
    if known is not None:
        return known
    return _PLATES.put(made_from, stacked([plate_leaves(model, evidence, number, heard, apart | also, kept=apart)]))
