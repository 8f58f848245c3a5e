"""Down from the gradients of the sums into plates: how often each table was used, in expectation, row by row.

May import: numpy, `local`, `model`, `planning`, `rows`, `terms`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.leaves import PlateLeaves
from diag.inference.local import Tape, at_result, axis_marginals, closed_gradient, early_marginals, joined_gradient
from diag.inference.model import Array, Emission
from diag.inference.planning import Close
from diag.inference.rows import ROWS_AT_ONCE, Kind, pieces, spelt_out
from diag.inference.terms import Terms, plate_terms

__all__ = ["Masses", "Uses", "uses_of"]


class Masses(Struct, frozen=True, eq=False):
    """Expected uses in plates of one kind; the first axis is the row (sums over its cases, weighted), or the case.

    `states[component][row, class or 1, state]`; `axes[axis][row, level]`; `links[component, link][row, state, level]`;
    `emissions[emission][row, local level, shared level]`.
    """

    states: Mapping[int, Array]
    axes: Mapping[int, Array]
    links: Mapping[tuple[int, int], Array]
    emissions: Mapping[int, Array]

    def each(self, change: Callable[[Array], Array]) -> Masses:
        """The same with every array changed."""
        return Masses(
            {at: change(array) for at, array in self.states.items()},
            {at: change(array) for at, array in self.axes.items()},
            {at: change(array) for at, array in self.links.items()},
            {at: change(array) for at, array in self.emissions.items()},
        )


def _joined(parts: Sequence[Masses], units: int) -> Masses:
    """Pieces of rows, one after the other, `[unit, row, ...]`."""

    def join(arrays: Sequence[Array]) -> Array:
        return np.concatenate([np.broadcast_to(each, (units, *each.shape[1:])) for each in arrays], axis=1)

    first = parts[0]
    return Masses(
        {at: join([part.states[at] for part in parts]) for at in first.states},
        {at: join([part.axes[at] for part in parts]) for at in first.axes},
        {at: join([part.links[at] for part in parts]) for at in first.links},
        {at: join([part.emissions[at] for part in parts]) for at in first.emissions},
    )


class Uses(Struct, frozen=True, eq=False):
    """The masses of one kind of plate. `examples[row]`: a plate and a case that the row stands for; `classes[plate]`:
    the class of each configuration, as in `Masses.states`."""

    examples: tuple[tuple[int, int], ...]
    classes: Mapping[int, tuple[int, ...]]
    masses: Masses


def uses_of(kind: Kind, towards: Array, chosen: Terms) -> Iterator[Uses]:
    """By row, from `towards[row, class, term]`; or with cases kept apart, from `[plate, case, class, term]`.

    What comes out is linear in the gradient: where that is less work, cases are put together from unit gradients.
    """
    table = plate_terms(kind.first.plate.emissions, kind.first.layout.kept, kind.sizes, chosen)
    classes = {member.number: member.classes for member in kind.members}
    if towards.ndim == 3:
        yield Uses(tuple(kind.examples), classes, _collected(kind, towards[None], table, chosen).each(_first))
        return
    shape, cases = kind.sums.shape[1:], towards.shape[1]
    size, by_unit = shape[0] * shape[1], None
    if size * len(kind.examples) <= len(kind.members) * cases:
        units = np.broadcast_to(np.eye(size).reshape(size, 1, *shape), (size, len(kind.examples), *shape))
        by_unit = _collected(kind, units, table, chosen)
    for place, member in enumerate(kind.members):
        rows = kind.rows[member.number]
        if by_unit is None:
            masses = _collected(spelt_out(kind, rows), towards[place][None], table, chosen).each(_first)
        else:
            mine = towards[place].reshape(cases, 1, size)
            masses = by_unit.each(lambda each, mine=mine, rows=rows: _put_together(each, mine, rows))  # type: ignore[misc]
        examples = tuple((member.number, case) for case in range(cases))
        yield Uses(examples, {member.number: member.classes}, masses)


def _first(array: Array) -> Array:
    return np.asarray(array[0])


def _put_together(by_unit: Array, gradient: Array, rows: Array) -> Array:
    """`[case, ...]` from `[unit, row, ...]` and `[case, 1, unit]`."""
    flat = np.moveaxis(by_unit, 0, 1).reshape(by_unit.shape[1], len(by_unit), -1)[rows]
    return np.asarray(np.matmul(gradient, flat).reshape(len(rows), *by_unit.shape[2:]))


def _collected(kind: Kind, towards: Array, table: Array, chosen: Terms) -> Masses:
    """`[unit, row, ...]` from `towards[unit, row, class, term]`."""
    parts, heard = list[Masses](), _heard_emissions(kind, chosen)
    for rows in pieces(len(kind.examples), max(1, ROWS_AT_ONCE // len(towards))):
        some = towards[:, rows]
        cells = (np.ascontiguousarray(some).reshape(-1, some.shape[3]) @ table.T).reshape(*some.shape[:3], -1)
        states, axes, links = _leaf_uses(kind.first, kind.tape(rows), cells.reshape(*cells.shape[:3], 1, *kind.sizes))
        parts.append(Masses(states, axes, links, {each.number: each.uses(kind.density[rows], some) for each in heard}))
    return _joined(parts, len(towards))


def _leaf_uses(
    member: PlateLeaves, tape: Tape, gradient: Array
) -> tuple[dict[int, Array], dict[int, Array], dict[tuple[int, int], Array]]:
    """What each leaf held in the end: states by class, axes, links; `[unit, row, ...]`."""
    turned = at_result(tape, gradient)
    gradients = {len(tape.tensors) - 1: turned}
    axes = axis_marginals(tape, tape.tensors[-1] * turned, tape.axes[-1], tape.axes[-1])
    leaves = len(tape.layout.leaves)
    for number in range(len(tape.steps) - 1, -1, -1):
        step, incoming = tape.steps[number], gradients.pop(leaves + number)
        if isinstance(step, Close):
            gradients[step.node] = closed_gradient(tape, incoming, number)
            if not set(step.summed).isdisjoint(tape.axes[step.node]):
                inside = tape.tensors[step.node] * gradients[step.node]
                axes |= axis_marginals(tape, inside, tape.axes[step.node], step.summed)
        else:
            for mine in (step.left, step.right):
                gradients[mine] = joined_gradient(tape, incoming, number, mine)
                axes |= early_marginals(tape, number, mine, gradients[mine])
    states: dict[int, Array] = {}
    links: dict[tuple[int, int], Array] = {}
    for leaf, (component, link) in _leaf_owners(member).items():
        mass = tape.tensors[leaf] * gradients[leaf]
        depth = mass.ndim - 4
        mass = np.transpose(mass, (*(depth + tape.order.index(place) for place in range(4)), *range(depth)))
        if link is None:
            states[component] = mass.sum(axis=3)  # [unit, row, class, state]
        else:
            spare = tuple(range(5, 4 + depth - 1))  # the level once, and the state, which stands last
            links[component, link] = np.swapaxes(mass.sum(axis=(2, 3, *spare)), 2, 3)
    levels = len(member.plate.axes)
    return states, {axis: each for axis, each in axes.items() if axis < levels}, links


def _leaf_owners(member: PlateLeaves) -> dict[int, tuple[int, int | None]]:
    """Which component (of several states), and which link of it, a leaf is of; in the order in which `plate_leaves`
    makes them."""
    layout, plate = member.layout, member.plate
    needed = {axis for axes in layout.leaves for axis in axes if axis < layout.levels}
    found: dict[int, tuple[int, int | None]] = {}
    leaf = 0
    for index, component in enumerate(plate.components):
        if component.base is not None:
            continue
        several = component.prior.shape[1] > 1
        if several:
            found[leaf] = (index, None)
        leaf += 1
        for number, link in enumerate(component.links):
            if needed.intersection(link.axes):
                if several:
                    found[leaf] = (index, number)
                leaf += 1
    return found


class _HeardEmission(Struct, frozen=True, eq=False):
    """One emission to a severity that is heard. `parts`: a local level, `reached[term, shared level]`, the local cells
    at that level, and `used[cell, term]`, what all other emissions let through where this one is of that version."""

    number: int
    table: Array
    parts: tuple[tuple[int, Array, NDArray[np.bool_], Array], ...]

    def uses(self, density: Array, towards: Array) -> Array:
        """`[unit, row, local level, shared level]`."""
        result = np.zeros((*towards.shape[:2], *self.table.shape))
        for level, reached, here, used in self.parts:
            held = (density[:, :, here] @ used)[None] * towards  # [unit, row, class, term]
            result[:, :, level] += held.sum(axis=2) @ reached
        return np.asarray(result * self.table)


def _heard_emissions(kind: Kind, chosen: Terms) -> list[_HeardEmission]:
    kept, sizes = kind.first.layout.kept, kind.sizes
    emissions = kind.first.plate.emissions
    found: list[_HeardEmission] = []
    for number, emission in enumerate(emissions):
        heard = [(place, version) for place, (which, version) in enumerate(chosen.axes) if which == emission.shared]
        if not heard:
            continue
        others = plate_terms([*emissions[:number], *emissions[number + 1 :]], kept, sizes, chosen)
        mine = _by_version(emission, heard, kept, sizes, chosen)
        smallest = np.argmin(mine, axis=0) if len(heard) > 1 else np.zeros(mine.shape[1:], np.intp)
        count, levels = emission.table.shape
        parts = []
        for which, (place, version) in enumerate(heard):
            used = others * (smallest == which) if len(heard) > 1 else others
            at = np.indices(sizes).reshape(len(sizes), -1)[kept.index(emission.axes[version])]
            reached = (chosen.levels[:, place][:, None] >= np.arange(levels)[None]).astype(np.float64)
            parts += [(level, reached, at == level, used[at == level]) for level in range(count)]
        found.append(_HeardEmission(number, emission.table, tuple(parts)))
    return found


def _by_version(
    emission: Emission, heard: Sequence[tuple[int, int]], kept: Sequence[int], sizes: Sequence[int], chosen: Terms
) -> Array:
    """`[version heard, local cell, term]`: cumulated chances."""
    cumulative = np.cumsum(emission.table, axis=1)
    cumulative[:, -1] = 1.0
    cells = np.indices(tuple(sizes)).reshape(len(sizes), -1)
    return np.stack(
        [cumulative[cells[kept.index(emission.axes[version])]][:, chosen.levels[:, place]] for place, version in heard]
    )
