"""The least expected total over all plans: branch and bound, exact for the objective as written.

Sites are decided one after another. What a partly decided plan costs at least: what is decided; for each site still
open its cheapest treatment without access; V x (1 - chance of cure, every open site cured by the ideal, which is at
least as curing as any treatment whatever the truth); and later visits with every open seal renewed or left, whichever
lasts longer. All of these are monotone, so nothing that is cut off can be better. A small problem has a table of what
all plans cost; only between equals the search decides. May import: numpy, and `later`, `objective`,
`sites`, `small`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property, reduce
from itertools import product
from math import prod

import numpy as np
from msgspec import Struct

from diag.decision.later import LaterCosts, Pattern, Policy, best_renewal
from diag.decision.objective import Breakdown, Fees
from diag.decision.sites import AccessKey, Belief, Plan, Site, cure_factor
from diag.decision.small import MOST_PLANS, costs_now
from diag.decision.tariff import WAITING
from diag.inference import Array

__all__ = [
    "MOST_WEARING",
    "Found",
    "Problem",
    "all_plans",
    "best_plan",
    "chance_of_cure",
    "cost_in_parts",
    "pattern_of",
    "policy_of",
]

MOST_WEARING = 10  # sites with a wearing component of a small problem
SLACK = 1e-9  # money; a plan must be better by more than this


class Problem(Struct, frozen=True):
    """Sites, what things cost, one belief (a single case with chance 1), and the later costs under it."""

    sites: tuple[Site, ...]
    fees: Fees
    belief: Belief
    later: LaterCosts

    @property
    def configurations(self) -> int:
        """Number of configurations."""
        return int(self.later.table.shape[1])


class Found(Struct, frozen=True):
    """The best plan, its expected total in the problem's currency, and how many partly decided plans were looked at."""

    plan: Plan
    total: float
    nodes: int


def pattern_of(problem: Problem, plan: Plan) -> Pattern:
    """Which seals a plan renews, in the order of the wearing sites."""
    return tuple(problem.sites[index].treatments[plan[index]].renews_wear for index in problem.later.sites)


def policy_of(problem: Problem, plan: Plan) -> Policy:
    """How the workshop acts at later failures after a plan."""
    return problem.later.cost(pattern_of(problem, plan))[2]


def chance_of_cure(problem: Problem, plan: Plan) -> float:
    """Chance that nothing that this knowledge holds for a fault is left after the plan."""
    factors = [problem.belief.factors[index][cure_factor(chosen), 0] for index, chosen in enumerate(plan)]
    return float(reduce(np.multiply, factors, problem.belief.weights[0]).sum())


def cost_in_parts(problem: Problem, plan: Plan) -> Breakdown:
    """The objective for one plan, in its parts."""
    chosen = [site.treatments[index] for site, index in zip(problem.sites, plan, strict=True)]
    features = [array[0] for array in problem.belief.features]
    opens = frozenset[AccessKey]().union(*(treatment.opens for treatment in chosen))
    damage, later, _ = problem.later.cost(pattern_of(problem, plan))
    fees = problem.fees
    return Breakdown(
        currency=fees.currency,
        access=_opening(frozenset(key for key in opens if key[0] != WAITING), fees),
        waiting=_opening(frozenset(key for key in opens if key[0] == WAITING), fees),
        labour=sum(treatment.labour for treatment in chosen),
        parts=sum(treatment.parts for treatment in chosen),
        charges=sum(treatment.charges for treatment in chosen),
        finish=fees.finish if any(treatment.jobs for treatment in chosen) else 0.0,
        complications=sum(float(t.complications @ f) for t, f in zip(chosen, features, strict=True)),
        come_back=fees.come_back * (1.0 - chance_of_cure(problem, plan)),
        mending=sum(float(t.mending @ f) for t, f in zip(chosen, features, strict=True)),
        damage=damage,
        later=later,
    )


def all_plans(problem: Problem) -> list[Plan]:
    """Every plan: for small problems and tests."""
    return list(product(*(range(len(site.treatments)) for site in problem.sites)))


def _opening(keys: frozenset[AccessKey], fees: Fees) -> float:
    return sum(fees.access.get(key, 0.0) for key in sorted(keys))


class _Ready(Struct, frozen=True, dict=True):
    """A problem with what every bound needs. `order`: open sites; arrays run along it."""

    problem: Problem
    order: tuple[int, ...]
    money: tuple[Array, ...]  # [treatment] of each open site
    cures: tuple[Array, ...]  # [treatment, term]
    ideal_after: tuple[Array, ...]  # [term]: product of the ideals of the open sites from here on
    money_after: tuple[float, ...]
    fixed: Plan
    renewals: Pattern  # what lasts longer at each wearing site, as far as its treatments allow
    mended: Pattern  # what leaves least damage there

    @cached_property
    def with_ideal(self) -> tuple[Array, ...]:
        """`[treatment, term]` of each open site, with the ideals of those after it."""
        return tuple(cure * ideal for cure, ideal in zip(self.cures, self.ideal_after[1:], strict=True))


def _ready(problem: Problem, allowed: Sequence[Sequence[int]]) -> _Ready:
    belief = problem.belief
    order = sorted((i for i, some in enumerate(allowed) if len(some) > 1), key=lambda i: (-len(allowed[i]), i))
    money = [_money_of(problem, index, allowed[index]) for index in order]
    cures = [belief.factors[i][[cure_factor(t) for t in allowed[i]], 0] for i in order]
    ideal = [np.ones(len(belief.configuration))]
    after = [0.0]
    for place in reversed(range(len(order))):
        ideal.append(ideal[-1] * belief.factors[order[place]][-1, 0])
        after.append(after[-1] + float(money[place].min()))
    renewing = [
        [problem.sites[index].treatments[choice].renews_wear for choice in allowed[index]]
        for index in problem.later.sites
    ]
    longer = [best_renewal(wear) for wear in problem.later.wears]
    return _Ready(
        problem=problem,
        order=tuple(order),
        money=tuple(money),
        cures=tuple(cures),
        ideal_after=tuple(reversed(ideal)),
        money_after=tuple(reversed(after)),
        fixed=tuple(some[0] for some in allowed),
        renewals=tuple(any(some) if new else all(some) for some, new in zip(renewing, longer, strict=True)),
        mended=tuple(any(some) for some in renewing),
    )


class _State(Struct):
    best: Plan
    total: float
    nodes: int = 0


def best_plan(problem: Problem, allowed: Sequence[Sequence[int]] | None = None) -> Found:
    """The plan of least expected total; `allowed` restricts the treatments of each site. Exact."""
    choices = allowed if allowed is not None else [range(len(site.treatments)) for site in problem.sites]
    if prod(map(len, choices)) <= MOST_PLANS and len(problem.later.sites) <= MOST_WEARING:
        start, proved = _among_all(problem, choices)
        if proved:
            return Found(start, cost_in_parts(problem, start).total.amount, prod(map(len, choices)))
    else:
        start = _descend_all(problem, choices)
    ready = _ready(problem, choices)
    state = _State(start, cost_in_parts(problem, start).total.amount)
    prefix = problem.belief.weights[0]
    money = 0.0
    for index, chosen in enumerate(ready.fixed):
        if index not in ready.order:
            treatment = problem.sites[index].treatments[chosen]
            prefix = prefix * problem.belief.factors[index][cure_factor(chosen), 0]
            linear = (treatment.complications + treatment.mending) @ problem.belief.features[index][0]
            money += treatment.money + float(linear)
    decided = {index: chosen for index, chosen in enumerate(ready.fixed) if index not in ready.order}
    _branch(ready, choices, state, decided, prefix, money)
    return Found(state.best, state.total, state.nodes)


def _branch(
    ready: _Ready,
    allowed: Sequence[Sequence[int]],
    state: _State,
    decided: dict[int, int],
    prefix: Array,
    money: float,
) -> None:
    """Decide the next open site; `prefix[term]` is the product of what is decided, `money` its additive part."""
    depth = len(decided) - (len(allowed) - len(ready.order))
    if depth == len(ready.order):
        plan = tuple(decided[index] for index in range(len(allowed)))
        total = cost_in_parts(ready.problem, plan).total.amount
        if total < state.total - SLACK:
            state.best, state.total = plan, total
        return
    site, fees = ready.order[depth], ready.problem.fees
    cured = ready.with_ideal[depth] @ prefix
    bounds = money + ready.money[depth] + ready.money_after[depth + 1] + fees.come_back * (1.0 - cured)
    for place in np.argsort(bounds, kind="stable"):
        following = decided | {site: allowed[site][place]}
        bound = float(bounds[place]) + _fixed_costs(ready, following)
        if bound < state.total - SLACK and bound + _later_bound(ready, following) < state.total - SLACK:
            state.nodes += 1
            product = ready.cures[depth][place] * prefix
            _branch(ready, allowed, state, following, product, money + float(ready.money[depth][place]))


def _fixed_costs(ready: _Ready, decided: dict[int, int]) -> float:
    """Access and finish of what is decided."""
    chosen = [ready.problem.sites[index].treatments[choice] for index, choice in decided.items() if choice]
    opening = _opening(frozenset().union(*(treatment.opens for treatment in chosen)), ready.problem.fees)
    return opening + (ready.problem.fees.finish if any(treatment.jobs for treatment in chosen) else 0.0)


def _later_bound(ready: _Ready, decided: dict[int, int]) -> float:
    """Damage and later visits at least, open seals taken as they last longest and leave least damage."""
    problem = ready.problem
    longest, mended = list(ready.renewals), list(ready.mended)
    for place, index in enumerate(problem.later.sites):
        if index in decided:
            renews = problem.sites[index].treatments[decided[index]].renews_wear
            longest[place] = mended[place] = renews
    least_later = problem.later.cost(tuple(longest))[1]
    return problem.later.cost(tuple(mended))[0] + least_later


def _among_all(problem: Problem, allowed: Sequence[Sequence[int]]) -> tuple[Plan, bool]:
    """The plan that is best in a table of what all plans cost, and true; where several cost the same one that no change
    of one site betters, and whether none is better."""
    free = [place for place, some in enumerate(allowed) if len(some) > 1]
    table = costs_now(problem.sites, problem.fees, problem.belief, allowed)
    if problem.later.sites:
        renewed = [
            [int(problem.sites[place].treatments[choice].renews_wear) for choice in allowed[place]]
            for place in problem.later.sites
        ]
        later = problem.later.of_all_patterns[np.ix_(*renewed)]
        table = table + later.reshape([len(allowed[p]) if p in problem.later.sites else 1 for p in free])
    least = np.argwhere(table <= table.min() + 2.0 * SLACK)
    if len(least) == 1:
        chosen = {place: allowed[place][at] for place, at in zip(free, least[0], strict=True)}
        return tuple(chosen.get(place, some[0]) for place, some in enumerate(allowed)), True
    places = [{choice: at for at, choice in enumerate(allowed[place])} for place in free]

    def cost(plan: Plan) -> float:
        return float(table[tuple(at[plan[place]] for place, at in zip(free, places, strict=True))])

    start = _descend(allowed, tuple(some[0] for some in allowed), cost)
    return start, bool(table.min() >= cost(start) - SLACK)


def _descend_all(problem: Problem, allowed: Sequence[Sequence[int]]) -> Plan:
    """`_descend` by the objective itself, from the first treatments. What one site's treatments do to the chance of
    cure is one product with all that the others leave of it."""
    belief, fees = problem.belief, problem.fees
    cures = [belief.factors[site][[cure_factor(each) for each in some], 0] for site, some in enumerate(allowed)]
    money = [_money_of(problem, site, some) for site, some in enumerate(allowed)]
    at = [0] * len(allowed)

    def total(cured: float) -> float:
        plan = tuple(some[place] for some, place in zip(allowed, at, strict=True))
        chosen = [site.treatments[choice] for site, choice in zip(problem.sites, plan, strict=True) if choice]
        opening = _opening(frozenset().union(*(treatment.opens for treatment in chosen)), fees)
        done = opening + (fees.finish if any(treatment.jobs for treatment in chosen) else 0.0)
        spent = sum(float(each[place]) for each, place in zip(money, at, strict=True))
        return done + spent + fees.come_back * (1.0 - cured) + sum(problem.later.cost(pattern_of(problem, plan))[:2])

    least, better = np.inf, True
    while better:
        better = False
        after = [np.ones(len(belief.configuration))]
        for cure, place in zip(reversed(cures), reversed(at), strict=True):
            after.append(after[-1] * cure[place])
        before = belief.weights[0]
        for site, some in enumerate(allowed):
            cured = cures[site] @ (before * after[len(allowed) - 1 - site])
            least = min(least, total(float(cured[at[site]])))
            for place in range(len(some)):
                kept, at[site] = at[site], place
                cost = total(float(cured[place])) if place != kept else least
                if cost < least - SLACK:
                    least, better = cost, True
                else:
                    at[site] = kept
            before = before * cures[site][at[site]]
    return tuple(some[place] for some, place in zip(allowed, at, strict=True))


def _money_of(problem: Problem, site: int, some: Sequence[int]) -> Array:
    """`[treatment]`: what some treatments of a site cost that adds up over sites."""
    chosen = [problem.sites[site].treatments[index] for index in some]
    linear = np.stack([each.complications + each.mending for each in chosen])
    return np.asarray(np.array([each.money for each in chosen]) + linear @ problem.belief.features[site][0])


def _descend(allowed: Sequence[Sequence[int]], start: Plan, cost_of: Callable[[Plan], float]) -> Plan:
    """A good plan to begin with: change one site at a time while that helps."""
    best, total, better = start, cost_of(start), True
    while better:
        better = False
        for index, choices in enumerate(allowed):
            for choice in choices if len(choices) > 1 else ():
                plan = (*best[:index], choice, *best[index + 1 :])
                cost = cost_of(plan) if choice != best[index] else total
                if cost < total - SLACK:
                    best, total, better = plan, cost, True
    return best
