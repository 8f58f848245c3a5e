"""Plates made ready for the computation: factors with their evidence, plates of one shape stacked into a block.

Configurations that a plate cannot tell apart (the other bank's loom, say) are one class of configurations to it, and
are computed once. A plate whose severities have few joint levels is *dense*: the joint density of the levels that
shared severities hear is computed once, and meets the terms in one matrix product. A plate with so many versions that
this would not fit meets each term inside its factor graph instead.
May import: numpy, `by_term`, `held`, `leaves`, `local`, `model`, `remembered`, `spreads`, `terms`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property, lru_cache
from hashlib import blake2b
from weakref import WeakKeyDictionary

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.inference.by_term import ByTerm
from diag.inference.held import at_states, states_held
from diag.inference.leaves import DENSE, FEW, PlateLeaves, heard_axes, plate_key, plate_leaves
from diag.inference.local import Tape, backward, density_of, forward, keeping
from diag.inference.model import Array, Component, Evidence, Model, Plate, SharedAxis
from diag.inference.remembered import LARGEST_HELD, Hashed, Remembered
from diag.inference.spreads import Spread, distinct, in_order, paired
from diag.inference.terms import Terms, plate_terms

__all__ = [
    "DENSE",
    "Block",
    "Options",
    "blocks",
    "everything",
    "of_axis",
    "plate_block",
    "stacked",
]

LARGEST_TOLD = 1 << 13  # bytes of a component, or a likelihood, that is known again by its numbers
Options = Sequence[Mapping[int, Array]]


class Block(Struct, frozen=True, eq=False, dict=True):
    """Plates of one shape, stacked: leaves `[plate, case or 1, class or 1, 1, axis...]`. The plate dimension also
    serves for options of one plate. `classes[plate]` are those of the configurations; `voice` is equal for blocks that
    speak alike."""

    members: tuple[PlateLeaves, ...]
    leaves: tuple[Array, ...]
    likelihoods: tuple[Array, ...]
    classes: tuple[tuple[int, ...], ...]
    rows: int = 1  # options, or gradients, that stand where a batch has its cases
    spreads: tuple[Spread | None, ...] = ()  # as in `PlateLeaves`, those of all plates being equal

    @property
    def first(self) -> PlateLeaves:
        """The plate whose shape all share."""
        return self.members[0]

    @cached_property
    def voice(self) -> Hashed:
        """Equal for blocks that speak alike."""
        return Hashed(plate_key(self.first.plate)[0], self.kept)

    @cached_property
    def content(self) -> Hashed | None:
        """Equal for blocks of one plate that are alike in all that their densities are made of; none where that is
        much, or spread over configurations."""
        spread = any(each is not None for each in self.spreads)
        if spread or sum(array.nbytes for array in (*self.leaves, *self.likelihoods)) > LARGEST_HELD:
            return None
        leaves = tuple(array.tobytes() for array in (*self.leaves, *self.likelihoods))
        seen = tuple((component.base, component.seen) for component in self.first.plate.components)
        return Hashed(self.first.shape_key, self.voice, self.first.weights, self.classes, seen, leaves)

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
        return forward(self.first.layout, self.leaves, self.likelihoods, self.rows, self.spreads)

    @property
    def density(self) -> Array:
        """`[plate, case or 1, class or 1, local cell]` of a dense block."""
        result = self.tape.result
        return result.reshape(*result.shape[:3], -1)

    def density_alone(self) -> Array:
        """The same, of a block of which nothing else is wanted."""
        result = density_of(self.first.layout, self.leaves, self.likelihoods, self.spreads)
        return result.reshape(*result.shape[:3], -1)

    def table(self, chosen: Terms) -> Array:
        """`[local cell, term]` of a dense block; not to be changed."""
        key = (self.voice, self.sizes, chosen.axes, chosen.levels.tobytes())
        known = _TABLES.get(key)
        return _TABLES.put(key, self._table(chosen)) if known is None else known

    def _table(self, chosen: Terms) -> Array:
        return plate_terms(self.first.plate.emissions, self.kept, self.sizes, chosen)

    @property
    def class_count(self) -> int:
        """Classes of configurations."""
        return max(self.classes[0], default=0) + 1

    @property
    def by_term(self) -> ByTerm:
        """The passes of a block that is not dense."""
        first = self.first
        return ByTerm(
            first.layout, self.leaves, self.likelihoods, self.spreads, self.class_count, first.plate.emissions
        )

    def sums(self, chosen: Terms, table: Array | None = None) -> Array:
        """`[plate, case or 1, class or 1, term]`: the plate's mass that stays within each term."""
        if not self.first.dense:
            return self.by_term.sums(chosen, self.rows)
        table = self.table(chosen) if table is None else table
        density = self.density
        flat = density.reshape(-1, len(table)) @ table.reshape(len(table), -1)  # one product: quicker than batched
        return np.asarray(flat.reshape(*density.shape[:3], *table.shape[1:]))

    def collect(self, gradient: Array, chosen: Terms) -> dict[int, Array]:
        """Axis marginals from the gradient towards the density, or towards the terms' sums."""
        if self.first.dense:
            return backward(self.tape, gradient.reshape(*gradient.shape[:3], 1, *self.sizes))
        return self.by_term.collected(gradient, chosen)[0]

    def collected(self, gradient: Array, chosen: Terms) -> tuple[dict[int, Array], Array]:
        """The same, and `[plate, case]` what the gradient makes of the whole."""
        if self.first.dense:
            return self.collect(gradient, chosen), np.asarray((self.density * gradient).sum(axis=(2, 3)))
        return self.by_term.collected(gradient, chosen)

    def towards(self, gradient: Array, chosen: Terms) -> Array:
        """What `collect` takes, from a gradient towards the terms' sums `[..., class or 1, term]`."""
        return gradient @ self.table(chosen).T if self.first.dense else gradient

    def alone(self, place: int) -> Block:
        """One plate of the block."""
        return stacked([self.members[place]])

    def keeping(self, axes: tuple[int, ...]) -> tuple[tuple[int, ...], Array]:
        """The density of a dense block with some of its axes kept apart, too, `[plate, case or 1, class or 1, level or
        state...]`, and all the axes that it has then: one long for a component of one state."""
        kept, result = tuple(sorted({*self.kept, *axes})), keeping(self.tape, axes)[1]
        return kept, result.reshape(*result.shape[:3], *(self.first.layout.sizes[axis] for axis in kept))

    def with_options(self, place: int, options: Options) -> Block:
        """One plate of the block, once for each option, with the option's factors in it.

        An option maps component indices to factors `[configuration or 1, state]`, and axes (see `of_axis`) on which
        evidence stands to factors `[1, level]`.
        """
        member = self.members[place]
        rows = max((len(factor) for option in options for factor in option.values()), default=1)
        leaves, likelihoods = [leaf[[place]] for leaf in self.leaves], [table[[place]] for table in self.likelihoods]
        classes, spreads = self.classes[place], self.spreads
        if rows > FEW:
            factors_of = _stacks(member, options)
            leaves, spreads, classes = _met(leaves, likelihoods, self.spreads, classes, factors_of)
            self._levels_weighed(likelihoods, [options], beside=False)
            return Block((member,), tuple(leaves), tuple(likelihoods), (classes,), 1, spreads)
        if rows > 1:  # the factors tell configurations apart, so classes no longer do
            leaves = [np.take(leaf, classes, axis=2) if leaf.shape[2] > 1 else leaf for leaf in leaves]
            classes = tuple(range(rows))
        held: dict[int, list[int]] = {}
        for component in _components_in(options):
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
        if rows > 1:
            mine = self.classes[place]
            likelihoods = [np.take(table, mine, axis=2) if table.shape[2] > 1 else table for table in likelihoods]
        self._levels_weighed(likelihoods, [options], beside=False)
        return Block((member,), tuple(leaves), tuple(likelihoods), (classes,), 1, spreads)

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
        if rows > FEW:
            ((mine,), (some,)) = classes, options  # many configurations: one plate at a time
            turned = {leaf: np.swapaxes(stack, 0, 1) for leaf, stack in _stacks(self.first, some).items()}
            leaves, spreads, mine = _met(leaves, likelihoods, self.spreads, mine, turned)
            self._levels_weighed(likelihoods, options, beside=True)
            return Block(self.members, tuple(leaves), tuple(likelihoods), (mine,), len(some), spreads)
        if rows > 1:
            leaves = [self._spelt_out(leaf) for leaf in leaves]
            likelihoods = [self._spelt_out(table) for table in likelihoods]
            classes = tuple(tuple(range(rows)) for _ in self.members)
        for component in _components_in([option for some in options for option in some]):
            leaf = self.first.weights[component]
            known = self.first.plate.components[component]
            states = known.prior.shape[1]
            stacks = [_factor_stack([option.get(component) for option in some], states) for some in options]
            wide = max(stack.shape[1] for stack in stacks)
            stack = np.stack([np.broadcast_to(each, (len(each), wide, states)) for each in stacks])[:, :, :, None]
            stack = stack if known.base is None else known.widened(stack)
            leaves[leaf] = leaves[leaf] * (stack if states > 1 else stack[..., 0])
        self._levels_weighed(likelihoods, options, beside=True)
        return Block(self.members, tuple(leaves), tuple(likelihoods), classes, len(options[0]), self.spreads)

    def _levels_weighed(self, likelihoods: list[Array], options: Sequence[Options], beside: bool) -> None:
        """Put what options hold of axes onto the likelihoods there: `beside` where a batch has its cases, else where
        plates stand."""
        for key in sorted({key for some in options for option in some for key in option if key < 0}):
            axis = of_axis(key)
            at = self.first.layout.likelihoods.index((axis,))
            levels = self.first.plate.axes[axis].levels
            stacks = [_factor_stack([option.get(key) for option in some], levels) for some in options]
            stack = np.stack(stacks)[:, :, :, None] if beside else stacks[0][:, None, :, None]
            likelihoods[at] = likelihoods[at] * stack

    def _spelt_out(self, leaf: Array) -> Array:
        """A leaf or likelihood by configuration instead of by class."""
        if leaf.shape[2] == 1:
            return leaf
        return np.stack([np.take(mine, classes, axis=1) for mine, classes in zip(leaf, self.classes, strict=True)])


def of_axis(axis: int) -> int:
    """The key by which an option speaks of a local axis instead of a component; and back again."""
    return -1 - axis


def _components_in(options: Options) -> list[int]:
    return sorted({key for option in options for key in option if key >= 0})


def _factor_stack(factors: Sequence[Array | None], states: int) -> Array:
    """`[option, configuration or 1, state]`."""
    rows = max((len(factor) for factor in factors if factor is not None), default=1)
    stack = np.ones((len(factors), rows, states))
    for place, factor in enumerate(factors):
        if factor is not None:
            stack[place] = factor
    return stack


def _stacks(member: PlateLeaves, options: Options) -> dict[int, Array]:
    """By leaf, the factors of options of one plate: `[option, 1, configuration or 1, 1, state]`."""
    found: dict[int, Array] = {}
    for component in _components_in(options):
        known, leaf = member.plate.components[component], member.weights[component]
        states = known.prior.shape[1]
        stack = _factor_stack([option.get(component) for option in options], states)[:, None, :, None, :]
        stack = stack if known.base is None else known.widened(stack)
        stack = stack if states > 1 else stack[..., 0]
        found[leaf] = found[leaf] * stack if leaf in found else stack
    return found


def _met(
    leaves: list[Array],
    likelihoods: list[Array],
    spreads: Sequence[Spread | None],
    classes: tuple[int, ...],
    factors: Mapping[int, Array],
) -> tuple[list[Array], tuple[Spread | None, ...], tuple[int, ...]]:
    """Leaves that met factors by configuration, all spreads, and the classes that the configurations fall into then."""
    wide = max(stack.shape[2] for stack in factors.values())
    own = np.array(classes or [0] * wide, dtype=np.intp)
    by_row = {leaf: distinct(np.moveaxis(stack, 2, 0)) for leaf, stack in factors.items() if stack.shape[2] > 1}
    whole = own
    for spread, _ in by_row.values():
        whole = paired(whole, spread).spread
    whole, chosen = in_order(whole)
    everything = [*leaves, *likelihoods]
    plain = [np.arange(each.shape[2]) if each.shape[2] > 1 else None for each in everything]
    found = [None if each is None else each[own[chosen]] for each in (spreads or plain)]
    for leaf, stack in factors.items():
        if leaf not in by_row:
            leaves[leaf] = leaves[leaf] * stack
            continue
        spread, first = by_row[leaf]
        mine, theirs = found[leaf], spread[chosen]
        rows = stack[:, :, first]
        if mine is None:
            leaves[leaf], found[leaf] = leaves[leaf] * rows, theirs
        else:
            both = paired(mine, theirs)
            leaves[leaf], found[leaf] = leaves[leaf][:, :, both.first] * rows[:, :, both.second], both.spread
    return leaves, tuple(found), tuple(whole.tolist())


def stacked(members: Sequence[PlateLeaves]) -> Block:
    """Stack plates of one shape."""
    return Block(
        tuple(members),
        tuple(map(_stack, zip(*(member.leaves for member in members), strict=True))),
        tuple(map(_stack, zip(*(member.likelihoods for member in members), strict=True))),
        tuple(member.classes for member in members),
        spreads=members[0].spreads,
    )


def _stack(arrays: Sequence[Array]) -> Array:
    """`[plate, case or 1, class or 1, 1, axis...]` from one array `[case or 1, class or 1, axis...]` a plate."""
    if len(arrays) == 1:
        return arrays[0][None, :, :, None]
    return np.concatenate([array[None, :, :, None] for array in arrays])


def blocks(model: Model, evidence: Evidence, heard: frozenset[SharedAxis], dense: int = DENSE) -> tuple[Block, ...]:
    """All plates of the model, those of one shape together."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, plate in enumerate(model.plates):
        alike.setdefault(plate_key(plate), []).append(number)
    groups: dict[tuple[object, ...], list[PlateLeaves]] = {}
    for key, numbers in alike.items():
        sets = {tuple(sorted(axes)) for where, axes, _ in (*evidence.axes, *evidence.configured) if where in numbers}
        for number in numbers:
            leaves = _leaves(model, evidence, number, heard, tuple(sorted(sets)), dense)
            groups.setdefault((leaves.shape_key, key), []).append(leaves)
    return tuple(stacked(members) for members in groups.values())


def _leaves(
    model: Model,
    evidence: Evidence,
    number: int,
    heard: frozenset[SharedAxis],
    like: tuple[tuple[int, ...], ...],
    dense: int,
) -> PlateLeaves:
    """A plate made ready; remembered, for a case that goes on tells of few plates anew."""
    if evidence.cases > 1:
        return plate_leaves(model, evidence, number, heard, like=like, dense=dense)
    plate = model.plates[number]
    made_from = (*_made_of(plate), heard, like, dense, *_told_at(evidence, number))
    known = _LEAVES.get(made_from)
    if known is None:
        return _LEAVES.put(made_from, plate_leaves(model, evidence, number, heard, like=like, dense=dense))
    return known if known.plate is plate and known.number == number else replace(known, number=number, plate=plate)


_DIGESTS: WeakKeyDictionary[Component, bytes] = WeakKeyDictionary()
_MADE_OF: WeakKeyDictionary[Plate, tuple[object, ...]] = WeakKeyDictionary()


def _made_of(plate: Plate) -> tuple[object, ...]:
    """All that a plate is made of but names: equal for plates, of whatever model, that hold the same numbers."""
    if plate not in _MADE_OF:
        _MADE_OF[plate] = (plate_key(plate), *map(_component_made_of, plate.components))
    return _MADE_OF[plate]


def _component_made_of(component: Component) -> object:
    """The component itself where its numbers are so many that to know it again costs more than to work it out."""
    arrays = (component.prior, *(link.table for link in component.links))
    if sum(array.nbytes for array in arrays) > LARGEST_TOLD:
        return component
    if component not in _DIGESTS:
        seen = repr((component.base, component.seen, [(each.shape, each.dtype.str) for each in arrays]))
        reached = repr([link.axes for link in component.links])
        known = blake2b(f"{seen};{reached};".encode(), digest_size=20)
        for array in arrays:
            known.update(array.tobytes())
        _DIGESTS[component] = known.digest()
    return _DIGESTS[component]


def _told_of(likelihood: Array) -> object:
    """The same of a likelihood."""
    return likelihood if likelihood.nbytes > LARGEST_TOLD else (likelihood.shape, likelihood.tobytes())


def _told_at(evidence: Evidence, number: int) -> list[object]:
    """All that was told of one plate."""
    told: list[object] = []
    for (where, index), likelihood in evidence.components.items():
        if where == number:
            told += ["component", index, _told_of(likelihood)]
    for where, axes, likelihood in evidence.axes:
        if where == number:
            told += ["axes", *axes, _told_of(likelihood)]
    for where, axes, likelihood in evidence.configured:
        if where == number:
            told += ["by configuration", *axes, _told_of(likelihood)]
    return told


def _bytes_of_leaves(leaves: PlateLeaves) -> int:
    return sum(array.nbytes for array in (*leaves.leaves, *leaves.likelihoods)) + 32 * len(leaves.classes)


def _bytes_of_block(block: Block) -> int:
    """With its classes and, roughly, its forward pass."""
    classes = max((max(each, default=0) + 1 for each in block.classes), default=1)
    result = 8 * len(block.classes) * block.rows * classes * math.prod(block.sizes)
    numbers = sum(array.nbytes for array in (*block.leaves, *block.likelihoods))
    return numbers + (4 * sum(map(len, block.classes)) + 2) * 8 + (2 * result if block.spreads else 0)


def _bytes_of(table: Array) -> int:
    return table.nbytes


_TABLES: Remembered[Array] = Remembered(32, _bytes_of, times=4)
_LEAVES: Remembered[PlateLeaves] = Remembered(256, _bytes_of_leaves)
_PLATES: Remembered[Block] = Remembered(256, _bytes_of_block)


def everything(model: Model) -> frozenset[SharedAxis]:
    """All versions of all shared severities."""
    return _every(tuple(known.versions for known in model.shared))


@lru_cache(maxsize=64)
def _every(versions: tuple[int, ...]) -> frozenset[SharedAxis]:
    return frozenset((severity, version) for severity, count in enumerate(versions) for version in range(count))


def plate_block(
    model: Model,
    evidence: Evidence,
    number: int,
    heard: frozenset[SharedAxis],
    apart: frozenset[int] = frozenset(),
    also: frozenset[int] = frozenset(),
) -> Block:
    """One plate by itself, with the axes kept that these shared axes hear, and those in `apart`; those in `also` are
    carried, to be summed out. Remembered, and one for all plates that hold the same numbers and were told the same: it
    bears the number and the names of one of them."""
    known_axes = frozenset(heard_axes(model.plates[number], heard))
    apart, also = apart - known_axes, also - known_axes - apart
    made_from = (*_made_of(model.plates[number]), heard, apart, also, *_told_at(evidence, number))
    known = _PLATES.get(made_from)
    if known is not None:
        return known
    leaves = plate_leaves(model, evidence, number, heard, apart | also, kept=apart)
    return _PLATES.put(made_from, stacked([leaves]))
