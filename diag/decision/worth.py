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
from diag.decision.pool import Candidates, Catalogue, alike_but_at
from diag.inference import Array

__all__ = ["Functionals", "functionals_of", "ratios_of"]


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
    """Functionals as they are collected."""

    def __init__(self, plans: int) -> None:
        self.plans, self.option, self.gradient, self.combine = plans, list[int](), list[Array](), list[Array]()

    def add(self, option: int, gradient: Array, combine: Array) -> None:
        self.option.append(option)
        self.gradient.append(gradient)
        self.combine.append(combine)

    def told(self) -> Functionals:
        """All rows; those of one option are put together plan by plan where that makes fewer. Row 0 stays."""
        option, gradient, combine = np.array(self.option), np.array(self.gradient), np.array(self.combine).T
        chosen = [np.array([0])]
        parts = [(gradient[:1], np.zeros((self.plans, 1)))]
        for each in sorted(set(self.option)):
            here = np.flatnonzero(option == each)
            chosen.append(np.full(min(len(here), self.plans), each))
            if len(here) > self.plans:
                parts.append((combine[:, here] @ gradient[here], np.eye(self.plans)))
            else:
                parts.append((gradient[here], combine[:, here]))
        return Functionals(
            np.concatenate(chosen).astype(np.intp),
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
    rows = _Rows(len(plans.fixed))
    rows.add(0, plain, plans.fixed + plans.fee)
    _add_mending(rows, catalogue, plans, focus, plain, ratios)
    configured = plans.configured
    for index in np.flatnonzero(np.ptp(configured, axis=0) > 0):
        rows.add(0, plain * (ground.configuration == index), configured[:, index])
    _add_cured(rows, plans, ground, weights, focus)
    if catalogue.seal:
        _add_later(rows, catalogue, plans, ground, (weights, focus))
    return rows.told()


def _times(start: Array, ground: Ground, chosen: Sequence[tuple[int, int]]) -> Array:
    for plate, option in chosen:
        start = start * ground.values[plate][option]
    return start


def _add_mending(
    rows: _Rows, catalogue: Catalogue, plans: Candidates, focus: int | None, plain: Array, ratios: Array
) -> None:
    """Linear part in single components that the plans treat differently (less what is alike in all plans). Singles of
    other plates that the same plans treat alike go into one row."""
    sizes, shapes = plans.shapes
    together: dict[bytes, tuple[Array, list[int]]] = {}
    for single, name, share in shapes:
        plate, option = catalogue.singles[single]
        if plate == focus:
            rows.add(option, plain, plans.sound[:, single] - plans.sound[:, single].min())
        else:
            together.setdefault(name, (share, []))[1].append(single)
    for share, alike in together.values():
        rows.add(0, plain * (sizes[alike] @ ratios[alike]), share)


def _add_cured(rows: _Rows, plans: Candidates, ground: Ground, weights: Array, focus: int | None) -> None:
    """Plans that pay for a come-back; those alike but for what is done at the focus share their product."""
    alike = alike_but_at(plans, () if focus is None else (focus,))
    if not alike:
        return
    first = [next(iter(group.values()))[0] for group in alike]
    products = ground.product(plans.option[first], focus)
    for row, product, group in zip(first, products, alike, strict=True):
        gradient = weights * plans.factor[row][ground.configuration] * product
        for options, some in group.items():
            combine = np.zeros(len(plans.fee))
            combine[some] = -plans.fee[some]
            rows.add(options[0] if options else 0, gradient, combine)


def _add_later(
    rows: _Rows, catalogue: Catalogue, plans: Candidates, ground: Ground, told: tuple[Array, int | None]
) -> None:
    """Damage and later visits: the table folded with the other seals, apart for this seal sound and not."""
    weights, focus = told
    seals = [plate for plate, _ in catalogue.seal]
    silent = [(plate, 0) for plate in range(len(ground.values)) if plate not in seals and plate != focus]
    base = _times(weights, ground, silent)
    place = seals.index(focus) if focus in seals else None
    others = [(plate, option) for plate, option in catalogue.seal if plate != focus]
    half = (len(others) + 1) // 2
    left, right = (ground.sound_products(some) for some in (others[:half], others[half:]))
    tables, count = plans.tables, len(plans.tables)
    if place is not None:
        tables = tables.reshape(count, len(ground.kept), 2**place, 2, -1)
        tables = np.moveaxis(tables, 3, 0).reshape(2, count, len(ground.kept), -1)
    else:
        tables = tables[None]
    folded = np.zeros((len(tables), count, len(base)))
    for index, here in enumerate(ground.stretches):
        halved = tables[:, :, index].reshape(-1, len(right)) @ right[:, here]
        halved = halved.reshape(*folded.shape[:2], len(left), -1)
        folded[:, :, here] = np.einsum("nusk,sk->nuk", halved, left[:, here] * base[here])
    for number in range(count):
        mine = (plans.later == number).astype(np.float64)
        rows.add(0, folded[0, number], mine)
        if place is not None:
            rows.add(catalogue.seal[place][1], folded[1, number] - folded[0, number], mine)
