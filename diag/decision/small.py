"""All plans of a small problem at once: what each costs but for damage and later seals.

The chance of cure is a sum over terms of a product over sites, so the sites are taken in two halves and all plans are
one product of two matrices. May import: numpy, and `objective`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from math import prod

import numpy as np

from diag.decision.objective import Fees
from diag.decision.sites import AccessKey, Belief, Site, Treatment, cure_factor
from diag.inference import Array

__all__ = ["MOST_PLANS", "costs_now"]

MOST_PLANS = 4096
WINDOW = 2048  # terms looked at together: what stays near the processor


def costs_now(sites: Sequence[Site], fees: Fees, belief: Belief, allowed: Sequence[Sequence[int]]) -> Array:
    """`[choice at each site that has one ...]`, choices as `allowed` lists them: the objective of every plan without
    damage and later seals."""
    chosen = [[site.treatments[index] for index in some] for site, some in zip(sites, allowed, strict=True)]
    free, fixed = [some for some in chosen if len(some) > 1], [some[0] for some in chosen if len(some) == 1]
    money = [_money(some, belief.features[place][0]) for place, some in enumerate(chosen)]
    total = np.asarray(sum(float(each[0]) for each in money if len(each) == 1))
    for each in money:
        total = np.add.outer(total, each) if len(each) > 1 else total
    for key in sorted(frozenset[AccessKey]().union(*(each.opens for some in chosen for each in some))):
        price = fees.access.get(key, 0.0)
        if price:
            always = any(key in each.opens for each in fixed)
            total = total + price * _either(always, [[key in each.opens for each in some] for some in free])
    always = any(each.jobs for each in fixed)
    total = total + fees.finish * _either(always, [[bool(each.jobs) for each in some] for some in free])
    return np.asarray(total + fees.come_back * (1.0 - _cured(belief, allowed)))


def _money(treatments: Sequence[Treatment], features: Array) -> Array:
    """`[treatment]`: what adds up over sites."""
    linear = np.stack([each.complications + each.mending for each in treatments])
    return np.asarray(np.array([each.money for each in treatments]) + linear @ features)


def _either(always: bool, by_site: Sequence[Sequence[bool]]) -> Array:
    """`[choice at each site ...]`: whether it is so at any site."""
    return np.asarray(reduce(np.logical_or.outer, [np.array(some) for some in by_site], np.array(always)))


def _cured(belief: Belief, allowed: Sequence[Sequence[int]]) -> Array:
    """`[choice at each site ...]`: the chance of cure; that of the latest question is kept, which is asked again where
    the plan is sought under other fees."""
    for known, about, cured in _LATEST:
        if known is belief and about == [*map(tuple, allowed)]:
            return cured
    cured = _cured_now(belief, allowed)
    _LATEST[:] = [(belief, [*map(tuple, allowed)], cured)]
    return cured


_LATEST: list[tuple[Belief, list[tuple[int, ...]], Array]] = []


def _cured_now(belief: Belief, allowed: Sequence[Sequence[int]]) -> Array:
    shape = tuple(len(some) for some in allowed if len(some) > 1)
    factors = belief.factors
    single = [factors[place][cure_factor(some[0]), 0] for place, some in enumerate(allowed) if len(some) == 1]
    fixed = reduce(np.multiply, single, belief.weights[0])
    free = [
        factors[place][[cure_factor(each) for each in some], 0] for place, some in enumerate(allowed) if len(some) > 1
    ]
    half = len(free) // 2
    sums = np.zeros((prod(map(len, free[:half])), prod(map(len, free[half:]))), dtype=fixed.dtype)
    for start in range(0, len(fixed), WINDOW):
        here = slice(start, start + WINDOW)
        first = _products([each[:, here] for each in free[:half]], fixed[here])
        second = _products([each[:, here] for each in free[half:]], np.ones(first.shape[1]))
        sums += first @ second.T
    return sums.reshape(shape)


def _products(factors: Sequence[Array], start: Array) -> Array:
    """`[choices, term]`: products over some sites, on top of `start`, the last site fastest."""
    result = start[None]
    for factor in factors:
        result = (result[:, None] * factor[None]).reshape(-1, len(start))
    return result
