"""Expected costs of candidate plans, split into functionals of the posterior that can be read at any hidden thing.

cost(plan) = fixed + sum over singles of sound x P(component sound) + sum over configurations of configured x
P(configuration) + V x [1 - P(cured)] + sum over configurations and seals of table x P(configuration, which are sound).
Each summand is a sum over terms of (gradient) x (value of one plate, the focus, with an option); jointly with a level
of a hidden thing of that plate it is the same sum with that level only. May import: inference, numpy, and `ground`,
`pool` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.decision.ground import Ground
from diag.decision.pool import Candidates, Catalogue, alike_but_at, singles_at
from diag.inference import Array

__all__ = ["Functionals", "functionals_of", "later_folded", "ratios_of"]


class Functionals(Struct, frozen=True):
    """`option[functional]` of the focus, `gradient[functional, term]` of all else, and `combine[plan, functional]`:
    a plan's cost is the combined sum. Functional 0 is the chance itself. What all plans have alike is left out."""

    option: NDArray[np.intp]
    gradient: Array
    combine: Array


def ratios_of(catalogue: Catalogue, ground: Ground) -> Array:
    """`[single, term]`: chance that each single component is sound, given a term."""
    rows = []
    for plate, option in catalogue.singles:
        values = ground.values[plate]
        rows.append(np.divide(values[option], values[0], out=np.zeros_like(values[0]), where=values[0] != 0))
    return np.stack(rows) if rows else np.zeros((0, len(ground.configuration)))


class _Rows:
    """Functionals as they are collected: `every[plan, term]` of the focus as it is, all summands of a plan's cost in
    one, and those of other options."""

    def __init__(self, every: Array) -> None:
        self.every, self.plans = every, len(every)
        self.others: dict[int, list[tuple[Array, Array]]] = {}

    def add(self, option: int, gradient: Array, combine: Array) -> None:
        """`gradient[row, term]` and `combine[plan, row]` of an option of the focus."""
        self.others.setdefault(option, []).append((gradient, combine))

    def told(self, chance: Array) -> Functionals:
        """All rows, that of the chance first; those of one option are put together plan by plan where that makes
        fewer."""
        options, parts = [0] * (1 + self.plans), [(chance[None], np.zeros((self.plans, 1)))]
        parts.append((self.every, np.eye(self.plans)))
        for option, some in sorted(self.others.items()):
            gradient = np.concatenate([each for each, _ in some])
            combine = np.concatenate([each for _, each in some], axis=1)
            if len(gradient) > self.plans:
                gradient, combine = combine @ gradient, np.eye(self.plans)
            parts.append((gradient, combine))
            options += [option] * len(gradient)
        return Functionals(
            np.array(options, dtype=np.intp),
            np.concatenate([part for part, _ in parts]),
            np.concatenate([part for _, part in parts], axis=1),
        )


def functionals_of(
    catalogue: Catalogue, plans: Candidates, ground: Ground, focus: int | None, ratios: Array
) -> Functionals:
    """Split the plans' costs. `focus`: the plate at which they will be read; none: the weights, which are then left out
    of the gradients."""
    weights = ground.weights if focus is not None else np.ones(len(ground.weights))
    plain = weights * ground.product(np.zeros((1, len(ground.values)), dtype=np.intp), focus)[0]
    rows = _Rows(_linear(catalogue, plans, ground, focus, ratios) * plain)
    for single, option in [] if focus is None else singles_at(catalogue, plans, focus):
        rows.add(option, plain[None], plans.beyond[:, single, None])
    _add_cured(rows, plans, ground, weights, focus)
    if catalogue.seal:
        _add_later(rows, catalogue, plans, ground, (weights, focus))
    return rows.told(plain)


def _times(start: Array, ground: Ground, chosen: Sequence[tuple[int, int]]) -> Array:
    for plate, option in chosen:
        start = start * ground.values[plate][option]
    return start


def _linear(catalogue: Catalogue, plans: Candidates, ground: Ground, focus: int | None, ratios: Array) -> Array:
    """`[plan, term]`: what is linear in the configuration and in single components of other plates than the focus, less
    what is alike in all plans; and the fee, were nothing cured."""
    elsewhere = [single for single in plans.differing if catalogue.singles[single][0] != focus]
    mending = plans.beyond[:, elsewhere] @ ratios[elsewhere]
    return np.asarray((plans.fixed + plans.fee)[:, None] + plans.configured[:, ground.configuration] + mending)


def _add_cured(rows: _Rows, plans: Candidates, ground: Ground, weights: Array, focus: int | None) -> None:
    """Plans that pay for a come-back; those alike but for what is done at the focus share their product."""
    alike = alike_but_at(plans, () if focus is None else (focus,))
    if not alike:
        return
    first = [next(iter(group.values()))[0] for group in alike]
    cured = weights * plans.factor[first][:, ground.configuration] * ground.product(plans.option[first], focus)
    by_option: dict[int, tuple[list[int], list[int]]] = {}  # plans, and the group of each
    for number, group in enumerate(alike):
        for options, some in group.items():
            paying, numbers = by_option.setdefault(options[0] if options else 0, ([], []))
            paying += some
            numbers += [number] * len(some)
    for option, (paying, numbers) in by_option.items():
        if option == 0:
            rows.every[paying] -= plans.fee[paying, None] * cured[numbers]
        else:
            combine = np.zeros((rows.plans, len(paying)))
            combine[paying, np.arange(len(paying))] = -plans.fee[paying]
            rows.add(option, cured[numbers], combine)


def _add_later(
    rows: _Rows, catalogue: Catalogue, plans: Candidates, ground: Ground, told: tuple[Array, int | None]
) -> None:
    """Damage and later visits: the table folded with the other seals, apart for this seal sound and not."""
    weights, focus = told
    seals = [plate for plate, _ in catalogue.seal]
    silent = [(plate, 0) for plate in range(len(ground.values)) if plate not in seals and plate != focus]
    heard = (seals.index(focus),) if focus in seals else ()
    folded = later_folded(catalogue, plans, ground, heard) * _times(weights, ground, silent)
    rows.every += folded[0][plans.later]
    for place in heard:
        combine = (plans.later[:, None] == np.arange(len(plans.tables))).astype(np.float64)
        rows.add(catalogue.seal[place][1], folded[1] - folded[0], combine)


def later_folded(catalogue: Catalogue, plans: Candidates, ground: Ground, heard: tuple[int, ...]) -> Array:
    """`[which seals heard of are sound, table, term]`: the tables of damage and later visits, summed over which of the
    other seals are sound, with the values of these. `heard`: places among the seals, in order, counted in binary. Pools
    of one ranking share it."""
    if plans.among is not None:
        every, used = plans.among
        return later_folded(catalogue, every, ground, heard)[:, used]
    known = plans._folded.get(heard)
    if known is None or known[0] is not ground:
        known = plans._folded[heard] = ground, _folded(catalogue, plans.tables, ground, heard)
    return known[1]


def _folded(catalogue: Catalogue, tables: Array, ground: Ground, heard: tuple[int, ...]) -> Array:
    others = [seal for place, seal in enumerate(catalogue.seal) if place not in heard]
    half = (len(others) + 1) // 2
    left, right = (ground.sound_products(some) for some in (others[:half], others[half:]))
    count, kept = tables.shape[:2]
    apart = tables.reshape(count, kept, *(2 for _ in catalogue.seal))
    apart = np.moveaxis(apart, [2 + place for place in heard], range(len(heard)))
    apart = apart.reshape(2 ** len(heard) * count, kept, len(left), len(right))
    folded = np.empty((len(apart), len(ground.weights)))
    for index, here in enumerate(ground.stretches):
        folded[:, here] = ((apart[:, index] @ right[:, here]) * left[:, here]).sum(axis=1)
    return folded.reshape(2 ** len(heard), count, -1)
