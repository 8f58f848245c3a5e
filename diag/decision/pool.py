"""Candidate plans for the time after an answer, with all that their costs are linear in.

The pool holds some base plans (the best now, nothing, the usual options) and each of them with one site treated
otherwise. A pool can only make a check look worth less, never more. The way of acting at later failures is taken as it
stands now, so that the cost of every plan is linear in the posterior. May import: inference, numpy, and `binding`,
`later`, `risky`, `search`, `sites` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.decision.believing import choices_of
from diag.decision.binding import Bound, BoundSite
from diag.decision.later import Events
from diag.decision.parts import Part, only_sound
from diag.decision.risky import degrees_at, level_options
from diag.decision.search import Problem, pattern_of, policy_of
from diag.decision.sites import AccessKey, Plan, cure_factor
from diag.decision.tariff import SPECIALIST, SPECIALIST_JOB
from diag.inference import Array, Model, distinct, of_axis

__all__ = [
    "Candidates",
    "Catalogue",
    "access_saved",
    "alike_but_at",
    "candidates",
    "catalogue_of",
    "chosen_of",
    "coefficient_table",
    "neighbours",
    "options_needed",
    "singles_at",
]

FEW = 16  # configurations up to which it costs more to find those that are alike
PlansAlike = dict[tuple[int, ...], list[int]]  # plans by their options at some plates, alike everywhere else


@dataclass(frozen=True)
class Catalogue:
    """What `candidates` needs of a case, made once: options to ask of each plate, and the parts of plans' costs.

    `options[plate]` begins with 'as it is'. `cure[site][treatment]` maps plates to options; `seal[place]` is the
    (plate, option 'sound') of each wearing site. `singles`: (plate, option) for 'this component is sound', in which
    mending is linear, and for 'this degree stands at this level', in which complications are, by
    `sound[site][treatment, single]` beside `fixed[site][treatment]`; `configured` is the linear
    part in the configuration, `factor` that of 'cured', both `[site][treatment, configuration]`, of the configurations
    in `kept` alone.
    """

    bound: Bound
    problem: Problem
    options: tuple[tuple[Mapping[int, Array], ...], ...]
    cure: tuple[tuple[dict[int, int], ...], ...]
    seal: tuple[tuple[int, int], ...]
    singles: tuple[tuple[int, int], ...]
    sound: tuple[Array, ...]
    fixed: tuple[Array, ...]
    configured: tuple[Array, ...]
    factor: tuple[Array, ...]
    kept: NDArray[np.intp]
    _ways_out: list[tuple[float, Array, Array, Array]] = field(default_factory=list, compare=False, repr=False)
    _tables: dict[tuple[object, ...], Array] = field(default_factory=dict, compare=False, repr=False)
    _opens: dict[Plan, frozenset[AccessKey]] = field(default_factory=dict, compare=False, repr=False)
    _plans: dict[Plan, tuple[float, tuple[object, ...]]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def cured(self) -> tuple[tuple[list[int], NDArray[np.intp]], ...]:
        """For each site its plates, and `[treatment, plate]`: the option there that is 'cured'."""
        found = []
        for rows in self.cure:
            plates = sorted({plate for row in rows for plate in row})
            table = np.array([[row.get(plate, 0) for plate in plates] for row in rows], dtype=np.intp)
            found.append((plates, table.reshape(len(rows), len(plates))))
        return tuple(found)

    @cached_property
    def untouched(self) -> _Untouched:
        """What each site adds to a plan that does nothing there."""
        option = np.zeros(len(self.options), dtype=np.intp)
        for plates, options in self.cured:
            option[plates] = options[0]
        return _Untouched(
            option,
            np.array([each[0] for each in self.fixed]),
            *(np.stack([each[0] for each in rows]) for rows in (self.factor, self.sound, self.configured)),
        )


class _Untouched(Struct, frozen=True):
    """Of treatment 0, 'nothing': `option[plate]`, and by site `fixed`, `factor`, `sound` and `configured` as there."""

    option: NDArray[np.intp]
    fixed: Array
    factor: Array
    sound: Array
    configured: Array


@dataclass(frozen=True)
class Candidates:
    """Plans with the parts of their costs: `option[plan, plate]`, `factor[plan, configuration]` of 'cured'; `fixed`,
    `fee`, `[plan]`; `sound[plan, single]`, `configured[plan, configuration]`; `later[plan]` numbers `tables`, each
    `[configuration, which seals are sound]`: damage and later visits; configurations are the catalogue's. `plans[k]` is
    none for a way out. `among`: more plans, of which these were chosen, and which of their tables these have."""

    plans: tuple[Plan | None, ...]
    option: NDArray[np.intp]
    factor: Array
    fixed: Array
    fee: Array
    sound: Array
    configured: Array
    later: NDArray[np.intp]
    tables: Array
    among: tuple[Candidates, NDArray[np.intp]] | None = field(default=None, compare=False, repr=False)

    _singles: dict[int, list[tuple[int, int]]] = field(default_factory=dict, compare=False, repr=False)
    _needed: dict[int, list[int]] = field(default_factory=dict, compare=False, repr=False)
    _alike: dict[tuple[int, ...], list[PlansAlike]] = field(default_factory=dict, compare=False, repr=False)
    _folded: dict[tuple[int, ...], tuple[object, Array]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def beyond(self) -> Array:
        """`[plan, single]`: `sound` less what is alike in all plans."""
        return np.asarray(self.sound - self.sound.min(axis=0))

    @cached_property
    def differing(self) -> list[int]:
        """The singles that the plans treat differently."""
        return np.flatnonzero(self.beyond.max(axis=0) > 0).tolist()


def catalogue_of(
    bound: Bound, problem: Problem, model: Model, bases: Sequence[Plan], kept: NDArray[np.intp]
) -> Catalogue:
    """Everything about the treatments that a pool around some base plans can hold, once; of the `kept` configurations
    alone."""
    needed = [
        tuple(sorted({*site.thinkable, *(plan[number] for plan in bases)})) for number, site in enumerate(bound.sites)
    ]
    base, used = choices_of(bound, len(model.plates), needed)
    spared = bound.tariff.renewed(SPECIALIST_JOB) if SPECIALIST in bound.tariff.knowledge.repairs else frozenset()
    configurations = len(model.configurations)
    options = [[{}, *(each for each in listed if each)] for listed in base]
    places = [_moved(listed) for listed in base]
    singles: list[tuple[int, int]] = []
    columns: dict[tuple[int, int], int] = {}
    for site, some in zip(bound.sites, needed, strict=True):
        for part in site.parts:
            if part.spot is not None and part.fault and (part.key in spared or _differs(site, part, some)):
                plate, component = part.spot
                columns[part.spot] = len(singles)
                singles.append((plate, len(options[plate])))
                options[plate].append({component: only_sound(part)})
    for site, chances in zip(bound.sites, problem.belief.features, strict=True):
        for degree in degrees_at(site, chances[0], problem.fees.come_back):
            plate = degree.feature.plate
            columns[plate, of_axis(degree.feature.index)] = len(singles)
            levels = level_options(degree.feature)
            singles += [(plate, len(options[plate]) + number) for number in range(len(levels))]
            options[plate] += levels
    linear = [
        _linear(bound, problem, number, columns, (len(singles), configurations)) for number in range(len(bound.sites))
    ]
    cure = tuple(
        tuple(
            {plate: places[plate][option] for plate, option in rows[cure_factor(treatment)].items()}
            if treatment in some
            else {}
            for treatment in range(len(site.site.treatments))
        )
        for site, rows, some in zip(bound.sites, used, needed, strict=True)
    )
    seal = []
    for index in bound.wearing():
        (plate, option), *_ = used[index][1].items()
        seal.append((plate, places[plate][option]))
    return Catalogue(
        bound=bound,
        problem=problem,
        options=tuple(tuple(listed) for listed in options),
        cure=cure,
        seal=tuple(seal),
        singles=tuple(singles),
        sound=tuple(each[1] for each in linear),
        fixed=tuple(each[0] for each in linear),
        configured=tuple(each[2][:, kept] for each in linear),
        factor=tuple(
            _configuration_factors(bound, number, configurations)[:, kept] for number in range(len(bound.sites))
        ),
        kept=kept,
    )


def _differs(site: BoundSite, part: Part, treatments: Sequence[int]) -> bool:
    """Whether mending a component depends on which of the treatments is chosen."""
    start = 0
    for feature in site.features:
        if feature.kind == "component" and (feature.plate, feature.index) == part.spot:
            rows = {site.site.treatments[each].mending[start : start + feature.size].tobytes() for each in treatments}
            return len(rows) > 1
        start += feature.size
    return False


def _moved(listed: Sequence[Mapping[int, Array]]) -> dict[int, int]:
    """Where options stand once 'as it is' comes first."""
    order = [number for number, each in enumerate(listed) if each]
    return {number: order.index(number) + 1 if each else 0 for number, each in enumerate(listed)}


def _linear(
    bound: Bound, problem: Problem, number: int, columns: Mapping[tuple[int, int], int], widths: tuple[int, int]
) -> tuple[Array, Array, Array]:
    """Of each treatment of a site: fixed money, its parts by single, its parts by configuration."""
    site = bound.sites[number]
    treatments = site.site.treatments
    fixed = np.array([each.money for each in treatments], dtype=np.float64)
    chances = problem.belief.features[number][0]
    fixed += np.array([each.complications @ chances for each in treatments])
    sound, configured = (np.zeros((len(treatments), width)) for width in widths)
    for degree in degrees_at(site, chances, problem.fees.come_back):
        feature, beyond = degree.feature, degree.money[:, 1:] - degree.money[:, :1]
        column = columns[feature.plate, of_axis(feature.index)]
        sound[:, column : column + feature.size - 1] += beyond
        fixed -= beyond @ chances[degree.start + 1 : degree.start + feature.size]
    start = 0
    for feature in site.features:
        block = np.stack([each.mending[start : start + feature.size] for each in treatments])
        start += feature.size
        if feature.kind == "configuration":
            configured += block
        elif feature.kind == "component":
            fixed += block[:, -1]  # all unsound states of a component cost the same
            single = columns.get((feature.plate, feature.index))
            if single is not None:
                sound[:, single] += block[:, 0] - block[:, -1]
    return fixed, sound, configured


def _configuration_factors(bound: Bound, number: int, configurations: int) -> Array:
    site = bound.sites[number]
    specs = site.factors[2 : 2 + len(site.site.treatments)]
    plain = np.ones(configurations)
    return np.stack([plain if spec.configurations is None else spec.configurations for spec in specs])


def coefficient_table(events: Events, kept: NDArray[np.intp]) -> Array:
    """`[kept configuration, which are sound]`: the sum of the events' values where that is the truth."""
    wide = events.weight.shape[-1] > 1
    events = Events(*(each[..., kept] if wide else each for each in (events.weight, events.plain, events.sound)))
    which = first = np.arange(events.weight.shape[-1])
    if len(first) > FEW:  # most configurations are alike
        alike = np.concatenate([events.weight, *np.moveaxis(events.plain, 1, 0), *np.moveaxis(events.sound, 1, 0)])
        which, first = distinct(alike.T)
    plain, sound = events.plain[..., first], events.sound[..., first]
    half = (events.plain.shape[1] + 1) // 2  # in two halves of the sites, which one product of matrices joins
    left = _joined(plain[:, :half], sound[:, :half]) * events.weight[:, first, None]
    right = _joined(plain[:, half:], sound[:, half:])
    total = left.transpose(1, 2, 0) @ right.transpose(1, 0, 2)
    return np.asarray(total.reshape(len(first), -1)[which])


def _joined(plain: Array, sound: Array) -> Array:
    """`[event, configuration, which are sound]`: the product over sites, from `[event, site, configuration]`."""
    total = np.ones((len(plain), plain.shape[2], 1))
    for site in range(plain.shape[1]):
        pair = np.empty((len(plain), plain.shape[2], 1, 2))
        pair[..., 0, 0] = plain[:, site]
        pair[..., 0, 1] = plain[:, site] + sound[:, site]
        total = (total[..., None] * pair).reshape(*total.shape[:2], -1)
    return total


def neighbours(bases: Sequence[Plan], sites: Sequence[int], allowed: Sequence[Sequence[int]]) -> tuple[Plan, ...]:
    """Each base plan with one of the sites treated otherwise, where that is allowed everywhere; each plan once."""
    found: dict[Plan, None] = {}
    for base in bases:
        wrong = {site for site, (choice, some) in enumerate(zip(base, allowed, strict=True)) if choice not in some}
        for site in sites:
            for choice in sorted(allowed[site]) if wrong <= {site} else ():
                found.setdefault((*base[:site], choice, *base[site + 1 :]))
    return tuple(found)


def candidates(catalogue: Catalogue, plans: Sequence[Plan]) -> Candidates:
    """The parts of the costs of plans."""
    problem = catalogue.problem
    choices = np.array(plans, dtype=np.intp)
    touched, nothing = choices.any(axis=0), catalogue.untouched  # most plans leave most sites alone
    option = np.repeat(nothing.option[None], len(plans), axis=0)
    factor = np.repeat(nothing.factor[~touched].prod(axis=0)[None], len(plans), axis=0)
    fixed = np.full(len(plans), nothing.fixed[~touched].sum())
    sound = np.repeat(nothing.sound[~touched].sum(axis=0)[None], len(plans), axis=0)
    configured = np.repeat(nothing.configured[~touched].sum(axis=0)[None], len(plans), axis=0)
    tables: dict[tuple[object, ...], int] = {}
    kept: list[Array] = []
    later = []
    for plan in plans:
        if plan not in catalogue._plans:
            catalogue._plans[plan] = _access(catalogue, plan), (pattern_of(problem, plan), policy_of(problem, plan))
        _, key = catalogue._plans[plan]
        if key not in tables:
            tables[key] = len(kept)
            if key not in catalogue._tables:
                catalogue._tables[key] = _table(catalogue, plan)
            kept.append(catalogue._tables[key])
        later.append(tables[key])
    for site in np.flatnonzero(touched).tolist():
        chosen = choices[:, site]
        plates, options = catalogue.cured[site]
        option[:, plates] = options[chosen]
        fixed += catalogue.fixed[site][chosen]
        factor *= catalogue.factor[site][chosen]
        sound += catalogue.sound[site][chosen]
        configured += catalogue.configured[site][chosen]
    fixed += [catalogue._plans[plan][0] for plan in plans]
    fee = np.full(len(plans), problem.fees.come_back)
    return Candidates(
        tuple(plans), option, factor, fixed, fee, sound, configured, np.array(later, dtype=np.intp), np.stack(kept)
    )


def chosen_of(plans: Candidates, rows: Sequence[int]) -> Candidates:
    """Some of the plans, with the tables that they have."""
    later = plans.later[rows]
    used = np.flatnonzero(np.bincount(later))
    return Candidates(
        tuple(plans.plans[row] for row in rows),
        plans.option[rows],
        plans.factor[rows],
        plans.fixed[rows],
        plans.fee[rows],
        plans.sound[rows],
        plans.configured[rows],
        np.searchsorted(used, later),
        plans.tables[used],
        among=(plans, used),
    )


def alike_but_at(plans: Candidates, plates: tuple[int, ...]) -> list[PlansAlike]:
    """Plans that pay for a come-back in groups that are alike in 'cured' everywhere but at some plates."""
    if plates not in plans._alike:
        rest = plans.option.copy()
        rest[:, list(plates)] = 0
        groups: dict[tuple[bytes, bytes], PlansAlike] = {}
        for row, mine in enumerate(plans.option[:, list(plates)].tolist()):
            if plans.fee[row]:
                group = groups.setdefault((rest[row].tobytes(), plans.factor[row].tobytes()), {})
                group.setdefault(tuple(mine), []).append(row)
        plans._alike[plates] = list(groups.values())
    return plans._alike[plates]


def singles_at(catalogue: Catalogue, plans: Candidates, plate: int) -> list[tuple[int, int]]:
    """(single, its option) of the components of a plate that the plans treat differently."""
    if not plans._singles:
        for single in plans.differing:
            where, option = catalogue.singles[single]
            plans._singles.setdefault(where, []).append((single, option))
    return plans._singles.get(plate, [])


def options_needed(catalogue: Catalogue, plans: Candidates, plate: int) -> list[int]:
    """Options of a plate that the costs of plans need."""
    if plate not in plans._needed:
        wanted = {0, *plans.option[:, plate].tolist()}
        wanted |= {option for _, option in singles_at(catalogue, plans, plate)}
        plans._needed[plate] = sorted(wanted | {option for where, option in catalogue.seal if where == plate})
    return plans._needed[plate]


def _table(catalogue: Catalogue, plan: Plan) -> Array:
    problem = catalogue.problem
    if not problem.later.wears:
        return np.zeros((len(catalogue.kept), 1))
    return coefficient_table(problem.later.events(pattern_of(problem, plan), policy_of(problem, plan)), catalogue.kept)


def _access(catalogue: Catalogue, plan: Plan) -> float:
    """Access and finish of a plan."""
    problem = catalogue.problem
    done = any(site.treatments[choice].jobs for site, choice in zip(problem.sites, plan, strict=True))
    opening = sum(problem.fees.access.get(key, 0.0) for key in sorted(opens_of(catalogue, plan)))
    return opening + (problem.fees.finish if done else 0.0)


def access_saved(catalogue: Catalogue, plans: Candidates, opened: frozenset[AccessKey]) -> Array:
    """`[plan]`: what further open access saves each plan; nothing with a way out."""
    saved: dict[frozenset[AccessKey], float] = {frozenset(): 0.0}  # by what is open that a plan needs: few differ
    result = []
    for plan in plans.plans:
        shared = opens_of(catalogue, plan) & opened if plan is not None else frozenset[AccessKey]()
        if shared not in saved:
            saved[shared] = sum(catalogue.problem.fees.access.get(key, 0.0) for key in sorted(shared))
        result.append(saved[shared])
    return np.array(result, dtype=np.float64)


def opens_of(catalogue: Catalogue, plan: Plan) -> frozenset[AccessKey]:
    """The access that a plan needs; worked out once."""
    known = catalogue._opens.get(plan)
    if known is None:
        chosen = [site.treatments[choice] for site, choice in zip(catalogue.problem.sites, plan, strict=True) if choice]
        known = catalogue._opens[plan] = frozenset[AccessKey]().union(*(treatment.opens for treatment in chosen))
    return known
