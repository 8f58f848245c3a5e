"""Checks that answer about several things at once: joint answers drawn with a fixed seed, each weighed exactly.

The likeliest joint answers are all taken. Of the rest some are drawn, rare answers more often than they come (in
proportion to the root of their chances; a Latin hypercube: every answer's chance is met evenly), and weighed by joint
chance over chance of drawing (stratified importance sampling); what a plan costs after an answer is exact.

May import: numpy, and `answers`, `ground`, `pool`, `worth` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.decision.answers import Heard
from diag.decision.ground import Cells, Ground
from diag.decision.pool import Candidates, Catalogue
from diag.inference import Array

__all__ = ["Drawn", "Hearing", "answers_of", "sampled_cost"]


@dataclass(frozen=True)
class Hearing:
    """One hidden thing that a check speaks of: what it may say, and the posterior jointly with each cell.

    `chance[cell]` is the chance of each cell now."""

    heard: Heard
    cells: Cells
    chance: Array


@dataclass(frozen=True)
class Drawn:
    """Joint answers: `likelihood[hearing][answer, cell]`. The first `certain` are the likeliest, each once; the others
    were drawn from all there are, answer `certain + k` with the chance `q[k]`, in `draws` draws (those that fell on the
    certain ones were left out again)."""

    likelihood: tuple[Array, ...]
    certain: int
    q: Array
    draws: int

    def mean(self, values: Array, chance: Array) -> tuple[float, float]:
        """Sum over all joint answers of `values[answer]`, and its standard error, from those taken; `chance[answer]` is
        that of each jointly with what is known, over all answers 1. 0 error where all were taken."""
        total, rest = float(values[: self.certain].sum()), 1.0 - float(chance[: self.certain].sum())
        if not self.draws or rest <= 0.0 or not len(self.q):
            return total, 0.0
        gone = np.zeros(self.draws - len(self.q))
        value = np.concatenate([values[self.certain :] / self.q, gone])
        weight = np.concatenate([chance[self.certain :] / self.q, gone])
        ratio = value.mean() / weight.mean()
        spread = np.std(value - ratio * weight, ddof=1) / np.sqrt(self.draws) / weight.mean()
        return total + float(ratio) * rest, float(spread) * rest


def answers_of(hearings: Sequence[Hearing], count: int, seed: int) -> Drawn:
    """`count` joint answers: the likeliest three quarters of that, and the last quarter drawn; all, where they are no
    more than that. Likeliest by the product of each one's own chances, which decides the precision alone."""
    chances = [_chances(hearing) for hearing in hearings]
    every = float(np.prod([float(len(each)) for each in chances]))
    if every <= count:
        taken = np.indices([len(each) for each in chances]).reshape(len(chances), -1).T
        return Drawn(_tables(hearings, taken), len(taken), np.zeros(0), 0)
    certain = _likeliest(chances, count - count // 4)
    drawn, q = _drawn(chances, count // 4, seed)
    known = {row.tobytes() for row in certain}
    new = np.array([row.tobytes() not in known for row in drawn])
    return Drawn(_tables(hearings, np.concatenate([certain, drawn[new]])), len(certain), q[new], count // 4)


def _chances(hearing: Hearing) -> Array:
    chances = np.maximum(hearing.heard.table @ np.maximum(hearing.chance, 0.0), 0.0)
    return np.asarray(chances / chances.sum())


def _tables(hearings: Sequence[Hearing], answers: NDArray[np.intp]) -> tuple[Array, ...]:
    return tuple(hearing.heard.table[mine] for hearing, mine in zip(hearings, answers.T, strict=True))


def _likeliest(chances: Sequence[Array], count: int) -> NDArray[np.intp]:
    """`[joint answer, hearing]`: those of the greatest product, likeliest first; joined one hearing at a time."""
    answers, product = np.zeros((1, 0), dtype=np.intp), np.ones(1)
    for mine in chances:
        joint = (product[:, None] * mine).ravel()
        top = np.argsort(-joint, kind="stable")[:count]
        answers = np.column_stack([answers[top // len(mine)], top % len(mine)])
        product = joint[top]
    return np.ascontiguousarray(answers)


def _drawn(chances: Sequence[Array], count: int, seed: int) -> tuple[NDArray[np.intp], Array]:
    """`[draw, hearing]` and the chance of each draw."""
    random = np.random.default_rng(seed)
    answers, q = [], np.ones(count)
    for mine in chances:
        often = np.sqrt(mine) / np.sqrt(mine).sum()
        points = (random.permutation(count) + random.random(count)) / count
        chosen = np.minimum(np.searchsorted(np.cumsum(often), points, side="right"), len(mine) - 1)
        answers.append(chosen)
        q *= often[chosen]
    return np.ascontiguousarray(np.stack(answers, axis=1)), q


class _AllButOne:
    """For one choice of options at the plates spoken of: products over all of them, and over all but one."""

    def __init__(self, values: Sequence[dict[int, Array]], options: Sequence[int]) -> None:
        self.chosen = [mine[option] for mine, option in zip(values, options, strict=True)]
        self.before: list[Array | float] = [1.0]
        for value in self.chosen:
            self.before.append(self.before[-1] * value)
        self.after: list[Array | float] = [1.0]
        for value in reversed(self.chosen):
            self.after.append(self.after[-1] * value)
        self.after.reverse()

    def whole(self) -> Array | float:
        """The product over all."""
        return self.before[-1]

    def but(self, place: int) -> Array | float:
        """The product over all but the plate at a place."""
        return self.before[place] * self.after[place + 1]


def sampled_cost(
    catalogue: Catalogue, plans: Candidates, hearings: Sequence[Hearing], drawn: Drawn, ratios: Array
) -> tuple[Array, Array]:
    """`cost[plan, answer]` and `chance[answer]`, jointly with each answer taken (without what all plans have alike)."""
    ground = hearings[0].cells.ground
    plates = [hearing.cells.plate for hearing in hearings if hearing.cells.plate is not None]
    weights = np.tile(ground.weights, (len(drawn.likelihood[0]), 1))
    spoken: dict[int, dict[int, Array]] = {}
    heard: dict[int, tuple[Hearing, Array]] = {}
    for hearing, table in zip(hearings, drawn.likelihood, strict=True):
        if hearing.cells.plate is None:  # the configuration
            weights = weights * table[:, ground.kept][:, ground.configuration]
        else:
            spoken[hearing.cells.plate] = _heard_values(catalogue, plans, hearing, table)
            heard[hearing.cells.plate] = (hearing, table)
    values = [spoken[plate] for plate in plates]
    product = _AllButOne(values, [0] * len(plates))
    silent = [plate for plate in range(len(ground.values)) if plate not in plates]
    plain = weights * _static(ground, dict.fromkeys(silent, 0))
    joint = plain * product.whole()
    chance = joint.sum(axis=1)
    cost = plans.fixed[:, None] * chance + _mending(catalogue, plans, heard, (plain, joint, product), ratios)
    for index in range(len(ground.kept)):
        part = joint[:, ground.configuration == index].sum(axis=1)
        cost = cost + plans.configured[:, ground.kept[index], None] * part
    cost = cost + plans.fee[:, None] * (chance - _cured(plans, ground, weights, values, (plates, silent)))
    return cost + _later(catalogue, plans, ground, (weights, plates), spoken), chance


def _static(ground: Ground, chosen: dict[int, int]) -> Array:
    result = np.ones(len(ground.configuration))
    for plate, option in chosen.items():
        result = result * ground.values[plate][option]
    return result


def _heard_values(catalogue: Catalogue, plans: Candidates, hearing: Hearing, table: Array) -> dict[int, Array]:
    """For each option of a plate that stands in a product: its values with each drawn answer, `[draw, term]`."""
    plate, values = hearing.cells.plate, hearing.cells.values
    wanted = {0, *(int(option) for option in np.unique(plans.option[:, plate]))}
    wanted |= {option for where, option in catalogue.seal if where == plate}
    return {option: table @ values[option] for option in sorted(wanted)}


def _mending(
    catalogue: Catalogue,
    plans: Candidates,
    spoken: Mapping[int, tuple[Hearing, Array]],
    products: tuple[Array, Array, _AllButOne],
    ratios: Array,
) -> Array:
    """Linear part in single components: those of a plate spoken of by what was heard there, the others by term."""
    plain, joint, product = products
    differing = np.flatnonzero(np.ptp(plans.sound, axis=0) > 0)
    silent = [single for single in differing if catalogue.singles[single][0] not in spoken]
    result = plans.sound[:, silent] @ (ratios[silent] @ joint.T)
    for place, (plate, (hearing, table)) in enumerate(spoken.items()):
        mine = [single for single in differing if catalogue.singles[single][0] == plate]
        if mine:
            values = hearing.cells.values[[catalogue.singles[single][1] for single in mine]]
            others = plain * product.but(place)
            by_cell = (others @ values.reshape(-1, values.shape[2]).T).reshape(len(joint), len(mine), -1)
            result += plans.sound[:, mine] @ np.einsum("nsc,nc->sn", by_cell, table)
    return np.asarray(result)


def _cured(
    plans: Candidates,
    ground: Ground,
    weights: Array,
    values: Sequence[dict[int, Array]],
    sides: tuple[Sequence[int], Sequence[int]],
) -> Array:
    """`[plan, draw]`: chance of 'cured' jointly with each answer; plans alike but for one plate share their product."""
    plates, silent = sides
    factor = plans.factor[:, ground.kept]
    groups: dict[tuple[object, ...], list[int]] = {}
    for row, option in enumerate(plans.option):
        groups.setdefault((*(int(option[plate]) for plate in silent), factor[row].tobytes()), []).append(row)
    result = np.zeros((len(plans.option), len(weights)))
    for rows in groups.values():
        first = plans.option[rows[0]]
        still = _static(ground, {plate: int(first[plate]) for plate in silent})
        static = weights * (still * factor[rows[0]][ground.configuration])
        moving = {row: tuple(int(plans.option[row][plate]) for plate in plates) for row in rows}
        for row, cured in _products(static, values, moving).items():
            result[row] = cured
    return result


def _products(
    static: Array, values: Sequence[dict[int, Array]], moving: dict[int, tuple[int, ...]]
) -> dict[int, Array]:
    """For each row `[draw]`: the sum over terms of the static part and the product of the row's options."""
    found: dict[int, Array] = {}
    for row, options in moving.items():
        if row in found:
            continue
        near = _AllButOne(values, options)
        found[row] = np.asarray((static * near.whole()).sum(axis=1))
        others: dict[int, Array] = {}
        for other, theirs in moving.items():
            apart = [place for place, option in enumerate(theirs) if option != options[place]]
            if other in found or len(apart) > 1:
                continue
            if not apart:
                found[other] = found[row]
                continue
            if apart[0] not in others:
                others[apart[0]] = static * near.but(apart[0])
            found[other] = np.einsum("nt,nt->n", others[apart[0]], values[apart[0]][theirs[apart[0]]])
    return found


def _later(
    catalogue: Catalogue,
    plans: Candidates,
    ground: Ground,
    told: tuple[Array, Sequence[int]],
    spoken: dict[int, dict[int, Array]],
) -> Array:
    weights, plates = told
    seals = [plate for plate, _ in catalogue.seal]
    still = _static(ground, {p: 0 for p in range(len(ground.values)) if p not in seals and p not in plates})
    for plate in plates:
        if plate not in seals:
            weights = weights * spoken[plate][0]
    half = (len(seals) + 1) // 2
    left = _sound_products(catalogue.seal[:half], ground, spoken, weights * still)
    right = _sound_products(catalogue.seal[half:], ground, spoken, np.ones((1, len(still))))
    result = np.zeros((len(plans.tables), len(weights)))
    used = np.unique(plans.later)
    for index, configuration in enumerate(ground.kept):
        here = np.flatnonzero(ground.configuration == index)
        joint = left[:, :, here].transpose(1, 0, 2) @ right[:, :, here].transpose(1, 2, 0)
        result[used] += plans.tables[used, configuration] @ joint.reshape(len(joint), -1).T
    return np.asarray(result[plans.later])


def _sound_products(
    seals: Sequence[tuple[int, int]], ground: Ground, spoken: dict[int, dict[int, Array]], start: Array
) -> Array:
    """`[which are sound, draw or 1, term]`."""
    product = start[None]
    for plate, option in seals:
        heard = spoken.get(plate)
        plain = heard[0] if heard is not None else ground.values[plate][0][None]
        sound = heard[option] if heard is not None else ground.values[plate][option][None]
        pair = np.stack([plain - sound, sound])
        wide = np.broadcast_shapes(product.shape[1:], pair.shape[1:])
        product = (product[:, None] * pair[None]).reshape(-1, *wide)
    return product
