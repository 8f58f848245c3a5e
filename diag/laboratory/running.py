"""One simulated case run to its end under a policy, and what perfect information would have cost.

May import: decision, network, casebook, knowledge_base, inference, basics, numpy, and this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

import numpy as np

from diag.basics import ImpossibleEvidence, TooLarge, UsageError
from diag.casebook import Answer, Case, Measured
from diag.decision import Job, Reckoning, Vehicle, least_total, realised, reckon, tariff_of
from diag.inference import Evidence, Posterior, infer
from diag.knowledge_base import Knowledge
from diag.laboratory.desk import Desk
from diag.laboratory.glances import Known
from diag.laboratory.policies import Policy, Reasoned, items_of
from diag.laboratory.session import CheckStep, RepairStep, Step, asked_in, told_key, with_found
from diag.laboratory.vehicles import Drawn
from diag.network import CaseNetwork, build

__all__ = ["CaseRun", "Workshop", "certain_posterior", "certainty_of", "least_of", "sets_at_sites"]

MOST_TOGETHER = 8  # shared jobs of a plan up to which every subset may be the work at one site
MOST_CHECKS = 60  # after so many a policy has to repair


@dataclass(frozen=True)
class CaseRun:
    """One case under one policy, in the currency: `checks` done and their cost, `repair` and everything after it, and
    `least`: what the best plan costs on this vehicle where its truth is known. `expected`: what the policy expected the
    repair to come to, none where it does not reckon. `returns`: chance of a return visit with something not mended;
    `wrong`: jobs with parts done though everything that they renew was sound; `stuck`: the answers were impossible or
    too many for the policy's numbers, and it repaired on what it knew before."""

    policy: str
    start: str
    number: int
    checks: int
    check_cost: float
    repair: float
    returns: float
    wrong: int
    least: float
    expected: float | None
    stuck: bool

    @property
    def total(self) -> float:
        """Checks, repair and what comes after it."""
        return self.check_cost + self.repair


@dataclass
class _Course:
    """A case on its way under a policy: what is known now, what the checks came to, the repair that seemed best before
    the last answers, and the repair once it is decided."""

    drawn: Drawn
    policy: Policy
    case: Case
    spent: float = 0.0
    checks: int = 0
    stuck: bool = False
    last: RepairStep = field(default_factory=lambda: RepairStep(()))
    repair: RepairStep | None = None


@dataclass
class Workshop:
    """Runs cases of one start. `belief`: the numbers that policies know, `truth`: those that vehicles are drawn from
    and that decide what becomes of a repair. Remembers every decision: the same findings lead to the same step."""

    belief: Knowledge
    truth: Knowledge
    start: Case
    _desk: Desk = field(init=False, repr=False)
    _steps: dict[object, Step] = field(default_factory=dict, repr=False)
    _priced: dict[object, Reckoning] = field(default_factory=dict, repr=False)
    _least: dict[Vehicle, float] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self._desk = Desk(self.belief)

    def run(self, drawn: Drawn, policy: Policy) -> CaseRun:
        """One case from the complaint to its end."""
        course = _Course(drawn, policy, self.start)
        while course.repair is None:
            self._go_on(course, self._steps)
        return self._ended(course)

    def run_all(self, fleet: Sequence[Drawn], policies: Sequence[Policy]) -> tuple[CaseRun, ...]:
        """Every case under every policy, case by case. Rules of thumb go through all cases in step, and all moments of
        a step are weighed together; nothing is remembered of them afterwards, so that what comes out depends on these
        cases alone."""
        courses = [_Course(drawn, policy, self.start) for drawn in fleet for policy in policies]
        steps: dict[object, Step] = {}
        going = [course for course in courses if not isinstance(course.policy, Reasoned)]
        while going:
            self._desk.look([course.case for course in going])
            for course in going:
                self._go_on(course, steps)
            going = [course for course in going if course.repair is None]
        self._desk.look(())
        for course in courses:
            while course.repair is None:
                self._go_on(course, self._steps)
        return tuple(self._ended(course) for course in courses)

    def _go_on(self, course: _Course, steps: dict[object, Step]) -> None:
        """One more check, or the repair."""
        try:
            step = self._step(course, steps)
        except (ImpossibleEvidence, TooLarge):
            step, course.stuck = course.last, True
        if isinstance(step, RepairStep):
            course.repair = step
            return
        course.last = step.repair
        if course.checks >= MOST_CHECKS:
            course.repair = step.repair
            return
        course.case = with_found(course.case, self._answers(course.drawn, step, course.case), step.opens)
        course.spent, course.checks = course.spent + step.cost, course.checks + 1

    def _ended(self, course: _Course) -> CaseRun:
        """What it came to."""
        drawn, repair = course.drawn, course.repair
        assert repair is not None
        found = realised(self._ready(repair.jobs, course.case), repair.jobs, drawn.vehicle, repair.later)
        if found is None:
            raise UsageError(f"'{course.policy.name}' chose jobs that are no plan: {repair.jobs}")
        return CaseRun(
            course.policy.name,
            self.start.title,
            drawn.number,
            course.checks,
            course.spent,
            found.total,
            found.returns,
            sum(self._wrong(drawn, job) for job in repair.jobs),
            self.least(drawn.vehicle),
            repair.expected,
            course.stuck,
        )

    def _step(self, course: _Course, steps: dict[object, Step]) -> Step:
        key = (course.policy.name, told_key(course.case), round(course.spent, 6))
        if key not in steps:
            steps[key] = course.policy.step(self._desk, course.case, course.spent)
        return steps[key]

    def _answers(self, drawn: Drawn, step: CheckStep, case: Case) -> list[Answer | Measured]:
        known = asked_in(case)
        asked = items_of(self.belief, self._desk.tariff(case), step.check, step.place)
        answers = (drawn.answer(*each) for each in asked if each not in known)
        return [each for each in answers if each is not None]

    def _ready(self, jobs: tuple[Job, ...], case: Case) -> Reckoning:
        """A reckoning with the true numbers in which these jobs are a plan; only money is read from it."""
        key = (frozenset(jobs), frozenset(case.open_access))
        if key not in self._priced:
            told = replace(self.start, open_access=case.open_access)
            known = self._of_truth
            ready = reckon(self.truth, told, known.network, known.posterior, also=sets_at_sites(jobs), foreseen=False)
            self._priced[key] = ready
        return self._priced[key]

    @cached_property
    def _of_truth(self) -> Known:
        network = build(self.truth, self.start)
        return Known(network, infer(network.model, network.evidence))

    def _wrong(self, drawn: Drawn, job: Job) -> bool:
        tariff = tariff_of(self.truth, self.start.engine)
        if not self.truth.repairs[job.repair].parts:
            return False
        faults = [key for key in tariff.renewed(job) if self.truth.components[key[0]].fault]
        return bool(faults) and all(drawn.levels[key] == 0 for key in faults)

    def least(self, vehicle: Vehicle) -> float:
        """Cost of the best plan on a vehicle of which everything is known: no policy can be cheaper on average."""
        if vehicle not in self._least:
            self._least[vehicle] = least_of(self.truth, self.start, self._of_truth.network, vehicle)
        return self._least[vehicle]


def sets_at_sites(jobs: tuple[Job, ...]) -> list[tuple[Job, ...]]:
    """The sets of jobs that may make up one site of a plan: a cylinder's together; of the vehicle's and the banks' any,
    since they may lie at one site or at several."""
    mine = tuple(job for job in jobs if isinstance(job.place, int))
    shared = [job for job in jobs if not isinstance(job.place, int)]
    found = [mine] if mine else []
    most = len(shared) if len(shared) <= MOST_TOGETHER else 3
    return [*found, *(some for count in range(1, most + 1) for some in combinations(shared, count))]


def least_of(knowledge: Knowledge, case: Case, network: CaseNetwork, vehicle: Vehicle) -> float:
    """Cost of the best plan for a case on a vehicle, of its network, of which everything is known."""
    told = replace(network, evidence=certainty_of(network, vehicle))
    return least_total(reckon(knowledge, case, told, certain_posterior(network, vehicle), foreseen=False))


def certain_posterior(network: CaseNetwork, vehicle: Vehicle) -> Posterior:
    """What is believed of a vehicle of which everything is known: nothing needs to be weighed for that, and how likely
    it was is left open (not a number)."""
    model = network.model
    return Posterior(
        np.full(1, np.nan),
        np.eye(len(model.configurations))[[vehicle.configuration]],
        tuple(
            tuple(np.eye(each.prior.shape[1])[[state]] for each, state in zip(plate.components, states, strict=True))
            for plate, states in zip(model.plates, vehicle.components, strict=True)
        ),
        tuple(
            tuple(np.eye(axis.levels)[[level]] for axis, level in zip(plate.axes, levels, strict=True))
            for plate, levels in zip(model.plates, vehicle.axes, strict=True)
        ),
        "certain",
        0.0,
    )


def certainty_of(network: CaseNetwork, vehicle: Vehicle) -> Evidence:
    """Evidence that tells everything about a vehicle."""
    model = network.model
    components = {
        (plate, index): np.eye(component.prior.shape[1])[[vehicle.components[plate][index]]][None]
        for plate, each in enumerate(model.plates)
        for index, component in enumerate(each.components)
        if component.prior.shape[1] > 1 and plate < len(model.plates) - 1
    }
    here = np.zeros((1, len(model.configurations), 2))
    here[0, vehicle.configuration] = 1.0
    components[len(model.plates) - 1, 0] = here
    axes = tuple(
        (plate, (axis,), np.eye(known.levels)[[vehicle.axes[plate][axis]]])
        for plate, each in enumerate(model.plates)
        for axis, known in enumerate(each.axes)
    )
    return Evidence(1, components, axes)
