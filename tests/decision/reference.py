"""The objective reckoned the slow way: world by world, with nothing of `diag.decision` but its names for jobs.

Worlds come from `tests.support.brute_force`. What a plan costs in one world is written out here from the words of the
objective, and the expected total is the sum over worlds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import Case
from diag.decision import Job
from diag.inference import Evidence
from diag.knowledge_base import Knowledge
from diag.network import CaseNetwork
from tests.support.brute_force import CONFIGURATION, Worlds, all_worlds, weigh

Array = NDArray[np.float64]
STEPS = 6


@dataclass(frozen=True)
class Slow:
    """A case with all its worlds and their posterior `chance[world]` (or, for some evidence, joint with it)."""

    knowledge: Knowledge
    case: Case
    network: CaseNetwork
    worlds: Worlds
    chance: Array

    @property
    def rate(self) -> float:
        return self.knowledge.prices.labour_per_hour.value / 60

    def state(self, component: str, place: Place) -> NDArray[np.int64]:
        """`[world]`: the state of a component."""
        spot = self.network.component_at(component, place)
        if spot is None:
            return self.network.configuration_states(component, place)[self.worlds.columns[CONFIGURATION]]
        return self.worlds.columns[("component", *spot)]

    def places(self, component: str) -> tuple[Place, ...]:
        per = self.knowledge.components[component].per
        return self.case.engine.cylinders if per == "cylinder" else (None,)


def slow_of(knowledge: Knowledge, case: Case, network: CaseNetwork) -> Slow:
    """Write down all worlds of a case."""
    worlds = all_worlds(network.model)
    weights = weigh(network.model, worlds, network.evidence)[0]
    return Slow(knowledge, case, network, worlds, weights / weights.sum())


def heard(slow: Slow, evidence: Evidence) -> Array:
    """`[outcome, world]`: joint chance of each outcome and each world; `evidence` adds to what is known."""
    return weigh(slow.network.model, Worlds(slow.worlds.columns, slow.chance), evidence)


def _bank(slow: Slow, place: Place) -> tuple[str, ...]:
    return (slow.case.engine.bank_of(place),) if isinstance(place, int) else tuple(slow.case.engine.banks)


def opened_by(slow: Slow, job: Job) -> set[tuple[str, str]]:
    """What a job needs open; to lay injectors bare the covers come off, too."""
    access = slow.knowledge.repairs[job.repair].access
    kinds = {"bare": ("bare", "covers"), "covers": ("covers",), "none": ()}[access]
    return {(kind, bank) for kind in kinds for bank in _bank(slow, job.place)}


def opening(slow: Slow, keys: Iterable[tuple[str, str]]) -> float:
    return sum(slow.case.engine.access_minutes[kind][bank] * slow.rate for kind, bank in keys)


def money_of(slow: Slow, job: Job) -> float:
    repair = slow.knowledge.repairs[job.repair]
    parts = sum(n * slow.knowledge.prices.parts[part].price.value for part, n in repair.parts.items())
    return repair.minutes.value * slow.rate + parts + repair.money.value


def _risk(slow: Slow, job: Job, level: int) -> float:
    """Expected money of what goes wrong at one level of blowing."""
    return sum(
        risk.chance[("none", "slight", "strong")[level]].value * risk.minutes.value * slow.rate
        for risk in slow.knowledge.repairs[job.repair].risks
    )


def _failed_risk(slow: Slow, job: Job, component: str, failed: bool) -> float:
    """The same where a seal has failed, in the shares in which it does; a sound one does not blow."""
    if component != "seal" or not failed:
        return _risk(slow, job, 0)
    weeping = 0.2 * _risk(slow, job, 0) + 0.7 * _risk(slow, job, 1) + 0.1 * _risk(slow, job, 2)
    blown = 0.05 * _risk(slow, job, 0) + 0.1 * _risk(slow, job, 1) + 0.85 * _risk(slow, job, 2)
    return 0.6 * weeping + 0.4 * blown


def come_back(slow: Slow) -> float:
    prices = slow.knowledge.prices
    return prices.customer.return_visit.value + slow.rate * (
        prices.diagnosis_minutes.value + prices.finish_minutes.value
    )


def mending(slow: Slow, component: str, place: Place) -> float:
    """The cheapest job alone, with its access and the complications of that failure."""
    costs = []
    for repair_id, repair in slow.knowledge.repairs.items():
        if repair.kind == "mend" and component in repair.renews:
            job = Job(repair_id, place)
            costs.append(
                money_of(slow, job) + opening(slow, opened_by(slow, job)) + _failed_risk(slow, job, component, True)
            )
    return min(costs)


def expected(
    slow: Slow, jobs: Iterable[Job], chance: Array | None = None, open_now: frozenset[tuple[str, str]] = frozenset()
) -> dict[str, float]:
    """The parts of a plan's expected total, later visits for each way of acting; `chance[world]` may be joint."""
    done, weights = tuple(jobs), slow.chance if chance is None else chance
    prices, total = slow.knowledge.prices, float(weights.sum())
    keys = set().union(*(opened_by(slow, job) for job in done)) - open_now if done else set()
    parts = {
        "certain": total * (sum(money_of(slow, job) for job in done) + opening(slow, keys)),
        "finish": total * (prices.finish_minutes.value * slow.rate if done else 0.0),
        "complications": 0.0,
    }
    for job in done:
        if slow.knowledge.repairs[job.repair].risks:
            levels = slow.worlds.columns[("axis", *slow.network.severity_at("blow", int(job.place or 0)))]
            parts["complications"] += float(
                sum(weights[levels == level].sum() * _risk(slow, job, level) for level in range(3))
            )
    cured, left = np.ones(len(weights)), 0.0
    for component, known in slow.knowledge.components.items():
        if not known.fault:
            continue
        for place in slow.places(component):
            fine = _fine_after(slow, component, place, done)
            cured = cured * fine
            left += float(weights @ (1 - fine)) * mending(slow, component, place)
    parts["come_back"] = come_back(slow) * float(weights @ (1 - cured))
    parts["mending"] = left
    renewed = renewed_seals(slow, done)
    fine_seals = np.ones(len(weights), dtype=bool)
    for place in slow.case.engine.cylinders:
        fine_seals &= (slow.state("seal", place) == 0) | (place in renewed)
    parts["damage"] = prices.customer.damage_of_driving_on.value * float(weights[~fine_seals].sum())
    return parts


def renewed_seals(slow: Slow, jobs: Iterable[Job]) -> frozenset[int]:
    return frozenset(
        job.place for job in jobs if "seal" in slow.knowledge.repairs[job.repair].renews and isinstance(job.place, int)
    )


def _fine_after(slow: Slow, component: str, place: Place, jobs: tuple[Job, ...]) -> Array:
    """`[world]`: chance that a component is sound after the plan."""
    mine = [slow.knowledge.repairs[job.repair] for job in jobs if job.place == place]
    known = slow.knowledge.components[component]
    sound = (slow.state(component, place) == 0).astype(np.float64)
    if any(component in repair.renews for repair in mine):
        return np.full(len(sound), 1 - sum(figure.value for figure in known.fresh.values()))
    if any(component in repair.disturbs for repair in mine):
        return sound * (1 - sum(figure.value for figure in known.disturbed.values()))
    return sound


def _survival(slow: Slow, used: float, months: float, scale: float) -> float:
    shape = slow.knowledge.components["seal"].life.shape.value  # type: ignore[union-attr]
    further = months * slow.knowledge.prices.customer.km_per_year.value / 12
    return float(np.exp((used / scale) ** shape - ((used + further) / scale) ** shape))


def _discount(slow: Slow, months: float) -> float:
    return float((1 + slow.knowledge.prices.customer.discount_per_year.value) ** (-months / 12))


def later(slow: Slow, jobs: Iterable[Job], way: str, chance: Array | None = None) -> float:
    """Expected cost of later seal visits: `way` is 'alone', or the cylinders that are done together, as 'together'."""
    weights = slow.chance if chance is None else chance
    renewed = renewed_seals(slow, jobs)
    total = 0.0
    stress = slow.state("stress", None)
    states = np.stack([slow.state("seal", place) for place in slow.case.engine.cylinders], axis=1)
    keys = np.concatenate([stress[:, None], states == 0], axis=1)
    for row in np.unique(keys, axis=0):
        here = float(weights[(keys == row).all(axis=1)].sum())
        sound = {place: bool(row[1 + n]) for n, place in enumerate(slow.case.engine.cylinders)}
        total += here * _later_given(slow, int(row[0]), sound, renewed, way)
    return total


def _later_given(slow: Slow, stress: int, sound: dict[int, bool], renewed: frozenset[int], way: str) -> float:
    life = slow.knowledge.components["seal"].life
    assert life is not None
    scale = life.scale.value * (life.scale_under["stress"]["harsh"].value if stress else 1.0)
    months = slow.knowledge.prices.customer.horizon_months.value / STEPS
    used = {
        place: 0.0 if place in renewed or not fine else float(slow.case.distance_km or 0)
        for place, fine in sound.items()
    }
    job = Job("reseal", 1)
    failed = money_of(slow, job) + _failed_risk(slow, job, "seal", True)
    still = money_of(slow, job) + _failed_risk(slow, job, "seal", False)

    early = sum(figure.value for figure in slow.knowledge.components["seal"].fresh.values())

    @cache
    def fails(age: float, start: int, good: float) -> tuple[tuple[int, float], ...]:
        """Chance to fail in each step from `start` on, for one of an age then, sound to begin with by a chance `good`;
        one that is not is found in its first step."""
        ends = [1.0, *(good * _survival(slow, age, months * n, scale) for n in range(1, STEPS - start + 1))]
        return tuple((start + n, ends[n] - ends[n + 1]) for n in range(STEPS - start))

    @cache
    def visits(age: float, start: int, good: float = 1.0) -> float:
        then = (p * (_discount(slow, months * (n + 0.5)) + again(n + 1)) for n, p in fails(age, start, good))
        return sum(then)

    def again(start: int) -> float:
        """Visits after one was renewed at a later visit."""
        return visits(0.0, start, 1.0 - early)

    def one(place: int) -> float:
        return come_back(slow) + opening(slow, opened_by(slow, Job("reseal", place))) + failed

    if way == "alone":
        return sum(one(place) * visits(used[place], 0) for place in sound)
    total, holding = 0.0, 1.0
    keys = set().union(*(opened_by(slow, Job("reseal", place)) for place in sound))
    first = come_back(slow) + opening(slow, keys) + failed + still * (len(sound) - 1)
    for n in range(STEPS):
        until = float(np.prod([_survival(slow, used[place], months * (n + 1), scale) for place in sound]))
        after = sum(one(place) * again(n + 1) for place in sound)
        total += (holding - until) * (first * _discount(slow, months * (n + 0.5)) + after)
        holding = until
    return total


def expected_total(slow: Slow, jobs: Iterable[Job]) -> float:
    """The expected total on an engine of one bank: the better way of acting later."""
    done = tuple(jobs)
    return sum(expected(slow, done).values()) + min(later(slow, done, "alone"), later(slow, done, "together"))
