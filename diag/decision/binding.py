"""From knowledge, case and network to sites with treatments, and from a posterior to a belief about them.

May import: casebook, knowledge_base, inference, basics, numpy, and of this room `dominance`, `later`, `lives`, `needs`,
`objective`, `parts`, `restriction`, `sites`, `tariff`, `treatments`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.decision.dominance import surviving
from diag.decision.later import most_saved
from diag.decision.lives import Steps, survival
from diag.decision.needs import LifeView, NetworkView
from diag.decision.objective import Fees
from diag.decision.parts import Feature, Key, Part, features_of, groups_of, parts_of, what_if
from diag.decision.restriction import fitting_options
from diag.decision.sites import Belief, Job, Site, Wear
from diag.decision.tariff import Tariff
from diag.decision.treatments import (
    WEARING,
    Done,
    FactorSpec,
    Workplace,
    done_by,
    ideal_factor,
    job_sets,
    jobs_that_may_pay,
)
from diag.inference import Array, Evidence, Mixture, Model, Posterior, kept_configurations, mixture, with_configurations

__all__ = ["Bound", "BoundSite", "Lasting", "belief_from", "belief_of", "bind", "choices_of", "horizon", "plan_of"]

STEPS = 6  # over the customer's horizon
NEGLIGIBLE = 1e-5  # chance of all configurations together that no plan is reckoned with


@dataclass(frozen=True)
class Lasting:
    """The life of what wears at a site: Weibull `shape`, `scale[configuration]` and `used`, in units of its clock, and
    how many of these a month brings."""

    shape: float
    scale: Array
    used: float
    per_month: float

    def left(self, months: Array) -> Array:
        """`[configuration, time]`: chance that one that is sound now still is after so many months."""
        return survival(self.per_month * months, self.shape, self.scale[:, None], self.used)

    def new(self, months: Array) -> Array:
        """`[configuration, time]`: chance that a new one still is sound after so many months."""
        return survival(self.per_month * months, self.shape, self.scale[:, None])


@dataclass(frozen=True)
class BoundSite:
    """A site with its components, its factors in the order of `Belief`, where its features come from, and, for each
    treatment, `danger[feature]`: the chance that a dangerous state is left. `useful`: treatments that may be in a best
    plan now; `thinkable`: in one after some answer; the others stand only for options that people ask about."""

    site: Site
    parts: tuple[Part, ...]
    plates: tuple[int, ...]
    factors: tuple[FactorSpec, ...]
    features: tuple[Feature, ...]
    danger: tuple[Array, ...]
    useful: tuple[int, ...]
    thinkable: tuple[int, ...]
    lasting: Lasting | None = None


@dataclass(frozen=True)
class Bound:
    """Everything that the decision needs of one case, but the belief."""

    tariff: Tariff
    sites: tuple[BoundSite, ...]
    fees: Fees
    steps: Steps

    @property
    def plain(self) -> tuple[Site, ...]:
        """The sites alone."""
        return tuple(bound.site for bound in self.sites)

    def wearing(self) -> tuple[int, ...]:
        """Indices of the sites that have a wearing component."""
        return tuple(index for index, bound in enumerate(self.sites) if bound.site.wear is not None)


def horizon(tariff: Tariff) -> Steps:
    """The customer's horizon in equal steps: so many months, or fewer where its kilometres are driven sooner."""
    customer = tariff.knowledge.prices.customer
    months = customer.horizon_months.value
    if customer.horizon_km is not None and customer.km_per_year.value > 0:
        months = min(months, 12.0 * customer.horizon_km.value / customer.km_per_year.value)
    return Steps(STEPS, months / STEPS, customer.discount_per_year.value)


def bind(
    tariff: Tariff,
    network: NetworkView,
    fees: Fees,
    posterior: Posterior,
    wanted: Iterable[Sequence[Job]] = (),
    foreseen: bool = True,
    alone: bool = False,
) -> Bound:
    """Sites and treatments. Treatments that are in no best plan are left out, now and, with `foreseen`, after answers
    that make any one component likely to be unsound (`what_if`); sets of jobs in `wanted` stay. `alone`: these and
    nothing else, for prices."""
    parts = parts_of(tariff, network)
    jobs = [job for job in tariff.jobs() if any(key in parts for key in tariff.renewed(job))]
    steps = horizon(tariff)
    stay = [frozenset(after for job in each for after in tariff.with_followers(job)) for each in wanted if each]
    supposed = what_if(posterior, tuple(parts.values())) if foreseen and not alone else posterior
    sites = []
    made = tariff.held_for(_made_of(network, parts))
    for group in groups_of(tariff, parts, jobs):
        keys = {part.key for part in group}
        own = [job for job in jobs if tariff.renewed(job) & keys]
        mine = [want for want in stay if want <= set(own)]
        if alone:
            sets = job_sets(tariff, (), mine)
        else:
            paying = jobs_that_may_pay(tariff, group, own, posterior, fees.come_back)
            later = jobs_that_may_pay(tariff, group, own, supposed, fees.come_back) if foreseen else ()
            sets = job_sets(tariff, paying, [*mine, *(frozenset(tariff.with_followers(job)) for job in later)])
        workplace = Workplace(
            tariff, group, _features(tariff, network, group, own), parts, network.model.configurations
        )
        sites.append(_bound_site(workplace, network, sets, steps, made))
    if alone:
        return Bound(tariff, tuple(sites), fees, steps)
    wears = tuple(bound.site.wear for bound in sites if bound.site.wear is not None)
    return Bound(
        tariff,
        tuple(_pruned(tariff, bound, sites, (wears, steps), (posterior, supposed), (fees, stay)) for bound in sites),
        fees,
        steps,
    )


def _made_of(network: NetworkView, parts: Mapping[Key, Part]) -> object:
    """All that what jobs do depends on beside the tariff: equal for cases of one start in which nothing was renewed."""
    told = tuple(
        (part.key, part.spot, part.states, part.mending, part.fresh.tobytes(), part.disturbed.tobytes(), part.columns)
        for part in parts.values()
    )
    return network.model.configurations.tobytes(), told


def _features(tariff: Tariff, network: NetworkView, parts: Sequence[Part], jobs: Sequence[Job]) -> tuple[Feature, ...]:
    """Components first, then the configuration, then severities that decide a job's risks."""
    found = [Feature("component", *part.spot, part.states) for part in parts if part.spot is not None]
    if any(part.spot is None for part in parts):
        found.append(Feature("configuration", 0, 0, len(network.model.configurations)))
    severities = tariff.knowledge.severities
    cylinders = {job.place for job in jobs if isinstance(job.place, int)}
    for cylinder in sorted(cylinders):
        named = {risk.by for job in jobs for risk in tariff.knowledge.repairs[job.repair].risks if risk.by is not None}
        for name in sorted(named):
            if name in severities and severities[name].per == "cylinder":
                plate, axis = network.severity_at(name, cylinder)
                found.append(Feature("axis", plate, axis, len(severities[name].levels), name))
    return tuple(found)


def _bound_site(
    workplace: Workplace,
    network: NetworkView,
    sets: Sequence[tuple[Job, ...]],
    steps: Steps,
    made: dict[object, object] | None = None,
) -> BoundSite:
    """`made`: what was worked out at other sites of the same case, for those that are alike (see `_kind_of`), and at
    other moments of it."""
    parts, tariff = workplace.parts, workplace.tariff
    place = parts[0].key[1]
    cylinder = place if isinstance(place, int) and all(part.key[1] == place for part in parts) else None
    names = dict.fromkeys(tariff.knowledge.components[part.key[0]].name for part in parts)
    kind = _kind_of(workplace, cylinder) if cylinder is not None and made is not None else None
    done = [_done_once(workplace, jobs, kind, made if made is not None else {}) for jobs in sets]
    lasting = _lasting(tariff, network, cylinder)
    wear = _wear(workplace, cylinder, lasting, steps) if cylinder is not None and lasting is not None else None
    name = f"cylinder {cylinder}" if cylinder is not None else ", ".join(names)
    sound = {part.spot[0]: {part.spot[1]: _only_sound(part)} for part in parts if part.spot and part.key[0] == WEARING}
    return BoundSite(
        site=Site(name, cylinder, tuple(each.treatment for each in done), wear),
        parts=parts,
        plates=tuple(sorted({part.spot[0] for part in parts if part.spot is not None})),
        factors=(
            FactorSpec({}),
            FactorSpec(sound if wear is not None else {}),
            *(each.cure for each in done),
            done[0].cure if sets == [()] or sets == ((),) else _ideal(workplace, sets, made),
        ),
        features=workplace.features,
        danger=tuple(each.danger for each in done),
        useful=tuple(range(len(done))),
        thinkable=tuple(range(len(done))),
        lasting=lasting,
    )


def _kind_of(workplace: Workplace, cylinder: int) -> object:
    """Equal for cylinders at which the same jobs cost and do the same; none where the parts are not of one plate."""
    tariff, parts = workplace.tariff, workplace.parts
    if len({part.spot[0] if part.spot is not None else None for part in parts}) != 1 or parts[0].spot is None:
        return None
    held = tuple(
        (part.key[0], part.spot and part.spot[1], part.mending, part.fresh.tobytes(), part.disturbed.tobytes())
        for part in parts
    )
    shown = tuple((each.kind, each.index, each.size, each.name) for each in workplace.features)
    engine = tariff.engine
    return engine.bank_of(cylinder), engine.awkward_minutes.get(cylinder), tariff.years.get(cylinder), held, shown


def _site_of(workplace: Workplace) -> object:
    """Equal for one site at several moments of a case."""
    return tuple(part.key for part in workplace.parts), workplace.features


def _ideal(workplace: Workplace, sets: Sequence[tuple[Job, ...]], made: dict[object, object] | None) -> FactorSpec:
    """The ideal factor, made once for each site of a case."""
    key = ("ideal", _site_of(workplace), frozenset(job for jobs in sets for job in jobs))
    found = made.get(key) if made is not None else None
    if not isinstance(found, FactorSpec):
        found = ideal_factor(workplace, sets)
        if made is not None:
            made[key] = found
    return found


def _done_once(workplace: Workplace, jobs: tuple[Job, ...], kind: object, known: dict[object, object]) -> Done:
    """What jobs do at a site, taken from a cylinder that is alike where it was worked out there."""
    place, spot = workplace.parts[0].key[1], workplace.parts[0].spot
    alone = kind is None or spot is None
    names: object = jobs if alone else tuple((job.repair, job.place == place or job.place) for job in jobs)
    key = (_site_of(workplace) if alone else kind, names)
    found = known.get(key)
    if not isinstance(found, Done):
        found = known[key] = done_by(workplace, jobs)
    if alone:
        return found
    assert spot is not None
    if found.treatment.jobs == jobs and spot[0] in found.cure.plates:
        return found
    mine = next(iter(found.cure.plates.values()), None)  # all parts are of one plate
    cure = replace(found.cure, plates={spot[0]: mine} if mine is not None else {})
    return Done(replace(found.treatment, jobs=jobs), cure, found.danger)


def _only_sound(part: Part) -> Array:
    return np.array([[1.0, *(0.0 for _ in range(part.states - 1))]])


def _lasting(tariff: Tariff, network: NetworkView, cylinder: int | None) -> Lasting | None:
    if cylinder is None or WEARING not in tariff.knowledge.components:
        return None
    life: LifeView | None = network.life(WEARING, cylinder)
    if life is None:
        return None
    yearly = tariff.knowledge.prices.customer.km_per_year.value if life.clock == "distance" else 1.0
    return Lasting(life.shape, life.scale, life.used, yearly / 12.0)


def _wear(workplace: Workplace, cylinder: int, lasting: Lasting, steps: Steps) -> Wear | None:
    """What wears at a cylinder; none where no job renews it."""
    tariff = workplace.tariff
    jobs = [job for job in tariff.jobs() if (WEARING, cylinder) in tariff.renewed(job)]
    if not jobs:
        return None
    job = min(jobs, key=tariff.alone)
    opens = frozenset().union(*(tariff.job_opens(each) for each in tariff.with_followers(job)))
    alone = tariff.alone(job) - tariff.opening(opens)
    unsound = [
        np.array([0.0, *(1.0 for _ in range(feature.size - 1))])
        if any(part.key[0] == WEARING and part.spot == (feature.plate, feature.index) for part in workplace.parts)
        and feature.kind == "component"
        else np.zeros(feature.size)
        for feature in workplace.features
    ]
    return Wear(
        bank=tariff.engine.bank_of(cylinder),
        left=lasting.left(steps.ends),
        new=lasting.new(steps.ends),
        job=alone + tariff.complications_if(job, WEARING, True),
        job_sound=alone + tariff.complications_if(job, WEARING, False),
        opening=tariff.opening(opens),
        unsound=np.concatenate(unsound),
        early=1.0 - next(part.fresh for part in workplace.parts if part.key == (WEARING, cylinder))[:, 0],
    )


def _pruned(
    tariff: Tariff,
    bound: BoundSite,
    sites: Sequence[BoundSite],
    lasting: tuple[Sequence[Wear], Steps],
    beliefs: tuple[Posterior, Posterior],
    terms: tuple[Fees, Sequence[frozenset[Job]]],
) -> BoundSite:
    """Leave out treatments that others at the site make useless now, and single jobs that are useless even after an
    answer; those of `stay` are kept aside."""
    (wears, steps), (fees, stay) = lasting, terms
    place = [each.site.name for each in sites if each.site.wear is not None]
    renewing = leaving = 0.0
    if bound.site.wear is not None:
        number = place.index(bound.site.name)
        renewing = most_saved(wears, number, fees.come_back, steps)
        swapped = replace(wears[number], left=wears[number].new, new=wears[number].left)
        leaving = most_saved([*wears[:number], swapped, *wears[number + 1 :]], number, fees.come_back, steps)
    now, *further = (
        surviving(bound.site, features_of(bound.features, belief), fees, renewing, leaving)
        for belief in (beliefs if beliefs[1] is not beliefs[0] else beliefs[:1])
    )
    thought = further[0] if further else now
    treatments = bound.site.treatments
    one_job = {frozenset(tariff.with_followers(job)) for each in treatments for job in each.jobs} | {frozenset[Job]()}
    thinkable = [index for index in thought if index in now or frozenset(treatments[index].jobs) in one_job]
    kept = [index for index, each in enumerate(treatments) if index in thinkable or _is_wanted(each.jobs, stay)]
    return replace(
        bound,
        site=replace(bound.site, treatments=tuple(bound.site.treatments[index] for index in kept)),
        factors=(*bound.factors[:2], *(bound.factors[2 + index] for index in kept), bound.factors[-1]),
        danger=tuple(bound.danger[index] for index in kept),
        useful=tuple(place for place, index in enumerate(kept) if index in now),
        thinkable=tuple(place for place, index in enumerate(kept) if index in thinkable),
    )


def _is_wanted(jobs: Sequence[Job], stay: Sequence[frozenset[Job]]) -> bool:
    return any(want == set(jobs) for want in stay)


def plan_of(bound: Bound, jobs: Iterable[Job]) -> tuple[int, ...] | None:
    """The plan that does exactly these jobs and what must follow them; none where no such treatments are kept."""
    wanted = {each for job in jobs for each in bound.tariff.with_followers(job)}
    plan = []
    for site in bound.plain:
        here = {job for treatment in site.treatments for job in treatment.jobs} & wanted
        index = next((i for i, each in enumerate(site.treatments) if set(each.jobs) == here), None)
        if index is None:
            return None
        plan.append(index)
        wanted -= here
    return tuple(plan) if not wanted else None


Options = tuple[tuple[Mapping[int, Array], ...], ...]


def choices_of(
    bound: Bound, plates: int, treatments: Sequence[Sequence[int]] | None = None
) -> tuple[Options, tuple[tuple[dict[int, int], ...], ...]]:
    """What to ask of `mixture`: options of each plate, and for each site and factor the option at each of its plates.

    `treatments`: those of each site that are wanted, and then not the ideals; none: everything.
    """
    options: list[list[Mapping[int, Array]]] = [[] for _ in range(plates)]
    known: list[dict[tuple[object, ...], int]] = [{} for _ in range(plates)]
    used = []
    for number, each in enumerate(bound.sites):
        rows = []
        for index, spec in enumerate(each.factors):
            row: dict[int, int] = {}
            rows.append(row)
            if treatments is not None and index >= 2 and index - 2 not in treatments[number]:
                continue
            for plate in each.plates:
                factors = spec.plates.get(plate, {})
                key = tuple((index, factors[index].tobytes()) for index in sorted(factors))
                if key not in known[plate]:
                    known[plate][key] = len(options[plate])
                    options[plate].append(factors)
                row[plate] = known[plate][key]
        used.append(tuple(rows))
    for listed in options:
        if not listed:
            listed.append({})
    return tuple(tuple(listed) for listed in options), tuple(used)


def belief_of(
    bound: Bound, model: Model, evidence: Evidence, posterior: Posterior, before: Posterior | None = None
) -> Belief:
    """The belief after the evidence; `posterior` is that of the same evidence. `before`: where there are several cases,
    what was believed before they were told apart.

    Configurations that are together less likely than `NEGLIGIBLE` are left out: no total moves by more than that share
    of the dearest outcome, cents at most.
    """
    options, used = choices_of(bound, len(model.plates))
    kept = kept_configurations((before or posterior).configurations[0], 1.0 - NEGLIGIBLE)
    small, heard = with_configurations(model, evidence, kept)
    fitting = fitting_options(options, kept, len(model.configurations))
    mixed = mixture(small, heard, fitting, [kept.astype(np.float64)])
    return belief_from(bound, used, mixed, posterior)


def belief_from(
    bound: Bound, used: Sequence[Sequence[Mapping[int, int]]], mixed: Mixture, posterior: Posterior
) -> Belief:
    """A belief from a mixture whose only configuration choice numbers the configurations."""
    configuration = np.rint(mixed.configuration_values[0]).astype(np.int64)
    weights = mixed.weights
    taken = {plate for each in bound.sites for plate in each.plates}
    for plate, values in enumerate(mixed.values):
        if plate not in taken:
            weights = weights * values[0]
    factors = []
    for each, rows in zip(bound.sites, used, strict=True):
        listed = []
        for spec, row in zip(each.factors, rows, strict=True):
            told = [] if spec.configurations is None else [spec.configurations[configuration][None]]
            listed.append([*told, *(mixed.values[plate][option] for plate, option in row.items())])
        wide = max((len(value) for parts in listed for value in parts), default=1)
        shape = (len(listed), wide, len(configuration))
        stacked = np.ones(shape, dtype=weights.dtype)  # filled in place: there may be many terms
        for parts, place in zip(listed, stacked, strict=True):
            if parts:
                np.copyto(place, parts[0])
            for value in parts[1:]:
                place *= value
        factors.append(stacked)
    features = tuple(features_of(each.features, posterior) for each in bound.sites)
    return Belief(weights, configuration, tuple(factors), features, np.ones(len(posterior.log_evidence)))
