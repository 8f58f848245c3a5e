"""The worth of what a check may answer: exact for one plate or one thing of the vehicle, drawn for several plates.

May import: inference, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from diag.decision.answers import Heard, Hidden, Prospect
from diag.decision.candidates import base_plans, with_ways_out
from diag.decision.ground import Cells, Ground, cells_of, ground_of, sums_of
from diag.decision.influence import worth_alone
from diag.decision.lighter import Light, lighter, most_terms
from diag.decision.plans import Reckoning, RepairDecision
from diag.decision.pool import (
    Candidates,
    Catalogue,
    access_saved,
    candidates,
    catalogue_of,
    chosen_of,
    neighbours,
    options_needed,
)
from diag.decision.sampled import Hearing, answers_of, sampled_cost
from diag.decision.sites import AccessKey, Plan
from diag.decision.worth import Functionals, functionals_of, ratios_of
from diag.inference import Array, kept_configurations

__all__ = ["Appraisal", "Found", "Question", "Setting", "appraisals", "options_at", "pool_of", "saved_by", "setting_of"]

FIRST_ANSWERS, MOST_ANSWERS, WORK = 48, 1024, 40_000  # as many as keep answers x terms below WORK
FINER, ROUGH = 8, 0.06  # as many times more answers where a worth's standard error is still more than this share of it
DOUBT = 4.0  # standard errors by which a worth must fall short of the cost, to be drawn no further


class Setting(Struct, frozen=True, dict=True):
    """What all checks of one ranking share."""

    ready: Reckoning
    catalogue: Catalogue
    ground: Ground
    ratios: Array
    bases: tuple[Plan, ...]
    allowed: tuple[tuple[int, ...], ...]
    pools: dict[frozenset[int] | tuple[int, ...], Candidates]  # by plates, and by sites
    wholes: dict[tuple[int, int], Functionals]
    light: Light
    saved: dict[tuple[int, frozenset[AccessKey]], Array] = field(default_factory=dict)

    @cached_property
    def every(self) -> tuple[dict[Plan, int], Candidates]:
        """All plans that some pool holds, by their numbers, and then the ways out."""
        sites = range(len(self.ready.bound.sites))
        plans = tuple(dict.fromkeys((*self.bases, *neighbours(self.bases[:2], sites, self.allowed))))
        found = with_ways_out(self.ready, self.catalogue, candidates(self.catalogue, plans))
        return {plan: number for number, plan in enumerate(plans)}, found


class Appraisal(Struct, frozen=True):
    """`worth` of the answers; `credit`: what the access that the check opens saves the best plan now; `error`: standard
    error of the worth, 0 where exact; `at_least`: part of what it could tell was left out. In the currency."""

    worth: float
    credit: float
    error: float = 0.0
    at_least: bool = False

    def net(self, cost: float) -> float:
        """Worth and credit less what doing it costs."""
        return self.worth + self.credit - cost


def setting_of(ready: Reckoning, decision: RepairDecision, share: float) -> Setting:
    """Lay out the posterior, with the likeliest configurations that hold `share` of it; only with less than all are
    findings laid aside where too many meet."""
    bases, allowed = base_plans(ready, decision)
    kept = kept_configurations(ready.posterior.configurations[0], share)
    catalogue = catalogue_of(ready.bound, ready.problem, ready.network.model, bases, kept)
    most = most_terms(len(ready.case.engine.cylinders)) if share < 1.0 else np.inf
    light = lighter(ready.network.model, ready.network.evidence, ready.posterior, most)
    ground = ground_of(ready.network.model, light.evidence, catalogue.options, kept, ready.laid)
    return Setting(ready, catalogue, ground, ratios_of(catalogue, ground), bases, allowed, {}, {}, light)


class Told(Struct, frozen=True):
    """What each thing that some check speaks of tells: `cells`, the posterior jointly with things of the vehicle; the
    candidate plans of each plate (`pools`); their costs (`plain`), and again with some access open (`opened`); how far
    knowing a thing of a plate could move the plans (`reach`)."""

    cells: dict[Hidden, Cells]
    pools: dict[int, Candidates]
    plain: dict[Hidden, _Plain]
    reach: dict[Hidden, float]
    opened: dict[tuple[Hidden, frozenset[AccessKey]], _Opened] = field(default_factory=dict)


class _Plain(NamedTuple):
    """Costs of a pool's plans jointly with the cells of a thing: `costs[plan, cell]`, `chance[cell]`, and
    `totals[plan]`, the sums over the cells."""

    pool: Candidates
    costs: Array
    chance: Array
    totals: Array


class _Opened(Struct, frozen=True):
    """Costs of plans jointly with the cells of a thing, with some access open: `costs[plan, cell]`, the best plan now,
    and what the access saves."""

    costs: Array
    stay: int
    credit: float


class Question(Struct, frozen=True):
    """A check at a place, what it opens, and what it costs."""

    prospect: Prospect
    opened: frozenset[AccessKey]
    cost: float


class Found(Struct, frozen=True):
    """What a check is worth; `telling`: the one thing that its answer tells most of, and `reach`: how far knowing that
    thing could move the plans against each other (at least the worth of knowing it), in the currency."""

    appraisal: Appraisal
    telling: Heard | None = None
    reach: float = 0.0


def appraisals(setting: Setting, questions: Sequence[Question], best_alone: bool = False) -> list[Found]:
    """Worth of what each check may answer: exactly of the one thing it tells most of; where it speaks of several
    plates, of the most telling thing of each jointly, if that is more. `best_alone`: joint answers are reckoned only
    where by the same bound (`_may_pay`) they may make a check better than the best is without them."""
    told = _told_of(setting, [question.prospect for question in questions])
    singles = [_each_alone(setting, question, told) for question in questions]
    nets = [
        worth.net(question.cost) for single, question in zip(singles, questions, strict=True) for _, worth in single
    ]
    least = max(nets, default=0.0) if best_alone else 0.0
    joint = [
        listed if _may_pay(listed, single, question, told, max(least, 0.0)) else []
        for listed, single, question in zip(map(_telling_most, singles), singles, questions, strict=True)
    ]
    needed = dict.fromkeys(heard.hidden for listed in joint for heard in listed if heard.hidden not in told.cells)
    pool = pool_of(setting, set())
    options = {plate: options_at(setting, pool, plate) for plate in range(len(setting.ground.options))}
    for plate, known in told.pools.items():
        options[plate] = sorted({*options[plate], *options_at(setting, known, plate)})
    cells = told.cells | cells_of(setting.ground, tuple(needed), options)
    found = []
    for question, single, listed in zip(questions, singles, joint, strict=True):
        results = [worth for _, worth in single]
        whole = len(single) == 1
        if len(listed) > 1:
            alone = max(each.worth for each in results)
            results.append(
                _drawn(setting, replace(question, cost=question.cost + max(least, 0.0)), listed, cells, alone)
            )
            whole = len(listed) == len(single)
        chosen = max(results, key=lambda each: each.worth)
        telling, reach = _most_telling(single, told)
        found.append(Found(Appraisal(chosen.worth, chosen.credit, chosen.error, not whole), telling, reach))
    return found


def _most_telling(single: Sequence[tuple[Heard, Appraisal]], told: Told) -> tuple[Heard | None, float]:
    """Of the things of plates the one that an answer tells most of; among equals, but for rounding, the one of the
    widest reach."""
    ranked = [
        (round(worth.worth, 6), round(told.reach[heard.hidden], 6), place)
        for place, (heard, worth) in enumerate(single)
        if heard.hidden in told.reach
    ]
    if not ranked:
        return None, 0.0
    place = max(ranked, key=lambda each: each[:2])[2]
    return single[place][0], told.reach[single[place][0].hidden]


def _told_of(setting: Setting, prospects: Sequence[Prospect]) -> Told:
    """Lay out everything that some check speaks of, once."""
    every = tuple(dict.fromkeys(heard.hidden for prospect in prospects for heard in prospect.heard))
    plates = dict.fromkeys(hidden.plate for hidden in every if hidden.plate is not None)
    pools = {plate: pool_of(setting, {plate}) for plate in plates}
    functionals = {
        plate: functionals_of(setting.catalogue, pools[plate], setting.ground, plate, setting.ratios)
        for plate in plates
    }
    whole = pool_of(setting, set())
    of_vehicle = {plate: options_at(setting, whole, plate) for plate in range(len(setting.ground.options))}
    rows = {plate: (split.option.tolist(), split.gradient) for plate, split in functionals.items()}
    sums = sums_of(setting.ground, tuple(each for each in every if each.plate is not None), rows)
    plain = {
        thing: _plain(pools[thing.plate], functionals[thing.plate], values)
        for thing, values in sums.items()
        if thing.plate is not None
    }
    reach = {thing: _reach(each) for thing, each in plain.items()}
    cells = cells_of(setting.ground, tuple(each for each in every if each.plate is None), of_vehicle)
    for thing, each in cells.items():
        split = _whole(setting, whole, each.ground)
        plain[thing] = _plain(whole, split, split.gradient @ each.values[0].T)
    return Told(cells, pools, plain, reach)


def _plain(pool: Candidates, split: Functionals, values: Array) -> _Plain:
    """The costs of plans from the `values[functional, cell]` that they are split into."""
    costs = split.combine @ values
    return _Plain(pool, costs, values[0], costs.sum(axis=1))


def _reach(plain: _Plain) -> float:
    """How far knowing a thing could move the plans against each other: E[max over plans of (its advantage over the best
    plan now, less the expectation of that)]."""
    costs, totals = plain.costs, plain.totals
    stay = int(np.argmin(totals))
    moved = (costs[stay] - costs) - (totals[stay] - totals)[:, None] * plain.chance
    return float(moved.max(axis=0).clip(min=0.0).sum())


def _each_alone(setting: Setting, question: Question, told: Told) -> list[tuple[Heard, Appraisal]]:
    return [(heard, _exact(setting, heard, told, question.opened)) for heard in question.prospect.heard]


def _telling_most(single: Sequence[tuple[Heard, Appraisal]]) -> list[Heard]:
    """Of each plate, and of the configuration, what tells most alone; not of the vehicle."""
    best: dict[int | None, tuple[Heard, Appraisal]] = {}
    for heard, worth in single:
        plate = heard.hidden.plate
        if heard.hidden.kind != "shared" and (plate not in best or worth.worth > best[plate][1].worth):
            best[plate] = (heard, worth)
    return [heard for heard, _ in best.values()] if len(best) > 1 else []


def _may_pay(
    listed: Sequence[Heard], single: Sequence[tuple[Heard, Appraisal]], question: Question, told: Told, least: float
) -> bool:
    """Whether joint answers may be worth their cost and `least` more. Where costs of plans add up over things, they are
    worth no more than the sum of how far each thing can move the plans; where not even that pays, none are drawn."""
    if any(heard.hidden not in told.reach for heard in listed):
        return True
    credit = max((worth.credit for _, worth in single), default=0.0)
    return sum(told.reach[heard.hidden] for heard in listed) + credit > question.cost + least


def options_at(setting: Setting, pool: Candidates, plate: int) -> list[int]:
    """Options of a plate that the costs of a pool need."""
    return options_needed(setting.catalogue, pool, plate)


def pool_of(setting: Setting, plates: set[int]) -> Candidates:
    """The base plans, and the first two with one site treated otherwise: a site that the answer is about; where it is
    about the vehicle any site, but a cylinder only as might be best now."""
    asked = frozenset(plates)
    if asked not in setting.pools:
        bound = setting.ready.bound
        sites = tuple(n for n, site in enumerate(bound.sites) if not plates or not asked.isdisjoint(site.plates))
        setting.pools[asked] = setting.pools[sites] if sites in setting.pools else _pool(setting, sites, bool(plates))
        setting.pools[sites] = setting.pools[asked]
    return setting.pools[asked]


def _pool(setting: Setting, sites: tuple[int, ...], of_plates: bool) -> Candidates:
    may = [
        some if of_plates or site.site.wear is None else tuple(set(some) & set(site.useful))
        for site, some in zip(setting.ready.bound.sites, setting.allowed, strict=True)
    ]
    rows, every = setting.every
    fine = dict.fromkeys((*setting.bases, *neighbours(setting.bases[:2], sites, may)))
    return chosen_of(every, [*(rows[plan] for plan in fine), *range(len(rows), len(every.plans))])


def saved_by(setting: Setting, pool: Candidates, opened: frozenset[AccessKey]) -> Array:
    """`[plan]`: what access that a check opens saves each plan."""
    if not opened:
        return np.zeros(len(pool.plans))
    key = (id(pool), opened)
    if key not in setting.saved:
        setting.saved[key] = access_saved(setting.catalogue, pool, opened)
    return setting.saved[key]


def _exact(setting: Setting, heard: Heard, told: Told, opened: frozenset[AccessKey]) -> Appraisal:
    key = (heard.hidden, opened)
    if key not in told.opened:
        told.opened[key] = _opened(setting, told.plain[heard.hidden], opened)
    known = told.opened[key]
    return Appraisal(worth_alone(known.costs, heard.table, known.stay), known.credit)


def _opened(setting: Setting, plain: _Plain, opened: frozenset[AccessKey]) -> _Opened:
    if not opened:
        return _Opened(plain.costs, int(np.argmin(plain.totals)), 0.0)
    saved = saved_by(setting, plain.pool, opened)
    now = plain.totals - saved * plain.chance.sum()
    costs = plain.costs - saved[:, None] * plain.chance
    return _Opened(costs, int(np.argmin(now)), float(plain.totals.min() - now.min()))


def _whole(setting: Setting, pool: Candidates, ground: Ground) -> Functionals:
    """The costs of a pool's plans without a plate to read them at; made once for each pool and ground."""
    key = (id(pool), id(ground))
    if key not in setting.wholes:
        ratios = setting.ratios if ground is setting.ground else ratios_of(setting.catalogue, ground)
        setting.wholes[key] = functionals_of(setting.catalogue, pool, ground, None, ratios)
    return setting.wholes[key]


def _drawn(
    setting: Setting, question: Question, heard: Sequence[Heard], cells: Mapping[Hidden, Cells], alone: float
) -> Appraisal:
    """Worth by joint answers, likeliest first and some drawn: many where the check may be worth its cost, and more yet
    where that left it rough. Few at first, to see whether that is so, where what it tells of one thing `alone` is not
    worth the cost already."""
    hearings = [_hearing(setting, each, cells[each.hidden]) for each in heard]
    pool = pool_of(setting, {hearing.cells.plate for hearing in hearings if hearing.cells.plate is not None})
    saved = saved_by(setting, pool, question.opened)
    whole = _whole(setting, pool, setting.ground)
    before = whole.combine @ (whole.gradient @ setting.ground.weights)
    credit = float(before.min() - (before - saved).min())
    stay = int(np.argmin(before - saved))
    most, finer = (
        int(np.clip(work // len(setting.ground.weights), 2 * FIRST_ANSWERS, MOST_ANSWERS))
        for work in (WORK, FINER * WORK)
    )
    worth = error = 0.0
    counts = (most, finer) if alone >= question.cost - credit else (FIRST_ANSWERS, most, finer)
    for count in counts:
        taken = answers_of(hearings, count, seed=len(hearings))
        costs, chance = sampled_cost(setting.catalogue, pool, hearings, taken, setting.ratios)
        costs = costs - saved[:, None] * chance
        worth, error = taken.mean(np.maximum(costs[stay] - costs.min(axis=0), 0.0), chance)
        if not taken.draws or worth + DOUBT * error < question.cost - credit:
            break
        if count == most and (error < ROUGH * worth or finer == most):
            break
    return Appraisal(worth, credit, error)


def _hearing(setting: Setting, heard: Heard, cells: Cells) -> Hearing:
    """What is heard, with the chance of each cell now."""
    rest = setting.ground.weights if cells.plate is not None else np.ones(len(setting.ground.weights))
    for plate, values in enumerate(setting.ground.values):
        if plate != cells.plate:
            rest = rest * values[0]
    return Hearing(heard, cells, cells.values[0] @ rest)
