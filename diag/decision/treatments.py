"""Sets of jobs at one site: which are worth forming, what they cost, and what they do to each component.

May import: knowledge_base, inference, basics, numpy, and `parts`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, cast

import msgspec
import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.basics import TooLarge
from diag.decision.parts import Feature, Key, Part, part_chances
from diag.decision.sites import Job, Treatment
from diag.decision.tariff import WEARING, Tariff
from diag.inference import Array, Posterior
from diag.knowledge_base import Risk

__all__ = [
    "WEARING",
    "Done",
    "FactorSpec",
    "Met",
    "Workplace",
    "done_by",
    "factor_spec",
    "ideal_factor",
    "job_sets",
    "jobs_that_may_pay",
    "places_renewed",
]

MOST_JOBS = 10  # of one site whose combinations are all formed
_SURE = np.ones(1)

Effect = Literal["left", "renewed", "disturbed"]


class FactorSpec(Struct, frozen=True):
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
    met: Met = field(default_factory=lambda: Met(), compare=False, repr=False)
    risks: dict[Job, list[tuple[slice, Array]]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def keys(self) -> tuple[Key, ...]:
        """Its components."""
        return tuple(part.key for part in self.parts)

    @cached_property
    def cylinder(self) -> int | None:
        """The cylinder whose components these are; none where there are others, too."""
        place = self.parts[0].key[1]
        return place if isinstance(place, int) and all(part.key[1] == place for part in self.parts) else None

    @cached_property
    def blocks(self) -> tuple[tuple[Feature, slice], ...]:
        """Each block of features with its place."""
        found, start = [], 0
        for feature in self.features:
            found.append((feature, slice(start, start + feature.size)))
            start += feature.size
        return tuple(found)

    @cached_property
    def width(self) -> int:
        """How many features there are."""
        return sum(feature.size for feature in self.features)

    @cached_property
    def mending(self) -> Array:
        """`[feature]`: money for mending the part whose block it is, where each part has a block of its own."""
        sizes = [part.states for part in self.parts]
        found = np.zeros(self.width)
        found[: sum(sizes)] = np.repeat([part.mending for part in self.parts], sizes)
        return found


class _Alone(Struct, frozen=True):
    """What one effect comes to at one part: `cure` as in `_cure`, and by value of the part's feature block the chance
    that it is unsound, or dangerous, afterwards, and the least and most of the cure."""

    cure: Array
    unsound: Array
    danger: Array
    least: Array
    most: Array


class _Joint(Struct, frozen=True):
    """The same of all parts of a site, by feature; `cures[part]`, none where it is 1 everywhere."""

    cures: tuple[Array | None, ...]
    unsound: Array
    danger: Array
    least: Array
    most: Array


class Met(Struct, frozen=True):
    """What effects come to, as worked out so far: sites of one case whose parts have the same chances share it."""

    parts: dict[object, _Alone] = msgspec.field(default_factory=dict)
    sites: dict[object, _Joint] = msgspec.field(default_factory=dict)


class Done(Struct, frozen=True):
    """A treatment with its factor for 'cured' and, `danger[feature]`, the chance that a dangerous state is left."""

    treatment: Treatment
    cure: FactorSpec
    danger: Array


def jobs_that_may_pay(
    tariff: Tariff,
    parts: Sequence[Part],
    jobs: Sequence[Job],
    posterior: Posterior,
    come_back: float,
    renewing: Sequence[Sequence[int]] | None = None,
) -> tuple[Job, ...]:
    """Jobs whose own money is less than the most that they can save, under some case of the posterior:

    sum over components that the job renews of [P(unsound) + chance that other work upsets it] x (mending + come-back).
    Taking a job out of a plan, and leaving all else in, makes 'cured' less likely by at most those chances, and costs
    no access; so the others are in no best plan. Jobs that renew what wears are kept, for they save later visits, too.
    `renewing[job]`: where among the parts those stand that a job renews, in the order that it names them, where that
    is known already.
    """
    reached = renewing if renewing is not None else places_renewed(tariff, [part.key for part in parts], jobs)
    saved: dict[int, Array] = {}  # [case], by part
    kept = []
    for job, places in zip(jobs, reached, strict=True):
        if any(parts[place].key[0] == WEARING for place in places):
            kept.append(job)
            continue
        for place in places:
            part = parts[place]
            if part.fault and place not in saved:
                unsound = 1.0 - part_chances(part, posterior)[:, 0] + part.upset
                saved[place] = unsound * (part.mending + come_back)
        most = sum(saved[place] for place in places if parts[place].fault)
        if np.max(most) > tariff.job_money(job).total:
            kept.append(job)
    return tuple(kept)


def places_renewed(tariff: Tariff, keys: Sequence[Key], jobs: Sequence[Job]) -> tuple[tuple[int, ...], ...]:
    """Of each job where among these components those stand that it renews."""
    places = {key: place for place, key in enumerate(keys)}
    return tuple(tuple(places[key] for key in tariff.renewed(job) if key in places) for job in jobs)


def job_sets(tariff: Tariff, jobs: Sequence[Job], wanted: Sequence[frozenset[Job]] = ()) -> tuple[tuple[Job, ...], ...]:
    """Sets of jobs with all that must follow, nothing first. Left out are sets in which one job renews nothing that the
    others do not, for it only costs; `wanted` ones come too. Raises TooLarge beyond ten jobs."""
    known, key = tariff.held_by_shape, ("job sets", tuple(jobs), tuple(wanted))
    if key not in known:
        known[key] = _job_sets(tariff, jobs, wanted)
    return cast(tuple[tuple[Job, ...], ...], known[key])


def _job_sets(tariff: Tariff, jobs: Sequence[Job], wanted: Sequence[frozenset[Job]]) -> tuple[tuple[Job, ...], ...]:
    if len(jobs) > MOST_JOBS:
        names = ", ".join(sorted({tariff.knowledge.repairs[job.repair].name for job in jobs}))
        raise TooLarge(f"too many jobs might pay at one place together ({names}); more findings would narrow them down")
    followed = {job: tariff.with_followers(job) for job in {*jobs, *(job for want in wanted for job in want)}}
    renewed = {job: frozenset[Key]().union(*(tariff.renewed(each) for each in followed[job])) for job in followed}
    found: dict[frozenset[Job], tuple[Job, ...]] = {frozenset(): ()}
    chosen: list[tuple[Job, ...]] = [(job,) for job in jobs]
    while chosen:
        for some in chosen:
            _add(found, some, followed)
        larger = ((*some, job) for some in chosen for job in jobs[jobs.index(some[-1]) + 1 :])
        chosen = [some for some in larger if _none_spare([renewed[job] for job in some])]
    for want in wanted:
        _add(found, sorted(want, key=str), followed)
    return tuple(found.values())


def _none_spare(renewed: Sequence[frozenset[Key]]) -> bool:
    """Whether each renews something that the others do not; what is spare in a set is so in every larger one."""
    return not any(
        mine <= frozenset[Key]().union(*renewed[:number], *renewed[number + 1 :]) for number, mine in enumerate(renewed)
    )


def _add(
    found: dict[frozenset[Job], tuple[Job, ...]], chosen: Sequence[Job], followed: Mapping[Job, tuple[Job, ...]]
) -> None:
    every = tuple(dict.fromkeys(each for job in chosen for each in followed[job]))
    found.setdefault(frozenset(every), every)


def done_by(workplace: Workplace, jobs: Sequence[Job]) -> Done:
    """What a set of jobs costs and does at a site."""
    tariff, parts = workplace.tariff, workplace.parts
    if not jobs and all(part.spot is not None for part in parts):
        return _nothing_done(workplace)
    effects = _effects(workplace, jobs)
    upset, repair_upset = _upset_elsewhere(workplace, jobs)
    if all(part.spot is not None for part in parts):
        mending, danger, least, most, cure = _of_plates(workplace, effects, upset)
    else:
        mending, danger, least, most, cure = _of_configuration(workplace, effects, upset)
    mending[workplace.blocks[0][1]] += repair_upset
    money = [tariff.job_money(job) for job in jobs]
    treatment = Treatment(
        jobs=tuple(jobs),
        labour=sum(each.labour for each in money),
        parts=sum(each.parts for each in money),
        charges=sum(each.charges for each in money),
        opens=frozenset().union(*(tariff.job_opens(job) | tariff.waits(job) for job in jobs)),
        complications=_complications(workplace, jobs),
        mending=mending,
        cure_least=least,
        cure_most=most,
        renews_wear=any(e == "renewed" and p.key[0] == WEARING for p, e in zip(parts, effects, strict=True)),
    )
    return Done(treatment, cure, danger)


def _nothing_done(workplace: Workplace) -> Done:
    """What it costs to leave a site of plates as it is: but for what mending costs later no number changes that."""
    known = workplace.tariff.held_by_shape
    key = "nothing done", tuple((part.key, part.spot) for part in workplace.parts), workplace.width
    if key not in known:
        _, danger, least, most, cure = _of_plates(workplace, ["left" for _ in workplace.parts], 1.0)
        unsound = np.concatenate([_met(workplace, part, "left").unsound for part in workplace.parts])
        none = np.zeros(workplace.width)
        laid = Treatment((), 0.0, 0.0, 0.0, frozenset(), none, none, least, most)
        known[key] = Done(laid, cure, danger), np.concatenate([unsound, none[len(unsound) :]])
    done, unsound = cast(tuple[Done, Array], known[key])
    return replace(done, treatment=replace(done.treatment, mending=unsound * workplace.mending))


Laid = tuple[Array, Array, Array, Array, FactorSpec]  # mending, danger, least and most by feature; the factor


def _of_plates(workplace: Workplace, effects: Sequence[Effect], upset: float) -> Laid:
    """Where each part has a block of its own, in their order; `upset` goes into the first."""
    parts = workplace.parts
    keys = tuple(
        (part.key[0], _table_of(part, effect).tobytes(), effect) for part, effect in zip(parts, effects, strict=True)
    )
    known, key = workplace.met.sites, (keys, upset, workplace.width)
    if key not in known:
        met = [_met(workplace, part, effect) for part, effect in zip(parts, effects, strict=True)]
        if upset != 1.0:
            first = met[0]
            met[0] = replace(first, cure=first.cure * upset, least=first.least * upset, most=first.most * upset)
        rest = np.zeros(workplace.width - sum(part.states for part in parts))
        known[key] = _Joint(
            tuple(each.cure if np.any(each.cure != 1.0) else None for each in met),
            np.concatenate([*(each.unsound for each in met), rest]),
            np.concatenate([*(each.danger for each in met), rest]),
            np.concatenate([*(each.least for each in met), rest + 1.0]),
            np.concatenate([*(each.most for each in met), rest + 1.0]),
        )
    joint = known[key]
    plates: dict[int, dict[int, Array]] = {}
    for part, one in zip(parts, joint.cures, strict=True):
        if part.spot is not None and one is not None:
            plates.setdefault(part.spot[0], {})[part.spot[1]] = one
    return joint.unsound * workplace.mending, joint.danger, joint.least, joint.most, FactorSpec(plates)


def _of_configuration(workplace: Workplace, effects: Sequence[Effect], upset: float) -> Laid:
    """Where parts of the configuration share a block."""
    mending, danger = np.zeros(workplace.width), np.zeros(workplace.width)
    least, most = np.ones(workplace.width), np.ones(workplace.width)
    cures = []
    for number, (part, effect) in enumerate(zip(workplace.parts, effects, strict=True)):
        each, where = _met(workplace, part, effect), _block_of(part, workplace.blocks)[1]
        scale = 1.0 if number else upset
        cures.append(each.cure * scale)
        mending[where] += part.mending * each.unsound
        danger[where] += each.danger
        least[where] *= each.least * scale
        most[where] *= each.most * scale
    return mending, danger, least, most, factor_spec(workplace.parts, cures)


def _table_of(part: Part, effect: Effect) -> Array:
    """The chances that an effect brings."""
    return {"left": _SURE, "renewed": part.fresh, "disturbed": part.disturbed}[effect]


def _met(workplace: Workplace, part: Part, effect: Effect) -> _Alone:
    """What an effect comes to at a part."""
    known, key = workplace.met.parts, (part.key[0], _table_of(part, effect).tobytes(), effect, part.columns)
    if key not in known:
        cure = _cure(part, effect)
        unsound, danger = (_spread_out(part, each) for each in _left(part, effect, workplace.prior))
        least, most = (cure, cure) if cure.ndim == 1 else (cure.min(axis=0), cure.max(axis=0))
        known[key] = _Alone(cure, unsound, danger, least, most)
    return known[key]


def _effects(workplace: Workplace, jobs: Sequence[Job]) -> tuple[Effect, ...]:
    """What jobs do to each component of a site: no number changes that."""
    tariff = workplace.tariff
    known, key = tariff.held_by_shape, ("effects", workplace.keys, tuple(jobs))
    if key not in known:
        renewed = frozenset[Key]().union(*(tariff.renewed(job) for job in jobs))
        disturbed = frozenset[Key]().union(*(tariff.disturbed(job) for job in jobs))
        known[key] = tuple(
            "renewed" if each in renewed else "disturbed" if each in disturbed else "left" for each in workplace.keys
        )
    return cast(tuple[Effect, ...], known[key])


def _upset_elsewhere(workplace: Workplace, jobs: Sequence[Job]) -> tuple[float, float]:
    """Chance that no job upsets anything at another site, and expected money for mending what they upset there."""
    own = {part.key for part in workplace.parts}
    fine, money = 1.0, 0.0
    for job in jobs:
        for key in workplace.tariff.disturbed(job) - own:
            part = workplace.all_parts.get(key)
            if part is not None and part.fault:
                fine *= 1.0 - part.upset
                money += part.upset * part.mending
    return fine, money


def _cure(part: Part, effect: Effect) -> Array:
    """Its factor of 'cured': `[configuration or 1, state]`, or `[configuration]` for one of the configuration."""
    factor = np.ones((1, part.states))
    if part.fault:
        sound = {"left": _SURE, "renewed": part.fresh[:, 0], "disturbed": part.disturbed[:, 0]}[effect]
        factor = np.zeros((len(sound), part.states))
        factor[:, 0] = sound
        if effect == "renewed":
            factor[:, 1:] = sound[:, None]
    return factor[0][list(part.columns)] if part.spot is None else factor


def factor_spec(parts: Sequence[Part], cures: Sequence[Array]) -> FactorSpec:
    """A factor of each part, `[configuration or 1, state]` or by configuration, as one of the site."""
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
    renewed = frozenset[Key]().union(*(workplace.tariff.renewed(job) for jobs in sets for job in jobs))
    for part in workplace.parts:
        factor = np.ones((1, part.states))
        if part.fault:
            factor = np.zeros((len(part.fresh), part.states)) + (part.fresh[:, :1] if part.key in renewed else 0.0)
            factor[:, 0] = 1.0
        cures.append(factor if part.spot is not None else factor[0][list(part.columns)])
    return factor_spec(workplace.parts, cures)


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


def _complications(workplace: Workplace, jobs: Sequence[Job]) -> Array:
    """`[feature]`: expected money for what can go wrong on the way."""
    found = np.zeros(workplace.width)
    for job in jobs:
        for where, money in _risks_of(workplace, job):
            found[where] += money
    return found


def _risks_of(workplace: Workplace, job: Job) -> list[tuple[slice, Array]]:
    """For each risk of a job the feature block that decides it, and the expected money there."""
    known, tariff = workplace.risks, workplace.tariff
    if job not in known:
        risks = tariff.knowledge.repairs[job.repair].risks
        decided = [(risk, *risk_chances(workplace, risk, job, workplace.blocks)) for risk in risks]
        known[job] = [(where, chances * tariff.risk_money(risk)) for risk, where, chances in decided]
    return known[job]


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
