"""Sets of jobs at one site: which are worth forming, what they cost, and what they do to each component.

May import: knowledge_base, inference, basics, numpy, and `parts`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from diag.basics import TooLarge
from diag.decision.parts import Feature, Key, Part, part_chances
from diag.decision.sites import Job, Treatment
from diag.decision.tariff import WEARING, Tariff
from diag.inference import Array, Posterior
from diag.knowledge_base import Risk

__all__ = ["WEARING", "Done", "FactorSpec", "Workplace", "done_by", "ideal_factor", "job_sets", "jobs_that_may_pay"]

MOST_JOBS = 10  # of one site whose combinations are all formed

Effect = Literal["left", "renewed", "disturbed"]


@dataclass(frozen=True)
class FactorSpec:
    """A factor of a site as inference wants it: `plates[plate][component]` is `[configuration or 1, state]`, and
    `configurations[configuration]`, none where it is 1 everywhere."""

    plates: Mapping[int, Mapping[int, Array]]
    configurations: Array | None = None


@dataclass(frozen=True)
class Workplace:
    """One site before its treatments: its components, the blocks of its features, and the whole case's components.

    `prior[configuration]` weighs what depends on the configuration where one figure is needed.
    """

    tariff: Tariff
    parts: tuple[Part, ...]
    features: tuple[Feature, ...]
    all_parts: Mapping[Key, Part]
    prior: Array


@dataclass(frozen=True)
class Done:
    """A treatment with its factor for 'cured' and, `danger[feature]`, the chance that a dangerous state is left."""

    treatment: Treatment
    cure: FactorSpec
    danger: Array


def jobs_that_may_pay(
    tariff: Tariff, parts: Sequence[Part], jobs: Sequence[Job], posterior: Posterior, come_back: float
) -> tuple[Job, ...]:
    """Jobs whose own money is less than the most that they can save, under some case of the posterior:

    sum over components that the job renews of [P(unsound) + chance that other work upsets it] x (mending + come-back).
    Taking a job out of a plan, and leaving all else in, makes 'cured' less likely by at most those chances, and costs
    no access; so the others are in no best plan. Jobs that renew what wears are kept, for they save later visits, too.
    """
    by_key = {part.key: part for part in parts}
    kept = []
    for job in jobs:
        renewed = [by_key[key] for key in tariff.renewed(job) if key in by_key]
        saved = sum(
            (1.0 - part_chances(part, posterior)[:, 0] + (1.0 - part.disturbed[:, 0].min()))
            * (part.mending + come_back)
            for part in renewed
            if part.fault
        )
        if any(part.key[0] == WEARING for part in renewed) or np.max(saved) > tariff.job_money(job).total:
            kept.append(job)
    return tuple(kept)


def job_sets(tariff: Tariff, jobs: Sequence[Job], wanted: Sequence[frozenset[Job]] = ()) -> tuple[tuple[Job, ...], ...]:
    """Sets of jobs with all that must follow, nothing first. Left out are sets in which one job renews nothing that the
    others do not, for it only costs; `wanted` ones come too. Raises TooLarge beyond ten jobs."""
    if len(jobs) > MOST_JOBS:
        names = ", ".join(sorted({tariff.knowledge.repairs[job.repair].name for job in jobs}))
        raise TooLarge(f"too many jobs might pay at one place together ({names}); more findings would narrow them down")
    followed = {job: tariff.with_followers(job) for job in {*jobs, *(job for want in wanted for job in want)}}
    renewed = {job: frozenset[Key]().union(*(tariff.renewed(each) for each in followed[job])) for job in followed}
    found: dict[frozenset[Job], tuple[Job, ...]] = {frozenset(): ()}
    for count in range(1, len(jobs) + 1):
        for chosen in combinations(jobs, count):
            if count == 1 or not any(
                renewed[job] <= frozenset[Key]().union(*(renewed[other] for other in chosen if other != job))
                for job in chosen
            ):
                _add(found, chosen, followed)
    for want in wanted:
        _add(found, sorted(want, key=str), followed)
    return tuple(found.values())


def _add(
    found: dict[frozenset[Job], tuple[Job, ...]], chosen: Sequence[Job], followed: Mapping[Job, tuple[Job, ...]]
) -> None:
    every = tuple(dict.fromkeys(each for job in chosen for each in followed[job]))
    found.setdefault(frozenset(every), every)


def done_by(workplace: Workplace, jobs: Sequence[Job]) -> Done:
    """What a set of jobs costs and does at a site."""
    tariff, parts = workplace.tariff, workplace.parts
    effects = _effects(tariff, parts, jobs)
    upset, repair_upset = _upset_elsewhere(workplace, jobs)
    cures = _cures(parts, effects, upset)
    blocks = _blocks(workplace.features)
    mending, danger = np.zeros(_width(workplace.features)), np.zeros(_width(workplace.features))
    least, most = np.ones(len(mending)), np.ones(len(mending))
    mending[blocks[0][1]] += repair_upset
    for part, effect, cure in zip(parts, effects, cures, strict=True):
        feature, where = _block_of(part, blocks)
        chance_left, danger_left = _left(part, effect, workplace.prior)
        mending[where] += part.mending * _spread_out(part, chance_left)
        danger[where] += _spread_out(part, danger_left)
        lowest, highest = (cure.min(axis=0), cure.max(axis=0)) if feature.kind == "component" else (cure, cure)
        least[where] *= lowest
        most[where] *= highest
    money = [tariff.job_money(job) for job in jobs]
    treatment = Treatment(
        jobs=tuple(jobs),
        labour=sum(each.labour for each in money),
        parts=sum(each.parts for each in money),
        charges=sum(each.charges for each in money),
        opens=frozenset().union(*(tariff.job_opens(job) | tariff.waits(job) for job in jobs)),
        complications=_complications(workplace, jobs, blocks),
        mending=mending,
        cure_least=least,
        cure_most=most,
        renews_wear=any(e == "renewed" and p.key[0] == WEARING for p, e in zip(parts, effects, strict=True)),
    )
    return Done(treatment, _spec(parts, cures), danger)


def _effects(tariff: Tariff, parts: Sequence[Part], jobs: Sequence[Job]) -> tuple[Effect, ...]:
    renewed = frozenset[Key]().union(*(tariff.renewed(job) for job in jobs))
    disturbed = frozenset[Key]().union(*(tariff.disturbed(job) for job in jobs))
    return tuple(
        "renewed" if part.key in renewed else "disturbed" if part.key in disturbed else "left" for part in parts
    )


def _upset_elsewhere(workplace: Workplace, jobs: Sequence[Job]) -> tuple[float, float]:
    """Chance that no job upsets anything at another site, and expected money for mending what they upset there."""
    own = {part.key for part in workplace.parts}
    fine, money = 1.0, 0.0
    for job in jobs:
        for key in workplace.tariff.disturbed(job) - own:
            part = workplace.all_parts.get(key)
            if part is not None and part.fault:
                upset = 1.0 - float(part.disturbed[:, 0].min())
                fine *= 1.0 - upset
                money += upset * part.mending
    return fine, money


def _cures(parts: Sequence[Part], effects: Sequence[Effect], scale: float) -> list[Array]:
    """For each component its factor of 'cured': `[configuration or 1, state]`, or `[configuration]` for one of the
    configuration; `scale` goes into the first."""
    found = []
    for number, (part, effect) in enumerate(zip(parts, effects, strict=True)):
        factor = np.ones((1, part.states))
        if part.fault:
            sound = {"left": np.ones(1), "renewed": part.fresh[:, 0], "disturbed": part.disturbed[:, 0]}[effect]
            factor = np.zeros((len(sound), part.states))
            factor[:, 0] = sound
            if effect == "renewed":
                factor[:, 1:] = sound[:, None]
        if part.spot is None:
            factor = factor[0][list(part.columns)]
        found.append(factor * scale if number == 0 else factor)
    return found


def _spec(parts: Sequence[Part], cures: Sequence[Array]) -> FactorSpec:
    plates: dict[int, dict[int, Array]] = {}
    configurations: Array | None = None
    for part, cure in zip(parts, cures, strict=True):
        if part.spot is None:
            configurations = cure if configurations is None else configurations * cure
        elif np.any(cure != 1.0):
            plates.setdefault(part.spot[0], {})[part.spot[1]] = cure
    return FactorSpec(plates, configurations)


def ideal_factor(workplace: Workplace, sets: Sequence[Sequence[Job]]) -> FactorSpec:
    """A factor at least as large as every treatment's, whatever the truth: sound components are sound and stay so, and
    what some job renews is renewed."""
    cures = []
    for part in workplace.parts:
        factor = np.ones((1, part.states))
        if part.fault:
            can = any(_effects(workplace.tariff, (part,), jobs) == ("renewed",) for jobs in sets)
            factor = np.zeros((len(part.fresh), part.states)) + (part.fresh[:, :1] if can else 0.0)
            factor[:, 0] = 1.0
        cures.append(factor if part.spot is not None else factor[0][list(part.columns)])
    return _spec(workplace.parts, cures)


def _blocks(features: Sequence[Feature]) -> list[tuple[Feature, slice]]:
    found, start = [], 0
    for feature in features:
        found.append((feature, slice(start, start + feature.size)))
        start += feature.size
    return found


def _width(features: Sequence[Feature]) -> int:
    return sum(feature.size for feature in features)


def _block_of(part: Part, blocks: Sequence[tuple[Feature, slice]]) -> tuple[Feature, slice]:
    return next(
        (feature, where)
        for feature, where in blocks
        if (part.spot is None and feature.kind == "configuration")
        or (feature.kind == "component" and (feature.plate, feature.index) == part.spot)
    )


def _left(part: Part, effect: Effect, prior: Array) -> tuple[Array, Array]:
    """`[state]`: chance that it is unsound, and that it is dangerous, after the treatment, for each state now."""
    unsound = np.array([0.0, *(1.0 for _ in range(part.states - 1))])
    dangerous = np.array(part.dangerous, dtype=float)
    if not part.fault:
        return np.zeros(part.states), np.zeros(part.states)
    if effect == "left":
        return unsound, dangerous
    table = part.fresh if effect == "renewed" else part.disturbed
    mean = (prior @ table if len(table) == len(prior) else table[0]) if len(table) > 1 else table[0]
    after_unsound, after_dangerous = 1.0 - float(mean[0]), float(mean @ dangerous)
    if effect == "renewed":
        return np.full(part.states, after_unsound), np.full(part.states, after_dangerous)
    unsound[0], dangerous[0] = after_unsound, after_dangerous
    return unsound, dangerous


def _spread_out(part: Part, by_state: Array) -> Array:
    """Values by state as values of the part's feature block."""
    return by_state if part.spot is not None else by_state[list(part.columns)]


def _complications(workplace: Workplace, jobs: Sequence[Job], blocks: Sequence[tuple[Feature, slice]]) -> Array:
    """`[feature]`: expected money for what can go wrong on the way."""
    found = np.zeros(_width(workplace.features))
    for job in jobs:
        for risk in workplace.tariff.knowledge.repairs[job.repair].risks:
            where, chances = risk_chances(workplace, risk, job, blocks)
            found[where] += chances * workplace.tariff.risk_money(risk)
    return found


def risk_chances(
    workplace: Workplace, risk: Risk, job: Job, blocks: Sequence[tuple[Feature, slice]]
) -> tuple[slice, Array]:
    """The feature block that decides a risk, and its chance there. A risk whose severity is not of this site has the
    largest of its chances."""
    named = workplace.tariff.risk_chances(risk, job.place)
    if risk.by is not None and isinstance(job.place, int):
        severity = workplace.tariff.knowledge.severities.get(risk.by)
        for feature, where in blocks:
            if severity is not None and feature.kind == "axis" and feature.name == risk.by:
                return where, np.array([named.get(level, 0.0) for level in severity.levels])
    feature, where = blocks[0]
    return where, np.full(feature.size, max(named.values()))
