"""The distribution of the maximum of two independent levels, without subtracting.

One primitive serves everything that takes a maximum: local severities (noisy-MAX), shared severities, and the set of
symptoms already caused (a bit is a level of 0 or 1). For one axis with densities f and g the density of the maximum is

    h[l] = f[l] * G[<= l] + F[< l] * g[l]

so an axis of L levels is widened to 2L - 1 products, all positive, and folded back. May import: numpy.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diag.inference.model import Array

__all__ = ["maximum", "maximum_adjoint"]


def maximum(first: Array, second: Array, dimensions: Sequence[int]) -> Array:
    """Density of the level-wise maximum along `dimensions`; all other dimensions multiply and broadcast."""
    if not dimensions:
        return first * second
    for dimension in dimensions:
        first = _widen_strict(first, dimension)
        second = _widen_cumulated(second, dimension)
    product = first * second
    for dimension in dimensions:
        product = _fold(product, dimension)
    return product


def maximum_adjoint(result: Array, other: Array, dimensions: Sequence[int]) -> Array:
    """Gradient towards one operand: out[m] = sum over e of other[e] * result[max(m, e)], along `dimensions`.

    The maximum is symmetric, so the same formula serves both operands. Nothing is summed over other dimensions.
    """
    for dimension in dimensions:
        result = _unfold(result, dimension)
        other = _widen_cumulated(other, dimension)
    product = result * other
    for dimension in dimensions:
        product = _narrow(product, dimension)
    return product


def _part(array: Array, dimension: int, part: slice) -> Array:
    index = [slice(None)] * array.ndim
    index[dimension] = part
    return array[tuple(index)]


def _widen_strict(array: Array, dimension: int) -> Array:
    """[f[0..L-1], F[<1] .. F[<L-1]]."""
    levels = array.shape[dimension]
    result = _empty_like(array, dimension, 2 * levels - 1)
    _part(result, dimension, slice(None, levels))[...] = array
    _cumulate(_part(array, dimension, slice(None, -1)), _part(result, dimension, slice(levels, None)), dimension)
    return result


def _widen_cumulated(array: Array, dimension: int) -> Array:
    """[G[<=0] .. G[<=L-1], g[1..L-1]]."""
    levels = array.shape[dimension]
    result = _empty_like(array, dimension, 2 * levels - 1)
    _cumulate(array, _part(result, dimension, slice(None, levels)), dimension)
    _part(result, dimension, slice(levels, None))[...] = _part(array, dimension, slice(1, None))
    return result


def _empty_like(array: Array, dimension: int, size: int) -> Array:
    shape = list(array.shape)
    shape[dimension] = size
    return np.empty(shape)


def _cumulate(array: Array, into: Array, dimension: int, step: int = 1) -> None:
    """Running sums along a short dimension, level by level: far quicker here than numpy's own."""
    order = range(array.shape[dimension])[::step]
    before: Array | None = None
    for level in order:
        place = _part(into, dimension, slice(level, level + 1))
        np.copyto(place, _part(array, dimension, slice(level, level + 1)))
        if before is not None:
            place += before
        before = place


def _fold(array: Array, dimension: int) -> Array:
    levels = (array.shape[dimension] + 1) // 2
    result = _part(array, dimension, slice(None, levels)).copy()
    upper = _part(result, dimension, slice(1, None))
    upper += _part(array, dimension, slice(levels, None))
    return result


def _unfold(array: Array, dimension: int) -> Array:
    return np.concatenate((array, _part(array, dimension, slice(1, None))), axis=dimension)


def _narrow(array: Array, dimension: int) -> Array:
    """Adjoint of `_widen_strict`: each level collects its own product and those of all higher levels of the other."""
    levels = (array.shape[dimension] + 1) // 2
    result = _part(array, dimension, slice(None, levels)).copy()
    above = _part(array, dimension, slice(levels, None))
    collected = np.empty_like(above)
    _cumulate(above, collected, dimension, step=-1)
    lower = _part(result, dimension, slice(None, -1))
    lower += collected
    return result
