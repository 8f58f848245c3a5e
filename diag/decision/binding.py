"""From knowledge, case and network to sites with treatments.

May import: casebook, knowledge_base, inference, basics, numpy, and of this room `dominance`, `later`, `lives`, `needs`,
`objective`, `parts`, `sites`, `tariff`, `treatments`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from diag.decision.dominance import saved_later, surviving
from diag.decision.frames import Frame, frames_of, relative
from diag.decision.lives import Steps, survival
from diag.decision.needs import LifeView, NetworkView
from diag.decision.objective import Fees
from diag.decision.parts import Feature, Key, Part, features_of, only_sound, parts_of, what_if
from diag.decision.sites import Job, Site, Wear
from diag.decision.tariff import Tariff
from diag.decision.treatments import (
    WEARING,
    Done,
    FactorSpec,
    Met,
    Workplace,
    done_by,
    ideal_factor,
    job_sets,
    jobs_that_may_pay,
)
from diag.inference import Array, Posterior

__all__ = ["Bound", "BoundSite", "Lasting", "bind", "horizon", "lasting_at", "plan_of"]

STEPS = 6  # over the customer's horizon


class Lasting(Struct, frozen=True):
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


class BoundSite(Struct, frozen=True):
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


class Bound(Struct, frozen=True):
    """Everything that the decision needs of one case, but the belief. `carriers`: of each danger that was told what may
    be behind it (see `carriers`)."""

    tariff: Tariff
    sites: tuple[BoundSite, ...]
    fees: Fees
    steps: Steps
    carriers: tuple[Mapping[Key, tuple[bool, ...]], ...] = ()

    @property
    def plain(self) -> tuple[Site, ...]:
        """The sites alone."""
        return tuple(bound.site for bound in self.sites)

    def wearing(self) -> tuple[int, ...]:
        """Indices of the sites that have a wearing component."""
        return tuple(index for index, bound in enumerate(self.sites) if bound.site.wear is not None)


class _Made(Struct, frozen=True):
    """What was worked out at cylinders of one case, for others that are alike."""

    met: Met = field(default_factory=Met)
    done: dict[object, Done] = field(default_factory=dict)
    ideal: dict[object, FactorSpec] = field(default_factory=dict)
    wear: dict[object, Wear | None] = field(default_factory=dict)


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
    parts: Mapping[Key, Part] | None = None,
) -> Bound:
    """Sites and treatments. Treatments that are in no best plan are left out, now and, with `foreseen`, after answers
    that make any one component likely to be unsound (`what_if`); sets of jobs in `wanted` stay. `alone`: these and
    nothing else, for prices. `parts` are those of the network, where they are known already."""
    parts = parts_of(tariff, network) if parts is None else parts
    steps = horizon(tariff)
    stay = [frozenset(after for job in each for after in tariff.with_followers(job)) for each in wanted if each]
    supposed = what_if(posterior, tuple(parts.values())) if foreseen and not alone else posterior
    earlier = tariff.held_for(_made_of(network, parts)).setdefault("made", _Made())
    assert isinstance(earlier, _Made)
    made = _Made(done=earlier.done, ideal=earlier.ideal)
    places, sites, firsts = list[Workplace](), list[BoundSite](), list[int]()
    known: dict[object, int] = {}
    for frame in frames_of(tariff, parts):
        group = tuple(parts[key] for key in frame.keys)
        mine = [want for want in stay if want <= frame.own]
        place = Workplace(
            tariff, group, _features(frame, tariff, network, group), parts, network.model.configurations, made.met
        )
        places.append(place)
        lasting = lasting_at(place, network)
        alike = _alike(place, frame, mine, lasting, (posterior, supposed))
        firsts.append(known.setdefault(alike, len(sites)) if alike is not None else len(sites))
        if firsts[-1] < len(sites):
            sites.append(sites[firsts[-1]])  # until all are pruned
            continue
        if alone:
            sets = job_sets(tariff, (), mine)
        else:
            paying = jobs_that_may_pay(tariff, group, frame.jobs, posterior, fees.come_back, frame.renewing)
            later = (
                jobs_that_may_pay(tariff, group, frame.jobs, supposed, fees.come_back, frame.renewing)
                if foreseen
                else ()
            )
            sets = job_sets(tariff, paying, [*mine, *(frozenset(tariff.with_followers(job)) for job in later)])
        sites.append(_bound_site(place, lasting, sets, steps, made))
    wears = tuple(bound.site.wear for bound in sites if bound.site.wear is not None)
    saved: dict[int, tuple[float, float]] = {}
    done: list[BoundSite] = []
    for number, (place, bound, first) in enumerate(zip(places, sites, firsts, strict=True)):
        if first < number:
            done.append(_moved(done[first], place))
        elif alone:
            done.append(bound)
        else:
            done.append(_pruned(tariff, bound, (wears, steps), (posterior, supposed), (fees, stay, saved)))
    return Bound(tariff, tuple(done), fees, steps)


def _alike(
    place: Workplace,
    frame: Frame,
    wanted: Sequence[frozenset[Job]],
    lasting: Lasting | None,
    beliefs: tuple[Posterior, Posterior],
) -> object:
    """Equal for cylinders of one case at which everything is the same, the belief included; none for any other site."""
    kind = _kind_of(place)
    if kind is None:
        return None
    stays = tuple(frozenset(relative(place.cylinder, tuple(each))) for each in wanted)
    life = lasting and (lasting.shape, lasting.scale.tobytes(), lasting.used, lasting.per_month)
    believed = tuple(features_of(place.features, each).tobytes() for each in beliefs)
    return kind, frame.relative, stays, life, believed


def _moved(bound: BoundSite, place: Workplace) -> BoundSite:
    """A cylinder's site as that of another at which everything is the same."""
    first, cylinder, spot = bound.site.place, place.cylinder, place.parts[0].spot
    assert spot is not None
    treatments = tuple(
        replace(each, jobs=tuple(Job(job.repair, cylinder if job.place == first else job.place) for job in each.jobs))
        for each in bound.site.treatments
    )
    return replace(
        bound,
        site=Site(f"cylinder {cylinder}", cylinder, treatments, bound.site.wear),
        parts=place.parts,
        plates=(spot[0],),
        factors=tuple(_here(each, spot[0]) for each in bound.factors),
        features=place.features,
    )


def _made_of(network: NetworkView, parts: Mapping[Key, Part]) -> object:
    """All that what jobs do depends on beside the tariff: equal for cases of one start in which nothing was renewed."""
    told = tuple(
        (part.key, part.spot, part.states, part.mending, part.fresh.tobytes(), part.disturbed.tobytes(), part.columns)
        for part in parts.values()
    )
    return network.model.configurations.tobytes(), told


def _features(frame: Frame, tariff: Tariff, network: NetworkView, parts: Sequence[Part]) -> tuple[Feature, ...]:
    """Components first, then the configuration, then severities that decide a job's risks."""
    found = [Feature("component", *part.spot, part.states) for part in parts if part.spot is not None]
    if any(part.spot is None for part in parts):
        found.append(Feature("configuration", 0, 0, len(network.model.configurations)))
    for cylinder in frame.cylinders:
        for name in frame.severities:
            plate, axis = network.severity_at(name, cylinder)
            found.append(Feature("axis", plate, axis, len(tariff.knowledge.severities[name].levels), name))
    return tuple(found)


def _bound_site(
    workplace: Workplace,
    lasting: Lasting | None,
    sets: Sequence[tuple[Job, ...]],
    steps: Steps,
    made: _Made | None = None,
) -> BoundSite:
    """`made`: what was worked out at other sites of the same case, for those that are alike (see `_kind_of`), and at
    other moments of it."""
    parts, tariff, cylinder = workplace.parts, workplace.tariff, workplace.cylinder
    names = dict.fromkeys(tariff.knowledge.components[part.key[0]].name for part in parts)
    kind = _kind_of(workplace) if made is not None else None
    known = made if made is not None else _Made()
    done = [_done_once(workplace, jobs, kind, known.done) for jobs in sets]
    ideal = done[0].cure if sets == [()] or sets == ((),) else _ideal_once(workplace, sets, kind, known.ideal)
    wear = _wear_once(workplace, lasting, steps, (kind, known.wear))
    name = f"cylinder {cylinder}" if cylinder is not None else ", ".join(names)
    sound = {part.spot[0]: {part.spot[1]: only_sound(part)} for part in parts if part.spot and part.key[0] == WEARING}
    return BoundSite(
        site=Site(name, cylinder, tuple(each.treatment for each in done), wear),
        parts=parts,
        plates=tuple(sorted({part.spot[0] for part in parts if part.spot is not None})),
        factors=(
            FactorSpec({}),
            FactorSpec(sound if wear is not None else {}),
            *(each.cure for each in done),
            ideal,
        ),
        features=workplace.features,
        danger=tuple(each.danger for each in done),
        useful=tuple(range(len(done))),
        thinkable=tuple(range(len(done))),
        lasting=lasting,
    )


def _kind_of(workplace: Workplace) -> object:
    """Equal for cylinders at which the same jobs cost and do the same; none for a site that is no cylinder alone, or
    where the parts are not of one plate."""
    tariff, parts, cylinder = workplace.tariff, workplace.parts, workplace.cylinder
    if (
        cylinder is None
        or len({part.spot[0] if part.spot is not None else None for part in parts}) != 1
        or parts[0].spot is None
    ):
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


def _here(cure: FactorSpec, plate: int) -> FactorSpec:
    """A factor of a cylinder, all of whose parts are of one plate, as that of another that is alike."""
    if plate in cure.plates:
        return cure
    mine = next(iter(cure.plates.values()), None)
    return replace(cure, plates={plate: mine} if mine is not None else {})


def _done_once(workplace: Workplace, jobs: tuple[Job, ...], kind: object, known: dict[object, Done]) -> Done:
    """What jobs do at a site, taken from a cylinder that is alike, or an earlier moment, where it was worked out."""
    spot = workplace.parts[0].spot
    alone = kind is None or spot is None
    key = (_site_of(workplace), jobs) if alone else (kind, relative(workplace.parts[0].key[1], jobs))
    found = known.get(key)
    if found is None:
        found = known[key] = done_by(workplace, jobs)
    if alone:
        return found
    assert spot is not None
    if found.treatment.jobs == jobs and spot[0] in found.cure.plates:
        return found
    return Done(replace(found.treatment, jobs=jobs), _here(found.cure, spot[0]), found.danger)


def _ideal_once(
    workplace: Workplace, sets: Sequence[tuple[Job, ...]], kind: object, known: dict[object, FactorSpec]
) -> FactorSpec:
    """The ideal of a site, taken from a cylinder that is alike where it was worked out there."""
    spot = workplace.parts[0].spot
    alone = kind is None or spot is None
    place = workplace.parts[0].key[1]
    key = (_site_of(workplace), tuple(sets)) if alone else (kind, tuple(relative(place, jobs) for jobs in sets))
    if key not in known:
        known[key] = ideal_factor(workplace, sets)
    return known[key] if spot is None or alone else _here(known[key], spot[0])


def lasting_at(workplace: Workplace, network: NetworkView) -> Lasting | None:
    """The life of what wears at a site; none where nothing does."""
    tariff, cylinder = workplace.tariff, workplace.cylinder
    if cylinder is None or WEARING not in tariff.knowledge.components:
        return None
    life: LifeView | None = network.life(WEARING, cylinder)
    if life is None:
        return None
    yearly = tariff.knowledge.prices.customer.km_per_year.value if life.clock == "distance" else 1.0
    return Lasting(life.shape, life.scale, life.used, yearly / 12.0)


def _wear_once(
    workplace: Workplace,
    lasting: Lasting | None,
    steps: Steps,
    alike: tuple[object, dict[object, Wear | None]],
) -> Wear | None:
    """What wears at a site, taken from a cylinder that is alike and in use as long."""
    kind, known = alike
    cylinder = workplace.cylinder
    if cylinder is None or lasting is None:
        return None
    if kind is None:
        return _wear(workplace, cylinder, lasting, steps)
    key = (kind, lasting.shape, lasting.scale.tobytes(), lasting.used, lasting.per_month)
    if key not in known:
        known[key] = _wear(workplace, cylinder, lasting, steps)
    return known[key]


def _wear(workplace: Workplace, cylinder: int, lasting: Lasting, steps: Steps) -> Wear | None:
    """What wears at a cylinder; none where no job renews it."""
    tariff = workplace.tariff
    jobs = tariff.renewing((WEARING, cylinder))
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
    lasting: tuple[Sequence[Wear], Steps],
    beliefs: tuple[Posterior, Posterior],
    terms: tuple[Fees, Sequence[frozenset[Job]], dict[int, tuple[float, float]]],
) -> BoundSite:
    """Leave out treatments that others at the site make useless now, and single jobs, alone or beside such a treatment,
    that are useless even after an answer; those of `stay` are kept aside."""
    if len(bound.site.treatments) == 1:
        return bound
    fees, stay, saved = terms
    renewing, leaving = saved_later(bound.site, lasting, fees, saved)
    now, *further = (
        surviving(bound.site, features_of(bound.features, belief), fees, renewing, leaving)
        for belief in (beliefs if beliefs[1] is not beliefs[0] else beliefs[:1])
    )
    thought = further[0] if further else now
    treatments = bound.site.treatments
    one_job = {frozenset(tariff.with_followers(job)) for each in treatments for job in each.jobs} | {frozenset[Job]()}
    one_more = one_job | {frozenset(treatments[index].jobs) | more for index in now for more in one_job}
    thinkable = [index for index in thought if frozenset(treatments[index].jobs) in one_more]
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
