"""One plate made ready: its factors with their evidence, and which configurations it tells apart.

Where there are many configurations, every factor keeps only the rows that differ, with its spread (see `spreads`): a
plate may tell a hundred thousand configurations apart, and no factor of it more than some tens.
May import: numpy, `local`, `model`, `planning`, `remembered`, `spreads`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property, lru_cache
from weakref import WeakKeyDictionary

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.inference.model import Array, Component, Evidence, Link, Model, Plate, SharedAxis
from diag.inference.planning import Layout
from diag.inference.remembered import Hashed
from diag.inference.spreads import Spread, distinct, in_order, paired, seen_in_order

__all__ = [
    "DENSE",
    "FEW",
    "MANY_CASES",
    "LeafAt",
    "PlateLeaves",
    "heard_axes",
    "leaves_at",
    "plate_key",
    "plate_leaves",
    "restricted",
    "told_of",
    "with_spreads",
]

MANY_CASES = 16  # a batch, when joins are planned
DENSE = 4096  # joint levels up to which a plate is dense; what was renewed in it twice over has more
FEW = 256  # classes up to which factors are spelt out: so few that pairing rows costs more
Told = tuple[tuple[int, ...], Array]  # axes in ascending order and a likelihood over them


class PlateLeaves(Struct, frozen=True, eq=False, dict=True):
    """One plate with its evidence.

    Leaves are `[case or 1, class or 1, axis...]`; `weights[component]` is the leaf that holds a component's prior and
    evidence (without a state axis where it has one state); likelihoods are `[case or 1, class or 1, level...]`.
    `classes[configuration]` is the class of each configuration; empty where the configuration has no influence.
    `spreads`: of the leaves and then of the likelihoods, where these have rows of their own instead of one for each
    class; empty where none has.
    """

    number: int
    plate: Plate
    layout: Layout
    leaves: tuple[Array, ...]
    weights: tuple[int, ...]
    likelihoods: tuple[Array, ...]
    classes: tuple[int, ...]
    dense: bool
    spreads: tuple[Spread | None, ...] = ()

    @cached_property
    def shape_key(self) -> Hashed:
        """Plates with equal keys can be stacked."""
        shapes = tuple(array.shape for array in (*self.leaves, *self.likelihoods))
        return Hashed(self.layout, shapes, *(None if each is None else each.tobytes() for each in self.spreads))

    @cached_property
    def content(self) -> Hashed:
        """Equal for plates whose densities are made of the same."""
        numbers = (array.tobytes() for array in (*self.leaves, *self.likelihoods))
        return Hashed(self.shape_key, self.weights, self.classes, *numbers)


class _Rows(Struct, frozen=True, eq=False):
    """A factor `[case or 1, row, ...]`, and which row each configuration sees; none where there is one row."""

    table: Array
    spread: Spread | None = None

    def times(self, other: _Rows) -> _Rows:
        """Both multiplied."""
        if self.spread is None or other.spread is None:
            return _Rows(self.table * other.table, other.spread if self.spread is None else self.spread)
        both = paired(self.spread, other.spread)
        return _Rows(self.table[:, both.first] * other.table[:, both.second], both.spread)


def _rows(table: Array) -> _Rows:
    """A factor `[case or 1, configuration or 1, ...]` by its rows."""
    if table.shape[1] == 1:
        return _Rows(table)
    spread, first = distinct(np.swapaxes(table, 0, 1))
    return _Rows(table[:, first], spread if len(first) > 1 else None)


_PRIORS: WeakKeyDictionary[Component, _Rows] = WeakKeyDictionary()  # no longer than the model that they are of
_LINKS: WeakKeyDictionary[Link, tuple[Link, Spread | None]] = WeakKeyDictionary()


def _prior_rows(component: Component) -> _Rows:
    if component not in _PRIORS:
        _PRIORS[component] = _rows(component.prior[None])
    return _PRIORS[component]


def _link_rows(link: Link) -> tuple[Link, Spread | None]:
    """A link with its different rows alone."""
    if link not in _LINKS:
        found = _rows(link.table[None])
        _LINKS[link] = Link(link.axes, found.table[0]), found.spread
    return _LINKS[link]


def restricted(component: Component, kept: Spread) -> Component:
    """A component of a model with only some configurations; the rows that its tables have are known then as well."""

    def of(table: Array) -> Array:
        return table if len(table) == 1 else table[kept]

    def cut(rows: Array, spread: Spread) -> tuple[Array, Spread | None]:
        number, first = seen_in_order(spread[kept])
        return rows[spread[kept][first]], number if len(first) > 1 else None

    links = tuple(Link(link.axes, of(link.table)) for link in component.links)
    result = replace(component, prior=of(component.prior), links=links)
    for old, new in zip(component.links, links, strict=True):
        rows, spread = _LINKS.get(old, (old, None))
        if spread is not None:
            table, again = cut(rows.table, spread)
            _LINKS[new] = Link(new.axes, table), again
    known = _PRIORS.get(component)
    if known is not None and known.spread is not None:
        table, again = cut(known.table[0], known.spread)
        _PRIORS[result] = _Rows(table[None], again)
    return result


@lru_cache(maxsize=8192)
def _link_leaf(link: Link, used: tuple[int, ...], size: int, one_state: bool) -> Array:
    """`[configuration or 1, level..., state]`: a contributed level stands on the diagonal of all the axes it fills."""
    table = link.table
    result = np.zeros((table.shape[0], *(size for _ in used), table.shape[1]))
    for level in range(size):
        diagonal: tuple[int | slice, ...] = (slice(None), *(level for _ in used))
        result[diagonal] = table[:, :, level]
    return result[..., 0] if one_state else result


def heard_axes(plate: Plate, heard: frozenset[SharedAxis]) -> tuple[int, ...]:
    """The local axes that speak in a version of a shared severity that has evidence."""
    speaking = (
        axis
        for emission in plate.emissions
        for version, axis in enumerate(emission.axes)
        if (emission.shared, version) in heard
    )
    return tuple(sorted(set(speaking)))


_KEYS: WeakKeyDictionary[Plate, tuple[object, ...]] = WeakKeyDictionary()


def plate_key(plate: Plate) -> tuple[object, ...]:
    """Plates with different keys are never stacked: what they emit, which axes their components reach, their levels."""
    if plate not in _KEYS:
        _KEYS[plate] = _plate_key(plate)
    return _KEYS[plate]


def _plate_key(plate: Plate) -> tuple[object, ...]:
    emitted = tuple((emission.shared, emission.axes, emission.table.tobytes()) for emission in plate.emissions)
    reached = tuple(tuple((link.axes, link.table.shape) for link in component.links) for component in plate.components)
    return emitted, reached, tuple(axis.levels for axis in plate.axes)


def plate_leaves(
    model: Model,
    evidence: Evidence,
    number: int,
    heard: frozenset[SharedAxis],
    also: frozenset[int] = frozenset(),
    like: tuple[tuple[int, ...], ...] = (),
    dense: int = DENSE,
    kept: frozenset[int] = frozenset(),
    spelt_out: bool = False,
) -> PlateLeaves:
    """Make one plate ready.

    `also` names axes to carry although nothing asks for them (their marginals are wanted), `kept` those of them to
    keep apart in the density; `like` sets of axes on which a plate alike has evidence, so that the two keep one shape.
    `spelt_out`: every factor has a row for each class, however many these are.
    """
    plate = model.plates[number]
    levels = tuple(axis.levels for axis in plate.axes)
    spoken = tuple(sorted({*heard_axes(plate, heard), *kept}))
    told = told_of(evidence, number, like, levels)
    needed = frozenset(spoken) | also | {axis for axes, _ in told for axis in axes}
    needed = frozenset(axis for axis in needed if axis < len(levels))  # an axis beyond them is a component's states
    leaves, axes_of, weights = _factors(plate, evidence, number, needed)
    tables = [_rows(table) for _, table in told]
    classes, chosen = _classes([leaves[at] for at in dict.fromkeys(weights)] + tables, plate)
    sizes = levels + tuple(component.prior.shape[1] for component in plate.components)
    layout = Layout(sizes, len(levels), tuple(axes_of), tuple(axes for axes, _ in told), ())
    is_dense = layout.size(spoken) <= dense
    layout = replace(layout, kept=spoken) if is_dense else layout
    cut = [_Rows(each.table, None if each.spread is None else each.spread[chosen]) for each in (*leaves, *tables)]
    if spelt_out or len(chosen) <= FEW:
        plain = [each.table if each.spread is None else each.table[:, each.spread] for each in cut]
        layout = replace(layout, widths=tuple(_width(array) * array.shape[1] for array in plain))
        spreads: tuple[Spread | None, ...] = ()
    else:
        plain, spreads = [each.table for each in cut], tuple(each.spread for each in cut)
        layout = with_spreads(replace(layout, widths=tuple(map(_width, plain))), spreads, len(chosen))
    return PlateLeaves(
        number,
        plate,
        layout,
        tuple(plain[: len(leaves)]),
        weights,
        tuple(plain[len(leaves) :]),
        tuple(classes.tolist()) if len(chosen) > 1 else (),
        is_dense,
        spreads,
    )


def _width(table: Array) -> int:
    """How much wider a factor is by cases, roughly: for the plan, that must not change with the batch."""
    return MANY_CASES if len(table) > 1 else 1


def with_spreads(layout: Layout, spreads: Sequence[Spread | None], classes: int) -> Layout:
    """A layout that says how the spreads of its factors lie to each other."""
    kinds: dict[bytes, int] = {}
    different: list[Spread] = []
    spread_of = []
    for spread in spreads:
        name = b"" if spread is None else spread.tobytes()
        if spread is not None and name not in kinds:
            kinds[name] = len(different)
            different.append(spread)
        spread_of.append(kinds[name] if spread is not None else -1)
    counts = [int(each.max()) + 1 for each in different]
    within = [1 << number for number in range(len(different))]
    for one, first in enumerate(different):
        for other, second in enumerate(different):
            if counts[other] < counts[one] and len(paired(first, second)) == counts[one]:
                within[one] |= 1 << other
    return replace(layout, spread_of=tuple(spread_of), spreads=tuple(counts), within=tuple(within), classes=classes)


class LeafAt(Struct, frozen=True):
    """What a leaf holds: the weight of a component, or one of its links; `component` none: the level 0 of an axis that
    nothing reaches. `axes`: levels, and the component's states where it has several."""

    component: int | None
    link: int | None
    axes: tuple[int, ...]


Structure = tuple[int, tuple[tuple[int | None, bool, tuple[tuple[int, ...], ...]], ...]]
_STRUCTURES: WeakKeyDictionary[Plate, Structure] = WeakKeyDictionary()


def leaves_at(plate: Plate, needed: frozenset[int]) -> tuple[tuple[LeafAt, ...], tuple[int, ...]]:
    """The leaves of a plate of which these axes are needed, and which leaf holds each component's weight. Most plates
    of a vehicle are built alike, so it is worked out once for all of these."""
    if plate not in _STRUCTURES:
        _STRUCTURES[plate] = (
            len(plate.axes),
            tuple((c.base, c.prior.shape[1] == 1, tuple(link.axes for link in c.links)) for c in plate.components),
        )
    return _leaves_at(_STRUCTURES[plate], needed)


@lru_cache(maxsize=1024)
def _leaves_at(structure: Structure, needed: frozenset[int]) -> tuple[tuple[LeafAt, ...], tuple[int, ...]]:
    axes, components = structure
    leaves: list[LeafAt] = []
    weights: list[int] = []
    for index, (base, one_state, links) in enumerate(components):
        if base is not None:
            weights.append(weights[base])
            continue
        state = () if one_state else (axes + index,)
        weights.append(len(leaves))
        leaves.append(LeafAt(index, None, state))
        for number, link in enumerate(links):
            used = tuple(sorted(axis for axis in link if axis in needed))
            if used:
                leaves.append(LeafAt(index, number, (*used, *state)))
    reached = {axis for leaf in leaves for axis in leaf.axes}
    nothing = [LeafAt(None, None, (axis,)) for axis in sorted(needed - reached)]
    return (*leaves, *nothing), tuple(weights)


def _factors(
    plate: Plate, evidence: Evidence, number: int, needed: frozenset[int]
) -> tuple[list[_Rows], list[tuple[int, ...]], tuple[int, ...]]:
    """Leaves `[case or 1, row, axis...]`, their axes, and which leaf holds each component's weight."""
    places, weights = leaves_at(plate, needed)
    told = {index: likelihood for (where, index), likelihood in evidence.components.items() if where == number}
    return [_leaf(plate, told, at) for at in places], [at.axes for at in places], weights


def _leaf(plate: Plate, told: Mapping[int, Array], at: LeafAt) -> _Rows:
    if at.component is None:
        return _Rows(np.eye(1, plate.axes[at.axes[0]].levels)[None])
    component = plate.components[at.component]
    one_state = component.prior.shape[1] == 1
    if at.link is None:
        weight = _weight(plate, told, at.component)
        return _Rows(weight.table[..., 0], weight.spread) if one_state else weight
    rows, spread = _link_rows(component.links[at.link])
    used = at.axes if one_state else at.axes[:-1]
    return _Rows(_link_leaf(rows, used, plate.axes[used[0]].levels, one_state)[None], spread)


def told_of(
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


def _classes(factors: Sequence[_Rows], plate: Plate) -> tuple[Spread, Spread]:
    """Class of each configuration, and one configuration of each class: the first.

    All links count, also to axes that nobody asks for yet, so that the classes do not depend on what is asked.
    """
    links = (_link_rows(link)[1] for component in plate.components for link in component.links)
    spreads = [each for each in (*(factor.spread for factor in factors), *links) if each is not None]
    if not spreads:
        return np.zeros(1, dtype=np.intp), np.zeros(1, dtype=np.intp)
    classes = spreads[0]
    seen = {classes.tobytes()}
    for spread in spreads[1:]:
        name = spread.tobytes()
        if name not in seen:
            seen.add(name)
            classes = paired(classes, spread).spread
    return in_order(classes)


def _weight(plate: Plate, told: Mapping[int, Array], index: int) -> _Rows:
    """`[case or 1, row, state]`: prior and evidence, that on the views of the component included; `told` is what was
    told of each of the plate's components."""
    result = _prior_rows(plate.components[index])
    for other, likelihood in sorted(told.items(), key=_number):
        component = plate.components[other]
        if other == index:
            result = result.times(_rows(likelihood))
        elif component.base == index:
            rows = _rows(likelihood)
            result = result.times(_Rows(component.widened(rows.table), rows.spread))
    return result


def _number(item: tuple[int, Array]) -> int:
    return item[0]
