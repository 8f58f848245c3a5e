"""In which order the factors of a plate are joined, and what is summed out when: planned once for each layout.

Factors are joined pairwise, cheapest first; a level axis whose contributors are all joined meets its likelihood and is
summed out unless it is kept, and a state axis is summed out when no other factor has it. What is cheapest at each step
may be dear in the end: where a layout serves many rows, several orders are tried with prices blurred by chance, and
the one with the least work is taken. Every other one of these goes axis by axis instead of pair by pair: next is that
axis of which the factors, all joined, are smallest (the least weight of an elimination order: Kjaerulff 1990), which
is up to fifty times less work where a plate has many versions. Plans are kept for the next start.
May import: `diag.basics`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from functools import lru_cache, reduce
from math import prod
from pathlib import Path
from random import Random

from msgspec import Struct

from diag.basics import Kept

__all__ = ["Axes", "Close", "Join", "Layout", "Step", "plan", "summed_below", "work_of"]

Axes = tuple[int, ...]
BLUR = 1.0  # by how much at most a price is made dearer where several orders are tried
BLUR_OF_AXES = 4.0  # the same of an axis
FEW_HOLDERS = 3  # of an axis, up to which one holder more or less changes what a join of two can sum out


class Layout(Struct, frozen=True):
    """The shape of a plate's computation: `sizes` of all axes, the first `levels` of which are level axes; axes of
    each leaf and of each likelihood; and the level axes to keep.

    `widths[leaf or likelihood]` is how much wider it is by the cases, classes and terms that it depends on; a rough
    number, for the plan alone. `spread_of[leaf or likelihood]`: which spread it has by itself (-1: none); `spreads`
    their numbers of rows, `within[spread]` the spreads (as bits) that tell nothing more apart than it does, itself
    included, and `classes` what all together tell apart. `tries`: how many orders to compare before one is taken.
    """

    sizes: tuple[int, ...]
    levels: int
    leaves: tuple[Axes, ...]
    likelihoods: tuple[Axes, ...]
    kept: Axes
    widths: tuple[int, ...] = ()
    tries: int = 1
    spread_of: tuple[int, ...] = ()
    spreads: tuple[int, ...] = ()
    within: tuple[int, ...] = ()
    classes: int = 1

    def size(self, axes: Set[int] | Axes) -> int:
        """Number of cells over some axes."""
        return prod(self.sizes[axis] for axis in axes)


class Join(Struct, frozen=True):
    """Two nodes become one over the union of their axes."""

    left: int
    right: int
    axes: Axes


class Close(Struct, frozen=True):
    """A node meets likelihoods, and some of its axes are summed out."""

    node: int
    likelihoods: tuple[int, ...]
    summed: Axes
    axes: Axes


Step = Join | Close


_kept: Kept[tuple[Step, ...]] = Kept("plans", Path(__file__))


@lru_cache(maxsize=2048)
def plan(layout: Layout) -> tuple[Step, ...]:
    """Which nodes are joined and closed in which order; node numbers count leaves first, then one a step."""
    return _kept.of(repr(layout), lambda: _planned(layout))


def _planned(layout: Layout) -> tuple[Step, ...]:
    best = _joined(_Planner(layout))
    for seed in range(1, layout.tries):
        planner = _Planner(layout, Random(seed))
        tried = _eliminated(planner) if seed % 2 else _joined(planner)
        best = min(best, tried, key=lambda steps: _work(layout, steps))
    return best


def work_of(layout: Layout) -> int:
    """Products of a forward pass as it is planned, roughly."""
    return _work(layout, plan(layout))


def _joined(planner: _Planner) -> tuple[Step, ...]:
    planner.close_leaves()
    return _finished(planner)


def _finished(planner: _Planner) -> tuple[Step, ...]:
    while len(planner.open) > 1:
        planner.join(*planner.cheapest_pair())
    return tuple(planner.steps)


def _eliminated(planner: _Planner) -> tuple[Step, ...]:
    """Axis by axis; those that one likelihood names go together, since it is met when all of them are complete."""
    planner.close_leaves()
    groups = _together(planner.layout)
    while groups:
        axes = min(groups, key=planner.weight)
        groups.remove(axes)
        holders = planner.holders(axes)
        while len(holders) > 1:
            planner.join(*planner.cheapest_pair(holders))
            holders = planner.holders(axes)
    return _finished(planner)


def _together(layout: Layout) -> list[int]:
    """The axes that are not kept, as bits: each alone, or with those that a likelihood names beside it."""
    groups: list[int] = []
    for axes in (*layout.likelihoods, *((axis,) for axis in range(len(layout.sizes)) if axis not in layout.kept)):
        bits = _bits(axes)
        if not bits & _bits(layout.kept):
            touching = [group for group in groups if group & bits]
            groups = [group for group in groups if not group & bits]
            groups.append(reduce(int.__or__, touching, bits))
    return groups


Width = tuple[int, int]  # how much wider by cases and classes, and by which spreads (as bits)


class _Widths:
    """How wide the factors are, and what they make together."""

    def __init__(self, layout: Layout) -> None:
        count = len(layout.leaves) + len(layout.likelihoods)
        bits = [1 << each if each >= 0 else 0 for each in layout.spread_of] or [0] * count
        self.first: list[Width] = list(zip(layout.widths or [1] * count, bits, strict=True))
        self.layout, self.known = layout, {0: 1}

    def of(self, width: Width) -> int:
        """As a number; spreads that are within none of the others multiply, up to all classes."""
        plain, bits = width
        if bits not in self.known:
            layout, covered, product = self.layout, 0, 1
            for spread in sorted(range(len(layout.spreads)), key=layout.spreads.__getitem__, reverse=True):
                if bits >> spread & 1 and not covered >> spread & 1:
                    covered |= layout.within[spread]
                    product = min(product * layout.spreads[spread], layout.classes)
            self.known[bits] = product
        return plain * self.known[bits]

    @staticmethod
    def both(one: Width, other: Width) -> Width:
        """Of two factors together."""
        return max(one[0], other[0]), one[1] | other[1]


def _work(layout: Layout, steps: tuple[Step, ...]) -> int:
    """Products of a forward pass: a maximum of L levels takes 2L - 1 (see `maximum`)."""
    widths = _Widths(layout)
    axes, width, work = list(layout.leaves), widths.first[: len(layout.leaves)], 0
    for step in steps:
        if isinstance(step, Join):
            both = {axis for axis in {*axes[step.left]} & {*axes[step.right]} if axis < layout.levels}
            cells = prod(2 * layout.sizes[axis] - 1 if axis in both else layout.sizes[axis] for axis in step.axes)
            width.append(widths.both(width[step.left], width[step.right]))
        else:
            cells = layout.size(axes[step.node])
            met = (widths.first[len(layout.leaves) + i] for i in step.likelihoods)
            width.append(reduce(widths.both, met, width[step.node]))
        work += cells * widths.of(width[-1])
        axes.append(step.axes)
    return work


Price = tuple[int, int]  # cells added to what is held, cells of the product
Pair = tuple[int, int]


class _Planner:
    """Greedy order: always that join of factors with a common axis which adds the fewest cells to what is held.

    Sets of axes are bits of a number here. Pairs are priced when the cheapest is asked for, by the later node and then
    by the earlier; again only those of whose axes another number of nodes, as far as it matters, holds some since.
    """

    def __init__(self, layout: Layout, chance: Random | None = None) -> None:
        self.layout, self.chance = layout, chance
        self.widths = _Widths(layout)
        self.open: dict[int, Axes] = {}
        self.width: dict[int, Width] = {}
        self.bits: dict[int, int] = {}
        self.mass: dict[int, int] = {}  # cells of each node
        self.held_by = [0] * len(layout.sizes)
        self.sizes = _cells(layout.sizes)
        self.unpriced: list[int] = []
        self.prices: dict[int, dict[int, Price]] = {}  # [later node][earlier node]
        self.meets: dict[int, set[int]] = {}  # the nodes that each is priced with
        self.least: dict[int, tuple[Price, int, int]] = {}  # [later node]: the least price and its pair, where known
        self.held = self.held_twice = self.held_more = 0  # axes (as bits) that one, two, three open nodes hold, or more
        self.priced_at = (0, 0)  # the last two when all pairs were priced
        self.kept = _bits(layout.kept)
        self.told = [_bits(axes) for axes in layout.likelihoods]
        self.pending = list(range(len(layout.likelihoods)))
        self.steps: list[Step] = []
        self.count = 0
        for axes, width in zip(layout.leaves, self.widths.first, strict=False):
            self._enter(axes, width)

    def close_leaves(self) -> None:
        """Close what is complete before anything is joined."""
        for node in range(len(self.layout.leaves)):
            self.close(node)

    def holders(self, axes: int) -> list[int]:
        """The open nodes that hold any of these axes (as bits)."""
        return [node for node in self.open if self.bits[node] & axes]

    def weight(self, axes: int) -> float:
        """How many cells the holders of these axes have, all joined, blurred by chance; those held by none go first."""
        holders = self.holders(axes)
        union = reduce(int.__or__, (self.bits[node] for node in holders), 0)
        width = reduce(self.widths.both, (self.width[node] for node in holders), (1, 0))
        cells = self._size(union) * self.widths.of(width)
        return cells if self.chance is None else cells * (1.0 + BLUR_OF_AXES * self.chance.random())

    def cheapest_pair(self, among: Sequence[int] | None = None) -> Pair:
        """The cheapest join of two factors, among some, with a common axis; where none have, of the two smallest."""
        self._price_all()
        if among is None and self.chance is None:
            for later in self.prices.keys() - self.least.keys():
                row = self.prices[later]
                self.least[later] = (*min(zip(row.values(), row, strict=True)), later)
            if self.least:
                return min(self.least.values())[1:]
        else:
            nodes = self.open if among is None else {*among}
            rows = ((later, row) for later, row in self.prices.items() if later in nodes)
            some = [(row[left], (left, later)) for later, row in rows for left in row if left in nodes]
            if some:
                return min(some, key=lambda each: (self._blurred(*each[0]), each[1]))[1]
        left, right, *_ = sorted(self.open if among is None else among, key=lambda node: (self.mass[node], node))
        return min(left, right), max(left, right)

    def _blurred(self, added: int, product: int) -> tuple[float, float]:
        if self.chance is None:
            return added, product
        dearer = BLUR * self.chance.random()
        return added * (1.0 + dearer if added > 0 else 1.0 - dearer), product

    def _price_all(self) -> None:
        """Price what is new, and anew what a change of the holders has made cheaper or dearer."""
        twice, more = self.priced_at
        changed = self.held_twice ^ twice | self.held_more ^ more
        self.priced_at = self.held_twice, self.held_more
        bits, meets = self.bits, self.meets
        for node in [node for node in meets if bits[node] & changed] if changed else ():
            for other, price in self._prices_of(node, meets[node]).items():
                earlier, later = (node, other) if node < other else (other, node)
                self.prices[later][earlier] = price
                self.least.pop(later, None)
        for later in self.unpriced:
            mine = bits[later]
            others = [node for node in self.open if node < later and bits[node] & mine]
            meets[later] = {*others}
            if others:
                self.prices[later] = self._prices_of(later, others)
                for other in others:
                    meets[other].add(later)
        self.unpriced.clear()

    def _prices_of(self, node: int, others: Iterable[int]) -> dict[int, Price]:
        """What joining a node with each of some others costs."""
        bits, mass, sizes, widths, kept = self.bits, self.mass, self.sizes, self.width, self.kept
        once, twice = self.held_more, self.held_twice
        mine, (plain, spread), my_mass = bits[node], widths[node], mass[node]
        spreads = self.widths.known
        found: dict[int, Price] = {}
        for other in others:
            theirs, (their_plain, their_spread) = bits[other], widths[other]
            union, together = mine | theirs, spread | their_spread
            lasting = union & kept | mine & theirs & once | (mine ^ theirs) & twice
            classes = spreads.get(together) or self.widths.of((1, together))
            width = (plain if plain > their_plain else their_plain) * classes
            held = sizes.get(lasting) or self._size(lasting)
            added = held * width - my_mass - mass[other]
            found[other] = added, (sizes.get(union) or self._size(union)) * width
        return found

    def _size(self, bits: int) -> int:
        known = self.sizes.get(bits)
        if known is None:
            last = bits & -bits
            known = self.sizes[bits] = self._size(bits ^ last) * self.layout.sizes[last.bit_length() - 1]
        return known

    def _enter(self, axes: Axes, width: Width) -> None:
        """A node becomes open: its axes have one more holder."""
        node = self.count
        self.count += 1
        self.open[node], self.width[node] = axes, width
        mine = self.bits[node] = _bits(axes)
        self.mass[node] = self._size(mine) * self.widths.of(width)
        for axis in axes:
            self.held_by[axis] += 1
        self.held_more |= self.held_twice & mine
        self.held_twice |= self.held & mine
        self.held |= mine
        self.unpriced.append(node)

    def _leave(self, *nodes: int) -> None:
        for node in nodes:
            for axis in self.open.pop(node):
                self.held_by[axis] -= 1
                if self.held_by[axis] < FEW_HOLDERS:
                    self._count(axis)
            if node in self.unpriced:
                self.unpriced.remove(node)
            else:
                self._forget(node)

    def _forget(self, node: int) -> None:
        """All prices of a node."""
        self.prices.pop(node, None)
        self.least.pop(node, None)
        for other in self.meets.pop(node):
            self.meets[other].discard(node)
            if other > node:
                row = self.prices[other]
                del row[node]
                if not row:
                    del self.prices[other]
                    self.least.pop(other, None)
                elif other in self.least and self.least[other][1] == node:
                    del self.least[other]

    def _count(self, axis: int) -> None:
        bit, holders = 1 << axis, self.held_by[axis]
        self.held = self.held | bit if holders else self.held & ~bit
        self.held_twice = self.held_twice | bit if holders >= 2 else self.held_twice & ~bit
        self.held_more &= ~bit

    def join(self, left: int, right: int) -> None:
        """Join two open nodes, and close what that completes."""
        axes = tuple(sorted({*self.open[left], *self.open[right]}))
        self._leave(left, right)
        self.steps.append(Join(left, right, axes))
        self._enter(axes, self.widths.both(self.width[left], self.width[right]))
        self.close(self.count - 1)

    def close(self, node: int) -> None:
        """Meet likelihoods of, and sum out, the axes which no other open node has any more."""
        complete = self.bits[node] & ~self.held_twice
        due = tuple(i for i in self.pending if not self.told[i] & ~complete)
        if due:
            self.pending = [i for i in self.pending if i not in due]
        gone = complete & ~self.kept
        for i in self.pending:
            gone &= ~self.told[i]
        if due or gone:
            axes = self.open[node]
            self._leave(node)
            summed = tuple(sorted(axis for axis in axes if gone >> axis & 1))
            left = tuple(axis for axis in axes if not gone >> axis & 1)
            met = (self.widths.first[len(self.layout.leaves) + i] for i in due)
            self.steps.append(Close(node, due, summed, left))
            self._enter(left, reduce(self.widths.both, met, self.width[node]))


@lru_cache(maxsize=16)
def _cells(sizes: tuple[int, ...]) -> dict[int, int]:
    """How many cells sets of axes (as bits) have, filled as they are asked for: what one layout asks, the next does."""
    return {0: 1}


def _bits(axes: Axes) -> int:
    return sum(1 << axis for axis in axes)


@lru_cache(maxsize=512)
def summed_below(layout: Layout) -> frozenset[int]:
    """The nodes at which, or below which, an axis is summed out."""
    found: set[int] = set()
    for number, step in enumerate(plan(layout), len(layout.leaves)):
        children = (step.left, step.right) if isinstance(step, Join) else (step.node,)
        if (isinstance(step, Close) and step.summed) or found.intersection(children):
            found.add(number)
    return frozenset(found)
