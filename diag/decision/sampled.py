"""Checks that answer about several things at once: joint answers drawn with a fixed seed, each weighed exactly.

The likeliest joint answers are all taken. Of the rest some are drawn, rare answers more often than they come (in
proportion to the root of their chances; a Latin hypercube: every answer's chance is met evenly), and weighed by joint
chance over chance of drawing (stratified importance sampling); what a plan costs after an answer is exact.

May import: numpy, and `answers`, `ground`, `pool`, `worth` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property, reduce
from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.decision.answers import Heard
from diag.decision.ground import Cells, Ground
from diag.decision.pool import Candidates, Catalogue, alike_but_at, options_needed, singles_at
from diag.decision.worth import later_folded
from diag.inference import Array

__all__ = ["Drawn", "Hearing", "answers_of", "sampled_cost"]

AT_ONCE = 1 << 16  # numbers up to which all products at once are quicker than finding those that are alike
DIGITS = 9  # of the logarithm of a chance, to which joint answers are as likely
FEW = 64  # joint answers up to which all of them are quicker than finding those that are alike


class Hearing(Struct, frozen=True):
    """One hidden thing that a check speaks of: what it may say, and the posterior jointly with each cell.

    `chance[cell]` is the chance of each cell now."""

    heard: Heard
    cells: Cells
    chance: Array


class Drawn(Struct, frozen=True):
    """Joint answers: `answers[joint answer, hearing]` numbers the answer of each hearing. The first `certain` are the
    likeliest, each once; the others were drawn from all there are, answer `certain + k` with the chance `q[k]`, in
    `draws` draws (those that fell on the certain ones were left out again)."""

    answers: NDArray[np.intp]
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
        return Drawn(taken, len(taken), np.zeros(0), 0)
    certain = _likeliest(chances, count - count // 4)
    drawn, q = _drawn(chances, count // 4, seed)
    known = {row.tobytes() for row in certain}
    new = np.array([row.tobytes() not in known for row in drawn])
    return Drawn(np.concatenate([certain, drawn[new]]), len(certain), q[new], count // 4)


def _chances(hearing: Hearing) -> Array:
    chances = np.maximum(hearing.heard.table @ np.maximum(hearing.chance, 0.0), 0.0)
    return np.asarray(chances / chances.sum())


def _likeliest(chances: Sequence[Array], count: int) -> NDArray[np.intp]:
    """`[joint answer, hearing]`: those of the greatest product, likeliest first; joined one hearing at a time."""
    answers, product = np.zeros((1, 0), dtype=np.intp), np.ones(1)
    for mine in chances:
        joint = (product[:, None] * mine).ravel()
        top = _foremost(_rounded(joint), count)
        answers = np.column_stack([answers[top // len(mine)], top % len(mine)])
        product = joint[top]
    return np.ascontiguousarray(answers)


def _rounded(chances: Array) -> Array:
    """Logarithms, rounded: where cylinders are alike many joint answers are as likely but for the last digits, which
    must not decide which of them are taken."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.round(np.log(chances), DIGITS), dtype=np.float64)


def _foremost(joint: Array, count: int) -> NDArray[np.intp]:
    """Where the `count` largest stand, largest first, the first of equals first; without sorting all the others."""
    if len(joint) <= 2 * count:
        return np.argsort(-joint, kind="stable")[:count]
    least = np.partition(joint, len(joint) - count)[len(joint) - count]
    high = np.flatnonzero(joint >= least)
    return high[np.argsort(-joint[high], kind="stable")[:count]]


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


class _Voice:
    """A plate that is heard: its values with each answer, `values[option, answer, term]`, for the options that matter,
    and which answer each joint answer holds."""

    def __init__(self, plate: int, options: Sequence[int], values: Array, answers: NDArray[np.intp]) -> None:
        self.plate, self.answers, self.values = plate, answers, values
        self.row = {option: row for row, option in enumerate(options)}
        self._of: dict[int, Array] = {}

    @cached_property
    def alike(self) -> tuple[NDArray[np.intp], NDArray[np.intp], list[tuple[int, slice]]]:
        """Joint answers in the order of what they say here, where each of them stands in it, and the stretches."""
        order = np.argsort(self.answers, kind="stable")
        place = np.empty_like(order)
        place[order] = np.arange(len(order))
        said = self.answers[order]
        edges = [0, *(np.flatnonzero(np.diff(said)) + 1).tolist(), len(order)]
        stretches = [(int(said[first]), slice(first, last)) for first, last in pairwise(edges)]
        return order, place, stretches

    def of(self, option: int) -> Array:
        """`[joint answer, term]`: the values with an option."""
        if option not in self._of:
            self._of[option] = self.values[self.row[option]][self.answers]
        return self._of[option]

    def sums(self, others: Array, options: Sequence[int]) -> Array:
        """`[option, joint answer]`: the sums over terms of `others[joint answer or 1, term]` and the values with each
        option, one product of matrices for all joint answers that say the same here."""
        mine = self.values[[self.row[option] for option in options]]
        if len(others) == 1:
            return np.asarray((mine @ others[0])[:, self.answers])
        order, place, stretches = self.alike
        sorted_others, result = others[order], np.empty((len(self.answers), len(options)))
        by_answer = np.ascontiguousarray(mine.transpose(1, 2, 0))  # answer, term, option
        for answer, here in stretches:
            np.matmul(sorted_others[here], by_answer[answer], out=result[here])
        return result[place].T


def _all_but_one(start: Array, factors: Sequence[Array]) -> list[Array]:
    """For each place `start` times all factors but the one there."""
    before = [start]
    for factor in factors[:-1]:
        before.append(before[-1] * factor)
    after: Array | None = None
    for place in reversed(range(len(factors) - 1)):
        after = factors[place + 1] if after is None else after * factors[place + 1]
        before[place] = before[place] * after
    return before


def sampled_cost(
    catalogue: Catalogue, plans: Candidates, hearings: Sequence[Hearing], drawn: Drawn, ratios: Array
) -> tuple[Array, Array]:
    """`cost[plan, answer]` and `chance[answer]`, jointly with each answer taken (without what all plans have alike)."""
    ground = hearings[0].cells.ground
    weights, voices = ground.weights[None], list[_Voice]()
    for hearing, answers in zip(hearings, drawn.answers.T, strict=True):
        if hearing.cells.plate is None:  # the configuration
            cells = hearing.heard.hidden.cell_of(ground.kept)[ground.configuration]
            weights = weights * hearing.heard.table[answers][:, cells]
        else:
            voices.append(_voice(catalogue, plans, hearing, answers))
    spoken = {voice.plate for voice in voices}
    silent = [plate for plate in range(len(ground.values)) if plate not in spoken]
    plain = weights * _static(ground, dict.fromkeys(silent, 0))
    others = _all_but_one(plain, [voice.of(0) for voice in voices])
    joint = others[-1] * voices[-1].of(0)
    chance = joint.sum(axis=1)
    cost = _by_term(catalogue, plans, ground, spoken, ratios) @ joint.T
    _add_mending(cost, catalogue, plans, voices, others)
    cost -= plans.fee[:, None] * _cured(plans, ground, weights, voices, silent)
    cost += _later(catalogue, plans, ground, weights, voices)
    return cost, chance


def _by_term(catalogue: Catalogue, plans: Candidates, ground: Ground, spoken: set[int], ratios: Array) -> Array:
    """`[plan, term]`: what a plan costs given a term whatever the answers are, were nothing cured."""
    silent = [single for single in plans.differing if catalogue.singles[single][0] not in spoken]
    configured = plans.configured[:, ground.configuration]
    return np.asarray((plans.fixed + plans.fee)[:, None] + configured + plans.sound[:, silent] @ ratios[silent])


def _static(ground: Ground, chosen: Mapping[int, int]) -> Array:
    result = np.ones(len(ground.configuration))
    for plate, option in chosen.items():
        result = result * ground.values[plate][option]
    return result


def _voice(catalogue: Catalogue, plans: Candidates, hearing: Hearing, answers: NDArray[np.intp]) -> _Voice:
    plate, values = hearing.cells.plate, hearing.cells.values
    assert plate is not None
    options = options_needed(catalogue, plans, plate)
    return _Voice(plate, options, hearing.heard.table @ values[options], answers)


def _add_mending(
    cost: Array, catalogue: Catalogue, plans: Candidates, voices: Sequence[_Voice], others: Sequence[Array]
) -> None:
    """Linear part in single components of the plates spoken of, by what was heard there."""
    singles: list[int] = []
    sums = []
    for voice, rest in zip(voices, others, strict=True):
        mine = singles_at(catalogue, plans, voice.plate)
        if mine:
            singles += [single for single, _ in mine]
            sums.append(voice.sums(rest, [option for _, option in mine]))
    if singles:
        cost += plans.sound[:, singles] @ np.concatenate(sums)


def _cured(plans: Candidates, ground: Ground, weights: Array, voices: Sequence[_Voice], silent: Sequence[int]) -> Array:
    """`[plan, joint answer]`: chance of 'cured' jointly with each answer, of the plans that pay for a come-back; plans
    alike but for one plate share their product."""
    factor = plans.factor
    answers = len(voices[0].answers)
    if len(plans.option) * answers * len(ground.weights) <= AT_ONCE:
        return _cured_at_once(plans, ground, weights, voices, silent)
    result = np.zeros((len(plans.option), answers))
    single: dict[tuple[int, ...], list[tuple[Array, list[int]]]] = {}
    for group in alike_but_at(plans, tuple(voice.plate for voice in voices)):
        first = next(iter(group.values()))[0]
        still = _static(ground, {plate: int(plans.option[first][plate]) for plate in silent})
        static = still * factor[first][ground.configuration]
        if len(group) == 1:
            for options, rows in group.items():
                single.setdefault(options, []).append((static, rows))
        else:
            for options, cured in _products(weights * static, voices, list(group)).items():
                result[group[options]] = cured
    for options, some in single.items():  # alike in all that is spoken of: one product for all of them
        spoken = reduce(np.multiply, [voice.of(each) for voice, each in zip(voices, options, strict=True)], weights)
        for (_, rows), cured in zip(some, np.stack([static for static, _ in some]) @ spoken.T, strict=True):
            result[rows] = cured
    return result


def _cured_at_once(
    plans: Candidates, ground: Ground, weights: Array, voices: Sequence[_Voice], silent: Sequence[int]
) -> Array:
    """The same where plans, answers and terms are few: all products at once are quicker than those that differ."""
    paying = np.flatnonzero(plans.fee)
    option, quiet = plans.option[paying], np.array(silent, dtype=np.intp)
    static = plans.factor[paying][:, ground.configuration] * ground.together[quiet, option[:, quiet]].prod(axis=1)
    product = static[:, None] * weights
    for voice in voices:
        rows = np.array([voice.row[each] for each in option[:, voice.plate].tolist()], dtype=np.intp)
        product = product * voice.values[rows[:, None], voice.answers]
    result = np.zeros((len(plans.option), len(voices[0].answers)))
    result[paying] = product.sum(axis=2)
    return result


def _products(
    static: Array, voices: Sequence[_Voice], moving: Sequence[tuple[int, ...]]
) -> dict[tuple[int, ...], Array]:
    """For each choice of options `[joint answer]`: the sum over terms of the static part and the product of them."""
    found: dict[tuple[int, ...], Array] = {}
    options = np.array(moving)
    differ = options[:, None] != options
    ones = differ.sum(axis=2) == 1
    for number, near in enumerate(moving):
        if near in found:
            continue
        apart: dict[int, list[tuple[int, ...]]] = {}
        for other in np.flatnonzero(ones[number]).tolist():
            if moving[other] not in found:
                apart.setdefault(int(differ[number, other].argmax()), []).append(moving[other])
        apart.setdefault(next(iter(apart), 0), []).append(near)
        chosen = [voice.of(option) for voice, option in zip(voices, near, strict=True)]
        if len(apart) > 1:
            others = dict(enumerate(_all_but_one(static, chosen)))
        else:
            (place,) = apart
            others = {place: reduce(np.multiply, [*chosen[:place], *chosen[place + 1 :]], static)}
        for place, some in apart.items():
            sums = voices[place].sums(others[place], [each[place] for each in some])
            found |= dict(zip(some, sums, strict=True))
    return found


def _later(catalogue: Catalogue, plans: Candidates, ground: Ground, weights: Array, voices: Sequence[_Voice]) -> Array:
    """Damage and later visits `[plan, joint answer]`; where many seals are heard of, in two halves of them."""
    seals = [plate for plate, _ in catalogue.seal]
    spoken = {voice.plate: voice for voice in voices}
    still = _static(ground, {p: 0 for p in range(len(ground.values)) if p not in seals and p not in spoken})
    start = reduce(np.multiply, [voice.of(0) for voice in voices if voice.plate not in seals], weights * still)
    heard = tuple([place for place, plate in enumerate(seals) if plate in spoken])
    if 2 * len(heard) <= max(len(seals), 4):  # few: all others are summed over first
        product = np.broadcast_to(start, (len(voices[0].answers), start.shape[1]))[:, None]
        for place in heard:
            voice, option = spoken[seals[place]], catalogue.seal[place][1]
            product = _doubled(product, voice.of(0) - voice.of(option), voice.of(option))
        folded = later_folded(catalogue, plans, ground, heard).transpose(1, 0, 2)
        by_table = folded.reshape(len(plans.tables), -1) @ product.reshape(len(product), -1).T
        return np.asarray(by_table[plans.later])
    half = (len(seals) + 1) // 2
    left, from_left = _sound_products(catalogue.seal[:half], ground, spoken, voices)
    right, from_right = _sound_products(catalogue.seal[half:], ground, spoken, voices)
    result = np.zeros((len(plans.tables), len(voices[0].answers)))
    for index, here in enumerate(ground.stretches):
        one, two = left[:, :, here], right[:, :, here].transpose(0, 2, 1)
        first = (one if from_left is None else one[from_left]) * start[:, None, here]
        joint = first @ (two if from_right is None else two[from_right])
        wide = np.broadcast_to(joint, (result.shape[1], *joint.shape[1:])).reshape(result.shape[1], -1)
        result += plans.tables[:, index] @ wide.T
    return np.asarray(result[plans.later])


def _sound_products(
    seals: Sequence[tuple[int, int]], ground: Ground, spoken: Mapping[int, _Voice], voices: Sequence[_Voice]
) -> tuple[Array, NDArray[np.intp] | None]:
    """`[distinct answers, which are sound, term]`, and which of the distinct answers each joint answer has here; none
    where no answer speaks of these seals."""
    mine = [voice for voice in voices if any(voice is spoken.get(plate) for plate, _ in seals)]
    if not mine:
        return ground.sound_products(seals)[None], None
    if len(mine) == 1:
        return _beside(seals, ground, mine[0]), mine[0].answers
    codes = np.zeros(len(voices[0].answers), dtype=np.intp)
    for voice in mine:
        codes = codes * voice.values.shape[1] + voice.answers
    if len(codes) > FEW:
        _, first, which = np.unique(codes, return_index=True, return_inverse=True)
    else:
        first = which = np.arange(len(codes))
    product = np.ones((1, 1, len(ground.weights)))
    for plate, option in seals:
        heard = spoken.get(plate)
        if heard is None:
            plain, sound = ground.values[plate][0][None], ground.values[plate][option][None]
        else:
            plain, sound = (heard.values[heard.row[each]][heard.answers[first]] for each in (0, option))
        product = _doubled(product, plain - sound, sound)
    return np.broadcast_to(product, (len(first), *product.shape[1:])), which.reshape(-1)


def _doubled(product: Array, leaking: Array, sound: Array) -> Array:
    """`[answer, which are sound, term]` with one more seal, the last in binary, from its `[answer, term]`."""
    joined = np.empty((max(len(product), len(sound)), product.shape[1], 2, product.shape[2]))
    np.multiply(product, leaking[:, None], out=joined[:, :, 0])
    np.multiply(product, sound[:, None], out=joined[:, :, 1])
    return joined.reshape(len(joined), -1, joined.shape[3])


def _beside(seals: Sequence[tuple[int, int]], ground: Ground, voice: _Voice) -> Array:
    """`[answer, which are sound, term]`, where one of the seals is spoken of."""
    place = next(number for number, (plate, _) in enumerate(seals) if plate == voice.plate)
    others = ground.sound_products([*seals[:place], *seals[place + 1 :]]).reshape(2**place, 1, -1, len(ground.weights))
    plain, sound = (voice.values[voice.row[option]] for option in (0, seals[place][1]))
    pair = np.stack([plain - sound, sound], axis=1)[:, None, :, None]  # answer, before, here, after, term
    return (pair * others).reshape(len(pair), 2 ** len(seals), -1)
