"""The worth of what a check may answer: exact for one plate or one thing of the vehicle, drawn for several plates.

May import: inference, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.decision.answers import Heard, Hidden, Prospect
from diag.decision.candidates import base_plans, with_ways_out
from diag.decision.ground import Cells, Ground, cells_of, ground_of
from diag.decision.influence import answer_worth
from diag.decision.lighter import Light, lighter
from diag.decision.plans import Reckoning, RepairDecision
from diag.decision.pool import Candidates, Catalogue, access_saved, candidates, catalogue_of, neighbours
from diag.decision.restriction import kept_configurations
from diag.decision.sampled import Hearing, draw, sampled_cost
from diag.decision.sites import AccessKey, Plan
from diag.decision.worth import Functionals, functionals_of, ratios_of
from diag.inference import Array

__all__ = ["Appraisal", "Setting", "Told", "appraise", "setting_of", "told_of"]

MOST_TERMS = 800  # a configuration, over the number of cylinders, before findings of the vehicle are laid aside
LEAST_DRAWS, MOST_DRAWS, WORK = 48, 512, 20_000  # draws are as many as keep draws x terms below WORK


@dataclass(frozen=True)
class Setting:
    """What all checks of one ranking share."""

    ready: Reckoning
    catalogue: Catalogue
    ground: Ground
    ratios: Array
    bases: tuple[Plan, ...]
    allowed: tuple[tuple[int, ...], ...]
    pools: dict[tuple[int, ...], Candidates]
    light: Light


@dataclass(frozen=True)
class Appraisal:
    """`worth` of the answers; `credit`: what the access that the check opens saves the best plan now; `error`: standard
    error of the worth, 0 where exact; `at_least`: part of what it could tell was left out. In the currency."""

    worth: float
    credit: float
    error: float = 0.0
    at_least: bool = False


def setting_of(ready: Reckoning, decision: RepairDecision, share: float) -> Setting:
    """Lay out the posterior, with the likeliest configurations that hold `share` of it; only with less than all are
    findings laid aside where too many meet."""
    bases, allowed = base_plans(ready, decision)
    catalogue = catalogue_of(ready.bound, ready.problem, ready.network.model, bases)
    kept = kept_configurations(ready.posterior.configurations[0], share)
    most_terms = MOST_TERMS // len(ready.case.engine.cylinders) if share < 1.0 else np.inf
    light = lighter(ready.network.model, ready.network.evidence, ready.posterior, most_terms)
    ground = ground_of(ready.network.model, light.evidence, catalogue.options, kept)
    return Setting(ready, catalogue, ground, ratios_of(catalogue, ground), bases, allowed, {}, light)


@dataclass(frozen=True)
class Told:
    """The posterior jointly with each thing that some check speaks of (`cells`), and for each plate the candidate plans
    with their costs as functionals there."""

    cells: dict[Hidden, Cells]
    pools: dict[int, Candidates]
    functionals: dict[int, Functionals]


def told_of(setting: Setting, prospects: Sequence[Prospect]) -> Told:
    """Lay out everything that some check speaks of, once."""
    every = tuple(dict.fromkeys(heard.hidden for prospect in prospects for heard in prospect.heard))
    plates = dict.fromkeys(hidden.plate for hidden in every if hidden.plate is not None)
    pools = {plate: _pool(setting, {plate}) for plate in plates}
    functionals = {
        plate: functionals_of(setting.catalogue, pools[plate], setting.ground, plate, setting.ratios)
        for plate in plates
    }
    whole = _pool(setting, set())
    of_vehicle = {plate: _options_at(setting, whole, plate) for plate in range(len(setting.ground.options))}
    of_plates = {plate: _options_at(setting, pools[plate], plate) for plate in plates}
    return Told(
        cells_of(setting.ground, tuple(each for each in every if each.plate is None), of_vehicle)
        | cells_of(setting.ground, tuple(each for each in every if each.plate is not None), of_plates),
        pools,
        functionals,
    )


def appraise(setting: Setting, prospect: Prospect, told: Told, opened: frozenset[AccessKey]) -> Appraisal:
    """Worth of what a check may answer: exactly of the one thing it tells most of; where it speaks of several plates,
    of the most telling thing of each jointly, if that is more."""
    single = [(heard, _exact(setting, heard, told, opened)) for heard in prospect.heard]
    best: dict[int | None, tuple[Heard, Appraisal]] = {}
    for heard, worth in single:
        plate = heard.hidden.plate
        if heard.hidden.kind != "shared" and (plate not in best or worth.worth > best[plate][1].worth):
            best[plate] = (heard, worth)
    found = [worth for _, worth in single]
    whole = len(single) == 1
    if len(best) > 1:
        found.append(_drawn(setting, [heard for heard, _ in best.values()], told, opened))
        whole = len(best) == len(single)
    chosen = max(found, key=lambda each: each.worth)
    return Appraisal(chosen.worth, chosen.credit, chosen.error, not whole)


def _options_at(setting: Setting, pool: Candidates, plate: int) -> list[int]:
    """Options of a plate that the costs of a pool need."""
    differing = np.ptp(pool.sound, axis=0) > 0
    singles = zip(setting.catalogue.singles, differing, strict=True)
    wanted = {0, *(int(option) for option in np.unique(pool.option[:, plate]))}
    wanted |= {option for (where, option), used in singles if used and where == plate}
    return sorted(wanted | {option for where, option in setting.catalogue.seal if where == plate})


def _pool(setting: Setting, plates: set[int]) -> Candidates:
    """The base plans, and the first two with one site treated otherwise: a site that the answer is about; where it is
    about the vehicle any site, but a cylinder only as might be best now."""
    bound = setting.ready.bound
    sites = tuple(index for index, site in enumerate(bound.sites) if not plates or plates & set(site.plates))
    if sites not in setting.pools:
        fine = dict.fromkeys(setting.bases)
        may = [
            some if plates or site.site.wear is None else tuple(set(some) & set(site.useful))
            for site, some in zip(bound.sites, setting.allowed, strict=True)
        ]
        for plan in neighbours(setting.catalogue, setting.bases[:2], sites):
            if all(choice in some for choice, some in zip(plan, may, strict=True)):
                fine[plan] = None
        plain = candidates(setting.catalogue, tuple(fine))
        setting.pools[sites] = with_ways_out(setting.ready, setting.catalogue, plain)
    return setting.pools[sites]


def _saved(setting: Setting, pool: Candidates, opened: frozenset[AccessKey]) -> Array:
    """`[plan]`: what access that a check opens saves each plan."""
    if not opened:
        return np.zeros(len(pool.plans))
    return np.array([0.0 if plan is None else access_saved(setting.catalogue, plan, opened) for plan in pool.plans])


def _exact(setting: Setting, heard: Heard, told: Told, opened: frozenset[AccessKey]) -> Appraisal:
    cells = told.cells[heard.hidden]
    if cells.plate is not None:
        pool, split = told.pools[cells.plate], told.functionals[cells.plate]
        chosen = cells.values[split.option]
    else:
        pool = _pool(setting, set())
        ratios = setting.ratios if cells.ground is setting.ground else ratios_of(setting.catalogue, cells.ground)
        split = functionals_of(setting.catalogue, pool, cells.ground, None, ratios)
        chosen = np.broadcast_to(cells.values, (len(split.option), *cells.values.shape[1:]))
    values = np.einsum("fct,ft->fc", chosen, split.gradient)
    saved = _saved(setting, pool, opened)
    costs, chance = split.combine @ values, values[0]
    before = costs.sum(axis=1)
    costs = costs - saved[:, None] * chance
    now = costs.sum(axis=1)
    worth = answer_worth(costs, chance, heard.table, int(np.argmin(now))).worth
    return Appraisal(worth, float(before.min() - now.min()))


def _drawn(setting: Setting, heard: Sequence[Heard], told: Told, opened: frozenset[AccessKey]) -> Appraisal:
    """Worth by drawn answers: mean of the gain after each, by importance, with its standard error."""
    hearings = [_hearing(setting, each, told.cells[each.hidden]) for each in heard]
    pool = _pool(setting, {hearing.cells.plate for hearing in hearings if hearing.cells.plate is not None})
    saved = _saved(setting, pool, opened)
    whole = functionals_of(setting.catalogue, pool, setting.ground, None, setting.ratios)
    before = whole.combine @ (whole.gradient @ setting.ground.weights)
    now = before - saved
    stay = int(np.argmin(now))
    count = int(np.clip(WORK // len(setting.ground.weights), LEAST_DRAWS, MOST_DRAWS))
    drawn = draw(hearings, count, seed=len(hearings))
    costs, chance = sampled_cost(setting.catalogue, pool, hearings, drawn, setting.ratios)
    costs = costs - saved[:, None] * chance
    gain = np.maximum(costs[stay] - costs.min(axis=0), 0.0) / drawn.q
    weight = chance / drawn.q
    worth = float(gain.sum() / weight.sum())
    error = float(np.std(gain - worth * weight, ddof=1) / np.sqrt(len(weight)) / weight.mean())
    return Appraisal(worth, float(before.min() - now.min()), 0.0 if drawn.every else error)


def _hearing(setting: Setting, heard: Heard, cells: Cells) -> Hearing:
    """What is heard, with the chance of each cell now."""
    rest = setting.ground.weights if cells.plate is not None else np.ones(len(setting.ground.weights))
    for plate, values in enumerate(setting.ground.values):
        if plate != cells.plate:
            rest = rest * values[0]
    return Hearing(heard, cells, cells.values[0] @ rest)
