"""What to repair: the best of all plans, and the named options out of the same reckoning.

May import: casebook, knowledge_base, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from msgspec import Struct, structs

from diag.basics import Place
from diag.casebook import PRESENT, Case, dangers_told
from diag.decision.believing import belief_laid, belief_of
from diag.decision.binding import Bound, bind, plan_of
from diag.decision.carriers import danger_factor, with_carriers
from diag.decision.danger import Danger, allowed_treatments, dangers_of, is_carried, reason_against
from diag.decision.dominance import hopeful
from diag.decision.later import Events, LaterCosts, expectation, seal_table
from diag.decision.lighter import most_terms, terms_of
from diag.decision.money import Money
from diag.decision.needs import NetworkView
from diag.decision.objective import Breakdown, Fees
from diag.decision.options import NamedOption, named_options
from diag.decision.parts import Key, parts_of
from diag.decision.restriction import Laid
from diag.decision.search import Found, Problem, best_plan, chance_of_cure, cost_in_parts, pattern_of, policy_of
from diag.decision.sites import PLAIN, SOUND, AccessKey, Job, Plan, cure_factor
from diag.decision.tariff import SPECIALIST, WAITING, WEARING, Tariff, tariff_of
from diag.inference import Array, Posterior, infer
from diag.knowledge_base import Knowledge

__all__ = [
    "AGAIN_MONTHS",
    "AfterTest",
    "PlanOption",
    "Reckoning",
    "RepairDecision",
    "decide_repair",
    "fees_of",
    "reckon",
]

AGAIN_MONTHS = (12, 24, 36)
NO_START = "no_start"  # the level of a starting severity at which the vehicle has to be towed
MOST_WEIGHT = 1e6  # of what is behind a danger, in come-back fees, when looking for a plan that leaves little enough
FINER = 8  # halvings of that weight afterwards, for a cheaper one


class _Priced:
    """What has a breakdown of its money."""

    breakdown: Breakdown

    @property
    def total(self) -> Money:
        """Expected total, before tax; the sum of the breakdown."""
        return self.breakdown.total

    @property
    def invoice(self) -> Money:
        """Expected invoice of the visit, before tax."""
        return self.breakdown.invoice


@dataclass(frozen=True)
class AfterTest(_Priced):
    """What is done after one joint result of a test, and what all of it comes to then, the test included.

    `answers`: finding, place and answer, one for each thing that was tested; `chance` of all of them together; `cures`:
    chance that the visit then leaves no fault; `likelihoods[n]`: the component that answer n is about, and the chance
    of that answer in each of its states (empty where answers are about something else).
    """

    answers: tuple[tuple[str, Place, str], ...]
    chance: float
    jobs: tuple[Job, ...]
    breakdown: Breakdown
    cures: float
    later: tuple[str, ...]
    likelihoods: tuple[tuple[Key, Array], ...] = field(compare=False, repr=False)


@dataclass(frozen=True)
class PlanOption(_Priced):
    """One thing that could be done, with everything that it comes to.

    `cures`: chance that this visit leaves no fault; `again[months]`: chance that another seal visit follows within so
    many months; `later`: how the workshop would act then; `barred`: why it is not to be chosen, empty where it may;
    `after`: what follows each result, likeliest first, where it is a test by which the work is chosen.
    """

    name: str
    title: str
    jobs: tuple[Job, ...]
    opens: tuple[AccessKey, ...]
    breakdown: Breakdown
    tax: float
    cures: float
    again: dict[int, float]
    later: tuple[str, ...]
    barred: str = ""
    best: bool = False
    after: tuple[AfterTest, ...] = ()

    @property
    def invoice_tax(self) -> Money:
        """Tax on that invoice."""
        return self.breakdown.invoice * self.tax


class RepairDecision(Struct, frozen=True):
    """The best plan, all options (cheapest first, barred ones last), what is dangerous, and the size of the search."""

    best: PlanOption
    options: tuple[PlanOption, ...]
    danger: Danger
    plans: int
    looked_at: int


@dataclass(frozen=True)
class Reckoning:
    """A case made ready: sites, belief and costs, for the search and for the ranking of checks. `laid`: what the belief
    was read from, if checks may be ranked on all of this evidence."""

    knowledge: Knowledge
    case: Case
    network: NetworkView
    posterior: Posterior
    bound: Bound
    problem: Problem
    danger: Danger
    named: tuple[NamedOption, ...]
    laid: Laid | None = field(default=None, compare=False, repr=False)


def fees_of(tariff: Tariff, case: Case) -> Fees:
    """What does not depend on the truth. What is open already costs nothing."""
    prices, engine = tariff.knowledge.prices, tariff.engine
    customer = prices.customer
    opened = tariff.open_already(case.open_access)
    keys = [(kind, bank) for kind, banks in engine.access_minutes.items() for bank in banks]
    access = {key: tariff.opening([key]) for key in keys if key not in opened}
    tow = customer.tow.value if no_start(tariff.knowledge, case) else 0.0
    return Fees(
        currency=prices.currency,
        rate_per_minute=tariff.rate_per_minute,
        finish=tariff.labour(prices.finish_minutes.value),
        come_back=customer.return_visit.value
        + tow
        + tariff.labour(prices.diagnosis_minutes.value + prices.finish_minutes.value),
        damage=tariff.damage,
        access=access | tariff.waiting,
        tax=prices.tax.value,
    )


def injector_years(knowledge: Knowledge, network: NetworkView, case: Case) -> dict[Place, float]:
    """For each cylinder the years since its injector was last out: its seal was renewed then."""
    if WEARING not in knowledge.components:
        return {}
    return {cylinder: network.years_in_use(WEARING, cylinder) for cylinder in case.engine.cylinders}


def no_start(knowledge: Knowledge, case: Case) -> bool:
    """Whether it does not start: a finding is present that is likelier than not at 'no start' and nowhere below."""
    for answer in (answer for epoch in case.epochs[-1:] for answer in epoch.answers):
        finding = knowledge.findings.get(answer.item)
        if answer.answer != PRESENT or finding is None or NO_START not in finding.chance:
            continue
        below = [figure.value for level, figure in finding.chance.items() if level != NO_START]
        if finding.chance[NO_START].value >= 0.5 and max(below, default=0.0) < 0.5:
            return True
    return False


def reckon(
    knowledge: Knowledge,
    case: Case,
    network: NetworkView,
    posterior: Posterior | None = None,
    also: Sequence[Sequence[Job]] = (),
    foreseen: bool = True,
) -> Reckoning:
    """Make a case ready for decisions; `posterior` is that of the network's evidence, where it is known already, and
    `also` holds sets of jobs that are to stay among the treatments, so that they can be priced. Without `foreseen`
    only what may be best now is among them and the usual options are not: enough for prices and the best plan."""
    known = posterior if posterior is not None else infer(network.model, network.evidence)
    tariff = tariff_of(knowledge, case.engine, injector_years(knowledge, network, case))
    fees = fees_of(tariff, case)
    parts = parts_of(tariff, network)
    named = named_options(tariff, parts, known) if foreseen else ()
    wanted = [*(option.jobs for option in named), *also]
    bound = bind(tariff, network, fees, known, _by_place(wanted), foreseen, parts=parts)
    bound = with_carriers(bound, dangers_told(knowledge, case))
    told = (bound, network.model, network.evidence, known)
    ranked = foreseen and terms_of(network.evidence) <= most_terms(len(case.engine.cylinders))
    belief, laid = belief_laid(*told) if ranked else (belief_of(*told), None)
    wears = tuple(site.wear for site in bound.plain if site.wear is not None)
    table = seal_table(belief, bound.wearing(), len(network.model.configurations))
    later = LaterCosts(table, bound.wearing(), wears, fees.come_back, fees.damage, bound.steps)
    danger = dangers_of(knowledge, case, bound, known)
    problem = Problem(bound.plain, fees, belief, later)
    return Reckoning(knowledge, case, network, known, bound, problem, danger, named, laid)


def _by_place(wanted: Sequence[Sequence[Job]]) -> list[tuple[Job, ...]]:
    """Sets of jobs, place by place."""
    found = []
    for jobs in wanted:
        for place in dict.fromkeys(job.place for job in jobs):
            found.append(tuple(job for job in jobs if job.place == place))
    return found


def decide_repair(ready: Reckoning, briefly: bool = False) -> RepairDecision:
    """The best plan of all, with the usual options beside it; `briefly`: without the chances of further visits."""
    found, allowed = _best(ready)
    options = [_option(ready, "best", _title(ready, found.plan), found.plan, briefly)] if found is not None else []
    for named in ready.named:
        plan = plan_of(ready.bound, named.jobs)
        if plan is not None:
            options.append(_option(ready, named.name, named.title, plan, briefly))
    options += _ways_out(ready, briefly)
    chosen = min((each for each in options if not each.barred), key=lambda each: each.total.amount, default=options[-1])
    distinct = _distinct([replace(each, best=each is chosen) for each in options])
    ordered = sorted(distinct, key=lambda each: (bool(each.barred), each.total.amount))
    best = next(each for each in ordered if each.best)
    plans = int(np.prod([float(len(some)) for some in allowed]))
    return RepairDecision(best, tuple(ordered), ready.danger, plans, found.nodes if found is not None else 0)


def _best(ready: Reckoning) -> tuple[Found | None, tuple[tuple[int, ...], ...]]:
    """The best plan that is not barred; none where every mending plan is."""
    problem = ready.problem
    if not ready.danger.present:
        every, later = tuple(site.useful for site in ready.bound.sites), problem.later
        lasting = later.wears, later.steps
        return best_plan(problem, hopeful(problem.sites, every, problem.belief.features, problem.fees, lasting)), every
    allowed = allowed_treatments(ready.bound, problem.belief)
    weight, low, best = 0.0, 0.0, None
    while weight <= MOST_WEIGHT:
        # the more it costs to leave what is behind the danger, the less is left: the plan found is cheapest of those
        found = best_plan(_heeding(ready, weight) if weight else problem, allowed)
        if not reason_against(ready.knowledge, ready.danger, ready.bound, problem.belief, found.plan):
            best = found
            break
        if not ready.danger.told:
            break
        weight, low = max(2.0 * weight, 1.0), weight
    for _ in range(FINER if best is not None and weight else 0):
        middle = 0.5 * (low + weight)
        found = best_plan(_heeding(ready, middle), allowed)
        if reason_against(ready.knowledge, ready.danger, ready.bound, problem.belief, found.plan):
            low = middle
        else:
            weight, best = middle, found
    if best is None:
        return None, allowed
    return structs.replace(best, total=cost_in_parts(problem, best.plan).total.amount), allowed


def _heeding(ready: Reckoning, weight: float) -> Problem:
    """The problem where leaving what may be behind a danger costs `weight` times the come-back fee, for each danger
    that was told: terms that say 'nothing behind it is left' (or, where nothing behind it is probable, 'nothing at all
    is') stand beside those of the cure. The total is lower by the weight of all of them, for every plan alike."""
    belief, bound = ready.problem.belief, ready.bound
    carried = [is_carried(bound, belief, number) for number in range(len(ready.danger.told))]
    factors = []
    for site, known in zip(bound.sites, belief.factors, strict=True):
        many = len(site.site.treatments)
        cures = [known[cure_factor(choice)] for choice in range(many)]
        blocks = [known[: cure_factor(many)]]
        for number, each in enumerate(carried):
            gone = [known[danger_factor(many, number, choice)] for choice in range(many)] if each else cures
            blocks.append(np.stack([known[PLAIN], known[SOUND], *gone]))
        ideals = [known[-1:], *(known[PLAIN][None] for _ in carried)]
        factors.append(
            np.concatenate(
                [np.concatenate(pair, axis=0) for pair in zip(blocks, ideals, strict=True)],
                axis=2,
            )
        )
    weights = np.concatenate([belief.weights, *(weight * belief.weights for _ in carried)], axis=1)
    configuration = np.tile(belief.configuration, 1 + len(carried))
    heeding = structs.replace(belief, weights=weights, configuration=configuration, factors=tuple(factors))
    return structs.replace(ready.problem, belief=heeding)


def _option(ready: Reckoning, name: str, title: str, plan: Plan, briefly: bool) -> PlanOption:
    problem = ready.problem
    chosen = [site.treatments[choice] for site, choice in zip(problem.sites, plan, strict=True)]
    opens = frozenset().union(*(treatment.opens for treatment in chosen))
    return PlanOption(
        name=name,
        title=title,
        jobs=tuple(job for treatment in chosen for job in treatment.jobs),
        opens=tuple(sorted(key for key in opens if key in problem.fees.access and key[0] != WAITING)),
        breakdown=cost_in_parts(problem, plan),
        tax=problem.fees.tax,
        cures=chance_of_cure(problem, plan),
        again={} if briefly else _again(ready, plan),
        later=policy_of(problem, plan),
        barred=reason_against(ready.knowledge, ready.danger, ready.bound, problem.belief, plan),
    )


def _again(ready: Reckoning, plan: Plan) -> dict[int, float]:
    """Chance of another seal visit within so many months: 1 - E[product over cylinders of 'its seal is sound after
    this visit and lasts']."""
    months = np.array(AGAIN_MONTHS, dtype=np.float64)
    sites = ready.problem.later.sites
    if not sites:
        return dict.fromkeys(AGAIN_MONTHS, 0.0)
    shape = (len(months), len(sites), len(ready.network.model.configurations))
    plain, sound = np.zeros(shape), np.zeros(shape)
    for place, (index, renewed) in enumerate(zip(sites, pattern_of(ready.problem, plan), strict=True)):
        site = ready.bound.sites[index]
        assert site.lasting is not None
        if renewed:
            fresh = next(part.fresh for part in site.parts if part.key == _wearing_key(site.site.place))
            plain[:, place] = site.lasting.new(months).T * fresh[:, 0]
        else:
            sound[:, place] = site.lasting.left(months).T
    events = Events(np.ones((len(months), shape[2])), plain, sound)
    holds = expectation(events, ready.problem.later.table)[:, 0]
    return {month: float(np.clip(1.0 - chance, 0.0, 1.0)) for month, chance in zip(AGAIN_MONTHS, holds, strict=True)}


def _wearing_key(place: Place) -> tuple[str, Place]:
    return (WEARING, place)


def _ways_out(ready: Reckoning, briefly: bool = False, every: bool = False) -> list[PlanOption]:
    """Ways out: nothing is mended here, so all that is unsound is mended elsewhere; see the objective. `every`: to let
    it stand, too, where nothing is dangerous."""
    tariff, problem = ready.bound.tariff, ready.problem
    nothing = tuple(0 for _ in problem.sites)
    base = cost_in_parts(problem, nothing)
    cures = chance_of_cure(problem, nothing)
    again = {} if briefly else _again(ready, nothing)
    found = []
    for job in tariff.jobs("way out"):
        if job.place is not None:
            continue
        if not every and not ready.danger.present and tariff.alone(job) == 0.0:
            continue  # to let it stand is an answer to danger, not to a fault
        money = tariff.job_money(job)
        keys = tuple(sorted(key for key in tariff.job_opens(job) if key in problem.fees.access))
        spared = sum(
            part.mending * (1.0 - _sound_chance(ready, part.key))
            for site in ready.bound.sites
            for part in site.parts
            if part.fault and part.key in tariff.renewed(job)
        )
        breakdown = structs.replace(
            base,
            access=tariff.opening(keys),
            waiting=tariff.days_money([job]),
            labour=money.labour,
            parts=money.parts,
            charges=money.charges,
            come_back=0.0 if job.repair == SPECIALIST else base.come_back,
            mending=base.mending - spared,
            damage=0.0,
        )
        name = tariff.knowledge.repairs[job.repair].name
        found.append(
            PlanOption(
                job.repair, name, (job,), keys, breakdown, problem.fees.tax, cures, again, policy_of(problem, nothing)
            )
        )
    return found


def _sound_chance(ready: Reckoning, key: tuple[str, Place]) -> float:
    for site in ready.bound.sites:
        for part in site.parts:
            if part.key == key and part.spot is not None:
                return float(ready.posterior.components[part.spot[0]][part.spot[1]][0, 0])
    return 1.0


def _title(ready: Reckoning, plan: Plan) -> str:
    """The plan in words: each repair with its places."""
    places: dict[str, list[Place]] = {}
    only = len(ready.case.engine.banks) == 1
    followers = {
        follower
        for site, choice in zip(ready.problem.sites, plan, strict=True)
        for job in site.treatments[choice].jobs
        for follower in ready.bound.tariff.with_followers(job)[1:]
    }
    for site, choice in zip(ready.problem.sites, plan, strict=True):
        for job in site.treatments[choice].jobs:
            if job not in followers:
                places.setdefault(job.repair, []).append(job.place)
    if not places:
        return "nothing now, watch it"
    words = []
    for repair, where in places.items():
        numbers = [str(place) for place in sorted(place for place in where if isinstance(place, int))]
        letters = [] if only else sorted(place for place in where if isinstance(place, str))
        named = [*numbers, *letters]
        words.append(ready.knowledge.repairs[repair].name + (f" ({', '.join(named)})" if named else ""))
    return "; ".join(words)


def _distinct(options: Sequence[PlanOption]) -> list[PlanOption]:
    """Options of the same work once; the best keeps its place, and a named one its name."""
    found: dict[frozenset[Job], PlanOption] = {}
    for option in options:
        key = frozenset(option.jobs)
        known = found.get(key)
        if known is None:
            found[key] = option
        elif known.name == "best":
            found[key] = replace(option, best=known.best or option.best)
        else:
            found[key] = replace(known, best=known.best or option.best)
    return list(found.values())
