"""The same case reckoned many times: under other numbers of the knowledge, and with other money on the same belief.

May import: casebook, knowledge_base, inference, numpy, basics, and the modules of this room below `advice`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product
from math import prod

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from diag.casebook import Case
from diag.decision.believing import belief_from, choices_of
from diag.decision.binding import (
    Bound,
    BoundSite,
    _bound_site,
    bind,
    horizon,
    lasting_at,
    plan_of,
)
from diag.decision.carriers import with_carriers
from diag.decision.danger import Danger, dangers_of, nothing_safe
from diag.decision.later import LaterCosts, Policy, seal_table
from diag.decision.needs import NetworkView
from diag.decision.parts import parts_of
from diag.decision.plans import PlanOption, Reckoning, _by_place, _ways_out, fees_of, injector_years
from diag.decision.restriction import Options, fitting_options
from diag.decision.search import MOST_WEARING, Problem, cost_in_parts, pattern_of
from diag.decision.sites import PLAIN, Belief, Job, Plan
from diag.decision.small import MOST_PLANS
from diag.decision.treatments import Workplace
from diag.inference import Array, Posterior, infer, kept_configurations, lot_of, mixture, with_configurations
from diag.knowledge_base import Knowledge

__all__ = [
    "likely_configurations",
    "policies_of",
    "price_by_policy",
    "reckon_on",
    "reckon_on_each",
    "repriced",
    "treatments_wanted",
]

ENOUGH = 1e-7  # relative error of a probability that a lot may have: what its configurations leave out is far more

Used = Sequence[Sequence[Mapping[int, int]]]


def likely_configurations(posterior: Posterior, left_out: float) -> NDArray[np.intp]:
    """Indices of the likeliest configurations, which together have all chance but `left_out`."""
    return kept_configurations(posterior.configurations[0], 1.0 - left_out)


def reckon_on(
    ready: Reckoning,
    network: NetworkView,
    knowledge: Knowledge,
    configurations: NDArray[np.intp],
    also: Sequence[Sequence[Job]] = (),
    alone: bool = False,
) -> Reckoning:
    """The case of `ready` under other numbers or other evidence, on these configurations alone: exact for the model
    that has no others, and so a smooth function of every number. The usual options are not among the treatments but
    where `also` holds their jobs, and no treatments that would pay only after further answers, so checks cannot be
    ranked on it. `alone`: only `also` is to be priced, and no best plan is sought. Raises what inference raises."""
    small, heard = with_configurations(network.model, network.evidence, configurations)
    posterior = _on_all(infer(small, heard), network, configurations)
    known = _bound_on(ready, (network, knowledge), posterior, also, alone)
    options, used = choices_of(known.bound, len(network.model.plates))
    fitting = fitting_options(options, configurations, len(network.model.configurations))
    belief = belief_from(
        known.bound, used, mixture(small, heard, fitting, [configurations.astype(np.float64)]), posterior
    )
    return _reckoning(known, belief)


def reckon_on_each(
    ready: Reckoning,
    others: Sequence[tuple[NetworkView, Knowledge]],
    configurations: NDArray[np.intp],
    also: Sequence[Sequence[Job]] = (),
) -> Iterator[Reckoning | None]:
    """`reckon_on` for a lot of networks that differ in their numbers alone, each with its knowledge: the same to
    `ENOUGH`, and much quicker together; one after the other, since all would fill the memory. None where one is better
    reckoned by itself."""
    first = others[0][0]
    lot = lot_of(
        [network.model for network, _ in others],
        [network.evidence for network, _ in others],
        configurations,
        _axes_of_risks(ready),
        ENOUGH,
    )
    if lot is None:
        yield from (None for _ in others)
        return
    known: list[_Known | None] = []
    choices: list[Options] = []
    used: list[Used] = []
    for (network, knowledge), found in zip(others, lot.posteriors, strict=True):
        if found is None:
            known.append(None)
        else:
            posterior = _on_all(found, network, configurations)
            known.append(_with_loose_ideals(_bound_on(ready, (network, knowledge), posterior, also, alone=False)))
        bound = known[-1].bound if known[-1] is not None else ready.bound
        options, mine = choices_of(bound, len(first.model.plates))
        choices.append(fitting_options(options, configurations, len(first.model.configurations)))
        used.append(mine)
    mixed = lot.mixtures(choices, configurations.astype(np.float64))
    for one, its, each in zip(known, used, mixed, strict=True):
        yield None if one is None else _reckoning(one, belief_from(one.bound, its, each, one.posterior))


class _Known(Struct, frozen=True):
    """A case under other numbers, before its belief is laid out."""

    knowledge: Knowledge
    case: Case
    network: NetworkView
    posterior: Posterior
    bound: Bound
    danger: Danger


def _on_all(found: Posterior, network: NetworkView, configurations: NDArray[np.intp]) -> Posterior:
    """A posterior of some configurations as one of all."""
    share = float(network.model.configurations[configurations].sum())
    chances = np.zeros((1, len(network.model.configurations)))
    chances[:, configurations] = found.configurations
    return replace(found, configurations=chances, log_evidence=found.log_evidence + np.log(share))


def _bound_on(
    ready: Reckoning,
    other: tuple[NetworkView, Knowledge],
    posterior: Posterior,
    also: Sequence[Sequence[Job]],
    alone: bool,
) -> _Known:
    network, knowledge = other
    tariff = ready.bound.tariff.under(knowledge, injector_years(knowledge, network, ready.case))
    fees = fees_of(tariff, ready.case)
    bound = bind(tariff, network, fees, posterior, _by_place(also), foreseen=False, alone=alone)
    danger = dangers_of(ready.knowledge, ready.case, bound, posterior)
    if not alone and danger.present and nothing_safe(bound, posterior):
        bound = bind(tariff, network, fees, posterior, _by_place(also))
    bound = with_carriers(bound, danger.told)
    return _Known(knowledge, ready.case, network, posterior, bound, danger)


def _with_loose_ideals(known: _Known) -> _Known:
    """Where a table of all plans will decide, the ideal of a site need not be close: being cured for certain is as
    curing as any treatment, and is at hand."""
    bound = known.bound
    plans = prod(len(site.useful) for site in bound.sites)
    if known.danger.present or plans > MOST_PLANS or len(bound.wearing()) > MOST_WEARING:
        return known
    sites = tuple(structs.replace(site, factors=(*site.factors[:-1], site.factors[PLAIN])) for site in bound.sites)
    return structs.replace(known, bound=structs.replace(bound, sites=sites))


def _reckoning(known: _Known, belief: Belief) -> Reckoning:
    bound = known.bound
    wears = tuple(site.wear for site in bound.plain if site.wear is not None)
    table = seal_table(belief, bound.wearing(), len(known.network.model.configurations))
    later = LaterCosts(table, bound.wearing(), wears, bound.fees.come_back, bound.fees.damage, bound.steps)
    problem = Problem(bound.plain, bound.fees, belief, later)
    return Reckoning(known.knowledge, known.case, known.network, known.posterior, bound, problem, known.danger, ())


def _axes_of_risks(ready: Reckoning) -> dict[int, set[int]]:
    """The severities of cylinders on which the risks of work hang, by plate."""
    knowledge, found = ready.knowledge, dict[int, set[int]]()
    named = {risk.by for repair in knowledge.repairs.values() for risk in repair.risks if risk.by is not None}
    for name in sorted(named & set(knowledge.severities)):
        if knowledge.severities[name].per == "cylinder":
            for cylinder in ready.case.engine.cylinders:
                plate, axis = ready.network.severity_at(name, cylinder)
                found.setdefault(plate, set()).add(axis)
    return found


def treatments_wanted(ready: Reckoning, knowledge: Knowledge) -> tuple[tuple[Job, ...], ...]:
    """The sets of jobs that may be in a best plan under other prices, times and needs of the customer."""
    tariff = ready.bound.tariff.under(knowledge, injector_years(knowledge, ready.network, ready.case))
    bound = bind(tariff, ready.network, fees_of(tariff, ready.case), ready.posterior, foreseen=False)
    return tuple(site.site.treatments[index].jobs for site in bound.sites for index in site.useful if index)


def repriced(ready: Reckoning, knowledge: Knowledge, useful: Sequence[Sequence[Job]]) -> Reckoning:
    """The same case, belief and treatments with other prices, times and needs of the customer; nothing that the
    posterior or a renewed component depends on may differ. `useful`: sets of jobs that may be in a best plan, of those
    that `ready` holds (see `treatments_wanted`)."""
    tariff = ready.bound.tariff.under(knowledge, injector_years(knowledge, ready.network, ready.case))
    fees, steps = fees_of(tariff, ready.case), horizon(tariff)
    parts = parts_of(tariff, ready.network)
    sites = []
    wanted = {frozenset(jobs) for jobs in useful} | {frozenset[Job]()}
    for known in ready.bound.sites:
        group = tuple(parts[part.key] for part in known.parts)
        place = Workplace(tariff, group, known.features, parts, ready.network.model.configurations)
        made = _bound_site(
            place, lasting_at(place, ready.network), [each.jobs for each in known.site.treatments], steps
        )
        sites.append(
            structs.replace(made, useful=_among(made, wanted), site=structs.replace(made.site, place=known.site.place))
        )
    bound = with_carriers(Bound(tariff, tuple(sites), fees, steps), ready.danger.told)
    wears = tuple(site.wear for site in bound.plain if site.wear is not None)
    later = LaterCosts(ready.problem.later.table, bound.wearing(), wears, fees.come_back, fees.damage, steps)
    problem = Problem(bound.plain, fees, ready.problem.belief, later)
    danger = dangers_of(knowledge, ready.case, bound, ready.posterior)
    return Reckoning(knowledge, ready.case, ready.network, ready.posterior, bound, problem, danger, ready.named)


def _among(site: BoundSite, wanted: set[frozenset[Job]]) -> tuple[int, ...]:
    return tuple(index for index, each in enumerate(site.site.treatments) if frozenset(each.jobs) in wanted)


def policies_of(ready: Reckoning) -> tuple[Policy, ...]:
    """Every way of acting at later failures among which the objective takes the cheapest."""
    banks = ready.problem.later.banks
    each = tuple(product(("alone", "together"), repeat=len(banks)))
    return each if len(banks) < 2 else (*each, ("all",))


def price_by_policy(ready: Reckoning, jobs: Sequence[Job]) -> Array | None:
    """`[policy]`: the expected total of these jobs under each fixed way of acting later, in the order of `policies_of`;
    the least of them is the objective. A way out counts, too, also where no decision would hold it. None where these
    jobs are no plan of `ready`.

    Under a fixed way the total is linear in every price, and a ratio of polynomials in every number of the knowledge.
    """
    way = _way_out(ready, jobs)
    plan = tuple(0 for _ in ready.problem.sites) if way is not None else plan_of(ready.bound, tuple(jobs))
    if plan is None:
        return None
    known = cost_in_parts(ready.problem, plan)
    total = known.total.amount - known.later if way is None else way.total.amount - way.breakdown.later
    return total + _later_by_policy(ready, plan)


def _way_out(ready: Reckoning, jobs: Sequence[Job]) -> PlanOption | None:
    if not any(ready.knowledge.repairs[job.repair].kind == "way out" for job in jobs):
        return None
    ways = _ways_out(ready, briefly=True, every=True)  # what was best may stand beside no danger where a number moved
    return next((each for each in ways if frozenset(each.jobs) == frozenset(jobs)), None)


def _later_by_policy(ready: Reckoning, plan: Plan) -> Array:
    later = ready.problem.later
    if not later.wears:
        return np.zeros(len(policies_of(ready)))
    pattern = pattern_of(ready.problem, plan)
    return np.array([later.under(pattern, way) for way in policies_of(ready)])
