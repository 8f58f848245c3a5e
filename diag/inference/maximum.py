"""The distribution of the maximum of two independent levels, without subtracting.

One primitive serves everything that takes a maximum: local severities (noisy-MAX), shared severities, and the set of
symptoms already caused (a bit is a level of 0 or 1). For one axis with densities f and g the density of the maximum is

    h[l] = f[l] * G[<= l] + F[< l] * g[l]

so an axis of L levels takes 2L - 1 products, all positive: where there are several axes, all but the one of most levels
are widened to as many, and folded back. On a small grid of levels the
widening and the folding are matrices of zeros and ones, which is a few times quicker than going axis by axis.
May import: numpy, `model`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct

from diag.inference.model import Array

__all__ = ["LevelGrid", "level_grid", "maximum", "maximum_adjoint", "maximum_summed"]

FEW = 1 << 9  # numbers up to which numpy's own running sums are quicker
EVERYTHING = (slice(None),) * 64  # as many dimensions as numpy has
BUT_LAST, BUT_FIRST, BACKWARDS = slice(None, -1), slice(1, None), slice(None, None, -1)
PIECE, SMALLEST_CUT = 1 << 17, 1 << 12  # numbers of one maximum beyond which, and of its operands from which it is cut
SMALL = 1 << 12  # entries of a widening matrix up to which matrices are quicker than going axis by axis
FEWEST = 8  # numbers that each of two operands has for itself, from which a product of matrices is quicker


def maximum(first: Array, second: Array, dimensions: Sequence[int]) -> Array:
    """Density of the level-wise maximum along `dimensions`; all other dimensions multiply and broadcast."""
    if not dimensions:
        return first * second
    cut = _cut(first, second, dimensions)
    if cut is None:
        return _maximum(first, second, dimensions)
    return _in_pieces(maximum, first, second, dimensions, cut, np.broadcast_shapes(first.shape, second.shape))


def _cut(first: Array, second: Array, dimensions: Sequence[int]) -> int | None:
    """A dimension in which to cut what is large; none where it is not, or there is no such dimension. What is widened
    in one piece would be several times as large as what comes of it, and new memory costs more than the sums."""
    if first.size + second.size < SMALLEST_CUT or first.ndim != second.ndim:
        return None
    shape = [max(one, other) for one, other in zip(first.shape, second.shape, strict=True)]
    if math.prod(shape) <= PIECE:
        return None
    return next((place for place, size in enumerate(shape) if size > 1 and place not in dimensions), None)


def _in_pieces(
    of: Callable[[Array, Array, Sequence[int]], Array],
    first: Array,
    second: Array,
    dimensions: Sequence[int],
    cut: int,
    shape: Sequence[int],
) -> Array:
    result = np.empty(shape, dtype=np.result_type(first, second))
    length = result.shape[cut]
    width = max(1, PIECE * length // max(result.size, first.size, second.size))
    for place in range(0, length, width):
        here = slice(place, place + width)
        mine, theirs = (each if each.shape[cut] == 1 else _part(each, cut, here) for each in (first, second))
        _part(result, cut, here)[...] = of(mine, theirs, dimensions)
    return result


def _maximum(first: Array, second: Array, dimensions: Sequence[int], summed: Sequence[int] = ()) -> Array:
    """What is `summed` stays with size 1."""
    direct = max(dimensions, key=first.shape.__getitem__)
    others = [dimension for dimension in dimensions if dimension != direct]
    for dimension in others:
        first = _widen_strict(first, dimension)
        second = _widen_cumulated(second, dimension)
    product = _times(first, _cumulated(second, direct), summed)
    if first.shape[direct] > 1:
        below = _cumulated(_part(first, direct, BUT_LAST), direct)
        upper = _part(product, direct, BUT_FIRST)
        upper += _times(below, _part(second, direct, BUT_FIRST), summed)
    for dimension in others:
        product = _fold(product, dimension)
    return product


def maximum_summed(first: Array, second: Array, dimensions: Sequence[int], summed: Sequence[int]) -> Array:
    """`maximum(first, second, dimensions).sum(axis=summed)`, of dimensions not among these, without ever holding what
    is summed: it is as many times larger as the summed dimensions have cells."""
    axes = tuple(summed)
    if not dimensions:
        return np.squeeze(_times(first, second, summed), axis=axes)

    def of(mine: Array, theirs: Array, along: Sequence[int]) -> Array:
        return _maximum(mine, theirs, along, summed)

    whole = np.broadcast_shapes(first.shape, second.shape)
    shape = [1 if place in summed else size for place, size in enumerate(whole)]
    cut = next((place for place, size in enumerate(shape) if size > 1 and place not in dimensions), None)
    if cut is None:
        return np.squeeze(of(first, second, dimensions), axis=axes)
    return np.squeeze(_in_pieces(of, first, second, dimensions, cut, shape), axis=axes)


def _times(first: Array, second: Array, summed: Sequence[int]) -> Array:
    """The product of both, broadcast, summed over some dimensions, which stay with size 1."""
    if not summed:
        return np.asarray(first * second)
    alone = tuple(place for place in summed if second.shape[place] == 1)
    second = _summed_alone(second, tuple(place for place in summed if first.shape[place] == 1))
    first = _summed_alone(first, alone)
    sizes = list(zip(first.shape, second.shape, strict=True))
    inner = [place for place in summed if sizes[place][0] > 1]
    if not inner:
        return np.asarray(first * second)
    mine, theirs, common = (
        [place for place, (one, other) in enumerate(sizes) if (one > 1, other > 1) == own and place not in inner]
        for own in ((True, False), (False, True), (True, True))
    )
    shape = [1 if place in inner else max(size) for place, size in enumerate(sizes)]
    if min(math.prod(shape[place] for place in each) for each in (mine, theirs)) < FEWEST:
        labels = [[place for place, size in enumerate(one.shape) if size > 1] for one in (first, second)]
        kept = [place for place, size in enumerate(shape) if size > 1]
        return np.asarray(
            np.einsum(np.squeeze(first), labels[0], np.squeeze(second), labels[1], kept), dtype=np.float64
        ).reshape(shape)
    if theirs[0] < mine[0]:
        first, second, mine, theirs = second, first, theirs, mine
    return _by_matrices(first, second, mine, theirs, common, inner, shape)


def _summed_alone(array: Array, places: tuple[int, ...]) -> Array:
    return np.asarray(array.sum(axis=places, keepdims=True)) if places else array


def _by_matrices(
    first: Array,
    second: Array,
    mine: list[int],
    theirs: list[int],
    common: list[int],
    inner: list[int],
    shape: Sequence[int],
) -> Array:
    """`_times` as one product of matrices for each of what both have in common."""
    rows, many, within = (math.prod(first.shape[place] for place in places) for places in (mine, common, inner))
    columns = math.prod(second.shape[place] for place in theirs)
    ones = [place for place in range(first.ndim) if place not in {*mine, *theirs, *common, *inner}]
    left = np.transpose(first, (*common, *mine, *inner, *theirs, *ones)).reshape(many, rows, within)
    right = np.transpose(second, (*common, *inner, *theirs, *mine, *ones)).reshape(many, within, columns)
    if [*mine, *common, *theirs] == sorted([*mine, *common, *theirs]):
        result = np.empty((rows, many, columns))
        np.matmul(left, right, out=np.swapaxes(result, 0, 1))
        return result.reshape(shape)
    order = [*common, *mine, *theirs]
    wide = (left @ right).reshape([shape[place] for place in order])
    natural = np.transpose(wide, np.argsort(order))
    return np.ascontiguousarray(natural).reshape(shape)


def maximum_adjoint(result: Array, other: Array, dimensions: Sequence[int]) -> Array:
    """Gradient towards one operand: out[m] = sum over e of other[e] * result[max(m, e)], along `dimensions`.

    The maximum is symmetric, so the same formula serves both operands. Nothing is summed over other dimensions.
    """
    if not dimensions:
        return result * other
    cut = _cut(result, other, dimensions)
    if cut is not None:
        shape = np.broadcast_shapes(result.shape, other.shape)
        return _in_pieces(maximum_adjoint, result, other, dimensions, cut, shape)
    direct = max(dimensions, key=other.shape.__getitem__)
    others = [dimension for dimension in dimensions if dimension != direct]
    for dimension in others:
        result = _unfold(result, dimension)
        other = _widen_cumulated(other, dimension)
    product = result * _cumulated(other, direct)
    above = _part(result, direct, BUT_FIRST) * _part(other, direct, BUT_FIRST)
    if above.shape[direct] > 1:
        _cumulate(above, above, direct, step=-1)
    lower = _part(product, direct, BUT_LAST)
    lower += above
    for dimension in others:
        product = _narrow(product, dimension)
    return product


class LevelGrid(Struct, frozen=True, eq=False):
    """Maxima over all the last axes of arrays `[..., level, ...]`, `shape` being the levels of these axes.

    `strict`, `cumulated` and `fold` are the matrices `[cell, product]`, `[cell, product]` and `[product, cell]`; they
    are empty where the grid is too large for them.
    """

    shape: tuple[int, ...]
    strict: Array
    cumulated: Array
    fold: Array

    def maximum(self, first: Array, second: Array) -> Array:
        """Density of the level-wise maximum; all other dimensions multiply and broadcast."""
        if not self.shape or not self.strict.size:
            return maximum(first, second, self._dimensions(first))
        product = self._times(first, self.strict) * self._times(second, self.cumulated)
        return self._shaped(self._through(product, self.fold))

    def adjoint(self, result: Array, other: Array) -> Array:
        """Gradient towards one operand from that of the maximum; nothing is summed over other dimensions."""
        if not self.shape or not self.strict.size:
            return maximum_adjoint(result, other, self._dimensions(other))
        unfolded = self._times(result, self.fold.T)
        return self._shaped(self._through(unfolded * self._times(other, self.cumulated), self.strict.T))

    def adjoints(self, result: Array, first: Array, second: Array) -> tuple[Array, Array]:
        """Gradients towards both operands from that of their maximum; nothing is summed over other dimensions."""
        if not self.shape or not self.strict.size:
            dimensions = self._dimensions(first)
            return maximum_adjoint(result, second, dimensions), maximum_adjoint(result, first, dimensions)
        unfolded = self._times(result, self.fold.T)
        left = self._through(unfolded * self._times(second, self.cumulated), self.strict.T)
        right = self._through(unfolded * self._times(first, self.cumulated), self.strict.T)
        return self._shaped(left), self._shaped(right)

    def _dimensions(self, array: Array) -> list[int]:
        return list(range(array.ndim - len(self.shape), array.ndim))

    def _times(self, array: Array, matrix: Array) -> Array:
        """`[..., level, ...]` times a matrix over all cells."""
        return self._through(array.reshape(*array.shape[: array.ndim - len(self.shape)], -1), matrix)

    def _through(self, array: Array, matrix: Array) -> Array:
        """One product of two matrices: far quicker than a stack of small ones."""
        flat = array.reshape(-1, array.shape[-1]) @ matrix
        return flat.reshape(*array.shape[:-1], matrix.shape[1])

    def _shaped(self, flat: Array) -> Array:
        return flat.reshape(*flat.shape[:-1], *self.shape)


@lru_cache(maxsize=256)
def level_grid(shape: tuple[int, ...]) -> LevelGrid:
    """The grid with its matrices, made once: products of those of its axes."""
    strict: Array = np.ones((1, 1))
    cumulated: Array = np.ones((1, 1))
    fold: Array = np.ones((1, 1))
    cells, products = int(np.prod(shape)), int(np.prod([2 * levels - 1 for levels in shape]))
    if cells * products > SMALL:
        return LevelGrid(shape, np.empty((0, 0)), np.empty((0, 0)), np.empty((0, 0)))
    for levels in shape:
        below = np.triu(np.ones((levels, levels)))  # [m, l] is 1 where m <= l
        strict = _kron(strict, np.hstack((np.eye(levels), below[:, :-1])))
        cumulated = _kron(cumulated, np.hstack((below, np.eye(levels)[:, 1:])))
        fold = _kron(fold, np.vstack((np.eye(levels), np.eye(levels)[1:])))
    return LevelGrid(shape, strict, cumulated, fold)


def _kron(first: Array, second: Array) -> Array:
    return np.asarray(np.kron(first, second), dtype=np.float64)


def _part(array: Array, dimension: int, part: slice) -> Array:
    return array[(*EVERYTHING[:dimension], part)]


def _widen_strict(array: Array, dimension: int) -> Array:
    """[f[0..L-1], F[<1] .. F[<L-1]]."""
    levels = array.shape[dimension]
    result = _empty_like(array, dimension, 2 * levels - 1)
    _part(result, dimension, slice(None, levels))[...] = array
    _cumulate(_part(array, dimension, BUT_LAST), _part(result, dimension, slice(levels, None)), dimension)
    return result


def _widen_cumulated(array: Array, dimension: int) -> Array:
    """[G[<=0] .. G[<=L-1], g[1..L-1]]."""
    levels = array.shape[dimension]
    result = _empty_like(array, dimension, 2 * levels - 1)
    _cumulate(array, _part(result, dimension, slice(None, levels)), dimension)
    _part(result, dimension, slice(levels, None))[...] = _part(array, dimension, BUT_FIRST)
    return result


def _cumulated(array: Array, dimension: int) -> Array:
    """[G[<=0] .. G[<=L-1]]; of one level the array itself."""
    if array.shape[dimension] == 1:
        return array
    if array.size <= FEW:
        return np.asarray(np.add.accumulate(array, dimension))
    result = np.empty(array.shape, dtype=array.dtype)
    _cumulate(array, result, dimension)
    return result


def _empty_like(array: Array, dimension: int, size: int) -> Array:
    shape = list(array.shape)
    shape[dimension] = size
    return np.empty(shape)


def _cumulate(array: Array, into: Array, dimension: int, step: int = 1) -> None:
    """Running sums along a short dimension, level by level where there are many: far quicker there than numpy's own."""
    if array.size <= FEW:
        if step < 0:
            array, into = (_part(each, dimension, BACKWARDS) for each in (array, into))
        np.add.accumulate(array, dimension, out=into)
        return
    order = range(array.shape[dimension])[::step]
    before: Array | None = None
    for level in order:
        place, mine = (_part(each, dimension, slice(level, level + 1)) for each in (into, array))
        if before is not None:
            np.add(mine, before, out=place)
        elif into is not array:
            np.copyto(place, mine)
        before = place


def _fold(array: Array, dimension: int) -> Array:
    levels = (array.shape[dimension] + 1) // 2
    result = _part(array, dimension, slice(None, levels)).copy()
    upper = _part(result, dimension, BUT_FIRST)
    upper += _part(array, dimension, slice(levels, None))
    return result


def _unfold(array: Array, dimension: int) -> Array:
    return np.concatenate((array, _part(array, dimension, BUT_FIRST)), axis=dimension)


def _narrow(array: Array, dimension: int) -> Array:
    """Adjoint of `_widen_strict`: each level collects its own product and those of all higher levels of the other."""
    levels = (array.shape[dimension] + 1) // 2
    result = _part(array, dimension, slice(None, levels)).copy()
    above = _part(array, dimension, slice(levels, None))
    collected = np.empty_like(above)
    _cumulate(above, collected, dimension, step=-1)
    lower = _part(result, dimension, BUT_LAST)
    lower += collected
    return result
