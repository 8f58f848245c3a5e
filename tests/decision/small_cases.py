"""The exact optimum of small cases by dynamic programming over everything that can be told: no code of the rankings.

Costs of plans and chances of answers come from the sum over worlds (`tests.decision.reference`). Cells are the joint
levels of all that any answer shows; given the cell, answers are independent of each other and of what plans cost, so a
state is what has been answered and what stands open, and

    value(state) = min(least over plans of expected cost, least over checks of cost + sum over answers of value(after))

(Raiffa 1968: backward induction). Everything is jointly with the answers so far, so nothing is divided.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations, product

import numpy as np

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch
from diag.decision import Advice, Job, advise
from diag.inference import Array
from diag.knowledge_base import Knowledge
from tests.decision.reference import (
    Slow,
    _fine_after,
    _later_given,
    _risk,
    come_back,
    mending,
    money_of,
    opened_by,
    opening,
    renewed_seals,
    slow_of,
)
from tests.decision.tiny import Figures, case_of, knowledge, network_of

CHECKS: dict[tuple[str, Place], tuple[tuple[str, Place], ...]] = {
    ("listen", 1): (("chuff", 1),),
    ("listen", 2): (("chuff", 2),),
    ("look", "A"): (("tar", 1), ("tar", 2)),
    ("probe", 1): (("spray", 1),),
    ("probe", 2): (("spray", 2),),
    ("gauge", None): (("whine", None),),
}
MINUTES = {"listen": 3.0, "look": 8.0, "probe": 20.0, "gauge": 10.0}
ACCESS = {"listen": (), "gauge": (), "look": ("covers",), "probe": ("covers", "bare")}
JOBS = [Job(repair, place) for repair in ("reseal", "replace_injector", "replace_pipe") for place in (1, 2)]
JOBS.append(Job("replace_pump", None))

Answers = frozenset[tuple[str, Place, bool]]
Open = frozenset[tuple[str, str]]


@dataclass
class SmallCase:
    """One small case laid out for dynamic programming: `costs[open][plan, cell]`, `cells[cell]`, `says[item][cell]`."""

    figures: Figures
    told: dict[tuple[str, Place], str]
    slow: Slow = field(init=False)
    says: dict[tuple[str, Place], Array] = field(init=False)
    chance: Array = field(init=False)
    member: Array = field(init=False)
    plans: list[tuple[Job, ...]] = field(init=False)
    _costs: dict[Open, Array] = field(default_factory=dict)
    _values: dict[tuple[Answers, Open], float] = field(default_factory=dict)
    _mended: dict[tuple[str, Place], float] = field(default_factory=dict)
    _visits: dict[tuple[object, ...], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known = calm(knowledge(self.figures))
        case = case_of(known, self.told, self.figures.distance)
        self.slow = slow_of(known, case, network_of(known, case))
        network = self.slow.network
        shown = []
        for place in (1, 2):
            shown.append(("axis", *network.severity_at("blow", place)))
            shown.append(("component", *self._spot("injector", place)))
        shown.append(("component", *self._spot("pump", None)))
        columns = np.stack([self.slow.worlds.columns[name] for name in shown], axis=1)
        rows, self.member = np.unique(columns, axis=0, return_inverse=True)
        self.member = self.member.ravel()
        self.chance = np.bincount(self.member, weights=self.slow.chance)
        place_of = {("blow", 1): 0, ("injector", 1): 1, ("blow", 2): 2, ("injector", 2): 3, ("pump", None): 4}
        self.says = {}
        for item, where in (question for asked in CHECKS.values() for question in asked):
            finding = known.findings[item]
            severity = known.severities.get(finding.shows)
            levels = list(severity.levels if severity is not None else known.components[finding.shows].states)
            by_level = np.array([finding.chance[name].value for name in levels])
            self.says[item, where] = by_level[rows[:, place_of[finding.shows, where]]]
        self.plans = [some for count in range(5) for some in combinations(JOBS, count) if _sensible(some)]

    def _spot(self, component: str, place: Place) -> tuple[int, int]:
        spot = self.slow.network.component_at(component, place)
        assert spot is not None
        return spot

    @property
    def rate(self) -> float:
        return self.slow.rate

    def costs(self, opened: Open) -> Array:
        """`[plan, cell]`: cost jointly with the cell; two rows a plan, one for each way of acting later."""
        if not self._costs:
            rows = np.concatenate([self._world_costs(jobs) for jobs in self.plans]) * self.slow.chance
            joint = np.zeros((len(rows), len(self.chance)))
            for cell in range(len(self.chance)):
                joint[:, cell] = rows[:, self.member == cell].sum(axis=1)
            self._costs[frozenset()] = joint
        if opened not in self._costs:
            saved = [opening(self.slow, _needed(jobs) & opened) for jobs in self.plans for _ in range(2)]
            self._costs[opened] = self._costs[frozenset()] - np.array(saved)[:, None] * self.chance
        return self._costs[opened]

    def _world_costs(self, jobs: tuple[Job, ...]) -> Array:
        """`[way of acting later, world]`: the objective, world by world."""
        slow = self.slow
        prices = slow.knowledge.prices
        keys: set[tuple[str, str]] = set().union(*(opened_by(slow, job) for job in jobs)) if jobs else set()
        total = np.zeros(len(slow.chance)) + sum(money_of(slow, job) for job in jobs) + opening(slow, keys)
        total += prices.finish_minutes.value * slow.rate if jobs else 0.0
        for job in jobs:
            if slow.knowledge.repairs[job.repair].risks:
                levels = slow.worlds.columns[("axis", *slow.network.severity_at("blow", int(job.place or 0)))]
                total += np.array([_risk(slow, job, level) for level in range(3)])[levels]
        cured = np.ones(len(total))
        for component, known in slow.knowledge.components.items():
            for place in slow.places(component) if known.fault else ():
                fine = _fine_after(slow, component, place, jobs)
                cured = cured * fine
                total += (1 - fine) * self._mending(component, place)
        total += come_back(slow) * (1 - cured)
        renewed = renewed_seals(slow, jobs)
        sound = {place: slow.state("seal", place) == 0 for place in (1, 2)}
        good = np.all([sound[place] | (place in renewed) for place in (1, 2)], axis=0)
        total += prices.customer.damage_of_driving_on.value * ~good
        stress = slow.state("stress", None)
        return np.stack([total + self._later(stress, sound, renewed, way) for way in ("alone", "together")])

    def _mending(self, component: str, place: Place) -> float:
        if (component, place) not in self._mended:
            self._mended[component, place] = mending(self.slow, component, place)
        return self._mended[component, place]

    def _later(self, stress: Array, sound: dict[int, Array], renewed: frozenset[int], way: str) -> Array:
        result = np.zeros(len(stress))
        for row in product((0, 1), (False, True), (False, True)):
            here = (stress == row[0]) & (sound[1] == row[1]) & (sound[2] == row[2])
            key = (*row, renewed, way)
            if key not in self._visits:
                self._visits[key] = _later_given(self.slow, row[0], {1: row[1], 2: row[2]}, renewed, way)
            result[here] = self._visits[key]
        return result

    def weight(self, answers: Answers) -> Array:
        """`[cell]`: chance of the answers given the cell."""
        total = np.ones(len(self.chance))
        for item, place, present in answers:
            total = total * (self.says[item, place] if present else 1.0 - self.says[item, place])
        return total

    def stop(self, answers: Answers, opened: Open) -> float:
        """Least cost of repairing now, jointly with the answers."""
        return float((self.costs(opened) @ self.weight(answers)).min())

    def check_cost(self, check: str, opened: Open) -> float:
        wanted = {(kind, "A") for kind in ACCESS[check]}
        return MINUTES[check] * self.rate + opening(self.slow, wanted - opened)

    def value(self, answers: Answers = frozenset(), opened: Open = frozenset()) -> float:
        """The least that any policy can reach from here, jointly with the answers."""
        key = (answers, opened)
        if key not in self._values:
            here = float(self.chance @ self.weight(answers))
            best = self.stop(answers, opened)
            asked = {(item, place) for item, place, _ in answers}
            for (check, _), questions in CHECKS.items():
                if any(question in asked for question in questions):
                    continue
                after = opened | {(kind, "A") for kind in ACCESS[check]}
                cost = self.check_cost(check, opened) * here
                if cost < best:
                    cost += sum(self.value(answers | each, after) for each in outcomes(questions))
                    best = min(best, cost)
            self._values[key] = best
        return self._values[key]


@dataclass
class Followed:
    """What diag's advice costs on a small case, followed through every answer; `ahead`: with pairs of checks."""

    small: SmallCase
    ahead: bool
    steps: int = 0

    def value(self, answers: Answers = frozenset(), opened: Open = frozenset()) -> float:
        """Expected cost from here, jointly with the answers."""
        self.steps += 1
        advice = self._advice(answers, opened)
        check = advice.check
        if check is None:
            return self._repaired(advice, answers, opened)
        after = opened | {(kind, "A") for kind in ACCESS[check.check]}
        here = float(self.small.chance @ self.small.weight(answers))
        following = outcomes(CHECKS[check.check, check.place])
        return self.small.check_cost(check.check, opened) * here + sum(
            self.value(answers | each, after) for each in following
        )

    def _advice(self, answers: Answers, opened: Open) -> Advice:
        known, case = self.small.slow.knowledge, self.small.slow.case
        said = tuple(
            Answer(item, place, "present" if yes else "absent") for item, place, yes in sorted(answers, key=str)
        )
        told: Case = replace(case, epochs=(Epoch(answers=(*case.epochs[0].answers, *said)),), open_access=tuple(opened))
        return advise(known, told, network_of(known, told), ahead=self.ahead)

    def _repaired(self, advice: Advice, answers: Answers, opened: Open) -> float:
        wanted = set(advice.repair.best.jobs)
        place = next(number for number, jobs in enumerate(self.small.plans) if set(jobs) == wanted)
        rows = self.small.costs(opened)[2 * place : 2 * place + 2] @ self.small.weight(answers)
        return float(rows.min())


def small_case(number: int) -> SmallCase:
    """A random small engine: its numbers, its money and its complaint."""
    random = np.random.default_rng(number)
    figures = Figures(
        scale=float(random.uniform(200_000, 400_000)),
        stress=float(random.uniform(0.1, 0.5)),
        distance=float(random.uniform(60_000, 240_000)),
        injector_bad=float(random.uniform(0.02, 0.2)),
        pump_worn=float(random.uniform(0.02, 0.2)),
        access=float(random.uniform(5, 90)),
        return_visit=float(random.uniform(100, 900)),
        damage=float(random.uniform(0, 400)),
        refer=1e6,
    )
    told = [{("shaking", None): "present"}, {("chuff", 1): "present"}, {("tar", 2): "present"}][number % 3]
    return SmallCase(figures, told)


def calm(known: Knowledge) -> Knowledge:
    """The tiny workshop without anything dangerous, and with the checks of this module alone."""
    components = {}
    for name, component in known.components.items():
        states = {each: state.model_copy(update={"dangerous": False}) for each, state in component.states.items()}
        components[name] = component.model_copy(update={"states": states})
    names = {check for check, _ in CHECKS}
    checks = {name: check for name, check in known.checks.items() if name in names}
    return known.model_copy(update={"components": components, "checks": checks})


def outcomes(questions: tuple[tuple[str, Place], ...]) -> list[Answers]:
    """Every joint answer to some questions."""
    return [
        frozenset((item, place, said) for (item, place), said in zip(questions, each, strict=True))
        for each in product((True, False), repeat=len(questions))
    ]


def _sensible(jobs: tuple[Job, ...]) -> bool:
    """Not both a new injector (which brings a seal) and a new seal at one cylinder."""
    return all(not {Job("reseal", place), Job("replace_injector", place)} <= set(jobs) for place in (1, 2))


def _needed(jobs: tuple[Job, ...]) -> Open:
    kinds = {"reseal": ("covers", "bare"), "replace_injector": ("covers", "bare"), "replace_pipe": ("covers",)}
    return frozenset((kind, "A") for job in jobs for kind in kinds.get(job.repair, ()))
