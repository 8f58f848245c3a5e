"""How the money of each option spreads: what it costs in worlds drawn from the exact posterior, with all that can
happen on the way and later drawn as the objective has it.

The objective stays the expectation (`objective`): nothing is decided here, and the mean of the draws stands beside the
exact total to check them. In each world: what goes wrong on the way, whether what was renewed or disturbed is sound,
one return visit if anything is left, the damage, and the later failures of seals step by step, under the way of acting
later that the option's expected total has. All options meet the same worlds and the same luck. A later visit costs its
expected money. May import: casebook, knowledge_base, basics, inference, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from msgspec import Struct, structs

from diag.basics import Place
from diag.decision.binding import plan_of
from diag.decision.luck import Bools, Luck
from diag.decision.parts import Key, Part
from diag.decision.plans import AfterTest, PlanOption, Reckoning, RepairDecision
from diag.decision.sites import Job
from diag.decision.tariff import SPECIALIST, WEARING, Tariff
from diag.decision.worlds import draw_worlds, world_table
from diag.inference import Array
from diag.knowledge_base import Knowledge

__all__ = ["OptionSpread", "Percentiles", "Side", "for_the_workshop", "spreads_of"]

DRAWS, SEED = 4000, 20_260_711
LOW, HIGH = 0.1, 0.9
MOST_TERMS = 400  # a configuration, beyond which findings of the vehicle are made fewer
FEWER_TERMS = 32  # and then as few as this
SURE = 1.0  # standard errors of a rank, for the error of a percentile


class Percentiles(Struct, frozen=True):
    """The 10th, 50th and 90th percentile of drawn money, the standard error of the 90th, and the mean of the draws with
    its standard error."""

    low: float
    middle: float
    high: float
    high_error: float
    mean: float
    mean_error: float


class Side(Struct, frozen=True):
    """The workshop's own side of an option, on average: what it bears of what comes back; and what it earns, beside.

    `guarantee`: work and parts for what this visit's work itself left unsound, and for seals renewed now that fail
    within the guarantee. `goodwill`: where the complaint was not cured. `margin`: what the invoice leaves to it.
    """

    guarantee: float
    goodwill: float
    margin: float

    @property
    def cost(self) -> float:
        """What the workshop bears. What it earns is no part of it: nothing is advised because it earns more."""
        return self.guarantee + self.goodwill


class OptionSpread(Struct, frozen=True):
    """What one option may come to, in the currency of the decision, before tax.

    `cures_complaint`: chance that nothing that could be behind the complaint is left after this visit. `left_out`:
    chance of the worlds that are hardly possible and were not drawn; `approximate`: see `WorldTable`.
    """

    name: str
    invoice: Percentiles
    total: Percentiles
    cures_complaint: float
    side: Side
    draws: int
    left_out: float
    approximate: bool


def spreads_of(
    ready: Reckoning, decision: RepairDecision, draws: int = DRAWS, seed: int = SEED
) -> dict[str, OptionSpread]:
    """The spread of every option of a decision, by its name. The seed is fixed: the same case gives the same numbers.

    Raises TooLarge as `world_table` does.
    """
    terms = len(ready.problem.belief.configuration) / len(np.unique(ready.problem.belief.configuration))
    most_terms = FEWER_TERMS if terms > MOST_TERMS else np.inf
    table = world_table(ready.bound, ready.network, ready.posterior, most_terms)
    luck = Luck(ready, table, draw_worlds(table, draws, seed), seed)
    known: Known = {}
    found = (_spread(luck, option, known) for option in decision.options)
    return {each.name: each for each in found if each is not None}


def for_the_workshop(
    knowledge: Knowledge, decision: RepairDecision, spreads: Mapping[str, OptionSpread]
) -> RepairDecision:
    """The same options with the one as best that leaves the workshop least guarantee work and goodwill, of those that
    mend something here and are not barred: chosen among the options, not among all plans, and not for the customer's
    total. Where nothing that mends may be done, the others follow in the same order."""

    def own(option: PlanOption) -> tuple[bool, bool, float]:
        mends = any(knowledge.repairs[job.repair].kind == "mend" for job in option.jobs)
        return bool(option.barred), not mends, spreads[option.name].side.cost

    ordered = sorted(decision.options, key=own)
    options = tuple(replace(option, best=option is ordered[0]) for option in ordered)
    return structs.replace(decision, best=options[0], options=options)


class _After(Struct):
    """What a visit leaves: money by draw, and what is not sound afterwards."""

    mending: Array
    left: Bools  # anything at all
    complaint: Bools  # anything that could be behind the complaint
    own_doing: Array  # money for mending what this visit's work itself brought about


class _Left(Struct, frozen=True):
    """What becomes of one component under one effect, by draw: whether it is unsound then, money for mending it, and
    of that for what the work itself brought about; none where that is nothing in every draw."""

    unsound: Bools | None
    mending: Array | None
    own_doing: Array | None


Known = dict[tuple[Key, str], _Left]  # options that do the same to a component share what becomes of it


def _spread(luck: Luck, option: PlanOption, known: Known) -> OptionSpread | None:
    """How one option spreads; none where what its test answers is about is not drawn."""
    if not option.after:
        drawn = _drawn(luck, option, option, known)
    elif all(each.likelihoods for each in option.after):
        drawn = _by_result(luck, option, known)
    else:
        return None
    return OptionSpread(
        name=option.name,
        invoice=_percentiles(drawn.invoice),
        total=_percentiles(drawn.total),
        cures_complaint=drawn.cured,
        side=_side(luck.ready.bound.tariff, option, float(drawn.borne.mean()), (drawn.way_out, drawn.cured)),
        draws=luck.worlds.count,
        left_out=luck.table.left_out,
        approximate=luck.table.approximate,
    )


class _Drawn(Struct, frozen=True):
    """Of one option, by draw: the invoice, the total, and money for what the workshop has to stand for; the chance that
    the complaint is cured, and whether nothing is mended here."""

    invoice: Array
    total: Array
    borne: Array
    cured: float
    way_out: bool


def _drawn(luck: Luck, option: PlanOption, done: PlanOption | AfterTest, known: Known) -> _Drawn:
    """What the jobs of an option, or those after a result of its test, come to; `cured` then as chance together with
    that result."""
    ready = luck.ready
    tariff, problem = ready.bound.tariff, ready.problem
    plan = plan_of(ready.bound, done.jobs)
    way_out = plan is None
    chosen = plan if plan is not None else tuple(0 for _ in problem.sites)
    jobs = [site.site.treatments[choice].jobs for site, choice in zip(ready.bound.sites, chosen, strict=True)]
    parts = done.breakdown
    sure = parts.access + parts.labour + parts.parts + parts.charges + parts.finish
    invoice = sure + _complications(luck, [job for some in jobs for job in some])
    spared = frozenset[Key]().union(*(tariff.renewed(job) for job in done.jobs)) if way_out else frozenset[Key]()
    after = _after(luck, jobs, spared, known)
    returns = after.left & (not (way_out and option.jobs[0].repair == SPECIALIST))
    renewed = {ready.bound.sites[i].site.place for i, some in enumerate(jobs) if _renews(tariff, i, some, ready)}
    damage = 0.0 if way_out else problem.fees.damage * _blows_on(luck, renewed)
    later, under_guarantee = luck.later(renewed, done.later)
    total = invoice + parts.waiting + problem.fees.come_back * returns + after.mending + damage + later
    given = done.likelihoods if isinstance(done, AfterTest) else ()
    return _Drawn(invoice, total, after.own_doing + under_guarantee, _cures_complaint(luck, jobs, given), way_out)


def _by_result(luck: Luck, option: PlanOption, known: Known) -> _Drawn:
    """A test by whose result the work is chosen: in each draw one result, by its chance in what is wrong there, and
    what is then done."""
    count = luck.worlds.count
    chances = np.ones((len(option.after), count))
    for row, each in zip(chances, option.after, strict=True):
        for key, chance in each.likelihoods:
            row *= chance[luck.worlds.states[key]]
    edges = np.cumsum(chances, axis=0)
    said = (edges < luck.uniform("result", *option.jobs) * edges[-1]).sum(axis=0)
    each_way = [_drawn(luck, option, each, known) for each in option.after]
    here = said, np.arange(count)
    invoice, total, borne = (
        np.stack([np.broadcast_to(each, (count,)) for each in arrays])[here]
        for arrays in zip(*((way.invoice, way.total, way.borne) for way in each_way), strict=True)
    )
    return _Drawn(invoice, total, borne, sum(way.cured for way in each_way), way_out=False)


def _renews(tariff: Tariff, index: int, jobs: Sequence[Job], ready: Reckoning) -> bool:
    place = ready.bound.sites[index].site.place
    return any((WEARING, place) in tariff.renewed(job) for job in jobs)


def _complications(luck: Luck, jobs: Sequence[Job]) -> Array:
    """`[draw]`: money for what goes wrong on the way."""
    tariff = luck.ready.bound.tariff
    money = np.zeros(luck.worlds.count)
    for job in jobs:
        for risk in tariff.knowledge.repairs[job.repair].risks:
            chances = tariff.risk_chances(risk, job.place)
            known = luck.worlds.levels.get((risk.by, job.place)) if risk.by is not None else None
            severity = tariff.knowledge.severities.get(risk.by) if risk.by is not None else None
            if known is None or severity is None:
                chance = np.array(max(chances.values()))
            else:
                chance = np.array([chances.get(level, 0.0) for level in severity.levels])[known]
            money += tariff.risk_money(risk) * (luck.uniform("risk", risk.name, job.place) < chance)
    return money


def _after(luck: Luck, jobs: Sequence[Sequence[Job]], spared: frozenset[Key], known: Known) -> _After:
    ready, count = luck.ready, luck.worlds.count
    found = _After(np.zeros(count), np.zeros(count, bool), np.zeros(count, bool), np.zeros(count))
    for number, (site, some) in enumerate(zip(ready.bound.sites, jobs, strict=True)):
        for part in site.parts:
            if part.fault:
                effect = _effect(ready.bound.tariff, part.key, some)
                if (part.key, effect) not in known:
                    known[part.key, effect] = _left_by(luck, part, effect)
                _add(found, known[part.key, effect], part.key in luck.behind)
        for job in some:
            for part in _elsewhere(luck, number, job):
                upset = luck.uniform("elsewhere", job, part.key) < 1.0 - float(part.disturbed[:, 0].min())
                money = luck.mending(part) * upset
                _add(found, _Left(upset, money, money), part.key in luck.behind)
    for part in (part for site in ready.bound.sites for part in site.parts if part.key in spared and part.fault):
        found.mending -= part.mending * luck.unsound(part)
    return found


def _add(found: _After, left: _Left, complaint: bool) -> None:
    if left.mending is not None:
        found.mending += left.mending
    if left.own_doing is not None:
        found.own_doing += left.own_doing
    if left.unsound is not None:
        found.left |= left.unsound
        if complaint:
            found.complaint |= left.unsound


def _effect(tariff: Tariff, key: Key, jobs: Sequence[Job]) -> str:
    if any(key in tariff.renewed(job) for job in jobs):
        return "renewed"
    return "disturbed" if any(key in tariff.disturbed(job) for job in jobs) else "left"


def _elsewhere(luck: Luck, site: int, job: Job) -> list[Part]:
    """What a job may upset at another site than its own, in the order of the sites."""
    reached = (luck.places[key] for key in luck.ready.bound.tariff.disturbed(job) if key in luck.places)
    others = {part.key: part for number, part in reached if number != site and part.fault}
    return [others[key] for key in luck.places if key in others] if others else []


def _left_by(luck: Luck, part: Part, effect: str) -> _Left:
    now = luck.unsound(part)
    unsound, to_mend = now, now
    own_doing: Array | None = None
    if effect != "left":
        rows = part.fresh if effect == "renewed" else part.disturbed
        chances, prior = 1.0 - rows[:, 0], luck.ready.network.model.configurations
        mean = float(prior @ chances) if len(chances) == len(prior) else float(chances[0])
        draw = luck.uniform(effect, part.key)
        upset, upset_to_mend = draw < luck.by_configuration(chances), draw < mean  # as the objective has them
        unsound = upset if effect == "renewed" else now | upset
        to_mend = upset_to_mend if effect == "renewed" else now | upset_to_mend
        own_doing = luck.mending(part) * (upset if effect == "renewed" else upset & ~now)
    mending = luck.mending(part) * to_mend if to_mend.any() else None
    return _Left(unsound if unsound.any() else None, mending, own_doing)


def _blows_on(luck: Luck, renewed: set[Place]) -> Bools:
    """`[draw]`: whether a seal is left that blows."""
    found = np.zeros(luck.worlds.count, bool)
    for index in luck.ready.problem.later.sites:
        site = luck.ready.bound.sites[index]
        if site.site.place not in renewed:
            found |= luck.worlds.states[WEARING, site.site.place] > 0
    return found


def _cures_complaint(luck: Luck, jobs: Sequence[Sequence[Job]], given: Sequence[tuple[Key, Array]] = ()) -> float:
    """Expected product over the components behind the complaint of the chance that each is sound after the visit,
    together with what is `given`, the chance of an answer in each state of a component: exact over the worlds kept."""
    ready, behind = luck.ready, luck.behind
    factors = [np.ones(len(plate.values)) for plate in luck.table.plates]
    of_plate = {key: number for number, plate in enumerate(luck.table.plates) for key in plate.states}
    for key, chance in given:
        plate = of_plate[key]
        factors[plate] = factors[plate] * chance[luck.table.plates[plate].states[key]]
    configured = np.ones(len(ready.network.model.configurations))
    for number, (site, some) in enumerate(zip(ready.bound.sites, jobs, strict=True)):
        for part in site.parts:
            if part.fault and (part.key in behind or not behind):
                _sound_after(luck, part, _effect(ready.bound.tariff, part.key, some), (factors, of_plate, configured))
        for job in some:
            for part in _elsewhere(luck, number, job):
                if part.key in behind or not behind:
                    configured *= float(part.disturbed[:, 0].min())
    return luck.table.expectation(factors, configured)


def _sound_after(luck: Luck, part: Part, effect: str, where: tuple[list[Array], dict[Key, int], Array]) -> None:
    """Multiply in the chance that a component is sound afterwards, by its state now. A chance that depends on the
    configuration is taken at the configuration where the component is renewed."""
    factors, of_plate, configured = where
    rows = part.disturbed if effect == "disturbed" else part.fresh
    if effect == "renewed":
        configured *= rows[:, 0]
    elif part.spot is None:
        configured *= (np.asarray(part.columns) == 0) * (rows[0, 0] if effect == "disturbed" else 1.0)
    else:
        plate = of_plate[part.key]
        sound = luck.table.plates[plate].states[part.key] == 0
        factors[plate] = factors[plate] * sound * (rows[0, 0] if effect == "disturbed" else 1.0)


def _side(tariff: Tariff, option: PlanOption, own_doing: float, known: tuple[bool, float]) -> Side:
    """The workshop's own side. A vehicle that is handed on does not come back to it."""
    own, prices = tariff.knowledge.prices.own_side, tariff.knowledge.prices
    way_out, cured = known
    invoice = option.invoice.amount - (option.breakdown.charges if way_out else 0.0)
    not_cured = 0.0 if way_out else 1.0 - cured
    diagnosis = tariff.labour(prices.diagnosis_minutes.value)
    return Side(
        guarantee=own.guarantee_share.value * own_doing,
        goodwill=not_cured * (own.goodwill_share.value * diagnosis + own.lost_trust.value) if option.jobs else 0.0,
        margin=own.margin.value * invoice,
    )


def _percentiles(money: Array) -> Percentiles:
    """Percentiles of drawn money; the error of the 90th from the money at the ranks one standard error of its rank
    below and above (order statistics, David & Nagaraja 2003, from memory)."""
    ordered, count = np.sort(money), len(money)
    spread = SURE * np.sqrt(HIGH * (1.0 - HIGH) * count)
    below, above = (int(np.clip(HIGH * count + sign * spread, 0, count - 1)) for sign in (-1, 1))
    low, middle, high = (float(ordered[int(share * (count - 1))]) for share in (LOW, 0.5, HIGH))
    return Percentiles(
        low,
        middle,
        high,
        float(ordered[above] - ordered[below]) / 2.0,
        float(money.mean()),
        float(money.std(ddof=1) / np.sqrt(count)),
    )
